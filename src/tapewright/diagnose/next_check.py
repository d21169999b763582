"""Which check is expected to save most work.

Until a part is known to be sound or not, work goes to waste: the mending of a sound part, or the return of the machine
with a bad one left in. The work at stake in a belief is the mending of the part times the doubt in it, in bits, summed
over the parts; what speaks to the complaint counts fully, the rest in part. A check is worth what it is expected to
take off that sum, less its own minutes, the opening of the case, and its risk. Since the doubt is concave in the
probabilities, a check never costs knowledge: only its own minutes can make it a loss, and then it is time to mend.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.beliefs import Posterior, Shares, posterior, shares
from tapewright.diagnose.likelihoods import of_answer
from tapewright.diagnose.network import Network
from tapewright.faults.applied import fault_kind
from tapewright.faults.cautions import cautions
from tapewright.faults.signs import Sign
from tapewright.machine.parts import spoken
from tapewright.words.findings import Check, Shift

Array = NDArray[np.float64]

OPENING_MINUTES: Final = 25.0
"""Opening a machine and closing it again; trade judgement, from memory."""
RETURN_MINUTES: Final = 120.0
"""A machine that comes back: talk, opening, diagnosis again, postage; trade judgement, from memory."""
MINUTES_PER_MONEY: Final = 0.8
"""Minutes of work that one unit of money buys: 60 minutes at the 75 to 80 an hour of five shops' posted terms."""
BESIDE_THE_COMPLAINT: Final = 0.35
"""How much the work at stake in parts that have nothing to do with the complaint counts."""
SHOWN: Final = 5
CHUNK: Final = 64


@dataclass(frozen=True, slots=True)
class _Candidate:
    sign: Sign
    saving: float
    likely: float
    yes: int
    no: int


@dataclass(frozen=True, slots=True, eq=False)
class _Weighing:
    """One batch of hypothetical answers, weighed."""

    candidates: tuple[_Candidate, ...]
    found: Posterior
    shared: Shares


def next_check(
    network: Network,
    likelihoods: Mapping[str, Array],
    asked: Collection[str] = (),
    *,
    case_open: bool = False,
) -> Check | None:
    """Give the check that is expected to save most; None when mending saves more than asking on.

    As long as a check with the case shut is expected to save anything, no check that opens the case is proposed.

    Arguments:
        network: the machine's belief network.
        likelihoods: what the evidence so far says, from `likelihoods`.
        asked: ids of signs that were answered or skipped.
        case_open: whether the case lies open already.
    """
    weighing = _weigh(network, likelihoods, asked, case_open=case_open)
    if weighing is None:
        return None
    worth = [one for one in weighing.candidates if one.saving > 0]
    shut = [one for one in worth if case_open or not one.sign.opens_case]
    best = max(shut or worth, key=lambda one: one.saving, default=None)
    return None if best is None else _as_check(network, weighing, best, only_open_left=not shut)


def _weigh(
    network: Network, likelihoods: Mapping[str, Array], asked: Collection[str], *, case_open: bool
) -> _Weighing | None:
    now = posterior(network, likelihoods)
    signs = [s for s in network.signs.values() if s.id not in asked and s.node in network.words]
    signs = [s for s in signs if _undecided(network, now, s)]
    if not signs:
        return None
    batch = _batched(network, likelihoods, signs)
    found = _in_chunks(network, batch, 2 * len(signs))
    stakes = _stakes(network, now, found)
    here = float(_stakes(network, now, now)[0])
    opening = 0.0 if case_open else OPENING_MINUTES * (1.0 - _will_open(network, now))
    candidates = []
    for i, sign in enumerate(signs):
        likely = _chance_of_yes(network, now, sign)
        after = likely * stakes[2 * i] + (1.0 - likely) * stakes[2 * i + 1]
        cost = sign.minutes + sign.risk_minutes + (opening if sign.opens_case else 0.0)
        candidates.append(_Candidate(sign, float(here - after - cost), likely, 2 * i, 2 * i + 1))
    return _Weighing(tuple(candidates), found, shares(network, found))


def _in_chunks(network: Network, batch: Mapping[str, Array], cases: int) -> Posterior:
    """Work a large batch out in pieces, so that memory stays small."""
    pieces = []
    for start in range(0, cases, CHUNK):
        stop = min(start + CHUNK, cases)
        part = {node: said[start:stop] if len(said) > 1 else said for node, said in batch.items()}
        pieces.append(posterior(network, part, with_words=False))
    states = {name: np.concatenate([piece.states[name] for piece in pieces]) for name in network.parts}
    logs = [np.concatenate([getattr(piece, name) for piece in pieces]) for name in ("log_evidence", "log_if_sound")]
    return Posterior(states, {}, logs[0], logs[1])


def _undecided(network: Network, now: Posterior, sign: Sign) -> bool:
    """A sign whose answer is as good as known tells nothing, and is not worth a batch entry."""
    likely = _chance_of_yes(network, now, sign)
    return bool(sign.false_rate * 1.05 < likely < max(sign.notice.values()) * 0.999)


