"""Results in a technician's words: shares, readings, costs, how a part is out of order."""

import math
from collections.abc import Iterable, Mapping
from typing import Final

from tapewright.faults.applied import fault_kind
from tapewright.machine.parts import SPOKEN_MODES, Machine, part_names, spoken
from tapewright.words.findings import PlanStep
from tapewright.words.reading import Reading
from tapewright.words.record import Heard
from tapewright.words.units import to_the_doubt
from tapewright.words.verdict import Verdict

READING_NAMES: Final = {
    "speed_error_pct": "speed error",
    "drift_pct": "drift",
    "weighted_peak_pct": "flutter, weighted peak",
    "weighted_quasi_peak_pct": "flutter, weighted quasi-peak",
    "weighted_rms_pct": "flutter, weighted rms",
    "weighted_average_pct": "flutter, weighted average",
    "unweighted_peak_pct": "flutter, unweighted peak",
    "unweighted_rms_pct": "flutter, unweighted rms",
    "unweighted_average_pct": "flutter, unweighted average",
    "wow_band_peak_pct": "wow alone, peak",
    "wow_band_rms_pct": "wow alone, rms",
    "flutter_band_peak_pct": "flutter without wow, peak",
    "flutter_band_rms_pct": "flutter without wow, rms",
}
EXPLAINS: Final = "explains the complaint"
UNEXPLAINED: Final = "unexplained"
TAPE: Final = "tape"
"""The part that the rescue of a trapped tape is about."""


def percent(share: float) -> str:
    """Write a share; never a bare 0 or 100, which would claim certainty.

    >>> percent(0.623), percent(0.0004), percent(1.0)
    ('62 %', 'under 1 %', 'over 99 %')
    """
    if not math.isfinite(share):
        return "not known"
    if share < 0.005:
        return "under 1 %"
    return "over 99 %" if share > 0.995 else f"{share * 100:.0f} %"


def name_of(machine: Machine | None, part: str) -> str:
    """Say a part; what the machine does not have is said by its name with blanks."""
    if machine is not None and part in part_names(machine):
        return spoken(machine, part)
    return part.replace("_", " ")


def out_of_order_as(machine: Machine, part: str, kind: str) -> str:
    """Say how a part is out of order, in the catalogue's words."""
    try:
        return fault_kind(machine, part, kind).says
    except KeyError:
        return kind.replace("_", " ")


def mode_said(mode: str) -> str:
    """Say a mode.

    >>> mode_said("fast_forward")
    'in fast forward'
    """
    return SPOKEN_MODES.get(mode, mode.replace("_", " "))


def reading_name(name: str) -> str:
    """Say what a reading is of."""
    return READING_NAMES.get(name, name.removesuffix("_pct").replace("_", " "))


def with_doubt(value: float, doubt: float | None, unit: str, *, sign: bool = False) -> str:
    """Write a value with its doubt and unit, both rounded to the doubt.

    >>> with_doubt(0.4217, 0.053, "%", sign=True)
    '+0.422 ± 0.053 %'
    """
    shown = to_the_doubt(value, doubt)
    if sign and value > 0:
        shown = "+" + shown
    if doubt is None or doubt <= 0 or not math.isfinite(doubt):
        return f"{shown} {unit}".rstrip()
    return f"{shown} ± {to_the_doubt(doubt, doubt)} {unit}".rstrip()


def reading_said(name: str, reading: Reading) -> str:
    """Write a reading, or why there is none."""
    if reading.value is None:
        return f"no reading: {reading.why_not}"
    signed = name in ("speed_error_pct", "drift_pct")
    if reading.interval is None:
        return with_doubt(reading.value, reading.doubt, reading.unit, sign=signed)
    low, high = reading.interval
    least = "at most" if low <= 0.0 else f"{low:.2g} to"
    return f"{with_doubt(reading.value, None, reading.unit, sign=signed)} ({least} {high:.2g} {reading.unit})"


def against_limit(verdict: Verdict | None) -> str:
    """Say what a limit makes of a reading, and whose limit it is; nothing where there is none.

    >>> against_limit(Verdict("fail", 0.1, "%", "the machine's own sheet"))
    "fail: limit 0.1 % (the machine's own sheet)"
    """
    if verdict is None:
        return ""
    return f"{verdict.verdict}: limit {verdict.limit:g} {verdict.unit} ({verdict.source})"


def cost_said(step: PlanStep) -> str:
    """Say what a step's parts cost; the catalogue's prices have no currency of their own."""
    if step.cost_high <= 0:
        return "nothing to buy"
    if step.cost_low == step.cost_high:
        return f"{step.cost_low:.0f}"
    return f"{step.cost_low:.0f} to {step.cost_high:.0f}"


def minutes_said(minutes: float) -> str:
    """Say a length of work.

    >>> minutes_said(1.0), minutes_said(2.5)
    ('1 minute', '2.5 minutes')
    """
    return f"{minutes:g} minute" + ("" if minutes == 1 else "s")


def answer_said(present: bool | None) -> str:
    """Say what was answered."""
    return {True: "noticed", False: "looked for, not there", None: "cannot tell"}[present]


def rescue(plan: Iterable[PlanStep]) -> PlanStep | None:
    """Give the step that gets a trapped tape out; None when no tape is in danger."""
    return next((step for step in plan if step.part == TAPE), None)


def tone_said(heard: Heard) -> str:
    """Say which tone was found, or why there is none."""
    tone = heard.tone
    if not tone.get("found"):
        return f"No test tone: {tone.get('why_not') or 'none was found'}"
    said = f"Test tone of {_number(tone, 'frequency_hz', '.2f')} Hz"
    if tone.get("start_s") is not None and tone.get("end_s") is not None:
        said += f", from {_number(tone, 'start_s', '.1f')} s to {_number(tone, 'end_s', '.1f')} s"
    if tone.get("snr_db") is not None:
        said += f", {_number(tone, 'snr_db', '.0f')} dB above the noise"
    return said + "."


def _number(tone: Mapping[str, object], key: str, how: str) -> str:
    value = tone.get(key)
    return format(value, how) if isinstance(value, (int, float)) else "?"
