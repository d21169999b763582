"""Lines fitted to the phase of a followed tone, all together, by least squares.

The fit weighs the first and last 5 s of the stretch less (all of a short one): slow wander, an unsteady line and the
two ends then leak little into their neighbours; what that costs in precision the doubts say.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from tapewright.measure.drifting import rate_ratio, warped
from tapewright.measure.follow import Followed
from tapewright.measure.trend import straight_line
from tapewright.words.signal import Trace

LONGEST_S: Final = 180.0
"""No rotor keeps its phase for longer; the best stretch of this length is taken from a longer recording."""
SLOPE_S: Final = 5.0
"""Slope of the fit's taper: a turn and a half of the slowest reel."""
MOST_PIECES: Final = 20


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """The part of a recording that lines are sought in.

    Arguments:
        times_s: shape (n,), from its middle.
        lag_s: phase as time: integral of the speed deviation, nan in dropouts.
        speed: speed deviation, zero where there is none.
        weight: taper times mask, for the spectrum.
        base: columns for offset, mean and drift, one offset for each piece, shape (n, m).
        good: where `lag_s` holds.
        rate_hz: samples per second.
        middle_s: its middle, from the beginning of the recording.
    """

    times_s: NDArray[np.float64]
    lag_s: NDArray[np.float64]
    speed: NDArray[np.float64]
    weight: NDArray[np.float64]
    base: NDArray[np.float64]
    good: NDArray[np.bool_]
    rate_hz: float
    middle_s: float

    @property
    def seconds(self) -> float:
        """Give how long it is, dropouts left out."""
        return float(np.count_nonzero(self.weight)) / self.rate_hz


def _best_start(good: NDArray[np.bool_], length: int) -> int:
    """Find where the stretch with the fewest dropouts begins; the earliest of equals."""
    if len(good) <= length:
        return 0
    held = np.concatenate([[0], np.cumsum(good)])
    return int(np.argmax(held[length:] - held[:-length]))


def _taper(count: int) -> NDArray[np.float64]:
    """Give half a turn of a sine: of the tapers whose skirts fall fast it wastes least."""
    return np.asarray(np.sin(np.pi * (np.arange(count) + 0.5) / count))


def fit_taper(stretch: Stretch) -> NDArray[np.float64]:
    """Give the weights of the fit: level, with a cosine slope of up to 5 s at either end."""
    count = len(stretch.times_s)
    return np.asarray(signal.windows.tukey(count, min(1.0, 2.0 * SLOPE_S * stretch.rate_hz / count)), dtype=np.float64)


def _base(times_s: NDArray[np.float64], piece: NDArray[np.intp]) -> NDArray[np.float64]:
    half = max(float(np.abs(times_s).max()), 1e-9)
    columns = [times_s / half, (times_s / half) ** 2]
    columns += [(piece == number).astype(np.float64) for number in np.unique(piece)]
    return np.stack(columns, axis=1)


