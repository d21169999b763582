"""What was noticed, when, and how sure one is."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from tapewright.words.reading import Reading


@dataclass(frozen=True, slots=True)
class Observation:
    """One answer about one sign.

    Arguments:
        id: the sign's id, as `tapewright signs` prints it.
        present: True, False, or None for "cannot tell".
        sure: 0 (a guess) to 1 (certain).
        when: "cold", "warm", "start of tape" and so on, in the user's words.
        cassette: which cassette, in the user's words.
        after: parts renewed before this was noticed.
    """

    id: str
    present: bool | None
    sure: float = 1.0
    when: str = ""
    cassette: str = ""
    after: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that is known of one machine before anything is worked out.

    Arguments:
        signs: in the order they were noticed.
        readings: measured values by name: `speed_error_pct`, `weighted_peak_pct` and so on.
        age_years: age of the rubber and grease; None when unknown.
    """

    signs: tuple[Observation, ...] = ()
    readings: Mapping[str, Reading] = field(default_factory=dict)
    age_years: float | None = None
