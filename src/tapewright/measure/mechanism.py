"""hear_mechanism: from a recording of a mechanism to what turned, squealed, knocked, rubbed and clicked."""

import math
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Final

import numpy as np

from tapewright.measure.mechanism_clicks import RATE_HZ, find_clicks, octave_levels
from tapewright.measure.mechanism_comb import LOWEST_HZ, orders_within, weighed
from tapewright.measure.mechanism_disturbances import (
    HUM_QUIET_S,
    clipping,
    codec_band,
    hum_taken_out,
    mains_hum,
    processing,
    speech,
    without_mains,
)
from tapewright.measure.mechanism_edges import edge_near, spin_up_before
from tapewright.measure.mechanism_frames import (
    FRAME_S,
    HIGHEST_HZ,
    HOP_S,
    LONGEST_S,
    Array,
    Frames,
    Single,
    Sound,
    framed,
    quieted,
    read_sound,
    thinned,
)
from tapewright.measure.mechanism_rate import Course, another_rate, course_of, rate_reading
from tapewright.measure.mechanism_repeats import band_powers, repeats_heard
from tapewright.measure.mechanism_runs import Run, find_runs, mean_along, take_out
from tapewright.measure.mechanism_squeal import glides, programme_like, rings, squeals_from, tones_in, whine
from tapewright.measure.mechanism_trust import (
    SAME_MACHINE_DB,
    SAME_MOTOR_DB,
    chance_heard,
    comb_scores,
    decoy_scores,
    loud_enough,
    straightened,
    trusted,
)
from tapewright.words.mechanism_heard import (
    Disturbance,
    Mark,
    MechanismHeard,
    NotHeard,
    RateExpected,
    Squeal,
    StretchHeard,
)
from tapewright.words.reading import Reading

OFF: Final = "off"
SURE_ENOUGH: Final = 0.6
UNNAMED: Final = RateExpected("", "", 50.0, 18.0, 130.0, "motor", (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 9.0, 12.0))
"""Looked for where no machine says what may turn: small motors run at 1100 to 8000 turns a minute."""
SILENT_KIND: Final = 0.98
"""One motor in fifty is of a kind that hardly sounds at all; trade judgement, from memory."""
OTHERS_SAY: Final = 0.9
"""The same where its level is known from other motors alone: how loud it is itself nobody has heard; judgement."""
LINE_SPEAKS: Final = 0.5
NOTHING_KNOWN: Final = 0.6
"""Where nothing at all is heard to turn: chance that a motor would have been, a phone laid on the case; from memory."""
SHORT_S: Final = 0.25
TALKED: Final = 10.0
"""How much likelier a tone is no squeal's while somebody speaks; trade judgement, from memory."""
RUNS_DOWN_S: Final = 2.5
MOTOR_MOST, SQUEAL_MOST = 0.99, 0.93
"""No more is said than trials bear out: n of n that were so give (n + 1) / (n + 2), Laplace's rule of succession.

In 42 tuning minutes 191 of 198 stretches of motors were so. The other seven are left out since, by rules chosen on
those same minutes, which flatters the count. Of squeals 13 of 13 were so. What
`python -m benchmarks.mechanism_minutes --first 0` prints as "how sure" counts anew.
"""
NOT_DUE: Final = 0.1
"""How likely a motor turns where it should stand, against where it is due; trade judgement, from memory."""


def hear_mechanism(path: str | Path, marks: Sequence[Mark] | None, expected: Sequence[RateExpected]) -> MechanismHeard:
    """Listen to a recording of a mechanism.

    Arguments:
        path: a sound file, a phone's formats included.
        marks: when which mode was entered; None where nobody noted it.
        expected: what may turn, mode by mode; empty where no machine is named.

    Raises:
        InputAtFaultError: the file cannot be read.
    """
    return hear_sound(read_sound(path), marks, expected)


