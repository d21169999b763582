"""One machine over the years: what was read at each visit, and which way it goes."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from tapewright.words.reading import Reading


@dataclass(frozen=True, slots=True)
class Visit:
    """One recording of one visit.

    Arguments:
        job_id: of the job.
        ticket: its number.
        on: the day it was measured.
        stage: "before" or "after" the repair; "" when nobody said.
        complaint: the owner's words.
        renewed: parts that were renewed on that visit.
        readings: by name; a line of the flutter by "line PART ORDER".
    """

    job_id: str
    ticket: str
    on: date
    stage: str
    complaint: str
    renewed: tuple[str, ...]
    readings: Mapping[str, Reading]


@dataclass(frozen=True, slots=True)
class Trend:
    """How one reading goes from visit to visit, the repair's own change left out.

    Arguments:
        name: of the reading.
        per_year: its change in a year; without a value where it cannot be told.
        points: day, reading, for a picture; from before each repair, in order.
        rising: whether it grows, in size, by more than doubt.
    """

    name: str
    per_year: Reading
    points: tuple[tuple[date, Reading], ...]
    rising: bool
