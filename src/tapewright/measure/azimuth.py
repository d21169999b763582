"""How far the gaps stand askew, from when the same tone arrives on each track; coarse to fine.

A gap that leans by an angle meets the tracks one after another. At a low tone a turn of phase is far longer than any
delay that a head can have; each higher tone is then read to the turn that the lower one left no choice of. All tracks
are taken together: the straight line through their delays over where they lie on the tape is the azimuth, and what a
track stands off that line is how far its gap is out of line with the others.

Angle and delay are positive where a track further from the deck plate comes later.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from tapewright.measure.askew import ARC_MINUTE, angles_rad, line_weights, off_line
from tapewright.measure.section_tone import Baseband, steady
from tapewright.measure.settled import SURE, settled_mean, wavered
from tapewright.words.reading import Reading
from tapewright.words.signal import Trace

FIRST_MOST_RAD: Final = math.pi / 2.0
"""At the coarsest tone no head is further askew than this; what seems so is a track with its wires crossed."""
NEXT_MOST_RAD: Final = 0.45 * math.pi
"""A finer tone is read only where the coarser one leaves no more choice of its phase than this."""
SLOWEST_TURN: Final = 1.0
LEAST_VALUES: Final = 60
TAPE_LEFT_IN: Final = "The test tape's own azimuth is not taken out (1' by IEC 60094-2 on a calibration tape)."
USUAL_SCATTER_M: Final = 2e-6
"""How far gaps of one head stand out of line where it cannot be read; own choice."""
COURSE_FROM_HZ: Final = 1000.0
"""The course of the angle is taken from the longest tone above this, and the finest of those."""
Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Azimuth:
    """What the delays between tracks say.

    Arguments:
        angle_arcmin: mean angle of the line through the gaps, minutes of arc.
        bound_arcmin: what noise alone leaves open in that, the least that any reading can do.
        wander_arcmin: how far the angle moves within the finest section, either way; the range that holds 95 % of the
            time.
        delays_us: delay of each track against the mean of all, microseconds.
        scatter_um: how far each gap stands off the line along the tape, micrometres; none for fewer than three tracks.
        inverted: which tracks have their polarity turned against the majority.
        course: the angle over the finest section, minutes of arc.
        steps_hz: the tones that took part, coarse to fine.
        lean_doubt_rad: how far any one gap may lean otherwise than the line through all of them, since they are out
            of line.
    """

    angle_arcmin: Reading
    bound_arcmin: float
    wander_arcmin: Reading
    delays_us: tuple[Reading, ...]
    scatter_um: tuple[Reading, ...]
    inverted: tuple[bool, ...]
    course: Trace
    steps_hz: tuple[float, ...]
    lean_doubt_rad: float


@dataclass(frozen=True, slots=True, eq=False)
class _Step:
    """One tone's delays against the mean of all, seconds: each track's over time, shape (n, tracks); its figures."""

    tone: Baseband
    over_time: Values
    delay: Values
    doubt: Values
    noise: Values
    good: NDArray[np.bool_]
    crossed: float


def turned_over(tone: Baseband) -> tuple[bool, ...]:
    """Say which tracks have their polarity turned: by the coarsest tone they stand half a turn off, or nearly.

    The majority counts as right; of two tracks that differ the second is named.
    """
    against = np.argmax(np.mean(np.abs(tone.values), axis=0))
    crossed = np.mean(tone.values * np.conj(tone.values[:, [against]]), axis=0)
    turned = np.abs(np.angle(crossed)) > FIRST_MOST_RAD
    if 2 * np.count_nonzero(turned) > len(turned) or (2 * np.count_nonzero(turned) == len(turned) and turned[0]):
        turned = ~turned
    return tuple(bool(one) for one in turned)


def _step(tone: Baseband, signs: Values, before: Values, crosstalk: float) -> _Step:
    """Read the delays of one tone, each phase to the turn next to what is known before."""
    values = tone.values * signs
    turn = 2.0 * np.pi * tone.frequency_hz
    aligned = values * np.exp(1j * turn * before)
    common = np.sum(aligned / np.mean(np.abs(aligned), axis=0), axis=1, keepdims=True)
    crossed = aligned * np.conj(common)
    middle = np.angle(np.mean(crossed, axis=0))
    phase = np.angle(crossed * np.exp(-1j * middle)) + middle
    phase = phase - phase.mean(axis=1, keepdims=True)
    over_time = before - phase / turn
    good = np.all([steady(np.abs(track), tone.rate_hz) for track in values.T], axis=0)
    read = [settled_mean(over_time[:, track], good) for track in range(values.shape[1])]
    power = np.mean(np.abs(values) ** 2, axis=0)
    noise = np.sqrt(tone.noise_per_hz / (2.0 * power * tone.seconds)) / turn
    delay, doubt = np.array(read).T
    return _Step(tone, over_time, delay, np.hypot(doubt, crosstalk / turn), noise, good, crosstalk / turn)


def _ladder(tones: Sequence[Baseband], signs: Values, crosstalk: float) -> list[_Step]:
    """Climb from tone to tone as long as each leaves the next no choice of turn."""
    before = np.zeros(tones[0].values.shape[1])
    steps: list[_Step] = []
    for tone in tones:
        if steps:
            open_rad = 2.0 * np.pi * tone.frequency_hz * float(np.max(steps[-1].doubt)) * 1.5
            if open_rad > NEXT_MOST_RAD:
                break
        steps.append(_step(tone, signs, before, crosstalk))
        before = steps[-1].delay
    return steps


def _together(readings: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Give the weighted mean of several readings and its doubt, wider where they disagree beyond their own doubts."""
    value, doubt = np.array(readings).T
    weights = 1.0 / np.maximum(doubt, 1e-30) ** 2
    mean = float(weights @ value / weights.sum())
    alone = float(1.0 / np.sqrt(weights.sum()))
    if len(value) < 2:
        return mean, alone
    apart = float(weights @ (value - mean) ** 2) * SURE**2 / (len(value) - 1)
    return mean, alone * math.sqrt(max(1.0, apart))


