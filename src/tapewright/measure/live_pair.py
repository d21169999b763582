"""Several tracks at once while the screwdriver turns: level, delay, azimuth, sum of tracks, response tone by tone.

The sound comes in block by block; every tenth of a second gives one `PairMoment` about the last second. Tones are
found by themselves: with several of them, or with a coarse one before a fine one, delays are read to the right turn;
with a single fine tone it is said after which angle it looks the same again. Where there is nothing to read there is
the reason.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.live_pair_angle import angle_of, delays_of, finest, scatter_of, wander_of
from tapewright.measure.live_pair_delays import LEAST, NOW, Delays, Ladder, mean_doubt
from tapewright.measure.live_pair_sum import PairReading, pair_readings, sum_of_all
from tapewright.measure.live_pair_tones import FRAME_STEPS, STEP_S, Run, followed, tones_in
from tapewright.words.reading import Reading

CARRIED_STEPS: Final = 15
"""For so long after a tone has ended the next one is still read by what it said: nobody turns far in that time."""
MARK_HZ: Final = 315.0
MARK_WITHIN: Final = 0.03
SAME_TONE: Final = 0.03
FULL: Final = 0.999
Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ToneLevels:
    """What one tone reads on each channel: dB re full scale; against the one that was kept; against 315 Hz."""

    frequency_hz: float
    levels_db: tuple[Reading, ...]
    against_kept_db: tuple[Reading, ...]
    deviation_db: tuple[Reading, ...]


@dataclass(frozen=True, slots=True)
class PairMoment:
    """What all channels say together at one moment.

    Arguments:
        time_s: end of the sound that it rests on, since the first sample.
        tones: that stand now, the lowest first.
        response: every tone that was heard since 315 Hz was, the latest reading of each, by frequency.
        angle_arcmin: azimuth over all tracks, positive where a track further from the deck plate comes later.
        comes_round_arcmin: the angle after which it would look the same, where a turn is left open; None where not.
        wander_arcmin: half the range that holds 95 % of the last seconds, up to 3 Hz.
        delays_us: of each channel against the mean of those that take part.
        scatter_um: how far each gap stands off the line through all.
        pairs: every two channels; the first is nearer to the deck plate.
        sum_db: all tracks added, against what they would give in step.
        balance_db: the last track's level less the first's.
        remarks: what spoils it, sentences.
    """

    time_s: float
    tones: tuple[ToneLevels, ...]
    response: tuple[ToneLevels, ...]
    angle_arcmin: Reading
    comes_round_arcmin: float | None
    wander_arcmin: Reading
    delays_us: tuple[Reading, ...]
    scatter_um: tuple[Reading, ...]
    pairs: tuple[PairReading, ...]
    sum_db: Reading
    balance_db: Reading
    remarks: tuple[str, ...] = ()


class PairMeter:
    """Read several tracks of the same tape while they come in.

    Arguments:
        rate_hz: sample rate, 8000 and more.
        positions_m: where each channel's track lies across the tape, one a channel; None for one that has no place.
        speed_m_per_s: of the tape.

    Errors:
        ValueError: a rate below 8000, no channel, or a speed of nought.

    >>> meter = PairMeter(48_000.0, (0.3e-3, 1.2e-3), 0.047625)
    >>> [moment.angle_arcmin.value for moment in meter.add(np.zeros((9600, 2), dtype=np.float32))]
    [None, None]
    """

    def __init__(self, rate_hz: float, positions_m: Sequence[float | None], speed_m_per_s: float) -> None:
        if rate_hz < 8000.0 or not positions_m or speed_m_per_s <= 0.0:
            raise ValueError(f"{len(positions_m)} channels at {rate_hz:g} Hz and {speed_m_per_s:g} m/s cannot be read")
        self._rate_hz, self._speed = rate_hz, speed_m_per_s
        self._where = np.array([math.nan if one is None else one for one in positions_m])
        self._step = round(STEP_S * rate_hz)
        self._rest = np.zeros((0, len(positions_m)), dtype=np.float32)
        self._frame = np.zeros((0, len(positions_m)), dtype=np.float32)
        self._kept: tuple[Reading, ...] | None = None
        self._samples = 0
        self._begin()

    def _begin(self) -> None:
        self._runs: list[Run] = []
        self._part: NDArray[np.intp] = np.zeros(0, dtype=np.intp)
        self._ladder: Ladder | None = None
        self._silent = 0
        self._mark: tuple[Reading, ...] | None = None
        self._heard: dict[float, ToneLevels] = {}

    def add(self, block: NDArray[np.float32]) -> list[PairMoment]:
        """Take the next samples, shape (n, channels), full scale 1; give a moment for each whole step."""
        joined = np.concatenate([self._rest, block])
        count = len(joined) // self._step
        self._rest = joined[count * self._step :].copy()
        return [self._moment(joined[at * self._step : (at + 1) * self._step]) for at in range(count)]

    def lost(self, seconds: float) -> None:
        """Hear that sound was lost on the way: reading begins anew; what was kept as reference stays.

        Arguments:
            seconds: how much is lacking; 0 when it is not known.
        """
        self._rest, self._frame = self._rest[:0], self._frame[:0]
        self._samples += round(seconds * self._rate_hz)
        self._begin()

    def keep_reference(self) -> bool:
        """Keep the levels of the strongest tone that stands now as the reference; False where there is none."""
        ready = [run for run in self._runs if len(run.phases) >= LEAST]
        if ready:
            self._kept = self._levels(max(ready, key=lambda run: float(run.powers(1).sum())))
        return bool(ready)

    def _moment(self, samples: NDArray[np.float32]) -> PairMoment:
        self._samples += len(samples)
        clean = np.nan_to_num(samples, nan=0.0, posinf=0.0, neginf=0.0)
        self._frame = np.concatenate([self._frame, clean])[-FRAME_STEPS * self._step :]
        whole = len(self._frame) == FRAME_STEPS * self._step
        found = tones_in(self._frame.astype(np.float64), self._rate_hz) if whole else []
        self._runs = followed(self._runs, found)
        self._silent = 0 if found else self._silent + 1
        if self._ladder is not None and self._silent > CARRIED_STEPS:
            self._ladder.forget()
        ready = [run for run in self._runs if len(run.phases) >= LEAST]
        remarks = self._remarks(samples, ready)
        tones = tuple(self._tone(run) for run in ready)
        self._keep_heard(tones)
        delays = self._delays(ready)
        return self._shown(tones, ready, delays, remarks)

    # --- levels ------------------------------------------------------------------------------------------------------

    def _levels(self, run: Run) -> tuple[Reading, ...]:
        powers = run.powers(NOW)
        heard = run.heard(NOW)
        decibels = 10.0 * np.log10(powers)
        doubts = mean_doubt(decibels)
        return tuple(
            Reading(float(10.0 * np.log10(powers[:, at].mean())), "dB", float(doubts[at]))
            if heard[at]
            else Reading(None, "dB", why_not="This channel does not carry the tone.")
            for at in range(powers.shape[1])
        )

    def _tone(self, run: Run) -> ToneLevels:
        levels = self._levels(run)
        against = self._against(levels, self._kept, "No level was kept as the reference.")
        deviation = self._against(levels, self._mark, "315 Hz has not been heard before it.")
        return ToneLevels(run.frequency_hz, levels, against, deviation)

    def _against(
        self, levels: Sequence[Reading], reference: Sequence[Reading] | None, why_not: str
    ) -> tuple[Reading, ...]:
        if reference is None:
            return tuple(Reading(None, "dB", why_not=why_not) for _ in levels)
        return tuple(_less(one, other) for one, other in zip(levels, reference, strict=True))

    def _keep_heard(self, tones: Sequence[ToneLevels]) -> None:
        """Keep 315 Hz as what the response is told against, and every tone that came after it."""
        for tone in tones:
            if abs(tone.frequency_hz / MARK_HZ - 1.0) < MARK_WITHIN:
                self._mark = tone.levels_db
            if self._mark is None:
                continue
            same = [one for one in self._heard if abs(one / tone.frequency_hz - 1.0) < SAME_TONE]
            for one in same:
                del self._heard[one]
            self._heard[tone.frequency_hz] = tone

    # --- delays ------------------------------------------------------------------------------------------------------

    def _delays(self, ready: Sequence[Run]) -> list[Delays]:
        if not ready:
            return []
        carried = np.mean([run.heard(NOW) for run in ready], axis=0) > 0.5
        part = np.flatnonzero(carried & np.isfinite(self._where))
        if not np.array_equal(part, self._part):
            self._part = part
            self._ladder = Ladder(self._where[part], self._speed) if len(part) > 1 else None
            for run in self._runs:
                run.turns, run.resolved = None, False
        return [] if self._ladder is None else self._ladder.read(list(ready), part)

    def _shown(
        self, tones: tuple[ToneLevels, ...], ready: Sequence[Run], delays: Sequence[Delays], remarks: list[str]
    ) -> PairMoment:
        best = finest(delays)
        angle, open_ = self._angle(delays, best, ready)
        run = next((one for one in ready if best is not None and one.frequency_hz == best.frequency_hz), None)
        signs = np.ones(len(self._part)) if self._ladder is None else np.where(self._ladder.inverted, -1.0, 1.0)
        why_not = angle.why_not or "There is no tone."
        pairs = (
            () if best is None or run is None else pair_readings(best, run, self._part, self._where, signs, self._speed)
        )
        total = Reading(None, "dB", why_not=why_not) if run is None else sum_of_all(run, self._part, signs)
        return PairMoment(
            self._samples / self._rate_hz,
            tones,
            tuple(self._heard[one] for one in sorted(self._heard)),
            angle,
            open_,
            self._wander(run, best),
            delays_of(best, self._part, len(self._where), why_not),
            scatter_of(best, self._part, self._where, self._speed, why_not),
            pairs,
            total,
            _balance(tones, self._part),
            tuple(remarks),
        )

    def _angle(
        self, delays: Sequence[Delays], best: Delays | None, ready: Sequence[Run]
    ) -> tuple[Reading, float | None]:
        if best is None:
            return Reading(None, "arcmin", why_not=self._no_angle(ready)), None
        return angle_of(delays, best, self._where[self._part], self._speed)

    def _no_angle(self, ready: Sequence[Run]) -> str:
        if not self._runs:
            return "There is no tone."
        if not ready:
            return "The tone has only begun."
        if np.count_nonzero(np.isfinite(self._where)) < 2:
            return "Fewer than two channels carry a track whose place is known."
        return "Only one track carries the tone: a delay needs two."

    def _wander(self, run: Run | None, best: Delays | None) -> Reading:
        if run is None or best is None or run.turns is None or self._ladder is None:
            return Reading(None, "arcmin", why_not="There is no angle.")
        return wander_of(run, self._part, self._ladder.inverted, self._where[self._part], self._speed)

    def _remarks(self, samples: NDArray[np.float32], ready: Sequence[Run]) -> list[str]:
        said = []
        if np.any(np.abs(samples) >= FULL):
            said.append("The input is overdriven: turn the record level down.")
        if not np.isfinite(samples).all():
            said.append("Some samples are no numbers; they were taken as silence.")
        if self._ladder is not None and self._ladder.inverted.any():
            names = " and ".join(str(self._part[at] + 1) for at in np.flatnonzero(self._ladder.inverted))
            said.append(f"Channel {names} stands half a turn off: its wires are crossed. It is read turned over.")
        dead = [at for at in np.flatnonzero(np.isfinite(self._where)) if ready and not ready[0].heard(NOW)[at]]
        said += [f"Channel {at + 1} does not carry the tone." for at in dead]
        return said


def _less(one: Reading, other: Reading) -> Reading:
    if one.value is None or other.value is None:
        return one if one.value is None else other
    return Reading(one.value - other.value, "dB", math.hypot(one.doubt or 0.0, other.doubt or 0.0))


def _balance(tones: Sequence[ToneLevels], part: NDArray[np.intp]) -> Reading:
    if not tones or len(part) < 2:
        return Reading(None, "dB", why_not="Fewer than two tracks carry a tone.")
    strongest = max(tones, key=lambda one: max((level.value or -200.0) for level in one.levels_db))
    return _less(strongest.levels_db[part[-1]], strongest.levels_db[part[0]])


__all__ = ["MARK_HZ", "MARK_WITHIN", "PairMeter", "PairMoment", "PairReading", "ToneLevels"]
