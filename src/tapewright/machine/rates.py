"""How fast each rotor turns, how often each belt comes round, in every mode.

Where capstan and pinch roller set the tape's speed, everything is worked out from the tape outward, so that a machine
whose motor nobody has measured has rates too. Elsewhere the motors lead. All rates are sizes without a direction, and
tell how the machine turns when nothing slips; what slips is a matter for `forces`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tapewright.machine.couplings import Step, holding_motors, running_diameter, steps, turns_ratio
from tapewright.machine.doubt import Column, Columns, columns, estimate
from tapewright.machine.formulas import belt_pass_rate, capstan_turns, half_side_radius, pack_turns, reel_turns
from tapewright.machine.parts import MODES, Machine, Mode, nips_at_work, shaft, sound
from tapewright.machine.running_belt import running_length
from tapewright.machine.typical import all_sizes
from tapewright.words.estimate import Estimate

What = Literal["rotor", "belt", "teeth", "commutator"]


@dataclass(frozen=True, slots=True)
class Rate:
    """How often something comes round.

    Arguments:
        name: the rotor's or belt's name.
        what: "rotor" for turns, "belt" for passes, "teeth" and "commutator" for teeth and segments.
        turns_per_s: times a second; in the middle of a side where it depends on the pack of tape.
        range_per_s: lowest and highest over a side of tape; None where the pack does not matter.
    """

    name: str
    what: What
    turns_per_s: Estimate
    range_per_s: tuple[float, float] | None = None


def rates(machine: Machine, mode: str, *, exact: bool = False) -> Mapping[str, Rate]:
    """Give how fast everything turns in a mode.

    Arguments:
        machine: as described, or with imperfections: a rotor's `rate` changes the diameter it shows, or a motor's
            speed.
        mode: its name.
        exact: True to leave the doubt out, which takes a fraction of the time.

    Returns:
        Rates by the rotor's or belt's name; teeth as "gear.teeth" and commutators as "motor.commutator". Only what
        turns is there. A commutator's rate is that of its segments: an odd number of them under two brushes also shows
        at twice that (from memory).

    Raises:
        KeyError: when the machine has no such mode.

    >>> from tapewright.machine.library import shipped
    >>> round(rates(shipped("four_track"), "play")["capstan"].turns_per_s.value, 2)
    12.05
    """
    table = columns(all_sizes(machine), exact)
    tape = machine.tape
    half = float(half_side_radius(tape.hub_radius_m, tape.full_radius_m))
    middle = _every(machine, mode, table, (half, half))
    start = _every(machine, mode, table, (tape.hub_radius_m, tape.full_radius_m))
    end = _every(machine, mode, table, (tape.full_radius_m, tape.hub_radius_m))
    found = {}
    for key, (name, what, turns) in middle.items():
        ends = sorted((float(start[key][2][0]), float(end[key][2][0])))
        changes = ends[1] - ends[0] > 1e-9 * max(ends[1], 1e-9)
        found[key] = Rate(name, what, estimate(turns, table), (ends[0], ends[1]) if changes else None)
    return found


def rate_columns(machine: Machine, mode: str, table: Columns, radii_m: tuple[float, float]) -> dict[str, Column]:
    """Give the same rates as columns, so that differences between them carry the doubt they share.

    Arguments:
        machine: as for `rates`.
        mode: its name.
        table: of all sizes of the machine.
        radii_m: radius of the take-up and of the supply pack, metres.
    """
    return {key: turns for key, (_, _, turns) in _every(machine, mode, table, radii_m).items()}


def tape_speed(machine: Machine, mode: str = "play") -> Estimate | None:
    """Give the tape speed that the motor's described speed leads to, m/s; None when the motor's speed is not known.

    The other road to what `rates` takes from the tape: on a well described machine the two meet.
    """
    table = columns(all_sizes(machine))
    motor = _capstan_motor(machine, mode, table)
    if motor is None or f"{motor}.speed" not in table:
        return None
    turns = table[f"{motor}.speed"] * _motor_factor(machine, motor)
    return estimate(turns * _tape_for_one_turn(machine, mode, motor, table), table)


def speed_factor(machine: Machine, mode: str = "play") -> float:
    """Give the tape's speed with the machine's imperfections, against the same machine without: 1.01 is 1 % fast."""
    table = columns(all_sizes(machine), exact=True)
    return float(_speed_factor(machine, mode, table)[0])


# --- from shafts to everything that comes round -----------------------------------------------------------------------


def _every(
    machine: Machine, mode: str, table: Columns, radii_m: tuple[float, float]
) -> dict[str, tuple[str, What, Column]]:
    turning = _shafts(machine, mode, table, radii_m)
    found: dict[str, tuple[str, What, Column]] = {}
    for name, rotor in machine.rotors.items():
        turns = turning.get(shaft(machine, name))
        if turns is None:
            continue
        found[name] = (name, "rotor", turns)
        if rotor.teeth:
            found[f"{name}.teeth"] = (name, "teeth", turns * rotor.teeth)
        if rotor.segments:
            found[f"{name}.commutator"] = (name, "commutator", turns * rotor.segments)
    belts = {step.coupling for step in steps(machine, mode) if machine.couplings[step.coupling].kind == "belt"}
    for name in (name for name in machine.couplings if name in belts):
        belt = machine.couplings[name]
        turns = turning.get(shaft(machine, belt.driver))
        if turns is not None:
            across = running_diameter(machine, belt.driver, table) + table[f"{name}.thickness"]
            passes = belt_pass_rate(across, turns, running_length(machine, belt, table))
            found[name] = (name, "belt", np.asarray(passes))
    return found


def _shafts(machine: Machine, mode: str, table: Columns, radii_m: tuple[float, float]) -> dict[str, Column]:
    """Give turns per second of every shaft that turns, at given radii of the take-up and the supply pack."""
    at = machine.modes[mode]
    at_work = steps(machine, mode)
    # A motor that holds the tape back is dragged round by it, whatever rate it would run at by itself.
    holding = holding_motors(machine, mode)
    pulling = {motor: share for motor, share in at.motors.items() if motor not in holding}
    turning: dict[str, Column] = {}
    if at.at_capstan:
        _from_the_tape(machine, mode, table, radii_m, turning)
    else:
        for motor, share in pulling.items():
            known = _led_by(machine, motor, share, table)
            if known is not None:
                _spread(machine, at_work, table, turning, shaft(machine, motor), known)
        _from_the_winding(machine, at, table, radii_m, turning, at_work)
    for motor, share in pulling.items():
        usual = table[f"{motor}.speed"] if f"{motor}.speed" in table else table["motor_speed"]
        turns = usual * _motor_factor(machine, motor) * abs(share)
        _spread(machine, at_work, table, turning, shaft(machine, motor), turns)
    return turning


def _from_the_tape(
    machine: Machine, mode: str, table: Columns, radii_m: tuple[float, float], turning: dict[str, Column]
) -> None:
    at, at_work = machine.modes[mode], steps(machine, mode)
    speed = machine.tape.speed_m_per_s * _speed_factor(machine, mode, table)
    capstan = _capstan(machine, at)
    if capstan is not None:
        turns = capstan_turns(speed, running_diameter(machine, capstan, table), machine.tape.thickness_m)
        _spread(machine, at_work, table, turning, shaft(machine, capstan), np.asarray(turns))
    for reel, radius in ((at.takes_up, radii_m[0]), (at.gives, radii_m[1])):
        if reel:
            _spread(machine, at_work, table, turning, shaft(machine, reel), np.asarray(reel_turns(speed, radius)))


def _from_the_winding(
    machine: Machine,
    at: Mode,
    table: Columns,
    radii_m: tuple[float, float],
    turning: dict[str, Column],
    at_work: tuple[Step, ...],
) -> None:
    """Turn the reels of a wind: the driven one as its motor does or in the usual time, the other by the tape."""
    if not (at.takes_up and at.gives):
        return
    takes, tape = shaft(machine, at.takes_up), machine.tape
    turns = pack_turns(tape.hub_radius_m, tape.full_radius_m, tape.thickness_m) / table["wind_time"]
    _spread(machine, at_work, table, turning, takes, np.asarray(turns))
    _spread(machine, at_work, table, turning, shaft(machine, at.gives), turning[takes] * radii_m[0] / radii_m[1])


def _spread(
    machine: Machine, at_work: tuple[Step, ...], table: Columns, turning: dict[str, Column], start: str, turns: Column
) -> None:
    """Carry a shaft's rate to all shafts it is coupled to without slip, either way; what turns already stays."""
    if start in turning:
        return
    turning[start] = turns
    for step in at_work:
        ends = shaft(machine, step.driver), shaft(machine, step.driven)
        if step.slips or start not in ends:
            continue
        ratio = np.abs(turns_ratio(machine, step, table))
        if ends[0] == start:
            _spread(machine, at_work, table, turning, ends[1], turns * ratio)
        else:
            _spread(machine, at_work, table, turning, ends[0], turns / ratio)


