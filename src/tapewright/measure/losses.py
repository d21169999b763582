"""What treble is lost between tape and head, by the laws of spacing, gap and azimuth, and what a response says of them.

The laws, with the wavelength v/f:
- spacing d: 54.6 d/wavelength decibels (Wallace 1951, as quoted in a video training guide; 40 pi lg e exactly);
- gap g: 20 lg |sin u/u|, u = 1.11 pi g/wavelength (Eargle, Electroacoustical Reference Data, chapter 167);
- azimuth a on a track of width W: 20 lg |sin u/u|, u = pi W tan(a)/wavelength (line integral across the track).

Gap and azimuth have the same form, so a response alone cannot tell one from the other: the azimuth is taken from the
delays between tracks. Spacing falls in proportion to frequency, the gap at first with its square: they part only
where both are seen over enough of the band, and where they do not, that is said.
"""

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from tapewright.standards import contact_laws
from tapewright.words.reading import Reading

FROM_HZ: Final = 250.0
"""Below, a response tells of heads' contours and of bass correction, not of contact."""
LEAST_TONES: Final = 5
LEAST_DOUBT_DB: Final = 0.03
"""No tone is trusted further: a chain's own ripple. Own choice."""
TOLD_APART: Final = 0.97
"""Two causes whose errors go together by more than this cannot be told apart."""
OPEN: Final = 0.5
"""A gap whose interval is wider than half of it is hardly known."""
SURE: Final = 2.06
STARTS_M: Final = (0.1e-6, 1.0e-6)
Values = NDArray[np.float64]


def spacing_loss_db(frequency_hz: NDArray[np.floating[Any]], spacing_m: float, speed_m_per_s: float) -> Values:
    """Give what a spacing between tape and head takes away, decibels, never above nought.

    >>> round(float(spacing_loss_db(np.array(10000.0), 1e-6, 0.047625)), 2)
    -11.46
    """
    return contact_laws.spacing_db(spacing_m * np.asarray(frequency_hz, dtype=np.float64) / speed_m_per_s)


def gap_loss_db(frequency_hz: NDArray[np.floating[Any]], gap_m: float, speed_m_per_s: float) -> Values:
    """Give what the length of a gap takes away, decibels.

    >>> round(float(gap_loss_db(np.array(10000.0), 1e-6, 0.047625)), 2)
    -0.79
    """
    return contact_laws.line_across_db(
        contact_laws.GAP_ACTS * gap_m * np.asarray(frequency_hz, dtype=np.float64) / speed_m_per_s
    )


def azimuth_loss_db(
    frequency_hz: NDArray[np.floating[Any]], angle_rad: float, width_m: float, speed_m_per_s: float
) -> Values:
    """Give what a leaning gap takes away on one track, decibels.

    >>> round(float(azimuth_loss_db(np.array(10000.0), 10 * math.pi / 10800, 0.6e-3, 0.047625)), 2)
    -2.01
    """
    late = width_m * math.tan(angle_rad)
    return contact_laws.line_across_db(late * np.asarray(frequency_hz, dtype=np.float64) / speed_m_per_s)


@dataclass(frozen=True, slots=True)
class Losses:
    """What a track's response says of the contact between tape and head.

    Arguments:
        spacing_um: more spacing than the response of a good machine has in it.
        gap_um: how long the gap acts; with an interval where only an upper limit is known.
        azimuth_db: what the azimuth read from the delays takes away at the highest tone.
        left_db: the largest difference that the three do not explain.
        notes: what cannot be told apart, and what else the shape could be.
    """

    spacing_um: Reading
    gap_um: Reading
    azimuth_db: Reading
    left_db: float
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Track:
    """What is known of a track before its response is looked at.

    Arguments:
        width_m: of the track.
        speed_m_per_s: of the tape, as it plays.
        gap_m: the head's gap by its sheet, whose loss the machine's own correction makes up for.
        angle_rad: azimuth, from the delays between tracks.
        angle_doubt_rad: its doubt.
    """

    width_m: float
    speed_m_per_s: float
    gap_m: float
    angle_rad: float | None = None
    angle_doubt_rad: float = 0.0


def _modelled(params: Values, frequency_hz: Values, track: Track, angle_rad: float) -> Values:
    """Give the response of a track, decibels: level, spacing, and the gap beyond what the correction makes up for."""
    speed = track.speed_m_per_s
    gap = gap_loss_db(frequency_hz, float(params[2]) * 1e-6, speed) - gap_loss_db(frequency_hz, track.gap_m, speed)
    lean = azimuth_loss_db(frequency_hz, angle_rad, track.width_m, speed)
    return np.asarray(params[0] + spacing_loss_db(frequency_hz, float(params[1]) * 1e-6, speed) + gap + lean)


