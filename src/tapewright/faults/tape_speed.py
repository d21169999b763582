"""How fast the tape of a worn machine runs: what its drive loses, what drags it, and where it runs away."""

import math
from collections.abc import Mapping
from typing import Final

from tapewright.faults.behaviours import HOLDS_FROM
from tapewright.faults.consequences import mode_asked, outcome
from tapewright.machine.couplings import steps
from tapewright.machine.forces import mode_margins
from tapewright.machine.formulas import half_side_radius
from tapewright.machine.parts import Machine, nips_at_work, shaft
from tapewright.machine.rates import rates, speed_factor

DRAGGED_SHARE: Final = 0.03
"""Speed a motor loses that is underfed or has to turn something stiff; from memory, with 5 to 7 rpm for each g·cm of
load printed for one regulated motor as its scale."""
SLIP_SHARE: Final = 0.04
"""Speed that is lost on average where a coupling passes next to nothing of what is asked; from memory."""
LEAST_SHORTFALL: Final = 0.1
RUNS_AWAY_RATIO: Final = 2.0
"""Speed of a capstan motor that nothing regulates, against the right one; from memory."""
RACING_TURNS: Final = 2.0
"""Turns a second of a reel that nothing holds, where no motor tells; from memory."""


def speed_ratio(machine: Machine, mode: str = "play") -> float:
    """Give the tape's mean speed in the middle of a side against the speed it should have: 1.01 is 1 % fast.

    Arguments:
        machine: with its imperfections.
        mode: one in which the capstan should set the speed.

    Returns:
        0 where the tape does not move; far above 1 where the take-up reel pulls it past an idle capstan.

    >>> from tapewright.faults.applied import Fault, applied
    >>> from tapewright.machine.library import shipped
    >>> slow = applied(shipped("four_track"), [Fault("capstan_motor", "wrong_speed", -1.0)])
    >>> round(speed_ratio(slow), 3)
    0.971
    """
    values = outcome(machine).values
    driven = driven_by(machine, mode, values)
    if driven == "":
        return 0.0
    if driven == "take_up":
        tape = machine.tape
        radius = float(half_side_radius(tape.hub_radius_m, tape.full_radius_m))
        return 2 * math.pi * radius * racing_turns(machine, mode) / tape.speed_m_per_s
    dragged = _capstan_word(machine, mode, values) == "slow" and speed_factor(machine, mode) == 1.0
    lost = (DRAGGED_SHARE if dragged else 0.0) + SLIP_SHARE * shortfall(machine, mode)
    unruled = _capstan_word(machine, mode, values) == "runs_away" and speed_factor(machine, mode) < RUNS_AWAY_RATIO
    set_by = RUNS_AWAY_RATIO if unruled else speed_factor(machine, mode) * _wrong_belts(machine, mode)
    return set_by * (1.0 - lost)


def _wrong_belts(machine: Machine, mode: str) -> float:
    """Give what belts of the wrong section on the way to the tape do to its speed."""
    return math.prod(machine.couplings[name].imperfections.rate for name in _to_the_capstan(machine, mode))


def shortfall(machine: Machine, mode: str = "play") -> float:
    """Say how much the drive of the capstan and its nip fall short: 0 nothing slips, 1 next to nothing is passed.

    The physics of the worst coupling on the way to the tape says how much; the outcome says whether at all.
    """
    values = outcome(machine).values
    if driven_by(machine, mode, values) != "capstan":
        return 0.0
    nip = values.get(f"closed@{mode_asked(machine, mode)}", "")
    if _capstan_word(machine, mode, values) != "weak" and nip != "slips":
        return 0.0
    on_the_way = _to_the_capstan(machine, mode)
    found = [m.ratio.value for m in mode_margins(machine, mode, exact=True) if m.coupling in on_the_way]
    worst = min(found, default=HOLDS_FROM)
    return min(1.0, max(LEAST_SHORTFALL, 1.0 - worst / HOLDS_FROM))


def racing_turns(machine: Machine, mode: str = "play") -> float:
    """Give how fast the take-up reel turns when no capstan holds the tape, turns a second.

    A clutch lets it turn as fast as its driver; a reel motor as fast as it would wind, by the share of its speed it is
    given in this mode.
    """
    reel = shaft(machine, machine.modes[mode].takes_up)
    arriving = [step for step in steps(machine, mode) if shaft(machine, step.driven) == reel]
    if arriving and arriving[0].slips:
        return rates(machine, mode, exact=True)[arriving[0].driver].turns_per_s.value
    if "fast_forward" in machine.modes and arriving:
        winding = machine.modes["fast_forward"].motors
        for motor, given in machine.modes[mode].motors.items():
            if motor in winding and reel in _shafts_beyond(machine, mode, shaft(machine, motor)):
                winds = rates(machine, "fast_forward", exact=True)[machine.modes["fast_forward"].takes_up]
                return winds.turns_per_s.value * abs(given / winding[motor])
    return RACING_TURNS


def driven_by(machine: Machine, mode: str, values: Mapping[str, str]) -> str:
    """Say what sets the tape's speed: "capstan", "take_up", or "" where it does not move."""
    told = mode_asked(machine, mode)
    word = values.get(f"tape@{told}", "still")
    if word == "still":
        return ""
    nip = values.get(f"nip@{told}", "")
    pulled_past = nip in ("open", "free")
    return "take_up" if pulled_past or not machine.modes[mode].at_capstan else "capstan"


def _capstan_word(machine: Machine, mode: str, values: Mapping[str, str]) -> str:
    nips = nips_at_work(machine, machine.modes[mode])
    capstans = [end for nip in nips for end in nip.path if machine.rotors[end].kind == "capstan"]
    words = [values.get(f"turns:{shaft(machine, name)}@{mode_asked(machine, mode)}", "") for name in capstans]
    return next((word for word in words if word in ("weak", "slow")), next(iter(words), ""))


def _shafts_beyond(machine: Machine, mode: str, start: str) -> frozenset[str]:
    found = [start]
    for name in found:
        ends = [shaft(machine, s.driven) for s in steps(machine, mode) if shaft(machine, s.driver) == name]
        found += [end for end in ends if end not in found]
    return frozenset(found)


def _to_the_capstan(machine: Machine, mode: str) -> frozenset[str]:
    """Name the couplings between a motor and the tape by way of a capstan that holds it."""
    pressed = [end for nip in nips_at_work(machine, machine.modes[mode]) for end in nip.path]
    capstans = {shaft(machine, name) for name in pressed if machine.rotors[name].kind == "capstan"}
    at_work = steps(machine, mode)
    nips = {step.coupling for step in at_work if machine.couplings[step.coupling].kind == "nip"}
    ways = {s.coupling for s in at_work if capstans & _shafts_beyond(machine, mode, shaft(machine, s.driven))}
    return frozenset(ways | nips)
