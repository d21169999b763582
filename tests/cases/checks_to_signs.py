"""What was looked at, measured and tried on real machines, and the signs that these checks answer.

Checks and outcomes in the words they were told in; the mapping was made from those words alone, before any scoring.
Only what was seen, measured or felt answers a sign. A repair that was tried answers by what showed after it.
Run: python -m tests.cases.checks_to_signs, to list every mistake at once and the checks no sign exists for.
"""

import csv
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

from tapewright.machine.library import shipped
from tapewright.machine.parts import part_names
from tests.cases.words_to_signs import mapping, sign_ids

CHECKS: Final = Path(__file__).with_name("repair_cases_checks.json")
MAPPING: Final = Path(__file__).with_name("check_mapping.csv")


@dataclass(frozen=True, slots=True)
class Check:
    """What was done, and what came of it, in the words it was told in."""

    check: str
    outcome: str


@dataclass(frozen=True, slots=True)
class Answer:
    """One sign that a check answers, or why it answers none.

    Arguments:
        case: id of the case.
        check: index of the check in its case, from 0; they stand in the order they were done.
        sign: id of the sign; "" where no sign says it.
        present: whether the sign shows; None where there is none.
        sure: 0 to 1, how surely the words mean this answer; None where there is none.
        note: why so; has to be there where there is no sign.
        after: parts renewed before this showed, in their order; a part renewed twice stands there twice. A part put
            right otherwise (cleaned, set, run in) stands there too where that changed something; the note says so.
    """

    case: str
    check: int
    sign: str
    present: bool | None
    sure: float | None
    note: str
    after: tuple[str, ...]


def checks() -> dict[str, tuple[Check, ...]]:
    """Read the checks done, by id of the case."""
    return {
        told["id"]: tuple(Check(**check) for check in told["checks_done"])
        for told in json.loads(CHECKS.read_text(encoding="utf-8"))
    }


def answers() -> tuple[Answer, ...]:
    """Read the mapping."""
    with MAPPING.open(encoding="utf-8", newline="") as file:
        return tuple(_answer(row) for row in csv.DictReader(file))


def _answer(row: dict[str, str]) -> Answer:
    return Answer(
        case=row["case"],
        check=int(row["check"]),
        sign=row["sign"],
        present={"true": True, "false": False, "": None}[row["present"]],
        sure=float(row["sure"]) if row["sure"] else None,
        note=row["note"],
        after=tuple(row["after"].split()),
    )


def machines() -> dict[str, str]:
    """Give the shipped machine that each case stands on, as its symptoms were mapped."""
    return {row.case: row.machine for row in mapping()}


def noticed(rows: Sequence[Answer], case: str) -> dict[tuple[str, ...], dict[str, tuple[bool, float]]]:
    """Give what the checks of a case answer, repair by repair: sign id to shows or not, and how surely.

    Told twice, the surer counts. The key is what had been renewed by then, () before any repair.
    """
    rounds: dict[tuple[str, ...], dict[str, tuple[bool, float]]] = {}
    for row in rows:
        if row.case == case and row.present is not None and row.sure is not None:
            told = rounds.setdefault(row.after, {})
            if row.sign not in told or told[row.sign][1] < row.sure:
                told[row.sign] = (row.present, row.sure)
    return rounds


def unsaid(rows: Sequence[Answer]) -> tuple[Answer, ...]:
    """List the checks, or the shares of them, that no sign says."""
    return tuple(row for row in rows if not row.sign)


def mistakes(
    done: Mapping[str, Sequence[Check]], stands_on: Mapping[str, str], rows: Sequence[Answer]
) -> tuple[str, ...]:
    """List everything wrong with a mapping of checks, each as a sentence; empty when it holds."""
    known = {(case, index) for case, told in done.items() for index in range(len(told))}
    mapped = {(row.case, row.check) for row in rows}
    return (
        *(f"{case} check {index} is neither mapped nor listed with a reason" for case, index in sorted(known - mapped)),
        *(f"{case} has no check {index}" for case, index in sorted(mapped - known)),
        *(said for row in rows for said in _of_row(row, stands_on.get(row.case, ""))),
        *_out_of_order(rows),
        *_clashes(rows),
    )


@cache
def _parts(machine: str) -> frozenset[str]:
    return frozenset(part_names(shipped(machine)))


def _of_row(row: Answer, machine: str) -> Iterator[str]:
    where = f"{row.case} check {row.check}"
    if not machine:
        yield f"{where}: the case stands on no machine"
        return
    yield from (f"{where}: {machine} has no part {part}" for part in row.after if part not in _parts(machine))
    if not row.sign:
        if not row.note:
            yield f"{where}: no sign and no reason"
        if row.present is not None or row.sure is not None or row.after:
            yield f"{where}: no sign, yet an answer"
        return
    if row.sign not in sign_ids(machine):
        yield f"{where}: {machine} has no sign {row.sign}"
    if row.present is None or row.sure is None or not 0.0 < row.sure <= 1.0:
        yield f"{where}: {row.sign} needs present true or false, and sure above 0 up to 1"


def _out_of_order(rows: Sequence[Answer]) -> Iterator[str]:
    """A repair is never undone: what had been renewed at one check had been at each later one."""
    last: dict[str, Answer] = {}
    for row in (row for row in rows if row.sign):
        before = last.get(row.case, row)
        if row.check < before.check:
            yield f"{row.case} check {row.check} stands behind check {before.check}"
        if row.after[: len(before.after)] != before.after:
            yield f"{row.case} check {row.check}: {' '.join(before.after)} had been renewed, and is left out of `after`"
        last[row.case] = row


def _clashes(rows: Sequence[Answer]) -> Iterator[str]:
    told: dict[tuple[str, tuple[str, ...], str], bool | None] = {}
    for row in rows:
        if row.sign and told.setdefault((row.case, row.after, row.sign), row.present) != row.present:
            yield f"{row.case}: {row.sign} both shows and does not, with the same parts renewed"


def main() -> None:
    """Print every mistake, then what no sign says."""
    done, rows = checks(), answers()
    for said in mistakes(done, machines(), rows):
        print(f"mistake: {said}")
    for row in unsaid(rows):
        alone = not any(row.case == one.case and row.check == one.check and one.sign for one in rows)
        told = done[row.case][row.check]
        print(f"{'unsaid' if alone else 'in part'}: {row.case} {told.check!r}, {told.outcome!r}: {row.note}")


if __name__ == "__main__":
    main()
