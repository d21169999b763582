"""What the readings must show, on two hundred seeded recordings of machines in trouble (`trial`): how near, how sure.

44.1 to 96 kHz, 30 to 55 dB, dropouts, clipping, hum, belts that stick. The figures reached stand in docs/measure.md.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from tapewright.measure.recording import ChannelReadings, measure_recording
from tapewright.words.reading import Reading
from tests.measure import made, trial

READINGS = ("weighted_peak_pct", "weighted_rms_pct", "unweighted_peak_pct", "unweighted_rms_pct")


@dataclass(frozen=True)
class Outcome:
    """How one recording was read.

    Arguments:
        steady: whether nothing sticks in it.
        peak, rms: how far the weighted readings are off what the tape did where it could be heard, ratio.
        speed_pct: how far the speed is off what the tape did, its rotors' parts of a turn taken out, percent.
        readings_held: whether each reading's interval holds the machine's long run, the weighting drawn in its doubt.
        speed_held: whether the speed's does.
        sizes, rates: whether the intervals of each rotor's line do.
        over_bound: how far each line's size is off, over the bound with the background known.
        invented: lines where no rotor turns.
    """

    steady: bool
    peak: float
    rms: float
    speed_pct: float
    readings_held: tuple[bool, ...]
    speed_held: bool
    sizes: tuple[bool, ...]
    rates: tuple[bool, ...]
    over_bound: tuple[float, ...]
    invented: int


def outcome(path: Path, seed: int, most_rotors: int = 4, dips: bool = True) -> Outcome:
    sound = trial.made_sound(path, seed, most_rotors, dips)
    found = measure_recording(path, trial.TONE_HZ).channels[0]
    start_s, end_s, trace = found.tone.start_s, found.tone.end_s, found.trace
    assert start_s is not None, found.tone.why_not
    assert end_s is not None
    assert trace is not None
    times, weighted = trial.weighted_curve(sound, start_s, end_s)
    heard = weighted[np.interp(times, trace.times_s, np.isfinite(trace.values).astype(float)) > 0.99]
    peak, rms, speed = (known(getattr(found, name)) for name in (*READINGS[:2], "speed_error_pct"))
    machine = sound.machine
    at = np.arange(start_s, end_s, 1.0 / trial.OWN_RATE_HZ)
    rotors = made.rotors_curve(machine.rotors)(at) if machine.rotors else np.zeros(len(at))
    moved = (1.0 + machine.error_pct / 100.0) * (1.0 + float(np.mean(sound.curve(at) - rotors)))
    slips = sum(2.0 / 3.0 * depth * width for _, depth, width in machine.dips) / sound.seconds
    usual = (1.0 + machine.error_pct / 100.0) * (1.0 - slips)
    truth = trial.long_run_readings(machine, float(np.random.default_rng(10_000 + seed).standard_normal()))
    sizes, rates, over, invented = lines(sound, found, end_s - start_s)
    return Outcome(
        not machine.dips,
        peak[0] / float(np.quantile(np.abs(heard), 0.95)) - 1.0,
        rms[0] / float(np.sqrt(np.mean(heard**2))) - 1.0,
        speed[0] - 100.0 * (moved - 1.0),
        tuple(inside(known(getattr(found, name)), truth[name]) for name in READINGS),
        inside(speed, 100.0 * (usual - 1.0)),
        sizes,
        rates,
        over,
        invented,
    )


def known(reading: Reading) -> tuple[float, float]:
    assert reading.value is not None, reading.why_not
    assert reading.doubt is not None
    return reading.value, reading.doubt


def inside(found: tuple[float, float], truth: float) -> bool:
    return abs(found[0] - truth) < found[1]


def lines(
    sound: trial.Sound, found: ChannelReadings, seconds: float
) -> tuple[tuple[bool, ...], tuple[bool, ...], tuple[float, ...], int]:
    """Give each rotor its line; two rotors nearer than 1.75 turns in the stretch are another test's business."""
    rotors = sound.machine.rotors
    bounds = trial.bounds_pct(sound, seconds) if rotors else np.zeros(0)
    sizes, rates, over, used = [], [], [], set()
    for rotor, bound in zip(rotors, bounds, strict=True):
        near = [line for line in found.lines if abs(line.frequency_hz - rotor.rate_hz) * seconds < 1.75]
        used |= {id(line) for line in near}
        apart = min((abs(o.rate_hz - rotor.rate_hz) for o in rotors if o is not rotor), default=np.inf)
        if not near or apart * seconds < 1.75:
            continue
        line = min(near, key=lambda one: abs(one.frequency_hz - rotor.rate_hz))
        sizes.append(inside((line.peak_pct, line.doubt_pct), rotor.peak_pct))
        rates.append(inside((line.frequency_hz, line.frequency_doubt_hz), rotor.rate_hz))
        over.append((line.peak_pct - rotor.peak_pct) / float(bound))
    return tuple(sizes), tuple(rates), tuple(over), sum(id(line) not in used for line in found.lines)