def hear_sound(
    sound: Sound, marks: Sequence[Mark] | None, expected: Sequence[RateExpected], source_hz: float | None = None
) -> MechanismHeard:
    """Listen to sound that was read already; as `hear_mechanism`.

    Arguments:
        sound: one channel.
        marks: as there.
        expected: as there.
        source_hz: sample rate of the file, where the sound was thinned since.
    """
    marks = tuple(sorted(marks or (), key=lambda mark: mark.at_s))
    low = thinned(sound)
    duration = sound.duration_s
    disturbances = [*clipping(sound)]
    levels, step_s = octave_levels(thinned(sound, RATE_HZ))
    clicks = tuple(find_clicks(levels, step_s))
    if duration < SHORT_S:
        too_short = f"The recording lasts {duration:.2f} s: too short for any rate."
        return MechanismHeard(duration, sound.rate_hz, marks, (), (), (), (), clicks, tuple(disturbances), (too_short,))
    mains, hum = mains_hum(low)
    heard_whole = low
    quiet = _longest_off(marks, duration)
    if mains and quiet[1] - quiet[0] > HUM_QUIET_S:
        low = hum_taken_out(low, mains, quiet)
        # What is left where the hum's size changes too quickly is left out of the evidence.
        mains, _ = mains_hum(low)
    frames = framed(low)
    modes = _modes_of(frames.times_s, marks)
    low_hz, high_hz, band = codec_band(sound, frames)
    disturbances += [
        *hum,
        *band,
        *speech(heard_whole),
        *(processing(levels[-1], step_s, duration) if len(levels) else []),
    ]
    by_name: dict[str, list[RateExpected]] = {}
    for one in expected or (UNNAMED,):
        by_name.setdefault(one.name, []).append(one)
    ear = _Ear(low, frames, modes, mains, max(LOWEST_HZ, low_hz))
    stretches, not_heard = ear.listen(by_name, marks)
    tones = list(tones_in(sound, high_hz))
    combs = {name: tuple(sorted({c for each in rows for c in each.comb})) for name, rows in by_name.items()}
    edges = [edge for one in stretches for edge in (one.start_s, one.end_s)]
    sounding = [tone for tone in tones if not rings(tone) and not glides(tone, edges)]
    kept = [tone for tone in sounding if not whine(tone, stretches, combs) and not programme_like(tone, tones)]
    squeals = _believed(squeals_from(kept), disturbances)
    talks = [(one.start_s, one.end_s) for one in disturbances if one.kind == "speech"]
    knocks, rubbings, no_repeats = repeats_heard(*band_powers(thinned(sound, RATE_HZ)), _spans(marks, duration), talks)
    return MechanismHeard(
        duration, source_hz or sound.rate_hz, marks, tuple(stretches), tuple(squeals), tuple(knocks), tuple(rubbings),
        clicks, tuple(sorted(disturbances, key=lambda one: one.start_s)),
        (
            *_cannot_say(sound, marks, by_name, low_hz, not_heard), *_mains_or_motor(ear.like_mains),
            *_slow_or_motor(ear.like_slow),
        ),
        tuple(not_heard), tuple(no_repeats),
    )  # fmt: skip


def _modes_of(times_s: Array, marks: Sequence[Mark]) -> list[str]:
    if not marks:
        return [""] * len(times_s)
    at = np.searchsorted([mark.at_s for mark in marks], times_s, side="right")
    return [marks[k - 1].mode if k else "" for k in at]


def _longest_off(marks: Sequence[Mark], duration_s: float) -> tuple[float, float]:
    """Give the longest time for which the machine is known to be off, what runs down and the hand's delay left out."""
    ends = [*(mark.at_s for mark in marks[1:]), duration_s]
    spans = [
        (mark.at_s + (RUNS_DOWN_S if k else 0.0), end)
        for k, (mark, end) in enumerate(zip(marks, ends, strict=False)) if mark.mode == OFF
    ]  # fmt: skip
    return max(spans, key=lambda span: span[1] - span[0], default=(0.0, 0.0))


def _spans(marks: Sequence[Mark], duration_s: float) -> list[tuple[str, float, float]]:
    """Give the stretches between marks with their modes; the whole, of no mode, where there are none."""
    edges = [0.0, *(mark.at_s for mark in marks), duration_s] if marks else [0.0, duration_s]
    modes = ["", *(mark.mode for mark in marks)] if marks else [""]
    return [(mode, a, b) for (a, b), mode in zip(pairwise(edges), modes, strict=True) if b > a]