def fit_losses(frequency_hz: NDArray[np.floating[Any]], response_db: Values, doubt_db: Values, track: Track) -> Losses:
    """Fit level, spacing and gap to a response, the azimuth from elsewhere, all with their doubts.

    Arguments:
        frequency_hz: of the tones as they play, shape (n,).
        response_db: against the replay curve, so that a good machine is flat, shape (n,).
        doubt_db: half widths of the 95 % intervals, shape (n,).
        track: what is known beforehand.

    >>> tones = np.array([315.0, 1000.0, 2000.0, 4000.0, 6300.0, 8000.0, 10000.0, 12500.0, 14000.0])
    >>> flat = spacing_loss_db(tones, 0.5e-6, 0.047625)
    >>> found = fit_losses(tones, flat, np.full(9, 0.05), Track(0.6e-3, 0.047625, 1e-6, 0.0))
    >>> round(found.spacing_um.value, 2)
    0.5
    """
    used = (np.asarray(frequency_hz) >= FROM_HZ) & np.isfinite(response_db)
    if np.count_nonzero(used) < LEAST_TONES:
        why = (
            f"{np.count_nonzero(used)} tones above {FROM_HZ:.0f} Hz; {LEAST_TONES} are needed to part spacing from gap."
        )
        none = Reading(None, "µm", why_not=why)
        return Losses(none, none, Reading(None, "dB", why_not=why), float("nan"), ())
    tones, levels = np.asarray(frequency_hz, dtype=np.float64)[used], response_db[used]
    sigma = np.hypot(doubt_db[used], LEAST_DOUBT_DB) / 1.96
    angle = abs(track.angle_rad or 0.0)
    fits = [
        _fitted(tones, levels, sigma, track, max(0.0, angle + side * track.angle_doubt_rad))
        for side in (0.0, -1.0, 1.0)
    ]
    left = levels - _modelled(fits[0].params, tones, track, angle)
    return _told(fits, track, float(np.max(np.abs(left))), float(tones.max()))


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    """Level (dB), spacing and gap (µm) at one azimuth; their half widths; how far the last two's errors go together."""

    params: Values
    wide: Values
    together: float


def _fitted(tones: Values, levels: Values, sigma: Values, track: Track, angle_rad: float) -> _Fit:
    def misfit(params: Values) -> Values:
        return (_modelled(params, tones, track, angle_rad) - levels) / sigma

    low, high = [-60.0, -2.0, 0.0], [60.0, 50.0, 0.88 * _null_um(tones, track)]
    best = min(
        (
            optimize.least_squares(misfit, [float(levels[0]), 0.1, 1e6 * min(start, 0.8e-6 * high[2])],
                                   bounds=(low, high), x_scale=[0.1, 0.1, 0.1])
            for start in (track.gap_m, *STARTS_M)
        ),
        key=lambda one: float(one.cost),
    )  # fmt: skip
    slopes = np.asarray(best.jac, dtype=np.float64)
    covariance = np.linalg.pinv(slopes.T @ slopes, rcond=1e-14)
    misfits = max(1.0, 2.0 * float(best.cost) / max(1, len(tones) - 3))
    spread = np.sqrt(np.maximum(np.diag(covariance), 1e-30) * misfits)
    together = float(covariance[1, 2] / np.sqrt(max(covariance[1, 1] * covariance[2, 2], 1e-30)))
    return _Fit(np.asarray(best.x), SURE * spread, together)


def _null_um(tones: Values, track: Track) -> float:
    """Give the gap whose first null lies at the highest tone, micrometres."""
    return 1e6 * track.speed_m_per_s / (contact_laws.GAP_ACTS * float(tones.max()))


def _told(fits: list[_Fit], track: Track, left_db: float, top_hz: float) -> Losses:
    notes = []
    if abs(fits[0].together) > TOLD_APART:
        notes.append(
            "Spacing and gap cannot be told apart by these tones: more of one and less of the other fits as well."
        )
    spacing = _reading(fits, 1, "response against frequency, law of spacing")
    gap = _reading(fits, 2, "response against frequency, law of the gap")
    if track.angle_rad is None:
        notes.append(
            "The azimuth is not known from delays, and its loss has the form of the gap's: the gap stands for both."
        )
        return Losses(
            spacing, gap, Reading(None, "dB", why_not="The azimuth is not known from delays."), left_db, tuple(notes)
        )
    wide_open = gap.interval is not None and gap.interval[1] - gap.interval[0] > OPEN * (gap.value or 0.0)
    if wide_open and track.angle_doubt_rad > 0.0:
        notes.append("Gap and azimuth fall alike, and the azimuth of this gap is not known well enough to part them.")
    return Losses(spacing, gap, _lean(track, top_hz), left_db, tuple(notes))


def _lean(track: Track, top_hz: float) -> Reading:
    angle = abs(track.angle_rad or 0.0)
    at = np.array([top_hz])
    loss, less, more = (
        float(azimuth_loss_db(at, each, track.width_m, track.speed_m_per_s)[0])
        for each in (angle, max(0.0, angle - track.angle_doubt_rad), angle + track.angle_doubt_rad)
    )
    return Reading(loss, "dB", (less - more) / 2.0, method="azimuth from delays, law of azimuth",
                   conditions=f"at {top_hz:.0f} Hz", interval=(more, less))  # fmt: skip


def _reading(fits: list[_Fit], which: int, method: str) -> Reading:
    """Give one size with the interval that the fit itself and the azimuth's own doubt leave, micrometres.

    A gap is never below nought: where the interval reaches there, only the upper limit tells.
    """
    value, own = float(fits[0].params[which]), float(fits[0].wide[which])
    moved = [float(fit.params[which]) - value for fit in fits]
    low = value - math.hypot(own, min(moved))
    high = value + math.hypot(own, max(moved))
    said = ""
    if which == 2 and low <= 0.0:
        low, said = 0.0, "an upper limit: no gap at all would fit as well"
    return Reading(value, "µm", (high - low) / 2.0, method=method, conditions=said, interval=(low, high))


__all__ = ["Losses", "Track", "azimuth_loss_db", "fit_losses", "gap_loss_db", "spacing_loss_db"]
