"""Which check is expected to save most work, and which answer would change the tool's mind.

Once something was found wrong, a check is worth what it is expected to take off the cost of repair (`policy`): the cost
of mending now, less the cost of asking first. Whatever is not behind the complaint may be bad as well, and bring the
machine back one day: the work at stake in that counts in part. Until a part is known to be sound or not, its mending
goes to waste as far as it is in doubt, so its stake is the minutes of its mending times the doubt in it, in bits.
Before anything was found wrong the stake is all there is, and counts in full. Last, a mode that nobody tried may fail
unnoticed until the machine comes back: a share of a return is at stake in whether the tape runs as it should in each.

A check costs its own minutes, its risk, and the opening of the case as far as the mending would not open it in any
event. When none saves more than it costs, it is time to mend.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.beliefs import Posterior, posterior
from tapewright.diagnose.cases import Stage, complaint_of, drawn_cases, may_be_asked, workings
from tapewright.diagnose.likelihoods import of_answer
from tapewright.diagnose.network import Network
from tapewright.diagnose.pairs import Pairs, after, pairs
from tapewright.diagnose.policy import Decision, choose
from tapewright.diagnose.repairs import OPENING_MINUTES, RETURN_MINUTES, cost_minutes, opens
from tapewright.diagnose.rescue import FREE_THE_TAPE, tape_held
from tapewright.faults.applied import fault_kind
from tapewright.faults.cautions import cautions
from tapewright.faults.signs import Sign
from tapewright.machine.parts import spoken
from tapewright.words.findings import ChangeOfMind, Check, Shift

Array = NDArray[np.float64]

BESIDE_THE_COMPLAINT: Final = 0.35
"""How much the work at stake counts once something was found wrong: what is not behind it may come back one day."""
UNNOTICED: Final = 0.05
"""Share of a return that is at stake in a mode which may fail unnoticed: the owner spoke of something else."""
SHOWN: Final = 5
LIKELY_ENOUGH: Final = 0.02
"""An answer less likely than this is not named as one that would change the tool's mind."""
CHANGES_SHOWN: Final = 2


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
    on_complaint: float
    yes: _Answer
    no: _Answer


@dataclass(frozen=True, slots=True, eq=False)
class _Stakes:
    """What hangs on each part: minutes of mending, shape (parts,)."""

    parts: tuple[str, ...]
    prior_sound: Array
    minutes: Array

    def of(self, bad: Array) -> float:
        """Give the work at stake when the parts are bad with these chances, minutes."""
        return float(self.minutes @ _bits(bad))


@dataclass(frozen=True, slots=True)
class Outlook:
    """What looking ahead gives.

    Arguments:
        check: the next check; None when mending saves more than asking on.
        changes: the answers that would take most from the leading suspect.
    """

    check: Check | None
    changes: tuple[ChangeOfMind, ...]


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
    return look_ahead(network, likelihoods, asked, case_open=case_open).check


def look_ahead(
    network: Network,
    likelihoods: Mapping[str, Array],
    asked: Collection[str] = (),
    *,
    case_open: bool = False,
    now: Posterior | None = None,
) -> Outlook:
    """Weigh every check that is left, once; give the best, and what would change the tool's mind.

    Arguments:
        network: the machine's belief network.
        likelihoods: what the evidence so far says, from `likelihoods`.
        asked: ids of signs that were answered or skipped.
        case_open: whether the case lies open already.
        now: what is believed by these likelihoods, where that is worked out already.
    """
    now = posterior(network, likelihoods, with_words=False) if now is None else now
    candidates = _candidates(network, now, likelihoods, asked, case_open=case_open)
    worth = [one for one in candidates if one.saving > 0]
    shut = [one for one in worth if case_open or not one.sign.opens_case]
    # The complaint comes before what may be wrong beside it.
    best = max(shut or worth, key=lambda one: (one.on_complaint > 0, one.saving), default=None)
    first = FREE_THE_TAPE if tape_held(network, likelihoods) else ""
    check = None if best is None else _as_check(network, best, first, only_open_left=not shut)
    return Outlook(check, _changes(network, now, candidates) if complaint_of(network, likelihoods) else ())


def _candidates(
    network: Network, now: Posterior, likelihoods: Mapping[str, Array], asked: Collection[str], *, case_open: bool
) -> list[_Candidate]:
    left = [sign for sign in network.signs.values() if sign.id not in asked and may_be_asked(network, sign)]
    if not left:
        return []
    found = pairs(network, likelihoods)
    decision = _policy(network, now, likelihoods, left, case_open=case_open)
    stakes = _stakes(network, now)
    here = stakes.of(_bad(stakes.parts, now))
    # How likely the evidence so far is on a machine with nothing wrong, against how likely it is at all.
    all_sound = float(np.exp(min(now.log_if_sound[0] - now.log_evidence[0], 0.0)))
    costs = _costs(network, now, left, case_open=case_open)
    wrong = complaint_of(network, likelihoods)
    candidates = []
    for i, sign in enumerate(left):
        words = network.words[sign.node]
        yes, no = (
            _answer(stakes, found, sign.node, of_answer(sign, words, present=present), all_sound)
            for present in (True, False)
        )
        stake = here - yes.likely * stakes.of(yes.bad) - no.likely * stakes.of(no.bad)
        unnoticed = UNNOTICED * RETURN_MINUTES * _told_of_mode(network, found, sign) if sign.node not in wrong else 0.0
        # Knowing more never costs more than the asking, however short the policy looks ahead.
        on_complaint = 0.0 if decision is None else max(float(decision.saving[i]), -costs[i])
        beside = stake - costs[i] if decision is None else BESIDE_THE_COMPLAINT * stake
        saving = on_complaint + beside + unnoticed
        candidates.append(_Candidate(sign, saving, on_complaint, yes, no))
    return candidates


