"""What is kept of a filtered deviation, stretch by stretch; and the quasi-peak meter, shown many stretches at once."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.shares import Shares, level_exceeded
from tapewright.standards.iec_60386 import TWO_SIGMA_SHARE, quasi_peak_indication

METER_AT_ONCE_S: Final = 2400.0
"""The meter's detectors run side by side over pieces of the record: the more at once, the faster."""
QUARTERS: Final = 4
_REST_S: Final = 4.0
"""Nothing is shown for so long before each stretch: eight times the pointer's decay."""


class Sizes:
    """What is kept of one filtered deviation: how often each size is exceeded, its power, and how both scatter."""

    def __init__(self) -> None:
        self.shares = Shares()
        self.squares, self.sizes, self.count = 0.0, 0.0, 0
        self.peaks: list[float] = []
        self.rms: list[float] = []
        self.means: list[float] = []
        self.quarter_peaks: list[float] = []
        self.quarter_rms: list[float] = []
        self.quarter_means: list[float] = []

    def add(self, values: NDArray[np.float32]) -> None:
        """Take the values of one stretch that count, shape (n,)."""
        if not len(values):
            return
        squares, sizes = float(np.dot(values, values)), 0.0
        self.rms.append(float(np.sqrt(squares / len(values))))
        before = self.shares.counts.copy()
        for quarter in np.array_split(values, QUARTERS):
            self.quarter_peaks.append(self.shares.add(quarter))
            self.quarter_rms.append(float(np.sqrt(np.dot(quarter, quarter) / max(len(quarter), 1))))
            summed = float(np.sum(np.abs(quarter), dtype=np.float64))
            self.quarter_means.append(summed / max(len(quarter), 1))
            sizes += summed
        self.peaks.append(level_exceeded(self.shares.counts - before, TWO_SIGMA_SHARE))
        self.means.append(sizes / len(values))
        self.squares += squares
        self.sizes += sizes
        self.count += len(values)

    def mean_square_root(self) -> float:
        """Give the root of the mean square of all."""
        return float(np.sqrt(self.squares / max(self.count, 1)))

    def mean_size(self) -> float:
        """Give the mean size of all."""
        return self.sizes / max(self.count, 1)


class Meter:
    """Show the weighted deviation of every channel to the quasi-peak meter, many stretches at a time."""

    def __init__(self) -> None:
        self._held: list[tuple[NDArray[np.float32], NDArray[np.bool_], Sizes]] = []
        self._rate_hz, self._seconds = 0.0, 0.0

    def add(self, values: NDArray[np.float32], counted: NDArray[np.bool_], into: Sizes, rate_hz: float) -> None:
        """Take one stretch.

        Arguments:
            values: weighted deviation, with what comes before for the meter to settle in, shape (n,).
            counted: which of them count, shape (n,).
            into: where the meter's indication is kept.
            rate_hz: samples per second; all channels that are shown together have the same.
        """
        if self._held and rate_hz != self._rate_hz:
            self.flush()
        self._rate_hz = rate_hz
        self._held.append((values, counted, into))
        self._seconds += len(values) / rate_hz
        if self._seconds >= METER_AT_ONCE_S:
            self.flush()

    def flush(self) -> None:
        """Show what is held."""
        if not self._held:
            return
        rest = np.zeros(int(_REST_S * self._rate_hz), dtype=np.float32)
        together = np.concatenate([part for values, _, _ in self._held for part in (rest, values)])
        shown = quasi_peak_indication(together, self._rate_hz).astype(np.float32)
        at = 0
        for values, counted, into in self._held:
            at += len(rest)
            into.add(shown[at : at + len(values)][counted])
            at += len(values)
        self._held, self._seconds = [], 0.0


__all__ = ["METER_AT_ONCE_S", "Meter", "Sizes"]
