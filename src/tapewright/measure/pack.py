"""What a reel-borne line says of its pack: radius, thickness of the tape, how much is wound on it.

A hub that turns at f while tape runs past at v has a pack of r = v/(2 pi f); since r² grows by v h/pi a second, it
loses b = 2 pi h f²/v of its rate a second (closed forms of our own). So rate and slowing give radius and thickness, and
with the bare hub's radius the length that is wound, pi (r² - hub²)/h: how far in the tape the recording lies.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from tapewright.measure.lines import FittedLines
from tapewright.standards.iec_60094 import HUB_RADIUS_M, SPEED_M_PER_S
from tapewright.words.reading import Reading

HUB_DOUBT_M: Final = 0.5e-3
"""Own choice: the hub's radius is known from memory, and hubs differ."""
RADII_M: Final = (0.0095, 0.027)
"""From a bare hub to the fullest pack the shell holds; own choice."""
THICKNESS_KNOWN: Final = 0.5
"""Doubted by more than this share, the thickness is not known."""


@dataclass(frozen=True, slots=True)
class Pack:
    """One reel's pack, half way through the stretch.

    Arguments:
        line_hz: the line it was read off.
        order: how many turns of the line are in one of the hub: 2 for a second harmonic.
        grows: whether the pack grows: the take-up's.
        radius_m: reading.
        thickness_m: of the tape; reading.
        wound_m: how much tape is on it; reading.
    """

    line_hz: float
    order: int
    grows: bool
    radius_m: Reading
    thickness_m: Reading
    wound_m: Reading

    def says(self) -> str:
        """Give it as a sentence."""
        found = [f"radius {_mm(self.radius_m)} mm"]
        if self.thickness_m.value is not None:
            found.append(f"tape {_scaled(self.thickness_m, 1e6)} µm thick")
        if self.wound_m.value is not None:
            found.append(f"{_scaled(self.wound_m, 1.0)} m wound on it")
        which = "take-up" if self.grows else "supply"
        left = "" if self.thickness_m.value is not None else f" {self.thickness_m.why_not}"
        return f"The {which} reel's pack by its line at {self.line_hz:.3f} Hz: {', '.join(found)}.{left}"


def _mm(reading: Reading) -> str:
    return _scaled(reading, 1e3)


def _scaled(reading: Reading, factor: float) -> str:
    return f"{factor * (reading.value or 0.0):.1f} ± {factor * (reading.doubt or 0.0):.1f}"


def pack_of(
    line_hz: float,
    line_doubt_hz: float,
    slowing_per_s: float,
    slowing_doubt_per_s: float,
    tape_m_per_s: float = SPEED_M_PER_S.value,
    speed_doubt: float = 0.0,
) -> Pack | None:
    """Read a pack off a line that slows down or speeds up as a reel does; None when no pack of a cassette fits.

    Arguments:
        line_hz: its rate half way through.
        line_doubt_hz: half-width of the 95 % interval of that.
        slowing_per_s: relative loss of rate per second; negative for a pack that shrinks.
        slowing_doubt_per_s: its doubt.
        tape_m_per_s: how fast the tape runs.
        speed_doubt: doubt of that, ratio.

    >>> pack = pack_of(0.689, 0.002, 1.03e-3, 1e-4)
    >>> round(1e3 * pack.radius_m.value, 2), round(1e6 * pack.thickness_m.value, 1)
    (11.0, 16.4)
    """
    for order in (1, 2):
        rate = line_hz / order
        radius = tape_m_per_s / (2.0 * np.pi * rate)
        if RADII_M[0] <= radius <= RADII_M[1]:
            break
    else:
        return None
    of_rate = line_doubt_hz / line_hz
    radius_doubt = float(radius * np.hypot(of_rate, speed_doubt))
    thickness = abs(slowing_per_s) * tape_m_per_s / (2.0 * np.pi * rate**2)
    share = float(np.sqrt((slowing_doubt_per_s / slowing_per_s) ** 2 + (2.0 * of_rate) ** 2 + speed_doubt**2))
    method = "rate and slowing of the reel's line, r² growing evenly"
    known = share < THICKNESS_KNOWN
    unknown = Reading(None, "m", why_not="The stretch is too short for its slowing to tell how thick the tape is.")
    return Pack(
        line_hz,
        order,
        slowing_per_s > 0.0,
        Reading(float(radius), "m", radius_doubt, method="rate of the reel's line against the tape's speed"),
        Reading(float(thickness), "m", float(thickness * share), method=method) if known else unknown,
        _wound(float(radius), radius_doubt, float(thickness), share, method) if known else unknown,
    )


def _wound(radius: float, radius_doubt: float, thickness: float, share: float, method: str) -> Reading:
    """Give the length on the pack: it holds the doubts of both radii and of the thickness."""
    hub = HUB_RADIUS_M.value
    area = max(radius**2 - hub**2, 0.0)
    of_area = 2.0 * float(np.hypot(radius * radius_doubt, hub * HUB_DOUBT_M))
    length = np.pi * area / thickness
    doubt = np.hypot(np.pi * of_area / thickness, length * share)
    return Reading(float(length), "m", float(doubt), method=method, conditions=f"on a hub of {1e3 * hub:g} mm radius")


def packs(lines: FittedLines, speed_error_pct: Reading) -> tuple[Pack, ...]:
    """Read the packs off all lines of a stretch that change their rate as a reel does; harmonics of one are left out.

    Arguments:
        lines: from `find_lines` or `long_readings`.
        speed_error_pct: of the tape; without it the speed is taken as nominal within 2 %.
    """
    ratio, doubt = 1.0, 0.02
    if speed_error_pct.value is not None:
        ratio, doubt = 1.0 + speed_error_pct.value / 100.0, (speed_error_pct.doubt or 0.0) / 100.0
    found: list[Pack] = []
    rows = zip(lines.lines, lines.slowing_per_s, lines.slowing_doubt_per_s, strict=False)
    for line, slowing, unsure in rows:
        if not slowing or any(_harmonic(line.frequency_hz, one.line_hz) for one in found):
            continue
        pack = pack_of(
            line.frequency_hz,
            line.frequency_doubt_hz,
            float(slowing),
            float(unsure),
            SPEED_M_PER_S.value * ratio,
            doubt,
        )
        if pack is not None:
            found.append(pack)
    return tuple(found)


def _harmonic(line_hz: float, of_hz: float) -> bool:
    order = line_hz / of_hz
    return round(order) > 1 and abs(order / round(order) - 1.0) < 0.01


__all__ = ["Pack", "pack_of", "packs"]