class _Ear:
    """One recording, listened to for combs."""

    def __init__(self, low: Sound, frames: Frames, modes: list[str], mains_hz: float, low_hz: float) -> None:
        self.low, self.modes, self.low_hz = low, modes, low_hz
        off = np.array([mode == OFF for mode in modes])
        # The edges of "off" hold the switch and what runs down: they are left out of what the room sounds like.
        quiet = off & np.roll(off, 5) & np.roll(off, -5)
        self.frames = quieted(frames, quiet)
        self.knows_room = bool(quiet.any())
        self.like_mains: list[float] = []
        self.like_slow: set[str] = set()
        self.said = without_mains(weighed(self.frames), self.frames.bin_hz, mains_hz)
        self.said[:, : int(low_hz / self.frames.bin_hz)] = 0.0

    def listen(
        self, by_name: Mapping[str, Sequence[RateExpected]], marks: Sequence[Mark]
    ) -> tuple[list[StretchHeard], list[NotHeard]]:
        """Give what turned, and what was expected to and was not heard."""
        bin_hz = self.frames.bin_hz
        runs, left = find_runs(self.said, by_name, self.modes, bin_hz, HOP_S)
        runs = _joined(runs)
        kept: list[tuple[Run, Course, StretchHeard]] = []
        slow = _too_slow(by_name, max(LOWEST_HZ, self.low_hz))
        for run in runs:
            due = self._due(run, by_name[run.name])
            sure = self._sure(run, [other for other in runs if other is not run], left, 1.0 if due else NOT_DUE)
            if sure < SURE_ENOUGH:
                continue
            if not due and self._share_in(run, slow) > 0.5:
                # A slow motor's lines lie so close that some fit any rate; it is due here, and the run's rotor is not.
                self.like_slow.add(run.name)
                continue
            course = course_of(self.frames, run, FRAME_S)
            middle = float(np.median(run.rates_hz))
            if not self.knows_room and _like_mains(middle):
                self.like_mains.append(middle)
                continue
            kept.append((run, course, self._stretch(run, course, sure, runs, by_name[run.name])))
        stretches = sorted((stretch for _, _, stretch in kept), key=lambda s: (s.start_s, s.name))
        levels: dict[str, list[tuple[float, float]]] = {}
        for run, course, _ in kept:
            levels.setdefault(run.name, []).append((course.level_db, float(np.median(run.rates_hz))))
        return stretches, self._missing(by_name, marks, stretches, levels, left)

    def _share_in(self, run: Run, modes: frozenset[str]) -> float:
        here = self.modes[run.first : run.last + 1]
        return sum(mode in modes for mode in here) / len(here)

    def _due(self, run: Run, may: Sequence[RateExpected]) -> bool:
        """Say whether a rotor should turn at about a run's rate while it ran; it may where nobody said a mode."""
        rate = float(np.median(run.rates_hz))
        fits = frozenset(one.mode for one in may if one.low_hz <= rate <= one.high_hz)
        return "" in fits or self._share_in(run, fits | {""}) >= 0.5

    def _sure(self, run: Run, others: Sequence[Run], left: Single, due: float) -> float:
        said = self.said.copy() if len(others) else self.said
        for other in others:
            if other.last >= run.first and other.first <= run.last:
                take_out(said, other, self.frames.bin_hz)
        lines = sum(mean_along(said, run, order, self.frames.bin_hz) > LINE_SPEAKS for order in run.orders)
        if lines < 2:
            return 0.0  # one line is no comb: anything may make it
        mean = straightened(said, run)
        middle = float(np.median(run.rates_hz))
        near = middle * (1.0 + np.linspace(-0.003, 0.003, 25))
        score = float(comb_scores(mean, near, np.array(run.orders), self.frames.bin_hz).max())
        decoys = decoy_scores(straightened(left, run), run.orders, run.span_hz, self.frames.bin_hz)
        return min(MOTOR_MOST, trusted(score, decoys, len(run.orders), lines, due * run.usual).sure)

    def _stretch(
        self, run: Run, course: Course, sure: float, runs: Sequence[Run], may: Sequence[RateExpected]
    ) -> StretchHeard:
        times = self.frames.times_s
        rate, unsteady = rate_reading(course, FRAME_S)
        combs = {order for one in may for order in one.comb}
        mode = self.modes[min(run.first + 2, run.last)]
        usual = [one.rate_hz for one in may if one.mode == mode] or [one.rate_hz for one in may]
        other = another_rate(rate.value, course.heard, combs, usual) if run.name else None
        if other:
            why = f"Its lines fit {rate.value:.2f} and {other:.2f} turns a second alike."
            rate, unsteady = Reading(None, "Hz", why_not=why), Reading(None, "%", why_not=why)
        start, end = float(times[run.first]), float(times[run.last])
        own = [other for other in runs if other.name == run.name and other is not run]
        earliest = max([float(times[o.last]) for o in own if o.last < run.first], default=0.0)
        latest = min([float(times[o.first]) for o in own if o.first > run.last], default=math.inf)
        lines = np.array(course.heard)
        first = lines * float(np.nanmedian(np.append(course.rates_hz[:5], rate.value or run.rates_hz[0])))
        last = lines * float(np.nanmedian(np.append(course.rates_hz[-5:], rate.value or run.rates_hz[-1])))
        middle = (start + end) / 2
        at_start = run.first <= 1
        at_end = run.last >= len(times) - 2
        if at_start:
            start = 0.0
        else:
            start = edge_near(self.low, start, first, earliest, max(middle, start + 0.3))
            start = spin_up_before(self.low, start, float(first.max()), earliest)
        end = self.low.duration_s if at_end else edge_near(self.low, end, last, min(middle, end - 0.3), latest)
        return StretchHeard(run.name, mode, start, max(end, start + HOP_S), rate, unsteady, sure)

    def _missing(
        self,
        by_name: Mapping[str, Sequence[RateExpected]],
        marks: Sequence[Mark],
        stretches: Sequence[StretchHeard],
        levels: Mapping[str, Sequence[tuple[float, float]]],
        left: Single,
    ) -> list[NotHeard]:
        """Say of everything expected and not heard how loud it would have had to be."""
        found = []
        edges = [*(mark.at_s for mark in marks), self.low.duration_s]
        for mark, end in zip(marks, edges[1:], strict=True):
            for one in (e for rows in by_name.values() for e in rows if e.mode == mark.mode):
                there = any(s.name == one.name and s.end_s > mark.at_s and s.start_s < end for s in stretches)
                if not there and end - mark.at_s > 2 * FRAME_S:
                    found.append(self._not_heard(one, mark.at_s, end, levels, left))
        return found

    def _not_heard(
        self,
        one: RateExpected,
        start: float,
        end: float,
        levels: Mapping[str, Sequence[tuple[float, float]]],
        left: Single,
    ) -> NotHeard:
        times, bin_hz = self.frames.times_s, self.frames.bin_hz
        rows = np.flatnonzero((times > start) & (times < end))
        orders = [o for o in orders_within(one.comb, one.rate_hz, HIGHEST_HZ) if o * one.rate_hz > self.low_hz]
        if not orders or not len(rows):
            return NotHeard(one.name, one.mode, start, end, 0.0, 0.0)
        decoys = decoy_scores(left[rows].mean(axis=0).astype(float), tuple(orders), (one.low_hz, one.high_hz), bin_hz)
        loud = loud_enough(decoys, len(orders))
        around = np.median(self.frames.background[rows], axis=0)
        at = np.minimum(np.rint(np.array(orders) * one.rate_hz / bin_hz).astype(int), len(around) - 1)
        needed = 10.0 * math.log10(max(loud * float(np.sum(around[at])) / 2.0, 1e-15))
        own, others = levels.get(one.name), [pair for pairs in levels.values() for pair in pairs]
        known = own or others
        # What shakes grows with the square of the rate: a motor that turns slowly is a quiet one.
        likely = [level + 40.0 * math.log10(min(1.0, one.rate_hz / rate)) for level, rate in known]
        spread = SAME_MOTOR_DB if own else SAME_MACHINE_DB
        sure = chance_heard(float(np.median(likely)), needed, spread) if known else NOTHING_KNOWN
        return NotHeard(one.name, one.mode, start, end, needed, min(sure, SILENT_KIND if own else OTHERS_SAY))


