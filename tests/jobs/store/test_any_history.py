"""Whatever is done, undone and redone, the tables stand as when every step that counts is done anew, from the first.

Oracle: slow obvious implementation, written here, sharing nothing with the store; and two roads that must meet, since
an export brought in elsewhere has to stand the same.
"""

import itertools
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tapewright.jobs.store.nouns import Note, Owner, Particulars, PartUsed, Sheet
from tapewright.jobs.store.opened import Store, open_store
from tests.jobs.store.conftest import Opener

WORDS = st.sampled_from(["", "a", "b", "Ünï"])
DOINGS = st.lists(
    st.one_of(
        st.tuples(st.just("serial"), WORDS),
        st.tuples(st.just("name"), WORDS),
        st.tuples(st.just("both"), WORDS),
        st.tuples(st.just("add"), WORDS),
        st.tuples(st.just("edit"), st.integers(0, 3), WORDS),
        st.tuples(st.just("remove"), st.integers(0, 3)),
        st.tuples(st.just("undo"), st.integers(2, 12)),
        st.tuples(st.just("redo"), st.integers(2, 12)),
        st.tuples(st.just("undo last")),
    ),
    max_size=12,
)


class Slow:
    """A job as a list of doings, done anew each time."""

    def __init__(self) -> None:
        self.steps: list[tuple[Any, ...] | None] = [None]  # the beginning, and every undoing, do nothing by themselves
        self.undone: set[int] = set()
        self.items: list[str] = []

    def stands(self) -> tuple[str, str, list[tuple[str, str]]]:
        serial, name, parts = "", "", dict[str, str]()
        for number, step in enumerate(self.steps, 1):
            if step is None or number in self.undone:
                continue
            match step:
                case ("serial", word):
                    serial = word
                case ("name", word):
                    name = word
                case ("both", word):
                    serial = name = word
                case ("add", item, word):
                    parts[item] = word
                case ("edit", item, word) if item in parts:
                    parts[item] = word
                case ("remove", item):
                    parts.pop(item, None)
        return serial, name, list(parts.items())

    def differs(self, step: tuple[Any, ...]) -> bool:
        before = self.stands()
        self.steps.append(step)
        changed = self.stands() != before
        self.steps.pop()
        return changed


def seen(sheet: Sheet) -> tuple[str, str, list[tuple[str, str]]]:
    return sheet.particulars.serial, sheet.owner.name, [(entry.id, entry.what.size) for entry in sheet.parts]


def do(store: Store, job_id: str, slow: Slow, doing: tuple[Any, ...]) -> None:
    match doing:
        case ("serial", word):
            store.set(job_id, serial=word)
            said: tuple[Any, ...] = doing
        case ("name", word):
            store.set_owner(job_id, name=word)
            said = doing
        case ("both", word):
            with store.changing(job_id) as step:
                step.set(serial=word)
                step.set_owner(name=word)
            said = doing
        case ("add", word):
            with store.changing(job_id) as step:
                slow.items.append(step.add(PartUsed("belt", size=word)))
            slow.steps.append(("add", slow.items[-1], word))
            return
        case ("edit", which, word) if slow.items:
            item = slow.items[which % len(slow.items)]
            if item not in dict(slow.stands()[2]):
                return  # the store refuses, and another test says so
            store.edit(job_id, item, size=word)
            said = ("edit", item, word)
        case ("remove", which) if slow.items:
            item = slow.items[which % len(slow.items)]
            store.remove(job_id, item)
            said = ("remove", item)
        case ("undo last",):
            counting = [n for n, step in enumerate(slow.steps, 1) if step is not None and n not in slow.undone]
            store.undo(job_id)
            if counting:
                slow.undone.add(counting[-1])
                slow.steps.append(None)
            return
        case ("undo" | "redo" as how, number) if number <= len(slow.steps) and slow.steps[number - 1] is not None:
            (store.undo if how == "undo" else store.redo)(job_id, number)
            if (number in slow.undone) == (how == "redo"):
                slow.undone ^= {number}
                slow.steps.append(None)
            return
        case _:
            return
    if slow.differs(said):
        slow.steps.append(said)


@pytest.fixture(scope="module")
def stores(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Store, Store, Path]]:
    here, there = tmp_path_factory.mktemp("here"), tmp_path_factory.mktemp("there")
    with open_store(here) as store, open_store(there) as other:
        yield store, other, here


NUMBERS = itertools.count()


@given(DOINGS)
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_job_stands_as_if_undone_steps_had_never_been(
    stores: tuple[Store, Store, Path], doings: list[tuple[Any, ...]]
) -> None:
    store, other, folder = stores
    job = store.begin()
    slow = Slow()
    for doing in doings:
        do(store, job.id, slow, doing)
        assert seen(store.job(job.id)) == slow.stands()
    assert [step.undone for step in store.history(job.id)] == [n in slow.undone for n in range(1, len(slow.steps) + 1)]
    zipped = folder / f"{next(NUMBERS)}.zip"
    store.export(zipped, [job.id])
    assert other.bring_in(zipped).added == (job.id,)
    assert other.job(job.id) == store.job(job.id)
    assert other.history(job.id) == store.history(job.id)


@given(st.text(max_size=40), st.text(max_size=40))
@settings(max_examples=25)
def test_any_text_comes_back_or_is_refused(stores: tuple[Store, Store, Path], text: str, name: str) -> None:
    store, _, _ = stores
    if any(c == "\x00" or "\ud800" <= c <= "\udfff" for c in text + name):
        return
    job = store.begin(Particulars(complaint=text), Owner(name=name), [Note(f"x{text}")])
    assert (job.particulars.complaint, job.owner.name, job.notes[0].what.text) == (text, name, f"x{text}")
    searched = [word for word in f"{name} {text}".split() if word.isalnum()][:1]
    assert not searched or store.jobs(searched[0].upper()).total >= store.jobs(searched[0]).total >= 1
    assert replace(job.owner, owner_id="") == Owner(name=name)


def test_on_every_database(store: Store, opened: Opener) -> None:
    """One long history, so that the server is asked too."""
    job, slow = store.begin(), Slow()
    doings: list[tuple[Any, ...]] = [
        ("add", "a"), ("add", "b"), ("edit", 0, "Ünï"), ("both", "a"), ("remove", 1), ("undo", 2), ("undo last",),
        ("name", "b"), ("redo", 2), ("undo", 3), ("redo", 3), ("undo last",), ("serial", "b"), ("undo", 5),
    ]  # fmt: skip
    for doing in doings:
        do(store, job.id, slow, doing)
        assert seen(opened().job(job.id)) == slow.stands()
