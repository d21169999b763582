"""What owners said of real machines, and the signs a clerk at the counter would tick for it.

The cases hold the layout and the symptoms alone; what was wrong is not here. The mapping was made from the words
alone, before anybody compared an outcome. The words come from repair stories that owners and technicians told; the
machine is the shipped one nearest to the layout told, with the reason beside it.
Run: python -m tests.cases.words_to_signs, to list every mistake at once and the symptoms no sign exists for.
"""

import csv
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

from tapewright.faults.mechanism import mechanism
from tapewright.faults.signs import signs
from tapewright.machine.library import shipped

CASES: Final = Path(__file__).with_name("repair_cases_symptoms.json")
MAPPING: Final = Path(__file__).with_name("symptom_mapping.csv")
VISITS: Final = ("now", "before", "after")
"""As brought in; before it failed; after a first repair. Only what shows now may be told in one breath."""


@dataclass(frozen=True, slots=True)
class Symptom:
    """What was said: the words, the mode they speak of, and whether it shows or is said not to."""

    what: str
    mode: str
    present: bool


@dataclass(frozen=True, slots=True)
class Case:
    """One machine as it came in: the layout in plain words and its symptoms."""

    id: str
    layout: str
    symptoms: tuple[Symptom, ...]


@dataclass(frozen=True, slots=True)
class Mapped:
    """One sign that a symptom's words speak of, or why there is none.

    Arguments:
        case: id of the case.
        machine: the shipped machine nearest to the layout.
        comment: why that machine, and what it lacks; on the first row of a case.
        symptom: index of the symptom in its case, from 0.
        sign: id of the sign; "" where no sign says it.
        present: whether the sign shows; None where there is none.
        sure: 0 to 1, how surely the words mean this sign; None where there is none.
        visit: one of VISITS.
        note: why so; has to be there where there is no sign.
    """

    case: str
    machine: str
    comment: str
    symptom: int
    sign: str
    present: bool | None
    sure: float | None
    visit: str
    note: str


def cases() -> tuple[Case, ...]:
    """Read the cases."""
    return tuple(
        Case(told["id"], told["layout"], tuple(Symptom(**symptom) for symptom in told["symptoms"]))
        for told in json.loads(CASES.read_text(encoding="utf-8"))
    )


def mapping() -> tuple[Mapped, ...]:
    """Read the mapping."""
    with MAPPING.open(encoding="utf-8", newline="") as file:
        return tuple(_mapped(row) for row in csv.DictReader(file))


def _mapped(row: dict[str, str]) -> Mapped:
    return Mapped(
        case=row["case"],
        machine=row["machine"],
        comment=row["comment"],
        symptom=int(row["symptom"]),
        sign=row["sign"],
        present={"true": True, "false": False, "": None}[row["present"]],
        sure=float(row["sure"]) if row["sure"] else None,
        visit=row["visit"],
        note=row["note"],
    )


def told(rows: Sequence[Mapped], case: str, visit: str = "now") -> dict[str, tuple[bool, float]]:
    """Give what is ticked for a case at one visit: sign id to shows or not, and how surely; told twice, the surer."""
    ticked: dict[str, tuple[bool, float]] = {}
    for row in rows:
        if row.case == case and row.visit == visit and row.present is not None and row.sure is not None:
            ticked[row.sign] = max(
                ticked.get(row.sign, (row.present, 0.0)), (row.present, row.sure), key=lambda t: t[1]
            )
    return ticked


def unsaid(rows: Sequence[Mapped]) -> tuple[Mapped, ...]:
    """List the symptoms, or the shares of them, that no sign says."""
    return tuple(row for row in rows if not row.sign)


def mistakes(told_cases: Sequence[Case], rows: Sequence[Mapped]) -> tuple[str, ...]:
    """List everything wrong with a mapping, each as a sentence; empty when it holds."""
    return (*_of_cases(told_cases, rows), *(said for row in rows for said in _of_row(row)), *_clashes(rows))


@cache
def sign_ids(machine: str) -> frozenset[str]:
    """Give the ids of all signs of a shipped machine."""
    return frozenset(sign.id for sign in signs(mechanism(shipped(machine))))


def _of_cases(told_cases: Sequence[Case], rows: Sequence[Mapped]) -> Iterator[str]:
    known = {(case.id, index) for case in told_cases for index in range(len(case.symptoms))}
    mapped = {(row.case, row.symptom) for row in rows}
    yield from (f"{case} symptom {index} is neither mapped nor listed with a reason" for case, index in known - mapped)
    yield from (f"{case} has no symptom {index}" for case, index in mapped - known)
    for case in told_cases:
        own = [row for row in rows if row.case == case.id]
        if len({row.machine for row in own}) > 1:
            yield f"{case.id} stands on two machines"
        if own and not own[0].comment:
            yield f"{case.id} does not say why its machine"


def _of_row(row: Mapped) -> Iterator[str]:
    where = f"{row.case} symptom {row.symptom}"
    if row.visit not in VISITS:
        yield f"{where}: visit is {row.visit!r}, not one of {', '.join(VISITS)}"
    if not row.sign:
        if not row.note:
            yield f"{where}: no sign and no reason"
        if row.present is not None or row.sure is not None:
            yield f"{where}: no sign, yet an answer"
        return
    if row.sign not in sign_ids(row.machine):
        yield f"{where}: {row.machine} has no sign {row.sign}"
    if row.present is None or row.sure is None or not 0.0 < row.sure <= 1.0:
        yield f"{where}: {row.sign} needs present true or false, and sure above 0 up to 1"


def _clashes(rows: Sequence[Mapped]) -> Iterator[str]:
    answers: dict[tuple[str, str, str], bool | None] = {}
    for row in rows:
        if row.sign and answers.setdefault((row.case, row.visit, row.sign), row.present) != row.present:
            yield f"{row.case}: {row.sign} both shows and does not, {row.visit}"


def main() -> None:
    """Print every mistake, then what no sign says."""
    rows = mapping()
    words = {(case.id, index): symptom.what for case in cases() for index, symptom in enumerate(case.symptoms)}
    for said in mistakes(cases(), rows):
        print(f"mistake: {said}")
    for row in unsaid(rows):
        alone = not any(row.case == one.case and row.symptom == one.symptom and one.sign for one in rows)
        print(f"{'unsaid' if alone else 'in part'}: {row.case} {words[row.case, row.symptom]!r}: {row.note}")


if __name__ == "__main__":
    main()
