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
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

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
ALIKE: Final = 6
"""Digits by which savings and shares are held against each other: what differs by less is alike, on every computer."""
LARGE: Final = 1e9
"""Minutes beyond any saving."""


@dataclass(frozen=True, slots=True, eq=False)
class _Answers:
    """Hypothetical answers, and where each would leave things; first axis yes and no, second the checks.

    Arguments:
        likely: chance of each, shape (2, checks).
        bad: for each part, the chance that it is out of order after it, shape (2, checks, parts).
        shares: for each part, its share of the explanation after it, shape (2, checks, parts).
        told: of whether the function it is about is as on a sound machine, bits, shape (checks,).
    """

    likely: Array
    bad: Array
    shares: Array
    told: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Weighed:
    """All checks that are left.

    Arguments:
        signs: what each looks for.
        saving: minutes, shape (checks,).
        on_complaint: how much of that is about the complaint, shape (checks,).
        answers: to each.
    """

    signs: Sequence[Sign]
    saving: Array
    on_complaint: Array
    answers: _Answers


@dataclass(frozen=True, slots=True, eq=False)
class _Stakes:
    """What hangs on each part: minutes of mending, shape (parts,)."""

    parts: tuple[str, ...]
    prior_sound: Array
    minutes: Array

    def of(self, bad: Array) -> Array:
        """Give the work at stake when the parts are bad with these chances, shape (..., parts), minutes."""
        return np.asarray(_bits(bad) @ self.minutes)


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
    weighed = _weighed(network, now, likelihoods, asked, case_open=case_open)
    if weighed is None:
        return Outlook(None, ())
    opens = np.array([sign.opens_case for sign in weighed.signs])
    worth = weighed.saving > 0.0
    shut = worth & ~opens if not case_open else worth
    check = None
    if worth.any():
        # The complaint comes before what may be wrong beside it; what saves alike comes in the order of the signs.
        key = np.where(weighed.on_complaint > 0.0, LARGE, 0.0) + np.round(weighed.saving, ALIKE)
        best = int(np.where(shut if shut.any() else worth, key, -np.inf).argmax())
        first = FREE_THE_TAPE if tape_held(network, likelihoods) else ""
        check = _as_check(network, weighed, best, first, only_open_left=not shut.any())
    return Outlook(check, _changes(network, now, weighed) if complaint_of(network, likelihoods) else ())


def _weighed(
    network: Network, now: Posterior, likelihoods: Mapping[str, Array], asked: Collection[str], *, case_open: bool
) -> _Weighed | None:
    may = [sign for sign in network.signs.values() if may_be_asked(network, sign)]
    left = [sign for sign in may if sign.id not in asked]
    if not left:
        return None
    decision = _policy(network, now, likelihoods, left, case_open=case_open)
    stakes = _stakes(network, now)
    # The same functions every time, whatever was asked.
    found = pairs(network, likelihoods, now, tuple(dict.fromkeys(sign.node for sign in may)))
    answers = _answers(network, now, stakes, found, left)
    stake = stakes.of(_bad(stakes.parts, now)) - (answers.likely * stakes.of(answers.bad)).sum(axis=0)
    costs = _costs(network, now, left, case_open=case_open)
    wrong = complaint_of(network, likelihoods)
    untried = np.array([sign.node.startswith("tape@") and sign.node not in wrong for sign in left])
    unnoticed = np.where(untried, UNNOTICED * RETURN_MINUTES * answers.told, 0.0)
    # Knowing more never costs more than the asking, however short the policy looks ahead.
    on_complaint = np.zeros(len(left)) if decision is None else np.maximum(decision.saving, -costs)
    beside = stake - costs if decision is None else BESIDE_THE_COMPLAINT * stake
    return _Weighed(left, on_complaint + beside + unnoticed, on_complaint, answers)


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


def _costs(network: Network, now: Posterior, left: Sequence[Sign], *, case_open: bool) -> Array:
    opening = 0.0 if case_open else OPENING_MINUTES * (1.0 - _will_open(network, now))
    return np.array([sign.minutes + sign.risk_minutes + (opening if sign.opens_case else 0.0) for sign in left])


def _bad(parts: Sequence[str], now: Posterior) -> Array:
    return np.array([1.0 - now.states[name][0, 0] for name in parts])


def _answers(network: Network, now: Posterior, stakes: _Stakes, found: Pairs, left: Sequence[Sign]) -> _Answers:
    """Work out all answers to all checks at once: each speaks to the words of one function."""
    yes = [of_answer(sign, network.words[sign.node], present=True) for sign in left]
    said = np.concatenate([*yes, *(1.0 - one for one in yes)])
    here = [found.places[sign.node] for sign in left]
    columns = np.tile(np.concatenate([np.arange(one.start, one.stop) for one in here]), 2)
    starts = np.cumsum([0, *map(len, yes), *map(len, yes)])
    speaks = csr_array((said, columns, starts), shape=(2 * len(left), len(found.chances)))
    likely, sound = after(found, speaks)
    bad = 1.0 - sound
    gone = np.clip(1.0 - (1.0 - bad) / stakes.prior_sound, 0.0, 1.0)
    # How likely the evidence so far is on a machine with nothing wrong, against how likely it is at all.
    all_sound = float(np.exp(min(now.log_if_sound[0] - now.log_evidence[0], 0.0)))
    if_sound = said[starts[:-1] + np.tile([found.if_sound[sign.node] for sign in left], 2)]
    none = np.minimum(all_sound * if_sound / likely, 1.0)
    shares = gone / np.maximum(gone.sum(axis=1) + none, 1e-300)[:, None]
    likely, bad, shares = (one.reshape(2, len(left), *one.shape[1:]) for one in (likely, bad, shares))
    return _Answers(likely, bad, shares, _told(found, speaks, here, likely))


