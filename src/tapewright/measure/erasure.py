"""How much of a tone is left after it was erased, against how strong it was, told from the noise beside it."""

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.settled import SURE
from tapewright.words.reading import Reading

SPEED_ROOM: Final = 0.003
"""Flutter and drift keep an erased tone within this much of its frequency, ratio."""
ROOM_HZ: Final = 3.0
BESIDE: Final = 6.0
"""The noise is taken from so many times the tone's own band, half on either side."""
LEAST_S: Final = 1.0
SEEN: Final = 2.0
NOT_ERASED_DB: Final = -10.0
"""More than this left is no erasing; DIN 45500 part 4 asks for -60 dB."""
PIECE_S: Final = 1.0


def erasure(
    samples: NDArray[np.float64], rate_hz: float, played_hz: float, reference_db: NDArray[np.float64]
) -> tuple[Reading, ...]:
    """Give what is left of an erased tone on each track, dB below what it was.

    Arguments:
        samples: shape (n, tracks), of the erased section.
        rate_hz: samples per second.
        played_hz: where the tone would be, within 0.2 %: by the speed read elsewhere.
        reference_db: what the tone read before it was erased, dB re full scale, by `section_levels` of such a section.

    >>> draw = np.random.default_rng(1)
    >>> left = 1e-4 * np.sin(2 * np.pi * 1000 * np.arange(144000) / 48000) + 1e-4 * draw.standard_normal(144000)
    >>> round(erasure(left[:, None], 48000.0, 1000.0, np.array([-20.0]))[0].value)
    -60
    """
    seconds = len(samples) / rate_hz
    if seconds < LEAST_S:
        why = f"The erased section lasts {seconds:.2f} s; {LEAST_S:g} s are needed."
        return tuple(Reading(None, "dB", why_not=why) for _ in range(samples.shape[1]))
    power, frequency = _spectrum(samples, rate_hz)
    half_hz = ROOM_HZ + SPEED_ROOM * played_hz
    inside = np.abs(frequency - played_hz) <= half_hz
    around = (np.abs(frequency - played_hz) > half_hz) & (
        np.abs(frequency - played_hz) <= (1.0 + BESIDE / 2.0) * half_hz
    )
    # Neighbouring bins of the raised cosine share what they hold; pieces that overlap by half nearly do not.
    pieces = max(1.0, 2.0 * seconds / PIECE_S - 1.0) / 1.06
    noise = power[around].mean(axis=0) * np.count_nonzero(inside)
    own = 1.94 * np.array([1.0 / np.count_nonzero(inside), 1.0 / np.count_nonzero(around)])
    tone = power[inside].sum(axis=0) - noise
    # What is left of the tone beats with the noise that stands where it does.
    beats = 2.0 * np.maximum(tone, 0.0) * noise / (2.0 * half_hz * seconds)
    sigma = np.sqrt(noise**2 * own.sum() / pieces + beats)
    return tuple(
        _reading(float(t), float(s), float(reference), seconds)
        for t, s, reference in zip(tone, sigma, reference_db, strict=True)
    )


def _spectrum(samples: NDArray[np.float64], rate_hz: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give the mean power spectrum of pieces, scaled so that a sine's bins add up to its peak squared."""
    size = min(len(samples), int(PIECE_S * rate_hz))
    taper = np.hanning(size + 2)[1:-1, None]
    starts = range(0, len(samples) - size + 1, max(1, size // 2))
    power = np.mean([np.abs(np.fft.rfft(samples[at : at + size] * taper, axis=0)) ** 2 for at in starts], axis=0)
    frequency = np.asarray(np.fft.rfftfreq(size, 1.0 / rate_hz), dtype=np.float64)
    return np.asarray(4.0 * power / (size * np.sum(taper**2))), frequency


def _reading(power: float, sigma: float, reference_db: float, seconds: float) -> Reading:
    if not math.isfinite(reference_db):
        return Reading(None, "dB", why_not="What the tone was before it was erased was not read on this track.")
    said = f"over {seconds:.1f} s, against {reference_db:.1f} dB re full scale"
    method = "power near the tone's frequency less that of the noise beside it"
    if power < SEEN * sigma or power <= 0.0:
        most = 10.0 * math.log10(max(max(power, 0.0) + SURE * sigma, 1e-30)) - reference_db
        return Reading(None, "dB", why_not=f"Nothing is left that stands out of the noise: less than {most:.0f} dB.",
                       method=method, conditions=said, interval=(-math.inf, most))  # fmt: skip
    return Reading(10.0 * math.log10(power) - reference_db, "dB", 10.0 / math.log(10.0) * SURE * sigma / power,
                   method=method, conditions=said)  # fmt: skip


def where_erased(left: Reading) -> Reading:
    """Give what erasing left; none where all plays on as it was, for then it may never have been recorded over.

    Arguments:
        left: from `erasure`, dB.

    >>> where_erased(Reading(-0.1, "dB", 0.1)).value is None, where_erased(Reading(-62.0, "dB", 0.5)).value
    (True, -62.0)
    """
    if left.value is None or left.value <= NOT_ERASED_DB:
        return left
    return Reading(None, left.unit, why_not="What was to be erased plays on as it was: was it recorded over at all?")


__all__ = ["NOT_ERASED_DB", "erasure", "where_erased"]
