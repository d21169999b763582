"""A job is kept as it was given, every step can be undone and redone, and what cannot be meant is refused."""

import hashlib
import io
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import pytest

from tapewright.jobs.bench_job import evidence_of, machine_of
from tapewright.jobs.examine import examine
from tapewright.jobs.store.nouns import (
    Answer,
    Attached,
    Cost,
    FileKind,
    Item,
    Measured,
    Money,
    NoSuchJobError,
    Note,
    Owner,
    Particulars,
    PartUsed,
    Sheet,
    SoakTest,
    Stage,
    Status,
    Work,
)
from tapewright.jobs.store.opened import Store
from tapewright.jobs.store.sums import as_bench_job, comes_to, minutes_of, past_limit, ticket_of
from tapewright.words.problem import InputAtFaultError
from tests.jobs.store.conftest import Opener

MOMENT = datetime(2026, 3, 1, 9, 30, tzinfo=timezone(timedelta(hours=2)))
FULL = Particulars(
    machine_id="four_track",
    serial="INVENTED-17",
    accessories=("mains lead", "two cassettes"),
    condition="scratch on the lid",
    complaint="It eats tape — and „squeals“.",
    tape_inside=True,
    age_years=38.5,
    status=Status.LOOKED_AT,
    due=date(2026, 4, 1),
    estimate_low=Money(4000, "EUR"),
    estimate_high=Money(9000, "EUR"),
    approved=True,
    approved_limit=Money(9500, "EUR"),
    approved_at=MOMENT,
    approved_how="by telephone",
    handed_over_at=MOMENT,
    paid=Money(8800, "EUR"),
    hand_over_note="explained the keys",
)
OWNER = Owner(name="Invented Owner", phone="000 17", email="owner@example.invalid", address="Nowhere 1")
ITEMS: tuple[Item, ...] = (
    Answer("squeal", True, 0.8, "warm", "C90", ("capstan_belt",)),
    Answer("hum", skipped=True),
    Measured("speed_error_pct", -1.25e-3, "%", 0.1, method="tone", conditions="3 min", stage=Stage.BEFORE),
    Measured("weighted_peak_pct", None, "%", why_not="There is no steady tone."),
    PartUsed("flat belt", "capstan_belt", "214 × 4 × 0.6", 2, Money(900, "EUR")),
    Work("belt renewed", 12.5, Money(2000, "EUR")),
    Cost("postage", Money(690, "GBP")),
    SoakTest(120.0, MOMENT, True, "no slip"),
    Note("rang the owner"),
)


def items_of(sheet: Sheet) -> list[Item]:
    places = (sheet.answers, sheet.readings, sheet.parts, sheet.work, sheet.costs, sheet.soaks, sheet.notes)
    return [entry.what for place in places for entry in place]


def put(store: Store, content: bytes, called: str = "a.wav", kind: FileKind = FileKind.RECORDING) -> Attached:
    stored = store.put_file(io.BytesIO(content), called)
    return Attached(stored.sha256, stored.size_bytes, called, kind)


def test_a_job_comes_back_as_it_was_given(store: Store, opened: Opener) -> None:
    begun = store.begin(FULL, OWNER, ITEMS, who="Ana")
    again = opened().job(begun.id)
    assert again == begun
    assert again.particulars == FULL
    assert replace(again.owner, owner_id="") == OWNER
    assert items_of(again) == list(ITEMS)
    assert {(entry.who, entry.how, entry.step) for entry in again.answers} == {("Ana", "counter", 1)}
    assert again.created.tzinfo == UTC
    assert again.particulars.approved_at == MOMENT


def test_tickets_are_drawn_in_order(store: Store) -> None:
    tickets = [store.begin().ticket for _ in range(3)]
    year = datetime.now(UTC).year % 100
    assert tickets == [f"{year:02d}-{n:04d}" for n in (1, 2, 3)]
    assert store.job_of_ticket(f" {tickets[1]} ").ticket == tickets[1]
    with pytest.raises(NoSuchJobError):
        store.job_of_ticket("99-9999")


def test_who_was_here_before_is_found_once(store: Store) -> None:
    first = store.begin(owner=OWNER)
    known = store.owners("invented 000")[0]
    store.begin(owner=replace(known, phone="000 18"))
    store.begin(owner=Owner(name="Another Invention"))
    assert [owner.phone for owner in store.owners("invented owner")] == ["000 18"]
    assert store.jobs(owner_id=first.owner.owner_id).total == 2


