"""What closed jobs teach, and how well it was predicted: against hand-worked and published figures."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.diagnose.calibration import brier_score, calibration_error, log_score, murphy, reliability_table
from tapewright.diagnose.learning import NOTHING, RATE_WEIGHT, SIGN_WEIGHT, ClosedJob, learnt, with_knowledge
from tapewright.diagnose.network import network
from tapewright.machine.library import shipped

NET = network(shipped("four_track"))
LAYOUT = NET.machine.layout


def job(
    bad: dict[str, str], sound: tuple[str, ...] = (), answers: tuple[tuple[str, bool, bool], ...] = ()
) -> ClosedJob:
    return ClosedJob(LAYOUT, bad, sound, answers)


def bad_chance(part: str, jobs: list[ClosedJob]) -> float:
    return 1.0 - with_knowledge(NET, learnt(jobs)).parts[part].prior[0]


def test_a_base_rate_moves_as_counts_on_a_dirichlet_do() -> None:
    """Closed form: the mean of a Dirichlet is (weight x prior + count) / (weight + all). Beta(2, 8) and 3 of 4 more
    give 5/14 = 0.35714, a worked example."""
    assert pytest.approx(0.35714, abs=5e-6) == (2 + 3) / (2 + 8 + 4)
    before = 1.0 - NET.parts["idler_tyre"].prior[0]
    jobs = [job({"idler_tyre": "glazed"})] * 3 + [job({}, ("idler_tyre",))]
    assert bad_chance("idler_tyre", jobs) == pytest.approx((RATE_WEIGHT * before + 3) / (RATE_WEIGHT + 4))


def test_what_was_not_looked_at_is_not_counted_as_sound() -> None:
    before = 1.0 - NET.parts["pinch_roller"].prior[0]
    assert bad_chance("pinch_roller", [job({"idler_tyre": "glazed"})] * 50) == pytest.approx(before)
    assert bad_chance("pinch_roller", [job({"idler_tyre": "glazed"}, ("pinch_roller",))] * 50) < before


def test_another_layout_is_left_alone() -> None:
    other = learnt([ClosedJob("one_motor_keys", {"idler_tyre": "glazed"})] * 9)
    assert with_knowledge(NET, other).parts == NET.parts
    assert with_knowledge(NET, NOTHING).signs == NET.signs


def test_a_sign_that_people_miss_tells_less() -> None:
    sign = NET.signs["play_loop"]
    missed = learnt([job({}, answers=(("play_loop", True, False),))] * 30)
    taught = with_knowledge(NET, missed).signs["play_loop"]
    usual = max(sign.notice.values())
    assert max(taught.notice.values()) == pytest.approx(SIGN_WEIGHT * usual / (SIGN_WEIGHT + 30))
    assert taught.false_rate == sign.false_rate
    alarmed = learnt([job({}, answers=(("play_loop", False, True),))] * 10)
    assert with_knowledge(NET, alarmed).signs["play_loop"].false_rate > sign.false_rate


@given(st.lists(st.sampled_from([{"idler_tyre": "glazed"}, {"cam_belt": "slack"}, {}]), max_size=20))
def test_the_order_of_jobs_changes_nothing_and_priors_stay_priors(bad: list[dict[str, str]]) -> None:
    jobs = [job(one, ("capstan_belt",)) for one in bad]
    taught, turned = (with_knowledge(NET, learnt(order)) for order in (jobs, jobs[::-1]))
    assert taught.parts == turned.parts
    for states in taught.parts.values():
        assert sum(states.prior) == pytest.approx(1.0)
        assert min(states.prior) > 0.0
    assert learnt(jobs[3:], learnt(jobs[:3])) == learnt(jobs)


# --- scores -----------------------------------------------------------------------------------------------------------

PREDICTED = [0.1] * 10 + [0.5] * 10 + [0.9] * 10
EVENTS = [True] + [False] * 9 + [True] * 6 + [False] * 4 + [True] * 8 + [False] * 2


def test_scores_of_worked_examples() -> None:
    """Closed forms; the figures are worked examples (30 cases; 1, 6 and 8 of ten came true)."""
    assert brier_score([0.1, 0.9, 0.8, 0.3], [False, True, True, False]) == pytest.approx(0.0375)
    assert log_score([0.1, 0.9, 0.8, 0.3], [False, True, True, False]) == pytest.approx(0.197635, abs=5e-7)
    parts = murphy(PREDICTED, EVENTS)
    assert parts.brier == pytest.approx(0.170000, abs=5e-7)
    assert parts.reliability == pytest.approx(0.006667, abs=5e-7)
    assert parts.resolution == pytest.approx(0.086667, abs=5e-7)
    assert parts.uncertainty == pytest.approx(0.250000, abs=5e-7)


@given(st.lists(st.tuples(st.sampled_from([0.05, 0.2, 0.5, 0.8, 0.95]), st.booleans()), min_size=1, max_size=60))
def test_the_three_parts_make_the_score(rows: list[tuple[float, bool]]) -> None:
    predicted, events = [p for p, _ in rows], [e for _, e in rows]
    parts = murphy(predicted, events)
    assert parts.reliability - parts.resolution + parts.uncertainty == pytest.approx(parts.brier, abs=1e-12)


def test_the_table_has_intervals_that_few_cases_make_wide() -> None:
    table = reliability_table(PREDICTED, EVENTS)
    assert [one.count for one in table] == [10, 10, 10]
    for one in table:
        assert 0.0 <= one.low <= one.came_true <= one.high <= 1.0
        assert one.high - one.low > 0.3
    assert calibration_error(table) == pytest.approx((0.0 + 0.1 + 0.1) / 3)
