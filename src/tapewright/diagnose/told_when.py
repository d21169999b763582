"""What is told of a moment: from cold or warm, at the start or the end of a tape.

Signs speak of a machine from cold and towards the end of a side, where most is asked of it. What was noticed at the
other moment does not count there; what differs between the two moments is a sign of its own. What may hold a tape in
the machine counts whenever it was noticed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from tapewright.diagnose.network import Network, speaking_of
from tapewright.diagnose.rescue import IN_THE_WAY
from tapewright.faults import moments
from tapewright.faults.signs import Sign
from tapewright.words.evidence import Evidence, Observation

COLD, WARM, START, END = "cold", "warm", "start", "end"
SAID: Final[dict[str, str]] = {
    "cold": COLD, "from cold": COLD, "at first": COLD,
    "warm": WARM, "when warm": WARM, "after minutes": WARM, "after ten minutes": WARM, "later": WARM,
    "start of tape": START, "start of side": START, "start": START,
    "end of tape": END, "end of side": END, "end": END,
}  # fmt: skip
"""Words for a moment; any others are kept with the answer and change nothing."""
OTHER_MOMENTS: Final = frozenset({WARM, START})
FAILS_LATER: Final = "fails_when_warm"
DIFFERENCES: Final = (
    (COLD, WARM, "right_when_warm"),
    (WARM, COLD, FAILS_LATER),
    (END, START, "only_late"),
)
"""There, and not there at the other moment: the sign of that, in its mode."""
WHEN_WARM: Final = {"stops": "stops_when_warm", "tape_slow": "slow_when_warm", "tape_uneven": "uneven_when_warm"}
"""What is noticed in a mode, and the sign that says so of some minutes later."""


def as_told(net: Network, evidence: Evidence) -> tuple[Network, Evidence]:
    """Give evidence as signs can take it, and the machine's network so that it speaks of all of it.

    Arguments:
        net: the machine's network; it knows every sign of the evidence.
        evidence: as it was told.
    """
    signs = by_moment(net, evidence.signs)
    return speaking_of(net, (one.id for one in signs)), replace(evidence, signs=signs)


def by_moment(net: Network, observations: Sequence[Observation]) -> tuple[Observation, ...]:
    """Give what was noticed as signs can take it.

    Arguments:
        net: the machine's network; it knows every sign that was told.
        observations: as they were told; `when` in any words.

    Returns:
        Those that hold from cold and towards the end of a side, and a sign for each thing that was noticed at one
        moment and looked for in vain at the other. Where a mode is right at first and goes wrong later, what else was
        told of it speaks of later too: it counts there where a sign says it of later.
    """
    told = {one.id for one in observations}
    whole = (*observations, *(one for one in _differences(net.signs, observations) if one.id not in told))
    later = {net.signs[one.id].mode for one in whole if one.present and one.id.endswith(f"_{FAILS_LATER}")}
    nodes = {node.name for node in net.mechanism.nodes}

    def of_another_moment(one: Observation) -> bool:
        sign = net.signs[one.id]
        if sign.node.partition("@")[0].partition(":")[0] in IN_THE_WAY:
            return False
        if moment := _moment(one):
            return moment in OTHER_MOMENTS
        return sign.mode in later and moments.at_moment(sign.node, moments.WARM) in nodes

    return tuple(said for one in whole if (said := of_warm(net.signs, one) if of_another_moment(one) else one))


def of_warm(signs: Mapping[str, Sign], observation: Observation) -> Observation | None:
    """Give what was noticed after minutes of running as the sign that says so; None where none does, or of a start."""
    mode = signs[observation.id].mode
    name = f"{mode}_{WHEN_WARM.get(observation.id.removeprefix(f'{mode}_'), '')}"
    if name not in signs or _moment(observation) == START:
        return None
    return replace(observation, id=name, when="")


def _moment(observation: Observation) -> str:
    return SAID.get(observation.when.strip().lower(), "")


def _differences(signs: Mapping[str, Sign], observations: Sequence[Observation]) -> list[Observation]:
    answers = {(one.id, _moment(one), one.after): one for one in observations if _moment(one)}
    found: dict[tuple[str, tuple[str, ...]], Observation] = {}
    for (sign, moment, after), there in answers.items():
        for at, not_at, difference in DIFFERENCES:
            missed = answers.get((sign, not_at, after))
            name = _named(signs[sign], difference)
            if moment == at and there.present and missed and missed.present is False and name in signs:
                found.setdefault((name, after), replace(there, id=name, sure=min(there.sure, missed.sure), when=""))
    return list(found.values())


def _named(sign: Sign, difference: str) -> str:
    lifts = sign.node.startswith("head_base@") and difference == "right_when_warm"
    return f"{sign.mode}_{'lifts_when_warm' if lifts else difference}"
