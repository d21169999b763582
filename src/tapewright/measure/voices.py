"""Which partials may be one voice's, so that one instrument's own bending is not taken for the tape's."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.partials import HOP_S, Tracks

HIGHEST_ORDER: Final = 12
LOWEST_HZ: Final = 30.0
OFF_HARMONIC: Final = 3e-3
STRETCH: Final = 1e-4
"""A string's overtones lie higher than whole multiples, by so much times the square of their order and more."""
GOES_ON_S: Final = 1.0
GOES_ON: Final = 0.03
"""A partial that begins within a second of, and 3 % from, one that broke off may be the same voice going on."""


def voices(tracks: Tracks) -> NDArray[np.intp]:
    """Say for each track which voice it may belong to, shape (tracks,).

    Arguments:
        tracks: from `Linker.tracks`.

    Partials that sound together and could be overtones of one pitch count as one voice, and so do two notes an octave
    or a fifth apart: rather too few voices than too many.
    """
    count = int(tracks.track[-1]) + 1 if len(tracks.track) else 0
    bounds = np.searchsorted(tracks.track, np.arange(count + 1))
    first, last = tracks.frame[bounds[:-1]], tracks.frame[bounds[1:] - 1]
    begins, ends = tracks.log_hz[bounds[:-1]], tracks.log_hz[bounds[1:] - 1]
    voice = np.full(count, -1, dtype=np.intp)
    members: dict[int, list[int]] = {}
    named = 0
    for one in np.lexsort((begins, first)):
        for name in [name for name, held in members.items() if first[one] - last[held].max() > GOES_ON_S / HOP_S]:
            del members[name]
        joins = -1
        for name, held in members.items():
            old = np.array(held)
            over = old[last[old] < first[one]]
            if len(over) and float(np.min(np.abs(ends[over] - begins[one]))) < GOES_ON:
                joins = name
                break
            sounding = old[last[old] >= first[one]]
            if len(sounding) and _one_pitch(_at(tracks, bounds, sounding, first[one]), begins[one]):
                joins = name
                break
        if joins < 0:
            joins, named = named, named + 1
            members[joins] = []
        members[joins].append(int(one))
        voice[one] = joins
    return voice


def _at(tracks: Tracks, bounds: NDArray[np.intp], which: NDArray[np.intp], frame: int) -> NDArray[np.float64]:
    """Give where tracks stand in one frame, logarithm of hertz."""
    at = bounds[which] + np.clip(frame - tracks.frame[bounds[which]], 0, bounds[which + 1] - bounds[which] - 1)
    return tracks.log_hz[at]


def _one_pitch(held: NDArray[np.float64], fresh: float) -> bool:
    """Say whether some pitch has all of these among its overtones."""
    hz = np.exp(np.append(held, fresh))
    orders = np.arange(1, HIGHEST_ORDER + 1)
    pitch = hz.min() / orders
    pitch = pitch[pitch >= LOWEST_HZ]
    order = np.maximum(1.0, np.round(hz[None, :] / pitch[:, None]))
    off = np.abs(hz[None, :] / (order * pitch[:, None]) - 1.0)
    fits = (off < OFF_HARMONIC + STRETCH * order**2) & (order <= 2 * HIGHEST_ORDER)
    return bool(np.any(fits.all(axis=1)))


__all__ = ["voices"]
