"""Slow speed change from a programme with steady partials: what moves all of them by one ratio at one time is the tape.

Every partial is its note's pitch, plus what the tape does, plus what the note does by itself. Notes of one pitch stand
near one another however far apart in time; that anchors what would else add up from note to note. Which pitch a note
has by rights nobody knows, so only the change is told.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.joint_fit import HEAVY, Fit, HeardTracks, doubt_of, fitted
from tapewright.measure.partials import FRAME_S, HOP_S, Tracks
from tapewright.measure.slow_speed import GRADE, LEAST_S, SlowSpeed, drift_weights, no_slow_speed
from tapewright.measure.voices import voices
from tapewright.words.reading import Reading
from tapewright.words.signal import Trace

NODE_S: Final = 1.0
LEAST_NOTES: Final = 10
TOGETHER_S: Final = 0.3
"""Partials of a voice that begin within this of one another are one note."""
TOGETHER: Final = 2.2
"""Least mean of voices that sound together: a lone voice may bend as it likes."""
SHARED: Final = 0.75
"""Least share of the time in which two sound together."""
SAME_PITCH: Final = 1.25e-3
"""Partials no further apart than this, ratio, are taken for the same pitch sounded again; at most four times so far."""
PITCH_SD: Final = (2e-4, 2e-2)
"""Within these the scatter of repeated pitches is believed, ratio."""
AGREE: Final = 0.6
"""Least share of the partials that is left when those that go their own way are set aside."""
OWN_WAY: Final = 1.0e-3
"""Partials that stray from the common movement by more, ratio, one sigma, have none in common."""
MOST_DOUBT: Final = 4e-3
"""A doubt beyond this, ratio, is no reading: a third of a quarter tone."""
SPLITS: Final = 2
LEAST_PIECE: Final = 7
CLEAR_STEP: Final = 4.5
"""A step of so many standard deviations parts a track: in noise one in ten thousand places shows it."""


def programme_speed(tracks: Tracks) -> SlowSpeed:
    """Find the movement that partials of several voices have in common, or say why there is none.

    Arguments:
        tracks: from `Linker.tracks`.
    """
    heard, fault = _heard(tracks)
    for _ in range(SPLITS):
        if heard is None:
            return no_slow_speed("programme", fault)
        alone = fitted(heard, np.zeros(heard.count, dtype=np.intp))
        heard, fault = _heard(_split(heard, alone))
    if heard is not None:
        alone = fitted(heard, np.zeros(heard.count, dtype=np.intp))
        heard, fault = _heard(_split(heard, _with_pitches(heard, alone.offsets)))
    if heard is None:
        return no_slow_speed("programme", fault)
    alone = fitted(heard, np.zeros(heard.count, dtype=np.intp))
    by_offsets = _with_pitches(heard, alone.offsets)
    by_sound = _with_pitches(heard, _middles(heard))
    fit = min((by_offsets, by_sound), key=lambda one: float(np.sum(np.var(one.pulls, axis=1))))
    return _judged(heard, fit, by_sound if fit is by_offsets else by_offsets)


def _split(heard: HeardTracks, fit: Fit) -> Tracks:
    """Part tracks in which one note handed over to another of nearly the same pitch."""
    fresh = np.zeros(len(heard.tracks.track), dtype=np.intp)
    kept = np.ones(len(fresh), dtype=np.bool_)
    both = round(0.5 * FRAME_S / HOP_S)
    for track in range(heard.count):
        first, last = heard.bounds[track], heard.bounds[track + 1]
        for at in _steps(fit.residual[first:last], fit.own):
            fresh[first + at] = 1
            kept[first + at - both : first + at + both] = False
    fresh[heard.bounds[1:-1]] = 1
    old, number = heard.tracks, np.cumsum(fresh)
    _, number = np.unique(number[kept], return_inverse=True)
    return Tracks(number.astype(np.intp), old.frame[kept], old.log_hz[kept], old.sd[kept])


def _steps(residual: NDArray[np.float64], own: float) -> list[int]:
    """Find where a track steps from one level to another: the clearest step first, then within the two sides.

    Source: binary segmentation (Scott and Knott 1974).
    """
    count = len(residual)
    if count < 2 * LEAST_PIECE:
        return []
    before = np.arange(LEAST_PIECE, count - LEAST_PIECE + 1)
    sums = np.cumsum(residual)
    apart = sums[before - 1] / before - (sums[-1] - sums[before - 1]) / (count - before)
    clear = np.abs(apart) / (own * np.sqrt((1.0 / before + 1.0 / (count - before)) * (FRAME_S / HOP_S)))
    best = int(np.argmax(clear))
    if clear[best] < CLEAR_STEP:
        return []
    at = int(before[best])
    return [*_steps(residual[:at], own), at, *(at + more for more in _steps(residual[at:], own))]


def _heard(tracks: Tracks) -> tuple[HeardTracks | None, str]:
    none = "Too few partials hold for a second: no steady notes."
    if not len(tracks.track):
        return None, none
    bounds = np.searchsorted(tracks.track, np.arange(int(tracks.track[-1]) + 2))
    voice = voices(tracks)
    first, last = int(tracks.frame.min()), int(tracks.frame.max())
    length_s = (last - first) * HOP_S
    if length_s < LEAST_S:
        return None, f"Steady partials are heard for {length_s:.0f} s; {LEAST_S:g} s are needed."
    together = np.zeros(last - first + 1)
    key = voice[tracks.track] * (last + 1) + tracks.frame
    _, back, counts = np.unique(key, return_inverse=True, return_counts=True)
    share = 1.0 / counts[back]
    np.add.at(together, tracks.frame - first, share)
    note = _notes(tracks.frame[bounds[:-1]], voice)
    if int(note.max()) + 1 < LEAST_NOTES:
        return None, f"Only {int(note.max()) + 1} steady notes were heard; {LEAST_NOTES} are needed."
    shared = float(np.mean(together > 1.5))
    if float(together.mean()) < TOGETHER or shared < SHARED:
        return None, (
            f"Steady voices that are independent of each other sound {together.mean():.1f} at a time, two or more for "
            f"{100 * shared:.0f} % of the time; {TOGETHER:g} and {100 * SHARED:.0f} % are needed to tell the tape from "
            "one of them."
        )
    steps = round(length_s / NODE_S)
    return HeardTracks(tracks, bounds, voice, note, share, first, steps + 1, length_s / steps), ""


def _notes(first: NDArray[np.intp], voice: NDArray[np.intp]) -> NDArray[np.intp]:
    """Number the notes, shape (tracks,): partials of one voice that begin together."""
    order = np.lexsort((first, voice))
    fresh = (np.diff(voice[order]) != 0) | (np.diff(first[order]) > TOGETHER_S / HOP_S)
    number = np.zeros(len(voice), dtype=np.intp)
    number[order[1:]] = np.cumsum(fresh)
    return number


def _middles(heard: HeardTracks) -> NDArray[np.float64]:
    return np.array(
        [np.median(heard.tracks.log_hz[a:b]) for a, b in zip(heard.bounds[:-1], heard.bounds[1:], strict=True)]
    )


def _with_pitches(heard: HeardTracks, offsets: NDArray[np.float64]) -> Fit:
    """Fit with repeated pitches as anchors; the pitches are told apart by `offsets` first, then by the fit's own."""
    for doubted in (False, True):
        pitch = _pitches(offsets, heard.note)
        loose = _looseness(offsets, pitch, heard.note)
        fit = fitted(heard, _repeated(pitch, loose), loose, doubted)
        offsets = fit.offsets
    return fit