def _policy(
    network: Network, now: Posterior, likelihoods: Mapping[str, Array], left: Sequence[Sign], *, case_open: bool
) -> Decision | None:
    """Let the policy weigh the checks; None while nothing was found wrong, or where no case fits what was."""
    complaint = complaint_of(network, likelihoods)
    if not complaint:
        return None
    inner = workings(network)
    believed = [now.states[name][0] for name in inner.parts]
    cases = drawn_cases(inner, [Stage(frozenset(), likelihoods)], complaint, believed)
    return None if cases is None else choose(inner, cases, complaint, left, opened=case_open)


def _told_of_mode(network: Network, found: Pairs, sign: Sign) -> float:
    """Give what a sign tells of whether the tape runs as it should in its mode, bits; 0 for a sign of anything else."""
    if not sign.node.startswith("tape@"):
        return 0.0
    first = found.rows[found.parts[0]]
    chance = found.state[first] @ found.words[sign.node][first]
    wrong = np.arange(len(chance)) != found.if_sound[sign.node]
    told = float(_bits(chance[wrong].sum()))
    for present in (True, False):
        then = chance * of_answer(sign, network.words[sign.node], present=present)
        told -= float(then.sum() * _bits(then[wrong].sum() / then.sum()))
    return told


def _costs(network: Network, now: Posterior, left: Sequence[Sign], *, case_open: bool) -> list[float]:
    opening = 0.0 if case_open else OPENING_MINUTES * (1.0 - _will_open(network, now))
    return [sign.minutes + sign.risk_minutes + (opening if sign.opens_case else 0.0) for sign in left]


def _bad(parts: Sequence[str], now: Posterior) -> Array:
    return np.array([1.0 - now.states[name][0, 0] for name in parts])


def _answer(stakes: _Stakes, found: Pairs, node: str, said: Array, all_sound: float) -> _Answer:
    likely, rows, if_sound = after(found, node, said)
    bad = np.array([1.0 - rows[found.rows[name].start] for name in stakes.parts])
    gone = np.clip(1.0 - (1.0 - bad) / stakes.prior_sound, 0.0, 1.0)
    none = min(all_sound * if_sound / likely, 1.0)
    return _Answer(likely, bad, gone / max(gone.sum() + none, 1e-300))


def _stakes(network: Network, now: Posterior) -> _Stakes:
    names = tuple(network.parts)
    prior = np.array([network.parts[name].prior[0] for name in names])
    return _Stakes(names, prior, np.array([mending_minutes(network, name, now) for name in names]))


def _will_open(network: Network, now: Posterior) -> float:
    """Give the chance that the case has to be opened in any event, to mend what explains the complaint.

    Opening is paid once: a check inside costs only as much of it as the mending may yet spare.
    """
    shut = 1.0
    for name, known in network.parts.items():
        kind = known.states[1 + int(np.argmax(now.states[name][0, 1:]))][0]
        if opens(fault_kind(network.machine, name, kind)):
            shut *= min(1.0, float(now.states[name][0, 0]) / known.prior[0])
    return 1.0 - shut


def _bits(chance: Array | np.float64) -> Array:
    """Give the doubt in a yes-or-no question, bits: 1 at even chances, 0 when it is known."""
    inside = np.clip(chance, 1e-12, 1.0 - 1e-12)
    return np.asarray(-inside * np.log2(inside) - (1.0 - inside) * np.log2(1.0 - inside))


def mending_minutes(network: Network, name: str, now: Posterior) -> float:
    """Give what mending a part costs for its likeliest fault, minutes: money turned into time, the opening included."""
    known = network.parts[name]
    bad = now.states[name][0, 1:]
    fault = fault_kind(network.machine, name, known.states[1 + int(np.argmax(bad))][0])
    return cost_minutes(fault) + (OPENING_MINUTES if opens(fault) else 0.0)


def _as_check(network: Network, best: _Candidate, first: str, *, only_open_left: bool) -> Check:
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
        first=first,
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


def _changes(network: Network, now: Posterior, candidates: Sequence[_Candidate]) -> tuple[ChangeOfMind, ...]:
    """Find the answers that would take most from the leading suspect: one to be had with the case shut comes first."""
    shares = _shares_now(network, now)
    leading = int(np.argmax(shares))
    found = [
        _change(network, leading, one.sign, answer, present=present)
        for one in candidates
        for present, answer in ((True, one.yes), (False, one.no))
        if answer.likely >= LIKELY_ENOUGH and answer.shares[leading] < shares[leading]
    ]
    found.sort(key=lambda change: (change.explains_complaint, -change.likely))
    first = [change for change in found if not change.opens_case][:1]
    rest = [change for change in found if change.sign not in {one.sign for one in first}]
    return (*first, *rest)[:CHANGES_SHOWN]


def _shares_now(network: Network, now: Posterior) -> Array:
    prior = np.array([known.prior[0] for known in network.parts.values()])
    return np.asarray(np.clip(1.0 - (1.0 - _bad(tuple(network.parts), now)) / prior, 0.0, 1.0))


def _change(network: Network, leading: int, sign: Sign, answer: _Answer, *, present: bool) -> ChangeOfMind:
    names = tuple(network.parts)
    return ChangeOfMind(
        sign=sign.id,
        says=sign.says,
        present=present,
        likely=round(answer.likely, 4),
        opens_case=sign.opens_case,
        minutes=sign.minutes,
        part=names[leading],
        explains_complaint=round(float(answer.shares[leading]), 4),
        then_leading=names[int(np.argmax(answer.shares))],
    )