def check_nearness(found: list[Outcome], most: float) -> None:
    off = np.abs([(one.peak, one.rms) for one in found])
    assert np.mean(off[:, 0] < 0.005) >= 0.95 - most
    assert np.mean(off[:, 1] < 0.005) >= 0.95 - most
    assert off.max() < 0.015
    speed = np.abs([one.speed_pct for one in found])
    assert np.mean(speed < 0.002) >= 0.99 - most
    assert speed.max() < 0.003  # one of the two hundred is off by 0.0025: two slow rotors that one line stands for


def test_eight_recordings(tmp_path: Path) -> None:
    check_nearness([outcome(tmp_path / "t.wav", seed) for seed in range(200, 208)], 0.1)


@pytest.fixture(scope="module")
def two_hundred(tmp_path_factory: pytest.TempPathFactory) -> list[Outcome]:
    path = tmp_path_factory.mktemp("trial") / "t.wav"
    return [outcome(path, seed) for seed in range(200)]


@pytest.fixture(scope="module")
def steady(tmp_path_factory: pytest.TempPathFactory, two_hundred: list[Outcome]) -> list[Outcome]:
    """Those of the two hundred in which nothing sticks, and a hundred more: what sticks once has no long run."""
    path = tmp_path_factory.mktemp("steady") / "t.wav"
    more = [outcome(path, seed, dips=False) for seed in range(200, 300)]
    return [*(one for one in two_hundred if one.steady), *more]


@pytest.mark.slow
def test_readings_come_near(two_hundred: list[Outcome]) -> None:
    """Oracle: the speed curve itself at its own rate through the network's poles and zeros."""
    check_nearness(two_hundred, 0.0)


@pytest.mark.slow
def test_sizes_of_lines_come_near_the_bound(two_hundred: list[Outcome]) -> None:
    """Oracle: sqrt(S/T) with the background known (Rife and Boorstyn 1974)."""
    over = np.concatenate([one.over_bound for one in two_hundred])
    assert len(over) > 350
    assert np.sqrt(np.mean(over**2)) < 1.3


@pytest.mark.slow
def test_intervals_hold_as_often_as_they_say(two_hundred: list[Outcome], steady: list[Outcome]) -> None:
    """Oracle: the machine's long run in closed form, its rotors and its speed. 95 %, from 93 to 97 over all of them."""
    readings = np.array([one.readings_held for one in steady]).reshape(-1)
    speed = np.array([one.speed_held for one in steady])
    sizes = np.concatenate([one.sizes for one in two_hundred])
    rates = np.concatenate([one.rates for one in two_hundred])
    every = np.concatenate([readings, speed, sizes, rates])
    print(
        f"intervals: {readings.mean():.3f} {speed.mean():.3f} {sizes.mean():.3f} {rates.mean():.3f}; {every.mean():.3f}"
    )
    assert 0.93 <= np.mean(every) <= 0.97
    for held in (readings, speed, sizes):
        assert np.mean(held) > 0.93
    assert np.mean(rates) > 0.89  # a belt that sticks moves a rate more than its doubt says: 0.89 there, 0.955 else


@pytest.mark.slow
def test_no_line_is_invented_oftener_than_stated(tmp_path: Path) -> None:
    """Oracle: two hundred machines without a rotor; stated is one recording in a hundred, for the whole spectrum.

    Of a mean of two more than five has a chance of 1.7 % (Poisson).
    """
    found = [outcome(tmp_path / "t.wav", seed, most_rotors=0).invented > 0 for seed in range(200)]
    assert np.count_nonzero(found) <= 5
