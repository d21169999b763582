"""What happens in a minute: which mode the machine is really in when, which motors are fed, what clicks, what stops it.

The words come from the outcome of the machine with its faults; what is added are sizes that the outcome has no words
for. Those are from memory and say so.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from tapewright.faults.conditions import feed, lamps
from tapewright.faults.consequences import ModeOutcome, Stop, modes_told, outcome
from tapewright.faults.drives import driven_by
from tapewright.faults.turning import BEFORE
from tapewright.machine.couplings import holding_motors
from tapewright.machine.minute import MinuteStep
from tapewright.machine.parts import TRAY_MODES, Machine, has_logic, shaft, sound
from tapewright.machine.rates import Rate, rates
from tapewright.simulate.minute_truth import TrueClick, TrueStop
from tapewright.words.mechanism_heard import OFF

HAND_S: Final = 0.25
"""How late, at most, a hand does what the page counts down to; from memory."""
AT_TIMES: Final = 0.5
"""Chance that what works at times works this time; from memory."""
GIVES_UP_S: Final = 3.0
"""How long logic or a lever waits where the description does not say; from memory."""
CAM_TURNS: Final = 0.4
"""Turns of a cam that bring the head base from one stand to the next; from memory."""
CAM_S: Final = (0.25, 2.0)
"""Shortest and longest time for that, sound; from memory."""
LATE: Final = 2.5
"""How many times as long it takes where the outcome says late; from memory."""
TRAY_S: Final = 2.0
"""Time that a tray takes to go in or come out; from memory."""
SOLENOID_S, KEYS_S = 0.08, 0.02
"""The same where a solenoid or a finger lifts it; from memory."""
SPREAD: Final = 0.004
"""How far motors of one kind stand from each other's speed, relative, one standard deviation; from memory. It stays
within the description's own doubt."""
FACTORS: Final = {"slow": 0.94, "fast": 1.04, "weak": 0.82, "runs_away": 1.6}
"""Speed of a motor against the right one where its own imperfections give no size; from memory."""
UNLOADED: Final = 1.02
"""Speed of a motor that nothing hangs on any more; from memory, of the order of its droop under load."""

Random = np.random.Generator


@dataclass(frozen=True, slots=True)
class Feeding:
    """A motor that is fed from one moment to another, and the rate it then takes up."""

    motor: str
    mode: str
    start_s: float
    end_s: float
    rate_hz: float
    does: str


@dataclass(frozen=True, slots=True)
class Spell:
    """A stretch in which the machine is in one mode, which the logic may have entered by itself.

    Arguments:
        mode: "off", or one of the machine's.
        start_s, end_s: when.
        arrives_s: when the head base has arrived; infinite where it does not.
        drawn: what happens this time with what happens at times, by name.
    """

    mode: str
    start_s: float
    end_s: float
    arrives_s: float
    drawn: Mapping[str, bool] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class MinuteCourse:
    """What happens in a minute.

    Arguments:
        machine: with its imperfections.
        told: what it does in every mode.
        spells: one after another without a gap.
        fed: every motor with its times.
        clicks, stops: in the order of time.
        own_rates: every rate in every mode, imperfections counted.
        spread: by motor, how far this one stands from the description, a factor.
    """

    machine: Machine
    told: Mapping[str, ModeOutcome]
    spells: tuple[Spell, ...]
    fed: tuple[Feeding, ...]
    clicks: tuple[TrueClick, ...]
    stops: tuple[TrueStop, ...]
    own_rates: Mapping[str, Mapping[str, Rate]]
    spread: Mapping[str, float]


