"""A reading held against a limit: kept, broken, or too near to tell."""

from dataclasses import dataclass
from typing import Final

from tapewright.words.reading import Reading

PASS: Final = "pass"
FAIL: Final = "fail"
WITHIN_DOUBT: Final = "within doubt of the limit"


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a limit makes of a reading.

    Arguments:
        verdict: "pass", "fail" or "within doubt of the limit".
        limit: either way, in the reading's unit.
        unit: of both.
        source: whose limit it is: the machine's own sheet, or a document.
    """

    verdict: str
    limit: float
    unit: str
    source: str


def judged(reading: Reading, limit: float, source: str) -> Verdict | None:
    """Hold a reading against a limit, either way, by its 95 % interval.

    Arguments:
        reading: with its doubt or its interval; one without either is taken at its word.
        limit: in the reading's unit.
        source: whose limit it is.

    Returns:
        None where nothing was read.

    >>> judged(Reading(0.12, "%", 0.01), 0.1, "its sheet").verdict
    'fail'
    >>> judged(Reading(-1.45, "%", 0.1), 1.5, "its sheet").verdict
    'within doubt of the limit'
    """
    if reading.interval is not None:
        low, high = reading.interval
    elif reading.value is not None:
        low, high = (reading.value + sign * (reading.doubt or 0.0) for sign in (-1.0, 1.0))
    else:
        return None
    least = 0.0 if low <= 0.0 <= high else min(abs(low), abs(high))
    most = max(abs(low), abs(high))
    verdict = PASS if most <= limit else FAIL if least > limit else WITHIN_DOUBT
    return Verdict(verdict, limit, reading.unit, source)
