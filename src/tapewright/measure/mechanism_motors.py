"""The motors, and meshes that sound like them, in one recording: when each turned, how fast, and how sure that is."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from tapewright.measure.mechanism_comb import LOWEST_HZ, weighed
from tapewright.measure.mechanism_edges import edge_near, spin_up_before
from tapewright.measure.mechanism_frames import FRAME_S, HOP_S, Frames, Single, Sound, quieted
from tapewright.measure.mechanism_hum import without_mains
from tapewright.measure.mechanism_open import Open
from tapewright.measure.mechanism_rate import Course, another_rate, course_of, rate_reading
from tapewright.measure.mechanism_runs import Run, find_runs, joined, mean_along, take_out, untangled
from tapewright.measure.mechanism_silence import Silence
from tapewright.measure.mechanism_trust import (
    SURE_ENOUGH,
    Clue,
    comb_scores,
    decoy_scores,
    straightened,
    sureness,
    trusted,
)
from tapewright.words.mechanism_heard import OFF, Mark, NotHeard, RateExpected, StretchHeard
from tapewright.words.reading import Reading

LINE_SPEAKS: Final = 0.5
"""Mean evidence of a line from which on it counts as one that speaks, nats."""
NOT_DUE: Final = 0.1
"""How likely a motor turns where it should stand, against where it is due; trade judgement, from memory."""
TWINS: Final = 0.05
"""Two motors whose rates should differ by less than this share are not told apart by them."""

Expected = Mapping[str, Sequence[RateExpected]]


@dataclass(frozen=True, slots=True, eq=False)
class _Kept:
    """A run that is believed, with the rate that was followed and what is told of it."""

    run: Run
    course: Course
    told: StretchHeard


class Ear:
    """One recording, listened to for combs.

    Arguments:
        low: thinned, hum taken out.
        frames: its spectra.
        modes: the mode of each frame; "" where nobody said.
        mains_hz: 50 or 60 where hum is left; else 0.
        low_hz: the lowest frequency that reaches the file.
    """

    def __init__(self, low: Sound, frames: Frames, modes: list[str], mains_hz: float, low_hz: float) -> None:
        self.low, self.modes, self.low_hz = low, modes, low_hz
        off = np.array([mode == OFF for mode in modes])
        # The edges of "off" hold the switch and what runs down: they are left out of what the room sounds like.
        quiet = off & np.roll(off, 5) & np.roll(off, -5)
        self.frames = quieted(frames, quiet)
        self.knows_room = bool(quiet.any())
        self.open = Open()
        self.said = without_mains(weighed(self.frames), self.frames.bin_hz, mains_hz)
        self.said[:, : int(low_hz / self.frames.bin_hz)] = 0.0

    def listen(self, expected: Expected, marks: Sequence[Mark]) -> tuple[list[StretchHeard], list[NotHeard]]:
        """Give what turned, and what was expected to and was not heard.

        Arguments:
            expected: by rotor.
            marks: when which mode was entered.
        """
        found, left = find_runs(self.said, expected, self.modes, self.frames.bin_hz, HOP_S)
        runs = joined(untangled(joined(found), expected))
        believed = [one for run in runs if (one := self._believed(run, runs, left, expected))]
        kept = self._without_twins(believed, expected)
        stretches = sorted((one.told for one in kept), key=lambda told: (told.start_s, told.name))
        levels: dict[str, list[tuple[float, float]]] = {}
        for one in kept:
            levels.setdefault(one.run.name, []).append((one.course.level_db, float(np.median(one.run.rates_hz))))
        silence = Silence(self.frames, left, self.low_hz, self.low.duration_s, levels)
        open_to = {(name, mode) for one, other, mode in self.open.one_of for name in (one, other)}
        asked = [one for rows in expected.values() for one in rows if (one.name, one.mode) not in open_to]
        return stretches, silence.missing(asked, marks, stretches)

    def _believed(self, run: Run, runs: Sequence[Run], left: Single, expected: Expected) -> _Kept | None:
        """Give what is told of a run; None where it is not believed, or may be something else."""
        due = self._due(run, expected[run.name])
        sure = self._sure(run, [other for other in runs if other is not run], left, due=due)
        if sure < SURE_ENOUGH:
            return None
        if not due and self._share_in(run, _too_slow(expected, max(LOWEST_HZ, self.low_hz))) > 0.5:
            # A slow motor's lines lie so close that some fit any rate; it is due here, and the run's rotor is not.
            self.open.like_slow.add(run.name)
            return None
        middle = float(np.median(run.rates_hz))
        if not self.knows_room and _like_mains(middle):
            self.open.like_mains_hz.append(middle)
            return None
        course = course_of(self.frames, run, FRAME_S)
        return _Kept(run, course, self._stretch(run, course, sure, runs, expected[run.name]))

    def _without_twins(self, kept: Sequence[_Kept], expected: Expected) -> list[_Kept]:
        """Leave open which of two motors runs where one of two is heard that turn at nearly one rate.

        Where both are heard both run, and which has which rate is open.
        """
        found = []
        for one in kept:
            twin = _twin(one.run.name, one.told.mode, expected)
            beside = [other for other in kept if other.run.name == twin and _together(one.run, other.run) > 0.5]
            if not twin:
                found.append(one)
            elif beside:
                why = f"The {twin} runs too, at nearly the same rate: which turns at which is open.".replace("_", " ")
                rate, unsteady = Reading(None, "Hz", why_not=why), Reading(None, "%", why_not=why)
                found.append(replace(one, told=replace(one.told, rate_hz=rate, unsteady_pct=unsteady)))
            else:
                first, second = sorted((one.run.name, twin))
                self.open.one_of.add((first, second, one.told.mode))
        return found

    def _share_in(self, run: Run, modes: frozenset[str]) -> float:
        here = self.modes[run.first : run.last + 1]
        return sum(mode in modes for mode in here) / len(here)

    def _due(self, run: Run, may: Sequence[RateExpected]) -> bool:
        """Say whether a rotor should turn at about a run's rate while it ran; it may where nobody said a mode."""
        rate = float(np.median(run.rates_hz))
        fits = frozenset(one.mode for one in may if one.low_hz <= rate <= one.high_hz)
        return "" in fits or self._share_in(run, fits | {""}) >= 0.5

    def _sure(self, run: Run, others: Sequence[Run], left: Single, *, due: bool) -> float:
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
        likely = run.usual * (1.0 if due else NOT_DUE)
        return sureness(Clue(run, trusted(score, decoys, len(run.orders), lines, likely).sure, lines, due))

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


