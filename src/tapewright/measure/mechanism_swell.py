"""How a squeal swells: what rubs once a turn is louder once a turn, and a motor's own line is not."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from tapewright.measure.mechanism_frames import Array, Sound, laid_over
from tapewright.words.reading import Reading

STEP_S: Final = 0.01
WIDE, LEAST_HZ = 0.015, 40.0
"""Half of the band around a pitch that is followed: a squeal's pitch moves with its load."""
SHORTEST_S: Final = 1.0
ROUNDS: Final = 3.0
SLOWEST_HZ, FASTEST_HZ = 2.0, 16.0
"""Slower than this a motor comes up, or one squeal follows another; what swells faster hums."""
PLAIN: Final = 40.0
"""So far, as power, a swelling's line stands above its surroundings: in tuning minutes no motor's line came to it at
2 Hz and more; most came to 10."""
LEAST_DB: Final = 3.0
BESIDE_PLAIN: Final = 8.0
PLACES: Final = 16
FITS: Final = 0.95
SWELLS: Final = "spectrum of its level"
FROM_SWELL, UNSTEADILY = "from swell to swell", "from swell to swell, unsteadily"
"""How the rate was found where the level has no line: what slips turns by fits and starts."""
LAGS: Final = 60
PIECE_S: Final = 0.15
ENDS: Final = 2
MOST_DB: Final = 8.0
STEADY: Final = 0.6
"""Where one swell is so like the next the rate is steady: in tuning minutes 0.7 and more, and below 0.35 of most that
slipped."""
SHORTEST_LAG: Final = 3
NEXT_TROUGH: Final = 0.85
"""What turns by fits and starts has its trough early: over a half round at its quickest. By so much less it turns."""
UNSTEADY_SHARE, STEADY_SHARE = 0.4, 0.1
LEAST_TROUGH: Final = 0.1


def level_of(sound: Sound, pitch_hz: float, start_s: float, end_s: float) -> tuple[Array, Array]:
    """Follow how loud one pitch is.

    Arguments:
        sound: at its own sample rate.
        pitch_hz: which.
        start_s: from when.
        end_s: until when.

    Returns:
        Times, seconds, and levels, dB against full scale; shape (n,) each.
    """
    rate = sound.rate_hz
    first, last = max(0, round(start_s * rate)), min(len(sound.samples), round(end_s * rate))
    at = np.arange(first, last)
    moved = sound.samples[first:last].astype(np.float64) * np.exp(-2j * np.pi * pitch_hz / rate * at)
    wide_hz = max(LEAST_HZ, WIDE * pitch_hz)
    narrow = signal.sosfilt(signal.butter(3, wide_hz, fs=rate, output="sos"), moved)
    step = max(1, round(STEP_S * rate))
    count = len(narrow) // step
    power = np.mean(np.abs(narrow[: count * step].reshape(count, step)) ** 2, axis=1)
    times = first / rate + (np.arange(count) + 0.5) * step / rate
    return np.asarray(times, dtype=np.float64), np.asarray(10.0 * np.log10(power + 1e-14), dtype=np.float64)


def swells(levels_db: Array) -> tuple[Reading, float]:
    """Say how often a second a level swells, and by how many dB from trough to peak.

    Arguments:
        levels_db: every `STEP_S`, shape (n,).
    """
    lasts = len(levels_db) * STEP_S
    if lasts < SHORTEST_S:
        return Reading(None, "Hz", why_not="It is too short to tell how often it swells."), 0.0
    flat = levels_db - _smoothed(levels_db)
    power = np.abs(np.fft.rfft(flat * np.hanning(len(flat)), 4 * len(flat))) ** 2
    rates = np.fft.rfftfreq(4 * len(flat), STEP_S)
    low_hz = max(SLOWEST_HZ, ROUNDS / lasts)
    inside = (rates > low_hz) & (rates < FASTEST_HZ)
    at = int(np.argmax(np.where(inside, power, 0.0)))
    around = float(np.median(power[rates > 0.5])) / np.log(2.0)
    # A swelling of amplitude A in n values stands at (A n / 4)**2 under Hann's window.
    depth = 8.0 * float(np.sqrt(power[at])) / len(flat)
    top = power[at] > power[at - 1] and power[at] >= power[min(at + 1, len(power) - 1)]
    if not top or power[at] < PLAIN * max(around, 1e-12) or depth < LEAST_DB:
        return Reading(None, "Hz", why_not="It does not swell and fade at a steady rate."), depth
    return Reading(float(rates[at]), "Hz", 0.3 / lasts, method=SWELLS), depth


