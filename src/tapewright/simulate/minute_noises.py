"""Which parts squeal, knock, thump or rub in a minute, and when: read off the outcome and the parts' imperfections.

How long a burst lasts and at which pitch a squeal sits are from memory; the band is that of common practice.
"""

from collections.abc import Iterator
from typing import Final

import numpy as np

from tapewright.faults.conditions import HEARD_FROM, LUMP_FELT, chirps, noise
from tapewright.faults.consequences import mode_asked, outcome
from tapewright.machine.couplings import active
from tapewright.machine.parts import Imperfections, Machine, shaft
from tapewright.simulate.minute_course import MinuteCourse, Spell
from tapewright.simulate.minute_truth import TrueNoise
from tapewright.simulate.minute_turning import GRID_HZ, Turning

SQUEAL_HZ: Final = (1250.0, 8000.0)
"""Band in which rubber and dry bushes squeal; from memory, near what is called squeal of brakes (SAE J2521)."""
SQUEAL_S: Final = (0.8, 4.0)
"""Shortest and longest burst of a squeal; from memory."""
CHIRP_S: Final = (0.15, 0.6)
"""The same of one that comes at times."""
PAUSE_S: Final = (0.2, 1.5)
"""Silence between two bursts; from memory."""
TURNS_FROM_HZ: Final = 0.05
"""Slower than this nothing squeals or knocks."""
CHIRPS_THIS_TIME: Final = 0.7
"""Chance that what squeals at times does so in one mode; from memory."""


def noises(course: MinuteCourse, turning: Turning, seed: int) -> tuple[TrueNoise, ...]:
    """List what squeals, knocks and rubs in a minute, in the order of time."""
    rng = np.random.default_rng([seed, 22])
    pitch = {name: _pitch(rng) for name in (*course.machine.rotors, course.machine.cassette.name)}
    found: list[TrueNoise] = []
    for spell in course.spells:
        if spell.mode != "off":
            found += _squealing(course, turning, spell, pitch, rng)
            found += _knocking(course.machine, turning, spell)
    return tuple(sorted(found, key=lambda one: one.start_s))


def _pitch(rng: np.random.Generator) -> float:
    low, high = np.log(SQUEAL_HZ)
    return float(np.exp(rng.uniform(low, high)))


# --- squeals ----------------------------------------------------------------------------------------------------------


def _squealing(
    course: MinuteCourse, turning: Turning, spell: Spell, pitch: dict[str, float], rng: np.random.Generator
) -> Iterator[TrueNoise]:
    for part, how in _squealers(course, spell).items():
        # One draw each, whether used or not, so that one part's squeal does not shift another's.
        draws = np.random.default_rng(int(rng.integers(2**32)))
        if how == "at_times" and draws.random() > CHIRPS_THIS_TIME:
            continue
        rotor = _modulated_by(course.machine, spell, part)
        moving = _moving(turning, spell, rotor)
        if moving is None:
            continue
        start_s, end_s = moving
        lasts, kind = (SQUEAL_S, "squeal") if how == "yes" else (CHIRP_S, "chirp")
        at_s = start_s + float(draws.uniform(0.2, 0.8))
        while at_s < end_s - 0.1:
            stop_s = min(at_s + float(draws.uniform(*lasts)), end_s)
            rate = _mean(turning, rotor, at_s, stop_s)
            yield TrueNoise(part, kind, spell.mode, at_s, stop_s, rate, pitch[part])
            at_s = stop_s + float(draws.uniform(*PAUSE_S)) * (1.0 if how == "yes" else 2.0)


def _squealers(course: MinuteCourse, spell: Spell) -> dict[str, str]:
    """Name what squeals in a spell, and whether at times only."""
    machine, values = course.machine, outcome(course.machine).values
    mode = machine.modes[spell.mode]
    found = dict(course.told[spell.mode].squeals)
    asked = mode_asked(machine, spell.mode)
    for name, rotor in machine.rotors.items():
        turns = values.get(f"turns:{shaft(machine, name)}@{asked}", "still") not in ("still", "loose")
        if rotor.kind == "idler_tyre" and mode.takes_up and turns:
            found.setdefault(name, values.get(chirps(name).name, "no"))
        if rotor.kind == "pinch_roller" and mode.at_capstan:
            found.setdefault(name, values.get(f"squeaks:{name}", "no"))
    if mode.at_capstan:
        found[machine.cassette.name] = values.get(noise(machine.cassette.name).name, "no")
    return {name: how for name, how in found.items() if how != "no"}


def _modulated_by(machine: Machine, spell: Spell, part: str) -> str:
    """Name the rotor whose turns a squeal swells with: the cassette's swell with the pack that gives tape."""
    return machine.modes[spell.mode].gives if part == machine.cassette.name else part


# --- knocks, thumps, rubbing ------------------------------------------------------------------------------------------


def _knocking(machine: Machine, turning: Turning, spell: Spell) -> Iterator[TrueNoise]:
    """List what knocks, thumps or rubs once a turn, or once a pass of a belt."""
    at_work = {coupling.name for coupling in active(machine, machine.modes[spell.mode])}
    for name in [*machine.rotors, *(name for name in machine.couplings if machine.couplings[name].path[1:])]:
        # What is not engaged does not knock, however worn; a belt runs on as long as its pulleys turn.
        if name in machine.couplings and machine.couplings[name].kind != "belt" and name not in at_work:
            continue
        coupling = machine.couplings.get(name)
        wrong = coupling.imperfections if coupling else machine.rotors[name].imperfections
        kind = _kind_of_noise(wrong)
        # A belt comes round by itself; a mesh, a worm or a clutch knocks as what it drives turns.
        rotor = name if coupling is None or coupling.kind == "belt" else coupling.path[1]
        moving = _moving(turning, spell, rotor) if kind and wrong.present else None
        if moving is not None:
            yield TrueNoise(name, kind, spell.mode, *moving, _mean(turning, rotor, *moving))


def _kind_of_noise(wrong: Imperfections) -> str:
    lumpy, noisy = wrong.lump >= LUMP_FELT, wrong.noise >= HEARD_FROM
    if lumpy:
        return "knock" if noisy else "thump"
    return "rub" if noisy else ""


def _moving(turning: Turning, spell: Spell, rotor: str) -> tuple[float, float] | None:
    """Give from when to when something turns within a spell; None when it does not."""
    rate = turning.rates_hz.get(rotor)
    if rate is None:
        return None
    first, last = round(spell.start_s * GRID_HZ), round(spell.end_s * GRID_HZ)
    turns = np.flatnonzero(rate[first:last] > TURNS_FROM_HZ)
    if len(turns) < 0.3 * GRID_HZ:
        return None
    return float(first + turns[0]) / GRID_HZ, float(first + turns[-1] + 1) / GRID_HZ


def _mean(turning: Turning, rotor: str, start_s: float, end_s: float) -> float:
    here = turning.rates_hz[rotor][round(start_s * GRID_HZ) : max(round(end_s * GRID_HZ), round(start_s * GRID_HZ) + 1)]
    return float(here.mean()) if len(here) else 0.0