def _chance_of_yes(network: Network, now: Posterior, sign: Sign) -> float:
    chance = np.array([sign.chance(word) for word in network.words[sign.node]])
    return float(now.words[sign.node][0] @ chance)


def _batched(network: Network, likelihoods: Mapping[str, Array], signs: Sequence[Sign]) -> dict[str, Array]:
    """Give the evidence with each hypothetical answer added: yes and no of every sign, one case each."""
    batch = {node: np.atleast_2d(said) for node, said in likelihoods.items()}
    for node in {sign.node for sign in signs}:
        words = network.words[node]
        rows = np.repeat(batch.get(node, np.ones((1, len(words)))), 2 * len(signs), axis=0)
        for i, sign in enumerate(signs):
            if sign.node == node:
                rows[2 * i] *= of_answer(sign, words, present=True)
                rows[2 * i + 1] *= of_answer(sign, words, present=False)
        batch[node] = rows
    return batch


def _will_open(network: Network, now: Posterior) -> float:
    """Give the chance that the case has to be opened in any event, to mend what explains the complaint.

    Opening is paid once: a check inside costs only as much of it as the mending may yet spare.
    """
    shut = 1.0
    for name, known in network.parts.items():
        kind = known.states[1 + int(np.argmax(now.states[name][0, 1:]))][0]
        if "opening" in fault_kind(network.machine, name, kind).hazards:
            shut *= min(1.0, float(now.states[name][0, 0]) / known.prior[0])
    return 1.0 - shut


def _stakes(network: Network, now: Posterior, found: Posterior) -> Array:
    """Give the work at stake in each case of a batch, minutes, shape (batch,)."""
    total = np.zeros(len(found.log_evidence))
    for name, known in network.parts.items():
        weight = BESIDE_THE_COMPLAINT + (1.0 - BESIDE_THE_COMPLAINT) * min(
            1.0, 2.0 * max(0.0, 1.0 - float(now.states[name][0, 0]) / known.prior[0])
        )
        bad = 1.0 - found.states[name][:, 0]
        total += weight * mending_minutes(network, name, now) * _bits(bad)
    return total


def _bits(chance: Array) -> Array:
    """Give the doubt in a yes-or-no question, bits: 1 at even chances, 0 when it is known."""
    inside = np.clip(chance, 1e-12, 1.0 - 1e-12)
    return np.asarray(-inside * np.log2(inside) - (1.0 - inside) * np.log2(1.0 - inside))


def mending_minutes(network: Network, name: str, now: Posterior) -> float:
    """Give what mending a part costs for its likeliest fault, minutes: money turned into time, the opening included."""
    known = network.parts[name]
    bad = now.states[name][0, 1:]
    kind = known.states[1 + int(np.argmax(bad))][0]
    fault = fault_kind(network.machine, name, kind)
    opening = OPENING_MINUTES if "opening" in fault.hazards else 0.0
    return fault.minutes + opening + MINUTES_PER_MONEY * (fault.cost_low + fault.cost_high) / 2.0


def _as_check(network: Network, weighing: _Weighing, best: _Candidate, *, only_open_left: bool) -> Check:
    sign = best.sign
    return Check(
        id=sign.id,
        says=sign.says,
        how=sign.how,
        mode=sign.mode,
        opens_case=sign.opens_case,
        minutes=sign.minutes,
        cautions=cautions(sign.hazards),
        why=_why(network, weighing, best, only_open_left=only_open_left),
        expected_saving=round(best.saving, 2),
        if_yes=_shifts(weighing, best.yes),
        if_no=_shifts(weighing, best.no),
    )


def _why(network: Network, weighing: _Weighing, best: _Candidate, *, only_open_left: bool) -> str:
    yes, no = (_shifts(weighing, case)[0] for case in (best.yes, best.no))
    names = [spoken(network.machine, shift.part) for shift in (yes, no)]
    start = "No check with the case shut can tell more now. " if only_open_left else ""
    likely = f"{best.likely:.0%} likely to be yes"
    if yes.part == no.part:
        turn = (
            f"yes makes the {names[0]} {yes.explains_complaint:.0%} of the explanation, no {no.explains_complaint:.0%}"
        )
    else:
        turn = f"yes points to the {names[0]}, no to the {names[1]}"
    return f"{start}{turn[0].upper()}{turn[1:]}; {likely}, and worth about {best.saving:.0f} minutes of work."


def _shifts(weighing: _Weighing, case: int) -> tuple[Shift, ...]:
    share = weighing.shared.share[case]
    order = np.argsort(-share, kind="stable")[:SHOWN]
    names = weighing.shared.parts
    return tuple(
        Shift(names[i], round(float(share[i]), 4), round(1.0 - float(weighing.found.states[names[i]][case, 0]), 4))
        for i in order
    )
