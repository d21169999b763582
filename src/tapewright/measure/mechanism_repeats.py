"""Knocks and rubbing: what comes back at a steady rate in the loudness of the noise above the motors' lines."""

from typing import Final

import numpy as np

from tapewright.measure.mechanism_comb import MOST, evidence, rate_grid
from tapewright.measure.mechanism_frames import Array, background
from tapewright.measure.mechanism_trust import comb_scores, decoy_scores, trusted
from tapewright.words.mechanism_heard import Knock, Rubbing
from tapewright.words.reading import Reading

LOWEST_HZ, HIGHEST_HZ = 0.25, 16.0
ORDERS: Final = (1.0, 2.0, 3.0, 4.0)
SHORTEST_S: Final = 3.0
TURNS: Final = 4.0
"""What comes back fewer times than this in a stretch has no rate."""
SURE_ENOUGH: Final = 0.9
SHARP: Final = 0.3
"""A knock is loud for less than this share of its round."""
LEAST_DB: Final = 1.0


def repeats_in(levels: Array, step_s: float, start_s: float, end_s: float) -> tuple[list[Knock], list[Rubbing]]:
    """Look in one stretch for what comes back.

    Arguments:
        levels: level over time, dB, shape (n,): of the whole recording.
        step_s: from value to value.
        start_s: of the stretch.
        end_s: of the stretch.
    """
    row = levels[round(start_s / step_s) : round(end_s / step_s)]
    lasts = len(row) * step_s
    if lasts < SHORTEST_S:
        return [], []
    flat = _flattened(row, step_s)
    padded = 1 << int(np.ceil(np.log2(4 * len(flat))))
    power = np.abs(np.fft.rfft(flat * np.hanning(len(flat)), padded)) ** 2
    bin_hz = 1.0 / (padded * step_s)
    power = power[: int(HIGHEST_HZ * ORDERS[-1] / bin_hz) + 1][None, :].astype(np.float32)
    low_hz = max(LOWEST_HZ, TURNS / lasts)
    around = background(power, bin_hz, 4.0 / lasts, block_hz=max(2.0, 24.0 / lasts))
    said = evidence(np.asarray(power / around, dtype=np.float32))[0].astype(np.float64)
    said[: int(0.7 * low_hz / bin_hz)] = 0.0
    rates = rate_grid(low_hz, HIGHEST_HZ, ORDERS, bin_hz)
    scores = comb_scores(said, rates, np.array(ORDERS), bin_hz)
    # The lowest rate whose own line speaks: every half of it would score as well.
    own = said[np.rint(rates / bin_hz).astype(int)] > 0.3 * MOST
    best = int(np.argmax(np.where(own, scores, -1.0)))
    if not own.any():
        return [], []
    rate = float(rates[best])
    rest = said.copy()
    for order in range(1, int(len(said) * bin_hz / rate) + 1):
        at, reach = round(order * rate / bin_hz), max(1, round(3.0 / lasts / bin_hz))
        rest[max(0, at - reach) : at + reach + 1] = 0.0
    trust = trusted(float(scores[best]), decoy_scores(rest, ORDERS, (low_hz, HIGHEST_HZ), bin_hz), len(ORDERS))
    strength, sharp = _folded(flat, step_s, rate)
    if trust.sure < SURE_ENOUGH or strength < LEAST_DB:
        return [], []
    strong = float(power[0, round(rate / bin_hz)] / around[0, round(rate / bin_hz)])
    doubt = 1.96 * np.sqrt(6.0 / max(strong, 1.0)) / (np.pi * lasts) + bin_hz
    reading = Reading(rate, "Hz", float(doubt), method="spectrum of the loudness from 2 kHz on")
    if sharp < SHARP:
        return [Knock(start_s, end_s, reading, strength, trust.sure)], []
    return [], [Rubbing(start_s, end_s, reading, trust.sure)]


def _flattened(row: Array, step_s: float) -> Array:
    """Take slow changes out, and cut what sounds once: a key is no knock."""
    wide = max(3, round(2.0 / step_s))
    kernel = np.ones(wide) / wide
    flat = row - np.convolve(np.pad(row, wide // 2, mode="edge"), kernel, mode="same")[wide // 2 : wide // 2 + len(row)]
    flat = flat - np.median(flat)
    spread = 1.4826 * float(np.median(np.abs(flat)))
    return np.asarray(np.clip(flat, -6.0 * spread - 1e-9, 12.0 * spread + 1e-9))


def _folded(flat: Array, step_s: float, rate_hz: float, places: int = 24) -> tuple[float, float]:
    """Lay all rounds over one another: how far the loudness rises, dB, and for what share of a round."""
    place = (np.arange(len(flat)) * step_s * rate_hz * places).astype(int) % places
    total = np.bincount(place, flat, places) / np.maximum(np.bincount(place, minlength=places), 1)
    rise = float(total.max() - np.median(total))
    return rise, float(np.mean(total > np.median(total) + rise / 2.0))