def _pitches(offsets: NDArray[np.float64], note: NDArray[np.intp]) -> NDArray[np.intp]:
    """Number the pitches, shape (tracks,): a new one begins where the next offset is a step away.

    An overtone and another note's fundamental are two pitches though they may stand close: the fifth of a keyboard is
    0.11 % from the third overtone, and a mixture of the two that changes with time would look like drift.
    """
    order = np.argsort(offsets)
    number = np.zeros(len(offsets), dtype=np.intp)
    start, at = offsets[order[0]], 0
    for one, before in zip(order[1:], order[:-1], strict=True):
        if offsets[one] - offsets[before] > SAME_PITCH or offsets[one] - start > 4.0 * SAME_PITCH:
            start, at = offsets[one], at + 1
        number[one] = at
    lowest = np.full(int(note.max()) + 1, np.inf)
    np.minimum.at(lowest, note, offsets)
    ratio = np.round((offsets - lowest[note]) / (16.0 * SAME_PITCH)).astype(np.intp)
    _, number = np.unique(number * (int(ratio.max()) + 1) + ratio, return_inverse=True)
    return number.astype(np.intp)


def _repeated(pitch: NDArray[np.intp], loose: NDArray[np.float64]) -> NDArray[np.intp]:
    """Number only the pitches that are repeated, from 1; 0 for the others, which lie as far from any as they like."""
    _, number = np.unique(np.where(np.isfinite(loose), pitch, -1), return_inverse=True)
    return (number + int(np.isfinite(loose).all())).astype(np.intp)