def test_any_step_is_undone_and_redone(store: Store) -> None:
    job = store.begin(FULL)
    belt = store.add(job.id, PartUsed("belt"), who="Ana").parts[0]
    store.edit(job.id, belt.id, size="214 mm")
    store.set(job.id, status=Status.READY)
    store.remove(job.id, belt.id)
    assert [step.kind for step in store.history(job.id)] == ["done"] * 5
    assert store.undo(job.id, 5).parts[0].what == PartUsed("belt", size="214 mm")
    assert store.undo(job.id, 3).parts[0].what == PartUsed("belt")
    assert store.undo(job.id, 2).parts == ()
    assert store.job(job.id).particulars.status is Status.READY
    assert store.redo(job.id).parts[0].what == PartUsed("belt")  # step 2, undone last
    assert store.redo(job.id).parts[0].what == PartUsed("belt", size="214 mm")
    assert store.redo(job.id).parts == ()
    assert store.redo(job.id).revision == store.job(job.id).revision  # nothing is left to redo
    assert store.job(job.id).parts == ()
    told = store.history(job.id)
    assert [step.of for step in told if step.kind == "undo"] == [5, 3, 2]
    assert [step.undone for step in told[:5]] == [False] * 5
    assert told[1].who == "Ana"


def test_undo_takes_the_last_and_redo_ends_where_something_new_was_done(store: Store) -> None:
    job = store.begin()
    for sign in ("a", "b", "c"):
        store.add(job.id, Answer(sign, True))
    assert [entry.what.sign for entry in store.undo(job.id).answers] == ["a", "b"]
    assert [entry.what.sign for entry in store.undo(job.id).answers] == ["a"]
    store.add(job.id, Answer("d", False))
    assert [entry.what.sign for entry in store.redo(job.id).answers] == ["a", "d"]
    for _ in range(5):
        left = store.undo(job.id)
    assert left.answers == ()
    assert left.revision == store.job(job.id).revision


@pytest.mark.parametrize("number", [1, 4])
def test_how_it_began_and_an_undoing_cannot_be_undone(store: Store, number: int) -> None:
    job = store.begin()
    store.add(job.id, Note("x"))
    store.add(job.id, Note("y"))
    store.undo(job.id)
    with pytest.raises(InputAtFaultError):
        store.undo(job.id, number)
    with pytest.raises(NoSuchJobError):
        store.undo(job.id, 99)


def test_several_pieces_are_one_step(store: Store) -> None:
    job = store.begin(owner=OWNER)
    with store.changing(job.id, who="Ana") as step:
        step.set(status=Status.HANDED_OVER, paid=Money(1, "EUR"))
        step.set_owner(collected_by="Invented Cousin")
        step.add(Note("explained"))
    assert store.job(job.id).owner.collected_by == "Invented Cousin"
    undone = store.undo(job.id)
    assert (undone.particulars.status, undone.owner.collected_by, undone.notes) == (Status.ARRIVED, "", ())
    assert undone.owner == job.owner


def test_what_says_nothing_new_is_no_step(store: Store) -> None:
    job = store.begin(FULL)
    assert store.set(job.id, status=Status.LOOKED_AT, serial=FULL.serial).revision == 1
    assert store.set(store.begin().id, status=Status.ARRIVED).revision == 1
    twice = store.add(job.id, Answer("a", True), Answer("b", False))
    assert store.add(job.id, Answer("b", False)).revision == twice.revision
    assert store.add(job.id, Answer("b", True)).revision == twice.revision + 1


def test_what_is_sent_twice_is_done_once(store: Store) -> None:
    first, second = (store.begin(FULL, once="drawn by the page") for _ in range(2))
    assert first == second
    for _ in range(2):
        kept = store.add(first.id, Note("once"), once="another draw")
    assert len(kept.notes) == 1
    for _ in range(2):
        undone = store.undo(first.id, once="a third")
    assert undone.revision == 3
    assert store.jobs().total == 1


def test_a_page_that_is_out_of_date_changes_nothing(store: Store) -> None:
    job = store.begin()
    store.add(job.id, Note("by somebody else"))
    with pytest.raises(InputAtFaultError, match="meanwhile"), store.changing(job.id, revision=job.revision) as step:
        step.add(Note("too late"))
    assert len(store.job(job.id).notes) == 1


