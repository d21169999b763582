"""What cannot be meant: each rule looks at one thing as it would stand, and says what is wrong with it."""

import re
from collections.abc import Callable, Iterator, Mapping
from datetime import date
from typing import Any, Final

from tapewright.jobs.bench_job import OLDEST_YEARS
from tapewright.jobs.store.nouns import Answer, Attached, Measured, Money, Note, Particulars, PartUsed, SoakTest, Work
from tapewright.jobs.store.values import noun_of
from tapewright.machine.library import shipped_ids
from tapewright.machine.load import read_machine_text
from tapewright.words.problem import InputAtFaultError, Problem

SHA256: Final = re.compile(r"[0-9a-f]{64}")
OWNER_ID: Final = re.compile(r"[0-9a-f]{0,16}")


def check(entity: str, plainly: Mapping[str, Any], said: Mapping[str, Any]) -> None:
    """Look at a thing as it would stand.

    Arguments:
        entity: "job", "owner" or a kind of item.
        plainly: all of it, as plain data.
        said: the fields that are being said now; what was said before is not questioned again.

    Raises:
        InputAtFaultError: with all that cannot be meant.
    """
    problems = list(_RULES.get(entity, _nothing)(noun_of(entity, plainly), said))
    if problems:
        raise InputAtFaultError(problems)


def _nothing(_noun: Any, _said: Mapping[str, Any]) -> Iterator[Problem]:
    return iter(())


def _job(job: Particulars, said: Mapping[str, Any]) -> Iterator[Problem]:
    if "machine_id" in said and job.machine_id and job.machine_id not in shipped_ids():
        do = f"Choose one of: {', '.join(shipped_ids())}; or give a description of your own."
        yield Problem("machine", f"is {job.machine_id!r}, which does not ship.", do)
    if "description" in said and job.description:
        try:
            read_machine_text(job.description, job.described_in or "the description")
        except InputAtFaultError as error:
            yield from error.problems
    if "age_years" in said and job.age_years is not None and not 0.0 <= job.age_years <= OLDEST_YEARS:
        yield Problem("age", f"is {job.age_years:g} years.", f"Give 0 to {OLDEST_YEARS:g}, or leave it empty.")
    if "due" in said and job.due is not None and not date(1970, 1, 1) <= job.due <= date(2200, 1, 1):
        yield Problem("due", f"is {job.due}.", "Give a day of these years.")
    if said.keys() & {"estimate_low", "estimate_high", "approved_limit"}:
        yield from _estimate(job)
    yield from _not_below_nothing("paid", job.paid)


def _estimate(job: Particulars) -> Iterator[Problem]:
    low, high, limit = job.estimate_low, job.estimate_high, job.approved_limit
    if len({each.currency for each in (low, high, limit) if each is not None}) > 1:
        yield Problem("estimate", "is in more than one currency.", "Give all of it in one.")
    elif low is not None and high is not None and low.amount > high.amount:
        yield Problem("estimate", f"runs from {low} to {high}.", "Give the smaller amount first.")
    for where, each in (("estimate", low), ("estimate", high), ("limit", limit)):
        yield from _not_below_nothing(where, each)


def _not_below_nothing(where: str, money: Money | None) -> Iterator[Problem]:
    if money is not None and money.amount < 0:
        yield Problem(where, f"is {money}.", "Give an amount of nothing or more.")


def _owner(owner: Any, _said: Mapping[str, Any]) -> Iterator[Problem]:
    if not OWNER_ID.fullmatch(owner.owner_id):
        yield Problem("owner", f"has the id {owner.owner_id!r}.", "Choose the owner from the list, or begin a new one.")


def _answer(answer: Answer, _said: Mapping[str, Any]) -> Iterator[Problem]:
    if not answer.sign:
        yield Problem("sign", "is empty.", "Say which sign it is.")
    if not 0.0 <= answer.sure <= 1.0:
        yield Problem("sure", f"is {answer.sure:g}.", "Give 0 (a guess) to 1 (certain).")


def _reading(reading: Measured, _said: Mapping[str, Any]) -> Iterator[Problem]:
    if not reading.name:
        yield Problem("reading", "has no name.", "Say what was measured.")
    if (reading.value is None) == (not reading.why_not):
        yield Problem("reading", "has not one of value and reason.", "Give a value, or say why there is none.")
    if reading.doubt is not None and reading.doubt < 0.0:
        yield Problem("doubt", f"is {reading.doubt:g}.", "Give the half-width of the 95 % interval.")
    if reading.sha256 and not SHA256.fullmatch(reading.sha256):
        yield Problem("reading", f"names the file {reading.sha256[:80]!r}.", "Name a file of this job.")


def _file(file: Attached, _said: Mapping[str, Any]) -> Iterator[Problem]:
    if not SHA256.fullmatch(file.sha256) or file.size_bytes < 0:
        yield Problem("file", f"is named {file.sha256[:80]!r}.", "Put the file into the store first.")
    if file.tone_hz is not None and file.tone_hz <= 0.0:
        yield Problem("tone on the test tape", f"is {file.tone_hz:g} Hz.", "Give it in Hz, or leave it empty.")


def _part(part: PartUsed, _said: Mapping[str, Any]) -> Iterator[Problem]:
    if not 1 <= part.quantity <= 10_000:
        yield Problem("quantity", f"is {part.quantity}.", "Give how many, from 1.")
    if not part.what.strip():
        yield Problem("part", "has no name.", "Say what went in.")
    yield from _not_below_nothing("cost", part.cost)


def _work(work: Work | SoakTest, _said: Mapping[str, Any]) -> Iterator[Problem]:
    if not 0.0 <= work.minutes <= 1e6:
        yield Problem("minutes", f"are {work.minutes:g}.", "Give nothing or more.")


def _note(note: Note, _said: Mapping[str, Any]) -> Iterator[Problem]:
    if not note.text.strip():
        yield Problem("note", "is empty.", "Write something, or leave it.")


_RULES: Final[Mapping[str, Callable[[Any, Mapping[str, Any]], Iterator[Problem]]]] = {
    "job": _job,
    "owner": _owner,
    "answer": _answer,
    "reading": _reading,
    "file": _file,
    "part": _part,
    "work": _work,
    "soak": _work,
    "note": _note,
}
