"""Lines: how often noise feigns one, how far off their sizes are, and what dropouts do to them."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import signal

from tapewright.measure.follow import Followed
from tapewright.measure.line_fit import Fitted
from tapewright.measure.lines import FittedLines, find_lines
from tapewright.measure.near_lines import crowding
from tapewright.measure.remarks import line_notes
from tapewright.measure.speed_trace import speed_trace
from tapewright.words.signal import Line
from tests.measure import made

RATE_HZ = 1225.0


def followed(seconds: float, seed: int, rotors: tuple[made.Rotor, ...] = (), slow_hz: float = 200.0) -> Followed:
    """A followed tone whose speed is noise of 0.05 % below `slow_hz`, and rotors."""
    draw = np.random.default_rng(seed)
    count = int(seconds * RATE_HZ)
    noise = signal.sosfilt(signal.butter(2, slow_hz, fs=RATE_HZ, output="sos"), draw.standard_normal(count + 4000))[
        4000:
    ]
    times = np.arange(count) / RATE_HZ
    speed = 0.0005 * noise / np.std(noise) + (made.rotors_curve(rotors)(times) if rotors else 0.0)
    phase = 2.0 * np.pi * 3150.0 * np.cumsum(speed) / RATE_HZ
    return Followed(phase, np.ones(count), np.zeros(count, dtype=np.intp), RATE_HZ, 0.0, 3150.0, 0, 0.0, 0.0, 0.5, 0.0)


def lines_of(tone: Followed) -> tuple[Line, ...]:
    return find_lines(tone, speed_trace(tone)).lines


@pytest.mark.parametrize("slow_hz", [200.0, 5.0])
def test_noise_feigns_few_lines(slow_hz: float) -> None:
    """Oracle: one record in a hundred; 4 or more in 30 has a chance under 0.1 % (Poisson, mean 0.3)."""
    assert sum(len(lines_of(followed(10.0, seed, slow_hz=slow_hz))) > 0 for seed in range(30)) <= 3


def test_sizes_and_frequencies_keep_to_their_doubts() -> None:
    """Oracle: the rotors put in; 95 % of 160 values within their doubt, so 20 outside would be four sigma."""
    rotors = (made.Rotor(1.3, 0.03), made.Rotor(6.2, 0.05), made.Rotor(6.9, 0.02), made.Rotor(23.0, 0.02))
    outside = 0
    for seed in range(20):
        lines = lines_of(followed(20.0, 100 + seed, rotors))
        for rotor in rotors:
            line = min(lines, key=lambda one: abs(one.frequency_hz - rotor.rate_hz))
            outside += abs(line.peak_pct - rotor.peak_pct) > line.doubt_pct
            outside += abs(line.frequency_hz - rotor.rate_hz) > line.frequency_doubt_hz
    assert outside <= 20


def test_a_record_with_many_pieces() -> None:
    """Whole turns lost in a dropout shift a piece as a whole; the sizes do not feel it."""
    tone = followed(20.0, 1, (made.Rotor(6.2, 0.05),))
    whole = lines_of(tone)
    phase, piece = tone.phase_rad.copy(), tone.piece.copy()
    for number, start in enumerate(range(3000, 24000, 4000), start=1):
        phase[start : start + 60] = np.nan
        phase[start:] += 2.0 * np.pi * number
        piece[start:] = number
    broken = Followed(phase, tone.envelope, piece, RATE_HZ, 0.0, 3150.0, 6, 0.3, 0.0, 0.5, 0.0)
    (line,) = lines_of(broken)
    assert line.peak_pct == pytest.approx(whole[0].peak_pct, abs=0.5 * whole[0].doubt_pct)
    assert line.frequency_hz == pytest.approx(6.2, abs=2.0 * line.frequency_doubt_hz)


def test_the_lines_drawn_again_are_the_speed() -> None:
    """Round trip: lines found in a noise-free curve, drawn again, are that curve."""
    rotors = (made.Rotor(2.1, 0.1, 0.4), made.Rotor(7.3, 0.05, 1.9))
    times = np.arange(int(15 * RATE_HZ)) / RATE_HZ
    speed = made.rotors_curve(rotors)(times)
    phase = 2.0 * np.pi * 3150.0 * np.cumsum(speed) / RATE_HZ
    noise = 1e-4 * np.random.default_rng(5).standard_normal(len(phase))
    tone = Followed(
        phase + noise,
        np.ones(len(phase)),
        np.zeros(len(phase), dtype=np.intp),
        RATE_HZ,
        0.0,
        3150.0,
        0,
        0.0,
        0.0,
        0.5,
        0.0,
    )
    trace = speed_trace(tone)
    found = find_lines(tone, trace)
    assert len(found.lines) == 2
    assert np.std(found.speed(times) - speed) < 0.01 * np.std(speed)


def test_a_long_record_is_searched_in_part() -> None:
    found = find_lines(tone := followed(300.0, 2, (made.Rotor(6.2, 0.05),)), speed_trace(tone))
    assert found.end_s - found.start_s == pytest.approx(180.0, abs=0.1)
    assert [line.frequency_hz for line in found.lines] == [pytest.approx(6.2, abs=1e-3)]


def with_a_reel(seconds: float, rate_hz: float, slowing_per_s: float) -> Followed:
    """A reel of 0.05 % whose pack grows, beside a capstan and a flywheel; r² grows evenly (closed form)."""
    base = followed(seconds, 3, (made.Rotor(2.33, 0.06), made.Rotor(8.7, 0.1)))
    times = np.arange(len(base.phase_rad)) / RATE_HZ
    turns = rate_hz * (np.sqrt(1.0 + 2.0 * slowing_per_s * times) - 1.0) / slowing_per_s
    speed = 0.0005 * np.cos(2.0 * np.pi * turns + 1.0)
    return replace(base, phase_rad=base.phase_rad + 2.0 * np.pi * 3150.0 * np.cumsum(speed) / RATE_HZ)


@pytest.mark.parametrize(
    ("seconds", "rate_hz", "slowing_per_s"),
    [(45.0, 0.689, 1.03e-3), (40.0, 1.378, 2.1e-3), (90.0, 0.42, 4e-4), (45.0, 0.62, -9e-4)],
)
def test_a_reel_is_followed_in_its_own_turns(seconds: float, rate_hz: float, slowing_per_s: float) -> None:
    """Oracle: the pack's closed form; one line instead of a smear, its rate and slowing those of the middle."""
    tone = with_a_reel(seconds, rate_hz, slowing_per_s)
    found = find_lines(tone, speed_trace(tone))
    assert len(found.lines) == 3
    middle = 1.0 + slowing_per_s * seconds  # 1 + 2 b t half way
    assert found.lines[0].frequency_hz == pytest.approx(rate_hz / np.sqrt(middle), abs=2e-3)
    assert found.lines[0].peak_pct == pytest.approx(0.05, abs=1.5 * found.lines[0].doubt_pct)
    assert found.slowing_per_s[0] == pytest.approx(slowing_per_s / middle, rel=0.05)
    assert found.slowing_per_s[1:].tolist() == [0.0, 0.0]


