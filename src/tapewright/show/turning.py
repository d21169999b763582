"""Which way every shaft turns in a mode, where the description tells.

A cassette fixes it: tape that moves to the right leaves both hubs anticlockwise, seen from the cassette side, and the
capstan turns the way that carries the tape there. What is coupled to them follows. A motor turns the same way in every
mode, or the other way where the description has a minus. Where two roads disagree nothing is said.
"""

from collections.abc import Mapping

from tapewright.machine.couplings import links
from tapewright.machine.parts import Machine, shaft
from tapewright.show.standing import Standing


def turning(machine: Machine, mode: str, where: Standing) -> dict[str, int]:
    """Give +1 (anticlockwise) or -1 for each shaft whose way is known.

    Arguments:
        machine: as described.
        mode: its name.
        where: where the shafts stand.
    """
    at = machine.modes[mode]
    hubs, told = _by_the_tape(machine, mode, where)
    for motor, share in at.motors.items():
        if way := _way_of(machine, motor, where):
            told.setdefault(shaft(machine, motor), way if share > 0 else -way)
    found = _spread(machine, mode, told | hubs, frozenset(hubs))
    return {owner: way for owner, way in found.items() if way}


def _by_the_tape(machine: Machine, mode: str, where: Standing) -> tuple[dict[str, int], dict[str, int]]:
    """Give the ways that a cassette fixes: of its hubs, and of the capstans that carry its tape."""
    at = machine.modes[mode]
    if not (at.takes_up and at.gives):
        return {}, {}
    takes, gives = shaft(machine, at.takes_up), shaft(machine, at.gives)
    right = 1 if where.axes[takes][0] >= where.axes[gives][0] else -1
    return {takes: right, gives: right}, _capstans(machine, at.engaged, where, right) if at.at_capstan else {}


def _capstans(machine: Machine, engaged: tuple[str, ...], where: Standing, right: int) -> dict[str, int]:
    """A capstan above the tape carries it to the right by turning anticlockwise; one below it the other way."""
    found = {}
    for coupling in machine.couplings.values():
        if coupling.kind == "nip" and coupling.name in engaged:
            ends = sorted(coupling.path, key=lambda name: machine.rotors[name].kind != "capstan")
            capstan, roller = (where.axes[shaft(machine, name)] for name in (ends[0], ends[-1]))
            if above := _sign(capstan[1] - roller[1]):
                found[shaft(machine, ends[0])] = right * above
    return found


def _sign(value: float) -> int:
    return (value > 0) - (value < 0)


def _spread(
    machine: Machine, mode: str, known: Mapping[str, int], certain: frozenset[str] = frozenset()
) -> dict[str, int]:
    """Carry ways through couplings; a shaft that is told two ways is 0, and so is all that hangs on it.

    Arguments:
        machine: as described.
        mode: its name.
        known: +1 or -1 by shaft.
        certain: shafts that stay what they are, whatever a coupling says: the hubs of a cassette.
    """
    ways = dict(known)
    joints = [(one.driver_shaft, one.driven_shaft, _sign(one.ratio.value)) for one in links(machine, mode)]
    for _ in range(2 * len(joints) + 1):
        before = dict(ways)
        for driver, driven, same in joints:
            for here, there in ((driver, driven), (driven, driver)):
                if here in ways and there not in certain:
                    said = ways[here] * same
                    ways[there] = said if ways.get(there, said) == said else 0
        if ways == before:
            break
    return ways


def _way_of(machine: Machine, motor: str, where: Standing) -> int:
    """Give the way a motor turns when its share is positive, from the first mode that tells; play tells best."""
    owner = shaft(machine, motor)
    for name in sorted(machine.modes, key=lambda one: not machine.modes[one].at_capstan):
        if motor in machine.modes[name].motors:
            hubs, told = _by_the_tape(machine, name, where)
            if way := _spread(machine, name, told | hubs, frozenset(hubs)).get(owner, 0):
                return way if machine.modes[name].motors[motor] > 0 else -way
    return 0
