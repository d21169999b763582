"""Many tones at once: the response between the tones of the response section, and what stands between the tones.

Each tone's level is the power about it, which flutter spreads and does not change, less the noise beside it. All tones
are recorded at the same level, so their levels are the response at once. What stands in the gaps between them and is
not there in silence is intermodulation, and the tape's own modulation noise: one reading cannot part the two.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from tapewright.measure.replay_response import Response
from tapewright.words.reading import Reading

PIECE_S: Final = 1.0
"""The section is read in pieces of this length, and silence likewise: how far they differ is the doubt."""
LEAST_S: Final = 3.0
REACH: Final = 0.10
"""Share of its frequency either side of a tone that counts as the tone: flutter and the speed's error stay within."""
GAP: Final = 0.12
"""From here on, as a share of the frequency, it is between the tones, which lie 1.29 times apart or more."""
GAPS_FROM_HZ: Final = 200.0
"""Below, the gaps are too narrow for pieces of a second."""
STANDS_OUT_DB: Final = 6.0
REFERENCE_HZ: Final = 315.0
IN_DB: Final = 10.0 / math.log(10.0)

Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Multitone:
    """What many tones at once say of one track.

    Arguments:
        response: each tone against the one nearest to 315 Hz.
        between_db: power between the tones that silence does not have, below that of all tones together.
    """

    response: Response
    between_db: Reading


def multitone_of(
    samples: Values,
    rate_hz: float,
    played_hz: Sequence[float],
    silence: Values | None = None,
    crossed: Sequence[float] | None = None,
) -> tuple[Multitone, ...]:
    """Read a section of many tones on every track.

    Arguments:
        samples: shape (n, tracks).
        rate_hz: samples per second.
        played_hz: of the tones, as they play, within 3 %; those beyond the file's band are left out.
        silence: shape (m, tracks), nothing recorded on it; None where there is none.
        crossed: how much crosses over onto each track, a ratio: all tracks carry the same tones, and what crosses adds
            to a level or takes from it.

    >>> times = np.arange(6 * 48000) / 48000
    >>> both = 0.1 * np.sin(2 * np.pi * 293 * times) + 0.05 * np.sin(2 * np.pi * 3541 * times)
    >>> found = multitone_of(both[:, None], 48000.0, [293.0, 3541.0])[0].response.deviations_db[1]
    >>> round(found.value, 2)
    -6.02
    """
    tones = [hz for hz in played_hz if hz * (1.0 + 2.0 * GAP) < 0.5 * rate_hz]
    tracks = samples.shape[1]
    if len(samples) < LEAST_S * rate_hz or len(tones) < 2:
        why = f"The section of many tones lasts {len(samples) / rate_hz:.1f} s; {LEAST_S:g} s are needed."
        none = Reading(None, "dB", why_not=why)
        return tuple(Multitone(Response((), (), ()), none) for _ in range(tracks))
    hz, power = _pieces(samples, rate_hz)
    inside = [np.abs(hz / tone - 1.0) <= REACH for tone in tones]
    beside = [_beside(hz, tone) for tone in tones]
    found = []
    for track in range(tracks):
        mine = power[:, :, track]
        noise = np.stack([mine[:, near].mean(axis=1) for near in beside])
        counts = np.array([[np.count_nonzero(near)] for near in inside])
        levels = np.stack([mine[:, near].sum(axis=1) for near in inside]) - noise * counts
        quiet = (
            None
            if silence is None or len(silence) < 2.0 * PIECE_S * rate_hz
            else _pieces(silence, rate_hz)[1][:, :, track]
        )
        leaks = 0.01 if crossed is None else crossed[track]
        response = _response(tones, levels, noise * counts, leaks)
        found.append(Multitone(response, _between(hz, mine, quiet, tones, levels)))
    return tuple(found)