def read_azimuth(
    tones: Sequence[Baseband], positions_m: Sequence[float], speed_m_per_s: float, crosstalk: float = 0.0
) -> Azimuth:
    """Read the azimuth from one or more tones that lie on all tracks alike.

    Arguments:
        tones: one a section, from `section_tone`, in any order; all tracks recorded in step, by one gap.
        positions_m: where each track's centre lies across the tape, from the edge at the deck plate.
        speed_m_per_s: of the tape, as it plays.
        crosstalk: how much of the other tracks may still be on each, ratio; it turns every phase by as much, and is
            counted in the doubt.

    Errors:
        ValueError: no tone, or fewer than two tracks.

    One arc minute is 5.5 microseconds between tracks 0.9 mm apart at 4.76 cm/s (closed form: d tan(a)/v).
    """
    if not tones or len(positions_m) < 2:
        raise ValueError("azimuth needs a tone on two tracks at least")
    coarse_first = sorted(tones, key=lambda one: one.frequency_hz)
    inverted = turned_over(coarse_first[0])
    signs = np.where(inverted, -1.0, 1.0)
    where = np.array(positions_m, dtype=np.float64)
    long_enough = [one for one in coarse_first if len(one.values) >= LEAST_VALUES]
    if not long_enough:
        raise ValueError("every section is too short for a delay")
    steps = _ladder(long_enough, signs, crosstalk)
    longest = max(steps, key=_for_course)
    angles = [_angle(step, longest, where, speed_m_per_s) for step in steps]
    angle, doubt = _together([each[:2] for each in angles])
    bound = float(1.0 / np.sqrt(np.sum([1.0 / each[2] ** 2 for each in angles])))
    course = _course(longest, where, speed_m_per_s)
    scatter = _scatter(steps, where, speed_m_per_s)
    told = f"{TAPE_LEFT_IN} {len(where)} tracks, {', '.join(f'{one.tone.frequency_hz:.0f}' for one in steps)} Hz"
    return Azimuth(
        Reading(
            angle, "arcmin", doubt, method="line through the delays of the tracks, coarse to fine", conditions=told
        ),
        bound,
        _wander(course, longest, angles[steps.index(longest)][2] * math.sqrt(longest.tone.seconds)),
        _delays(steps),
        scatter,
        inverted,
        course,
        tuple(one.tone.frequency_hz for one in steps),
        _lean_doubt(scatter, where),
    )


def _for_course(step: _Step) -> tuple[bool, float, float]:
    """Order tones by how well they show the course of the angle: fine enough, long, fine."""
    return step.tone.frequency_hz > COURSE_FROM_HZ, round(step.tone.seconds), step.tone.frequency_hz


def _lean_doubt(scatter: Sequence[Reading], where: Values) -> float:
    """Give how far gaps out of line turn the line through them (95 %): each gap's own lean is open by as much."""
    off_m = np.array([1e-6 * one.value for one in scatter if one.value is not None])
    apart = math.sqrt(float(np.sum((where - where.mean()) ** 2)))
    if len(off_m) < 3:
        return USUAL_SCATTER_M / apart
    freedom = len(off_m) - 2
    return float(stats.t.ppf(0.975, freedom) * math.sqrt(float(off_m @ off_m) / freedom) / apart)


