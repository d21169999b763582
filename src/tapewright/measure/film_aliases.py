"""Which of several rates a film shows: N like teeth that move on by a whole step more in a frame look the same.

At a frame rate F, a hub of N like teeth looks the same at every rate that differs by F/N; with a mark of its own, by F.
What tells them apart: a mark, frame times that waver, the way from standing to full rate, rates that the machine can
have at all, and that both hubs carry one tape (same way round, rates in the ratio of two packs of one cassette).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.film_ladder import LEAST_BLOCK, Ladder, Way, blocks_of, ladder_of, marked
from tapewright.measure.film_one_tape import (
    HOLDS_TURNS,
    NOT_ONE_TAPE,
    STANDS_BESIDE,
    TURNS_HZ,
    PackLaw,
    PackRatio,
    costs_of_laws,
    of_packs,
    one_stands,
    pack_law,
)
from tapewright.measure.film_run_up import standing_ends
from tapewright.measure.film_turning import Followed
from tapewright.measure.film_two_hubs import SPEEDS_UP_HZ_PER_S, joint_courses
from tapewright.words.reels_seen import HubName

Floats = NDArray[np.float64]

NEAR_LIMIT: Final = 0.8
"""Share of the rate that is sure by itself from which a film may hide a faster one; own choice."""
AGAINST: Final = 0.1
"""Share of the film in which hubs may seem to turn against each other before that is held to be a wrong rate."""
NO_LAW: Final = 6.0
"""What it costs a reading not to run evenly for so long that the law of two packs could be tried."""
OTHER_PACKS: Final = 6.0
"""Where every reading costs more than this beside the packs that were told, these were not those of this stretch."""
FIRST: Final = 6
FIRST_TELL: Final = 0.025
"""Standard deviation, as a share, of the packs' ratio by the rates of the first even blocks; own choice."""
LEAP: Final = 0.15
"""Share by which a rate changes from one block to the next where the way between them cannot be trusted; own choice."""
OPEN: Final = 2.0
"""Cost by which the best must lead for a rate to be given at all (a likelihood ratio of seven)."""
DECIDED: Final = 3.0
"""Cost by which the best must lead to count as told apart (a likelihood ratio of twenty)."""


@dataclass(frozen=True, slots=True, eq=False)
class Turned:
    """One hub's way, unwrapped.

    Arguments:
        name: of the hub.
        times_s: of the frames, shape (n,).
        turns: from the first frame on, anticlockwise, shape (n,).
        sigma_turns: standard deviation of each by its own noise, shape (n,).
        step_hz: rates that differ by this look the same.
        symmetry: how many times it looks the same in a turn, marks counted.
        lead: by how much the rate chosen leads before the next one.
    """

    name: HubName
    times_s: Floats
    turns: Floats
    sigma_turns: Floats
    step_hz: float
    symmetry: int
    lead: float


def apparent_rate_hz(rate_hz: float, frame_rate_hz: float, symmetry: int) -> float:
    """Give the rate that a film shows of something that looks the same `symmetry` times a turn.

    Arguments:
        rate_hz: true, signed.
        frame_rate_hz: frames per second.
        symmetry: 6 for six teeth; 1 with a mark.

    >>> [round(apparent_rate_hz(rate, 30.0, 6), 3) for rate in (2.4, 2.6, 5.0, 7.3)]
    [2.4, -2.4, 0.0, 2.3]
    """
    step = frame_rate_hz / symmetry
    return (rate_hz + 0.5 * step) % step - 0.5 * step


def fastest_sure_hz(frame_rate_hz: float, symmetry: int) -> float:
    """Give the rate up to which a film of N like teeth shows the true one: F/(2N).

    Arguments:
        frame_rate_hz: frames per second.
        symmetry: how many times the hub looks the same in a turn.

    >>> fastest_sure_hz(30.0, 6)
    2.5
    """
    return frame_rate_hz / (2.0 * symmetry)


def unwrapped(
    followed: Sequence[Followed], expected_hz: Sequence[tuple[float, float]] = (), packs: PackRatio | None = None
) -> tuple[Turned, ...]:
    """Unwrap the angles of one or two hubs, each with the others in mind.

    Arguments:
        followed: their angles, from `follow_hubs`.
        expected_hz: lowest and highest turns per second that the machine can give a hub, one or several ranges.
        packs: how large the packs are at the beginning, where another stretch of the film told it.
    """
    if not followed or len(followed[0].times_s) < LEAST_BLOCK + 1:
        return ()
    blocks = blocks_of(followed[0].times_s)
    steps = [np.diff(one.angle_rad) / (2.0 * np.pi) for one in followed]
    ends = standing_ends(steps, [one.symmetry for one in followed]) if len(followed) > 1 else (0, 0)
    ladders = [ladder_of(one, blocks, expected_hz, ends) for one in followed]
    if len(ladders) == 1:
        ways, leads = _alone(ladders[0])
    else:
        ways, leads = _of_both(ladders[0], ladders[1], packs)
        if _no_one_tape(ladders, ways):
            leads = [min(lead, 0.0) for lead in leads]
    rows = zip(followed, ways, leads, strict=True)
    return tuple(_turned(one, way, lead) for one, way, lead in rows)


