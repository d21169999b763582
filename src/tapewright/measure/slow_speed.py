"""Slow speed change without a test tone: the noun for it, of a lower grade than what a tone gives."""

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.words.reading import Reading
from tapewright.words.signal import Trace

LEAST_S: Final = 20.0
"""Shorter, and slow change cannot be told from one note's or one hum's own."""
ENDS_S: Final = 30.0
"""Drift is the mean of the last so many seconds less that of the first, as with a tone; in less than twice it a
line's end less its beginning."""
GRADE: Final = "lower grade, without a test tone"


@dataclass(frozen=True, slots=True, eq=False)
class SlowSpeed:
    """Slow speed change that something other than a test tone tells; or why it does not.

    Arguments:
        source: "hum" or "programme".
        drift_pct: how much faster at the end than at the beginning.
        speed_error_pct: mean speed over that of the recording machine, fast positive; of hum only.
        trace: speed deviation from its mean, ratio; nan where there is none; None without a reading.
        doubt: half-width of the 95 % interval of each value of the trace, ratio.
        notes: sentences.
    """

    source: str
    drift_pct: Reading
    speed_error_pct: Reading
    trace: Trace | None = None
    doubt: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))
    notes: tuple[str, ...] = ()


def no_slow_speed(source: str, reason: str, notes: tuple[str, ...] = ()) -> SlowSpeed:
    """Give the answer "this source tells nothing", with its reason, a sentence.

    >>> no_slow_speed("hum", "There is none.").drift_pct.value is None
    True
    """
    none = Reading(None, "%", why_not=reason)
    return SlowSpeed(source, none, none, notes=notes)


def drift_weights(times_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the weights by which values at these times add up to the drift over them, shape (n,).

    Arguments:
        times_s: rising, shape (n,), at least two.

    >>> values = np.array([1.0, 2.0, 3.0])
    >>> round(float(drift_weights(np.array([0.0, 1.0, 2.0])) @ values), 9)
    2.0
    """
    length = float(times_s[-1] - times_s[0])
    if length < 2.0 * ENDS_S:
        middle = times_s - times_s.mean()
        return np.asarray(length * middle / (middle @ middle))
    last, first = times_s > times_s[-1] - ENDS_S, times_s < times_s[0] + ENDS_S
    return np.asarray(last / last.sum() - first / first.sum())


__all__ = ["ENDS_S", "GRADE", "LEAST_S", "SlowSpeed", "drift_weights", "no_slow_speed"]
