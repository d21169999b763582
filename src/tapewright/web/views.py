"""What the job page shows, as plain data: sorted and put into words, nothing worked out."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from tapewright.faults.cautions import cautions
from tapewright.faults.search import found_signs
from tapewright.faults.signs import Sign
from tapewright.jobs.bench_job import Job, KeptRecording, evidence_of, skipped_in
from tapewright.jobs.store.nouns import Step
from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.parts import Machine
from tapewright.show.said import EXPLAINS, TAPE, name_of, out_of_order_as
from tapewright.web.drawn import MOST_SUSPECTS, WORTH_NAMING, has_evidence
from tapewright.web.workbench import Look, Measured, signs_by_id
from tapewright.words.findings import Belief, Check, PlanStep, Shift
from tapewright.words.record import Record

MOST_FOUND: Final = 8
MOST_HINTS: Final = 5
MOST_ON_PART: Final = 12
MOST_MINUTES: Final = 4.0
"""What takes longer is nothing an owner complains of at the counter."""
UNSAID: Final = "unsaid"
_ID: Final = re.compile(r"[a-z]+(?:_[a-z0-9]+)+")


@dataclass(frozen=True, slots=True)
class Asked:
    """What the address of the checks asks for.

    Arguments:
        words: typed into the search for signs.
        mode: to be drawn.
        part: touched in the drawing.
    """

    words: str = ""
    mode: str = ""
    part: str = ""


@dataclass(frozen=True, slots=True)
class SignView:
    """A sign that may be answered, and what was answered ("unsaid" for nothing)."""

    sign: Sign
    cautions: tuple[str, ...]
    answer: bool | str | None


@dataclass(frozen=True, slots=True)
class AnswerView:
    """One answer or skip, in the order given."""

    id: str
    says: str
    present: bool | None
    skipped: bool = False


@dataclass(frozen=True, slots=True)
class SuspectView:
    """A part, and how it stands."""

    part: str
    name: str
    way: str
    share: float
    belief: Belief


@dataclass(frozen=True, slots=True)
class RecordingView:
    """A recording, and how far it is."""

    recording: KeptRecording
    state: Measured
    stage: str = ""
    note: str = ""

    @property
    def waiting(self) -> bool:
        """Whether it is still being measured."""
        return self.state.share < 1.0


def said_so_far(look: Look) -> list[AnswerView]:
    """List what was said, the latest first."""
    known = {} if look.machine is None else signs_by_id(look.machine)

    def says(sign: str) -> str:
        return known[sign].says if sign in known else f"{sign} (not a sign of this machine)"

    answers = [AnswerView(o.id, says(o.id), o.present) for o in evidence_of(look.job).signs]
    passed = [AnswerView(sign, says(sign), None, skipped=True) for sign in skipped_in(look.job)]
    order = {step.id: number for number, step in enumerate(look.job.steps)}
    return sorted([*answers, *passed], key=lambda one: -order[one.id])


def sign_views(job: Job, machine: Machine, found: Iterable[Sign]) -> list[SignView]:
    """Set signs beside what was answered to them."""
    said: dict[str, bool | None] = {o.id: o.present for o in evidence_of(job).signs}
    return [SignView(sign, cautions(sign.hazards), said.get(sign.id, UNSAID)) for sign in found]


def searched(job: Job, machine: Machine, words: str) -> list[SignView]:
    """List the signs that fit what was typed."""
    return sign_views(job, machine, found_signs(signs_by_id(machine).values(), words, MOST_FOUND))


def hints(look: Look) -> list[SignView]:
    """List the signs that the owner's words bring to mind and that nothing was said about."""
    if look.machine is None:
        return []
    found = found_signs(signs_by_id(look.machine).values(), look.job.complaint, MOST_HINTS)
    return [view for view in sign_views(look.job, look.machine, found) if view.answer == UNSAID]


