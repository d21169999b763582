"""Two lines so near each other that one fit cannot simply take them for two.

Two steady lines are told apart once they slip a whole turn against each other in the stretch: there the least squares
of two sines loses nothing. Nearer, their sizes trade against each other, and both are named but not told apart.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.line_fit import Fitted, Stretch, fit, left_over

SEPARABLE_TURNS: Final = 1.0
"""Two lines that slip by less than this against each other in the stretch are not told apart."""
TRIED_BINS: Final = ((-0.45, 0.45), (-0.2, 0.7), (-0.7, 0.2), (-0.8, 0.8))
"""Where beside the one line the two are first put, bins."""
NEIGHBOUR_BINS: Final = 6.0
"""A neighbour further off costs a line nothing."""
COARSE: Final = 400
"""So many moments are enough for two lines' slow turning against each other."""


def split(stretch: Stretch, fitted: Fitted, line: int) -> Fitted:
    """Fit two lines in place of one, all others with them; of several beginnings the one that leaves least.

    Arguments:
        stretch: what the lines are fitted to.
        fitted: the lines so far.
        line: which of them is to be two; the two come last.
    """
    kept = np.arange(len(fitted.frequency_hz)) != line
    at = float(fitted.frequency_hz[line])
    least, best = np.inf, fitted
    for first, second in TRIED_BINS:
        two = [at + first / stretch.seconds, at + second / stretch.seconds]
        tried = fit(
            stretch, np.append(fitted.frequency_hz[kept], two), np.append(fitted.slowing_per_s[kept], [0.0, 0.0]), 6
        )
        left = float(np.sum((left_over(stretch, tried) * stretch.weight) ** 2))
        if left < least:
            least, best = left, tried
    return best


def turns_apart(fitted: Fitted, seconds: float) -> float:
    """Give by how many turns the last two lines slip against each other in the stretch.

    Arguments:
        fitted: from `split`.
        seconds: length of the stretch.
    """
    return float(abs(fitted.frequency_hz[-1] - fitted.frequency_hz[-2]) * seconds)


def crowding(
    fitted: Fitted, times_s: NDArray[np.float64], weight: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give the factors by which the variances of each size and of each frequency grow through the nearest neighbour.

    Arguments:
        fitted: the lines.
        times_s: of the samples, shape (n,).
        weight: of the fit, shape (n,).

    Returns:
        Two of shape (lines,): from the covariance of the least squares of the two, sizes, phases and frequencies, over
        that of the one alone, the noise white nearby.
    """
    count = len(fitted.frequency_hz)
    sizes, rates = np.ones(count), np.ones(count)
    step = max(1, len(times_s) // COARSE)
    times, weights = times_s[::step], weight[::step]
    seconds = max(float(times[-1] - times[0]), 1e-9)
    for line in range(count if count > 1 else 0):
        apart = np.abs(fitted.frequency_hz - fitted.frequency_hz[line])
        apart[line] = np.inf
        other = int(np.argmin(apart))
        if apart[other] * seconds > NEIGHBOUR_BINS:
            continue
        alone = _variances(_columns(fitted, (line,), times), weights)
        both = _variances(_columns(fitted, (line, other), times), weights)
        sizes[line], rates[line] = both[0] / alone[0], both[1] / alone[1]
    return np.maximum(sizes, 1.0), np.maximum(rates, 1.0)


def _columns(fitted: Fitted, lines: tuple[int, ...], times: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give, against the first line's own turning, what its size, rate and phase change, and the same of the others."""
    columns = []
    middle = fitted.frequency_hz[lines[0]]
    for line in lines:
        phasor = fitted.cosine[line] - 1j * fitted.sine[line]
        turned = phasor / max(abs(phasor), 1e-30) * np.exp(2j * np.pi * (fitted.frequency_hz[line] - middle) * times)
        columns += [turned, 1j * times * turned, 1j * turned]
    table = np.stack(columns, axis=1)
    return np.asarray(np.concatenate([table.real, table.imag]), dtype=np.float64)


def _variances(table: NDArray[np.float64], weights: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the variances of a weighted least squares' unknowns in white noise, up to a common factor."""
    twice = np.concatenate([weights, weights])
    scale = np.sqrt(np.einsum("ij,ij->j", table, table))
    table = table / scale
    normal = table.T @ (table * twice[:, None])
    normal[np.diag_indices_from(normal)] *= 1.0 + 1e-9
    inverse = np.linalg.inv(normal)
    noise = table.T @ (table * (twice**2)[:, None])
    return np.asarray(np.diag(inverse @ noise @ inverse) / scale**2, dtype=np.float64)


__all__ = ["SEPARABLE_TURNS", "crowding", "split", "turns_apart"]
