"""Tell a second tone close by from flutter: its beat stands in amplitude and in phase alike, on one side only."""

from typing import Final

import numpy as np
from scipy import ndimage, signal

from tapewright.measure.follow import Followed

ONE_SIDED: Final = 10.0
"""Least ratio of the two sidebands' power for a beat; flutter and changes of level each have two equal ones."""
SEARCHED_S: Final = 180.0
"""So much of the tone's beginning is searched."""
REFUSE_ABOVE: Final = 0.1
"""A second tone less than 20 dB down feigns flutter of the size of real flutter."""


def beat(tone: Followed) -> tuple[float, float] | None:
    """Find the strongest second tone 5 to 200 Hz from the tone: how far off, hertz, and its size, ratio to the tone.

    Arguments:
        tone: from `followed`.

    Returns:
        None when nothing one-sided stands out. The logarithm of tone plus second tone has one sideband alone (its power
        series holds only turns of one sign), which is the test; closed form of our own.
    """
    part = slice(0, int(SEARCHED_S * tone.rate_hz))
    phase, envelope = tone.phase_rad[part], tone.envelope[part]
    bad = ~np.isfinite(phase) | (envelope < 0.05)
    length = min(len(bad), 4096)
    if length < 512 or bad.mean() > 0.5:
        return None
    at = np.arange(len(bad))
    phase = np.interp(at, at[~bad], phase[~bad])
    level = np.interp(at, at[~bad], np.log(envelope[~bad]))
    slow = ndimage.uniform_filter1d(phase, int(tone.rate_hz / 4.0))
    both = level - level.mean() + 1j * (phase - slow)
    frequency, density = signal.welch(both, tone.rate_hz, nperseg=length, return_onesided=False, scaling="spectrum")
    near = (np.abs(frequency) >= 5.0) & (np.abs(frequency) <= 200.0)
    mirrored = np.interp(-frequency, np.sort(frequency), density[np.argsort(frequency)])
    one_sided = near & (density > ONE_SIDED * mirrored)
    if not one_sided.any():
        return None
    best = int(np.argmax(np.where(one_sided, density, 0.0)))
    size = float(np.sqrt(density[best]))
    return (float(frequency[best]), size) if size > 0.02 else None
