"""The sections of a capture as a one-pass reading asks for them: tones mixed down once each, crosstalk taken out.

Sections are taken one by one, and only what has no tone is kept as samples: memory holds one section at a time.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.crosstalk import crosstalk_ratios, without_crosstalk
from tapewright.measure.distortion import third_harmonic_of
from tapewright.measure.levels import heard_on
from tapewright.measure.one_pass_parts import SectionSound
from tapewright.measure.section_tone import Baseband, mixed_down
from tapewright.words.reading import Reading
from tapewright.words.sequence import CROSSTALK, DISTORTION

EDGE_S: Final = 0.06
"""Left out at either end of a section: its rise and fall, and what the finding leaves open."""
CLEAR: Final = 3.0
"""Crosstalk is taken out where it is so many sigmas of its noise."""
Tones = list[tuple[SectionSound, Baseband]]


class Capture:
    """The sections of a capture, and the tones in them, mixed down once each.

    `tracks` are the numbers of the tracks that the columns of the samples hold.
    """

    def __init__(self, sounds: Iterable[SectionSound], rate_hz: float, tracks: Sequence[int]) -> None:
        self.rate_hz, self.tracks = rate_hz, tuple(tracks)
        self.sounds: list[SectionSound] = []
        self._tones: dict[int, Baseband] = {}
        self._thirds: dict[int, Baseband] = {}
        for sound in sounds:
            self._take(sound)
        self.mixing = self._mixing()

    def _take(self, sound: SectionSound) -> None:
        """Mix a section's tone down and let its samples go; what has no tone, or had one, is kept as it is."""
        edge = int(EDGE_S * self.rate_hz)
        samples = sound.samples[edge : len(sound.samples) - edge]
        section = sound.section
        if section.frequency_hz is None or section.to_be_erased:
            self.sounds.append(replace(sound, samples=samples.copy()))
            return
        kept = replace(sound, samples=np.zeros((0, samples.shape[1])))  # a slice would keep the whole alive
        played_hz = section.frequency_hz * sound.speed_ratio
        self.sounds.append(kept)
        self._tones[id(kept)] = mixed_down(samples, self.rate_hz, played_hz)
        if section.kind == DISTORTION:
            self._thirds[id(kept)] = mixed_down(samples, self.rate_hz, 3.0 * played_hz, played_hz)

    def of(self, kind: str, erased: bool = False) -> list[SectionSound]:
        """Give the sections of a kind."""
        return [one for one in self.sounds if one.section.kind == kind and one.section.to_be_erased == erased]

    def raw(self, sound: SectionSound) -> Baseband:
        """Give a section's tone as it came."""
        return self._tones[id(sound)]

    def own(self, tone: Baseband) -> Baseband:
        """Give a tone that plays on all tracks, less what crosses over from the others."""
        if not self.mixing:
            return tone
        return replace(tone, values=without_crosstalk(tone.values, self._mixed_at(tone.frequency_hz)))

    def _mixed_at(self, frequency_hz: float) -> NDArray[np.complex128]:
        """Give how the tracks mix at a frequency: between two tones that were read, straight over its logarithm."""
        below = max((hz for hz in self.mixing if hz <= frequency_hz), default=None)
        above = min((hz for hz in self.mixing if hz >= frequency_hz), default=None)
        if below is None or above is None or below == above:
            return self.mixing[next(hz for hz in (below, above) if hz is not None)]
        share = math.log(frequency_hz / below) / math.log(above / below)
        return np.asarray((1.0 - share) * self.mixing[below] + share * self.mixing[above])

    def tones(self, kind: str, erased: bool = False) -> Tones:
        """Give the tones of a kind of section that all tracks carry."""
        return [(one, self.own(self.raw(one))) for one in self.of(kind, erased) if one.section.frequency_hz]

    def third(self, sound: SectionSound) -> tuple[Reading, ...]:
        """Give the third harmonic of a section on every track."""
        return third_harmonic_of(self.own(self.raw(sound)), self.own(self._thirds[id(sound)]))

    def alone(self) -> list[tuple[SectionSound, int, Baseband]]:
        """Give the sections where one track plays alone: the section, the index of that track's column, the tone."""
        there = [
            (one, self.tracks.index(one.section.tracks[0]), self.raw(one))
            for one in self.of(CROSSTALK)
            if len(one.section.tracks) == 1 and one.section.tracks[0] in self.tracks
        ]
        return [(one, index, tone) for one, index, tone in there if heard_on(tone)[index]]

    def _mixing(self) -> dict[float, NDArray[np.complex128]]:
        """Give how the tracks mix, by frequency; what is no more than noise counts as nothing."""
        columns: dict[float, dict[int, NDArray[np.complex128]]] = {}
        for sound, index, tone in self.alone():
            ratios, spread = crosstalk_ratios(tone, index)
            seen = np.abs(ratios) > CLEAR * spread
            columns.setdefault(sound.section.frequency_hz or 0.0, {})[index] = np.where(seen, ratios, 0.0)
        found = {}
        for frequency_hz, each in columns.items():
            matrix = np.eye(len(self.tracks), dtype=np.complex128)
            for index, column in each.items():
                matrix[:, index] = column
            found[frequency_hz] = matrix
        return found


__all__ = ["Capture"]
