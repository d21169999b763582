"""How fast everything turns through a minute: run-up and run-down by inertia, slip, the packs of tape.

Run-up and run-down are of a motor with all that it carries: a torque is left over, or only friction is, and the rate
changes in a straight line. Sizes marked so are from memory.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from tapewright.faults.consequences import mode_asked, outcome
from tapewright.faults.drives import reached_from
from tapewright.faults.tape_speed import racing_turns, speed_ratio
from tapewright.machine.formulas import pack_length, pack_radius
from tapewright.machine.parts import Machine, Mode, Rotor, shaft
from tapewright.machine.rates import rates
from tapewright.machine.typical import typical
from tapewright.simulate.minute_course import MinuteCourse, Spell
from tapewright.simulate.pack import Samples

GRID_HZ: Final = 100.0
"""How often the rates are worked out."""
MOTOR_INERTIA: Final = 1.2e-6
"""Of a small motor's armature, kg m2; from memory."""
MOTOR_FRICTION_NM: Final = 5e-4
"""Of its brushes and bushes; from memory. With a usual flywheel on its belt it then coasts for two to three seconds."""
PASSING: Final = frozenset({"right", "slow", "fast", "weak", "uneven", "hard", "at_times", "runs_away", "races"})
"""Words of a shaft that its driver carries along."""
SHARES: Final = {"still": 0.0, "loose": 0.0, "weak": 0.6, "slow": 0.95, "fast": 1.04, "races": 1.0}
"""What a shaft does of its right rate where its driver turns right; from memory."""
FALTERS: Final = {"weak": 0.45, "uneven": 0.06, "at_times": 0.1}
"""How unsteadily it then turns, relative rms; from memory."""
FALTERS_S: Final = 0.4
"""Time over which it falters; from memory."""
MOTOR_WANDERS: Final = {"uneven": 0.02, "weak": 0.015, "at_times": 0.01, "runs_away": 0.01}
"""Slow unsteadiness of a motor, relative rms; from memory."""
STEADY: Final = 0.0006
"""The same of a sound one; from memory."""
WANDERS_S: Final = 0.8


@dataclass(frozen=True, slots=True)
class Turning:
    """How fast everything turns.

    Arguments:
        times_s: shape (n,), from 0, one every hundredth of a second.
        rates_hz: by rotor or belt, shape (n,), turns a second.
        right_hz: by rotor or belt, in each mode, the rate that it has there when nothing slips.
    """

    times_s: Samples
    rates_hz: Mapping[str, Samples]
    right_hz: Mapping[str, Mapping[str, float]]


def run_up_s(machine: Machine, mode: str, motor: str, rate_hz: float) -> float:
    """Give how long a motor takes to come up to a rate with all it carries in a mode, seconds: J omega / (T - T_f)."""
    inertia, friction = _carried(machine, mode, motor)
    pull = typical("motor_starting_torque").value * machine.rotors[motor].imperfections.pull
    # Torque falls from the starting torque to what friction takes: on average half of the difference is left over.
    return inertia * 2 * math.pi * rate_hz / max((pull - friction) / 2, 0.1 * pull)


def run_down_s(machine: Machine, mode: str, motor: str, rate_hz: float) -> float:
    """Give how long a motor coasts from a rate with all it carried in a mode, seconds: J omega / T_f.

    >>> from tapewright.machine.library import shipped
    >>> round(run_down_s(shipped("four_track"), "cassette_in", "capstan_motor", 57.6), 1)
    1.9
    """
    inertia, friction = _carried(machine, mode, motor)
    return inertia * 2 * math.pi * rate_hz / friction


def _carried(machine: Machine, mode: str, motor: str) -> tuple[float, float]:
    """Give inertia and friction torque at a motor's shaft, with every shaft that it carries along in a mode."""
    own, values = rates(machine, mode), outcome(machine).values
    asked = mode_asked(machine, mode)
    inertia, friction = MOTOR_INERTIA, MOTOR_FRICTION_NM * machine.rotors[motor].imperfections.drag
    if motor not in own:
        return inertia, friction
    for owner in reached_from(machine, machine.modes[mode], motor):
        carried = owner in own and (
            owner == shaft(machine, motor) or values.get(f"turns:{owner}@{asked}", "") in PASSING
        )
        if not carried:
            continue
        ratio = own[owner].turns_per_s.value / own[motor].turns_per_s.value
        inertia += ratio**2 * sum(_inertia(rotor) for rotor in _riders(machine, owner))
        if owner != shaft(machine, motor):
            friction += ratio * typical("bearing_friction").value * machine.rotors[owner].imperfections.drag
    return inertia, friction


