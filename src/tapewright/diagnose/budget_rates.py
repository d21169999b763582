"""What can make a line, at which rate, and which errors of the description move those rates together.

The logarithm of each rate is linear in small errors, so all of them are one normal law: sizes (a wrong capstan diameter
moves every rate on its side of the tape), the speed the recording ran at, creep of belts and rubber. Two things are not
small and are gone through in steps: how well the sizes were measured, and where the two packs of tape stand.
"""

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.faults.drives import reached_from
from tapewright.machine.couplings import steps
from tapewright.machine.doubt import Columns, columns
from tapewright.machine.formulas import half_side_radius
from tapewright.machine.parts import Machine, TapeFormat, ended_by_switches, shaft
from tapewright.machine.rates import Rate, rate_columns, rates, speed_factor
from tapewright.machine.typical import all_sizes

HARMONICS: Final = 6
"""Harmonics beyond the sixth are too small to be told from the background on these machines (from memory)."""
FIRST: Final = 0.4
"""Chance that a part which the capstan's side carries shows its own rate in a recording; trade judgement, as are the
next eight."""
FIRST_OF_A_REEL: Final = 0.3
FIRST_WITH_A_PACK: Final = 0.2
"""What turns with a pack of tape reaches the tape by its tension only."""
MULTIPLE: Final = (0.15, 0.05)
"""Teeth or commutator segments, and their second harmonic, whatever else the part shows."""
BESIDE: Final = (1.0, 0.35, 0.2, 0.12, 0.08, 0.06)
"""Chance of the h-th order of a part that shows a lower one: harmonics come with their fundamental."""
ALONE: Final = (1.0, 0.025, 0.01, 0.005, 0.0025, 0.0025)
"""The same of a part that shows no lower one, as a share of the chance of its first."""
QUALITY: Final = ((0.0, 0.3), (0.005, 0.3), (0.01, 0.25), (0.016, 0.15))
"""How well sizes were measured, one sigma beyond the doubt that the description states, and how often. Diameters of
small and rubber parts are commonly read 0.3 to 1.5 % wrong; trade judgement."""
CREEP: Final = {"belt": (0.003, 0.0025), "tyre": (0.003, 0.004), "nip": (0.0, 0.005)}
"""How much slower what is driven comes out than diameters say, mean and one sigma: belts creep by 0.2 to 1 % under load
(published glossary figures), a pressed rubber rim has another radius than it shows (from memory)."""
SPEED_SIGMA: Final = 0.0015
"""Error of the test tape's own speed, one sigma; from memory."""
SPEED_UNKNOWN_SIGMA: Final = 0.015
"""The same where no nominal tone says how fast the machine ran: within 3 %, as machines that work are."""
ROUND: Final = 0.0005
"""What is left over for each shaft by itself, one sigma; from memory."""
PLACES: Final = 24
FILLS: Final = ((1.0, 0.05, 0.7), (0.8, 0.08, 0.2), (0.55, 0.1, 0.1))
"""How much of a full side the cassette holds, its one sigma, how often: C60 and C90 fill it, short ones do not; trade
judgement."""
HUB_SIGMA: Final = 0.01
"""Hubs differ; from memory."""
MAKES_LINES: Final = ("pulley", "flywheel", "capstan", "pinch_roller", "idler_tyre", "reel_table", "gear", "motor")
TOUCHES: Final = ("capstan", "reel_table", "pinch_roller", "idler_tyre")
Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Candidate:
    """One way for a line to come about: an order of a part's rate.

    Arguments:
        part: the name it is told by.
        order: lines to one turn or pass.
        rate: which of `Rates.log_rate` it goes by.
        beside: expected number of such lines where the part shows a lower order.
        alone: the same where it shows none.
        mates: what else sits on that shaft; no recording tells them apart.
    """

    part: str
    order: int
    rate: int
    beside: float
    alone: float
    mates: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Rates:
    """Every rate of a machine in one mode, as one normal law of logarithms.

    Arguments:
        candidates: what can make a line.
        log_rate: logarithm of each rate, hertz, with both packs half way, shape (n,).
        covariance: for each quality of the sizes, shape (qualities, n, n).
        quality: logarithm of the chance of each, shape (qualities,).
        by_pack: how each logarithm moves with that of the take-up and of the supply radius, shape (n, 2).
        packs: means of the two logarithms about half way, shape (places, 2).
        pack_covariance: shape (places, 2, 2).
        pack_chance: logarithm of the chance of each place, shape (places,).
        slowing: relative loss of rate per second of a take-up and of a supply reel at each place, shape (places, 2).
    """

    candidates: tuple[Candidate, ...]
    log_rate: Array
    covariance: Array
    quality: Array
    by_pack: Array
    packs: Array
    pack_covariance: Array
    pack_chance: Array
    slowing: Array