def test_no_reel_is_invented() -> None:
    """Oracle: noise, and steady lines at reel rates; nothing drifts in them."""
    for seed in range(8):
        tone = followed(40.0, 300 + seed, (made.Rotor(0.6, 0.05), made.Rotor(0.9, 0.03)) if seed % 2 else ())
        assert not find_lines(tone, speed_trace(tone)).slowing_per_s.any()


def test_a_followed_reel_drawn_again_is_its_speed() -> None:
    tone = with_a_reel(60.0, 1.0, 1.5e-3)
    trace = speed_trace(tone)
    found = find_lines(tone, trace)
    left = np.nanstd(trace.values - found.speed(trace.times_s))
    assert left == pytest.approx(0.0005, rel=0.05)  # the noise that was put in


def pair(seconds: float, turns: float, seed: int) -> tuple[FittedLines, tuple[made.Rotor, made.Rotor]]:
    """Two rotors of 0.05 and 0.03 % that slip by so many turns against each other, in noise."""
    draw = np.random.default_rng(seed)
    rotors = (
        made.Rotor(6.2, 0.05, draw.uniform(0.0, 6.28)),
        made.Rotor(6.2 + turns / seconds, 0.03, draw.uniform(0.0, 6.28)),
    )
    tone = followed(seconds, seed, rotors)
    return find_lines(tone, speed_trace(tone)), rotors


@pytest.mark.parametrize("turns", [1.6, 2.5])
def test_two_near_lines_are_told_apart(turns: float) -> None:
    """Oracle: the two put in, each size and rate within 1.6 times its doubt (three sigma)."""
    for seed in range(4):
        found, rotors = pair(20.0, turns, seed)
        assert len(found.lines) == 2
        for line, rotor in zip(found.lines, rotors, strict=True):
            assert line.peak_pct == pytest.approx(rotor.peak_pct, abs=1.6 * line.doubt_pct)
            assert line.frequency_hz == pytest.approx(rotor.rate_hz, abs=1.6 * line.frequency_doubt_hz)


@pytest.mark.parametrize("turns", [0.6, 0.8])
def test_two_lines_too_near_are_both_named(turns: float) -> None:
    """Oracle: they slip by less than a turn, where least squares of two sines loses most; named within a bin."""
    for seed in range(4):
        found, rotors = pair(20.0, turns, seed)
        assert len(found.lines) == 1
        ((low, high),) = found.not_told_apart_hz
        assert low == pytest.approx(rotors[0].rate_hz, abs=0.05)
        assert high == pytest.approx(rotors[1].rate_hz, abs=0.05)
        assert found.lines[0].doubt_pct > 0.005
        (note,) = line_notes(found)
        assert f"{low:.3f} and {high:.3f} Hz" in note


@pytest.mark.parametrize("turns", [1.0, 1.2, 1.6, 3.0])
def test_crowding_is_what_least_squares_of_two_sines_says(turns: float) -> None:
    """Oracle: the inverse of the whole normal matrix, sample by sample: sizes, phases and rates of two lines."""
    seconds, rates = 20.0, (6.2, 6.2 + turns / 20.0)
    times = np.arange(-10.0, 10.0, 1.0 / 200.0)
    fitted = Fitted(np.array(rates), np.array([0.6, -0.2]), np.array([0.3, 0.5]), np.zeros(2))
    columns = []
    for rate, cosine, sine in zip(rates, fitted.cosine, fitted.sine, strict=True):
        turn = 2.0 * np.pi * rate * times
        size = np.hypot(cosine, sine)
        columns += [
            (cosine * np.cos(turn) + sine * np.sin(turn)) / size,
            times * (sine * np.cos(turn) - cosine * np.sin(turn)) / size,
            (sine * np.cos(turn) - cosine * np.sin(turn)) / size,
        ]
    table = np.stack(columns, axis=1)
    both, alone = (np.diag(np.linalg.inv(part.T @ part)) for part in (table, table[:, :3]))
    sizes, frequencies = crowding(fitted, times, np.ones(len(times)))
    assert sizes[0] == pytest.approx(both[0] / alone[0], rel=0.03)
    assert frequencies[0] == pytest.approx(both[1] / alone[1], rel=0.03)
    assert seconds == pytest.approx(times[-1] - times[0], abs=0.01)
