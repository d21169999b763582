"""Which way every shaft turns in a mode, where the description tells.

A cassette fixes it: tape that moves to the right leaves both hubs anticlockwise, seen from the cassette side, and the
capstan turns the way that carries the tape there. What is coupled to them follows. A motor keeps its way in the modes
that move no tape. Where two roads disagree nothing is said.
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
    told = _told(machine, mode, where)
    for motor, share in machine.modes[mode].motors.items():
        owner = shaft(machine, motor)
        if owner not in told and (way := _from_another_mode(machine, motor, mode, where)):
            told |= _spread(machine, mode, {owner: way if share > 0 else -way})
    return {owner: way for owner, way in told.items() if way}


def _told(machine: Machine, mode: str, where: Standing) -> dict[str, int]:
    """Follow the tape's way through the couplings; 0 where two roads disagree."""
    at = machine.modes[mode]
    if not (at.takes_up and at.gives):
        return {}
    takes, gives = shaft(machine, at.takes_up), shaft(machine, at.gives)
    right = 1 if where.axes[takes][0] >= where.axes[gives][0] else -1
    known = {takes: right, gives: right}
    told = _capstans(machine, at.engaged, where, right) if at.at_capstan else {}
    return _spread(machine, mode, told | known, frozenset(known))


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


def _from_another_mode(machine: Machine, motor: str, mode: str, where: Standing) -> int:
    owner = shaft(machine, motor)
    for name, other in machine.modes.items():
        if name != mode and motor in other.motors and (way := _told(machine, name, where).get(owner)):
            return way if other.motors[motor] > 0 else -way
    return 0
