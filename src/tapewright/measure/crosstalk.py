"""How much of one track is heard on another, told from noise by keeping step with the track that plays.

The tone of the playing track says where its own phase is at every moment, flutter and all; on the others only what
keeps step with it counts. So crosstalk is read far below the noise, and whatever noise leaves is taken out in power.
"""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.section_tone import Baseband, section_tone
from tapewright.words.reading import Reading

SEEN: Final = 3.0
"""Crosstalk counts when it is so many sigmas of its noise; below that, only how much it could be is said."""
SURE: Final = 2.04
"""Student's factor of 95 %: sixteen parts, two quarters each."""
PARTS: Final = 16
_IN_DB: Final = 20.0 / math.log(10.0)


def in_step(values: NDArray[np.complex128], carrier: NDArray[np.complex128]) -> tuple[complex, float]:
    """Give what keeps step with a carrier of size 1, and the standard deviation of either of its two quarters.

    Arguments:
        values: shape (n,).
        carrier: shape (n,), each of size 1.
    """
    crossed = values * np.conj(carrier)
    count = len(crossed) // PARTS
    parts = crossed[: count * PARTS].reshape(PARTS, count).mean(axis=1)
    spread = math.sqrt(float(np.var(parts.real, ddof=1) + np.var(parts.imag, ddof=1)) / 2.0 / PARTS)
    return complex(parts.mean()), spread


def crosstalk_ratios(tone: Baseband, source: int) -> tuple[NDArray[np.complex128], NDArray[np.float64]]:
    """Give each track over the source, with its phase, and the standard deviation of that; both shape (tracks,)."""
    playing = tone.values[:, source]
    size = np.abs(playing)
    carrier = playing / np.maximum(size, 1e-30)
    reference = max(float(np.mean(size)), 1e-30)
    read = [in_step(tone.values[:, track], carrier) for track in range(tone.values.shape[1])]
    ratios = np.array([value / reference for value, _ in read])
    spread = np.array([sigma / reference for _, sigma in read])
    ratios[source], spread[source] = 1.0, 0.0
    return ratios, spread


def crosstalk_row(samples: NDArray[np.float64], rate_hz: float, expected_hz: float, source: int) -> tuple[Reading, ...]:
    """Give how much of the track that plays alone is heard on each, dB below it.

    Arguments:
        samples: shape (n, tracks).
        rate_hz: samples per second.
        expected_hz: of the tone, within 3 %.
        source: index of the track that has it.
    """
    return crosstalk_of(section_tone(samples, rate_hz, expected_hz), source)


def crosstalk_of(tone: Baseband, source: int) -> tuple[Reading, ...]:
    """Give the same of a tone that is mixed down already; the source itself reads nothing."""
    ratios, spread = crosstalk_ratios(tone, source)
    return tuple(
        Reading(None, "dB", why_not="This is the track that plays.")
        if track == source
        else _reading(abs(complex(ratios[track])), float(spread[track]), tone)
        for track in range(len(ratios))
    )


def _reading(size: float, sigma: float, tone: Baseband) -> Reading:
    said = f"{tone.frequency_hz:.0f} Hz over {tone.seconds:.1f} s"
    method = "what keeps step with the track that plays, noise taken out"
    clean = math.sqrt(max(size**2 - 2.0 * sigma**2, 0.0))
    if size < SEEN * sigma or clean <= 0.0:
        most = 20.0 * math.log10(max(size + SURE * sigma, 1e-12))
        return Reading(
            None, "dB", why_not=f"No more than noise: less than {most:.0f} dB.", method=method, conditions=said,
            interval=(-math.inf, most),
        )  # fmt: skip
    return Reading(20.0 * math.log10(clean), "dB", _IN_DB * SURE * sigma / clean, method=method, conditions=said)


def channel_order(tones: Sequence[tuple[int, Baseband]]) -> tuple[int | None, ...]:
    """Give the channel that each track came in on, by which channel is loudest while that track plays alone.

    Arguments:
        tones: (index of the track that plays, its section's tone with channels in the order of the file).

    Returns:
        One channel for each track from 0 to the highest named; None where none stands out by 10 dB, or two claim it.
    """
    found: dict[int, int] = {}
    for track, tone in tones:
        power = np.mean(np.abs(tone.values) ** 2, axis=0)
        order = np.argsort(power)[::-1]
        if len(order) < 2 or power[order[0]] > 10.0 * power[order[1]]:
            found[track] = int(order[0])
    taken = list(found.values())
    most = max((track for track, _ in tones), default=-1) + 1
    return tuple(found[track] if track in found and taken.count(found[track]) == 1 else None for track in range(most))


def without_crosstalk(sizes: NDArray[np.complex128], ratios: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Give what each track itself reads, where all play at once: the linear mixture undone.

    Arguments:
        sizes: complex tone on each track, shape (..., tracks).
        ratios: row i, column j: of track j on track i, over track j; ones on the diagonal.

    >>> mixed = np.array([1.01 + 0j, 1.0 + 0j])
    >>> np.round(without_crosstalk(mixed, np.array([[1.0, 0.01], [0.0, 1.0]])).real, 3)
    array([1., 1.])
    """
    return np.asarray(np.linalg.solve(ratios, sizes[..., None])[..., 0], dtype=np.complex128)


__all__ = ["channel_order", "crosstalk_of", "crosstalk_ratios", "crosstalk_row", "in_step", "without_crosstalk"]