def _riders(machine: Machine, owner: str) -> list[Rotor]:
    return [rotor for rotor in machine.rotors.values() if shaft(machine, rotor.name) == owner]


def _inertia(rotor: Rotor) -> float:
    if rotor.kind != "flywheel":
        return 0.0
    return rotor.inertia.value if rotor.inertia is not None else typical("flywheel_inertia").value


# --- motors -----------------------------------------------------------------------------------------------------------


def turning(course: MinuteCourse, seed: int) -> Turning:
    """Work out how fast everything turns.

    Arguments:
        course: what happens.
        seed: decides how what falters falters.
    """
    machine, ends_s = course.machine, course.spells[-1].end_s
    times_s = np.arange(round(ends_s * GRID_HZ)) / GRID_HZ
    right = {
        mode: {key: one.turns_per_s.value for key, one in found.items()} for mode, found in course.own_rates.items()
    }
    rng = np.random.default_rng([seed, 21])
    rates_hz = {name: np.zeros(len(times_s)) for name in (*machine.rotors, *_belts(machine))}
    for motor in (name for name, rotor in machine.rotors.items() if rotor.kind == "motor"):
        rates_hz[motor] = _motor(course, motor, times_s, rng)
    modes = _drive_modes(course, times_s)
    for spell, driving in modes:
        here = _within(times_s, spell)
        _carry(course, spell, driving, rates_hz, here, right, rng)
    _reels(course, modes, times_s, rates_hz, right, rng)
    return Turning(times_s, rates_hz, right)


def _belts(machine: Machine) -> list[str]:
    return [name for name, coupling in machine.couplings.items() if coupling.kind == "belt"]


def _within(times_s: Samples, spell: Spell) -> slice:
    first, last = (int(np.searchsorted(times_s, at)) for at in (spell.start_s, spell.end_s))
    return slice(first, last)


def _motor(course: MinuteCourse, motor: str, times_s: Samples, rng: np.random.Generator) -> Samples:
    """Give a motor's rate: it follows what it is fed for, up as its torque and down as its friction allows."""
    target, wander = np.zeros(len(times_s)), np.full(len(times_s), STEADY)
    up, down = np.full(len(times_s), np.inf), np.full(len(times_s), np.inf)
    machine = course.machine
    for one in (fed for fed in course.fed if fed.motor == motor):
        here = slice(*(int(np.searchsorted(times_s, at)) for at in (one.start_s, one.end_s)))
        target[here], wander[here] = one.rate_hz, MOTOR_WANDERS.get(one.does, STEADY)
        up[here] = one.rate_hz / max(run_up_s(machine, one.mode, motor, one.rate_hz), 0.02) / GRID_HZ
        # What it carried when it was fed it carries while it coasts, until it is fed again.
        down[here.start :] = one.rate_hz / max(run_down_s(machine, one.mode, motor, one.rate_hz), 0.02) / GRID_HZ
    found, rate = np.zeros(len(times_s)), 0.0
    for at, (wanted, rise, fall) in enumerate(zip(target, up, down, strict=True)):
        rate = min(wanted, rate + rise) if wanted > rate else max(wanted, rate - fall)
        found[at] = rate
    return found * (1.0 + wander * _slow_noise(len(times_s), WANDERS_S, rng))


def _slow_noise(count: int, over_s: float, rng: np.random.Generator) -> Samples:
    """Draw noise of unit rms that changes over a time, shape (count,)."""
    marks = max(4, round(count / GRID_HZ / over_s * 2))
    drawn = rng.standard_normal(marks)
    return np.asarray(np.interp(np.linspace(0, marks - 1, count), np.arange(marks), drawn)) * 1.22


# --- what the motors carry --------------------------------------------------------------------------------------------


def _drive_modes(course: MinuteCourse, times_s: Samples) -> list[tuple[Spell, str]]:
    """Give each spell with the mode whose couplings carry what turns then: one in which nothing is fed coasts."""
    found, driving = [], ""
    for spell in course.spells:
        if spell.mode != "off" and course.machine.modes[spell.mode].motors:
            driving = spell.mode
        found.append((spell, driving))
    return found


