"""What all that turns, squeals, knocks and clicks sounds like, close by. All shapes and sizes are from memory."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import signal

from tapewright.machine.parts import Machine, Rotor, shaft
from tapewright.simulate.minute_course import MinuteCourse
from tapewright.simulate.minute_truth import TrueClick, TrueNoise
from tapewright.simulate.minute_turning import GRID_HZ, Turning
from tapewright.simulate.pack import Samples

POLES: Final = 6
"""Beats a turn of a motor whose commutator nobody described: an electronic one; from memory."""
LEVEL: Final = {"motor": 1.0, "reel_table": 0.5, "flywheel": 0.15, "idler_tyre": 0.15, "gear": 0.12, "belt": 0.1}
"""How loud each kind is, rms at `AT_HZ` turns a second against a motor; from memory."""
AT_HZ: Final = {"motor": 40.0, "reel_table": 10.0, "flywheel": 10.0, "idler_tyre": 20.0, "gear": 10.0, "belt": 6.0}
GROWS: Final = {"motor": 1.0, "reel_table": 0.8, "flywheel": 1.0, "idler_tyre": 1.0, "gear": 1.0, "belt": 1.0}
"""Power of the rate with which it grows; from memory."""
SQUEAL_RMS, CHIRP_RMS = 0.9, 0.6
KNOCK_PEAK, THUMP_PEAK, RUBBING_RMS = 5.0, 1.6, 0.5
CLICK_PEAK: Final = {"key": 12.0, "lid": 10.0, "mains switch": 8.0, "solenoid": 9.0, "head_base": 6.0}
LABOURS: Final = 1.6
"""How much stronger a labouring motor's commutator sounds."""


@dataclass(frozen=True, slots=True)
class Voices:
    """The sound of a minute close by.

    Arguments:
        running: of what turns, with its squeals and knocks, shape (n,).
        clicks: of keys, solenoids and the like, shape (n,).
    """

    running: Samples
    clicks: Samples


def voices(course: MinuteCourse, turning: Turning, noises: tuple[TrueNoise, ...], rate_hz: int, seed: int) -> Voices:
    """Sound a minute.

    Arguments:
        course: what happens.
        turning: how fast.
        noises: what squeals and knocks.
        rate_hz: samples per second.
        seed: decides the colour of every voice.
    """
    machine, count = course.machine, round(course.spells[-1].end_s * rate_hz)
    running = np.zeros(count)
    # A colour of its own for each name, so that one part more or less does not change how the others sound.
    for at, (name, rotor) in enumerate(machine.rotors.items()):
        draws = np.random.default_rng([seed, 30, at])
        if rotor.kind == "motor":
            _add(running, _motor(course, turning, rotor, rate_hz, count, draws))
        elif rotor.kind in LEVEL and (
            rotor.kind == "gear" or shaft(machine, name) == name or rotor.kind == "reel_table"
        ):
            _add(running, _rotor(turning, rotor, rate_hz, count, draws))
    for at, name in enumerate(machine.couplings):
        if machine.couplings[name].kind == "belt":
            _add(running, _belt(turning, name, rate_hz, count, np.random.default_rng([seed, 31, at])))
    for at, one in enumerate(noises):
        _sound_noise(running, machine, turning, one, rate_hz, np.random.default_rng([seed, 32, at]))
    clicks = np.zeros(count)
    for at, click in enumerate(course.clicks):
        _click(clicks, machine, click, rate_hz, np.random.default_rng([seed, 33, at]))
    body = _body(rate_hz, np.random.default_rng([seed, 34]))
    return Voices(signal.oaconvolve(running, body)[:count], signal.oaconvolve(clicks, body)[:count])


def _add(total: Samples, placed: tuple[int, Samples] | None) -> None:
    if placed is not None:
        start, more = placed
        total[start : start + len(more)] += more[: len(total) - start]


def _body(rate_hz: int, draws: np.random.Generator) -> Samples:
    """Draw what the case does to every sound in it: the sound itself and a few resonances that ring shortly."""
    times = np.arange(round(0.02 * rate_hz)) / rate_hz
    found = np.zeros(len(times))
    found[0] = 1.0
    for frequency in np.exp(draws.uniform(np.log(180.0), np.log(3000.0), 6)):
        ringing = np.exp(-times * np.pi * frequency / draws.uniform(3.0, 9.0))
        found += draws.uniform(0.2, 0.8) * ringing * np.sin(2 * np.pi * frequency * times) * frequency / rate_hz * 2
    return found


# --- what turns -------------------------------------------------------------------------------------------------------


