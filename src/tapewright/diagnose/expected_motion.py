"""What the speed of the tape and of what turns should be on a machine as it is: error, drift, flutter, lines, rates."""

import math
from dataclasses import replace
from typing import Final

import numpy as np

from tapewright.diagnose.expectation import Expected
from tapewright.faults.slipping import holding
from tapewright.faults.speed_lines import fault_lines
from tapewright.faults.tape_speed import SLIP_SHARE, speed_ratio
from tapewright.machine.doubt import columns
from tapewright.machine.figure import figure
from tapewright.machine.formulas import half_side_radius
from tapewright.machine.parts import Machine, nips_at_work, shaft
from tapewright.machine.rates import rate_columns, speed_factor
from tapewright.machine.reel_drive import capstan_of, chain_to
from tapewright.machine.typical import all_sizes
from tapewright.standards.iec_60386 import weighting_response

SOUND_SPEED_PCT: Final = 0.5
"""Standard deviation of the mean speed error of machines one would not call faulty: half of the 1.0 % that is held
acceptable for four tracks (DIN 45500-4 allows 1.5 %)."""
SOUND_DRIFT_PCT: Final = 0.3
"""The same of the drift from start to end; usual value from memory, with 0.8 % as the largest of sound machines."""
FLUTTER_SPREAD: Final = math.log(1.6)
LINE_SPREAD: Final = math.log(2.2)
"""Spread, a factor, of the flutter of machines alike and of a line of one part; trade judgement, from memory."""
BACKGROUND_PCT: Final = 0.03
"""Weighted flutter of any transport beside its lines; from memory."""
SLIP_FLUTTER_PCT: Final = 1.5
"""Weighted peak where next to nothing is passed on the way to the tape; from memory."""
_STILL: Final = {("tape@play", "still"): math.nan}
_RACES: Final = frozenset({("tape@play", "races")})


def of_speed(machine: Machine, part: str, mode: str) -> Expected:
    """Mean speed error in the middle of a side."""
    return Expected(
        ("tape@play",), _speed_error_pct, "sum", SOUND_SPEED_PCT, 0.1, _STILL, _RACES, _capstan_drive(machine)
    )


def _capstan_drive(machine: Machine) -> frozenset[str]:
    """Name what the tape's speed in play hangs on: the way from a motor to the capstan, the nip, and the supply."""
    if "play" not in machine.modes:
        return frozenset()
    capstan = capstan_of(machine, machine.modes["play"])
    found = chain_to(machine, "play", capstan) if capstan else None
    motor, chain = found or ("", ())
    couplings = [*(machine.couplings[step.coupling] for step in chain), *nips_at_work(machine, machine.modes["play"])]
    ends = {motor, *(end for coupling in couplings for end in coupling.path)} - {""}
    shafts = {shaft(machine, end) for end in ends}
    riders = {name for name in machine.rotors if shaft(machine, name) in shafts}
    return frozenset({machine.supply.name, *(coupling.name for coupling in couplings), *riders})


def _speed_error_pct(machine: Machine) -> float:
    ratio = speed_ratio(machine)
    return 100.0 * (ratio - 1.0) if ratio > 0 else math.nan


def of_drift(machine: Machine, part: str, mode: str) -> Expected | None:
    """Speed at the end of a side less that at its start."""
    capstan = capstan_of(machine, machine.modes["play"]) if "play" in machine.modes else None
    if capstan is None or chain_to(machine, "play", capstan) is None:
        return None
    nodes = ("tape@play", f"reserve:{shaft(machine, capstan)}@play")
    still = {("tape@play", word): math.nan for word in ("still", "at_times")}
    return Expected(nodes, _drift_pct, "sum", SOUND_DRIFT_PCT, 0.1, still)


def _drift_pct(machine: Machine) -> float:
    """What slips, slips more at the end of a side: an emptier supply pack pulls harder for the same hold-back."""
    full = replace(machine, tape=replace(machine.tape, hub_radius_m=machine.tape.full_radius_m))
    return 100.0 * SLIP_SHARE * (_slips(full) - _slips(machine))


def _slips(machine: Machine) -> float:
    """Say how much of what is asked on the way to the tape is not passed, 0 to 1, whatever the words say."""
    capstan = capstan_of(machine, machine.modes["play"])
    found = chain_to(machine, "play", capstan) if capstan else None
    if found is None:
        return 0.0
    on_the_way = {step.coupling for step in found[1]} | {
        nip.name for nip in nips_at_work(machine, machine.modes["play"])
    }
    return 1.0 - holding(machine, "play", on_the_way)


