"""The loudness of a mechanism in bands over time: filtered once, for clicks and for what comes back or falters."""

from typing import Final

import numpy as np
from scipy import signal

from tapewright.measure.mechanism_frames import Array, Sound

BANDS_RATE_HZ: Final = 16000.0
"""Sample rate that holds all bands."""
STEP_S: Final = 0.005
BANDS_HZ: Final = ((200.0, 500.0), (500.0, 1000.0), (1000.0, 2000.0), (2000.0, 4000.0), (4000.0, 7600.0))
LOW, HIGH = slice(0, 2), slice(3, 5)
"""A lump thumps below; what knocks, rubs or hisses is heard above, where flywheels and belts are silent."""
OCTAVES: Final = slice(1, 5)
"""A click is loud in every octave at once."""


def band_powers(sound: Sound) -> tuple[Array, float]:
    """Give the power of each band over time, full scale 1, shape (bands, steps); and the step in seconds.

    Bands that the sample rate does not hold are left out.
    """
    step = max(1, round(STEP_S * sound.rate_hz))
    rows = []
    for low, high in BANDS_HZ:
        if high > 0.49 * sound.rate_hz:
            break
        sos = signal.butter(3, (low, high), "bandpass", fs=sound.rate_hz, output="sos")
        passed = signal.sosfilt(sos, sound.samples)
        count = len(passed) // step
        rows.append(np.mean(passed[: count * step].reshape(count, step) ** 2, axis=1))
    held = np.array(rows) if rows else np.zeros((0, len(sound.samples) // step))
    return np.maximum(held, 1e-13), step / sound.rate_hz


def octave_levels(powers: Array) -> Array:
    """Give the level of each octave over time, dB against full scale, shape (octaves, steps).

    Arguments:
        powers: from `band_powers`.
    """
    return np.asarray(10.0 * np.log10(np.maximum(powers[OCTAVES], 1e-12)))