def _running(turning: Turning, name: str, rate_hz: int, count: int) -> tuple[int, Samples, Samples] | None:
    """Give where something first turns, its rate from there until it last turns, and its angle in turns."""
    grid = turning.rates_hz[name]
    turns = np.flatnonzero(grid > 0.0)
    if not len(turns):
        return None
    start = round(max(turns[0] - 1, 0) / GRID_HZ * rate_hz)
    end = min(round((turns[-1] + 2) / GRID_HZ * rate_hz), count)
    rate = np.interp(np.arange(start, end) / rate_hz, turning.times_s, grid)
    return start, rate, np.cumsum(rate) / rate_hz


def _louder(kind: str, rate: Samples) -> Samples:
    return np.asarray(LEVEL[kind] * (rate / AT_HZ[kind]) ** GROWS[kind])


def _orders(rotor: Rotor, draws: np.random.Generator) -> dict[float, float]:
    """Draw how strongly each multiple of a motor's rate sounds: imbalance low down, commutator and poles above."""
    beats = 2 * rotor.segments if rotor.segments % 2 else rotor.segments
    beats = beats or POLES
    found = {1.0: draws.uniform(0.5, 1.0), 2.0: draws.uniform(0.3, 0.9), 3.0: draws.uniform(0.1, 0.5)}
    strong = {
        float(beats): 1.0,
        2.0 * beats: 0.6,
        3.0 * beats: 0.35,
        4.0 * beats: 0.25,
        float(rotor.segments or 4): 0.5,
    }
    for order, usual in strong.items():
        found[order] = found.get(order, 0.0) + usual * float(np.exp(0.4 * draws.standard_normal()))
    for order in (4.0, 5.0, beats - 1.0, beats + 1.0):
        found.setdefault(order, draws.uniform(0.03, 0.15))
    return {order: float(size) for order, size in sorted(found.items())}


def _motor(
    course: MinuteCourse, turning: Turning, rotor: Rotor, rate_hz: int, count: int, draws: np.random.Generator
) -> tuple[int, Samples] | None:
    orders, loudness = _orders(rotor, draws), draws.uniform(0.6, 1.3)
    placed = _running(turning, rotor.name, rate_hz, count)
    if placed is None:
        return None
    start, rate, turned = placed
    labours = any(told.heard.get(rotor.name) == "labours" for told in course.told.values())
    total = np.zeros(len(rate))
    for order, size in orders.items():
        stronger = LABOURS if labours and order > 3 else 1.0
        here = order * rate < 0.45 * rate_hz
        total += stronger * size * here * np.sin(2 * np.pi * (order * turned + draws.random()))
    beats = max((order for order in orders if order > 3), key=lambda order: orders[order])
    hiss = _band(draws.standard_normal(len(rate)), 800.0, 6000.0, rate_hz)
    total += 0.25 * hiss * (1.0 + 0.5 * np.sin(2 * np.pi * beats * turned))
    return start, np.asarray(loudness * _louder("motor", rate) * total / 1.5)


def _rotor(
    turning: Turning, rotor: Rotor, rate_hz: int, count: int, draws: np.random.Generator
) -> tuple[int, Samples] | None:
    """Sound a reel table, flywheel, tyre or gear: a rustle that swells once or thrice a turn; a gear's mesh."""
    loudness, thrice, phase = draws.uniform(0.5, 1.5), draws.uniform(0.1, 0.3), draws.random()
    low, high = (300.0, 4500.0) if rotor.kind == "reel_table" else (120.0, 1200.0)
    placed = _running(turning, rotor.name, rate_hz, count)
    if placed is None:
        return None
    start, rate, turned = placed
    swell = 1.0 + 0.3 * np.sin(2 * np.pi * (turned + phase)) + thrice * np.sin(6 * np.pi * turned)
    total = _band(draws.standard_normal(len(rate)), low, high, rate_hz) * swell
    if rotor.teeth:
        mesh = sum(np.sin(2 * np.pi * k * rotor.teeth * turned) / k for k in (1, 2, 3))
        total = total * 0.5 + mesh * (1.0 + 0.2 * np.sin(2 * np.pi * turned)) * (3 * rotor.teeth * rate < 0.4 * rate_hz)
    return start, np.asarray(loudness * _louder(rotor.kind, rate) * total)


def _belt(
    turning: Turning, name: str, rate_hz: int, count: int, draws: np.random.Generator
) -> tuple[int, Samples] | None:
    """Sound the flap of a belt: a soft stroke of its joint once a pass."""
    phase, loudness = draws.random(), draws.uniform(0.4, 1.4)
    placed = _running(turning, name, rate_hz, count)
    if placed is None:
        return None
    start, rate, turned = placed
    stroke = np.exp(8.0 * (np.cos(2 * np.pi * (turned + phase)) - 1.0))
    soft = _band(draws.standard_normal(len(rate)), 100.0, 700.0, rate_hz)
    return start, np.asarray(loudness * _louder("belt", rate) * soft * stroke * 2.0)