def line_rates(machine: Machine, mode: str, speed_error_pct: float | None = 0.0) -> Rates:
    """Give what can make a line in a mode, and how the rates hang together.

    Arguments:
        machine: as described.
        mode: its name.
        speed_error_pct: how fast the recording ran; None where that is not known.
    """
    table = columns(all_sizes(machine))
    half = float(half_side_radius(machine.tape.hub_radius_m, machine.tape.full_radius_m))
    turning = rate_columns(machine, mode, table, (half, half))
    probe = _Probe(machine, mode, tuple(turning), half)
    by_pack = np.stack([probe.slope(machine, (0.01, 0.0)), probe.slope(machine, (0.0, 0.01))], axis=1)
    carried = {key for key, way in zip(turning, by_pack, strict=True) if np.abs(way).max() > 0.5}
    keys, candidates = _candidates(machine, mode, carried)
    by_pack = by_pack[[list(turning).index(key) for key in keys]]
    rows = np.array([turning[key] for key in keys]).reshape(len(keys), -1)
    probe = replace(probe, keys=keys)
    with_speed = probe.slope(replace(machine, tape=_sped(machine.tape)))
    known = speed_error_pct is not None
    scale = np.log1p(max(speed_error_pct or 0.0, -99.0) / 100.0)
    creeps, gained = _creeps(machine, mode, probe, with_speed)
    common = [creeps, with_speed[:, None] * (SPEED_SIGMA if known else SPEED_UNKNOWN_SIGMA), ROUND * np.eye(len(keys))]
    covariances = []
    for extra, _ in QUALITY:
        spread = np.concatenate([_by_sizes(rows, table, extra), *common], axis=1)
        covariances.append(spread @ spread.T)
    packs, pack_covariance, pack_chance, slowing = _places(machine.tape, half)
    return Rates(
        candidates,
        np.log(rows[:, 0]) + scale * with_speed + gained,
        np.array(covariances),
        np.log([share for _, share in QUALITY]),
        by_pack,
        packs,
        pack_covariance,
        pack_chance,
        slowing * np.exp(scale),
    )


# --- how rates move ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Probe:
    """How the logarithms of rates move when something is moved by 1 %."""

    machine: Machine
    mode: str
    keys: tuple[str, ...]
    half_m: float

    def slope(self, moved: Machine, packs: tuple[float, float] = (0.0, 0.0)) -> Array:
        """Give the change of each logarithm over that of what was moved."""
        return (self._logs(moved, packs) - self._logs(self.machine, (0.0, 0.0))) / float(np.log(1.01))

    def _logs(self, machine: Machine, packs: tuple[float, float]) -> Array:
        radii = (self.half_m * (1.0 + packs[0]), self.half_m * (1.0 + packs[1]))
        found = rate_columns(machine, self.mode, columns(all_sizes(machine), exact=True), radii)
        return np.asarray(np.log(np.array([found[key][0] for key in self.keys])), dtype=np.float64)


def _sped(tape: TapeFormat) -> TapeFormat:
    return replace(tape, speed_m_per_s=1.01 * tape.speed_m_per_s)


def _by_sizes(rows: Array, table: Columns, extra: float) -> Array:
    """Give what one sigma of each size does to each logarithm, shape (n, sizes); `extra` is for sizes that were read.

    Rates are products of sizes, so a wide range is taken by its logarithm, as in `machine.doubt.interval`.
    """
    slopes = np.log(rows[:, 1::2] / rows[:, 2::2])
    shares = np.zeros((len(rows), len(table.moved)))
    for index, name in enumerate(table.moved):
        size = table.sizes[name]
        scale = table.log_scales[index] if size.value > 0 else table.scales[index] / 2.0
        stated = scale / 1.96
        if size.basis == "described" and size.value > 0 and scale > 0:
            stated *= float(np.hypot(1.0, 1.96 * extra / np.arcsinh(size.doubt / size.value)))
        shares[:, index] = slopes[:, index] * stated
    return shares


def _creeps(machine: Machine, mode: str, probe: _Probe, with_speed: Array) -> tuple[Array, Array]:
    """Give what one sigma of each coupling's creep does to each logarithm at a held tape speed; and what its mean does.

    A coupling that passes less slows the tape down in `rates`; here the tape's speed is what was measured, and the
    motor behind the coupling turns faster instead.
    """
    spread, gained = [np.zeros(len(probe.keys))], np.zeros(len(probe.keys))
    for name in dict.fromkeys(step.coupling for step in steps(machine, mode)):
        coupling = machine.couplings[name]
        mean, sigma = CREEP.get(coupling.kind, (0.0, 0.0))
        if not sigma:
            continue
        worn = replace(coupling.imperfections, rate=1.01 * coupling.imperfections.rate)
        moved = replace(machine, couplings={**machine.couplings, name: replace(coupling, imperfections=worn)})
        slowed = np.log(speed_factor(moved, mode) / speed_factor(machine, mode)) / np.log(1.01)
        slope = probe.slope(moved) - with_speed * slowed
        spread.append(slope * sigma)
        gained = gained - slope * mean
    return np.stack(spread, axis=1), gained