def _anchor(*ladders: Ladder) -> int:
    """Give the block in which the ways are told apart: where hubs that stood have come up, or the first."""
    ups = [up for one in ladders for up in one.ups[:1]]
    return int(ladders[0].blocks[ups[0].runs_at]) if ups else 0


def _of_both(one: Ladder, other: Ladder, packs: PackRatio | None) -> tuple[list[Way], list[float]]:
    """Choose the ways of two hubs together, and give by how much each leads."""
    joint = joint_courses(
        (one.rates_hz, other.rates_hz), (one.costs, other.costs), (one.step_hz, other.step_hz), one.seconds,
        one.free() & other.free(), _anchor(one, other),
    )  # fmt: skip
    near = np.flatnonzero(joint.costs < joint.costs.min() + NOT_ONE_TAPE)
    pairs = [(one.way(joint.rates_hz[at, 0]), other.way(joint.rates_hz[at, 1])) for at in near]
    total = joint.costs[near] + np.array([first.cost + second.cost for first, second in pairs])
    total += [STANDS_BESIDE * one_stands(first.rates_hz, second.rates_hz) for first, second in pairs]
    laws = {at: law for at, pair in enumerate(pairs) if (law := _law(one.blocks, *pair)) is not None}
    costs = costs_of_laws(laws)
    # What never runs evenly for long, where another reading does, keeps no law either.
    total += [costs.get(at, NO_LAW if costs else 0.0) for at in range(len(pairs))]
    if packs is not None:
        apart = np.array([of_packs(_packs_of(*pair, laws.get(at)), packs) for at, pair in enumerate(pairs)])
        # Where none has the packs that were told, something slipped when they were, or it is another cassette.
        total += apart if float((total - total.min() + apart).min()) < OTHER_PACKS else 0.0
    best = int(np.argmin(total))
    leads = []
    even = _evenly(pairs[best][0].rates_hz, pairs[best][1].rates_hz)
    even = even if even.any() else np.ones(len(even), dtype=np.bool_)
    for hub in (0, 1):
        # Ways that differ in passing only are the same way.
        others = [
            float(np.median(np.abs(pair[hub].rates_hz - pairs[best][hub].rates_hz)[even])) > 0.05 for pair in pairs
        ]
        leads.append(float(total[others].min() - total[best]) if any(others) else NOT_ONE_TAPE)
    return list(pairs[best]), leads


def _packs_of(one: Way, other: Way, law: PackLaw | None) -> PackRatio:
    """Give the packs at the beginning: by the law, or by the first even rates where it tells them no better."""
    even = np.flatnonzero(_evenly(one.rates_hz, other.rates_hz))[:FIRST]
    if not len(even):
        return PackRatio(1.0, np.inf)
    ratio = float(np.median(np.abs(other.rates_hz[even] / one.rates_hz[even])))
    by_rates = PackRatio(ratio, FIRST_TELL * ratio)
    if law is None or not law.ratio_deviation < by_rates.deviation:
        return by_rates
    return PackRatio(law.ratio, law.ratio_deviation)


def _law(blocks: NDArray[np.intp], one: Way, other: Way) -> PackLaw | None:
    even = _evenly(one.rates_hz, other.rates_hz)
    return pack_law(_by_block(one.turns, blocks)[even], _by_block(other.turns, blocks)[even]) if even.any() else None


def _no_one_tape(ladders: Sequence[Ladder], ways: Sequence[Way]) -> bool:
    """Say whether rates that may hide faster ones break the law of two packs: then a slip or a wrong rate, and open."""
    both = np.minimum(np.abs(ways[0].rates_hz), np.abs(ways[1].rates_hz)) > TURNS_HZ
    against = ways[0].rates_hz * ways[1].rates_hz < 0.0
    if min(float(np.mean(both & against)), float(np.mean(both & ~against))) > AGAINST:
        return True  # a hub that goes over from with the other to against it is no hub of one tape
    even = _evenly(ways[0].rates_hz, ways[1].rates_hz)
    may_hide = False
    for ladder, way in zip(ladders, ways, strict=True):
        followed = ladder.followed
        frame_s = float(np.median(np.diff(followed.times_s)))
        limit = fastest_sure_hz(1.0 / frame_s, 1 if marked(followed) else followed.symmetry)
        may_hide |= float(np.abs(way.rates_hz[even]).max(initial=0.0)) > NEAR_LIMIT * limit
    law = _law(ladders[0].blocks, ways[0], ways[1]) if may_hide else None
    return law is not None and law.left_turns > HOLDS_TURNS


