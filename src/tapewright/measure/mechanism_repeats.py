"""Knocks, thumps and rubbing: what comes back at a steady rate in the loudness of five bands.

What sounds as often while the machine is off is the room's: a clock, a voice in its rhythm.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from tapewright.measure.mechanism_bands import HIGH, LOW
from tapewright.measure.mechanism_frames import Array, background, laid_over
from tapewright.measure.mechanism_trust import comb_scores, decoy_scores, trusted
from tapewright.words.mechanism_heard import OFF, Knock, NoRepeats, Rubbing
from tapewright.words.reading import Reading

SLOWEST_HZ, FASTEST_HZ = 0.25, 24.0
ORDERS: Final = (1.0, 2.0, 3.0, 4.0)
SHORTEST_S: Final = 3.0
TURNS: Final = 4.0
"""What comes back fewer times than this in a stretch has no rate."""
MOST_AT_ONCE: Final = 3
SURE_ENOUGH: Final = 0.9
LINE_SPEAKS: Final = 6.0
"""A line's gain in log likelihood from which it counts by itself: noise passes it once in about a thousand bins."""
LINE_MOST: Final = 14.0
"""No single line says more: only a series of multiples makes a repetition plain."""
SHARP: Final = 0.3
"""A knock is loud for less than this share of its round."""
LEAST_DB: Final = 1.0
SAME: Final = 0.015
"""Two rates nearer than this, relative, are one."""
PLACES: Final = (16, 48)
PLACE_S: Final = 0.03
SETTLES_S: Final = 0.5


@dataclass(frozen=True, slots=True)
class Repeat:
    """Something that comes back.

    Arguments:
        rate_hz: how often a second.
        doubt_hz: half-width of the 95 % interval.
        lines: how many of its multiples speak by themselves.
        rises_db: how far it rises in each band, laid over one another round by round.
        share: of a round for which it is loud.
        sure: chance that it is no accident.
    """

    rate_hz: float
    doubt_hz: float
    lines: int
    rises_db: tuple[float, ...]
    share: float
    sure: float


@dataclass(frozen=True, slots=True, eq=False)
class _Stretch:
    """The loudness of one stretch: levels without slow changes, and their spectra over the background."""

    flat: Array
    above: Array
    around: Array
    bin_hz: float
    lasts_s: float


def repeats_heard(
    powers: Array, step_s: float, spans: Sequence[tuple[str, float, float]], talks: Sequence[tuple[float, float]] = ()
) -> tuple[list[Knock], list[Rubbing], list[NoRepeats]]:
    """Look in every stretch of a recording for what comes back and is the machine's.

    Arguments:
        powers: from `mechanism_bands.band_powers`.
        step_s: from value to value.
        spans: mode, beginning and end of each stretch; "off" where the machine is silent, "" where nobody said.
        talks: when somebody speaks.
    """
    knocks: list[Knock] = []
    rubbings: list[Rubbing] = []
    nothing: list[NoRepeats] = []
    off = [span for span in spans if span[0] == OFF]
    room = [one.rate_hz for _, start, end in off for one in repeats_in(powers, step_s, start, end)]
    quiet_db = _level_db(powers, step_s, off)
    for mode, start, end in spans:
        # What the key and the start make is over by then.
        start_s, end_s = start + SETTLES_S, end - SETTLES_S / 2
        talked = any(a < end and start < b for a, b in talks)
        stretch = None if mode == OFF else _stretch_of(powers, step_s, start_s, end_s)
        heard = [] if stretch is None else _repeats(stretch, step_s)
        # Speech has one rhythm and no multiples of it.
        own = [one for one in heard if not (_is_of(one.rate_hz, room) or (talked and one.lines < 2))]
        for one in own:
            rate = Reading(one.rate_hz, "Hz", one.doubt_hz, method="spectrum of the loudness, five bands")
            most, high = max(one.rises_db), max(one.rises_db[HIGH], default=0.0)
            if one.share < SHARP or high < LEAST_DB:
                knocks.append(Knock(start_s, end_s, rate, most, one.sure, high))
            else:
                rubbings.append(Rubbing(start_s, end_s, rate, one.sure, most, high))
        if stretch is not None and len(powers) > HIGH.start:
            over = _level_db(powers, step_s, [(mode, start_s, end_s)]) - quiet_db
            nothing.append(NoRepeats(mode, start_s, end_s, _enough_db(stretch), over if off else None))
    return knocks, rubbings, nothing