def minute_course(machine: Machine, steps: Sequence[MinuteStep], seed: int) -> MinuteCourse:
    """Work out what happens when these steps are done on a machine.

    Arguments:
        machine: with its imperfections.
        steps: the earliest first.
        seed: decides how late a hand is, and what happens this time that only happens at times.
    """
    rng = np.random.default_rng([seed, 20])
    told = modes_told(machine)
    own = {name: rates(machine, name) for name in machine.modes}
    spread = _spread(machine, own, rng)
    clicks: list[TrueClick] = []
    stops: list[TrueStop] = []
    spells: list[Spell] = []
    for spell in _asked(machine, steps, rng):
        spells += _lived(machine, told, own, spell, rng, stops)
    for before, spell in zip([None, *spells], spells, strict=False):
        stands = _stands_at(machine, [one for one in spells if one.start_s < spell.start_s])
        clicks += _clicks(machine, told, before, spell, stands, any(stop.at_s == spell.start_s for stop in stops))
    fed = [one for at, spell in enumerate(spells) for one in _fed(machine, told, own, spread, spells[:at], spell)]
    in_time = sorted(clicks, key=lambda one: one.at_s)
    return MinuteCourse(machine, told, tuple(spells), tuple(fed), tuple(in_time), tuple(stops), own, spread)


def _spread(machine: Machine, own: Mapping[str, Mapping[str, Rate]], rng: Random) -> dict[str, float]:
    found = {}
    for name in (one for one, rotor in machine.rotors.items() if rotor.kind == "motor"):
        doubts = [r[name].turns_per_s.doubt / r[name].turns_per_s.value for r in own.values() if name in r]
        most = max(doubts, default=0.0)
        found[name] = 1.0 + float(np.clip(SPREAD * rng.standard_normal(), -most, most))
    return found


# --- which mode when --------------------------------------------------------------------------------------------------


def _asked(machine: Machine, steps: Sequence[MinuteStep], rng: Random) -> Iterator[Spell]:
    """Give the spells as the hand asks for them: a little late, as hands are."""
    begins = [step.at_s + (float(rng.uniform(0.0, HAND_S)) if step.at_s else 0.0) for step in steps]
    ends = [*begins[1:], steps[-1].ends_s]
    names = [f"{kind}:{name}" for kind in ("motor", "turns", "squeals", "stops") for name in _all_names(machine)]
    for step, start, end in zip(steps, begins, ends, strict=True):
        drawn = {name: bool(rng.random() < AT_TIMES) for name in (*names, "head_base")}
        yield Spell(step.mode, start, end, start, drawn)


def _all_names(machine: Machine) -> tuple[str, ...]:
    return (*machine.rotors, *machine.sensors, machine.cassette.name)


def _lived(
    machine: Machine, told: Mapping[str, ModeOutcome], own: Mapping[str, Mapping[str, Rate]], spell: Spell, rng: Random,
    stops: list[TrueStop],
) -> list[Spell]:  # fmt: skip
    """Give what becomes of one spell: as asked, or cut short by the machine itself."""
    if spell.mode == OFF:
        return [replace(spell, arrives_s=float("inf"))]
    does = told[spell.mode]
    lived = replace(spell, arrives_s=spell.start_s + _arrival_s(machine, does, own[spell.mode], spell))
    found = _first_stop(machine, lived, does)
    if found is None:
        return [lived]
    stop, after_s = found
    at_s = lived.start_s + after_s + float(rng.uniform(0.0, 0.1))
    if at_s >= lived.end_s:
        return [lived]
    stops.append(TrueStop(stop.sensor, at_s))
    resting = next(name for name in ("cassette_in", "idle", "stop") if name in machine.modes)
    if spell.mode == "switch_on":
        resting = "idle" if "idle" in machine.modes else resting
    return [replace(lived, end_s=at_s), replace(spell, mode=resting, start_s=at_s, arrives_s=float("inf"))]


def _arrival_s(machine: Machine, does: ModeOutcome, own: Mapping[str, Rate], spell: Spell) -> float:
    """Give how long the head base takes in a mode, seconds; infinite where it does not arrive."""
    word, lifter = does.head_base, machine.head_base.lifted_by
    if word in ("stays", "part") or (word == "at_times" and not spell.drawn["head_base"]):
        return float("inf")
    if lifter in machine.rotors:
        turns = own[lifter].turns_per_s.value if lifter in own else 0.0
        usual = float(np.clip(CAM_TURNS / turns, *CAM_S)) if turns else CAM_S[0]
    else:
        usual = KEYS_S if lifter == "keys" else SOLENOID_S
    return usual * (LATE if word == "late" else 1.0)