def _alone(ladder: Ladder) -> tuple[list[Way], list[float]]:
    """Choose the way of one hub alone: it goes on as even as it can."""
    count, number = ladder.rates_hz.shape
    ahead = ladder.costs[-1].copy()
    follow = np.zeros((count, number), dtype=np.intp)
    for at in range(count - 2, -1, -1):
        jump = ladder.rates_hz[at + 1][None, :] - ladder.rates_hz[at][:, None]
        onward = np.minimum(0.5 * (jump / (SPEEDS_UP_HZ_PER_S * ladder.seconds)) ** 2, 8.0) + ahead[None, :]
        follow[at] = onward.argmin(axis=1)
        ahead = ladder.costs[at] + onward.min(axis=1)
    path = np.empty((number, count), dtype=np.intp)
    path[:, 0] = np.arange(number)
    for at in range(1, count):
        path[:, at] = follow[at - 1][path[:, at - 1]]
    along = np.take_along_axis(ladder.rates_hz.T, path, axis=0)
    best = int(np.argmin(ahead))
    apart = np.mean(np.abs(along - along[best]), axis=1) > 0.05
    return [ladder.way(along[best])], [float((ahead[apart] - ahead[best]).min(initial=np.inf))]


def _evenly(one_hz: Floats, other_hz: Floats) -> NDArray[np.bool_]:
    """Give the longest run of blocks in which both turn, and neither goes over to quite another rate."""
    turning = (np.abs(one_hz) > TURNS_HZ) & (np.abs(other_hz) > TURNS_HZ)
    even = turning.copy()
    for rate in (one_hz, other_hz):
        size = np.maximum(np.abs(rate), TURNS_HZ)
        leaps = np.abs(np.diff(rate)) > LEAP * np.minimum(size[1:], size[:-1])
        even[1:] &= ~leaps
    number = np.cumsum(~even) * turning
    if not turning.any():
        return turning
    longest = int(np.bincount(number[turning]).argmax())
    return np.asarray(turning & (number == longest))


def _by_block(turns: Floats, blocks: NDArray[np.intp]) -> Floats:
    return np.asarray(np.bincount(blocks, 0.5 * (turns[1:] + turns[:-1])) / np.bincount(blocks), dtype=np.float64)


def _turned(followed: Followed, way: Way, lead: float) -> Turned:
    symmetry = 1 if marked(followed) else followed.symmetry
    step_hz = 1.0 / (symmetry * float(np.median(np.diff(followed.times_s))))
    sigma = followed.sigma_rad / (2.0 * np.pi)
    return Turned(followed.name, followed.times_s, way.turns, sigma, step_hz, symmetry, lead)


def why_open(turned: Turned) -> str:
    """Say why a hub's rate is left open.

    Arguments:
        turned: one that leads by less than `OPEN`.
    """
    return (
        f"Its teeth look alike: the {turned.name} hub may as well turn {turned.step_hz:.2f} Hz faster or slower. "
        "Put a strip of paper on one tooth, or film at another frame rate."
    )


def said_of_aliases(turned: Sequence[Turned], frame_rate_hz: float) -> tuple[str, ...]:
    """Say what like teeth leave open in this film, and what decided.

    Arguments:
        turned: the hubs.
        frame_rate_hz: mean, by the frames' own times.
    """
    said = []
    for one in turned:
        limit = fastest_sure_hz(frame_rate_hz, one.symmetry)
        looks = "a mark of its own" if one.symmetry == 1 else f"{one.symmetry} teeth that look alike"
        text = (
            f"The {one.name} hub shows {looks}: at {frame_rate_hz:.2f} frames a second, rates that differ by "
            f"{one.step_hz:.2f} Hz look the same, and only what is below {limit:.2f} Hz is sure by itself."
        )
        if one.lead >= DECIDED:
            text += " The rate given leads clearly: by its course, by the other hub, or by what the machine can do."
        else:
            text += " Nothing decides for sure: the likeliest was taken, by its course and the slower the likelier."
            text += " Put a strip of paper on one tooth, or film at another frame rate, to be sure."
        said.append(text)
    return tuple(said)


__all__ = ["Turned", "apparent_rate_hz", "fastest_sure_hz", "marked", "said_of_aliases", "unwrapped", "why_open"]
