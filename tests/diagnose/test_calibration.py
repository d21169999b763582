"""How well what was predicted came true: against hand-worked figures, closed forms and full enumeration."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.diagnose.calibration import (
    bias_with_doubt,
    brier_score,
    brier_with_doubt,
    calibration_error,
    calibration_error_with_interval,
    log_score,
    murphy,
    murphy_corrected,
    reliability_table,
)
from tapewright.diagnose.closed_jobs import SOUND, ClosedJob, Knowledge, PartFound
from tapewright.diagnose.shop_standing import ENOUGH_JOBS, standing

PREDICTED = [0.1] * 10 + [0.5] * 10 + [0.9] * 10
EVENTS = [True] + [False] * 9 + [True] * 6 + [False] * 4 + [True] * 8 + [False] * 2
FOUR, FOUR_EVENTS = [0.1, 0.9, 0.8, 0.3], [False, True, True, False]
SHARES = st.sampled_from([0.05, 0.2, 0.5, 0.8, 0.95])
ROWS = st.lists(st.tuples(SHARES, st.booleans()), min_size=2, max_size=60)


def test_scores_of_worked_examples() -> None:
    """Closed forms; the figures are worked examples (30 cases; 1, 6 and 8 of ten came true)."""
    assert brier_score(FOUR, FOUR_EVENTS) == pytest.approx(0.0375)
    assert log_score(FOUR, FOUR_EVENTS) == pytest.approx(0.197635, abs=5e-7)
    parts = murphy(PREDICTED, EVENTS)
    assert parts.brier == pytest.approx(0.170000, abs=5e-7)
    assert parts.reliability == pytest.approx(0.006667, abs=5e-7)
    assert parts.resolution == pytest.approx(0.086667, abs=5e-7)
    assert parts.uncertainty == pytest.approx(0.250000, abs=5e-7)


@given(ROWS)
def test_the_three_parts_make_the_score(rows: list[tuple[float, bool]]) -> None:
    predicted, events = [p for p, _ in rows], [e for _, e in rows]
    for parts in (murphy(predicted, events), murphy_corrected(predicted, events)):
        assert parts.reliability - parts.resolution + parts.uncertainty == pytest.approx(parts.brier, abs=1e-12)


def test_corrected_parts_of_the_worked_example() -> None:
    """By hand: the bins stray by (0.09 + 0.24 + 0.16) / 9 / 3 = 0.0181481, the whole by 0.25 / 29 = 0.0086207."""
    parts = murphy_corrected(PREDICTED, EVENTS)
    assert parts.reliability == pytest.approx(0.0066667 - 0.0181481, abs=1e-6)
    assert parts.resolution == pytest.approx(0.0866667 - 0.0181481 + 0.0086207, abs=1e-6)
    assert parts.uncertainty == pytest.approx(0.2586207, abs=1e-6)


@pytest.mark.parametrize("truth", [(0.2, 0.7), (0.5, 0.5), (0.05, 0.9)])
def test_the_correction_takes_the_bias_off_exactly(truth: tuple[float, float]) -> None:
    """Full enumeration of what may happen to 3 cases said to have 0.2 and 2 said to have 0.7 (Ferro and Fricker, 2012):
    the mean of the corrected reliability is the true one; of the plain it is too large by the straying of the bins."""
    said, chances = [0.2] * 3 + [0.7] * 2, [truth[0]] * 3 + [truth[1]] * 2
    mean_plain = mean_corrected = 0.0
    for events in itertools.product([False, True], repeat=5):
        likely = math.prod(p if e else 1.0 - p for p, e in zip(chances, events, strict=True))
        mean_plain += likely * murphy(said, events).reliability
        mean_corrected += likely * murphy_corrected(said, events).reliability
    true = (3 * (0.2 - truth[0]) ** 2 + 2 * (0.7 - truth[1]) ** 2) / 5
    straying = (truth[0] * (1.0 - truth[0]) + truth[1] * (1.0 - truth[1])) / 5
    assert mean_corrected == pytest.approx(true, abs=1e-12)
    assert mean_plain == pytest.approx(true + straying, abs=1e-12)


def test_the_corrected_uncertainty_is_right_on_average() -> None:
    mean = 0.0
    for events in itertools.product([False, True], repeat=6):
        likely = math.prod(0.3 if e else 0.7 for e in events)
        mean += likely * murphy_corrected([0.5] * 6, events).uncertainty
    assert mean == pytest.approx(0.3 * 0.7, abs=1e-12)


@given(ROWS)
def test_the_doubt_of_the_brier_score_is_the_published_closed_form(rows: list[tuple[float, bool]]) -> None:
    """Bradley, Schwartz and Hashino, Wea. Forecasting 23, 2008, in moments of the forecasts (from memory): the mean of
    (f - x)^4 is the mean of f^4 plus the base rate times the mean of 1 - 4 f + 6 f^2 - 4 f^3 where the event came."""
    said, events = np.array([p for p, _ in rows]), np.array([e for _, e in rows])
    fourth = float(np.mean(said**4))
    if events.any():
        f = said[events]
        fourth += float(events.mean() * np.mean(1 - 4 * f + 6 * f**2 - 4 * f**3))
    variance = (fourth - brier_score(list(said), list(events)) ** 2) / (len(rows) - 1)
    found = brier_with_doubt([p for p, _ in rows], [e for _, e in rows])
    assert found.doubt**2 == pytest.approx(1.959964**2 * variance, abs=1e-12)


def test_the_doubt_of_the_brier_score_by_hand() -> None:
    """Squares 0.01, 0.01, 0.04, 0.09: mean 0.0375, sum of squares about it 0.004275, over 4 x 3 its variance."""
    found = brier_with_doubt(FOUR, FOUR_EVENTS)
    assert found.value == pytest.approx(0.0375)
    assert found.doubt == pytest.approx(1.959964 * math.sqrt(0.004275 / 12), abs=1e-9)


def test_the_interval_holds_the_true_score_about_as_often_as_it_says() -> None:
    """Monte Carlo with a known truth: 200 forecasts, perfectly calibrated; the true score is the mean of p (1 - p),
    which for Beta(1, 3) is a b / ((a + b) (a + b + 1)) = 3/20."""
    random = np.random.default_rng(3)
    held = 0
    for _ in range(600):
        said = random.beta(1.0, 3.0, 200)
        found = brier_with_doubt(list(said), list(random.random(200) < said))
        held += abs(found.value - 3 / 20) <= found.doubt
    assert 0.91 <= held / 600 <= 0.98


def test_cases_of_one_job_stray_together() -> None:
    """Closed form: the same case written down k times is one case; its doubt does not shrink."""
    once = brier_with_doubt(FOUR, FOUR_EVENTS)
    thrice = brier_with_doubt(FOUR * 3, FOUR_EVENTS * 3, ["a", "b", "c", "d"] * 3)
    assert thrice.value == pytest.approx(once.value)
    assert thrice.doubt == pytest.approx(once.doubt)
    assert bias_with_doubt(FOUR, FOUR_EVENTS).value == pytest.approx((2.1 - 2) / 4)
    assert brier_with_doubt([0.5], [True]).doubt == math.inf


def test_the_table_has_intervals_that_few_cases_make_wide() -> None:
    table = reliability_table(PREDICTED, EVENTS)
    assert [one.count for one in table] == [10, 10, 10]
    for one in table:
        assert 0.0 <= one.low <= one.came_true <= one.high <= 1.0
        assert one.high - one.low > 0.3
    assert calibration_error(table) == pytest.approx((0.0 + 0.1 + 0.1) / 3)


def test_jeffreys_intervals_are_as_printed() -> None:
    """L. D. Brown, T. T. Cai and A. DasGupta, Stat. Sci. 16, 2001, table 5: n = 10, x = 0, 1 and 5; from memory."""
    rows = {0: (0.0, 0.217), 1: (0.011, 0.381), 5: (0.224, 0.776)}
    for x, (low, high) in rows.items():
        (one,) = reliability_table([0.35] * 10, [True] * x + [False] * (10 - x))
        assert (one.low, one.high) == pytest.approx((low, high), abs=6e-4)


def test_the_calibration_error_has_an_interval_and_knows_what_chance_would_make() -> None:
    random = np.random.default_rng(5)
    said = random.random(3000)
    jobs = list(np.repeat(np.arange(300), 10))
    right = calibration_error_with_interval(list(said), list(random.random(3000) < said), jobs)
    assert right.error == pytest.approx(right.by_chance, abs=0.01)
    wrong = calibration_error_with_interval(list(said), list(random.random(3000) < said**2), jobs)
    assert wrong.low <= wrong.error <= wrong.high
    assert wrong.low > right.high
    # |p - p^2| is 1/6 on average.
    assert wrong.error == pytest.approx(1 / 6, abs=0.03)
    table = reliability_table(list(said), list(random.random(3000) < said))
    assert calibration_error(table) < 0.05


def shop(jobs: int) -> Knowledge:
    random = np.random.default_rng(8)
    closed = []
    for i in range(jobs):
        chance = float(random.random())
        part = PartFound(
            "idler_tyre", "tyre", "glazed" if random.random() < chance else SOUND, {"glazed": 0.4}, {}, chance
        )
        closed.append(ClosedJob(f"{i}", "one_motor_keys", parts=(part,)))
    return Knowledge(tuple(closed))


def test_a_table_by_chance_is_shown_from_a_hundred_jobs_on() -> None:
    few, many = standing(shop(ENOUGH_JOBS - 1)), standing(shop(ENOUGH_JOBS))
    assert few.tracks[0].bins == ()
    assert few.tracks[0].brier.doubt > 0.0
    assert len(many.tracks[0].bins) == 10
    assert standing(Knowledge()).tracks == ()