# --- motors and the tape's speed --------------------------------------------------------------------------------------


def _capstan(machine: Machine, mode: Mode) -> str | None:
    pressed = [end for nip in nips_at_work(machine, mode) for end in nip.path if machine.rotors[end].kind == "capstan"]
    others = sorted(name for name, rotor in machine.rotors.items() if rotor.kind == "capstan")
    return next(iter([*pressed, *others]), None)


def _capstan_motor(machine: Machine, mode: str, table: Columns) -> str | None:
    capstan = _capstan(machine, machine.modes[mode]) if mode in machine.modes else None
    if capstan is None:
        return None
    for motor in machine.modes[mode].motors:
        turning: dict[str, Column] = {}
        _spread(machine, steps(machine, mode), table, turning, shaft(machine, motor), table.constant(1.0))
        if shaft(machine, capstan) in turning:
            return motor
    return None


def _tape_for_one_turn(machine: Machine, mode: str, motor: str, table: Columns) -> Column:
    """Give the tape that passes for one turn of the motor, metres."""
    capstan = _capstan(machine, machine.modes[mode])
    assert capstan is not None
    turning: dict[str, Column] = {}
    _spread(machine, steps(machine, mode), table, turning, shaft(machine, motor), table.constant(1.0))
    across = running_diameter(machine, capstan, table) + machine.tape.thickness_m
    return np.pi * across * turning[shaft(machine, capstan)]


