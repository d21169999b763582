"""Which rotor explains which line of the speed, how surely, what share of the reading it is, and what is left.

All lines are assigned together (`budget_search`), since they hang together: one error of the capstan's diameter moves
all rates, a rotor's harmonics come with its fundamental, the two packs add up to one side of tape. "Unexplained" is an
answer like any other: a line from something that the description does not hold.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from tapewright.diagnose.budget_rates import Candidate, Rates, line_rates
from tapewright.diagnose.budget_search import Assigned, assigned
from tapewright.machine.parts import Machine
from tapewright.machine.rates import rates
from tapewright.standards.iec_60386 import weighting_response
from tapewright.words.findings import BudgetItem, Rival
from tapewright.words.reading import Reading
from tapewright.words.signal import Line

UNEXPLAINED: Final = "unexplained"
WORTH_NAMING: Final = 0.05
"""A rival less likely than this is named only where nothing tells it apart."""
HARDLY: Final = 0.01
NOT_APART: Final = 1.0 / 8.0
"""Two parts whose rates fit a line so nearly alike are not told apart by it: two sigma of a normal law."""
MOST_RIVALS: Final = 4
SURE: Final = 0.9
LEAST_TURNS: Final = 48.0
"""In fewer a part's orders cannot be drawn over the tape."""


def budget(
    machine: Machine,
    lines: Sequence[Line],
    speed_error_pct: float | None = 0.0,
    mode: str = "play",
    weighted_rms_pct: Reading | None = None,
) -> list[BudgetItem]:
    """Say for each line which part explains it best, or that none does.

    Arguments:
        machine: whose rates are compared.
        lines: from the speed of a recording.
        speed_error_pct: how fast the recording ran, which moves the rates with it; None where nothing says so.
        mode: what the machine was doing.
        weighted_rms_pct: the reading that lines are shares of, if there is one.

    Returns:
        One for each line, in their order.

    Raises:
        KeyError: when the machine has no such mode.

    >>> from tapewright.machine.library import shipped
    >>> at_capstan = Line(12.05, 0.1, 0.01, 0.002, 0.001)
    >>> [(item.part, item.order) for item in budget(shipped("four_track"), [at_capstan])]
    [('capstan', 1)]
    """
    if not lines:
        return []
    law = line_rates(machine, mode, speed_error_pct)
    found = assigned(lines, law)
    items = [_item(line, place, found, law) for place, line in enumerate(lines)]
    return [_with_share(item, weighted_rms_pct) for item in items]


def unexplained_pct(items: Sequence[BudgetItem]) -> float:
    """Give what no part explains, percent peak: the root of the sum of squares of those lines."""
    return math.sqrt(sum(item.peak_pct**2 for item in items if item.part == UNEXPLAINED))


def beside_lines(items: Sequence[BudgetItem]) -> float | None:
    """Give the share of the weighted reading's power that is in no line, 0 to 1; None without such a reading."""
    shares = [item.share for item in items if item.share is not None]
    return max(0.0, 1.0 - sum(shares)) if shares else None


def turning_part(
    machine: Machine,
    lines: Sequence[Line],
    items: Sequence[BudgetItem],
    seconds: float,
    speed_error_pct: float | None = 0.0,
    mode: str = "play",
) -> tuple[str, float, float] | None:
    """Choose the part over whose turns the speed is best looked at: the one with the largest line it surely makes.

    Arguments:
        machine: whose parts they are.
        lines: as given to `budget`.
        items: what it gave.
        seconds: length of the recording.
        speed_error_pct: as given to `budget`.
        mode: as given to `budget`.

    Returns:
        Its name, its turns per second, its slowing per second; without such a line the capstan's, and None where the
        machine has none that turns.
    """
    sure = [
        (item, line)
        for item, line in zip(items, lines, strict=True)
        if item.order and item.probability >= SURE and item.frequency_hz / item.order * seconds >= LEAST_TURNS
    ]
    if sure:
        item, line = max(sure, key=lambda pair: pair[0].peak_pct)
        return item.part, item.frequency_hz / item.order, line.slowing_per_s
    scale = 1.0 + (speed_error_pct or 0.0) / 100.0
    turning = rates(machine, mode)
    capstans = [name for name in turning if name in machine.rotors and machine.rotors[name].kind == "capstan"]
    return (capstans[0], scale * turning[capstans[0]].turns_per_s.value, 0.0) if capstans else None


# --- one line ---------------------------------------------------------------------------------------------------------


def _item(line: Line, place: int, found: Assigned, law: Rates) -> BudgetItem:
    chances = _chances(place, found, law)
    (best, chance), *others = sorted(chances.items(), key=lambda pair: -pair[1])
    expected = _expected(place, found, law)
    rivals = []
    for number, other in others:
        # What is left of the odds when how common such lines are is taken out is what the frequency says.
        by_frequency = other / chance * expected.get(best, 1.0) / expected.get(number, 1.0)
        apart = number < 0 or best < 0 or by_frequency < NOT_APART
        if other >= WORTH_NAMING or (other >= HARDLY and not apart):
            rivals.append(Rival(*_called(number, law), other, apart))
    one = law.candidates[best] if best >= 0 else None
    return BudgetItem(
        *_called(best, law),
        line.frequency_hz,
        line.peak_pct,
        line.doubt_pct,
        min(chance, 1.0),
        tuple(rivals[:MOST_RIVALS]),
        one.mates if one else (),
    )


def _called(number: int, law: Rates) -> tuple[str, int]:
    return (UNEXPLAINED, 0) if number < 0 else (law.candidates[number].part, law.candidates[number].order)


def _chances(place: int, found: Assigned, law: Rates) -> dict[int, float]:
    summed = np.bincount(found.chosen[:, place] + 1, weights=found.chance, minlength=len(law.candidates) + 1)
    return {int(at) - 1: float(summed[at]) for at in np.flatnonzero(summed > 0.0)}


def _expected(place: int, found: Assigned, law: Rates) -> dict[int, float]:
    """Give how common such a line was taken to be, for each candidate, given what else the best assignments say."""
    others = np.delete(found.chosen[np.argmax(found.chance)], place)
    shown = [law.candidates[number] for number in others if number >= 0]
    return {number: _of_one(law.candidates[number], shown) for number in _chances(place, found, law) if number >= 0}


def _of_one(one: Candidate, shown: Sequence[Candidate]) -> float:
    lower = any(other.part == one.part and other.order < one.order for other in shown)
    return one.beside if lower else one.alone


def _with_share(item: BudgetItem, rms: Reading | None) -> BudgetItem:
    """Give a line's share of the weighted reading: powers add, where peaks do not."""
    if rms is None or rms.value is None or rms.value <= 0.0:
        return item
    gain = float(np.abs(weighting_response(np.array([item.frequency_hz])))[0])
    share = (item.peak_pct * gain / rms.value) ** 2 / 2.0
    doubt = 2.0 * share * math.hypot(item.doubt_pct / max(item.peak_pct, 1e-12), (rms.doubt or 0.0) / rms.value)
    return replace(item, share=min(share, 1.0), share_doubt=min(doubt, 1.0))
