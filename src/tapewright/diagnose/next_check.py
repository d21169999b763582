"""Which check is expected to save most work.

Until a part is known to be sound or not, work goes to waste: the mending of a sound part, or the return of the machine
with a bad one left in. The work at stake in a belief is the mending of the part times the doubt in it, in bits, summed
over the parts; what speaks to the complaint counts fully, the rest in part. A check is worth what it is expected to
take off that sum, less its own minutes, the opening of the case, and its risk. Since the doubt is concave in the
probabilities, a check never costs knowledge: only its own minutes can make it a loss, and then it is time to mend.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.beliefs import Posterior, posterior
from tapewright.diagnose.likelihoods import of_answer
from tapewright.diagnose.network import Network
from tapewright.diagnose.pairs import Pairs, after, pairs
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


@dataclass(frozen=True, slots=True, eq=False)
class _Answer:
    """A hypothetical answer, and where it would leave things.

    Arguments:
        likely: its chance.
        bad: for each part, the chance that it is out of order after it, shape (parts,).
        shares: for each part, its share of the explanation after it, shape (parts,).
    """

    likely: float
    bad: Array
    shares: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Candidate:
    sign: Sign
    saving: float
    yes: _Answer
    no: _Answer


@dataclass(frozen=True, slots=True, eq=False)
class _Stakes:
    """What hangs on each part: minutes of mending, weighed by what it has to do with the complaint, shape (parts,)."""

    parts: tuple[str, ...]
    prior_sound: Array
    minutes: Array

    def of(self, bad: Array) -> float:
        """Give the work at stake when the parts are bad with these chances, minutes."""
        return float(self.minutes @ _bits(bad))


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
    candidates = _candidates(network, likelihoods, asked, case_open=case_open)
    worth = [one for one in candidates if one.saving > 0]
    shut = [one for one in worth if case_open or not one.sign.opens_case]
    best = max(shut or worth, key=lambda one: one.saving, default=None)
    return None if best is None else _as_check(network, best, only_open_left=not shut)


def _candidates(
    network: Network, likelihoods: Mapping[str, Array], asked: Collection[str], *, case_open: bool
) -> list[_Candidate]:
    found = pairs(network, likelihoods)
    now = posterior(network, likelihoods, with_words=False)
    stakes = _stakes(network, now)
    here = stakes.of(np.array([1.0 - now.states[name][0, 0] for name in stakes.parts]))
    opening = 0.0 if case_open else OPENING_MINUTES * (1.0 - _will_open(network, now))
    # How likely the evidence so far is on a machine with nothing wrong, against how likely it is at all.
    all_sound = float(np.exp(min(now.log_if_sound[0] - now.log_evidence[0], 0.0)))
    candidates = []
    for sign in network.signs.values():
        if sign.id in asked or sign.node not in network.words:
            continue
        words = network.words[sign.node]
        yes, no = (
            _answer(stakes, found, sign.node, of_answer(sign, words, present=present), all_sound)
            for present in (True, False)
        )
        expected = yes.likely * stakes.of(yes.bad) + no.likely * stakes.of(no.bad)
        cost = sign.minutes + sign.risk_minutes + (opening if sign.opens_case else 0.0)
        candidates.append(_Candidate(sign, here - expected - cost, yes, no))
    return candidates


def _answer(stakes: _Stakes, found: Pairs, node: str, said: Array, all_sound: float) -> _Answer:
    likely, rows, if_sound = after(found, node, said)
    bad = np.array([1.0 - rows[found.rows[name].start] for name in stakes.parts])
    gone = np.clip(1.0 - (1.0 - bad) / stakes.prior_sound, 0.0, 1.0)
    none = min(all_sound * if_sound / likely, 1.0)
    return _Answer(likely, bad, gone / max(gone.sum() + none, 1e-300))


def _stakes(network: Network, now: Posterior) -> _Stakes:
    """Weigh each part's mending: in full where it has to do with the complaint, in part where it has not."""
    names = tuple(network.parts)
    prior = np.array([network.parts[name].prior[0] for name in names])
    gone = np.clip(1.0 - np.array([now.states[name][0, 0] for name in names]) / prior, 0.0, 1.0)
    weight = BESIDE_THE_COMPLAINT + (1.0 - BESIDE_THE_COMPLAINT) * np.minimum(1.0, 2.0 * gone)
    return _Stakes(names, prior, weight * np.array([mending_minutes(network, name, now) for name in names]))


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


def _as_check(network: Network, best: _Candidate, *, only_open_left: bool) -> Check:
    sign = best.sign
    yes, no = _shifts(network, best.yes), _shifts(network, best.no)
    return Check(
        id=sign.id,
        says=sign.says,
        how=sign.how,
        mode=sign.mode,
        opens_case=sign.opens_case,
        minutes=sign.minutes,
        cautions=cautions(sign.hazards),
        why=_why(network, best, yes[0], no[0], only_open_left=only_open_left),
        expected_saving=round(best.saving, 2),
        if_yes=yes,
        if_no=no,
    )


def _why(network: Network, best: _Candidate, yes: Shift, no: Shift, *, only_open_left: bool) -> str:
    names = [spoken(network.machine, shift.part) for shift in (yes, no)]
    start = "No check with the case shut can tell more now. " if only_open_left else ""
    likely = f"{best.yes.likely:.0%} likely to be yes"
    if yes.part == no.part:
        turn = (
            f"Yes makes the {names[0]} {yes.explains_complaint:.0%} of the explanation, no {no.explains_complaint:.0%}"
        )
    else:
        turn = f"Yes points to the {names[0]}, no to the {names[1]}"
    return f"{start}{turn}; {likely}, and worth about {best.saving:.0f} minutes of work."


def _shifts(network: Network, answer: _Answer) -> tuple[Shift, ...]:
    names = tuple(network.parts)
    order = np.argsort(-answer.shares, kind="stable")[:SHOWN]
    return tuple(Shift(names[i], round(float(answer.shares[i]), 4), round(float(answer.bad[i]), 4)) for i in order)