def _level_db(powers: Array, step_s: float, spans: Sequence[tuple[str, float, float]]) -> float:
    """Give the usual level of the highest bands over some stretches, dB."""
    rows = powers[HIGH] if len(powers) > HIGH.start else powers
    cut = [rows[:, round(a / step_s) : round(b / step_s)] for _, a, b in spans]
    kept = np.concatenate(cut, axis=1) if cut else rows
    return float(10.0 * np.log10(np.median(kept.sum(axis=0)))) if kept.size else -130.0


def _is_of(rate_hz: float, room: Sequence[float]) -> bool:
    """Tell whether a rate is one of the room's, twice one of those, or a plain part of one."""
    return any(abs(rate_hz * part / other - 1.0) < SAME for other in room for part in (0.5, 1.0, 2.0, 3.0, 4.0))


def repeats_in(powers: Array, step_s: float, start_s: float, end_s: float) -> list[Repeat]:
    """Give what comes back in one stretch, the plainest first in each of the low and the high bands.

    Arguments:
        powers: of the whole recording, from `mechanism_bands.band_powers`.
        step_s: from value to value.
        start_s: of the stretch.
        end_s: of the stretch.
    """
    stretch = _stretch_of(powers, step_s, start_s, end_s)
    return [] if stretch is None else _repeats(stretch, step_s)


def _repeats(stretch: _Stretch, step_s: float) -> list[Repeat]:
    high = list(_plainest(stretch, HIGH, step_s)) if len(stretch.flat) > HIGH.start else []
    low = [one for one in _plainest(stretch, LOW, step_s) if not _is_of(one.rate_hz, [o.rate_hz for o in high])]
    return high + low


def _stretch_of(powers: Array, step_s: float, start_s: float, end_s: float) -> _Stretch | None:
    """Give the loudness of a stretch; None where it is too short, or of too narrow a band."""
    if len(powers) < LOW.stop or min(end_s, powers.shape[1] * step_s) - max(start_s, 0.0) < SHORTEST_S:
        return None
    return _stretch(powers, step_s, max(start_s, 0.0), end_s)


def _stretch(powers: Array, step_s: float, start_s: float, end_s: float) -> _Stretch:
    levels = 10.0 * np.log10(powers[:, round(start_s / step_s) : round(end_s / step_s)])
    lasts = levels.shape[1] * step_s
    flat = np.array([_flattened(row, step_s) for row in levels])
    padded = 1 << int(np.ceil(np.log2(2 * levels.shape[1])))
    power = (np.abs(np.fft.rfft(flat * np.hanning(levels.shape[1]), padded, axis=1)) ** 2).astype(np.float32)
    bin_hz = 1.0 / (padded * step_s)
    around = background(power, bin_hz, 4.0 / lasts, block_hz=max(2.0, 24.0 / lasts))
    return _Stretch(flat, np.asarray(power / around, dtype=np.float64), np.asarray(around, np.float64), bin_hz, lasts)