def _told(found: Pairs, speaks: Any, here: Sequence[slice], likely: Array) -> Array:
    """Give what each check tells of whether the function it is about is as on a sound machine, bits."""
    wrong = found.chances.copy()
    wrong[[place.start + found.if_sound[node] for node, place in found.places.items()]] = 0.0
    before = np.add.reduceat(wrong, [place.start for place in found.places.values()])
    doubt = dict(zip((place.start for place in found.places.values()), _bits(before), strict=True))
    then = likely * _bits((speaks @ wrong).reshape(2, -1) / likely)
    return np.asarray(np.array([doubt[place.start] for place in here]) - then.sum(axis=0))


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


def _as_check(network: Network, weighed: _Weighed, best: int, first: str, *, only_open_left: bool) -> Check:
    sign, saving = weighed.signs[best], float(weighed.saving[best])
    yes, no = (_shifts(network, weighed.answers, answer, best) for answer in (0, 1))
    start = "No check with the case shut can tell more now. " if only_open_left else ""
    return Check(
        id=sign.id,
        says=sign.says,
        how=sign.how,
        mode=sign.mode,
        opens_case=sign.opens_case,
        minutes=sign.minutes,
        cautions=cautions(sign.hazards),
        why=start + _why(network, float(weighed.answers.likely[0, best]), saving, yes[0], no[0]),
        expected_saving=round(saving, 2),
        if_yes=yes,
        if_no=no,
        first=first,
    )


def _why(network: Network, likely: float, saving: float, yes: Shift, no: Shift) -> str:
    names = [spoken(network.machine, shift.part) for shift in (yes, no)]
    if yes.part == no.part:
        turn = (
            f"Yes makes the {names[0]} {yes.explains_complaint:.0%} of the explanation, no {no.explains_complaint:.0%}"
        )
    else:
        turn = f"Yes points to the {names[0]}, no to the {names[1]}"
    return f"{turn}; {likely:.0%} likely to be yes, and worth about {saving:.0f} minutes of work."


def _shifts(network: Network, answers: _Answers, answer: int, check: int) -> tuple[Shift, ...]:
    names, shares, bad = tuple(network.parts), answers.shares[answer, check], answers.bad[answer, check]
    # Parts that explain alike come in the order of the machine, whatever the last digits.
    order = np.argsort(-np.round(shares, ALIKE), kind="stable")[:SHOWN]
    return tuple(Shift(names[i], round(float(shares[i]), 4), round(float(bad[i]), 4)) for i in order)


def _changes(network: Network, now: Posterior, weighed: _Weighed) -> tuple[ChangeOfMind, ...]:
    """Find the answers that would take most from the leading suspect: one to be had with the case shut comes first."""
    shares = _shares_now(network, now)
    leading = int(np.argmax(shares))
    likely, then = weighed.answers.likely.T, weighed.answers.shares[:, :, leading].T
    check, answer = np.nonzero((likely >= LIKELY_ENOUGH) & (then < shares[leading] - 10.0**-ALIKE))
    order = np.lexsort((-np.round(likely, 4)[check, answer], np.round(then, 4)[check, answer]))
    found = [(int(check[i]), int(answer[i])) for i in order]
    first = [one for one in found if not weighed.signs[one[0]].opens_case][:1]
    rest = [one for one in found if one[0] not in {known for known, _ in first}]
    return tuple(_change(network, leading, weighed, *one) for one in (*first, *rest)[:CHANGES_SHOWN])


def _shares_now(network: Network, now: Posterior) -> Array:
    prior = np.array([known.prior[0] for known in network.parts.values()])
    return np.asarray(np.clip(1.0 - (1.0 - _bad(tuple(network.parts), now)) / prior, 0.0, 1.0))


def _change(network: Network, leading: int, weighed: _Weighed, check: int, answer: int) -> ChangeOfMind:
    names, sign = tuple(network.parts), weighed.signs[check]
    shares = weighed.answers.shares[answer, check]
    return ChangeOfMind(
        sign=sign.id,
        says=sign.says,
        present=answer == 0,
        likely=round(float(weighed.answers.likely[answer, check]), 4),
        opens_case=sign.opens_case,
        minutes=sign.minutes,
        part=names[leading],
        explains_complaint=round(float(shares[leading]), 4),
        then_leading=names[int(np.round(shares, ALIKE).argmax())],
    )