def _without_gaps(piece: NDArray[np.intp], good: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Give each gap to the piece whose end is nearer."""
    if good.all() or not good.any():
        return piece
    held = np.flatnonzero(good)
    return np.asarray(piece[np.interp(np.arange(len(piece)), held, held).round().astype(np.intp)])


def stretch_of(tone: Followed, trace: Trace) -> Stretch:
    """Take the part of a followed tone that lines are sought in: its best 180 s.

    Arguments:
        tone: from `followed`.
        trace: its speed deviation.
    """
    offset = round((trace.start_s - tone.start_s) * tone.rate_hz)
    inside = slice(offset, offset + len(trace.values))
    phase, piece, speed = tone.phase_rad[inside], tone.piece[inside], trace.values
    length = int(LONGEST_S * tone.rate_hz)
    first = _best_start(np.isfinite(speed), length)
    phase, piece, speed = phase[first : first + length], piece[first : first + length], speed[first : first + length]
    times = np.arange(len(speed)) / tone.rate_hz
    middle = trace.start_s + first / tone.rate_hz + times[-1] / 2.0
    times = times - times[-1] / 2.0
    good, there = np.isfinite(phase), np.isfinite(speed)
    counts = np.bincount(piece[good] - piece.min())
    if len(counts) > MOST_PIECES:
        good &= np.isin(piece - piece.min(), np.argsort(counts)[-MOST_PIECES:])
    taper = _taper(len(speed))
    return Stretch(
        times,
        phase / (2.0 * np.pi * tone.frequency_hz),
        np.where(there, speed - straight_line(speed, there), 0.0),
        np.where(there, taper, 0.0),
        _base(times, _without_gaps(piece, good)),
        good,
        tone.rate_hz,
        middle,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """Lines as fitted: frequency in the middle, cosine and sine part of the speed, slowing; each shape (n,)."""

    frequency_hz: NDArray[np.float64]
    cosine: NDArray[np.float64]
    sine: NDArray[np.float64]
    slowing_per_s: NDArray[np.float64]


NOTHING: Final = Fitted(np.zeros(0), np.zeros(0), np.zeros(0), np.zeros(0))


def _turns(
    times_s: NDArray[np.float64], frequency_hz: NDArray[np.float64], slowing_per_s: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give each line's phase and its rate of turning at these times, rad and rad/s, shape (times, lines)."""
    turn, turning = np.outer(times_s, 2.0 * np.pi * frequency_hz), 2.0 * np.pi * frequency_hz[None, :]
    if slowing_per_s.any():
        turning = np.repeat(turning, len(times_s), axis=0)
        for line in np.flatnonzero(slowing_per_s):
            turn[:, line] = 2.0 * np.pi * frequency_hz[line] * warped(times_s, float(slowing_per_s[line]))
            turning[:, line] *= rate_ratio(times_s, float(slowing_per_s[line]))
    return turn, turning


def _solved(table: NDArray[np.float64], wanted: NDArray[np.float64], root: NDArray[np.float64]) -> NDArray[np.float64]:
    """Solve for the columns' shares by least squares, each row weighed by the square of its root weight."""
    table = table * root[:, None]
    scale = np.sqrt(np.einsum("ij,ij->j", table, table))
    scale[scale == 0.0] = 1.0
    table /= scale
    normal = table.T @ table
    normal[np.diag_indices_from(normal)] += 1e-12
    return np.asarray(np.linalg.solve(normal, table.T @ (root * wanted)) / scale, dtype=np.float64)


def fit(stretch: Stretch, frequency_hz: NDArray[np.float64], slowing_per_s: NDArray[np.float64], rounds: int) -> Fitted:
    """Fit all lines to the phase together, moving their frequencies (and slowings) a little in each round.

    Arguments:
        stretch: what they are fitted to.
        frequency_hz: where each is thought to be, shape (n,).
        slowing_per_s: what each loses of its rate, shape (n,); those that are 0 stay so.
        rounds: how often they may move.

    Slow flutter moves the phase far more than a fast line does, and would leak into it through every gap. So from the
    second round on the gaps are filled with what was fitted, the rest running straight through them: what a gap leaks
    shrinks by its share of the time in each round (expectation and maximisation, Dempster, Laird and Rubin 1977).
    """
    times, good = stretch.times_s, stretch.good
    lag, root = np.where(good, stretch.lag_s, 0.0), np.sqrt(fit_taper(stretch)) * good
    frequency, slowing, count = frequency_hz.copy(), slowing_per_s.copy(), len(frequency_hz)
    drifting = np.flatnonzero(slowing_per_s)
    most = 0.5 / stretch.seconds
    gaps = not good.all()
    cosine = sine = np.zeros(count)
    for step in range(rounds + 1 + gaps):
        turn, turning = _turns(times, frequency, slowing)
        cosines, sines = np.cos(turn), np.sin(turn)
        columns = [stretch.base, sines / turning, -cosines / turning]
        if step:
            moving = (cosine * cosines + sine * sines) / turning
            columns.append(times[:, None] * moving)
            columns.append((-0.5 * times**2)[:, None] * moving[:, drifting])
        table = np.concatenate(columns, axis=1)
        solved = _solved(table, lag, root)
        start = stretch.base.shape[1]
        cosine, sine = solved[start : start + count], solved[start + count : start + 2 * count]
        if gaps:
            drawn = table @ solved
            lag[~good] = drawn[~good] + np.interp(times[~good], times[good], (lag - drawn)[good])
            root = np.sqrt(fit_taper(stretch))
        if step:
            moved = frequency + np.clip(solved[start + 2 * count : start + 3 * count] / (2.0 * np.pi), -most, most)
            bent = solved[start + 3 * count :] / (2.0 * np.pi * frequency[drifting])
            frequency = np.clip(moved, frequency_hz - most, frequency_hz + most)
            reach = 2.0 / (frequency[drifting] * stretch.seconds**2)
            slowing[drifting] = np.clip(
                slowing[drifting] + np.clip(bent, -reach, reach),
                slowing_per_s[drifting] - reach,
                slowing_per_s[drifting] + reach,
            )
    return Fitted(frequency, cosine, sine, slowing)


def left_over(stretch: Stretch, fitted: Fitted) -> NDArray[np.float64]:
    """Give the speed deviation without the fitted lines, its straight line out, zero where there is none.

    Arguments:
        stretch: what they were fitted to.
        fitted: from `fit`.
    """
    left = stretch.speed.copy()
    for line in range(len(fitted.frequency_hz)):
        one = slice(line, line + 1)
        turn = _turns(stretch.times_s, fitted.frequency_hz[one], fitted.slowing_per_s[one])[0][:, 0]
        left -= fitted.cosine[line] * np.cos(turn) + fitted.sine[line] * np.sin(turn)
    there = stretch.weight > 0.0
    return np.where(there, left - straight_line(left, there), 0.0)


__all__ = ["LONGEST_S", "NOTHING", "Fitted", "Stretch", "fit", "fit_taper", "left_over", "stretch_of"]
