"""Before and after of a test sequence: every reading by name, track and tone, and whether it is nearer to its aim."""

import math
from collections.abc import Sequence
from typing import Final

from tapewright.words import one_pass as names
from tapewright.words.comparison import (
    BETTER,
    NEITHER,
    ONLY_AFTER,
    ONLY_BEFORE,
    OTHER,
    WITHIN_DOUBT,
    WORSE,
    PassChange,
)
from tapewright.words.one_pass import Judgement, PassReading, PassSaid
from tapewright.words.reading import Reading

TO_NOUGHT: Final = (names.AZIMUTH, names.BALANCE, names.SCATTER, names.RESPONSE, names.BETWEEN)
"""Nearer to nought is better."""
DOWN: Final = (
    names.WANDER, names.CROSSTALK, names.NOISE_A, names.NOISE_468, names.THIRD, names.ERASURE, names.HUM,
    names.DROPOUTS, names.SPACING, names.INTERMODULATION,
)  # fmt: skip
"""Less is better."""
UP: Final = (names.THREE_PERCENT,)
"""More is better. Of what is in none of the three, such as the level, neither way is."""

LEAST: Final = {"dB": 0.05, "arcmin": 0.1, "µm": 0.05, "%": 0.02, "µs": 0.5}
"""A change is never called surer than this: what the readings are good for when everything is wrong at once."""


def pass_changes(before: PassSaid, after: PassSaid) -> list[PassChange]:
    """Say of each reading of a pass what changed.

    Arguments:
        before: the earlier pass.
        after: the later one.

    Returns:
        One change for each reading that either pass has.
    """
    earlier, later = ({one.key: one for one in said.readings} for said in (before, after))
    verdicts = [_verdicts(said.acceptance) for said in (before, after)]
    changes = []
    for key in dict.fromkeys([*earlier, *later]):
        pair = earlier.get(key) or _missing(later[key]), later.get(key) or _missing(earlier[key])
        change, verdict = pass_change(key[0], pair[0].reading, pair[1].reading)
        said = [one.get(key[:4], "") for one in verdicts]
        changes.append(PassChange(*pair, change, verdict, *said))
    return changes


def _verdicts(judged: Sequence[Judgement]) -> dict[tuple[str, int, int, float | None], str]:
    return {
        (one.name, one.track, one.from_track, one.at_hz): one.verdict.verdict
        for one in judged
        if one.verdict is not None
    }


def _missing(one: PassReading) -> PassReading:
    none = Reading(None, one.reading.unit, why_not="That section was not there.")
    return PassReading(one.name, none, one.track, one.from_track, one.at_hz, one.at_db)


def pass_change(name: str, before: Reading, after: Reading) -> tuple[Reading, str]:
    """Give the change of one reading, and what it means for the machine.

    >>> pass_change("noise_a_db", Reading(-48.0, "dB", 0.3), Reading(-52.0, "dB", 0.4))[1]
    'better'
    >>> pass_change("azimuth_arcmin", Reading(3.0, "arcmin", 0.1), Reading(-3.0, "arcmin", 0.1))[1]
    'changed and no nearer'
    """
    if before.value is None or after.value is None:
        return _one_missing(name, before, after)
    doubt = max(math.hypot(before.doubt or 0.0, after.doubt or 0.0), LEAST.get(after.unit, 0.0))
    change = Reading(after.value - before.value, after.unit, doubt, method="after less before, doubts as independent")
    if abs(after.value - before.value) <= doubt:
        return change, WITHIN_DOUBT
    gain = {
        **dict.fromkeys(TO_NOUGHT, abs(before.value) - abs(after.value)),
        **dict.fromkeys(DOWN, before.value - after.value),
        **dict.fromkeys(UP, after.value - before.value),
    }.get(name, 0.0)
    return change, OTHER if abs(gain) <= doubt else BETTER if gain > 0.0 else WORSE


def _one_missing(name: str, before: Reading, after: Reading) -> tuple[Reading, str]:
    """Judge a change of which one end is only known to lie below something: what is gone below it is better."""
    when = "before" if before.value is None else "after"
    lacking = before if before.value is None else after
    change = Reading(None, after.unit, why_not=f"There is no reading from {when}: {lacking.why_not}")
    if before.value is None and after.value is None:
        return change, NEITHER
    known = after if before.value is None else before
    most = None if lacking.interval is None else lacking.interval[1]
    if most is not None and name in DOWN and known.value is not None and most < known.value - (known.doubt or 0.0):
        return change, BETTER if known is before else WORSE
    return change, ONLY_AFTER if before.value is None else ONLY_BEFORE


def heads_said(changes: Sequence[PassChange]) -> str:
    """Say in a sentence what became of heads and levels, kind of reading by kind; "" where nothing was compared.

    A kind is better where some track is and none is worse.
    """
    kinds: dict[str, list[str]] = {}
    for one in changes:
        if one.verdict != NEITHER and one.after.name in (*TO_NOUGHT, *DOWN, *UP):
            kinds.setdefault(one.after.name, []).append(one.verdict)
    if not kinds:
        return ""
    worse = sum(WORSE in each for each in kinds.values())
    better = sum(BETTER in each and WORSE not in each for each in kinds.values())
    mixed = sum(BETTER in each and WORSE in each for each in kinds.values())
    said = f"Heads and levels: of {len(kinds)} kinds of readings {better} better, {worse - mixed} worse"
    return f"{said}, {mixed} better on some tracks or tones and worse on others." if mixed else f"{said}."