def _first_stop(machine: Machine, spell: Spell, does: ModeOutcome) -> tuple[Stop, float] | None:
    if outcome(machine).values.get(lamps(machine.supply.name).name) == "dark":
        return None  # logic that is dead itself stops nothing
    happen = [one for one in does.stopped_by if one.how == "yes" or spell.drawn[f"stops:{one.sensor}"]]
    watched = any(sensor.kind == "position_switch" for sensor in machine.sensors.values())
    mode = machine.modes[spell.mode]
    timed = []
    for one in happen:
        waits_s = one.after_s if one.after_s is not None else GIVES_UP_S
        if machine.sensors[one.sensor].kind == "position_switch":
            timed.append((one, waits_s))
        elif mode.takes_up:
            # Where the reels wait for the head base, so does what watches them.
            begins_s = spell.arrives_s - spell.start_s if mode.moves_head_base and watched else 0.0
            timed += [(one, waits_s + begins_s)] if np.isfinite(begins_s) else []
    return min(timed, key=lambda one: one[1], default=None)


# --- which motor is fed when ------------------------------------------------------------------------------------------


def _fed(
    machine: Machine, told: Mapping[str, ModeOutcome], own: Mapping[str, Mapping[str, Rate]],
    spread: Mapping[str, float], before: Sequence[Spell], spell: Spell,
) -> Iterator[Feeding]:  # fmt: skip
    if spell.mode == OFF:
        return
    mode, does = machine.modes[spell.mode], told[spell.mode]
    holding = holding_motors(machine, spell.mode)
    for name in (one for one in mode.motors if one not in holding):
        word = does.motors.get(name, "right")
        runs = word != "still" and (word != "at_times" or spell.drawn[f"motor:{name}"])
        start_s, end_s = _times(machine, does, before, spell, name)
        if runs and end_s > start_s and name in own[spell.mode]:
            yield Feeding(name, spell.mode, start_s, end_s, _rate(machine, own, spread, told, spell.mode, name), word)


def _times(
    machine: Machine, does: ModeOutcome, before: Sequence[Spell], spell: Spell, motor: str
) -> tuple[float, float]:
    """Give when a motor is fed within a spell: some only until the head base has arrived, some only from then on."""
    mode = machine.modes[spell.mode]
    if spell.mode in TRAY_MODES:
        return spell.start_s, min(spell.end_s, spell.start_s + _tray_s(machine, spell))
    if any(sensor.ends == motor for sensor in machine.sensors.values()):
        if mode.moves_head_base and _stands_already(machine, before, spell):
            return spell.start_s, spell.start_s
        on = does.runs_on.get(motor, "no")
        goes_on = on == "yes" or (on == "at_times" and not spell.drawn["head_base"])
        return spell.start_s, spell.end_s if goes_on else min(spell.arrives_s, spell.end_s)
    came_from = machine.modes.get(BEFORE.get(spell.mode, ""))
    ran_before = came_from is not None and motor in came_from.motors
    watched = any(sensor.kind == "position_switch" for sensor in machine.sensors.values())
    lifter = machine.head_base.lifted_by
    lifts = lifter in machine.rotors and not any(sensor.ends for sensor in machine.sensors.values())
    waits = mode.moves_head_base and watched and not ran_before and not lifts
    return (min(spell.arrives_s, spell.end_s) if waits else spell.start_s), spell.end_s


def _tray_s(machine: Machine, spell: Spell) -> float:
    """Give how long the tray's motor is fed: until the tray has gone its way, or the logic gives up."""
    moving = outcome(machine).values.get(f"turns:{shaft(machine, machine.lid.moved_by)}@{spell.mode}", "still")
    if moving in ("still", "loose") or (moving == "at_times" and not spell.drawn[f"turns:{machine.lid.moved_by}"]):
        switches = (sensor for sensor in machine.sensors.values() if sensor.kind == "tray_switch")
        return max((sensor.timeout_s or GIVES_UP_S for sensor in switches), default=GIVES_UP_S)
    return TRAY_S * (1.0 if moving == "right" else 1.6)