def _carry(
    course: MinuteCourse, spell: Spell, driving: str, rates_hz: dict[str, Samples], here: slice,
    right: Mapping[str, Mapping[str, float]], rng: np.random.Generator,
) -> None:  # fmt: skip
    """Turn every shaft that a motor carries in a spell, and the belts on them."""
    if not driving:
        return
    machine, own = course.machine, right[driving]
    mode, values, asked = machine.modes[driving], outcome(course.machine).values, mode_asked(course.machine, driving)
    led: set[str] = set()
    for motor in (name for name in mode.motors if own.get(name)):
        for owner in reached_from(machine, mode, motor):
            if owner in led or machine.rotors[owner].kind == "reel_table" or not own.get(owner):
                continue
            led.add(owner)
            if owner == shaft(machine, motor):
                for rotor in _riders(machine, owner):
                    rates_hz[rotor.name][here] = rates_hz[motor][here]
                continue
            word = values.get(f"turns:{owner}@{asked}", "right")
            share = _share(word, values.get(f"turns:{motor}@{asked}", "right"), spell.drawn.get(f"turns:{owner}", True))
            shaft_hz = rates_hz[motor][here] * own[owner] / own[motor] * share
            shaft_hz = shaft_hz * _faltering(word, here.stop - here.start, rng)
            if machine.head_base.lifted_by in machine.rotors and shaft(machine, machine.head_base.lifted_by) == owner:
                # A cam stands again as soon as it has done its work.
                shaft_hz = shaft_hz * (np.arange(here.start, here.stop) / GRID_HZ < spell.arrives_s)
            for rotor in _riders(machine, owner):
                rates_hz[rotor.name][here] = shaft_hz
    for belt in _belts(machine):
        driver = machine.couplings[belt].driver
        if own.get(belt) and own.get(driver) and machine.couplings[belt].imperfections.present:
            rates_hz[belt][here] = rates_hz[driver][here] * own[belt] / own[driver]
    if mode.at_capstan:
        for nip in (one for one in machine.couplings.values() if one.kind == "nip" and own.get(one.path[1])):
            arrived = spell.mode == driving and np.isfinite(spell.arrives_s)
            pressed = rates_hz[nip.path[0]][here] * own[nip.path[1]] / own[nip.path[0]]
            rates_hz[nip.path[1]][here] = pressed * float(arrived)


def _share(word: str, driver: str, drawn: bool) -> float:
    if word == driver:
        return 1.0
    return float(drawn) if word == "at_times" else SHARES.get(word, 1.0)


def _faltering(word: str, count: int, rng: np.random.Generator) -> Samples:
    if word not in FALTERS or not count:
        return np.ones(count)
    return np.clip(1.0 + FALTERS[word] * _slow_noise(count, FALTERS_S, rng), 0.0, 1.6)


# --- the two reels, and the tape between them -------------------------------------------------------------------------


def _reels(
    course: MinuteCourse, modes: list[tuple[Spell, str]], times_s: Samples, rates_hz: dict[str, Samples],
    right: Mapping[str, Mapping[str, float]], rng: np.random.Generator,
) -> None:  # fmt: skip
    """Turn the reel tables: the tape turns the one that gives, and in play it sets the pace of the other too."""
    machine, tape = course.machine, course.machine.tape
    whole_m = float(pack_length(tape.hub_radius_m, tape.full_radius_m, tape.thickness_m))
    on_m = {"takeup": whole_m / 2, "supply": whole_m / 2}
    first = machine.modes["play"].takes_up if "play" in machine.modes else ""
    for spell, _ in modes:
        if spell.mode == "off" or not machine.modes[spell.mode].takes_up:
            continue
        mode, here = machine.modes[spell.mode], _within(times_s, spell)
        takes, gives = ("takeup", "supply") if mode.takes_up == first else ("supply", "takeup")
        radii = {side: float(pack_radius(tape.hub_radius_m, on_m[side], tape.thickness_m)) for side in on_m}
        asks = _Asks(course, spell, mode, here)
        if mode.at_capstan:
            pace = _pace(asks, rates_hz, right, times_s, radii[takes])
        else:
            turns = _winding(asks, rates_hz, right)
            pace = 2 * np.pi * (radii[takes] + tape.thickness_m * np.cumsum(turns) / GRID_HZ) * turns
        passed_m = np.minimum(np.cumsum(pace) / GRID_HZ, max(on_m[gives] - 0.5, 0.0))
        taken = pack_radius(tape.hub_radius_m, on_m[takes] + passed_m, tape.thickness_m)
        given = pack_radius(tape.hub_radius_m, on_m[gives] - passed_m, tape.thickness_m)
        does = course.told[spell.mode].reels
        wavers = _taking(does.get(mode.takes_up, "right"), here.stop - here.start, rng, spell, mode.takes_up)
        _turn(machine, mode.takes_up, rates_hz, here, pace / (2 * np.pi * np.asarray(taken)) * wavers)
        stands = does.get(mode.gives, "right") in ("still", "loose")
        _turn(machine, mode.gives, rates_hz, here, pace / (2 * np.pi * np.asarray(given)) * float(not stands))
        if len(passed_m):
            on_m[takes], on_m[gives] = on_m[takes] + float(passed_m[-1]), on_m[gives] - float(passed_m[-1])


