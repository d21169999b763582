"""The list of jobs by pages, words and status. Oracle: the same list chosen and sorted in plain Python."""

import random
from datetime import date, timedelta

import pytest

from tapewright.jobs.store.nouns import Line, Owner, Particulars, Sheet, Status
from tapewright.jobs.store.opened import Store
from tapewright.words.problem import InputAtFaultError

NAMES = ("Invented Owner", "Ärmel Öffner", "100% Sure", "under_score", "")
COMPLAINTS = ("It SQUEALS", "squeals when warm", "eats tape", "ŞILA 50% slow", "nothing")


def some_jobs(store: Store, count: int) -> list[Sheet]:
    draw, kept = random.Random(3), list[Sheet]()
    for n in range(count):
        said = Particulars(
            machine_id=draw.choice(["four_track", "one_motor_portable"]),
            serial=f"S{n % 7}",
            complaint=draw.choice(COMPLAINTS),
            accessories=(draw.choice(["lead", "bag"]),),
            status=draw.choice(list(Status)),
            due=draw.choice([None, date(2026, 1, 1) + timedelta(days=draw.randrange(9))]),
        )
        kept.append(store.begin(said, Owner(f"{n % 5:016x}", draw.choice(NAMES), f"0{n:03d}")))
    for _ in range(count // 3):
        n = draw.randrange(count)
        kept[n] = store.set(kept[n].id, condition=f"looked at {draw.random()}")
    return kept


def fits(sheet: Sheet, words: str, statuses: tuple[Status, ...], serial: str, owner_id: str) -> bool:
    said, owner = sheet.particulars, sheet.owner
    texts = [sheet.ticket, said.machine_id, said.serial, said.complaint, said.condition, *said.accessories]
    texts += [owner.name, owner.phone]
    narrowed = words.split() or serial or owner_id
    return (
        all(any(word in text.casefold() for text in texts) for word in words.casefold().split())
        and (said.status in statuses if statuses else bool(narrowed) or said.status is not Status.AWAY)
        and serial in ("", said.serial)
        and owner_id in ("", owner.owner_id)
    )


ASKED: list[tuple[str, tuple[Status, ...], str, str]] = [
    ("", (), "", ""), ("squeals", (), "", ""), ("SQUEALS invented", (), "", ""), ("%", (), "", ""), ("_", (), "", ""),
    ("öffner", (), "", ""), ("50% şila", (), "", ""), ("lead four_", (), "", ""), ("flugelhorn", (), "", ""),
    ("", (Status.READY, Status.AWAY), "", ""), ("tape", (Status.ARRIVED,), "", ""), ("", (), "S3", ""),
    ("", (), "", f"{2:016x}"), ("squeals", tuple(Status), "S1", f"{1:016x}"), ("'; DROP TABLE job; --", (), "", ""),
]  # fmt: skip


def test_the_list_is_what_plain_python_chooses(store: Store) -> None:
    kept = some_jobs(store, 40)
    key = {
        "changed": lambda sheet: (sheet.changed, sheet.id),
        "ticket": lambda sheet: (sheet.created, sheet.id),
        "due": lambda sheet: (sheet.particulars.due or date.max, sheet.id),
    }
    for words, statuses, serial, owner_id in ASKED:
        wanted = [sheet for sheet in kept if fits(sheet, words, statuses, serial, owner_id)]
        for order, by in key.items():
            wanted.sort(key=by, reverse=order != "due")
            seen, page, pages = list[Line](), 1, 1
            while page <= pages:
                got = store.jobs(words, statuses, serial=serial, owner_id=owner_id, page=page, per_page=7, order=order)
                assert (got.page, got.total) == (page, len(wanted))
                assert len(got.lines) <= 7
                seen += got.lines
                page, pages = page + 1, got.pages
            assert [line.id for line in seen] == [sheet.id for sheet in wanted], (words, order)
    counts = store.counts()
    assert counts == {status: sum(sheet.particulars.status is status for sheet in kept) for status in Status}
    lines = {line.id: line for line in store.jobs(statuses=tuple(Status), per_page=500).lines}
    for sheet in kept:
        line, said = lines[sheet.id], sheet.particulars
        assert (line.ticket, line.owner_name, line.complaint) == (sheet.ticket, sheet.owner.name, said.complaint)
        assert (line.status, line.due, line.created, line.changed) == (
            said.status, said.due, sheet.created, sheet.changed,
        )  # fmt: skip


@pytest.mark.parametrize(("page", "got"), [(-3, 1), (0, 1), (3, 3), (10**12, 3)])
def test_a_page_that_there_is_not_is_the_nearest(on_file: Store, page: int, got: int) -> None:
    for _ in range(5):
        on_file.begin()
    assert on_file.jobs(page=page, per_page=2).page == got


def test_an_order_that_there_is_not_is_refused(on_file: Store) -> None:
    with pytest.raises(InputAtFaultError, match="ticket"):
        on_file.jobs(order="id; DROP TABLE job")


def test_no_jobs_are_one_empty_page(on_file: Store) -> None:
    page = on_file.jobs("anything")
    assert (page.lines, page.page, page.pages, page.total) == ((), 1, 1, 0)


def test_a_name_that_was_undone_is_not_found(store: Store) -> None:
    job = store.begin()
    store.set_owner(job.id, name="Invented Owner")
    assert store.jobs("invented").total == 1
    store.undo(job.id)
    assert store.jobs("invented").total == 0
