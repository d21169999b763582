"""The likeliest course, against the plain rule of Viterbi over every pair of states."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tapewright.measure.mechanism_comb import bins_of, comb_evidence
from tapewright.measure.mechanism_course import (
    ANOTHER_RATE,
    MOVE_COST,
    MOVES,
    NOT_ASKED,
    OVERLAP,
    RESOLVED,
    STAYS_S,
    STRANGE,
    Lane,
    decoded,
    lanes,
)
from tapewright.words.mechanism_heard import RateExpected

BIN_HZ, HOP_S = 2.0, 0.1
SLOW = RateExpected("motor", "play", 30.0, 25.0, 36.0, "motor", (1.0, 2.0, 3.0))
QUICK = RateExpected("motor", "wind", 60.0, 50.0, 70.0, "motor", (1.0, 2.0))
Floats = NDArray[np.float64]


def plainly(
    said: NDArray[np.float32], rows: list[Lane], modes: list[str], taken: NDArray[np.bool_], course: list[int]
) -> tuple[float, float]:
    """Give what the best way is worth, every state following every other at its own cost; and what a course is."""
    lane = np.repeat(np.arange(len(rows)), [len(row.rates) for row in rows])
    place = np.concatenate([np.arange(len(row.rates)) for row in rows])
    apart = np.abs(place[:, None] - place[None, :])
    ways = np.full((len(lane) + 1, len(lane) + 1), np.log(HOP_S / STAYS_S))
    ways[0, 0] = np.log1p(-HOP_S / STAYS_S)
    near = (lane[:, None] == lane[None, :]) & (apart <= MOVES)
    ways[1:, 1:] = np.where(near, np.log1p(-HOP_S / STAYS_S) - MOVE_COST * apart, -np.inf)
    columns = np.concatenate([comb_evidence(said, row.rates, row.orders, BIN_HZ) for row in rows], axis=1)
    likely = np.concatenate([row.likely for row in rows])
    best, own = np.zeros(0), 0.0
    for frame, mode in enumerate(modes):
        due = np.array([mode in row.modes for row in rows])[lane]
        cost = np.where(due, 0.0, ANOTHER_RATE if due.any() else STRANGE)
        gain = np.full(len(lane), -20.0) if taken[frame] else max(OVERLAP, 1.0 / len(said)) * columns[frame] - cost
        gain = np.concatenate([[0.0], gain])
        enter = np.concatenate([[0.0], np.log(np.where(due, 1.0, NOT_ASKED) * RESOLVED * likely)])
        if frame == 0:
            # Half the time before the recording began it may have been running.
            begun = enter + np.where(np.arange(len(enter)) > 0, np.log(HOP_S / STAYS_S * 0.5 * STAYS_S / HOP_S), 0.0)
            best, own = begun + gain, float((begun + gain)[course[0]])
            continue
        here = ways.copy()
        here[0] += enter
        own += float(here[course[frame - 1], course[frame]] + gain[course[frame]])
        best = (best[:, None] + here).max(axis=0) + gain
    return float(best.max()), own


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 14), st.sampled_from([0.5, 2.0, 6.0]))
def test_the_course_is_the_one_that_is_worth_most_of_all_ways(seed: int, frames: int, loud: float) -> None:
    random = np.random.default_rng(seed)
    said = (random.exponential(size=(frames, 160)) - 0.9).astype(np.float32)
    said[frames // 3 :, [15, 30, 45]] += loud
    modes = ["play" if k < frames // 2 else "wind" for k in range(frames)]
    taken = random.random(frames) < 0.1
    rows = lanes([SLOW, QUICK], BIN_HZ, 318.0)
    course, rates, along = decoded(said, rows, modes, BIN_HZ, HOP_S, taken)
    best, own = plainly(said, rows, modes, taken, course.tolist())
    assert own == pytest.approx(best, abs=1e-6)
    assert len(rates) == sum(len(row.rates) for row in rows)
    assert (along[course == 0] == 0.0).all()


def test_the_evidence_of_a_comb_is_the_sum_over_its_lines() -> None:
    said = np.random.default_rng(3).standard_normal((4, 50)).astype(np.float32)
    rates, orders = np.array([10.0, 11.0, 12.5]), (1.0, 2.0, 3.0)
    found = comb_evidence(said, rates, orders, BIN_HZ)
    at = bins_of(rates, list(orders), BIN_HZ, 50)
    for frame in range(4):
        for k in range(3):
            assert found[frame, k] == pytest.approx(sum(said[frame, at[order, k]] for order in range(3)), abs=1e-5)
