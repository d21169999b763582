"""When to stop turning: what a reading comes to against what a step asks for."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from tapewright.words.reading import Reading
from tapewright.words.setting_up import SetUpStep

STOP: Final = "stop"
INSIDE: Final = "inside"
TOO_NEAR: Final = "too near to tell"
GO_ON: Final = "go on"
UNREAD: Final = "not read"


@dataclass(frozen=True, slots=True)
class Standing:
    """What a reading comes to.

    Arguments:
        word: "stop", "inside", "too near to tell", "go on" or "not read".
        says: why, a sentence.
        off: how far from the target, either way; None where nothing was read.
    """

    word: str
    says: str
    off: float | None = None


def standing(step: SetUpStep, reading: Reading, passes: Sequence[float] = ()) -> Standing:
    """Say whether to go on turning.

    Arguments:
        step: from `set_up_plan`.
        reading: in the step's unit.
        passes: how far it was off after each pass before, either way, the last one last.

    >>> from tapewright.jobs.setting_up import set_up_plan
    >>> from tapewright.machine.library import shipped
    >>> azimuth = next(one for one in set_up_plan(shipped("four_track")).steps if one.id == "azimuth")
    >>> [standing(azimuth, Reading(off, "arcmin", 0.2)).word for off in (0.5, 1.5, 1.9, 5.0)]
    ['stop', 'inside', 'too near to tell', 'go on']
    """
    if reading.value is None:
        return Standing(UNREAD, reading.why_not or "Nothing was read.")
    off = abs(reading.value - (step.target or 0.0))
    doubt = reading.doubt or 0.0
    if step.target is None or step.tolerance is None:
        return Standing(GO_ON, "No figure holds here: stop when a turn either way makes it worse.", off)
    if step.enough is not None and off + doubt <= step.enough:
        return Standing(STOP, f"Nearer than {amount_said(step.enough, step.unit)} there is nothing to gain.", off)
    if off <= doubt <= step.tolerance:
        right = amount_said(step.target or 0.0, step.unit)
        return Standing(STOP, f"It cannot be told from right: it is within its own doubt of {right}.", off)
    inside = off + doubt <= step.tolerance
    if inside and passes and passes[-1] - off < doubt:
        return Standing(STOP, "Inside, and the last pass gained less than the doubt.", off)
    if inside:
        return Standing(INSIDE, f"Inside {amount_said(step.tolerance, step.unit)} by more than the doubt.", off)
    if off - doubt <= step.tolerance:
        return Standing(TOO_NEAR, f"Too near the limit of {amount_said(step.tolerance, step.unit)} to tell.", off)
    if passes and passes[-1] - off < doubt and abs(passes[-1] - off) < doubt:
        return Standing(
            GO_ON, "The last pass gained less than the doubt: look for what holds it back, then go on.", off
        )
    return Standing(GO_ON, f"Outside {amount_said(step.tolerance, step.unit)}.", off)


def amount_said(value: float, unit: str) -> str:
    """Say an amount with its unit.

    >>> amount_said(1.0, "arcmin"), amount_said(2.02, "arcmin"), amount_said(0.5, "dB")
    ('1 minute of arc', '2 minutes of arc', '0.5 dB')
    """
    said = f"{value:.2g}"
    if unit == "arcmin":
        return f"{said} {'minute' if said == '1' else 'minutes'} of arc"
    return f"{said} {unit}"
