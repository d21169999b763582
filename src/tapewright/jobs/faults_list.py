"""Every fault a machine can have, with the signs it leads to: worked out, not looked up."""

from tapewright.diagnose.closed_jobs import Knowledge
from tapewright.diagnose.learning import by_kind, with_knowledge
from tapewright.diagnose.network import network
from tapewright.faults.applied import Fault, applied
from tapewright.faults.catalogue import possible_faults
from tapewright.faults.consequences import signs_shown
from tapewright.machine.parts import Machine, sound


def faults_list(machine: Machine, knowledge: Knowledge | None = None) -> list[dict[str, object]]:
    """List what can be wrong with a machine.

    Arguments:
        machine: as described; what is wrong with it already plays no role.
        knowledge: closed jobs that move the base rates; None for the catalogue's.

    Returns:
        For each fault: part, kind, what a technician says, base rate, the degrees it is met in, and the ids of the
        signs that it shows at its worst and a sound machine does not.
    """
    ideal = sound(machine)
    usual = {sign.id for sign in signs_shown(ideal)}
    learnt = {}
    if knowledge is not None:
        taught = with_knowledge(network(ideal), knowledge).parts
        learnt = {name: by_kind(states, states.prior) for name, states in taught.items()}
    listed: list[dict[str, object]] = []
    for possible in possible_faults(machine):
        fault = possible.fault
        worn = applied(ideal, [Fault(possible.part, fault.kind, max(fault.severities))])
        rate = round(possible.base_rate, 4)
        moved = {} if knowledge is None else {"catalogue_rate": rate}
        listed.append(
            {
                "part": possible.part,
                "kind": fault.kind,
                "says": fault.says,
                "base_rate": round(learnt.get(possible.part, {}).get(fault.kind, rate), 4),
                **moved,
                "severities": list(fault.severities),
                "signs": [sign.id for sign in signs_shown(worn) if sign.id not in usual],
            }
        )
    return listed