def _like_mains(rate_hz: float) -> bool:
    """Say whether a rate is that of the mains: where nobody heard the room alone, hum and a motor look alike."""
    return any(abs(rate_hz / (mains * order) - 1.0) < 0.01 for mains in (50.0, 60.0) for order in (0.5, 1.0, 2.0))


def _mains_or_motor(rates_hz: Sequence[float]) -> list[str]:
    return [
        f"Lines at multiples of {rate:.1f} Hz cannot be told from mains hum: there is no stretch with the machine off."
        for rate in sorted({round(rate, 1) for rate in rates_hz})
    ]


def _too_slow(by_name: Mapping[str, Sequence[RateExpected]], low_hz: float) -> frozenset[str]:
    """Give the modes in which a motor is due that turns too slowly to be told by its lines."""
    return frozenset(
        one.mode for rows in by_name.values() for one in rows
        if one.kind == "motor" and not any(order * one.rate_hz > low_hz for order in one.comb)
    )  # fmt: skip


def _slow_or_motor(names: Iterable[str]) -> list[str]:
    return [
        f"Lines are heard where the {name.replace('_', ' ')} should stand; a motor that turns slowly may make them."
        for name in sorted(names)
    ]


def _joined(runs: Sequence[Run], gap_frames: int = 6) -> list[Run]:
    """Join runs of one rotor that a noise tore apart: near in time, at the same rate."""
    found: list[Run] = []
    for run in sorted(runs, key=lambda one: (one.name, one.first)):
        last = found[-1] if found else None
        if (
            last is not None
            and last.name == run.name
            and run.first - last.last <= gap_frames
            and abs(float(np.median(run.rates_hz[:5])) / float(np.median(last.rates_hz[-5:])) - 1.0) < 0.015
        ):
            between = np.linspace(last.rates_hz[-1], run.rates_hz[0], run.first - last.last + 1)[1:-1]
            rates = np.concatenate([last.rates_hz, between, run.rates_hz])
            found[-1] = Run(last.name, last.first, run.last, rates, last.orders, last.span_hz)
        else:
            found.append(run)
    return found


