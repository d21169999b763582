"""A number and its doubt."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with the half-width of its 95 % interval, and where it comes from.

    Arguments:
        value: in the SI unit that the owner's name says.
        doubt: half-width of the 95 % interval, same unit; 0 for an exact number.
        basis: "described", "typical" (a range stood in for a missing size) or "derived".
    """

    value: float
    doubt: float = 0.0
    basis: str = "described"

    @property
    def relative_doubt(self) -> float:
        """Give the doubt as a share of the value; infinite at zero."""
        return self.doubt / abs(self.value) if self.value else float("inf")