def _band(noise: Samples, low_hz: float, high_hz: float, rate_hz: int) -> Samples:
    """Keep a band of white noise, at an rms of 1."""
    sections = signal.butter(2, (low_hz, min(high_hz, 0.45 * rate_hz)), "bandpass", fs=rate_hz, output="sos")
    kept = np.asarray(signal.sosfilt(sections, noise), dtype=np.float64)
    share = 2 * (min(high_hz, 0.45 * rate_hz) - low_hz) / rate_hz
    return np.asarray(kept / np.sqrt(share), dtype=np.float64)


# --- what squeals, knocks, rubs and clicks ----------------------------------------------------------------------------


def _sound_noise(
    total: Samples, machine: Machine, turning: Turning, one: TrueNoise, rate_hz: int, draws: np.random.Generator
) -> None:
    start, end = round(one.start_s * rate_hz), min(round(one.end_s * rate_hz), len(total))
    times = np.arange(start, end) / rate_hz
    coupling = machine.couplings.get(one.part)
    rotor = one.part if coupling is None or coupling.kind == "belt" else coupling.path[1]
    grid = turning.rates_hz.get(rotor)
    rate = np.full(len(times), one.rate_hz) if grid is None else np.interp(times, turning.times_s, grid)
    turned = np.cumsum(rate) / rate_hz + draws.random()
    if one.frequency_hz is not None:
        total[start:end] += _squeal(one, times - times[0] if len(times) else times, turned, rate_hz, draws)
    elif one.kind == "rub":
        swell = np.clip(0.5 + 0.8 * np.cos(2 * np.pi * turned), 0.0, None)
        total[start:end] += RUBBING_RMS * 1.5 * swell * _band(draws.standard_normal(len(times)), 500.0, 5000.0, rate_hz)
    else:
        peak = (KNOCK_PEAK if one.kind == "knock" else THUMP_PEAK) * draws.uniform(0.8, 1.25)
        ring = _ring(rate_hz, draws, 1500.0 if one.kind == "knock" else 250.0)
        for at in np.flatnonzero(np.diff(np.floor(turned)) > 0):
            stroke = peak * draws.uniform(0.7, 1.3) * ring[: len(total) - start - at]
            total[start + at : start + at + len(stroke)] += stroke


def _squeal(one: TrueNoise, times_s: Samples, turned: Samples, rate_hz: int, draws: np.random.Generator) -> Samples:
    """Sound a squeal: a stick-slip tone with its harmonics that swells as the part turns."""
    assert one.frequency_hz is not None
    loud = (SQUEAL_RMS if one.kind == "squeal" else CHIRP_RMS) * draws.uniform(0.8, 1.5)
    swell = 0.65 + 0.35 * np.cos(2 * np.pi * turned)
    pitch = one.frequency_hz * (1.0 + 0.004 * np.cos(2 * np.pi * turned + 1.0))
    phase = 2 * np.pi * np.cumsum(pitch) / rate_hz
    tone = np.zeros(len(times_s))
    for order, size in ((1, 1.0), (2, 0.3), (3, 0.12)):
        if order * one.frequency_hz < 0.45 * rate_hz:
            tone += size * np.sin(order * phase)
    edge = np.minimum(np.minimum(times_s, times_s[-1] - times_s) / 0.03, 1.0) if len(times_s) else times_s
    return np.asarray(loud * np.sqrt(2.0) * swell * tone * edge)


def _ring(rate_hz: int, draws: np.random.Generator, about_hz: float) -> Samples:
    times = np.arange(round(0.04 * rate_hz)) / rate_hz
    total = np.zeros(len(times))
    for share in (1.0, 1.7, 2.9):
        frequency = about_hz * share * draws.uniform(0.8, 1.25)
        total += np.sin(2 * np.pi * frequency * times) * np.exp(-times * frequency / draws.uniform(3.0, 8.0)) / share
    return total


def _click(total: Samples, machine: Machine, click: TrueClick, rate_hz: int, draws: np.random.Generator) -> None:
    of = (
        "solenoid" if click.of in machine.solenoids else "head_base" if click.of == machine.head_base.name else click.of
    )
    soft = 0.35 if of == "key" and machine.head_base.lifted_by != "keys" else 1.0
    start = round(click.at_s * rate_hz)
    for later_s, share in ((0.0, 1.0), (draws.uniform(0.008, 0.03), draws.uniform(0.2, 0.7))):
        ring = soft * share * CLICK_PEAK[of] * _ring(rate_hz, draws, draws.uniform(300.0, 1500.0))
        ring[: round(0.003 * rate_hz)] += (
            share * draws.standard_normal(round(0.003 * rate_hz)) * CLICK_PEAK[of] * 0.3 * soft
        )
        at = start + round(later_s * rate_hz)
        kept = ring[: max(0, len(total) - at)]
        total[at : at + len(kept)] += kept