def _plainest(stretch: _Stretch, bands: slice, step_s: float) -> list[Repeat]:
    """Find one repetition after another, each taken out with all its multiples before the next is looked for."""
    above = stretch.above[bands]
    mean = np.maximum(above.mean(axis=0), 1.0)
    # The log likelihood gained by a line of unknown size, for power that is exponential without one.
    said = len(above) * np.minimum(mean - 1.0 - np.log(mean), LINE_MOST)
    low_hz = max(SLOWEST_HZ, TURNS / stretch.lasts_s)
    rates = np.arange(low_hz, FASTEST_HZ, stretch.bin_hz / 8.0)
    said[: int(0.7 * low_hz / stretch.bin_hz)] = 0.0
    places: list[tuple[float, float, int, int]] = []
    for _ in range(MOST_AT_ONCE):
        own = said[np.rint(rates / stretch.bin_hz).astype(int)] > LINE_SPEAKS
        if not own.any():
            break
        # The rate whose own line speaks: every half of it would score as well.
        scores = np.where(own, comb_scores(said, rates, np.array(ORDERS), stretch.bin_hz), -1.0)
        best = int(np.argmax(scores))
        rate, score = float(rates[best]), float(scores[best])
        bins = [min(round(order * rate / stretch.bin_hz), len(said) - 1) for order in ORDERS]
        lines = sum(bool(said[at] > LINE_SPEAKS) for at in bins)
        places.append((_finer(mean, rate, stretch.bin_hz), score, lines, bins[0]))
        _blank(said, rate, stretch)
    decoys = decoy_scores(said, ORDERS, (low_hz, FASTEST_HZ), stretch.bin_hz)
    found: list[Repeat] = []
    for rate, score, lines, at in places:
        sure = trusted(score, decoys, len(ORDERS)).sure
        rises, share = _folded(stretch.flat, step_s, rate, bands)
        if sure < SURE_ENOUGH or max(rises[bands]) < LEAST_DB or _is_of(rate, [one.rate_hz for one in found]):
            continue
        strong = float(above[:, at].mean())
        doubt = 1.96 * np.sqrt(6.0 / max(strong, 1.0)) / (np.pi * stretch.lasts_s) + stretch.bin_hz / 2.0
        found.append(Repeat(rate, float(doubt), lines, rises, share, sure))
    return found


def _finer(mean: Array, rate_hz: float, bin_hz: float) -> float:
    """Give the rate near another whose multiples hold the most power: lines that say all they may say have no top."""
    near = rate_hz + np.linspace(-1.5, 1.5, 61) * bin_hz
    orders = np.array(ORDERS)[:, None] * near[None, :] / bin_hz
    power = np.interp(orders.ravel(), np.arange(len(mean)), mean).reshape(orders.shape)
    return float(near[int(np.argmax(power.sum(axis=0)))])


def _blank(said: Array, rate_hz: float, stretch: _Stretch) -> None:
    reach = max(2, round(4.0 / stretch.lasts_s / stretch.bin_hz))
    for order in range(1, int(len(said) * stretch.bin_hz / rate_hz) + 1):
        at = round(order * rate_hz / stretch.bin_hz)
        said[max(0, at - reach) : at + reach + 1] = 0.0


def _enough_db(stretch: _Stretch) -> float:
    """Give how far a smooth swelling has to rise from trough to peak to be found in the high bands."""
    first, last = int(1.0 / stretch.bin_hz), int(FASTEST_HZ / stretch.bin_hz)
    usual = float(np.median(stretch.around[HIGH, first:last], axis=1).min())
    # A line that is an amplitude A in n values stands at (A n / 4)**2 under Hann's window.
    needed = 1.0 + 2.0 * LINE_SPEAKS
    return float(8.0 * np.sqrt(needed * usual) / stretch.flat.shape[1])


def _flattened(row: Array, step_s: float) -> Array:
    """Take slow changes out, and cut what sounds once: a key is no knock."""
    wide = min(max(3, round(2.0 / step_s)), len(row))
    kernel = np.ones(wide) / wide
    flat = row - np.convolve(np.pad(row, wide // 2, mode="edge"), kernel, mode="same")[wide // 2 : wide // 2 + len(row)]
    flat = flat - np.median(flat)
    spread = 1.4826 * float(np.median(np.abs(flat)))
    return np.asarray(np.clip(flat, -6.0 * spread - 1e-9, 12.0 * spread + 1e-9))


def _folded(flat: Array, step_s: float, rate_hz: float, bands: slice) -> tuple[tuple[float, ...], float]:
    """Lay all rounds over one another: how far each band rises, dB, and for what share of a round it is loud."""
    # A slow round is cut finer: a knock in it is no longer than one in a quick round.
    wanted = np.clip(1.0 / (rate_hz * PLACE_S), *PLACES)
    rounds = laid_over(flat, step_s, rate_hz, wanted)
    rises = np.ptp(rounds, axis=1)
    plain = rounds[bands][int(np.argmax(rises[bands]))]
    share = float(np.mean(plain > (plain.max() + plain.min()) / 2.0))
    return tuple(float(one) for one in rises), share
