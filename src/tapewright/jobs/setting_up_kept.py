"""What came of each step of setting up, kept in the job as readings of their own, so that undo takes them back."""

from collections.abc import Sequence
from typing import Final

from tapewright.jobs.store.nouns import Entry, Measured, Sheet, Stage
from tapewright.jobs.store.opened import Store
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.reading import Reading
from tapewright.words.setting_up import LEFT_ALONE, LOOK_AGAIN, OPEN, SET, SetUpPlan, SetUpStep, StepDone
from tapewright.words.units import to_the_doubt

PREFIX: Final = "set_up_"
HOW: Final = "setting up"
NO_READING: Final = "Set by eye or by another instrument; nothing was read here."
LONGEST_REASON: Final = 300


def keep_set(
    store: Store, job_id: str, step: SetUpStep, reading: Reading | None, *, who: str = "", once: str | None = None
) -> Sheet:
    """Write down that a step was set, with what was read at the end.

    Arguments:
        store: that the job lies in.
        job_id: which job.
        step: from the plan.
        reading: in the step's unit; None where nothing was read.
        who: did it.
        once: a form's token.
    """
    if reading is None or reading.value is None:
        kept = Measured(PREFIX + step.id, why_not=NO_READING, method=HOW, conditions=SET, stage=Stage.AFTER)
    else:
        kept = Measured(
            PREFIX + step.id, reading.value, reading.unit, reading.doubt, method=HOW, conditions=SET, stage=Stage.AFTER
        )
    return store.add(job_id, kept, who=who, how=HOW, once=once)


def keep_left(store: Store, job_id: str, step: SetUpStep, why: str, *, who: str = "", once: str | None = None) -> Sheet:
    """Write down that a step was left alone, and why.

    Raises:
        InputAtFaultError: without a reason.
    """
    reason = " ".join(why.split())[:LONGEST_REASON]
    if not reason:
        do = "Say why in a few words: whoever comes next wants to know."
        raise InputAtFaultError(Problem("left alone because", "is empty.", do))
    kept = Measured(PREFIX + step.id, why_not=reason, method=HOW, conditions=LEFT_ALONE, stage=Stage.AFTER)
    return store.add(job_id, kept, who=who, how=HOW, once=once)


def entries_of(sheet: Sheet, step_id: str) -> tuple[Entry[Measured], ...]:
    """Give what was written down of one step, the first first."""
    return tuple(entry for entry in sheet.readings if entry.what.name == PREFIX + step_id)


def passes_of(sheet: Sheet, step: SetUpStep) -> tuple[float, ...]:
    """Give how far a step was off its target after each time it was set, either way."""
    read = (entry.what.value for entry in entries_of(sheet, step.id))
    return tuple(abs(value - (step.target or 0.0)) for value in read if value is not None)


def done_in(sheet: Sheet, plan: SetUpPlan) -> tuple[StepDone, ...]:
    """Say how each step stands; one that something else moved since is to be looked at again.

    Arguments:
        sheet: the job as it stands.
        plan: of its machine.
    """
    last = {step.id: (entries_of(sheet, step.id) or (None,))[-1] for step in plan.steps}
    return tuple(_stands(step, last[step.id], plan.steps, last) for step in plan.steps)


def _stands(
    step: SetUpStep,
    entry: Entry[Measured] | None,
    steps: Sequence[SetUpStep],
    last: dict[str, Entry[Measured] | None],
) -> StepDone:
    if entry is None:
        return StepDone(step.id, OPEN)
    if entry.what.conditions == LEFT_ALONE:
        return StepDone(step.id, LEFT_ALONE, entry.what.why_not)
    moved = tuple(
        other.id
        for other in steps
        if step.id in other.disturbs and (when := last[other.id]) is not None
        and when.what.conditions == SET and when.step > entry.step
    )  # fmt: skip
    return StepDone(step.id, LOOK_AGAIN if moved else SET, _read(entry.what), moved)


def _read(kept: Measured) -> str:
    if kept.value is None:
        return kept.why_not
    unit = {"arcmin": "minutes of arc"}.get(kept.unit, kept.unit)
    doubt = "" if kept.doubt is None else f" ± {to_the_doubt(kept.doubt, kept.doubt)}"
    return f"{to_the_doubt(kept.value, kept.doubt or 0.0)}{doubt} {unit}"
