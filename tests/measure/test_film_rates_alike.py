"""Like teeth told apart: by the way from a stand, by both hubs together, by packs that another stretch of film told."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tapewright.measure.film_aliases import OPEN, unwrapped
from tapewright.measure.film_one_tape import PackRatio, pack_law
from tapewright.measure.film_rates import RateCourse
from tapewright.measure.film_run_up import _least_jolted, run_up, standing_ends, ways_to_stands
from tapewright.measure.film_tape import pack_ratio
from tapewright.measure.film_turning import Followed
from tapewright.measure.film_two_hubs import _change, _pairs, joint_courses
from tapewright.words.reels_seen import HubName

Floats = NDArray[np.float64]

THICKNESS_M = 16e-6
FRAMES_HZ = 24.0


def wrapped(turns: Floats, symmetry: int) -> Floats:
    """Give what a film shows of steps from frame to frame: whole steps from tooth to tooth are lost."""
    pitch = 1.0 / symmetry
    return np.asarray((np.diff(turns) + 0.5 * pitch) % pitch - 0.5 * pitch)


def ramp(times: Floats, starts_s: float, lasts_s: float, rate_hz: float) -> Floats:
    """Give the turns of a hub that stands, gains rate evenly, and keeps it (closed form)."""
    on = np.clip(times - starts_s, 0.0, None)
    return np.asarray(np.where(on < lasts_s, 0.5 * rate_hz * on**2 / lasts_s, rate_hz * (on - 0.5 * lasts_s)))


def given_off(taken: Floats, taker_m: float, giver_m: float) -> Floats:
    """Give the turns of the pack that gives: both packs carry the same length (closed form)."""
    length = taker_m * taken + 0.5 * THICKNESS_M * taken**2
    return np.asarray((giver_m - np.sqrt(giver_m**2 - 2.0 * THICKNESS_M * length)) / THICKNESS_M)


def film_of(times: Floats, *turns: Floats, noise: float = 2e-3) -> tuple[Followed, ...]:
    """Give hubs of six like teeth as they would be followed: any of the six is any other."""
    draw = np.random.default_rng(7)
    names: tuple[HubName, HubName] = ("left", "right")
    hubs = []
    for name, turned in zip(names, turns, strict=False):
        angle = 2.0 * np.pi * turned + noise * draw.standard_normal(len(times))
        angle = np.mod(angle + np.pi / 3.0 * draw.integers(0, 6, len(times)), 2.0 * np.pi)
        hubs.append(Followed(name, 6, times, angle, np.full(len(times), noise), np.ones((len(times), 6))))
    return tuple(hubs)


@given(st.floats(2.5, 14.0), st.floats(0.1, 0.25), st.integers(3, 6))
@settings(max_examples=40, deadline=None)
def test_an_even_way_from_a_stand_comes_up_to_its_own_rate(rate_hz: float, starts_s: float, symmetry: int) -> None:
    """Closed form; the rate grows by at most a third of what looks the same from one frame to the next."""
    times = np.arange(40) / FRAMES_HZ
    lasts_s = max(0.3, 3.0 * rate_hz * symmetry / FRAMES_HZ**2)
    turns = ramp(times, starts_s, lasts_s, rate_hz)
    steps = wrapped(turns, symmetry)
    stood = standing_ends([steps], [symmetry])[0]
    up = run_up(steps, np.diff(times), symmetry, 28.0, stood)
    assert up is not None
    best = int(np.argmin(up.costs))
    np.testing.assert_allclose(up.rates_hz[best], np.diff(turns)[up.followed] * FRAMES_HZ, atol=1e-6)


def test_the_way_to_a_stand_is_the_way_from_it_backwards() -> None:
    times = np.arange(60) / FRAMES_HZ
    turns = ramp(times, 0.2, 0.5, 9.4)
    steps, between = wrapped(turns, 6), np.diff(times)
    (up,) = ways_to_stands(steps, between, 6, 28.0, (4, 0))
    (down,) = ways_to_stands(steps[::-1], between, 6, 28.0, (0, 4))
    np.testing.assert_allclose(down.costs, up.costs[::-1], atol=1e-9)
    np.testing.assert_allclose(down.rates_hz[np.argmin(down.costs)], up.rates_hz[np.argmin(up.costs)][::-1])
    assert (down.first, down.last) == (len(steps) - up.first, len(steps) - up.last)


def test_one_hub_that_turns_by_whole_steps_does_not_stand() -> None:
    frames = np.arange(30.0)
    whole, moves = frames * (4.0 / FRAMES_HZ), frames * (2.9 / FRAMES_HZ)
    assert standing_ends([wrapped(whole, 6), wrapped(moves, 6)], [6, 6]) == (0, 0)
    later = [np.where(frames > 9, turns, 0.0) for turns in (whole, moves)]
    assert standing_ends([wrapped(turns, 6) for turns in later], [6, 6])[0] == 9


def test_the_least_jolted_way_is_the_best_of_all() -> None:
    """Against every way there is, one by one."""
    draw = np.random.default_rng(2)
    rates = np.sort(draw.uniform(-10.0, 10.0, (5, 3)), axis=1)
    between = draw.uniform(0.03, 0.05, 5)
    costs, chosen = _least_jolted(rates, between, 28.0, 10.0)

    def cost(way: tuple[int, ...]) -> float:
        along = rates[np.arange(5), way]
        growth = np.concatenate([[0.0], np.diff(np.concatenate([[0.0], along])) / between, [0.0]])
        return float(np.log1p(np.abs(np.diff(growth)) / 10.0).sum())

    for end in range(3):
        ways = [(*way, end) for way in product(range(3), repeat=4)]
        assert costs[end] == pytest.approx(min(map(cost, ways)))
        assert cost(tuple(int(at) for at in chosen[end])) == pytest.approx(costs[end])


@pytest.mark.parametrize("anchor", [0, 2, 3])
def test_joint_courses_are_the_best_of_all(anchor: int) -> None:
    """Against every course of pairs there is, one by one."""
    draw = np.random.default_rng(anchor)
    rates = (draw.uniform(1.0, 9.0, (4, 2)), draw.uniform(1.0, 9.0, (4, 2)))
    costs = (draw.uniform(0.0, 2.0, (4, 2)), draw.uniform(0.0, 2.0, (4, 2)))
    free = np.array([False, True, False])
    joint = joint_courses(rates, costs, (4.0, 4.0), 0.15, free, anchor)
    blocks = [_pairs(rates[0][at], rates[1][at], costs[0][at], costs[1][at], 1.0) for at in range(4)]
    change = [_change(blocks[at], blocks[at + 1], 4.0, 0.15, free=bool(free[at])) for at in range(3)]
    for pair in range(len(blocks[anchor].cost)):
        courses = [way for way in product(*(range(len(b.cost)) for b in blocks)) if way[anchor] == pair]
        totals = [
            sum(float(b.cost[at]) for b, at in zip(blocks, way, strict=True))
            + sum(float(change[at][way[at], way[at + 1]]) for at in range(3))
            for way in courses
        ]
        assert joint.costs[pair] == pytest.approx(min(totals))
        best = courses[int(np.argmin(totals))]
        for at in range(4):
            np.testing.assert_allclose(joint.rates_hz[pair, :, at], blocks[at].rates_hz[best[at]])


def test_a_wind_from_a_stand_is_read_at_its_own_rate_and_turns() -> None:
    """Closed form of two packs; 9.4 and 6.5 turns a second at 24 frames look like 1.4 and -1.5."""
    times = np.arange(int(4 * FRAMES_HZ)) / FRAMES_HZ
    taken = ramp(times, 0.1, 0.4, 9.4)
    turns = (given_off(taken, 0.0148, 0.0214), taken)
    for way, right in zip(unwrapped(film_of(times, *turns)), turns, strict=True):
        assert way.lead > OPEN
        np.testing.assert_allclose(way.turns, right, atol=0.02)


def test_a_falter_by_about_a_whole_step_is_seen_for_what_it_is() -> None:
    """Both hubs lose the same share; one of them alone would seem to go on. On its steep edges a tooth may be lost."""
    times = np.arange(int(4 * FRAMES_HZ)) / FRAMES_HZ
    edges = np.clip((times - 1.8) / 0.08, 0.0, 1.0) * np.clip((2.5 - times) / 0.08, 0.0, 1.0)
    rate = 9.9 * np.clip((times - 0.1) / 0.4, 0.0, 1.0) * (1.0 - 0.5 * edges)
    taken = np.concatenate([[0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1])) / FRAMES_HZ])
    turns = (given_off(taken, 0.0148, 0.0214), taken)
    for way, right in zip(unwrapped(film_of(times, *turns)), turns, strict=True):
        assert way.turns[-1] == pytest.approx(right[-1], abs=0.2)
        within = slice(int(1.95 * FRAMES_HZ), int(2.35 * FRAMES_HZ))
        assert np.ptp(way.turns[within]) == pytest.approx(np.ptp(right[within]), abs=0.05)


@given(st.floats(0.0, 30.0))
@settings(max_examples=20, deadline=None)
def test_the_law_gives_the_packs_after_any_turns(from_turns: float) -> None:
    """Closed form: a turn changes a radius by one thickness."""
    taken = np.linspace(from_turns, from_turns + 40.0, 60)
    given_turns = given_off(taken, 0.0148, 0.0214)
    law = pack_law(given_turns, taken)
    assert law is not None
    for at in (0, -1):
        giver, taker = 0.0214 - THICKNESS_M * given_turns[at], 0.0148 + THICKNESS_M * taken[at]
        assert law.at(float(given_turns[at]), float(taken[at])).ratio == pytest.approx(giver / taker, rel=1e-4)


def test_packs_that_play_left_tell_what_a_running_wind_alone_leaves_open() -> None:
    """A second and a half of an even wind that ran before the film: too short for the law to tell the thickness."""
    times = np.arange(int(2.0 * FRAMES_HZ)) / FRAMES_HZ
    taken = 9.4 * times
    turns = (given_off(taken, 0.0148, 0.0214), taken)
    hubs = film_of(times, *turns, noise=0.02)
    alone = unwrapped(hubs)
    told = unwrapped(hubs, (), PackRatio(0.0214 / 0.0148, 0.005))
    for way, right, before in zip(told, turns, alone, strict=True):
        assert way.lead > OPEN
        assert way.turns[-1] == pytest.approx(right[-1], abs=0.05)
        assert before.lead < way.lead


def test_packs_at_the_end_of_play_are_as_the_other_reels_turns() -> None:
    times = np.arange(0.1, 8.0, 0.05)
    radii = (0.0214, 0.0148)
    names: tuple[HubName, HubName] = ("left", "right")
    courses = []
    for name, radius in zip(names, radii, strict=True):
        rate = 0.047625 / (2.0 * np.pi * radius)
        courses.append(RateCourse(name, times, np.full(len(times), rate), np.full(len(times), 1e-4), rate * times))
    packs, slipped = pack_ratio(courses), pack_ratio(courses, slipped=True)
    assert packs is not None
    assert slipped is not None
    assert packs.ratio == pytest.approx(radii[0] / radii[1], rel=1e-6)
    assert packs.deviation < 0.01 * packs.ratio < slipped.deviation


def test_what_the_machine_can_do_counts_clockwise_too() -> None:
    """One second at 60 frames tells 9.4 turns a second from 0.6 the other way by nothing else."""
    times = np.arange(60) / 60.0
    taken = 9.4 * times
    hubs = film_of(times, -taken, -given_off(taken, 0.0190, 0.0196))
    for way, rate in zip(unwrapped(hubs, ((-14.0, -5.6),)), (-9.4, -9.1), strict=True):
        assert (way.turns[-1] - way.turns[0]) / times[-1] == pytest.approx(rate, abs=0.2)
    assert unwrapped(hubs)[0].turns[-1] > 0.0
