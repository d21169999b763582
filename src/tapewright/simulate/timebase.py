"""The tape's speed over time, on a machine with its faults, seeded and repeatable."""

from typing import Final

import numpy as np
from scipy import signal

from tapewright.machine.parts import Machine
from tapewright.simulate.course import Course, course, creep
from tapewright.simulate.pack import Samples
from tapewright.words.signal import Trace

BACKGROUND: Final = 1.5e-4
"""Broadband unsteadiness of any transport, rms, relative; from memory."""
BACKGROUND_HZ: Final = 20.0
"""Corner above which it falls off; from memory."""
WANDER_S: Final = 1.5
"""Time over which slip wanders; from memory."""
DIPS_PER_S: Final = 0.5
DIP_DEPTH: Final = 0.05
"""How often and how deep the speed dips where next to nothing is passed; from memory. Both go with the shortfall."""
RAMP_S: Final = 0.15
"""Time in which tape comes to a stand."""


class _Noise:
    """Noise of one time constant and unit rms, which goes on from block to block."""

    def __init__(self, rng: np.random.Generator, keep: float) -> None:
        self._rng, self._keep = rng, keep
        # It begins in the middle of its life and not at zero.
        self._state = np.array([keep * rng.standard_normal()])

    def take(self, count: int) -> Samples:
        drawn = np.sqrt(1.0 - self._keep**2) * self._rng.standard_normal(count)
        values, self._state = signal.lfilter([1.0], [1.0, -self._keep], drawn, zi=self._state)
        return np.asarray(values, dtype=np.float64)


class SpeedSource:
    """Gives the speed of the tape block by block, so that memory does not grow with length.

    Arguments:
        way: what the tape does.
        rate_hz: samples per second.
        duration_s: how long it will be asked for.
        seed: the same seed gives the same speed.
    """

    def __init__(self, way: Course, rate_hz: float, duration_s: float, seed: int) -> None:
        self._way, self._rate_hz, self._at = way, rate_hz, 0
        phases, background, wander, dips = (np.random.default_rng([seed, stream]) for stream in range(4))
        self._phases = 2 * np.pi * phases.random(len(way.lines))
        self._background = _Noise(background, float(np.exp(-2 * np.pi * BACKGROUND_HZ / rate_hz)))
        self._wander = _Noise(wander, float(np.exp(-1.0 / (WANDER_S * rate_hz))))
        count = int(dips.poisson(DIPS_PER_S * way.slips * duration_s)) if way.slips else 0
        self._dip_at_s = dips.uniform(0.0, duration_s, count)
        self._dip_s = dips.uniform(0.1, 0.6, count)
        self._dip_depth = np.minimum(0.5, dips.exponential(DIP_DEPTH * way.slips, count))

    def take(self, count: int) -> Samples:
        """Give the next speeds against what they should be, shape (count,): 1 is right, 0 stands."""
        times_s = (self._at + np.arange(count)) / self._rate_hz
        self._at += count
        if not self._way.moves:
            return np.zeros(count)
        unsteady = self._lines(times_s) + BACKGROUND * self._background.take(count)
        unsteady += self._way.wander * self._wander.take(count)
        speed = self._mean(times_s) * (1.0 + unsteady) * self._dips(times_s)
        return np.maximum(speed, 0.0) * np.clip(1.0 - (times_s - self._way.ends_s) / RAMP_S, 0.0, 1.0)

    def _mean(self, times_s: Samples) -> Samples:
        way, packs = self._way, self._way.packs
        if packs.reel_turns_per_s:
            return 2 * np.pi * packs.takeup_m(times_s) * packs.reel_turns_per_s / packs.tape.speed_m_per_s
        if way.creep_n is None:
            return np.full(len(times_s), way.ratio)
        gained = creep(way.creep_n, packs.takeup_m(times_s), packs.supply_m(times_s)) - way.creep_trimmed
        return way.ratio * (1.0 + gained)

    def _lines(self, times_s: Samples) -> Samples:
        total = np.zeros(len(times_s))
        way, ratios = self._way, dict(self._way.reel_ratio)
        turned = {supply: way.packs.turns(times_s, supply) for supply in (False, True)} if ratios else {}
        for line, phase in zip(way.lines, self._phases, strict=True):
            if line.pack and line.part in ratios:
                turns = ratios[line.part] * turned[line.pack == way.supply]
            else:
                turns = line.turns_per_s * way.turning * times_s
            total += line.peak_ratio * np.sin(2 * np.pi * line.order * turns + phase)
        return total

    def _dips(self, times_s: Samples) -> Samples:
        kept = np.ones(len(times_s))
        here = (self._dip_at_s <= times_s[-1]) & (self._dip_at_s + self._dip_s >= times_s[0])
        for at, length, depth in zip(self._dip_at_s[here], self._dip_s[here], self._dip_depth[here], strict=True):
            within = np.clip((times_s - at) / length, 0.0, 1.0)
            kept *= 1.0 - depth * np.sin(np.pi * within) ** 2
        return kept


def speed_curve(machine: Machine, duration_s: float, rate_hz: float, seed: int, position_s: float = 0.0) -> Trace:
    """Give the speed of the tape over time on a machine with its faults.

    Arguments:
        machine: with its imperfections.
        duration_s: how long.
        rate_hz: samples per second.
        seed: the same seed gives the same curve.
        position_s: how far into the side it begins, seconds.

    Returns:
        Speed against what it should be: 1 is right, 0 where the tape stands, far above 1 where it races.

    Raises:
        InputAtFaultError: when the machine has no play, or the position lies beyond the side.

    >>> from tapewright.machine.library import shipped
    >>> curve = speed_curve(shipped("four_track"), 5.0, 1000.0, seed=1)
    >>> len(curve.values), round(float(curve.values.mean()), 2)
    (5000, 1.0)
    """
    source = SpeedSource(course(machine, seed, position_s), rate_hz, duration_s, seed)
    return Trace(source.take(round(duration_s * rate_hz)), rate_hz)
