"""The moment at which something begins or ends to sound, to a tenth of a second.

One change of level in a stretch of powers: the place at which two levels explain it best (a likelihood ratio, as in
Hinkley 1970). Powers in noise are exponential, so the level's logarithm is what counts.
"""

from typing import Final

import numpy as np

from tapewright.measure.mechanism_frames import Array, Sound, cut_into

SHORT_S: Final = 0.08
STEP_S: Final = 0.01
REACH_S: Final = 0.6
SPINS_UP_S: Final = 0.8
"""A motor takes no longer to come up to its rate, with a flywheel to turn; from memory."""
BEFORE_S: Final = 0.8
RISES_TO: Final = 1.3
"""The whole band has to rise to this for a beginning to be read from it."""


def one_change(powers: Array, least: int = 6) -> int:
    """Give the place at which a row of powers changes its level, the first value of the new one.

    Arguments:
        powers: shape (n,), positive.
        least: values that each side has at least.

    >>> one_change(np.array([1.0] * 20 + [4.0] * 30))
    20
    """
    count = len(powers)
    if count < 2 * least:
        return count // 2
    total = np.cumsum(np.maximum(powers, 1e-20))
    at = np.arange(least, count - least + 1)
    before = total[at - 1] / at
    after = (total[-1] - total[at - 1]) / (count - at)
    cost = at * np.log(before) + (count - at) * np.log(after)
    return int(at[int(np.argmin(cost))])


def edge_near(sound: Sound, about_s: float, lines_hz: Array, earliest_s: float, latest_s: float) -> float:
    """Give the moment near which a set of lines begins or ends.

    Arguments:
        sound: thinned.
        about_s: where it was found to be, to half a second.
        lines_hz: the lines that sound on the one side, shape (n,).
        earliest_s: nothing before counts: another edge of the same rotor lies there.
        latest_s: nothing after counts.
    """
    first, last = max(0.0, earliest_s, about_s - REACH_S), min(sound.duration_s, latest_s, about_s + REACH_S)
    length, step = round(SHORT_S * sound.rate_hz), round(STEP_S * sound.rate_hz)
    low, high = round(first * sound.rate_hz), round(last * sound.rate_hz)
    if high - low < 3 * length or not len(lines_hz):
        return about_s
    cut = cut_into(sound.samples[low:high], length, step).astype(np.float64)
    turned = 2.0 * np.pi * np.outer(np.arange(length) / sound.rate_hz, lines_hz)
    window = np.hanning(length + 1)[:-1, None]
    power = (cut @ (window * np.cos(turned))) ** 2 + (cut @ (window * np.sin(turned))) ** 2
    # Each line against its own level, so that the loudest does not speak alone.
    place = one_change(np.sum(power / np.maximum(np.median(power, axis=0), 1e-20), axis=1))
    return float(first + (place * step + length / 2) / sound.rate_hz)


def spin_up_before(sound: Sound, start_s: float, top_hz: float, earliest_s: float) -> float:
    """Give the moment at which a motor was switched on, whose lines stand still from another moment on.

    While it comes up to its rate its lines sweep through all that lies below: the whole band rises. Gives `start_s`
    where it does not.

    Arguments:
        sound: thinned.
        start_s: from when on the lines stand still.
        top_hz: the highest of them.
        earliest_s: nothing before counts.
    """
    length, step = round(SHORT_S * sound.rate_hz), round(STEP_S * sound.rate_hz)
    first = max(0.0, earliest_s, start_s - SPINS_UP_S - BEFORE_S)
    low, high = round(first * sound.rate_hz), round((start_s + 0.1) * sound.rate_hz)
    if high - low < 6 * length or start_s - first < BEFORE_S:
        return start_s
    cut = cut_into(sound.samples[low:high], length, step)
    power = np.abs(np.fft.rfft(cut * np.hanning(length + 1)[:-1], axis=1)) ** 2
    bins = slice(max(1, round(30.0 * length / sound.rate_hz)), max(4, round(top_hz * length / sound.rate_hz)))
    count = max(8, round(0.5 * BEFORE_S / STEP_S))
    # Each frequency against what it was before, so that what runs already says nothing.
    usual = np.mean(power[:count, bins], axis=0)
    rise = np.mean(np.minimum(power[:, bins] / np.maximum(usual, 1e-20), 30.0), axis=1)
    place = one_change(rise)
    if rise[place:].mean() < RISES_TO * rise[:place].mean():
        return start_s
    return min(start_s, float(first + (place * step + length / 2) / sound.rate_hz))
