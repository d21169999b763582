"""What two hubs on one tape tell of it: its speed, both packs, its thickness, how far it is wound.

The tape that leaves one pack comes onto the other, so r1² + r2² stays as it is: with a bare hub of r0 and a full pack
of R it is r0² + R². Both hubs turn at v = 2 pi r f; hence v = 2 pi sqrt(r0² + R²)/sqrt(1/f1² + 1/f2²), and each
radius is v/(2 pi f) (closed forms of our own). R is 23 to 25 mm for C60, C90 and C120 alike, by published lengths and
thicknesses, so a film alone tells speed within a few per cent; a short tape reads too fast. Thickness is t = v
d(T²)/(4 pi dtime) from two turn periods T (r² grows by v t/pi a second).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.film_one_tape import HOLDS_TURNS, THICKEST_M, THINNEST_M, PackRatio, pack_law
from tapewright.measure.film_rates import SURE, RateCourse
from tapewright.standards.iec_60094 import HUB_RADIUS_M, pack_radius_m
from tapewright.words.reading import Reading

Floats = NDArray[np.float64]

HUB_DOUBT_M: Final = 0.5e-3
FULLEST_M: Final = (pack_radius_m(85.7, 15e-6), pack_radius_m(90.0, 18e-6))
"""A full C60, by the least and the most length and thickness that are published; C90 and C120 lie within."""
FULL_M: Final = sum(FULLEST_M) / 2.0
FULL_DOUBT_M: Final = (FULLEST_M[1] - FULLEST_M[0]) / 2.0
LEAST_BOTH_S: Final = 1.0
PACKS_S: Final = 4.0
"""The packs at the end are told from so many last steady seconds; own choice."""
WOBBLES_TURNS: Final = 0.003
"""How far a hub's angle strays with a centre that is a little off, by drawn films."""
CHANGES: Final = 7e-4
"""How much the ratio of two packs changes with a turn: 16 µm over 15 and 22 mm."""
SLIPPED: Final = 0.05
"""Standard deviation of the ratio, as a share, where a reel is winding in what it left; own choice."""
LEAST_PACKS: Final = 0.004
"""Least standard deviation of their ratio, as a share: a reel that coasts to its stop still winds; own choice."""
THICKNESS_KNOWN: Final = 0.5
"""Doubted by more than this share, the thickness is not known."""


@dataclass(frozen=True, slots=True)
class TapeSeen:
    """What both hubs tell.

    Arguments:
        speed_m_per_s: of the tape.
        radius_m: of each pack, by hub.
        thickness_m: of the tape.
        position: share of the tape that is on the hub that takes up.
        takes_up: the hub that takes up; "" when that cannot be told.
        other_way: whether the pack that surely grows is not on the hub that was said to take up.
    """

    speed_m_per_s: Reading
    radius_m: dict[str, Reading]
    thickness_m: Reading
    position: Reading
    takes_up: str
    other_way: bool = False


def tape_seen(courses: tuple[RateCourse, ...], takes_up: str = "", open_why: str = "") -> TapeSeen:
    """Read the tape off both hubs, over the time in which both turn steadily the same way.

    Arguments:
        courses: of two hubs, on the same times.
        takes_up: the hub that takes up, where it is known; else the one that turns slower as its pack grows. Where the
            other pack surely grows, that one is taken.
        open_why: why the rates are left open; "" where they are not.
    """
    why = open_why or _why_not(courses)
    if why:
        none = {unit: Reading(None, unit, why_not=why) for unit in ("m/s", "m", "1")}
        return TapeSeen(none["m/s"], {one.name: none["m"] for one in courses}, none["m"], none["1"], takes_up)
    steady = _steady(courses)
    times = courses[0].times_s[steady]
    fits = [_period_fit(one.rate_hz[steady], one.doubt_hz[steady], times) for one in courses]
    squares = np.array([fit[0] for fit in fits])  # 1/f² in the middle of the time
    of_square = np.array([fit[1] for fit in fits])
    whole = HUB_RADIUS_M.value**2 + FULL_M**2
    of_whole = 2.0 * float(np.hypot(HUB_RADIUS_M.value * HUB_DOUBT_M, FULL_M * FULL_DOUBT_M))
    total = float(squares.sum())
    speed = 2.0 * np.pi * np.sqrt(whole / total)
    share = float(np.hypot(0.5 * of_whole / whole, 0.5 * float(np.hypot(*of_square)) / total))
    conditions = "for a full cassette (C60, C90 or C120); a shorter tape runs slower than this says"
    radii: dict[str, Reading] = {}
    for one, square in zip(courses, squares, strict=True):
        radius = float(np.sqrt(whole * square / total))
        radii[one.name] = Reading(radius, "m", radius * 0.5 * of_whole / whole, method="both hubs' rates",
                                  conditions=conditions)  # fmt: skip
    thick, grows = _thickness(courses, fits, speed, share)
    # With a thickness to be had at all, which pack grows is sure by four standard deviations.
    other_way = bool(takes_up) and thick.value is not None and grows != takes_up
    taker = grows if other_way or not takes_up else takes_up
    speed_read = Reading(float(speed), "m/s", float(speed * share), method="both hubs' rates", conditions=conditions)
    return TapeSeen(speed_read, radii, thick, _position(courses, radii, whole, of_whole, taker), taker,
                    other_way)  # fmt: skip


