"""Which of several motors a comb belongs to: pieces put together, names given back, twins left open."""

import numpy as np
import pytest
from numpy.typing import NDArray

from tapewright.measure.mechanism import hear_sound
from tapewright.measure.mechanism_frames import Sound
from tapewright.measure.mechanism_runs import Run, joined, untangled
from tapewright.words.mechanism_heard import Mark, MechanismHeard, RateExpected

FS = 6000.0
COMB = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 9.0, 12.0)
CAPSTAN = RateExpected("capstan_motor", "rewind", 57.6, 41.5, 75.0, "motor", COMB)
REEL = RateExpected("reel_motor", "rewind", 66.7, 48.0, 86.0, "motor", COMB)
LEFT = RateExpected("left_motor", "rewind", 57.0, 40.0, 75.0, "motor", COMB)
RIGHT = RateExpected("right_motor", "rewind", 57.0, 42.0, 74.0, "motor", COMB)
MARKS = (Mark("off", 0.0), Mark("rewind", 2.0))
EXPECTED = {"capstan_motor": [CAPSTAN], "reel_motor": [REEL]}
Floats = NDArray[np.float64]


def run(name: str, first: int, last: int, rate: float) -> Run:
    return Run(name, first, last, np.full(last - first + 1, rate), COMB, (40.0, 86.0))


def motor(seconds: float, rate: float, start: float, end: float) -> Floats:
    """Give a comb of four lines that begins and ends at once."""
    times = np.arange(round(seconds * FS)) / FS
    lines = sum(0.004 * np.cos(2 * np.pi * order * rate * times + order) for order in (1, 2, 3, 6))
    return np.asarray(lines * ((times >= start) & (times < end)))


def hear(samples: Floats, *expected: RateExpected) -> MechanismHeard:
    noise = 0.005 * np.random.default_rng(1).standard_normal(len(samples))
    return hear_sound(Sound((samples + noise).astype(np.float32), FS), MARKS, expected)


def test_a_run_at_the_rate_at_which_another_ran_just_before_is_the_others() -> None:
    """The capstan motor runs on at 57.5; the reel motor, worn, comes up to 55 and takes its name meanwhile."""
    followed = [
        run("capstan_motor", 0, 100, 57.5), run("reel_motor", 90, 160, 57.52), run("capstan_motor", 104, 150, 55.0),
        run("capstan_motor", 163, 200, 57.5),
    ]  # fmt: skip
    found = joined(untangled(joined(followed), EXPECTED))
    assert [(one.name, one.first, one.last) for one in found] == [("capstan_motor", 0, 200), ("reel_motor", 104, 150)]
    assert float(np.median(found[1].rates_hz)) == pytest.approx(55.0)


def test_names_that_nothing_contradicts_stay() -> None:
    apart = [run("capstan_motor", 0, 200, 57.5), run("reel_motor", 80, 160, 66.0)]
    assert untangled(apart, EXPECTED) == apart


def test_pieces_that_overlap_are_joined_frame_by_frame() -> None:
    (one,) = joined([run("reel_motor", 0, 50, 60.0), run("reel_motor", 40, 90, 60.1), run("reel_motor", 60, 70, 60.1)])
    assert (one.first, one.last, len(one.rates_hz)) == (0, 90, 91)
    assert one.rates_hz[50] == 60.0
    assert one.rates_hz[51] == 60.1


def test_of_two_motors_at_one_rate_which_runs_is_left_open() -> None:
    heard = hear(motor(8.0, 56.7, 3.0, 8.0), LEFT, RIGHT)
    assert heard.stretches == ()
    assert heard.not_heard == ()
    assert "One of the left motor and the right motor runs in rewind" in " ".join(heard.cannot_say)


def test_where_both_of_two_such_motors_are_heard_their_rates_are_left_open() -> None:
    heard = hear(motor(8.0, 52.3, 3.0, 8.0) + motor(8.0, 60.9, 3.0, 8.0), LEFT, RIGHT)
    assert {one.name for one in heard.stretches} == {"left_motor", "right_motor"}
    assert all(
        one.rate_hz.value is None and "which turns at which" in str(one.rate_hz.why_not) for one in heard.stretches
    )


def test_neither_of_two_such_motors_that_stand_is_said_to_run() -> None:
    heard = hear(motor(8.0, 57.0, 0.0, 0.0), LEFT, RIGHT)
    assert heard.stretches == ()
    assert {one.name for one in heard.not_heard} == {"left_motor", "right_motor"}
