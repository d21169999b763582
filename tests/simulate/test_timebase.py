"""Speed over time on a machine with its faults."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapewright.faults.applied import Fault, applied
from tapewright.machine.library import shipped
from tapewright.machine.parts import Machine
from tapewright.simulate.course import course, creep
from tapewright.simulate.pack import Packs
from tapewright.simulate.timebase import SpeedSource, speed_curve
from tapewright.words.problem import InputAtFaultError

FOUR = shipped("four_track")
PORTABLE = shipped("one_motor_portable")
SECONDS, RATE_HZ = 20.0, 1000.0


def curve(machine: Machine, *faults: Fault, seed: int = 1, position_s: float = 0.0) -> np.ndarray:
    return speed_curve(applied(machine, faults), SECONDS, RATE_HZ, seed, position_s).values


def size_at(values: np.ndarray, frequency_hz: float) -> float:
    """Give the peak size of a steady component by projecting on it under a Hann taper; slow and obvious."""
    taper = np.hanning(len(values))
    times_s = np.arange(len(values)) / RATE_HZ
    turned = np.exp(-2j * np.pi * frequency_hz * times_s)
    return float(2 * abs(np.sum((values - values.mean()) * taper * turned)) / taper.sum())


def test_a_sound_machine_keeps_its_speed() -> None:
    values = curve(FOUR)
    assert values.mean() == pytest.approx(1.0, abs=0.002)
    assert values.std() < 0.001


def test_the_same_seed_gives_the_same_curve_and_another_another() -> None:
    assert np.array_equal(curve(FOUR, seed=5), curve(FOUR, seed=5))
    assert not np.array_equal(curve(FOUR, seed=5), curve(FOUR, seed=6))


def test_it_is_the_same_however_it_is_cut() -> None:
    way = course(applied(FOUR, [Fault("pinch_roller", "glazed")]), seed=3)
    whole = SpeedSource(way, RATE_HZ, SECONDS, 3).take(20000)
    source = SpeedSource(way, RATE_HZ, SECONDS, 3)
    pieces = np.concatenate([source.take(count) for count in (1, 7000, 999, 12000)])
    assert np.allclose(whole, pieces, rtol=0, atol=1e-12)


def test_each_large_line_is_there_with_its_size() -> None:
    way = course(applied(FOUR, [Fault("pinch_roller", "eccentric")]), seed=1)
    values = curve(FOUR, Fault("pinch_roller", "eccentric"))
    for line in (line for line in way.lines if line.part == "pinch_roller"):
        assert size_at(values, line.frequency_hz) == pytest.approx(line.peak_ratio, abs=1e-4)


def test_a_reels_line_moves_as_its_pack_grows() -> None:
    """Oracle: v / (2 pi r) of the take-up pack, times reel turns to tyre turns, 30 / 16, at the bare hub and later."""
    worn = applied(FOUR, [Fault("idler_tyre", "flat_spot")])
    packs = course(worn, seed=1).packs
    times = np.array([0.0, 600.0, 600.01])
    turns = 30 / 16 * packs.turns(times, supply=False)
    radius_m = math.sqrt(11e-3**2 + 600 * 95.25e-3 * 16e-6 / math.pi)
    expected_hz = 30 / 16 * 95.25e-3 / (2 * math.pi * radius_m)
    assert (turns[2] - turns[1]) / 0.01 == pytest.approx(expected_hz, rel=2e-3)
    early, late = (
        curve(FOUR, Fault("idler_tyre", "flat_spot")),
        curve(FOUR, Fault("idler_tyre", "flat_spot"), position_s=600),
    )
    middle_m = math.sqrt(11e-3**2 + 10 * 95.25e-3 * 16e-6 / math.pi)
    assert size_at(late, expected_hz) > 5e-4
    assert size_at(early, expected_hz) < 2e-4
    assert size_at(early, 30 / 16 * 95.25e-3 / (2 * math.pi * middle_m)) > 5e-4


def test_tape_that_does_not_move_has_no_speed() -> None:
    assert not curve(FOUR, Fault("cam_belt", "missing")).any()
    assert not curve(FOUR, Fault("power_supply", "dead")).any()


def test_tape_that_races_is_far_too_fast_and_gains() -> None:
    values = curve(FOUR, Fault("capstan_belt", "missing"))
    assert values.min() > 1.2
    assert values[-2000:].mean() > values[:2000].mean()


def test_a_machine_that_sees_no_turning_stops() -> None:
    values = curve(FOUR, Fault("counter_belt", "missing"))
    assert values[: int(2.0 * RATE_HZ)].mean() == pytest.approx(1.0, abs=0.01)
    assert not values[int(2.2 * RATE_HZ) :].any()


def test_tape_ends_with_the_side() -> None:
    values = curve(FOUR, position_s=890.0)
    ends_s = Packs(FOUR.tape, 890.0 * 95.25e-3, 95.25e-3).ends_s
    assert 5 < ends_s < 15
    assert values[int((ends_s - 1) * RATE_HZ)] > 0.9
    assert values[-1] == 0.0


def test_what_slips_is_slow_and_wanders() -> None:
    sound, slips = curve(FOUR), curve(FOUR, Fault("pinch_roller", "glazed"))
    assert slips.mean() < 0.99
    slow = [np.convolve(values, np.ones(1000) / 1000, "valid").std() for values in (sound, slips)]
    assert slow[1] > 5 * slow[0]


def test_too_strong_a_clutch_is_fast_above_all_at_the_start_of_a_side() -> None:
    tight = Fault("takeup_clutch", "too_tight")
    sound = course(PORTABLE, seed=1)
    start, end = (curve(PORTABLE, tight, position_s=at).mean() for at in (0.0, 1500.0))
    assert start > 1.005
    assert start - end > 0.003
    assert sound.creep_n is not None


@settings(max_examples=30)
@given(st.floats(0.011, 0.0236), st.floats(0.011, 0.0236))
def test_creep_is_held_within_what_can_be_said(takeup_m: float, supply_m: float) -> None:
    found = creep((0.005, 0.0003, 0.86), np.array([takeup_m]), np.array([supply_m]))
    assert abs(float(found[0])) < 0.01


def test_sound_creep_is_trimmed_out_in_the_middle_of_a_side() -> None:
    assert curve(FOUR, position_s=450.0).mean() == pytest.approx(1.0, abs=3e-4)


def test_some_tries_start_and_others_do_not() -> None:
    worn = applied(FOUR, [Fault("capstan_motor", "dead_spot")])
    moves = {course(worn, seed).moves for seed in range(12)}
    assert moves == {True, False}
    assert course(worn, 3) == course(worn, 3)


@settings(max_examples=30)
@given(st.floats(0.0, 800.0), st.floats(0.0, 90.0), st.booleans())
def test_tape_is_neither_made_nor_lost(wound_s: float, later_s: float, races: bool) -> None:
    """A conservation law: the two packs always hold one side; and turns times thickness is the change of radius."""
    packs = Packs(FOUR.tape, wound_s * 95.25e-3, 95.25e-3, 2.0 if races else 0.0)
    at = np.array([0.0, later_s])
    areas = packs.takeup_m(at) ** 2 + packs.supply_m(at) ** 2
    assert areas == pytest.approx(np.full(2, 11e-3**2 + 23.6e-3**2), rel=1e-9)
    gained = packs.takeup_m(at)[1] - packs.takeup_m(at)[0]
    assert packs.turns(at, supply=False)[1] * 16e-6 == pytest.approx(gained, abs=1e-12)


@pytest.mark.parametrize("position_s", [-1.0, 1e6, float("nan")])
def test_a_position_off_the_tape_is_refused(position_s: float) -> None:
    with pytest.raises(InputAtFaultError, match="not on the tape"):
        curve(FOUR, position_s=position_s)


def test_a_machine_without_play_is_refused() -> None:
    with pytest.raises(InputAtFaultError, match="play"):
        curve(replace(FOUR, modes={"idle": FOUR.modes["idle"]}))