def comes_round(levels_db: Sequence[Array]) -> Reading:
    """Say how often a second something swells, from the likeness of its level to itself a while later.

    Short pieces serve, each with two swells or more, and a rate that wavers, of which a spectrum shows no line: the
    level is least like itself half a round later. How often it does so is then known to two fifths.

    Arguments:
        levels_db: of each piece, every `STEP_S`, shape (n,) each.
    """
    alike, most = np.zeros(LAGS), np.zeros(LAGS)
    for level in levels_db:
        flat = level[ENDS:-ENDS]
        if len(flat) * STEP_S < PIECE_S:
            continue
        flat = np.clip(flat - (_smoothed(flat, 40) if len(flat) >= LAGS else flat.mean()), -MOST_DB, MOST_DB)
        for lag in range(min(LAGS, len(flat) - ENDS)):
            early, late = flat[: len(flat) - lag], flat[lag:]
            alike[lag] += float(early @ late)
            most[lag] += float(np.sqrt((early @ early) * (late @ late)))
    like = np.where(most > 0.0, alike / np.maximum(most, 1e-9), 0.0)
    rises = np.flatnonzero(np.diff(like) > 0.0)
    trough = int(rises[0]) if len(rises) else 0
    if trough < SHORTEST_LAG or like[trough] > -LEAST_TROUGH:
        return Reading(None, "Hz", why_not="It does not swell and fade.")
    peak = trough + int(np.argmax(like[trough : 3 * trough]))
    if like[peak] > STEADY and peak < min(LAGS, 3 * trough) - 1:
        rate = 1.0 / (peak * STEP_S)
        return Reading(rate, "Hz", rate * (STEADY_SHARE + 0.5 / peak), method=FROM_SWELL)
    rate = NEXT_TROUGH / (2.0 * trough * STEP_S)
    return Reading(rate, "Hz", UNSTEADY_SHARE * rate, method=UNSTEADILY)


def depth_at(levels_db: Array, rate_hz: float) -> float:
    """Give how far a level swells at one rate, dB from trough to peak; 0.0 where that is no more than its surroundings.

    Arguments:
        levels_db: every `STEP_S`, shape (n,).
        rate_hz: how often a second.
    """
    flat = levels_db - _smoothed(levels_db)
    at = np.arange(len(flat)) * STEP_S
    window = np.hanning(len(flat))
    near = rate_hz + np.linspace(-0.5, 0.5, 5) / (len(flat) * STEP_S)
    size = np.abs(np.exp(-2j * np.pi * near[:, None] * at[None, :]) @ (flat * window))
    power = np.abs(np.fft.rfft(flat * window)) ** 2
    around = float(np.median(power[2:])) / np.log(2.0) if len(power) > 4 else 0.0
    best = float(size.max())
    return 8.0 * best / len(flat) if best**2 > BESIDE_PLAIN * around else 0.0


def steepness(levels_db: Array, rate_hz: float) -> float:
    """Give how much steeper a level rises than it falls, all rounds laid over one another: a stroke rises at once.

    Where the rounds do not fit over one another, as of a reel that changes its rate, it is 1.0: nothing can be told.

    Arguments:
        levels_db: every `STEP_S`, shape (n,).
        rate_hz: how often a second it comes round.
    """
    (round_db,) = laid_over(levels_db[None, :], STEP_S, rate_hz, PLACES)
    if np.ptp(round_db) < FITS * swells(levels_db)[1]:
        return 1.0
    steps = np.diff(np.append(round_db, round_db[0]))
    return float(steps.max() / max(-steps.min(), 1e-9))


def _smoothed(levels_db: Array, most: int = 200) -> Array:
    wide = min(len(levels_db) - 1, most) // 2 * 2 + 1
    padded = np.pad(levels_db, wide // 2, mode="edge")
    kept: NDArray[np.float64] = np.convolve(padded, np.ones(wide) / wide, mode="valid")
    return kept[: len(levels_db)]
