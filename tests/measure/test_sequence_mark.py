"""The synchronising mark: what makes its sweeps indifferent to speed, and what noise does to likeness."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats

from tapewright.measure.sequence_mark import (
    BURST_HZ,
    BURST_S,
    HIGH_HZ,
    LOW_HZ,
    SWEEP_S,
    SYMBOLS,
    burst,
    chance_of_likeness,
    check_symbol,
    mark,
    mark_length_s,
    mark_sweeps,
    slope,
    speed_shift_s,
    sweep,
    sweep_phase,
)
from tapewright.measure.sequence_marks import chance_in_noise, heard_marks
from tapewright.measure.sequence_sweeps import DIMENSIONS, LIKENESS, Peaks, SweepSearch

RATE_HZ = 16000


def found_in(sound: NDArray[np.float64], rate_hz: float = RATE_HZ, least: float = LIKENESS) -> tuple[Peaks, Peaks]:
    search = SweepSearch(rate_hz, 1, least)
    search.add(sound[None].astype(np.float32))
    return search.peaks()[0]


@pytest.mark.parametrize("rising", [True, False])
def test_a_sweep_runs_from_one_end_to_the_other_with_even_steps_of_period(rising: bool) -> None:
    """Closed form: the frequency is the phase's derivative, and its inverse is a straight line."""
    times = np.linspace(0.0, SWEEP_S, 20001)
    period = 2.0 * np.pi / np.gradient(sweep_phase(times, rising), times)[1:-1]
    ends = (1.0 / LOW_HZ, 1.0 / HIGH_HZ) if rising else (1.0 / HIGH_HZ, 1.0 / LOW_HZ)
    assert period == pytest.approx(np.linspace(*ends, 20001)[1:-1], rel=1e-4)


@given(st.booleans(), st.floats(0.9, 1.1))
def test_a_sweep_at_another_speed_is_the_same_sweep_at_another_time(rising: bool, speed: float) -> None:
    """Closed form: phase(r t) is phase(t - shift) and a constant, wherever both are inside the sweep."""
    shift = speed_shift_s(rising) * (1.0 - 1.0 / speed)
    times = np.linspace(0.03, 0.12, 50)
    apart = sweep_phase(speed * times, rising) - sweep_phase(times - shift, rising)
    assert np.ptp(apart) < 1e-6 * np.ptp(sweep_phase(times, rising))
    assert apart.mean() == pytest.approx(2.0 * np.pi / slope(rising) * math.log(speed), rel=1e-6, abs=1e-6)


@given(st.integers(0, SYMBOLS - 1), st.integers(0, SYMBOLS - 1), st.integers(1, SYMBOLS - 1))
def test_a_symbol_that_is_misread_is_noticed(index: int, variant: int, off: int) -> None:
    """Closed form: two and three are no multiples of eleven."""
    assert check_symbol((index + off) % SYMBOLS, variant) != check_symbol(index, variant)
    assert check_symbol(index, (variant + off) % SYMBOLS) != check_symbol(index, variant)


@given(st.integers(0, 9), st.integers(0, 7), st.sampled_from([2, 4]))
def test_no_two_sweeps_of_a_mark_overlap(index: int, variant: int, tracks: int) -> None:
    begins = [one.at_s for one in mark_sweeps(index, variant, tracks)]
    assert min(np.diff(begins)) >= SWEEP_S
    assert begins[-1] + SWEEP_S + BURST_S <= mark_length_s(tracks)


def test_the_burst_tells_polarity_wherever_it_stands() -> None:
    """Closed form: of cos + cos of the octave / 2 the mean cube is 3 / 8, over 1.5 cubed: positive, and odd in sign."""
    inside = np.arange(0.02, 0.14, 1e-5)
    assert np.mean(burst(inside) ** 3) == pytest.approx(0.375 / 1.5**3, rel=1e-2)
    assert BURST_HZ[1] == 2.0 * BURST_HZ[0]


@given(st.floats(0.01, 0.9), st.integers(3, 200))
@settings(max_examples=30)
def test_chance_of_likeness_is_the_tail_of_a_beta_law(likeness: float, dimensions: int) -> None:
    """Independent program: scipy's beta law."""
    expected = stats.beta.sf(likeness, 1.0, dimensions / 2.0 - 1.0)
    assert chance_of_likeness(likeness, dimensions) == pytest.approx(expected, rel=1e-9, abs=1e-300)