def _speed_factor(machine: Machine, mode: str, table: Columns) -> Column:
    motor = _capstan_motor(machine, mode, table)
    if motor is None:
        return table.constant(1.0)
    worn = _tape_for_one_turn(machine, mode, motor, table)
    return worn / _tape_for_one_turn(sound(machine), mode, motor, table) * _motor_factor(machine, motor)


def _motor_factor(machine: Machine, motor: str) -> float:
    return machine.rotors[motor].imperfections.rate * machine.supply.imperfections.rate


def _led_by(machine: Machine, motor: str, share: float, table: Columns) -> Column | None:
    """Give a motor's rate as described, or as the tape's speed in play tells it; None when neither does."""
    if f"{motor}.speed" in table:
        return table[f"{motor}.speed"] * _motor_factor(machine, motor) * abs(share)
    for name in (one for one in MODES if one in machine.modes):
        mode = machine.modes[name]
        capstan = _capstan(machine, mode)
        if not mode.at_capstan or motor not in mode.motors or capstan is None:
            continue
        speed = machine.tape.speed_m_per_s * _speed_factor(machine, name, table)
        turns = capstan_turns(speed, running_diameter(machine, capstan, table), machine.tape.thickness_m)
        turning: dict[str, Column] = {}
        _spread(machine, steps(machine, name), table, turning, shaft(machine, capstan), np.asarray(turns))
        if shaft(machine, motor) in turning:
            return turning[shaft(machine, motor)] * abs(share / mode.motors[motor])
    return None