def of_flutter(machine: Machine, part: str, mode: str) -> Expected:
    """Weighted peak of the flutter in play."""
    drive = _capstan_drive(machine)
    return Expected(("tape@play",), _weighted_peak_pct, "squares", FLUTTER_SPREAD, 0.01, _STILL, _RACES, drive)


def _weighted_peak_pct(machine: Machine) -> float:
    """Give the weighted peak of all lines a machine puts on the speed, of what slips, and of the rest.

    Lines of unlike rates add by their squares. The level exceeded for 5 % of the time is a sine's peak for one line
    and 1.39 of its rms times the root of two for many; the square root of the sum of squares stands for both.
    """
    lines = fault_lines(machine)
    if not lines and speed_ratio(machine) == 0.0:
        return math.nan
    weights = np.abs(weighting_response(np.array([line.frequency_hz for line in lines])))
    sizes = 100.0 * np.array([line.peak_ratio for line in lines]) * weights
    slip = SLIP_FLUTTER_PCT * _slips(machine)
    return float(math.sqrt(np.sum(sizes**2) + BACKGROUND_PCT**2 + slip**2))


def of_line(machine: Machine, part: str, mode: str) -> Expected | None:
    """Size of the line that comes round with a part."""
    group = _turn_as_one(machine, part)
    nodes = tuple(f"steady:{name}" for name in group)
    if not any(line.part in group for line in fault_lines(machine)):
        return None
    return Expected(
        nodes, lambda worn: _line_pct(worn, group), "squares", LINE_SPREAD, 0.01, {}, parts=frozenset(group)
    )


def _turn_as_one(machine: Machine, part: str) -> tuple[str, ...]:
    """Name the parts whose lines stand at the same rate: those on one shaft."""
    if part not in machine.rotors:
        return (part,)
    owner = shaft(machine, part)
    return tuple(name for name in machine.rotors if shaft(machine, name) == owner)


def _line_pct(machine: Machine, group: tuple[str, ...]) -> float:
    first = [line.peak_ratio for line in fault_lines(machine) if line.part in group and line.order == 1]
    return 100.0 * math.sqrt(sum(size * size for size in first))


def of_rate(machine: Machine, part: str, mode: str) -> Expected | None:
    """Turns per second of a rotor; of a reel, at any pack a side can have."""
    at, tape = machine.modes[mode], machine.tape
    owner = shaft(machine, part)
    reels = {shaft(machine, reel) for reel in (at.takes_up, at.gives) if reel}
    turning = f"turns:{owner}@{mode}"
    if not math.isfinite(_rate_hz(machine, part, mode)):
        return None
    standing = {(turning, word): 0.0 for word in ("still", "loose")}
    spread = _rate_spread(machine, part, mode)

    def turns(worn: Machine) -> float:
        return _rate_hz(worn, part, mode)

    if owner not in reels:
        return Expected((turning,), turns, "product", spread, 0.02, standing)
    # A reel turns at any pack that a side can have.
    spread = math.hypot(spread, math.log(tape.full_radius_m / tape.hub_radius_m) / math.sqrt(12.0))
    standing |= {(f"tape@{mode}", "still"): 0.0}
    races = frozenset({(f"tape@{mode}", "races")})
    counts = _capstan_drive(machine) if at.at_capstan else frozenset()
    return Expected((turning, f"tape@{mode}"), turns, "product", spread, 0.02, standing, races, counts)


def _rate_hz(machine: Machine, part: str, mode: str) -> float:
    at, tape = machine.modes[mode], machine.tape
    half = float(half_side_radius(tape.hub_radius_m, tape.full_radius_m))
    found = rate_columns(machine, mode, columns(all_sizes(machine), exact=True), (half, half)).get(part)
    if found is None:
        return math.nan
    turns = float(found[0])
    if at.at_capstan and shaft(machine, part) in {shaft(machine, reel) for reel in (at.takes_up, at.gives) if reel}:
        ratio = speed_ratio(machine, mode)
        return turns * ratio / max(_set_speed(machine, mode), 1e-9) if ratio > 0 else turns
    chain = chain_to(machine, mode, part)
    return turns * (holding(machine, mode, {s.coupling for s in chain[1]}) if chain else 1.0)


def _set_speed(machine: Machine, mode: str) -> float:
    """Give the factor on the tape's speed that the rates have in them already."""
    return speed_factor(machine, mode)


def _rate_spread(machine: Machine, part: str, mode: str) -> float:
    tape = machine.tape
    half = float(half_side_radius(tape.hub_radius_m, tape.full_radius_m))
    table = columns(all_sizes(machine))
    found = rate_columns(machine, mode, table, (half, half))[part]
    return max(0.01, figure(machine, found, table, "1/s").estimate.relative_doubt / 1.96)
