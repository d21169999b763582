"""The repairs, in their order: what explains the complaint, and what is renewed while it lies open."""

from collections.abc import Collection, Iterable, Sequence
from typing import Final

from tapewright.diagnose.network import Network
from tapewright.diagnose.next_check import MINUTES_PER_MONEY, OPENING_MINUTES, RETURN_MINUTES
from tapewright.faults.applied import fault_kind
from tapewright.faults.catalogue import FaultKind
from tapewright.faults.cautions import cautions
from tapewright.machine.parts import spoken
from tapewright.machine.sizes import sizes
from tapewright.words.evidence import Observation
from tapewright.words.findings import Belief, PlanStep

WORTH_PLANNING: Final = 0.04
"""A part that explains less of the evidence than this is left out of the plan, unless it is renewed on the way."""
TRAPPED: Final = frozenset({"loop", "wrap", "head_base"})
"""What in a node's name tells that the tape may be held in the machine."""

FREE_THE_TAPE: Final = (
    "Before anything else get the tape out unharmed: power off and unplugged, turn the cam or flywheel by hand until "
    "the heads and roller let go, take up the slack at the hub, never pull. From here on a sacrificial cassette only."
)


def plan(network: Network, beliefs: Sequence[Belief], observations: Iterable[Observation] = ()) -> list[PlanStep]:
    """Put the repairs in order.

    First a trapped tape, then what explains the complaint at least cost, then what is worth renewing on the way.

    Arguments:
        network: the machine's belief network.
        beliefs: from `beliefs.ranked`.
        observations: what was noticed; a sign of trapped tape puts its rescue first.
    """
    seen = {o.id for o in observations if o.present}
    steps = [_rescue()] if _tape_may_be_trapped(network, seen) else []
    causes = [b for b in beliefs if b.explains_complaint >= WORTH_PLANNING]
    causes.sort(key=lambda b: -b.explains_complaint / _cost(network, b))
    steps += [_step(network, belief, "explains the complaint") for belief in _by_share_then_cost(network, causes)]
    opened = any("opening" in fault_kind(network.machine, b.part, b.kind).hazards for b in causes)
    if opened:
        on_the_way = [b for b in beliefs if b not in causes and _renew_on_the_way(network, b)]
        on_the_way.sort(key=lambda b: -b.out_of_order)
        steps += [_step(network, belief, "renew while it lies open") for belief in on_the_way]
    return steps


def _by_share_then_cost(network: Network, causes: list[Belief]) -> list[Belief]:
    """The likely causes first (a third of the explanation or more), then the cheap ones."""
    likely = sorted((b for b in causes if b.explains_complaint >= 0.3), key=lambda b: -b.explains_complaint)
    return likely + [b for b in causes if b not in likely]


def _tape_may_be_trapped(network: Network, seen: Collection[str]) -> bool:
    nodes = {network.signs[sign].node.split("@")[0] for sign in seen if sign in network.signs}
    return bool(nodes & TRAPPED)


def _rescue() -> PlanStep:
    hazards = ("power", "nip", "tape")
    return PlanStep(FREE_THE_TAPE, "tape", "", 5.0, 0.0, 0.0, 0.0, (), cautions(hazards), "no harm to the owner's tape")


def _cost(network: Network, belief: Belief) -> float:
    fault = fault_kind(network.machine, belief.part, belief.kind)
    opening = OPENING_MINUTES if "opening" in fault.hazards else 0.0
    return fault.minutes + opening + MINUTES_PER_MONEY * (fault.cost_low + fault.cost_high) / 2.0


def _renew_on_the_way(network: Network, belief: Belief) -> bool:
    """Whether a likely bad part is cheaper to renew with the case open than to wait for; only what is bought new."""
    fault = _likeliest(network, belief)
    minutes = fault.minutes + MINUTES_PER_MONEY * (fault.cost_low + fault.cost_high) / 2.0
    return fault.buys in ("belt", "tyre", "roller") and belief.out_of_order * RETURN_MINUTES > minutes


def _likeliest(network: Network, belief: Belief) -> FaultKind:
    return fault_kind(network.machine, belief.part, belief.kinds[0][0] if belief.kinds else belief.kind)


def _step(network: Network, belief: Belief, why: str) -> PlanStep:
    machine = network.machine
    fault = fault_kind(machine, belief.part, belief.kind)
    size = next((s.says for s in sizes(machine) if s.part == belief.part), "") if fault.buys else ""
    return PlanStep(
        action=fault.mend.format(part=spoken(machine, belief.part)),
        part=belief.part,
        size=size or fault.buys,
        minutes=fault.minutes,
        cost_low=fault.cost_low,
        cost_high=fault.cost_high,
        probability_it_cures=round(belief.explains_complaint, 4),
        remeasure=fault.remeasure,
        cautions=cautions(fault.hazards),
        why=why,
    )