def test_noise_is_as_often_like_a_sweep_as_the_closed_form_says() -> None:
    """Drawn noise against the closed form, at likeness low enough to be met.

    Peaks are tops of the likeness, so their count lies between that of independent tries (one for each cycle of the
    band) and that of all values looked at.
    """
    seconds, likeness = 400.0, 0.025
    noise = np.random.default_rng(7).standard_normal(int(seconds * RATE_HZ))
    rising, falling = found_in(noise, least=likeness)
    expected = chance_of_likeness(likeness, DIMENSIONS) * seconds * DIMENSIONS / 2.0 / SWEEP_S
    count = 0.5 * (len(rising.times_s) + len(falling.times_s))
    assert expected > 100.0
    assert 0.8 * expected < count < 3.6 * expected
    assert max(rising.likeness.max(), falling.likeness.max()) < 0.07


def test_the_chance_of_a_mark_in_noise_is_none() -> None:
    """Closed form by hand: five sweeps, each 0.75 to the power of 335 = 1.4e-42, times the tries there are.

    7560 values a second: of four hours for the first; of 0.117 s for the second; of 12 ms at eleven places for the
    third and the fourth, at one for the fifth.
    """
    assert pytest.approx(672.0) == DIMENSIONS
    assert pytest.approx(1.4e-42, rel=0.1) == 0.75**335
    looked = 4 * 3600.0 * 7560.0 * 0.117 * 7560.0 * (11.0 * 0.012 * 7560.0) ** 2 * 0.012 * 7560.0
    assert chance_in_noise(3600.0, 4) == pytest.approx((0.75**335) ** 5 * looked, rel=0.05)
    assert chance_in_noise(7200.0, 1) == pytest.approx(2.0 * chance_in_noise(3600.0, 1))


@given(
    index=st.integers(0, 7),
    variant=st.sampled_from([2, 3, 6, 7]),
    track=st.integers(1, 4),
    speed=st.floats(0.9, 1.1),
    gain=st.floats(-0.5, 0.5).filter(lambda gain: abs(gain) > 1e-4),
    begins_s=st.floats(0.1, 3.0),
)
@settings(max_examples=25, deadline=None)
def test_a_mark_is_read_at_any_speed_level_and_polarity(
    index: int, variant: int, track: int, speed: float, gain: float, begins_s: float
) -> None:
    """Round trip; the time on the tape is worked out for every sample, nothing is resampled."""
    times = np.arange(int(7.0 * RATE_HZ)) / RATE_HZ
    sound = gain * mark(speed * (times - begins_s), index, variant, 4, track)
    (read,) = heard_marks(*found_in(sound))
    assert (read.index, read.variant) == (index, variant)
    assert read.start_s == pytest.approx(begins_s, abs=5e-5)
    assert 1.0 / read.slowness == pytest.approx(speed, rel=2e-4)
    assert int(np.argmax(read.own)) + 1 == track
    assert min(read.own) == 0.0 or sorted(read.own)[-1] > 100.0 * sorted(read.own)[-2]


def test_half_a_mark_is_none() -> None:
    times = np.arange(4 * RATE_HZ) / RATE_HZ
    whole = mark(times - 0.5, 3, 2, 4, 1)
    assert len(heard_marks(*found_in(whole))) == 1
    assert heard_marks(*found_in(np.where(times < 1.6, whole, 0.0))) == ()
    assert heard_marks(*found_in(np.where(times > 0.64, whole, 0.0))) == ()
    assert heard_marks(*found_in(whole[::-1])) == ()


def test_sweeps_of_another_law_are_none() -> None:
    """An even sweep of frequency, and one of its logarithm, over the same band in the same time."""
    times = np.arange(2 * RATE_HZ) / RATE_HZ
    within = np.clip(times - 0.5, 0.0, SWEEP_S)
    inside = (times > 0.5) & (times < 0.5 + SWEEP_S)
    even = np.cos(2.0 * np.pi * (LOW_HZ * within + 0.5 * (HIGH_HZ - LOW_HZ) / SWEEP_S * within**2))
    growth = math.log(HIGH_HZ / LOW_HZ) / SWEEP_S
    rising_by_ratio = np.cos(2.0 * np.pi * LOW_HZ / growth * np.expm1(growth * within))
    assert len(found_in(inside * sweep(times - 0.5, True))[0].times_s) == 1
    for other in (even, rising_by_ratio):
        assert all(len(peaks.times_s) == 0 for peaks in found_in(np.where(inside, other, 0.0)))
