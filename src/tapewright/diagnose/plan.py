"""The repairs, in their order: what explains the complaint, and what is renewed while it lies open."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.likelihoods import of_observations
from tapewright.diagnose.network import Network
from tapewright.diagnose.repairs import (
    MINUTES_PER_MONEY,
    OPENING_MINUTES,
    RETEST_MINUTES,
    RETURN_MINUTES,
    cost_minutes,
    opens,
    works,
)
from tapewright.diagnose.rescue import FREE_THE_TAPE, tape_held
from tapewright.diagnose.unmasking import unmasked
from tapewright.faults.applied import fault_kind
from tapewright.faults.catalogue import FaultKind
from tapewright.faults.cautions import cautions
from tapewright.machine.parts import spoken
from tapewright.machine.sizes import sizes
from tapewright.words.evidence import Observation
from tapewright.words.findings import Belief, PlanStep

Array = NDArray[np.float64]

WORTH_PLANNING: Final = 0.04
"""Work that explains less of the evidence than this is left out of the plan, unless it is renewed on the way."""
FIRST_STEPS: Final = 3
"""For this many steps it is said what may show after them."""


@dataclass(frozen=True, slots=True)
class _Planned:
    """A piece of work that would explain the complaint.

    Arguments:
        part: its name.
        kinds: the kinds of fault the work puts right.
        fault: the likeliest of them.
        share: how much of the evidence goes away with it.
    """

    part: str
    kinds: tuple[str, ...]
    fault: FaultKind
    share: float

    @property
    def minutes(self) -> float:
        """Give what it costs, the opening left out, the test after it counted."""
        return cost_minutes(self.fault) + RETEST_MINUTES


def plan(
    network: Network,
    beliefs: Sequence[Belief],
    observations: Iterable[Observation] = (),
    likelihoods: Mapping[str, Array] | None = None,
) -> list[PlanStep]:
    """Put the repairs in order.

    First a trapped tape. Then what explains the complaint, the best chance per minute first; what lies inside shares
    one opening, and is done together. Then what is worth renewing on the way.

    Arguments:
        network: the machine's belief network.
        beliefs: from `beliefs.ranked`.
        observations: what was noticed; a sign of trapped tape puts its rescue first.
        likelihoods: all that the evidence says, readings included; None for what the observations say.
    """
    said = of_observations(network, observations) if likelihoods is None else likelihoods
    steps = [_rescue()] if tape_held(network, said) else []
    causes = _in_order([one for belief in beliefs for one in _causes(network, belief)])
    shown = unmasked(network, said, [(one.part, one.kinds) for one in causes[:FIRST_STEPS]]) if said else []
    for i, one in enumerate(causes):
        steps.append(_step(network, one, "explains the complaint", shown[i] if i < len(shown) else ()))
    if any(opens(one.fault) for one in causes):
        named = {one.part for one in causes}
        on_the_way = [b for b in beliefs if b.part not in named and _renew_on_the_way(network, b)]
        on_the_way.sort(key=lambda b: -b.out_of_order)
        steps += [_step(network, _whole(network, belief), "renew while it lies open", ()) for belief in on_the_way]
    return steps


def _causes(network: Network, belief: Belief) -> list[_Planned]:
    """Split what a part explains over the pieces of work on it, by how much likelier each made its kinds."""
    if belief.explains_complaint < WORTH_PLANNING:
        return []
    known = network.parts[belief.part]
    now = dict(belief.kinds)
    before: dict[str, float] = {}
    for (kind, _), chance in zip(known.states[1:], known.prior[1:], strict=True):
        before[kind] = before.get(kind, 0.0) + chance
    still = (1.0 - belief.out_of_order) / known.prior[0]
    risen = {kind: max(now.get(kind, 0.0) - still * chance, 0.0) for kind, chance in before.items()}
    total = sum(risen.values())
    found = []
    for work in works(network.machine, belief.part, tuple(before)):
        share = sum(risen[kind] for kind in work.kinds) / total if total > 0 else float(belief.kind in work.kinds)
        likeliest = max(work.kinds, key=lambda kind: (kind == belief.kind, risen[kind], now.get(kind, 0.0)))
        share *= belief.explains_complaint
        if share >= WORTH_PLANNING or belief.kind in work.kinds:
            found.append(_Planned(belief.part, work.kinds, fault_kind(network.machine, belief.part, likeliest), share))
    return found


def _in_order(causes: Sequence[_Planned]) -> list[_Planned]:
    """Put the best chance per minute first; what lies inside pays for one opening together."""
    left, order = sorted(causes, key=lambda one: -one.share / one.minutes), list[_Planned]()
    opened = False
    while left:
        inside = [one for one in left if opens(one.fault)]
        outside = [one for one in left if not opens(one.fault)]
        go_in = inside and (opened or not outside or _together(inside) > outside[0].share / outside[0].minutes)
        chosen = (left if opened else inside)[0] if go_in else outside[0]
        opened = opened or opens(chosen.fault)
        order.append(chosen)
        left.remove(chosen)
    return order


def _together(inside: Sequence[_Planned]) -> float:
    """Give the best chance per minute that the first few works inside come to, the opening paid once."""
    chance = np.cumsum([one.share for one in inside])
    minutes = OPENING_MINUTES + np.cumsum([one.minutes for one in inside])
    return float((chance / minutes).max())


def _rescue() -> PlanStep:
    hazards = ("power", "nip", "tape")
    return PlanStep(FREE_THE_TAPE, "tape", "", 5.0, 0.0, 0.0, 0.0, (), cautions(hazards), "no harm to the owner's tape")


def _renew_on_the_way(network: Network, belief: Belief) -> bool:
    """Whether a likely bad part is cheaper to renew with the case open than to wait for; only what is bought new."""
    fault = _whole(network, belief).fault
    minutes = fault.minutes + MINUTES_PER_MONEY * (fault.cost_low + fault.cost_high) / 2.0
    return fault.buys in ("belt", "tyre", "roller") and belief.out_of_order * RETURN_MINUTES > minutes


def _whole(network: Network, belief: Belief) -> _Planned:
    kind = belief.kinds[0][0] if belief.kinds else belief.kind
    fault = fault_kind(network.machine, belief.part, kind)
    return _Planned(belief.part, (kind,), fault, belief.explains_complaint)


def _step(network: Network, one: _Planned, why: str, may_show: tuple[str, ...]) -> PlanStep:
    machine, fault = network.machine, one.fault
    size = next((s.says for s in sizes(machine) if s.part == one.part), "") if fault.buys else ""
    return PlanStep(
        action=fault.mend.format(part=spoken(machine, one.part)),
        part=one.part,
        size=size or fault.buys,
        minutes=fault.minutes,
        cost_low=fault.cost_low,
        cost_high=fault.cost_high,
        probability_it_cures=round(one.share, 4),
        remeasure=fault.remeasure,
        cautions=cautions(fault.hazards),
        why=why,
        may_show=may_show,
    )
