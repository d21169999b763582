"""Which rotor explains which line of the speed, how surely, and what is left unexplained.

For a line at f and a part that turns r times a second, the harmonic h is believed by how near f lies to h r, allowing
for the doubt of the sizes behind r, for the doubt of f, and, for reels, for every pack a side can have. "Unexplained"
stands for a line from anywhere, evenly over the logarithm of the frequency.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from tapewright.faults.drives import reached_from
from tapewright.machine.parts import Machine, shaft
from tapewright.machine.rates import Rate, rates
from tapewright.words.findings import BudgetItem
from tapewright.words.signal import Line

UNEXPLAINED: Final = "unexplained"
HARMONICS: Final = 6
"""Harmonics beyond the sixth are too small to be told from the background on these machines (from memory)."""
HARMONIC_FALL: Final = 1.5
"""A part's h-th harmonic is believed h to the power -1.5 as readily as its first; trade judgement."""
UNKNOWN_PRIOR: Final = 0.1
"""Chance beforehand that a line comes from something the description does not hold; trade judgement."""
BAND_HZ: Final = (0.1, 300.0)
LEAST_TOLERANCE: Final = 0.002
"""Nothing is known better than 0.2 %: belts creep by 0.2 to 1 % under load (published glossary figures), and so on."""
MAKES_LINES: Final = ("pulley", "flywheel", "capstan", "pinch_roller", "idler_tyre", "reel_table", "gear", "motor")


@dataclass(frozen=True, slots=True)
class _Source:
    """Something that can make a line: a shaft, a belt; a commutator or a gear's teeth, `multiple` to the turn."""

    part: str
    multiple: int
    low: float
    high: float
    tolerance: float


def budget(
    machine: Machine, lines: Sequence[Line], speed_error_pct: float = 0.0, mode: str = "play"
) -> list[BudgetItem]:
    """Say for each line which part explains it best, or that none does.

    Arguments:
        machine: whose rates are compared.
        lines: from the speed of a recording.
        speed_error_pct: how fast the recording ran, which moves every rate with it.
        mode: what the machine was doing.
    """
    sources = _sources(machine, mode, 1.0 + speed_error_pct / 100.0)
    return [_best(sources, line) for line in lines]


def unexplained_pct(items: Sequence[BudgetItem]) -> float:
    """Give what no part explains, percent peak: the root of the sum of squares of those lines."""
    return math.sqrt(sum(item.peak_pct**2 for item in items if item.part == UNEXPLAINED))


def _sources(machine: Machine, mode: str, scale: float) -> list[_Source]:
    found: dict[str, _Source] = {}
    at_rest = _stopped_by_then(machine, mode)
    for rate in rates(machine, mode).values():
        name = _named(machine, rate)
        if name is not None and rate.name not in at_rest and rate.turns_per_s.value > 0:
            low, high = rate.range_per_s or (rate.turns_per_s.value, rate.turns_per_s.value)
            relative = max(rate.turns_per_s.relative_doubt / 1.96, LEAST_TOLERANCE)
            multiple = _multiple(machine, rate)
            found.setdefault(f"{name} x {multiple}", _Source(name, multiple, low * scale, high * scale, relative))
    return list(found.values())


def _stopped_by_then(machine: Machine, mode: str) -> frozenset[str]:
    """Name what only turns until the head base is in place: it makes no line in a steady recording."""
    entered = machine.modes[mode]
    ended = {s.ends for s in machine.sensors.values() if s.ends in entered.motors}
    goes_on = {s for motor in entered.motors if motor not in ended for s in reached_from(machine, entered, motor)}
    shafts = {s for motor in ended for s in reached_from(machine, entered, motor)} - goes_on
    riders = {rotor for rotor in machine.rotors if shaft(machine, rotor) in shafts}
    return frozenset(riders | {c.name for c in machine.couplings.values() if shaft(machine, c.driver) in shafts})


def _multiple(machine: Machine, rate: Rate) -> int:
    if rate.what == "commutator":
        return machine.rotors[rate.name].segments
    return machine.rotors[rate.name].teeth if rate.what == "teeth" else 1


def _named(machine: Machine, rate: Rate) -> str | None:
    """Name the part a rate is told by: rotors on one shaft have one rate, and the one the tape feels lends its name."""
    if rate.what != "rotor":
        return rate.name
    rotor = machine.rotors.get(rate.name)
    if rotor is None or rotor.kind not in MAKES_LINES:
        return None
    owner = shaft(machine, rate.name)
    riders = [r for r in machine.rotors.values() if shaft(machine, r.name) == owner]
    felt = [r.name for r in riders if r.kind in ("capstan", "reel_table", "pinch_roller", "idler_tyre")]
    return (felt or [owner])[0]


def _best(sources: Sequence[_Source], line: Line) -> BudgetItem:
    weights: dict[tuple[str, int], float] = {}
    orders = sum(h**-HARMONIC_FALL for h in range(1, HARMONICS + 1))
    for source in sources:
        for h in range(1, HARMONICS + 1):
            prior = (1.0 - UNKNOWN_PRIOR) / len(sources) * h**-HARMONIC_FALL / orders
            order = h * source.multiple
            weights[source.part, order] = weights.get((source.part, order), 0.0) + prior * _density(source, h, line)
    weights[UNEXPLAINED, 0] = UNKNOWN_PRIOR / math.log(BAND_HZ[1] / BAND_HZ[0])
    total = sum(weights.values())
    (part, order), weight = max(weights.items(), key=lambda pair: pair[1])
    return BudgetItem(part, order, line.frequency_hz, line.peak_pct, line.doubt_pct, weight / total)


def _density(source: _Source, h: int, line: Line) -> float:
    """Give the density over the logarithm of frequency of a source's h-th harmonic at the line."""
    spread = math.hypot(source.tolerance, line.frequency_doubt_hz / 1.96 / line.frequency_hz)
    low, high = math.log(h * source.low), math.log(h * source.high)
    at = math.log(line.frequency_hz)
    if high - low < spread / 10:
        return math.exp(-0.5 * ((at - (low + high) / 2) / spread) ** 2) / (spread * math.sqrt(2 * math.pi))
    inside = _normal((at - low) / spread) - _normal((at - high) / spread)
    return max(inside, 0.0) / (high - low)


def _normal(z: float) -> float:
    return 0.5 * (1.0 + math.erf(z / math.sqrt(2.0)))
