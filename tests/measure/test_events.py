"""Events that are no line: put in by hand at known times, and not found where there is only noise."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import signal

from tapewright.measure.events import FALSE_ALARM, find_events
from tapewright.words.signal import Line, Trace

RATE_HZ = 300.0
LINES = tuple(Line(hertz, size, 0.01, 0.001, 1e-4) for hertz, size in ((0.8, 0.3), (12.05, 0.15), (57.6, 0.1)))
Values = NDArray[np.float64]


def background(draw: np.random.Generator, seconds: float, rms: float = 2e-4, corner_hz: float = 20.0) -> Values:
    """Noise with a corner, as a transport has."""
    keep = np.exp(-2 * np.pi * corner_hz / RATE_HZ)
    values = signal.lfilter([1.0], [1.0, -keep], draw.standard_normal(int(seconds * RATE_HZ) + 500))[500:]
    return np.asarray(rms * values / values.std())


def played(draw: np.random.Generator, seconds: float) -> tuple[Values, Values]:
    times = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    speed = background(draw, seconds) + 3e-5 * times  # and a drift
    for line in LINES:
        speed += line.peak_pct / 100 * np.cos(2 * np.pi * line.frequency_hz * times + 6 * draw.random())
    return times, speed


def bump(times: Values, at_s: float, half_depth_s: float, depth: float) -> Values:
    """A raised cosine that stands above half of its depth for so long."""
    place = (times - at_s) / (2 * half_depth_s)
    return np.where(np.abs(place) < 0.5, depth * np.cos(np.pi * place) ** 2, 0.0)


@pytest.mark.parametrize("half_depth_s", [0.03, 0.08, 0.3, 1.0])
@pytest.mark.parametrize("depth_pct", [-0.6, 0.6, -4.0])
def test_an_event_is_found_where_it_was_put(half_depth_s: float, depth_pct: float) -> None:
    times, speed = played(np.random.default_rng(4), 40.0)
    (event,) = find_events(Trace(speed + bump(times, 17.3, half_depth_s, depth_pct / 100), RATE_HZ, 5.0), LINES)
    assert event.time_s == pytest.approx(22.3, abs=0.3 * half_depth_s + 0.01)
    assert event.depth_pct == pytest.approx(depth_pct, rel=0.25)
    assert abs(event.depth_pct - depth_pct) < 1.3 * event.doubt_pct
    assert 0.4 * half_depth_s < event.lasts_s < 2.1 * half_depth_s
    assert event.kind == ("dip" if depth_pct < 0 else "snatch")


def test_lines_and_drift_are_no_events() -> None:
    for seed in range(8):
        _, speed = played(np.random.default_rng(seed), 40.0)
        assert find_events(Trace(speed, RATE_HZ), LINES) == ()


def test_a_belt_that_sticks_and_slips_is_called_that() -> None:
    times, speed = played(np.random.default_rng(2), 60.0)
    for at in (20.0, 21.7, 22.4, 25.0, 27.9):
        speed = speed + bump(times, at, 0.1, -0.01)
    speed = speed + bump(times, 50.0, 0.1, -0.01) + bump(times, 40.0, 0.5, -0.2)
    found = find_events(Trace(speed, RATE_HZ), LINES)
    assert [one.kind for one in found] == ["stick-slip"] * 5 + ["stall", "dip"]


def test_a_dropout_is_no_event() -> None:
    _, speed = played(np.random.default_rng(3), 40.0)
    speed[3000:3060] = np.nan
    speed[2996:3000] += 0.003  # what a phase does as the level falls
    speed[3060:3064] -= 0.003
    assert find_events(Trace(speed, RATE_HZ), LINES) == ()


@given(shift_s=st.floats(-100, 100), scale=st.floats(0.2, 5))
@settings(max_examples=10, deadline=None)
def test_where_the_clock_stands_and_how_loud_all_of_it_is_change_nothing_else(shift_s: float, scale: float) -> None:
    times, speed = played(np.random.default_rng(7), 20.0)
    speed = speed + bump(times, 8.0, 0.2, -0.01)
    (one,), (other,) = (
        find_events(Trace(speed * factor, RATE_HZ, start), LINES) for factor, start in ((1.0, 0.0), (scale, shift_s))
    )
    assert other.time_s - shift_s == pytest.approx(one.time_s, abs=1e-6)
    assert other.depth_pct == pytest.approx(one.depth_pct * scale, rel=1e-6)


@pytest.mark.parametrize("values", [np.zeros(0), np.zeros(100), np.full(9000, np.nan), np.zeros(9000)])
def test_nothing_is_found_in_nothing(values: Values) -> None:
    assert find_events(Trace(values, RATE_HZ)) == ()


@pytest.mark.slow
@pytest.mark.parametrize("corner_hz", [2.0, 20.0, 120.0])
def test_noise_alone_shows_an_event_in_one_recording_in_a_hundred(corner_hz: float) -> None:
    """600 recordings; a share of 1 % comes out at 12 of them or fewer in 99 of 100 trials of that (binomial law)."""
    draw = np.random.default_rng(int(corner_hz))
    shown = [bool(find_events(Trace(background(draw, s, corner_hz=corner_hz), RATE_HZ))) for s in [10.0, 45.0] * 300]
    assert sum(shown) <= 2 * FALSE_ALARM * len(shown)