def _places(tape: TapeFormat, half_m: float) -> tuple[Array, Array, Array, Array]:
    """Lay out where the packs can stand: all times of a side alike, for each fill; each place with a spread of its own.

    The areas of the two packs add up to one side of tape (closed form of our own), so one number gives both radii.
    """
    hub, side = tape.hub_radius_m**2, tape.full_radius_m**2 - tape.hub_radius_m**2
    means, covariances, chances, slowings = [], [], [], []
    for fill, sigma, share in FILLS:
        for wound in (np.arange(PLACES) + 0.5) / PLACES:
            squares = hub + fill * side * np.array([wound, 1.0 - wound])
            along = fill * side * np.array([1.0, -1.0]) / (2.0 * squares)
            fuller = side * np.array([wound, 1.0 - wound]) / (2.0 * squares)
            rounder = hub / squares
            spreads = ((1.0 / PLACES / np.sqrt(12.0), along), (sigma, fuller), (HUB_SIGMA, rounder))
            means.append(0.5 * np.log(squares) - np.log(half_m))
            covariances.append(sum(s**2 * np.outer(way, way) for s, way in spreads))
            chances.append(np.log(share / PLACES))
            loss = tape.speed_m_per_s * tape.thickness_m / (2.0 * np.pi * squares)
            slowings.append(loss * np.array([1.0, -1.0]))
    return np.array(means), np.array(covariances), np.array(chances), np.array(slowings)


# --- what can make a line ---------------------------------------------------------------------------------------------


def _candidates(machine: Machine, mode: str, carried: Collection[str]) -> tuple[tuple[str, ...], tuple[Candidate, ...]]:
    """List the orders of every part that turns; `rate` counts in the keys that are given with them.

    Arguments:
        machine: as described.
        mode: its name.
        carried: what turns with a pack of tape.
    """
    at_rest = _stopped_by_then(machine, mode)
    keys: list[str] = []
    found: dict[tuple[str, int], Candidate] = {}
    for rate in rates(machine, mode).values():
        if rate.name in at_rest or rate.turns_per_s.value <= 0:
            continue
        key, name = rate.name, rate.name
        mates: tuple[str, ...] = ()
        if rate.what != "belt":
            if machine.rotors[rate.name].kind not in MAKES_LINES:
                continue
            key = shaft(machine, rate.name)
            if rate.what == "rotor":
                name, mates = _told_by(machine, rate.name)
        if key not in keys:
            keys.append(key)
        first = _first(machine, name, key in carried)
        for one in _orders(machine, rate, name, keys.index(key), first, mates):
            known = found.get((one.part, one.order))
            found[one.part, one.order] = one if known is None else _both(known, one)
    return tuple(keys), tuple(found.values())


def _first(machine: Machine, name: str, carried: bool) -> float:
    if name in machine.rotors and machine.rotors[name].kind == "reel_table":
        return FIRST_OF_A_REEL
    return FIRST_WITH_A_PACK if carried else FIRST


def _orders(machine: Machine, rate: Rate, name: str, at: int, first: float, mates: tuple[str, ...]) -> list[Candidate]:
    if rate.what in ("rotor", "belt"):
        return [
            Candidate(name, h, at, BESIDE[h - 1] if h > 1 else first, first * ALONE[h - 1], mates)
            for h in range(1, HARMONICS + 1)
        ]
    rotor = machine.rotors[rate.name]
    multiple = rotor.segments if rate.what == "commutator" else rotor.teeth
    chances = [chance * first / FIRST for chance in MULTIPLE]
    return [Candidate(name, n * multiple, at, chance, chance, mates) for n, chance in enumerate(chances, start=1)]


def _both(one: Candidate, other: Candidate) -> Candidate:
    """Join two ways to the same order of a part, as a third harmonic and three segments."""
    return replace(one, beside=max(one.beside, other.beside), alone=max(one.alone, other.alone))


def _told_by(machine: Machine, rotor: str) -> tuple[str, tuple[str, ...]]:
    """Name the part a shaft's rate is told by, and what else rides on it: the one the tape feels lends its name."""
    owner = shaft(machine, rotor)
    riders = [r for r in machine.rotors.values() if shaft(machine, r.name) == owner]
    felt = [r.name for r in riders if r.kind in TOUCHES]
    name = (felt or [owner])[0]
    return name, tuple(r.name for r in riders if r.name != name and r.kind in MAKES_LINES)


def _stopped_by_then(machine: Machine, mode: str) -> frozenset[str]:
    """Name what only turns until the head base is in place: it makes no line in a steady recording."""
    entered = machine.modes[mode]
    ended = ended_by_switches(machine) & set(entered.motors)
    goes_on = {s for motor in entered.motors if motor not in ended for s in reached_from(machine, entered, motor)}
    shafts = {s for motor in ended for s in reached_from(machine, entered, motor)} - goes_on
    riders = {rotor for rotor in machine.rotors if shaft(machine, rotor) in shafts}
    return frozenset(riders | {c.name for c in machine.couplings.values() if shaft(machine, c.driver) in shafts})