REFUSED: list[tuple[dict[str, Any], str]] = [
    ({"machine_id": "no_such"}, "does not ship"),
    ({"description": "not = a machine"}, "quotation marks"),
    ({"age_years": 300.0}, "300 years"),
    ({"age_years": float("nan")}, "Give a number"),
    ({"serial": "a\x00b"}, "character"),
    ({"serial": "\ud800"}, "character"),
    ({"serial": 17}, "Give words"),
    ({"complaint": "x" * 20_001}, "20001 characters"),
    ({"status": "mended"}, "ready to collect"),
    ({"tape_inside": "yes"}, "yes or no"),
    ({"due": "soon"}, "2026-03-31"),
    ({"due": date(1, 1, 1)}, "these years"),
    ({"approved_at": datetime(2026, 1, 1)}, "time zone"),
    ({"estimate_low": Money(2, "EUR"), "estimate_high": Money(1, "EUR")}, "smaller amount first"),
    ({"estimate_low": Money(2, "EUR"), "estimate_high": Money(3, "GBP")}, "more than one currency"),
    ({"paid": Money(-1, "EUR")}, "nothing or more"),
    ({"accessories": "a lead"}, "list"),
    ({"statis": "arrived"}, "Did you mean status"),
    ({"complaint": None}, "empty"),
]


@pytest.mark.parametrize(("fields", "said"), REFUSED, ids=[next(iter(f)) + "-" + s[:12] for f, s in REFUSED])
def test_what_cannot_be_meant_is_refused_and_changes_nothing(shared: Store, fields: dict[str, Any], said: str) -> None:
    job = shared.begin(FULL)
    with pytest.raises(InputAtFaultError, match=said):
        shared.set(job.id, **fields)
    assert shared.job(job.id) == job


@pytest.mark.parametrize(
    "item",
    [
        Answer(""), Answer("a", sure=1.5), Measured("x"), Measured("x", 1.0, why_not="both"),
        Measured("x", 1.0, doubt=-1), PartUsed("belt", quantity=0), PartUsed(" "),
        Work("x", -1.0), Work("x", float("inf")), Note(" "),
        Attached("../../etc/passwd", 3, "x"), Attached("a" * 64, 3, "x"), Attached("A" * 64, 3, "x"),
    ],
)  # fmt: skip
def test_an_item_that_cannot_be_meant_is_refused(shared: Store, item: Item) -> None:
    job = shared.begin(FULL)
    with pytest.raises(InputAtFaultError):
        shared.add(job.id, Note("goes with it"), item)
    assert shared.job(job.id) == job


@pytest.mark.parametrize(("amount", "currency"), [(1.5, "EUR"), (True, "EUR"), (1, "eur"), (1, "EURO"), (2**60, "EUR")])
def test_money_is_whole_and_has_a_currency(amount: Any, currency: str) -> None:
    with pytest.raises(InputAtFaultError):
        Money(amount, currency)


def test_there_is_no_such_job(store: Store) -> None:
    for ask in (store.job, store.history, store.undo, store.redo):
        with pytest.raises(NoSuchJobError):
            ask("0123456789abcdef")
    with pytest.raises(NoSuchJobError):
        store.add("0123456789abcdef", Note("x"))


def test_an_entry_of_another_job_is_not_touched(store: Store) -> None:
    mine, theirs = store.begin(items=[Note("mine")]), store.begin(items=[Note("theirs")])
    for act in (store.edit, store.remove):
        with pytest.raises(InputAtFaultError, match="not in this job"):
            act(mine.id, theirs.notes[0].id)
    assert store.job(theirs.id) == theirs


def test_what_was_taken_out_is_not_edited(store: Store) -> None:
    job = store.begin(items=[Note("x")])
    store.remove(job.id, job.notes[0].id)
    with pytest.raises(InputAtFaultError, match="taken out"):
        store.edit(job.id, job.notes[0].id, text="y")
    assert store.remove(job.id, job.notes[0].id).revision == 2


# --- files ------------------------------------------------------------------------------------------------------------


def test_a_file_is_kept_once_under_its_checksum(store: Store) -> None:
    job = store.begin()
    store.add(job.id, put(store, b"sound", "one.wav"), put(store, b"sound", "../two.wav"))
    first, second = (entry.what for entry in store.job(job.id).files)
    assert first.sha256 == second.sha256 == hashlib.sha256(b"sound").hexdigest()
    assert store.file_path(first.sha256).read_bytes() == b"sound"
    assert len([path for path in store.files.rglob("*") if path.is_file()]) == 1
    with pytest.raises(InputAtFaultError, match="another"):
        store.edit(job.id, store.job(job.id).files[0].id, sha256="a" * 64)