def _together(one: Run, other: Run) -> float:
    """Give the share of the shorter of two runs that both have."""
    both = min(one.last, other.last) - max(one.first, other.first) + 1
    return max(0, both) / min(one.last - one.first + 1, other.last - other.first + 1)


def _twin(name: str, mode: str, expected: Expected) -> str:
    """Give another motor that should turn at nearly the same rate in a mode and sound alike; "" where there is none."""
    own = [one for one in expected[name] if one.mode == mode]
    for other, rows in expected.items():
        pairs = ((a, b) for a in own for b in rows if b.mode == mode and other != name)
        if any(a.comb == b.comb and abs(math.log(a.rate_hz / b.rate_hz)) < TWINS for a, b in pairs):
            return other
    return ""


def _like_mains(rate_hz: float) -> bool:
    """Say whether a rate is that of the mains: where nobody heard the room alone, hum and a motor look alike."""
    return any(abs(rate_hz / (mains * order) - 1.0) < 0.01 for mains in (50.0, 60.0) for order in (0.5, 1.0, 2.0))


def _too_slow(by_name: Mapping[str, Sequence[RateExpected]], low_hz: float) -> frozenset[str]:
    """Give the modes in which a motor is due that turns too slowly to be told by its lines."""
    return frozenset(
        one.mode for rows in by_name.values() for one in rows
        if one.kind == "motor" and not any(order * one.rate_hz > low_hz for order in one.comb)
    )  # fmt: skip
