"""When the steps of a minute were done: click trains made for the purpose, and a minute that is played."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapewright.measure.mechanism_bands import band_powers
from tapewright.measure.mechanism_frames import Sound
from tapewright.measure.mechanism_marks import changes_in, marks_from_clicks
from tapewright.words.mechanism_heard import Click, Mark

MODES = ("off", "switch_on", "cassette_in", "play", "stop", "fast_forward", "stop", "rewind", "stop", "off")
TIMES_S = (0.0, 4.0, 7.0, 11.0, 26.0, 30.0, 38.0, 42.0, 50.0, 54.0)
STEPS = [Mark(mode, at_s) for mode, at_s in zip(MODES, TIMES_S, strict=True)]
Moments = list[float]


def clicked(moments: Moments) -> list[Click]:
    return [Click(at, 0.97) for at in sorted(moments)]


@settings(max_examples=60, deadline=None)
@given(
    st.floats(-3.5, 6.0), st.lists(st.floats(0.0, 0.25), min_size=9, max_size=9), st.integers(0, 8),
    st.lists(st.floats(0.0, 60.0), max_size=4),
)  # fmt: skip
def test_the_steps_are_found_wherever_the_minute_began_though_one_key_is_silent_and_others_click(
    began_s: float, late_s: Moments, silent: int, others: Moments
) -> None:
    pressed = [began_s + step.at_s + late for step, late in zip(STEPS[1:], late_s, strict=True)]
    heard = [at for k, at in enumerate(pressed) if k != silent]
    found = marks_from_clicks(clicked(heard + others), STEPS, 68.0)
    assert [mark.mode for mark in found.marks] == list(MODES)
    assert all(abs(mark.at_s - at) <= mark.doubt_s + 0.3 for mark, at in zip(found.marks[1:], pressed, strict=True))


@pytest.mark.parametrize("seed", range(20))
def test_clicks_at_random_are_no_minute(seed: int) -> None:
    draws = np.random.default_rng(seed)
    found = marks_from_clicks(clicked(list(draws.uniform(0.0, 60.0, int(draws.integers(3, 40))))), STEPS, 60.0)
    assert found.marks == ()


def test_a_minute_that_fits_twice_is_left_open() -> None:
    twice = [began + step.at_s for began in (0.0, 2.0) for step in STEPS[1:]]
    found = marks_from_clicks(clicked(twice), STEPS, 60.0)
    assert found.marks == ()
    assert "more than one way" in found.says


def test_a_motor_that_begins_and_ends_is_a_change_and_a_knock_is_none() -> None:
    rate_hz = 16000.0
    times = np.arange(round(12.0 * rate_hz)) / rate_hz
    noise = 0.002 * np.random.default_rng(3).standard_normal(len(times))
    running = 0.02 * np.sin(2 * np.pi * 900.0 * times) * ((times > 4.0) & (times < 8.5))
    knock = 0.3 * np.exp(-np.maximum(times - 2.0, 0.0) / 0.01) * (times > 2.0)
    found = changes_in(*band_powers(Sound((noise + running + knock).astype(np.float32), rate_hz)))
    assert [one.at_s for one in found] == pytest.approx([4.0, 8.5], abs=0.15)
