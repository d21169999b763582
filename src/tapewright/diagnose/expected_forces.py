"""What a gauge, a spring scale or a meter should read on a machine as it is: torques, forces, currents, the supply."""

import math
from typing import Final

from tapewright.diagnose.expectation import Expected, load_nm, spread_of
from tapewright.machine.asked import hold_back
from tapewright.machine.doubt import Column
from tapewright.machine.force_sizes import force_table, starting_torque
from tapewright.machine.formulas import half_side_radius, reel_turns
from tapewright.machine.parts import Machine, nips_at_work, shaft
from tapewright.machine.passed import springs
from tapewright.machine.reel_drive import nip_force, reel_drive, torque_at_reel
from tapewright.words.units import GCM_NM, GF_N

NO_LOAD_MA: Final = 60.0
MA_PER_GCM: Final = 2.5
STALLED_MA: Final = 400.0
MOTOR_SPREAD: Final = 0.3
"""Current of a small d.c. motor: 60 mA unloaded (30 to 85, from memory and one forum), 85 mA at its rated 10 g·cm (a
repair forum prints 80 to 90), 400 mA stalled (200 to 700, from memory); the spread of motors alike covers these."""
SUPPLY_V: Final = 12.0
SUPPLY_SPREAD: Final = 0.043
"""A repair forum expects 12 V within 1 V at the terminals."""


def of_take_up(machine: Machine, part: str, mode: str) -> Expected:
    """Torque that the drive brings to the reel that takes up; a wind stalled, as it is measured."""
    node = f"turns:{shaft(machine, machine.modes[mode].takes_up)}@{mode}"
    nothing = {(node, word): 0.0 for word in ("still", "loose")}
    spread = spread_of(machine, _take_up_column(machine, mode, exact=False), "N·m")
    return Expected((node,), lambda worn: _take_up_gcm(worn, mode), "product", spread, 2.0, nothing)


def _take_up_gcm(machine: Machine, mode: str) -> float:
    found = _take_up_column(machine, mode, exact=True)
    return 0.0 if found is None else float(found[0]) / GCM_NM


def _take_up_column(machine: Machine, mode: str, exact: bool) -> Column | None:
    at, tape = machine.modes[mode], machine.tape
    table = force_table(machine, exact)
    drive = reel_drive(machine, mode, at.takes_up, table)
    if drive is None:
        return None
    # In play the cassette's gauge turns as a reel would; a torque in a wind is taken with the reel stalled.
    middle = half_side_radius(tape.hub_radius_m, tape.full_radius_m)
    turns = float(reel_turns(tape.speed_m_per_s, middle)) if at.at_capstan else 0.0
    return torque_at_reel(machine, mode, drive, table.constant(turns), table)


def of_hold_back(machine: Machine, part: str, mode: str) -> Expected | None:
    """Torque that holds the giving reel back: its drags, brakes that rub, its own bearing."""
    at = machine.modes[mode]
    if not at.gives:
        return None
    drags = tuple(
        f"hold_back:{one.name}" for one in machine.couplings.values() if one.kind == "drag" and at.gives in one.path
    )
    spread = spread_of(machine, hold_back(machine, at, force_table(machine)), "N·m")
    window = math.log(5.0 / 2.0) / 2 / 1.96  # 2 to 5 g·cm, the window that is used where a machine's own is not known
    return Expected(
        (f"held_back@{mode}", *drags), lambda worn: _hold_back_gcm(worn, mode), "product", max(spread, window), 0.3, {}
    )


def _hold_back_gcm(machine: Machine, mode: str) -> float:
    at, table = machine.modes[mode], force_table(machine, True)
    brakes = [c for c in machine.couplings.values() if c.kind == "brake" and at.gives in c.path]
    rubbing = sum(float(table["reel_friction"][0]) * (brake.imperfections.drag - 1.0) for brake in brakes)
    own = float(table["reel_friction"][0]) * (machine.rotors[at.gives].imperfections.drag - 1.0)
    return (float(hold_back(machine, at, table)[0]) + rubbing + own) / GCM_NM


def of_pull(machine: Machine, part: str, mode: str) -> Expected | None:
    """Pull that the nip holds by friction; nothing where the roller does not close."""
    at = machine.modes.get("play")
    if at is None or nip_force(machine, at, force_table(machine)) is None:
        return None
    spread = spread_of(machine, nip_force(machine, at, force_table(machine)), "N")
    opened = {("closed@play", "open"): 0.0}
    return Expected(("closed@play",), _pull_gf, "product", spread, 5.0, opened)


def _pull_gf(machine: Machine) -> float:
    found = nip_force(machine, machine.modes["play"], force_table(machine, True))
    return 0.0 if found is None else float(found[0]) / GF_N


def of_pinch(machine: Machine, part: str, mode: str) -> Expected | None:
    """Force of the roller on the capstan: what its spring and its carrier leave of it."""
    nips = nips_at_work(machine, machine.modes["play"]) if "play" in machine.modes else ()
    if not nips:
        return None
    spread = spread_of(machine, force_table(machine)[f"{nips[0].name}.force"], "N")
    # One presses the roller by hand with the gauge: whether the head base comes up by itself does not matter.
    return Expected((), _pinch_gf, "product", spread, 10.0, {})


def _pinch_gf(machine: Machine) -> float:
    nip = nips_at_work(machine, machine.modes["play"])[0]
    return float(force_table(machine, True)[f"{nip.name}.force"][0]) * springs(machine, nip) / GF_N


def of_current(machine: Machine, part: str, mode: str) -> Expected | None:
    """Current of a motor, by its own friction and what it is made to turn."""
    if part not in machine.modes[mode].motors:
        return None
    nodes = (f"sounds:{part}@{mode}", f"turns:{shaft(machine, part)}@{mode}")
    return Expected(
        nodes, lambda worn: _current_ma(worn, part, mode), "product", MOTOR_SPREAD, 5.0, {}, most=STALLED_MA
    )


def _current_ma(machine: Machine, motor: str, mode: str) -> float:
    """Give a motor's current: its own friction unloaded, more for each g·cm of load, what it draws when it stands."""
    rotor, at = machine.rotors[motor], machine.modes[mode]
    stall = float(starting_torque(machine, motor, at, force_table(machine, True))[0])
    if stall <= 0:
        return 0.0
    load = load_nm(machine, motor, mode)
    if load >= stall or rotor.imperfections.drag > 20.0:
        return STALLED_MA * machine.supply.imperfections.pull
    return NO_LOAD_MA * rotor.imperfections.drag + MA_PER_GCM * load / GCM_NM


def of_volts(machine: Machine, part: str, mode: str) -> Expected:
    """Voltage of a 12 V supply under load."""
    return Expected(("feed:" + machine.supply.name,), lambda worn: SUPPLY_V * _fed(worn), "product", SUPPLY_SPREAD,
                    0.1, {}, parts=frozenset({machine.supply.name}))  # fmt: skip


def of_volts_pct(machine: Machine, part: str, mode: str) -> Expected:
    """Voltage under load against the one marked."""
    return Expected(("feed:" + machine.supply.name,), lambda worn: 100.0 * _fed(worn), "product", SUPPLY_SPREAD,
                    1.0, {}, parts=frozenset({machine.supply.name}))  # fmt: skip


def _fed(machine: Machine) -> float:
    return machine.supply.imperfections.pull * float(machine.supply.imperfections.works)