def test_a_file_that_is_too_large_leaves_nothing(store: Store) -> None:
    with pytest.raises(InputAtFaultError, match="larger"):
        store.put_file(io.BytesIO(b"x" * 11), "big.wav", most_bytes=10)
    assert [path for path in store.files.rglob("*") if path.is_file()] == []


@pytest.mark.parametrize("name", ["", "..", "../x", "a" * 63, "A" * 64, "a" * 64 + "/", "a" * 65])
def test_only_a_checksum_becomes_a_path(shared: Store, name: str) -> None:
    with pytest.raises(InputAtFaultError):
        shared.file_path(name)


# --- what follows -----------------------------------------------------------------------------------------------------


def test_the_findings_are_worked_out_from_a_kept_job(store: Store) -> None:
    job = store.begin(
        Particulars(machine_id="one_motor_portable", complaint="slow"), items=[Answer("hum", skipped=True)]
    )
    bench = as_bench_job(store.add(job.id, put(store, b"sound")))
    assert examine(machine_of(bench), evidence_of(bench)).beliefs
    assert evidence_of(bench).signs == ()
    assert store.file_path(bench.recordings[0].file).read_bytes() == b"sound"


def test_sums_and_ticket(store: Store) -> None:
    job = store.begin(FULL, OWNER, ITEMS)
    assert comes_to(job) == (Money(2900, "EUR"), Money(690, "GBP"))
    assert minutes_of(job) == 12.5
    assert not past_limit(job)
    assert past_limit(store.set(job.id, approved_limit=Money(2899, "EUR")))
    ticket = ticket_of(job)
    assert (ticket.number, ticket.owner, ticket.machine) == (job.ticket, OWNER.name, "four_track")


# --- several at once --------------------------------------------------------------------------------------------------


def test_several_benches_at_once_lose_nothing(opened: Opener) -> None:
    """Two stores and four threads on one job: each step gets a number of its own, and none is lost."""
    stores = [opened(), opened()]
    job = stores[0].begin()

    def at_the_bench(n: int) -> None:
        store = stores[n % 2]
        for k in range(6):
            store.add(job.id, Note(f"{n} {k}"), who=f"bench {n}")
            store.set(job.id, serial=f"{n} {k}")
            store.begin()

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(at_the_bench, range(4)))
    sheet = stores[0].job(job.id)
    assert {entry.what.text for entry in sheet.notes} == {f"{n} {k}" for n in range(4) for k in range(6)}
    assert sheet.revision == len(stores[1].history(job.id)) == 1 + 4 * 6 * 2
    lines = stores[1].jobs(per_page=100).lines
    assert len({line.ticket for line in lines}) == len(lines) == 25


def test_what_is_sent_twice_at_once_is_done_once(opened: Opener) -> None:
    stores = [opened(), opened()]
    with ThreadPoolExecutor(4) as pool:
        ids = set(pool.map(lambda n: stores[n % 2].begin(once="drawn by the page").id, range(8)))
        pool.map(lambda n: stores[n % 2].add(next(iter(ids)), Note("once"), once="another"), range(8))
    assert len(ids) == 1
    assert len(stores[0].job(ids.pop()).notes) == 1


def test_erasing_and_attaching_at_once_do_not_wait_for_each_other(opened: Opener) -> None:
    stores = [opened(), opened()]
    job = stores[0].begin(owner=OWNER)

    def at_the_bench(n: int) -> None:
        if n == 0:
            for _ in range(3):
                stores[0].set_owner(job.id, name="Invented Again")
                stores[0].erase_owner(job.id)
        else:
            for k in range(5):
                stores[1].add(job.id, put(stores[1], bytes([n, k]), f"{n} {k}"))

    with ThreadPoolExecutor(3) as pool:
        list(pool.map(at_the_bench, range(3)))
    files = stores[0].job(job.id).files
    assert {entry.what.called for entry in files} == {f"{n} {k}" for n in (1, 2) for k in range(5)}
    assert all(stores[0].file_path(entry.what.sha256).stat().st_size == 2 for entry in files)
    assert stores[0].job(job.id).owner == Owner()