def _turn(machine: Machine, reel: str, rates_hz: dict[str, Samples], here: slice, rate_hz: Samples) -> None:
    for rotor in _riders(machine, shaft(machine, reel)):
        rates_hz[rotor.name][here] = rate_hz


def _taking(word: str, count: int, rng: np.random.Generator, spell: Spell, reel: str) -> Samples:
    """Give what the reel that takes tape up does of the pace that the tape has."""
    drawn = spell.drawn.get(f"turns:{reel}", True)
    share = {"still": 0.0, "loose": 0.0, "weak": 0.75, "at_times": float(drawn)}.get(word, 1.0)
    return share * _faltering(word, count, rng)


@dataclass(frozen=True, slots=True)
class _Asks:
    """One spell in which tape should move."""

    course: MinuteCourse
    spell: Spell
    mode: Mode
    here: slice

    def driven(self, rates_hz: Mapping[str, Samples], own: Mapping[str, float]) -> tuple[str, Samples]:
        """Give the motor that moves the tape, and its rate against its right one."""
        machine = self.course.machine
        led = next((m for m in self.mode.motors if own.get(m) and _leads(machine, self.mode, m)), "")
        count = self.here.stop - self.here.start
        return led, rates_hz[led][self.here] / own[led] if led else np.zeros(count)


def _pace(
    asks: _Asks, rates_hz: Mapping[str, Samples], right: Mapping[str, Mapping[str, float]], times_s: Samples,
    radius_m: float,
) -> Samples:  # fmt: skip
    """Give the speed of the tape where capstan and roller should set it, metres a second."""
    machine, spell = asks.course.machine, asks.spell
    arrived = times_s[asks.here] >= spell.arrives_s
    tape_does = asks.course.told[spell.mode].tape
    if tape_does == "races":
        return np.asarray(2 * np.pi * radius_m * racing_turns(machine, spell.mode) * arrived)
    if tape_does == "at_times" and not spell.drawn.get("head_base", True):
        return np.zeros(len(arrived))
    _, share = asks.driven(rates_hz, right[spell.mode])
    # How fast the motor runs is in the tape's ratio already: what is left is how it comes up.
    coming_up = share / max(share.max(initial=0.0), 1e-9)
    return np.asarray(speed_ratio(machine, spell.mode) * machine.tape.speed_m_per_s * coming_up * arrived)


def _winding(asks: _Asks, rates_hz: Mapping[str, Samples], right: Mapping[str, Mapping[str, float]]) -> Samples:
    """Give the turns a second of the reel that takes up in a wind."""
    own, does, reel = right[asks.spell.mode], asks.course.told[asks.spell.mode], asks.mode.takes_up
    led, share = asks.driven(rates_hz, own)
    word = does.reels.get(reel, "right")
    factor = _share(word, does.motors.get(led, "right"), asks.spell.drawn.get(f"turns:{reel}", True))
    return np.asarray(share * own.get(reel, 0.0) * (factor if word in PASSING else 0.0))


def _leads(machine: Machine, mode: Mode, motor: str) -> bool:
    """Tell whether a motor moves the tape in a mode: by the capstan where one sets the pace, else by the reel."""
    shafts = reached_from(machine, mode, motor)
    if mode.at_capstan:
        return any(machine.rotors[name].kind == "capstan" and shaft(machine, name) in shafts for name in machine.rotors)
    return shaft(machine, mode.takes_up) in shafts
