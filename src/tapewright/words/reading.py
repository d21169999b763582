"""One measured value with its doubt; or the reason there is none."""

from dataclasses import dataclass
from typing import Final

SENSES: Final = ("microphone", "film", "film of a wind")
"""What may take a reading instead of an instrument or a hand."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What was measured, or why it could not be.

    Arguments:
        value: in `unit`; None when there is no reading.
        unit: a bench unit: "%", "Hz", "s", "dB", "g·cm".
        doubt: half-width of the 95 % interval, same unit.
        why_not: the reason, a sentence, when `value` is None.
        method: how it was taken, with the document it follows.
        conditions: the stretch, the band, the settings it depends on.
        interval: the 95 % interval, where it does not lie evenly about the value or where there is an upper limit only;
            None for the value with its doubt either way.
        by: the sense that took it, one of `SENSES`; "" for an instrument, a hand, or a recording of a tape.
    """

    value: float | None
    unit: str
    doubt: float | None = None
    why_not: str | None = None
    method: str = ""
    conditions: str = ""
    interval: tuple[float, float] | None = None
    by: str = ""

    def __post_init__(self) -> None:
        if (self.value is None) == (self.why_not is None):
            raise ValueError("a reading has a value or a reason, and not both")
