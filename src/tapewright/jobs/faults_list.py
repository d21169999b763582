"""Every fault a machine can have, with the signs it leads to: worked out, not looked up."""

from tapewright.faults.applied import Fault, applied
from tapewright.faults.catalogue import possible_faults
from tapewright.faults.consequences import signs_shown
from tapewright.machine.parts import Machine, sound


def faults_list(machine: Machine) -> list[dict[str, object]]:
    """List what can be wrong with a machine.

    Arguments:
        machine: as described; what is wrong with it already plays no role.

    Returns:
        For each fault: part, kind, what a technician says, base rate, the degrees it is met in, and the ids of the
        signs that it shows at its worst and a sound machine does not.
    """
    ideal = sound(machine)
    usual = {sign.id for sign in signs_shown(ideal)}
    listed: list[dict[str, object]] = []
    for possible in possible_faults(machine):
        fault = possible.fault
        worn = applied(ideal, [Fault(possible.part, fault.kind, max(fault.severities))])
        listed.append(
            {
                "part": possible.part,
                "kind": fault.kind,
                "says": fault.says,
                "base_rate": round(possible.base_rate, 4),
                "severities": list(fault.severities),
                "signs": [sign.id for sign in signs_shown(worn) if sign.id not in usual],
            }
        )
    return listed
