"""How a machine is set up, for a terminal; and the words that the bench page shares with it."""

from collections.abc import Sequence
from typing import Final

from tapewright.machine.parts import SPOKEN_MODES, Machine
from tapewright.show.columns import bullets, heading, paragraph
from tapewright.words.setting_up import SetUpPlan, SetUpStep

UNITS: Final = {"arcmin": "minutes of arc"}
READINGS: Final = {
    "angle_arcmin": "azimuth, by the delay between the tracks",
    "balance_db": "balance of the outer tracks",
    "speed_error_pct": "speed error, mean",
    "level_db": "level against the one kept as reference",
    "deviation_db": "each tone against 315 Hz",
}
"""What is followed live, by the name of the reading."""


def unit_said(unit: str) -> str:
    """Say a unit.

    >>> unit_said("arcmin"), unit_said("dB")
    ('minutes of arc', 'dB')
    """
    return UNITS.get(unit, unit)


def aim_said(step: SetUpStep, *, whose: bool = True) -> str:
    """Say what a step should come to and how far it may be off.

    Arguments:
        step: of setting up.
        whose: say, too, where the limit is from.
    """
    if step.target is None:
        top = f"The top, or as its sheet says; {step.source}." if whose else "The top, or as its sheet says."
        return top if step.reading else "By eye: no figure."
    if step.tolerance is None:
        return f"{step.target:g} {unit_said(step.unit)}."
    aim = f"{step.target:g} ± {step.tolerance:.2g} {unit_said(step.unit)}"
    return f"{aim} ({step.source})." if whose else f"{aim}."


def names_said(plan: SetUpPlan, ids: Sequence[str]) -> str:
    """Name steps by what they are called.

    Arguments:
        plan: that they are in.
        ids: of steps.
    """
    called = {step.id: step.says for step in plan.steps}
    return "; ".join(called.get(one, one) for one in ids)


def setting_up_text(machine: Machine, plan: SetUpPlan) -> str:
    """Write the plan for a terminal.

    Arguments:
        machine: as described.
        plan: from `set_up_plan`.
    """
    pieces = [heading(f"Setting up: {machine.title}")]
    pieces += [_step(number, step, plan) for number, step in enumerate(plan.steps, 1)]
    pieces += ["", heading("When they pull against each other")]
    pieces.append(
        bullets([f"{one.between[:1].upper()}{one.between[1:]}. {one.says} {one.do}" for one in plan.conflicts])
    )
    pieces += ["", heading("Never to be turned")]
    pieces.append(bullets([_never(one.what, one.why, one.unless) for one in plan.never]))
    pieces += ["", heading("Tapes"), bullets([f"{kind}: {says}." for kind, says in plan.tapes])]
    pieces += ["", bullets(plan.notes)]
    return "\n".join(pieces)


def _never(what: str, why: str, unless: str) -> str:
    said = f"{what[:1].upper()}{what[1:]}"
    return f"{said}, without {unless}. {why}" if unless else f"{said}. {why}"


def _step(number: int, step: SetUpStep, plan: SetUpPlan) -> str:
    lines = ["", paragraph(f"{number}. {step.says} ({SPOKEN_MODES.get(step.mode, step.mode)})", "   ", "")]
    if step.left_alone:
        return "\n".join([*lines, paragraph(f"LEFT ALONE: {step.left_alone}", "   ")])
    lines += [paragraph(f"Caution: {one}", "   ") for one in step.cautions]
    told = [
        ("Turns", step.adjusts),
        ("Where", step.where),
        ("Tape", ", ".join(step.tapes)),
        ("Reads", READINGS.get(step.reading, "")),
        ("Aim", aim_said(step)),
        ("How", step.how),
        ("Stop", " ".join(step.stop)),
        ("Moves besides", names_said(plan, step.disturbs)),
        ("Look again at", names_said(plan, step.look_again)),
    ]
    lines += [paragraph(f"{name}: {text}", "     ", "   ") for name, text in told if text]
    return "\n".join(lines)
