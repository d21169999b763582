"""How the doubt of sizes becomes the doubt of what follows from them: first order, every size moved on its own.

A quantity is worked out once for all moved sizes together: every size is a column of numbers, whose first entry is the
size itself, followed by two entries for each size of the machine, moved up and down while the others stand still.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.words.estimate import Estimate

Column = NDArray[np.float64]
_STEP: Final = 0.02
"""A size is moved by its doubt, but by no more than this share of itself: a range is wide, the derivative is local."""


@dataclass(frozen=True, slots=True)
class Columns:
    """Sizes of a machine, each as a column.

    Arguments:
        sizes: the sizes as estimates.
        values: the columns, shape (1 + 2 n,) for n sizes in doubt.
        scales: doubt over step of each moved size, shape (n,).
        moved: their names, in the order of the columns.
        log_scales: for each moved size the half-width of its logarithm over the move of its logarithm, shape (n,); 0
            for a size of nothing, which has no logarithm.
    """

    sizes: Mapping[str, Estimate]
    values: Mapping[str, Column]
    scales: Column
    moved: tuple[str, ...]
    log_scales: Column

    def __getitem__(self, name: str) -> Column:
        return self.values[name]

    def constant(self, value: float) -> Column:
        """Give a column that no doubt moves."""
        return np.full(1 + 2 * len(self.moved), value)

    def __contains__(self, name: object) -> bool:
        return name in self.values


def columns(sizes: Mapping[str, Estimate], exact: bool = False) -> Columns:
    """Lay out sizes as columns.

    Arguments:
        sizes: by name.
        exact: True to leave the doubt out: columns of one entry, quicker to work with.
    """
    moved = () if exact else tuple(name for name, size in sizes.items() if size.doubt > 0)
    length = 1 + 2 * len(moved)
    values = {name: np.full(length, size.value) for name, size in sizes.items()}
    scales, log_scales = np.ones(len(moved)), np.zeros(len(moved))
    for index, name in enumerate(moved):
        size = sizes[name]
        step = min(size.doubt, _STEP * abs(size.value)) if size.value else size.doubt
        scales[index] = size.doubt / step
        values[name][1 + 2 * index] += step
        values[name][2 + 2 * index] -= step
        if size.value > 0:
            log_scales[index] = math.asinh(size.doubt / size.value) / (2 * math.atanh(step / size.value))
    return Columns(sizes, values, scales, moved, log_scales)


def estimate(result: Column, table: Columns) -> Estimate:
    """Turn a column that was worked out from sizes into a value with its doubt.

    Arguments:
        result: shape (1 + 2 n,), as laid out by `columns`.
        table: the sizes it came from.

    >>> sizes = columns({"a": Estimate(3.0, 0.3), "b": Estimate(4.0, 0.4)})
    >>> round(estimate(sizes["a"] * sizes["b"], sizes).doubt, 2)
    1.7
    """
    result = np.broadcast_to(result, (1 + 2 * len(table.moved),))
    shares = _shares(result, table)
    value = float(result[0])
    counts = np.abs(shares) > 1e-9 * max(abs(value), 1e-300)
    by_range = any(table.sizes[name].basis == "typical" for name, used in zip(table.moved, counts, strict=True) if used)
    return Estimate(value, float(np.sqrt(np.sum(shares**2))), "typical" if by_range else "derived")


def interval(result: Column, table: Columns) -> tuple[float, float]:
    """Give the 95 % interval of something that cannot be negative, taking the logarithms of the sizes as normal.

    A size of value x and doubt d counts as x times or over exp(asinh(d / x)): an interval 2 d wide that never reaches
    nothing, however wide the doubt. Margins are products of such sizes, so this is nearer the truth than value ± doubt
    as soon as the doubt is a good part of the value. Closed form of our own.

    Arguments:
        result: shape (1 + 2 n,), as laid out by `columns`.
        table: the sizes it came from.

    >>> sizes = columns({"a": Estimate(3.0, 3.0), "b": Estimate(4.0)})
    >>> [round(end, 2) for end in interval(sizes["a"] * sizes["b"], sizes)]
    [4.97, 28.97]
    """
    result = np.broadcast_to(result, (1 + 2 * len(table.moved),))
    value = float(result[0])
    if value <= 0:
        return value, value
    halves = np.arcsinh(np.abs(_shares(result, table)) / value)
    up, down = result[1::2], result[2::2]
    whole = (up > 0) & (down > 0) & (table.log_scales > 0)
    halves[whole] = np.abs(np.log(up[whole] / down[whole])) * table.log_scales[whole]
    factor = math.exp(math.sqrt(float(np.sum(halves**2))))
    return value / factor, value * factor


def leading(result: Column, table: Columns) -> tuple[str, float]:
    """Name the size whose doubt matters most to a result, and its share of the variance, 0 to 1.

    Arguments:
        result: shape (1 + 2 n,), as laid out by `columns`.
        table: the sizes it came from.

    Returns:
        The name and the share; an empty name and 0 where nothing is in doubt.

    >>> sizes = columns({"a": Estimate(3.0, 0.6), "b": Estimate(4.0, 0.4)})
    >>> leading(sizes["a"] * sizes["b"], sizes)
    ('a', 0.8)
    """
    variances = _shares(np.broadcast_to(result, (1 + 2 * len(table.moved),)), table) ** 2
    total = float(np.sum(variances))
    if not variances.size or total <= 0:
        return "", 0.0
    first = int(np.argmax(variances))
    return table.moved[first], round(float(variances[first]) / total, 6)


def _shares(result: Column, table: Columns) -> Column:
    return np.asarray((result[1::2] - result[2::2]) / 2 * table.scales)