def pack_ratio(courses: Sequence[RateCourse], *, slipped: bool = False) -> PackRatio | None:
    """Give how large the left pack is beside the right one at the end of a film; None where nothing tells it.

    What both hubs turned is on one tape, so the radii are as the other's turns; fast packs change, and then the law of
    two packs gives them at the end.

    Arguments:
        courses: of two hubs, on the same times.
        slipped: whether one hub fell short alone: what it winds in later makes the ratio of turns another.
    """
    pair = tuple(courses)
    if len(pair) != 2 or _why_not(pair):
        return None
    steady = np.flatnonzero(_steady(pair))
    law = pack_law(pair[0].turns[steady], pair[1].turns[steady])
    if law is not None and law.left_turns < HOLDS_TURNS and THINNEST_M < law.thickness_m < THICKEST_M:
        ends = law.at(float(pair[0].turns[steady[-1]]), float(pair[1].turns[steady[-1]]))
        if ends.deviation < LEAST_PACKS * ends.ratio:
            return PackRatio(ends.ratio, LEAST_PACKS * ends.ratio)
    late = steady[pair[0].times_s[steady] > pair[0].times_s[steady[-1]] - PACKS_S]
    hop_s = float(pair[0].times_s[1] - pair[0].times_s[0])
    turned = [float(np.abs(one.rate_hz[late]).sum()) * hop_s for one in pair]
    share = SLIPPED if slipped else float(np.hypot(LEAST_PACKS, 2.0 * WOBBLES_TURNS / min(turned)))
    # Over a fast wind the mean is that of its middle.
    changes = max(one.usual_hz for one in pair) * PACKS_S * CHANGES
    ratio = turned[1] / turned[0]
    return PackRatio(ratio, ratio * float(np.hypot(share, changes)))


def _why_not(courses: tuple[RateCourse, ...]) -> str:
    if len(courses) < 2:
        return "Only one hub is in the film: the tape's speed and the packs want both."
    for one in courses:
        if not one.usual_hz:
            return f"The {one.name} hub does not turn, so it tells nothing of the tape."
    steady = _steady(courses)
    times = courses[0].times_s
    hop_s = float(times[1] - times[0]) if len(times) > 1 else 0.0
    if steady.sum() * hop_s < LEAST_BOTH_S:
        return "Both hubs do not turn steadily together for a second."
    if np.median(courses[0].rate_hz[steady]) * np.median(courses[1].rate_hz[steady]) < 0.0:
        return "The hubs turn opposite ways, which no tape between two packs does."
    return ""


def _steady(courses: tuple[RateCourse, ...]) -> NDArray[np.bool_]:
    """Give where each hub runs within 8 % of its own running median: no event, no start, no stop."""
    good = np.ones(len(courses[0].times_s), dtype=np.bool_)
    for one in courses:
        usual = np.median(np.abs(one.rate_hz[np.abs(one.rate_hz) > 0.5 * one.usual_hz])) if one.usual_hz else 0.0
        local = _local(np.abs(one.rate_hz))
        good &= (np.abs(np.abs(one.rate_hz) / np.maximum(local, 1e-9) - 1.0) < 0.08) & (local > 0.5 * usual)
    return good


def _local(rate: Floats) -> Floats:
    from scipy.ndimage import median_filter

    return np.asarray(median_filter(rate, size=min(61, len(rate)), mode="nearest"), dtype=np.float64)


