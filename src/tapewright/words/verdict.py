"""A reading held against a limit: kept, broken, or too near to tell."""

from dataclasses import dataclass
from typing import Final

from tapewright.words.reading import Reading

PASS: Final = "pass"
FAIL: Final = "fail"
WITHIN_DOUBT: Final = "within doubt of the limit"
VERDICTS: Final = (PASS, FAIL, WITHIN_DOUBT)
EITHER_WAY: Final = "either way"
AT_MOST: Final = "at most"
AT_LEAST: Final = "at least"
WAYS: Final = (EITHER_WAY, AT_MOST, AT_LEAST)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a limit makes of a reading.

    Arguments:
        verdict: "pass", "fail" or "within doubt of the limit".
        limit: in the reading's unit.
        unit: of both.
        source: whose limit it is: the machine's own sheet, or a document.
        way: one of `WAYS`: on which side of the limit the reading has to stay.
    """

    verdict: str
    limit: float
    unit: str
    source: str
    way: str = EITHER_WAY


def judged(reading: Reading, limit: float, source: str, way: str = EITHER_WAY) -> Verdict | None:
    """Hold a reading against a limit by its 95 % interval.

    Arguments:
        reading: with its doubt or its interval; one without either is taken at its word.
        limit: in the reading's unit.
        source: whose limit it is.
        way: one of `WAYS`. "either way" is about the size of the reading, whatever its sign.

    Returns:
        None where nothing was read. Of a reading that is an upper limit only, what lies below it all may be true: it
        passes "at most" where even that is kept, and fails no such limit.

    >>> judged(Reading(0.12, "%", 0.01), 0.1, "its sheet").verdict
    'fail'
    >>> judged(Reading(-1.45, "%", 0.1), 1.5, "its sheet").verdict
    'within doubt of the limit'
    >>> judged(Reading(-54.0, "dB", 0.5), -50.0, "its sheet", AT_MOST).verdict
    'pass'
    """
    if reading.interval is not None:
        low, high = reading.interval
    elif reading.value is not None:
        low, high = (reading.value + sign * (reading.doubt or 0.0) for sign in (-1.0, 1.0))
    else:
        return None
    if way == EITHER_WAY:
        low, high = 0.0 if low <= 0.0 <= high else min(abs(low), abs(high)), max(abs(low), abs(high))
    if way == AT_LEAST:
        verdict = PASS if low >= limit else FAIL if high < limit else WITHIN_DOUBT
    else:
        verdict = PASS if high <= limit else FAIL if low > limit else WITHIN_DOUBT
    return Verdict(verdict, limit, reading.unit, source, way)


def worst(verdicts: list[str]) -> str | None:
    """Give the worst of several verdicts: fail, within doubt, pass; None of none.

    >>> worst([PASS, WITHIN_DOUBT, PASS])
    'within doubt of the limit'
    """
    return next((one for one in (FAIL, WITHIN_DOUBT, PASS) if one in verdicts), None)
