"""Every size that forces need, described or typical; and the starting torque of each motor."""

from collections.abc import Mapping
from functools import lru_cache

from tapewright.machine.couplings import Step, steps
from tapewright.machine.doubt import Column, Columns, columns
from tapewright.machine.parts import Machine, Mode, shaft
from tapewright.machine.typical import all_sizes, typical
from tapewright.words.estimate import Estimate

_WANTED = (
    "shell_hub_friction_usual", "guide_tension", "belt_damping", "motor_rated_load", "motor_droop_per_gcm",
    "motor_shaft_diameter", "spindle_motor_starting_torque",
)  # fmt: skip


def force_sizes(machine: Machine, given: Mapping[str, Estimate] | None = None) -> dict[str, Estimate]:
    """Give every size that forces need: all that `typical.all_sizes` gives, inertias, and what only forces ask for.

    Arguments:
        machine: as described.
        given: sizes that stand in front, by name.
    """
    sizes = {**all_sizes(machine), **{name: typical(name) for name in _WANTED}}
    for name, rotor in machine.rotors.items():
        if rotor.kind == "flywheel":
            sizes[f"{name}.inertia"] = rotor.inertia or typical("flywheel_inertia")
    return {**sizes, **(given or {})}


@lru_cache(maxsize=4)
def force_table(machine: Machine, exact: bool = False) -> Columns:
    """Give all sizes of a machine as columns; kept for the next to ask of the same machine, so nobody may alter it."""
    return columns(force_sizes(machine), exact)


@lru_cache(maxsize=16)
def at_work_in(machine: Machine, mode: str) -> tuple[Step, ...]:
    """Give `couplings.steps`, kept for the next to ask of the same machine and mode."""
    return steps(machine, mode)


def starting_torque(machine: Machine, motor: str, mode: Mode, table: Columns) -> Column:
    """Give the torque at which a motor stands still in a mode, newton metres, worn or unfed as it may be.

    It goes with the voltage, which the mode's share of the largest share stands for. A motor on a reel's own spindle is
    a stronger kind than one that is geared down.
    """
    rotor, supply = machine.rotors[motor], machine.supply.imperfections
    able = rotor.imperfections.present and rotor.imperfections.works and supply.works
    full = max(abs(other.motors.get(motor, 0.0)) for other in machine.modes.values())
    on_its_shaft = (one for name, one in machine.rotors.items() if shaft(machine, name) == shaft(machine, motor))
    spindle = any(one.kind == "reel_table" for one in on_its_shaft)
    usual = table["spindle_motor_starting_torque" if spindle else "motor_starting_torque"]
    share = abs(mode.motors.get(motor, 0.0)) / full if full else 0.0
    return usual * (rotor.imperfections.pull * supply.pull * share * float(able))