def _stands_already(machine: Machine, before: Sequence[Spell], spell: Spell) -> bool:
    """Tell whether the head base is known to stand where it is sent, so that its motor has nothing to do."""
    if spell.mode == "switch_on":
        return False  # at switch-on the logic does not know, and looks
    sent = [one for one in before if one.mode != OFF and machine.modes[one.mode].moves_head_base]
    last = sent[-1] if sent else None
    if last is None:
        return machine.modes[spell.mode].head_base == "down"
    known = np.isfinite(last.arrives_s)
    return bool(known) and machine.modes[last.mode].head_base == machine.modes[spell.mode].head_base


def _stands_at(machine: Machine, before: Sequence[Spell]) -> str:
    """Say where the head base stands after some spells, however often it was sent and did not come."""
    moved = [machine.modes[one.mode] for one in before if one.mode != OFF and np.isfinite(one.arrives_s)]
    return next((mode.head_base for mode in reversed(moved) if mode.moves_head_base), "down")


def _rate(
    machine: Machine, own: Mapping[str, Mapping[str, Rate]], spread: Mapping[str, float],
    told: Mapping[str, ModeOutcome], mode: str, motor: str,
) -> float:  # fmt: skip
    """Give the rate a motor takes up: its own imperfections where they give one, else what the word stands for."""
    does = told[mode]
    worn = own[mode][motor].turns_per_s.value
    right = rates(sound(machine), mode)[motor].turns_per_s.value
    word = does.motors.get(motor, "right")
    has_size = abs(worn / right - 1.0) > 0.003
    factor = 1.0 if has_size else FACTORS.get(word, 1.0)
    if _sounds(machine, told, mode, motor) == "races" and word == "right":
        factor *= UNLOADED
    return worn * factor * spread[motor]


def _sounds(machine: Machine, told: Mapping[str, ModeOutcome], mode: str, motor: str) -> str:
    """Say how a motor sounds: as it did in the mode it started in, as long as the same hangs on it."""
    hangs = list(driven_by(machine, machine.modes[mode], shaft(machine, motor)))
    before = mode
    while motor not in told[before].heard:
        before = BEFORE.get(before, "")
        if before not in told or list(driven_by(machine, machine.modes[before], shaft(machine, motor))) != hangs:
            return ""
    return told[before].heard[motor]


# --- what clicks ------------------------------------------------------------------------------------------------------


def _clicks(
    machine: Machine, told: Mapping[str, ModeOutcome], before: Spell | None, spell: Spell, stands: str, by_itself: bool
) -> Iterator[TrueClick]:
    if before is None:
        return
    if OFF in (before.mode, spell.mode):
        yield TrueClick("mains switch", spell.start_s)
    elif not by_itself:
        yield TrueClick("lid" if spell.mode in ("cassette_in", "close_tray") else "key", spell.start_s)
    pulled = set(machine.modes[spell.mode].solenoids) if spell.mode != OFF else set()
    held = set(machine.modes[before.mode].solenoids) if before.mode != OFF else set()
    fed = outcome(machine).values.get(feed(machine.supply.name).name) != "none"
    for name in sorted(pulled ^ held):
        imperfect = machine.solenoids[name].imperfections
        if imperfect.works and imperfect.present and fed:
            yield TrueClick(name, spell.start_s + SOLENOID_S / 2)
    moved = spell.mode != OFF and bool(told[spell.mode].head_base) and has_logic(machine)
    looks = spell.mode == "switch_on"  # it then goes round to find out where it is
    if moved and spell.arrives_s < spell.end_s and (looks or machine.modes[spell.mode].head_base != stands):
        yield TrueClick(machine.head_base.name, spell.arrives_s)