def _believed(squeals: Sequence[Squeal], disturbances: Sequence[Disturbance]) -> list[Squeal]:
    """Believe a squeal less while somebody speaks or music plays, and drop what is no better than a guess."""
    spoken = [one for one in disturbances if one.kind == "speech"]
    found = []
    for one in squeals:
        talked = any(d.start_s < one.end_s and one.start_s < d.end_s for d in spoken)
        sure = min(SQUEAL_MOST, one.sure / (one.sure + TALKED * (1.0 - one.sure)) if talked else one.sure)
        if sure >= SURE_ENOUGH:
            found.append(
                Squeal(one.start_s, one.end_s, one.frequency_hz, one.prominence_db, one.modulation_hz, one.kind, sure)
            )
    return sorted(found, key=lambda one: one.start_s)


def _cannot_say(
    sound: Sound,
    marks: Sequence[Mark],
    by_name: Mapping[str, Sequence[RateExpected]],
    low_hz: float,
    not_heard: Sequence[NotHeard],
) -> list[str]:
    said = []
    if sound.left_out_s > 0:
        said.append(f"Only the first {LONGEST_S / 60:.0f} minutes were listened to.")
    if not marks:
        said.append(
            "Nobody noted what was done when: which mode a sound belongs to, and what failed to start, is open."
        )
    elif not any(mark.mode == OFF for mark in marks):
        said.append("There is no stretch with the machine off: a fan or hum of the room may pass for the machine's.")
    if sound.duration_s < 3.0:
        said.append(
            f"The recording lasts {sound.duration_s:.1f} s: too short for what comes back slowly, such as a "
            "reel's knock, for how steadily a motor runs, and for telling a room's lines from the machine's."
        )
    for name, rows in by_name.items():
        dumb = [e.mode for e in rows if not [c for c in e.comb if c * e.rate_hz > max(low_hz, LOWEST_HZ)]]
        if dumb and name:
            where = ", ".join(dict.fromkeys(dumb))
            said.append(f"The {name} turns too slowly to be heard by its lines ({where}).".replace("_", " "))
    quiet = sorted({one.name.replace("_", " ") for one in not_heard if one.sure < 0.7 and one.name})
    if quiet:
        said.append(f"Over this background it is open whether these ran where they were not heard: {', '.join(quiet)}.")
    return said
