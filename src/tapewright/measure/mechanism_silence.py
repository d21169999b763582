"""What was expected to turn and was not heard: how loud it would have had to be, and how likely it was as loud."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from tapewright.measure.mechanism_comb import orders_within
from tapewright.measure.mechanism_frames import FRAME_S, HIGHEST_HZ, Frames, Single
from tapewright.measure.mechanism_trust import SAME_MACHINE_DB, SAME_MOTOR_DB, chance_heard, decoy_scores, loud_enough
from tapewright.words.mechanism_heard import Mark, NotHeard, RateExpected, StretchHeard

SILENT_KIND: Final = 0.9
"""One motor in fifty is of a kind that hardly sounds, from memory; but of 78 silences held to that, 70 were so
(300 held-out minutes: `python -m benchmarks.mechanism_minutes --first 2000`)."""
OTHERS_SAY: Final = 0.9
"""The same where its level is known from other motors alone: how loud it is itself nobody has heard; judgement."""
NOTHING_KNOWN: Final = 0.6
"""Where nothing at all is heard to turn: chance that a motor would have been, a phone laid on the case; from memory."""

Levels = Mapping[str, Sequence[tuple[float, float]]]
"""By rotor: level, dB against full scale, and rate of each of its runs."""


@dataclass(frozen=True, slots=True, eq=False)
class Silence:
    """A recording in which what is heard is known, and what is not is to be told.

    Arguments:
        frames: its spectra.
        left: the evidence with all that turned taken out.
        low_hz: the lowest frequency that reaches the file.
        duration_s: its length.
        levels: of the motors heard.
    """

    frames: Frames
    left: Single
    low_hz: float
    duration_s: float
    levels: Levels

    def missing(
        self, expected: Sequence[RateExpected], marks: Sequence[Mark], stretches: Sequence[StretchHeard]
    ) -> list[NotHeard]:
        """Say of everything expected and not heard how loud it would have had to be."""
        found = []
        edges = [*(mark.at_s for mark in marks), self.duration_s]
        for mark, end in zip(marks, edges[1:], strict=True):
            for one in (each for each in expected if each.mode == mark.mode):
                there = any(s.name == one.name and s.end_s > mark.at_s and s.start_s < end for s in stretches)
                if not there and end - mark.at_s > 2 * FRAME_S:
                    found.append(self._not_heard(one, mark.at_s, end))
        return found

    def _not_heard(self, one: RateExpected, start: float, end: float) -> NotHeard:
        times, bin_hz = self.frames.times_s, self.frames.bin_hz
        rows = np.flatnonzero((times > start) & (times < end))
        orders = [o for o in orders_within(one.comb, one.rate_hz, HIGHEST_HZ) if o * one.rate_hz > self.low_hz]
        if not orders or not len(rows):
            return NotHeard(one.name, one.mode, start, end, 0.0, 0.0)
        mean = self.left[rows].mean(axis=0).astype(float)
        decoys = decoy_scores(mean, tuple(orders), (one.low_hz, one.high_hz), bin_hz)
        loud = loud_enough(decoys, len(orders))
        around = np.median(self.frames.background[rows], axis=0)
        at = np.minimum(np.rint(np.array(orders) * one.rate_hz / bin_hz).astype(int), len(around) - 1)
        needed = 10.0 * math.log10(max(loud * float(np.sum(around[at])) / 2.0, 1e-15))
        own, others = self.levels.get(one.name), [pair for pairs in self.levels.values() for pair in pairs]
        known = own or others
        # What shakes grows with the square of the rate: a motor that turns slowly is a quiet one.
        likely = [level + 40.0 * math.log10(min(1.0, one.rate_hz / rate)) for level, rate in known]
        spread = SAME_MOTOR_DB if own else SAME_MACHINE_DB
        sure = chance_heard(float(np.median(likely)), needed, spread) if known else NOTHING_KNOWN
        return NotHeard(one.name, one.mode, start, end, needed, min(sure, SILENT_KIND if own else OTHERS_SAY))