def _angle(step: _Step, longest: _Step, where: Values, speed_m_per_s: float) -> tuple[float, float, float]:
    """Give one tone's angle, its doubt and its bound (two sigma), minutes of arc.

    A short tone cannot see a slow waver; how that moves its mean is told by the longest.
    """
    weights = line_weights(where) * speed_m_per_s
    slope, doubt = settled_mean(step.over_time @ weights, step.good)
    bound = SURE * float(np.sqrt(np.sum((weights * step.noise) ** 2)))
    if step is not longest:
        slow = wavered(longest.over_time @ weights, longest.good, longest.tone.rate_hz, step.tone.seconds)
        doubt = max(doubt, slow)
    doubt = math.hypot(doubt, step.crossed * float(np.linalg.norm(weights)))
    return math.atan(slope) / ARC_MINUTE, doubt / ARC_MINUTE, bound / ARC_MINUTE


def _course(step: _Step, where: Values, speed_m_per_s: float) -> Trace:
    slope = angles_rad(step.over_time, where, speed_m_per_s) / ARC_MINUTE
    return Trace(np.where(step.good, slope, np.nan), step.tone.rate_hz)


def _wander(course: Trace, step: _Step, noise_per_root_hz: float) -> Reading:
    """Give half the range that holds 95 % of the time, below 20 Hz; what noise adds is taken out in power."""
    left = np.where(np.isfinite(course.values), course.values, np.nanmean(course.values))
    run = max(1, int(course.rate_hz / 40.0))
    count = len(left) // run
    if count < LEAST_VALUES:
        return Reading(None, "arcmin", why_not=f"{step.tone.seconds:.1f} s are too short to see the angle wander.")
    slow = left[: count * run].reshape(count, run).mean(axis=1)
    half = float(np.ptp(np.quantile(slow, [0.025, 0.975]))) / 2.0
    noise = noise_per_root_hz / SURE * 2.0 * math.sqrt(course.rate_hz / run / 2.0) * math.sqrt(2.0)
    clean = math.sqrt(max(half**2 - noise**2, 0.0))
    slow_turns = max(2.0, step.tone.seconds / 2.0)
    return Reading(
        clean,
        "arcmin",
        math.hypot(clean / math.sqrt(slow_turns), noise),
        method="half the range that holds 95 % of the time, up to 20 Hz",
        conditions=f"{step.tone.frequency_hz:.0f} Hz over {step.tone.seconds:.1f} s",
    )


def _delays(steps: Sequence[_Step]) -> tuple[Reading, ...]:
    found = []
    for track in range(len(steps[0].delay)):
        value, doubt = _together([(float(s.delay[track]), float(s.doubt[track])) for s in steps])
        found.append(Reading(1e6 * value, "µs", 1e6 * doubt, method="delay against the mean of all tracks"))
    return tuple(found)


def _scatter(steps: Sequence[_Step], where: Values, speed_m_per_s: float) -> tuple[Reading, ...]:
    """Give what each gap stands off the line; two gaps lie on a line always."""
    if len(where) < 3:
        why = "Two gaps lie on a straight line whatever they do; three tracks are needed."
        return tuple(Reading(None, "µm", why_not=why) for _ in where)
    found = []
    for counts in off_line(where):
        read = [settled_mean(step.over_time @ counts * speed_m_per_s, step.good) for step in steps]
        value, doubt = _together(read)
        found.append(Reading(1e6 * value, "µm", 1e6 * doubt, method="gap off the line through all gaps, late positive"))
    return tuple(found)


def wander_at(course: Trace, rate_hz: float) -> Reading:
    """Give how much of the azimuth's wander turns with something, minutes of arc, peak.

    Arguments:
        course: from `read_azimuth`.
        rate_hz: of a reel or a capstan, as a plain number.

    What stands beside that rate is taken for noise and makes the doubt.
    """
    good = np.isfinite(course.values)
    seconds = len(course.values) / course.rate_hz
    if seconds * rate_hz < SLOWEST_TURN * 2.0:
        return Reading(None, "arcmin", why_not=f"{seconds:.1f} s hold fewer than two turns of {rate_hz:g} Hz.")
    taper = np.where(good, np.hanning(len(good) + 2)[1:-1], 0.0)
    left = np.where(good, course.values - np.nanmean(course.values), 0.0) * taper
    times = np.arange(len(left)) / course.rate_hz

    def size(at_hz: float) -> float:
        return float(2.0 * abs(left @ np.exp(-2j * np.pi * at_hz * times)) / taper.sum())

    beside = [size(rate_hz + side * step / seconds) for step in (2.5, 3.5, 4.5, 5.5) for side in (-1.0, 1.0)
              if rate_hz + side * step / seconds > 1.5 / seconds]  # fmt: skip
    doubt = SURE * float(np.sqrt(np.mean(np.square(beside)) / 2.0))
    return Reading(size(rate_hz), "arcmin", doubt, method=f"what turns at {rate_hz:g} Hz in the angle")


__all__ = [
    "Azimuth",
    "read_azimuth",
    "turned_over",
    "wander_at",
]
