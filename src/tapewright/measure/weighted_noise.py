"""Noise of a silent section, A-weighted and by ITU-R BS.468, against a reference level."""

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.settled import SURE
from tapewright.standards.iec_61672 import a_weighting_response
from tapewright.standards.itu_bs468 import SETTLING_S, quasi_peak
from tapewright.standards.weighting import weighted_samples
from tapewright.words.reading import Reading

LEAST_S: Final = 1.0
LEAST_QUASI_PEAK_S: Final = SETTLING_S + 1.0
LEAST_RATE_HZ: Final = 44000.0
"""Below, part of the band that counts is not in the file."""
PARTS: Final = 32
POINTER_S: Final = 0.3
"""The pointer's own memory: values nearer together than this say the same."""
FULL_SCALE_SINE: Final = math.sqrt(0.5)


def _refused(samples: NDArray[np.float64], rate_hz: float, least_s: float) -> str | None:
    if len(samples) < least_s * rate_hz:
        return f"The silence lasts {len(samples) / rate_hz:.1f} s; {least_s:g} s are needed."
    if rate_hz < LEAST_RATE_HZ:
        return f"{rate_hz:.0f} samples a second leave out part of the band that counts; 44100 are needed."
    return None


def a_weighted_noise(
    samples: NDArray[np.float64], rate_hz: float, reference_db: NDArray[np.float64] | None = None
) -> tuple[Reading, ...]:
    """Give the A-weighted noise of each track, root mean square, dB re the reference level.

    Arguments:
        samples: shape (n, tracks), nothing recorded on it.
        rate_hz: samples per second.
        reference_db: what the reference level reads on each track, dB re full scale; None for full scale itself.

    >>> tone = 0.001 * np.sin(2 * np.pi * 1000 * np.arange(96000) / 48000)[:, None]
    >>> round(a_weighted_noise(tone, 48000.0)[0].value, 1)
    -60.0
    """
    refused = _refused(samples, rate_hz, LEAST_S)
    if refused is not None:
        return tuple(Reading(None, "dB", why_not=refused) for _ in range(samples.shape[1]))
    weighted, _ = weighted_samples(samples, rate_hz, a_weighting_response)
    count = len(weighted) // PARTS
    powers = np.square(weighted[: count * PARTS]).reshape(PARTS, count, -1).mean(axis=1)
    method = "A-weighting of IEC 61672-1, root mean square"
    return _over_reference(
        np.sqrt(powers.mean(axis=0)), _spread(powers, PARTS) / 2.0, reference_db, method, samples, rate_hz
    )


def quasi_peak_noise(
    samples: NDArray[np.float64], rate_hz: float, reference_db: NDArray[np.float64] | None = None
) -> tuple[Reading, ...]:
    """Give the noise of each track by ITU-R BS.468, quasi-peak, dB re the reference level; arguments as above.

    The mean of what the pointer shows once it has settled.
    """
    refused = _refused(samples, rate_hz, LEAST_QUASI_PEAK_S)
    if refused is not None:
        return tuple(Reading(None, "dB", why_not=refused) for _ in range(samples.shape[1]))
    shown, shown_hz = quasi_peak(samples, rate_hz)
    settled = shown[int(SETTLING_S * shown_hz) :]
    parts = max(2, int(len(settled) / shown_hz / POINTER_S))
    count = len(settled) // parts
    means = settled[: count * parts].reshape(parts, count, -1).mean(axis=1)
    method = "ITU-R BS.468-4, weighted, quasi-peak"
    return _over_reference(settled.mean(axis=0), _spread(means, parts), reference_db, method, samples, rate_hz)


def _spread(parts: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """Give the 95 % half width of a mean of parts, ratio to it."""
    from_parts = SURE if count >= PARTS else SURE * (1.0 + 2.0 / count)
    return np.asarray(from_parts * parts.std(axis=0, ddof=1) / np.sqrt(count) / np.maximum(parts.mean(axis=0), 1e-30))


def _over_reference(
    size: NDArray[np.float64],
    spread: NDArray[np.float64],
    reference_db: NDArray[np.float64] | None,
    method: str,
    samples: NDArray[np.float64],
    rate_hz: float,
) -> tuple[Reading, ...]:
    against = np.zeros(len(size)) if reference_db is None else reference_db
    said = f"{len(samples) / rate_hz:.1f} s, re {'full scale' if reference_db is None else 'the reference level'}"
    readings = []
    for each, wide, reference in zip(size.tolist(), spread.tolist(), against.tolist(), strict=True):
        if each <= 0.0:
            readings.append(Reading(None, "dB", why_not="The samples are all nought: nothing was captured here."))
        elif not math.isfinite(reference):
            readings.append(Reading(None, "dB", why_not="The reference level was not read on this track."))
        else:
            value = 20.0 * math.log10(each / FULL_SCALE_SINE) - reference
            readings.append(Reading(value, "dB", 20.0 / math.log(10.0) * wide, method=method, conditions=said))
    return tuple(readings)


__all__ = ["a_weighted_noise", "quasi_peak_noise"]
