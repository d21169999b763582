"""The two packs of tape as they change while tape runs, in closed form."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapewright.machine.formulas import pack_length, pack_radius
from tapewright.machine.parts import TapeFormat

Samples = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Packs:
    """Take-up and supply pack of one cassette.

    Arguments:
        tape: hub, full pack, thickness.
        wound_m: length of tape on the take-up hub at the beginning, metres.
        m_per_s: speed of the tape, where a capstan holds it.
        reel_turns_per_s: turns of the take-up reel, where that sets the speed; 0 where the capstan does.
    """

    tape: TapeFormat
    wound_m: float
    m_per_s: float
    reel_turns_per_s: float = 0.0

    @property
    def side_m(self) -> float:
        """Give the length of tape on one side, metres."""
        return float(pack_length(self.tape.hub_radius_m, self.tape.full_radius_m, self.tape.thickness_m))

    def wound(self, times_s: Samples) -> Samples:
        """Give the length on the take-up hub at these times, metres, same shape; it ends with the side."""
        tape = self.tape
        if self.reel_turns_per_s:
            start = float(pack_radius(tape.hub_radius_m, self.wound_m, tape.thickness_m))
            radius = start + tape.thickness_m * self.reel_turns_per_s * times_s
            length = np.asarray(pack_length(tape.hub_radius_m, radius, tape.thickness_m), dtype=np.float64)
        else:
            length = self.wound_m + self.m_per_s * times_s
        return np.asarray(np.clip(length, 0.0, self.side_m), dtype=np.float64)

    def takeup_m(self, times_s: Samples) -> Samples:
        """Give the radius of the take-up pack, metres, same shape."""
        return np.asarray(pack_radius(self.tape.hub_radius_m, self.wound(times_s), self.tape.thickness_m))

    def supply_m(self, times_s: Samples) -> Samples:
        """Give the radius of the supply pack, metres, same shape."""
        left = self.side_m - self.wound(times_s)
        return np.asarray(pack_radius(self.tape.hub_radius_m, left, self.tape.thickness_m))

    def turns(self, times_s: Samples, supply: bool) -> Samples:
        """Give the turns a reel has made since the beginning: a turn changes the radius by one thickness."""
        radius = self.supply_m if supply else self.takeup_m
        return np.asarray(np.abs(radius(times_s) - radius(np.zeros(1))) / self.tape.thickness_m)

    @property
    def ends_s(self) -> float:
        """Give the time at which the tape comes to its end, seconds; infinite where it does not move."""
        left = self.side_m - self.wound_m
        if self.reel_turns_per_s:
            start = float(pack_radius(self.tape.hub_radius_m, self.wound_m, self.tape.thickness_m))
            return (self.tape.full_radius_m - start) / (self.tape.thickness_m * self.reel_turns_per_s)
        return left / self.m_per_s if self.m_per_s > 0 else float("inf")
