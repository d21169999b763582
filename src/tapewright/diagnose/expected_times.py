"""What a stopwatch should read on a machine as it is: winds, run-down, the head base, running on, giving up."""

import math
from collections.abc import Callable
from typing import Final

from tapewright.diagnose.expectation import Expected, load_nm
from tapewright.faults.behaviours import HOLDS_FROM, SLIPS_THROUGH_BELOW
from tapewright.faults.slipping import holding
from tapewright.machine.force_sizes import force_table, starting_torque
from tapewright.machine.parts import Machine, shaft
from tapewright.machine.rates import rates
from tapewright.machine.reel_drive import chain_to
from tapewright.machine.winding import spin_down, wind

CAM_RISE_TURNS: Final = 0.4
CAM_RISE_SPREAD: Final = 0.46
"""Share of a turn in which a cam brings the head base up, 0.16 to 1 turn; from memory."""
CAM_RISE_S: Final = 0.5
"""Time it takes where the description does not say how fast the cam turns; from memory."""
PULLED_RISE_S: Final = 0.15
"""The same for keys and solenoids; from memory."""
TIME_OUT_S: Final = 3.0
TIME_OUT_SPREAD: Final = 0.4
"""A logic whose time-out is not described waits 1 to 5 s; from memory, 2 to 3 s reported in a newsgroup."""
SAID_TIME_OUT_SPREAD: Final = 0.12


def of_wind(machine: Machine, part: str, mode: str) -> Expected | None:
    """Time of a wind, by the motor and what slips."""
    found = wind(machine, mode).time
    if found is None:
        return None
    node = f"tape@{mode}"
    chain = chain_to(machine, mode, machine.modes[mode].takes_up)
    couplings = {step.coupling for step in chain[1]} if chain else set()
    never = {(node, "still"): math.nan}
    spread = max(0.12, math.log(found.high / found.low) / 2 / 1.96)
    at_rest = found.value * holding(machine, mode, couplings)
    return Expected((node,), lambda worn: _wind_s(worn, mode, couplings, at_rest), "product", spread, 2.0, never)


def _wind_s(machine: Machine, mode: str, couplings: set[str], at_rest: float) -> float:
    """Give a wind's time: what the motor's line leaves, longer by what slips; nan where nothing is passed."""
    found = wind(machine, mode).time
    passed = holding(machine, mode, couplings)
    if passed < SLIPS_THROUGH_BELOW / HOLDS_FROM:
        return math.nan
    return (at_rest if found is None else found.value) / passed


def of_spin_down(machine: Machine, part: str, mode: str) -> Expected | None:
    """Time a flywheel coasts: all that sits on its shaft turns in its bearing."""
    if "play" not in machine.modes:
        return None
    riders = [name for name in machine.rotors if shaft(machine, name) == shaft(machine, part)]
    if not any(machine.rotors[name].kind == "capstan" for name in riders):
        return None
    found = spin_down(machine, part)
    spread = max(0.1, math.log(found.high / found.low) / 2 / 1.96)
    nodes = tuple(f"drag:{name}" for name in riders)
    return Expected(nodes, lambda worn: _spin_down_s(worn, part, riders), "product", spread, 0.3, {})


def _spin_down_s(machine: Machine, flywheel: str, riders: list[str]) -> float:
    others = math.prod(machine.rotors[name].imperfections.drag for name in riders if name != flywheel)
    return spin_down(machine, flywheel).value / others


def of_rise(machine: Machine, part: str, mode: str) -> Expected | None:
    """Time from the key to the head base in place."""
    if "play" not in machine.modes or not machine.modes["play"].moves_head_base:
        return None
    node = "head_base@play"
    never = {(node, word): math.nan for word in ("stays", "part")}
    return Expected((node,), _rise_time(machine), "product", CAM_RISE_SPREAD, 0.1, never)


def _rise_time(sound: Machine) -> Callable[[Machine], float]:
    """Give how long the head base takes: a cam by what its motor and drive still turn it at, others by their drag."""
    lifter = sound.head_base.lifted_by
    found = chain_to(sound, "play", lifter) if lifter in sound.rotors else None
    if found is None:
        return lambda worn: PULLED_RISE_S * worn.head_base.imperfections.drag
    motor, chain = found
    at_rest = _line_share(sound, motor)
    couplings = {step.coupling for step in chain}
    turns = rates(sound, "play").get(lifter)
    usual_s = CAM_RISE_TURNS / turns.turns_per_s.value if turns is not None and turns.turns_per_s.value else CAM_RISE_S

    def takes(worn: Machine) -> float:
        left = holding(worn, "play", couplings) * _line_share(worn, motor) * _rate_of(worn, motor) / at_rest
        return usual_s / left if left > 0 else math.nan

    return takes


def _rate_of(machine: Machine, motor: str) -> float:
    return machine.rotors[motor].imperfections.rate * machine.supply.imperfections.rate


def _line_share(machine: Machine, motor: str) -> float:
    """Give the share of its free speed at which a motor in play runs under what is asked of it."""
    at, table = machine.modes["play"], force_table(machine, True)
    stall = float(starting_torque(machine, motor, at, table)[0])
    return max(0.0, 1.0 - load_nm(machine, motor, "play") / max(stall, 1e-9))


def of_run_on(machine: Machine, part: str, mode: str) -> Expected | None:
    """How long a motor runs that a position switch should end."""
    node = f"runs_on:{part}@play"
    watching = [sensor for sensor in machine.sensors.values() if sensor.ends == part]
    rise = of_rise(machine, "", "")
    if rise is None or not watching:
        return None
    waits = watching[0].timeout_s or TIME_OUT_S

    def runs(worn: Machine) -> float:
        # A motor that is fed and held up runs, or hums, until the logic gives up; a dead one does not run at all.
        able = float(starting_torque(worn, part, worn.modes["play"], force_table(worn, True))[0]) > 0
        taken = rise.value(worn)
        return (waits if math.isnan(taken) else min(taken, waits)) if able else math.nan

    return Expected((node,), runs, "product", CAM_RISE_SPREAD, 0.2, {(node, "yes"): waits}, most=waits)


def of_stop(machine: Machine, part: str, mode: str) -> Expected | None:
    """Time after which logic or lever ends a mode."""
    by_word: dict[tuple[str, str], float] = {}
    for node, word, kinds in (
        (f"reported@{mode}", "no", ("position_switch",)),
        (f"stops@{mode}", "yes", ("pulse_sensor", "auto_stop")),
        (f"stops@{mode}", "at_times", ("pulse_sensor", "auto_stop")),
    ):
        waits = [s.timeout_s or TIME_OUT_S for s in machine.sensors.values() if s.kind in kinds]
        if waits:
            by_word[node, word] = min(waits)
    if not by_word:
        return None
    nodes = tuple(dict.fromkeys(node for node, _ in by_word))
    said = all(s.timeout_s for s in machine.sensors.values() if s.kind in ("position_switch", "pulse_sensor"))
    spread = SAID_TIME_OUT_SPREAD if said else TIME_OUT_SPREAD
    return Expected(nodes, lambda worn: math.nan, "product", spread, 0.3, by_word)