def seen_on(look: Look, part: str) -> list[SignView]:
    """List the signs that are seen on a part, those with the case shut first."""
    if look.machine is None or not part:
        return []
    found = [sign for sign in signs_by_id(look.machine).values() if sign.part == part]
    return sign_views(look.job, look.machine, sorted(found, key=lambda sign: sign.opens_case)[:MOST_ON_PART])


def by_mode(look: Look) -> list[tuple[str, list[SignView]]]:
    """List what the machine as a whole may do, mode by mode: to be picked without typing a word."""
    if look.machine is None:
        return []
    whole = [
        sign for sign in signs_by_id(look.machine).values()
        if not sign.part and not sign.opens_case and sign.minutes <= MOST_MINUTES
    ]  # fmt: skip
    modes = dict.fromkeys(sign.mode for sign in whole)
    views = sign_views(look.job, look.machine, whole)
    listed = [(mode, [view for view in views if view.sign.mode == mode and view.answer == UNSAID]) for mode in modes]
    return sorted(listed, key=lambda one: one[0] != "play")


def suspects(record: Record, machine: Machine) -> tuple[list[SuspectView], list[SuspectView]]:
    """Give the parts worth naming, and the others: by what they explain, or by age alone when nothing is known."""
    known = has_evidence(record)
    beliefs = sorted(record.beliefs, key=lambda b: -(b.explains_complaint if known else b.out_of_order))
    views = [SuspectView(b.part, name_of(machine, b.part), out_of_order_as(machine, b.part, b.kind),
                         b.explains_complaint if known else b.out_of_order, b) for b in beliefs]  # fmt: skip
    named = [view for view in views if view.share >= WORTH_NAMING][:MOST_SUSPECTS]
    others = [view for view in views if view not in named]
    return named, sorted(others, key=lambda view: -view.belief.out_of_order)


def shifts(machine: Machine, check: Check) -> list[tuple[str, float | None, float | None]]:
    """Set side by side how the leading parts would stand after yes and after no; None for "less than these"."""
    after: list[dict[str, float]] = [_shares(check.if_yes), _shares(check.if_no)]
    parts = dict.fromkeys(part for one in after for part in one)
    rows = [(name_of(machine, part), after[0].get(part), after[1].get(part)) for part in parts]
    return [row for row in rows if max(row[1] or 0.0, row[2] or 0.0) >= WORTH_NAMING]


def _shares(said: Sequence[Shift]) -> dict[str, float]:
    return {shift.part: shift.explains_complaint for shift in said}


def repairs(record: Record) -> tuple[list[PlanStep], list[PlanStep]]:
    """Split the plan in what explains the complaint and what is renewed on the way; the rescue stands elsewhere."""
    steps = [step for step in record.plan if step.part != TAPE]
    return [s for s in steps if s.why == EXPLAINS], [s for s in steps if s.why != EXPLAINS]


def machine_choices() -> list[tuple[str, list[Machine]]]:
    """List the shipped machines in groups: those of which nothing is measured, and those with sizes."""
    machines = [shipped(machine_id) for machine_id in shipped_ids()]
    bare = [one for one in machines if not any(r.diameter for r in one.rotors.values())]
    return [
        ("A layout, nothing measured", bare),
        ("An invented machine, with its sizes", [one for one in machines if one not in bare]),
    ]


def local_time(at: datetime) -> str:
    """Say a time as the clock on the wall has it."""
    return at.astimezone().strftime("%Y-%m-%d %H:%M")


def order_list(record: Record) -> list[PlanStep]:
    """Give what is to be bought, each part once, in the plan's order."""
    return list({(step.part, step.size): step for step in record.plan if step.size}.values())


def told(look: Look, history: Sequence[Step]) -> list[Step]:
    """Give a job's history, the latest first, with what a sign says in place of its id."""
    known = {} if look.machine is None else signs_by_id(look.machine)

    def in_words(found: re.Match[str]) -> str:
        return f"“{known[found[0]].says}”" if found[0] in known else found[0]

    return [replace(step, says=_ID.sub(in_words, step.says)) for step in reversed(history)]