def _period_fit(rate: Floats, doubt: Floats, times: Floats) -> tuple[float, float, float, float]:
    """Fit 1/f² = a + b (t - middle) by least squares; gives a, its doubt, b, its doubt."""
    square = 1.0 / rate**2
    about = times - times.mean()
    spread = float(about @ about)
    slope = float(about @ square) / spread if spread > 0.0 else 0.0
    left = square - square.mean() - slope * about
    own = float(np.mean((2.0 * doubt / SURE / np.abs(rate) ** 3) ** 2))
    variance = max(float(left @ left) / max(1, len(left) - 2), own)
    # Windows overlap four times and speeds waver slowly: about a tenth of the values are their own.
    free = max(len(left) / 10.0, 2.0)
    sure = SURE * np.sqrt(variance / free)
    return float(square.mean()), float(sure), slope, float(sure * np.sqrt(len(left) / spread)) if spread else np.inf


def _thickness(
    courses: tuple[RateCourse, ...], fits: list[tuple[float, float, float, float]], speed: float, share: float
) -> tuple[Reading, str]:
    """Give the thickness from both slopes, which are equal and opposite, and the hub whose pack grows."""
    slopes = np.array([fit[2] for fit in fits])
    doubts = np.maximum(np.array([fit[3] for fit in fits]), 1e-12)
    signs = np.array([1.0, -1.0]) if slopes[0] / doubts[0] ** 2 > slopes[1] / doubts[1] ** 2 else np.array([-1.0, 1.0])
    weight = doubts**-2.0
    slope = float((signs * slopes * weight).sum() / weight.sum())
    doubt = float(weight.sum() ** -0.5)
    growing = courses[0 if signs[0] > 0 else 1].name
    # r² = (v/2 pi)² / f²; d(r²)/dt = v t/pi, hence t = v slope/(4 pi).
    thickness, of_it = speed * slope / (4.0 * np.pi), speed * doubt / (4.0 * np.pi)
    told = slope > doubt
    if not told or doubt / slope > THICKNESS_KNOWN:
        why = "The film is too short for the packs' growth to tell how thick the tape is."
        return Reading(None, "m", why_not=why), growing if told else ""
    method = "growth of both packs' turn periods"
    return Reading(float(thickness), "m", float(np.hypot(of_it, thickness * share)), method=method), growing


def _position(
    courses: tuple[RateCourse, ...], radii: dict[str, Reading], whole: float, of_whole: float, taker: str
) -> Reading:
    if not taker:
        return Reading(None, "1", why_not="It cannot be told from the film which hub takes the tape up.")
    hub = HUB_RADIUS_M.value**2
    radius = radii[taker].value or 0.0
    tape = whole - 2.0 * hub
    share = (radius**2 - hub) / tape
    # The ratio of the radii is sure; the share moves with what is taken for hub and full pack.
    part = radius**2 / whole
    of_hub = 2.0 * HUB_RADIUS_M.value * HUB_DOUBT_M
    by_hub = abs(2.0 * share - 1.0) / tape * of_hub
    by_whole = abs(part - share) / tape * of_whole
    return Reading(float(np.clip(share, 0.0, 1.0)), "1", float(np.hypot(by_hub, by_whole)), method="ratio of the packs")


def position_by_rates(courses: Sequence[RateCourse], takes_up: str, at_s: float, half_s: float) -> float | None:
    """Give the share of the tape on the hub that takes up, about a moment; None where it cannot be told.

    Arguments:
        courses: of two hubs, on the same times.
        takes_up: the hub that takes up.
        at_s: the moment.
        half_s: half of the time over which the rates are averaged.
    """
    if len(courses) < 2 or not takes_up:
        return None
    near = np.abs(courses[0].times_s - at_s) <= half_s
    if not near.any():
        return None
    squares: dict[str, float] = {one.name: float(np.median(np.abs(one.rate_hz[near]))) ** -2.0 for one in courses}
    hub = HUB_RADIUS_M.value**2
    whole = hub + FULL_M**2
    part = squares[takes_up] / sum(squares.values())
    return float(np.clip((whole * part - hub) / (whole - 2.0 * hub), 0.0, 1.0))


__all__ = ["TapeSeen", "pack_ratio", "position_by_rates", "tape_seen"]