def _looseness(offsets: NDArray[np.float64], pitch: NDArray[np.intp], note: NDArray[np.intp]) -> NDArray[np.float64]:
    """Give how far each track may lie from its pitch, one sigma: as repeated pitches scatter; infinite where alone.

    Arguments:
        offsets: shape (tracks,).
        pitch: from `_pitches`, shape (tracks,).
        note: shape (tracks,).
    """
    off = np.full(len(offsets), np.nan)
    for one in np.unique(pitch):
        inside = np.flatnonzero(pitch == one)
        several = len(np.unique(note[inside]))
        if several > 1:
            middle = np.median(offsets[inside]) if several > 2 else np.mean(offsets[inside])
            off[inside] = (offsets[inside] - middle) * np.sqrt(several / (several - 1.0))
    if np.isnan(off).all():
        return np.full(len(offsets), np.inf)
    usual = float(np.clip(1.48 * np.nanmedian(np.abs(off)), *PITCH_SD))
    return np.where(np.isnan(off), np.inf, usual * np.sqrt((HEAVY + (np.nan_to_num(off) / usual) ** 2) / (HEAVY + 1.0)))


def _sounding(heard: HeardTracks) -> NDArray[np.bool_]:
    """Say at which nodes at least half a voice sounds, shape (nodes,)."""
    at = np.round((heard.tracks.frame - heard.first) * (HOP_S / heard.node_s)).astype(np.intp)
    voices_there = np.bincount(at, weights=heard.share, minlength=heard.nodes) * (HOP_S / heard.node_s)
    found: NDArray[np.bool_] = voices_there[: heard.nodes] > 0.25
    return found


def _judged(heard: HeardTracks, fit: Fit, other: Fit) -> SlowSpeed:
    times = heard.first * HOP_S + FRAME_S / 2.0 + heard.node_s * np.arange(heard.nodes, dtype=np.float64)
    sounding = _sounding(heard)
    centred = np.eye(heard.nodes) - (sounding / sounding.sum())[:, None]
    doubt = doubt_of(fit, centred)
    weights = np.zeros(heard.nodes)
    weights[sounding] = drift_weights(times[sounding])
    drift_doubt = float(doubt_of(fit, weights[:, None])[0])
    drift, second = float(weights @ fit.nodes), float(weights @ other.nodes)
    kept = float(np.average(fit.weight[heard.tracks.track] > 0.5, weights=heard.share))
    fault = ""
    if kept < AGREE or fit.own > OWN_WAY:
        fault = (
            f"Of the steady partials {100 * kept:.0f} % move together, the rest by themselves and by "
            f"{100 * fit.own:.2g} %: music, not the tape."
        )
    elif (worst := max(drift_doubt, float(np.median(doubt[sounding])))) > MOST_DOUBT:
        fault = (
            f"The notes agree on the change to no better than {100 * worst:.1f} %; {100 * MOST_DOUBT:g} % is asked for."
        )
    elif abs(drift - second) > max(3.0 * drift_doubt, 1e-3):
        fault = "Notes and their repetitions tell different changes: the notes glide by themselves."
    if fault:
        return no_slow_speed("programme", fault)
    known = sounding & (doubt < 2.0 * MOST_DOUBT)
    speed = np.where(known, np.expm1(centred.T @ fit.nodes), np.nan)
    return SlowSpeed(
        "programme",
        Reading(
            100.0 * drift, "%", 100.0 * drift_doubt,
            method=f"what steady partials of independent voices have in common; {GRADE}",
            conditions=f"{times[0]:.0f} to {times[-1]:.0f} s; {int(heard.note.max()) + 1} notes; relative only",
        ),
        Reading(None, "%", why_not="Nobody knows how the music was tuned: a programme tells change only."),
        Trace(speed, 1.0 / heard.node_s, float(times[0])),
        np.where(known, doubt, np.nan),
    )  # fmt: skip


__all__ = ["programme_speed"]