def _pieces(samples: Values, rate_hz: float) -> tuple[Values, Values]:
    """Give the power spectra of pieces, shape (pieces, bins, tracks), so that a sine's bins add to its peak squared."""
    size = int(PIECE_S * rate_hz)
    count = max(1, len(samples) // size)
    taper = np.hanning(size + 2)[1:-1]
    laid = samples[: count * size].reshape(count, size, -1) * taper[None, :, None]
    power = np.abs(np.fft.rfft(laid, axis=1)) ** 2 * 4.0 / (size * float(np.sum(taper**2)))
    hz = np.asarray(np.fft.rfftfreq(size, 1.0 / rate_hz), dtype=np.float64)
    return hz, np.asarray(power, dtype=np.float64)


def _beside(hz: Values, tone: float) -> NDArray[np.bool_]:
    """Say which bins tell the noise about a tone: just outside its reach, three of them at least."""
    step = float(hz[1])
    off = np.abs(hz - tone)
    return (off > REACH * tone) & (off <= max(GAP * tone, REACH * tone + 3.0 * step))


def _response(tones: Sequence[float], levels: Values, noise: Values, crossed: float) -> Response:
    at = int(np.argmin([abs(math.log(tone / REFERENCE_HZ)) for tone in tones]))
    mean = levels.mean(axis=1)
    spread = stats.t.ppf(0.975, levels.shape[1] - 1) * levels.std(axis=1, ddof=1) / math.sqrt(levels.shape[1])
    stands = mean > 10.0 ** (STANDS_OUT_DB / 10.0) * noise.mean(axis=1)
    said = f"all tones at once, power of each over that at {tones[at]:.0f} Hz"
    deviations = []
    for index, tone in enumerate(tones):
        if not stands[index] or not stands[at]:
            none = f"No tone near {tone:.0f} Hz stands out on this track."
            deviations.append(Reading(None, "dB", why_not=none))
        elif index == at:
            deviations.append(Reading(0.0, "dB", 0.0, method="the reference itself"))
        else:
            value = 10.0 * math.log10(mean[index] / mean[at])
            own = IN_DB * math.hypot(spread[index] / mean[index], spread[at] / mean[at])
            doubt = math.hypot(own, 2.0 * IN_DB * 2.0 * crossed)
            deviations.append(Reading(value, "dB", doubt, method=said, conditions=f"{tone:.1f} Hz"))
    return Response(tuple(tones), tuple(deviations), ())


def _between(hz: Values, mine: Values, quiet: Values | None, tones: Sequence[float], levels: Values) -> Reading:
    """Give the power in the gaps that silence does not have, over that of all tones."""
    gaps = np.zeros(len(hz), dtype=np.bool_)
    for lower, upper in itertools.pairwise(tones):
        if lower >= GAPS_FROM_HZ:
            gaps |= (hz > lower * (1.0 + GAP)) & (hz < upper * (1.0 - GAP))
    if quiet is None or not gaps.any():
        why = "There is no silent section to tell it from noise." if quiet is None else "No gap lies in the band."
        return Reading(None, "dB", why_not=why)
    with_tones, without = mine[:, gaps].sum(axis=1), quiet[:, gaps].sum(axis=1)
    more = float(with_tones.mean() - without.mean())
    doubt = math.hypot(*(_wide(each) for each in (with_tones, without)))
    tones_power = max(float(levels.mean(axis=1).sum()), 1e-30)
    method = "power between the tones less that of silence there, over all tones: intermodulation and modulation noise"
    wide_hz = np.count_nonzero(gaps) * float(hz[1])
    said = f"gaps between {len(tones)} tones, from {GAPS_FROM_HZ:g} Hz, {wide_hz:.0f} Hz in all"
    if more <= doubt:
        most = 10.0 * math.log10(max(more + doubt, 1e-30) / tones_power)
        return Reading(
            None, "dB", why_not=f"No more than in silence: less than {most:.0f} dB.", method=method, conditions=said,
            interval=(-math.inf, most),
        )  # fmt: skip
    return Reading(10.0 * math.log10(more / tones_power), "dB", IN_DB * doubt / more, method=method, conditions=said)


def _wide(values: Values) -> float:
    """Give half the 95 % interval of a mean of pieces."""
    if len(values) < 2:
        return float(values[0])
    return float(stats.t.ppf(0.975, len(values) - 1) * values.std(ddof=1) / math.sqrt(len(values)))


__all__ = ["Multitone", "multitone_of"]
