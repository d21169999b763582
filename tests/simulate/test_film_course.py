"""Where the hubs of a filmed cassette stand: nothing is lost, and what the reels do is what the outcome says."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapewright.diagnose.expected import expected
from tapewright.diagnose.measured import Asked, asked
from tapewright.faults.applied import Fault, applied
from tapewright.faults.consequences import modes_told
from tapewright.machine.formulas import spin_down_time
from tapewright.machine.library import shipped
from tapewright.machine.minute import minute_steps
from tapewright.machine.rates import rates
from tapewright.machine.run_down import reel_inertia, stopping_torque
from tapewright.machine.winding import wind
from tapewright.simulate.film_course import FilmStep, ReelCourse, film_course, mode_course
from tapewright.simulate.film_drive import Hesitation, drive_of
from tapewright.simulate.film_packs import LETS_GO_S
from tapewright.words.problem import InputAtFaultError

FOUR = shipped("four_track")
PORTABLE = shipped("one_motor_portable")


def lost(way: ReelCourse) -> float:
    return float(np.ptp(way.takeup_m + way.supply_m + way.loop_m))


def test_in_play_both_turn_at_the_rates_of_the_machine() -> None:
    """Against `machine.rates`, which knows nothing of lengths: middle of the side, turns a second."""
    middle_s = 450.0 * 0.99932  # about half of 85.6 m at 9.525 cm/s
    way = mode_course(FOUR, "play", 2.0, seed=1, position_s=middle_s, running=True)
    expected = rates(FOUR, "play")
    for hub, reel in (("right", "takeup_reel"), ("left", "supply_reel")):
        assert way.rate_hz(hub).mean() == pytest.approx(expected[reel].turns_per_s.value, rel=5e-3)


def test_rewind_turns_both_the_other_way() -> None:
    way = mode_course(PORTABLE, "rewind", 3.0, seed=1, position_s=600.0)
    assert way.rate_hz("left")[-1] < -1.0
    assert way.rate_hz("right")[-1] < -1.0


@pytest.mark.parametrize("machine_id", ["four_track", "one_motor_portable", "two_motor_deck", "auto_reverse_deck"])
def test_a_whole_wind_takes_the_time_that_the_winding_says(machine_id: str) -> None:
    """Against `machine.winding`, which sums over turns: the tape here is its shorter cassette, start-up aside."""
    machine = shipped(machine_id)
    expected = wind(machine, "fast_forward").time
    assert expected is not None
    way = mode_course(machine, "fast_forward", expected.value * 1.05, seed=1, running=True)
    took = float(way.times_s[np.argmax(way.supply_m <= 1e-6)])
    assert took == pytest.approx(expected.value, rel=0.01)
    assert way.rate_hz("right")[-2] == 0.0


@settings(max_examples=8, deadline=None)
@given(
    at_s=st.floats(1.0, 4.0), lasts_s=st.floats(0.3, 2.0), share=st.floats(0.1, 0.9), position_s=st.floats(0.0, 800.0)
)
def test_no_tape_is_lost_and_the_loop_is_what_was_not_taken(
    at_s: float, lasts_s: float, share: float, position_s: float
) -> None:
    way = mode_course(FOUR, "play", 7.0, 1, position_s, [Hesitation(at_s, lasts_s, share)], running=True)
    assert lost(way) < 1e-9
    at_end = round((at_s + lasts_s) * 500)
    # Closed form of our own: share x speed x time, but for the soft edges of 0.06 s.
    expected = share * 0.09525 * lasts_s
    assert way.loop_m[at_end] == pytest.approx(expected, abs=0.09525 * 0.07 + 0.01 * expected)
    slips = [one for one in way.events if one.kind == "slips"]
    assert len(slips) == 1
    assert slips[0].start_s == pytest.approx(at_s, abs=0.07)
    assert slips[0].end_s == pytest.approx(at_s + lasts_s, abs=0.07)
    assert slips[0].share == pytest.approx(share, abs=0.06)


def test_where_nothing_slips_each_pack_gets_what_the_other_gives() -> None:
    way = mode_course(FOUR, "play", 20.0, seed=3)
    assert np.all(way.loop_m < 1e-12)
    assert np.allclose(np.diff(way.takeup_m), -np.diff(way.supply_m), atol=1e-12)


def test_hub_turns_and_radius_give_the_length_back() -> None:
    """A slow sum of 2 pi r over the turns against the closed form that made them."""
    way = mode_course(FOUR, "fast_forward", 10.0, seed=1)
    radius, turns = way.radius_m("right"), way.turns("right")
    wound = np.sum(2 * np.pi * (radius[1:] + radius[:-1]) / 2 * np.diff(turns))
    assert wound == pytest.approx(way.takeup_m[-1] - way.takeup_m[0], rel=1e-6)


@pytest.mark.parametrize(
    ("fault", "word"),
    [
        (Fault("idler_tyre", "pivot_stuck"), "loose"),
        (Fault("reel_motor", "dead"), "still"),
        (Fault("reel_motor", "worn"), "weak"),
        (Fault("idler_tyre", "flat_spot"), "uneven"),
    ],
)
def test_the_take_up_does_what_the_outcome_says(fault: Fault, word: str) -> None:
    worn = applied(FOUR, [fault])
    assert modes_told(worn)["play"].reels["takeup_reel"] == word
    way = mode_course(worn, "play", 20.0, seed=2)
    kinds = {one.kind for one in way.events if one.hub == "right"}
    assert lost(way) < 1e-9
    if word in ("loose", "still"):
        assert "stands" in kinds
        assert way.turns("right")[-1] == 0.0
        assert way.stops == (2.0,)
    else:
        assert kinds & ({"lags"} if word == "weak" and not way.stops else {"slips"})
        assert way.loop_m.max() > 0.01


def test_a_machine_whose_capstan_lost_its_belt_races() -> None:
    worn = applied(FOUR, [Fault("capstan_belt", "missing")])
    right = rates(FOUR, "play")["takeup_reel"].range_per_s
    assert right is not None
    assert mode_course(worn, "play", 5.0, seed=1).rate_hz("right")[-1] > 1.5 * right[1]


def test_a_leading_roller_without_its_spring_is_no_mistake_of_the_sums() -> None:
    """The other capstan feeds the tape there; warnings are errors in these tests."""
    worn = applied(shipped("closed_loop_deck"), [Fault("pinch_roller", "spring_off")])
    way = mode_course(worn, "play", 3.0, seed=2, position_s=300.0)
    assert lost(way) < 1e-9
    assert np.all(np.isfinite(way.turns("left")))


def test_the_guided_minute_goes_there_and_back() -> None:
    steps = minute_steps(FOUR)
    way = film_course(FOUR, steps, seed=1, position_s=300.0)
    assert lost(way) < 1e-9
    assert way.times_s[-1] == pytest.approx(steps[-1].at_s + steps[-1].lasts_s, abs=0.01)
    for step in steps:
        inside = (way.times_s > step.at_s + 1.0) & (way.times_s < step.at_s + step.lasts_s - 1.0)
        mean = float(way.rate_hz("right")[inside].mean())
        expected = {"play": 1.0, "fast_forward": 1.0, "rewind": -1.0}.get(step.mode, 0.0)
        assert np.sign(mean) == expected, step.mode


def test_the_same_seed_gives_the_same_course_and_another_another() -> None:
    worn = applied(FOUR, [Fault("idler_tyre", "flat_spot")])
    first, again, other = (mode_course(worn, "play", 20.0, seed).takeup_m for seed in (4, 4, 5))
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)


def test_a_mode_it_has_not_and_a_place_beyond_the_tape_are_refused() -> None:
    with pytest.raises(InputAtFaultError, match="no mode review"):
        mode_course(FOUR, "review", 5.0, seed=1)
    with pytest.raises(InputAtFaultError, match="not on the tape"):
        mode_course(FOUR, "play", 5.0, seed=1, position_s=5000.0)


def wound_and_stopped(*faults: Fault) -> ReelCourse:
    steps = (FilmStep("fast_forward", 0.0, 3.0), FilmStep("stop", 3.0, 1.5))
    return film_course(applied(shipped("two_motor_deck"), faults), steps, 1, 420.0)


def stands_after_s(way: ReelCourse) -> dict[str, float]:
    return {one.hub: one.end_s - 3.0 for one in way.events if one.kind == "stops"}


def test_a_reel_whose_brake_is_off_runs_down_by_its_own_drag_and_throws_a_loop() -> None:
    """Against the closed form J omega / M, with the rate that it has when stop is pressed."""
    off = Fault("supply_brake", "pad_off", 1.0)
    machine, way = applied(shipped("two_motor_deck"), [off]), wound_and_stopped(off)
    after = stands_after_s(way)
    for hub, reel in (("left", "supply_reel"), ("right", "takeup_reel")):
        inertia = reel_inertia(machine, reel, float(way.radius_m(hub)[1500]))
        torque = stopping_torque(machine, "fast_forward", reel)
        expected = float(spin_down_time(inertia, float(way.rate_hz(hub)[1500]), torque))
        assert after[hub] - LETS_GO_S == pytest.approx(expected, abs=0.006)
    assert way.loop_m[-1] > 0.05
    assert lost(way) < 1e-9


def test_taut_tape_stops_both_reels_as_one() -> None:
    """By its own drag the reel that takes up would run on; the brake of the other stops it through the tape."""
    after = stands_after_s(wound_and_stopped(Fault("takeup_brake", "pad_off", 1.0)))
    assert after["left"] == pytest.approx(after["right"], abs=0.003)
    sound = stands_after_s(wound_and_stopped())
    assert after["left"] > sound["left"] + 0.02
    assert wound_and_stopped().loop_m[-1] < 0.005


@pytest.mark.parametrize(
    ("machine_id", "fault"),
    [
        ("flywheel_cam_deck", Fault("swing_to_supply", "shifted", 1.0)),
        ("one_motor_portable", Fault("rewind_wheel", "glazed", 0.4)),
        ("two_motor_deck", Fault("idler_tyre", "glazed", 0.7)),
    ],
)
def test_a_wind_that_slips_takes_the_time_that_is_expected_of_it(machine_id: str, fault: Fault) -> None:
    """Against the stopwatch's reading that the beliefs expect: what is drawn, by fits, makes the same on the whole."""
    machine = shipped(machine_id)
    what = asked(machine, "wind_time_s@rewind")
    assert isinstance(what, Asked)
    hangs_on = expected(machine, what)
    assert hangs_on is not None
    worn = applied(machine, [fault])
    expected_share = hangs_on.value(machine) / hangs_on.value(worn)
    assert expected_share < 0.8
    drawn = [float(drive_of(worn, "rewind", 60.0, seed).limit.mean()) for seed in range(4)]
    assert np.mean(drawn) == pytest.approx(expected_share, rel=0.07)
