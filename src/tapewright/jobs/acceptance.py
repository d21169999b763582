"""The acceptance: each reading against its limit, by the machine's own sheet, else by DIN 45500 part 4 as it is quoted.

Pass where all of a reading's 95 % interval keeps the limit, fail where none of it does, within doubt between. Nothing
is judged that was not read. What the test tape may be off by is added to the doubt where it bears on the reading.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from tapewright.jobs.verdicts import OWN_SHEET, verdicts
from tapewright.machine.limits import RESPONSE_HIGH, RESPONSE_LOW, WAY_OF
from tapewright.machine.parts import Machine
from tapewright.measure.erasure import where_erased
from tapewright.measure.test_tape import CERTIFIED, THIS_MACHINE, KnownTape
from tapewright.standards import din_45500 as din
from tapewright.standards.alignment import (
    AZIMUTH_PHASE_AT_HZ,
    AZIMUTH_PHASE_DEG,
    TAPE_AZIMUTH_RAD,
    angle_of_phase_rad,
)
from tapewright.standards.figures import Figure
from tapewright.standards.iec_60094 import TRACK_CENTRES_M
from tapewright.words import one_pass as names
from tapewright.words.one_pass import Judgement, PassReading, PassSaid, ResponseField
from tapewright.words.reading import Reading
from tapewright.words.verdict import AT_LEAST, AT_MOST, EITHER_WAY, FAIL, PASS, WITHIN_DOUBT, judged

NOTHING_READ: Final[Mapping[str, Reading]] = {}
SIGNAL_TO_NOISE: Final = "signal_to_noise_a_db"
UNWEIGHTED: Final = "signal_to_noise_db"
SPREAD_MIDDLE: Final = "response_spread_middle_db"
SPREAD_WHOLE: Final = "response_spread_db"
SIDES: Final = "crosstalk_sides_db"
ARC_MINUTES: Final = 60.0 * 180.0 / math.pi
"""In one radian."""
SAME_TAPE: Final = (
    "The tape was made on this machine itself: an azimuth recorded with the head that plays it is always right."
)
_ORDER: Final = {FAIL: 0, WITHIN_DOUBT: 1, PASS: 2}


@dataclass(frozen=True, slots=True)
class _Asked:
    """A limit, on which side of it to stay, and whose it is."""

    limit: float
    way: str
    source: str


def acceptance(
    said: PassSaid,
    machine: Machine | None = None,
    tape: KnownTape | None = None,
    speed: Mapping[str, Reading] = NOTHING_READ,
) -> tuple[Judgement, ...]:
    """Hold every reading of a pass against its limit.

    Arguments:
        said: what the pass said.
        machine: whose sheet goes first; None where it is not known: then the document alone.
        tape: the test tape, where it is known.
        speed: readings of speed and flutter by name, of the same capture.

    Returns:
        One judgement for each reading that a limit asks for, or that would have one on a full sheet.
    """
    return tuple(_Bench(said, machine, tape).all(speed))


def response_fields(machine: Machine | None) -> tuple[ResponseField, ...]:
    """Give the field that a response has to keep: the machine's own, else those of the document."""
    own = machine.limits if machine is not None else {}
    if names.RESPONSE in own:
        return (ResponseField(own[RESPONSE_LOW], own[RESPONSE_HIGH], 2.0 * own[names.RESPONSE], floats=False),)
    return (
        ResponseField(din.RANGE_LOW_HZ.value, din.RANGE_HIGH_HZ.value, din.WHOLE_SPREAD_DB.value, floats=True),
        ResponseField(din.MIDDLE_LOW_HZ.value, din.MIDDLE_HIGH_HZ.value, din.MIDDLE_SPREAD_DB.value, floats=True),
    )


class _Bench:
    """One pass on the bench, with what it is held against."""

    def __init__(self, said: PassSaid, machine: Machine | None, tape: KnownTape | None) -> None:
        self.said, self.machine, self.tape = said, machine, tape
        self.own = machine.limits if machine is not None else {}

    def all(self, speed: Mapping[str, Reading]) -> Iterator[Judgement]:
        for name, verdict in verdicts(self.machine, speed).items():
            yield Judgement(name, speed[name], verdict)
        if not self.said.tracks:
            return
        yield from self._azimuth()
        yield from self._each(names.SCATTER)
        yield from self._balance()
        yield from self._response()
        yield from self._crosstalk()
        yield from self._noise()
        yield from self._distortion()
        yield from self._erasure()
        yield from self._each(names.HUM)
        yield from self._each(names.DROPOUTS)

    # --- one limit, one reading ---------------------------------------------------------------------------------------

    def _asked(self, name: str, otherwise: _Asked | None = None) -> _Asked | None:
        """Give the limit of the machine's sheet, else the one that stands in."""
        if name in self.own:
            return _Asked(self.own[name], WAY_OF[name], OWN_SHEET)
        return otherwise

    def _judged(
        self,
        name: str,
        reading: Reading,
        asked: _Asked | None,
        track: int = 0,
        from_track: int = 0,
        at_hz: float | None = None,
        notes: tuple[str, ...] = (),
    ) -> Judgement:
        verdict = None if asked is None else judged(reading, asked.limit, asked.source, asked.way)
        return Judgement(name, reading, verdict, track, from_track, at_hz, notes)

    def _each(self, name: str, otherwise: _Asked | None = None) -> Iterator[Judgement]:
        """Judge a reading on every track."""
        for one in self.said.of(name):
            yield self._judged(name, one.reading, self._asked(name, otherwise), one.track)

    def _erasure(self) -> Iterator[Judgement]:
        asked = self._asked(names.ERASURE, _Asked(-din.ERASURE_DB.value, AT_MOST, din.ERASURE_DB.source))
        for one in self.said.of(names.ERASURE):
            yield self._judged(names.ERASURE, where_erased(one.reading), asked, one.track)

    # --- heads --------------------------------------------------------------------------------------------------------

    def _azimuth(self) -> Iterator[Judgement]:
        (angle,) = self.said.of(names.AZIMUTH)
        apart_m = TRACK_CENTRES_M[1] - TRACK_CENTRES_M[0]
        most = ARC_MINUTES * angle_of_phase_rad(
            AZIMUTH_PHASE_DEG.value, AZIMUTH_PHASE_AT_HZ.value, apart_m, self.said.tape_speed_m_per_s
        )
        practice = f"{AZIMUTH_PHASE_DEG.source}; between neighbouring tracks at 6.3 kHz"
        asked = self._asked(names.AZIMUTH, _Asked(round(most, 1), EITHER_WAY, practice))
        reading, notes = self._through_tape(angle.reading)
        yield self._judged(names.AZIMUTH, reading, asked, notes=notes)
        (wander,) = self.said.of(names.WANDER)
        yield self._judged(names.WANDER, wander.reading, self._asked(names.WANDER))

    def _through_tape(self, angle: Reading) -> tuple[Reading, tuple[str, ...]]:
        """Add to the doubt of an azimuth what the tape may be off by."""
        if angle.value is None:
            return angle, ()
        if self.tape is not None and self.tape.kind == THIS_MACHINE:
            return Reading(None, angle.unit, why_not=SAME_TAPE), ()
        own_arcmin = ARC_MINUTES * TAPE_AZIMUTH_RAD.value
        note = f"{own_arcmin:.2g}' is counted for the tape's own azimuth: {TAPE_AZIMUTH_RAD.source}."
        if self.tape is None or self.tape.kind != CERTIFIED:
            note += " A tape that is no calibration tape may be off by more."
        return replace(angle, doubt=math.hypot(angle.doubt or 0.0, own_arcmin), interval=None), (note,)

    def _programmes(self) -> list[tuple[int, ...]]:
        """Give the tracks that belong to one programme: all that play together, or side by side on a machine of two."""
        tracks = self.said.tracks
        if self.machine is None or self.machine.tape.tracks > 2 or len(tracks) < 3:
            return [tracks]
        return [side for side in (tuple(t for t in tracks if t <= 2), tuple(t for t in tracks if t > 2)) if side]

    def _balance(self) -> Iterator[Judgement]:
        levels = {one.track: one.reading for one in self.said.of(names.LEVEL)}
        asked = self._asked(names.BALANCE, _Asked(din.BALANCE_DB.value, AT_MOST, din.BALANCE_DB.source))
        for tracks in self._programmes():
            if len(tracks) > 1:
                reading = spread_of([levels[track] for track in tracks], "highest less lowest track")
                yield self._judged(names.BALANCE, reading, asked)

    # --- response -----------------------------------------------------------------------------------------------------

    def _response(self) -> Iterator[Judgement]:
        for track in self.said.tracks:
            read = [one for one in self.said.of(names.RESPONSE) if one.track == track]
            if names.RESPONSE in self.own:
                yield self._in_band(track, read)
            else:
                yield from self._spreads(track, read)

    def _in_band(self, track: int, read: Sequence[PassReading]) -> Judgement:
        """Judge a response by the tone that is worst off, within the band of the machine's sheet."""
        low, high = self.own[RESPONSE_LOW], self.own[RESPONSE_HIGH]
        tones = _tones(read, low, high)
        asked = _Asked(self.own[names.RESPONSE], EITHER_WAY, OWN_SHEET)
        each = [self._judged(names.RESPONSE, one.reading, asked, track, at_hz=one.at_hz) for one in tones]
        lacking = next((one for one in each if one.verdict is None), None)
        if not each or lacking is not None:
            why = lacking.reading.why_not if lacking is not None else None
            at = f"{lacking.at_hz:.0f} Hz: " if lacking is not None and lacking.at_hz else ""
            none = Reading(None, "dB", why_not=f"{at}{why or 'No tone of the response lies in the band.'}")
            failed = [one for one in each if one.verdict is not None and one.verdict.verdict == FAIL]
            return failed[0] if failed else Judgement(names.RESPONSE, none, None, track)
        worst = min(each, key=_worst_first)
        return replace(worst, notes=(_band_said(tones, low, high),))

    def _spreads(self, track: int, read: Sequence[PassReading]) -> Iterator[Judgement]:
        for name, figure, ends in (
            (SPREAD_MIDDLE, din.MIDDLE_SPREAD_DB, (din.MIDDLE_LOW_HZ, din.MIDDLE_HIGH_HZ)),
            (SPREAD_WHOLE, din.WHOLE_SPREAD_DB, (din.RANGE_LOW_HZ, din.RANGE_HIGH_HZ)),
        ):
            low, high = (one.value for one in ends)
            tones = _tones(read, low, high)
            reading = spread_of([one.reading for one in tones], f"highest less lowest, {low:g} to {high:g} Hz")
            asked = _Asked(figure.value, AT_MOST, figure.source)
            notes = (_band_said(tones, low, high),) if tones else ()
            yield self._judged(name, reading, asked, track, notes=notes)

    # --- from other tracks, from none ---------------------------------------------------------------------------------

    def _crosstalk(self) -> Iterator[Judgement]:
        """Judge each track by the track that is heard most on it, tone by tone."""
        programme = {track: number for number, tracks in enumerate(self._programmes()) for track in tracks}
        groups: dict[tuple[str, float, int], list[Judgement]] = {}
        for one in self.said.of(names.CROSSTALK):
            same = programme[one.track] == programme.get(one.from_track)
            name = names.CROSSTALK if same else SIDES
            asked = self._crosstalk_limit(name, one.at_hz or 0.0, same)
            found = self._judged(name, one.reading, asked, one.track, one.from_track, one.at_hz)
            groups.setdefault((name, one.at_hz or 0.0, one.track), []).append(found)
        for each in groups.values():
            yield max(each, key=_most_heard)

    def _crosstalk_limit(self, name: str, at_hz: float, same: bool) -> _Asked | None:
        at_one: Figure = din.CROSSTALK_STEREO_DB if same else din.CROSSTALK_PROGRAMMES_DB
        wide: Figure = din.CROSSTALK_STEREO_WIDE_DB if same else din.CROSSTALK_PROGRAMMES_WIDE_DB
        if abs(at_hz - din.CROSSTALK_AT_HZ.value) < 1.0:
            return self._asked(name, _Asked(-at_one.value, AT_MOST, at_one.source))
        if din.CROSSTALK_LOW_HZ.value <= at_hz <= din.CROSSTALK_HIGH_HZ.value:
            return _Asked(-wide.value, AT_MOST, wide.source)
        return None

    def _noise(self) -> Iterator[Judgement]:
        if names.NOISE_A in self.own:
            yield from self._each(names.NOISE_A)
        else:
            full = {one.track: one.reading for one in self.said.of(names.THREE_PERCENT)}
            for one in self.said.of(names.NOISE_A):
                yield self._signal_to_noise(one, full[one.track])
            if full:
                asked_db = din.UNWEIGHTED_SIGNAL_TO_NOISE_DB.value
                why = f"Noise without a weighting is not read; {asked_db:g} dB are asked."
                yield Judgement(UNWEIGHTED, Reading(None, "dB", why_not=why), None)
        yield from self._each(names.NOISE_468)

    def _signal_to_noise(self, noise: PassReading, full: Reading) -> Judgement:
        """Hold the noise against the level at 3 %, which the document calls full level."""
        figure = din.WEIGHTED_SIGNAL_TO_NOISE_DB
        asked = _Asked(figure.value, AT_LEAST, figure.source)
        notes = ("The document's weighting is not in its summary; the A-weighted reading is taken.",)
        reading = less(full, noise.reading, "level at 3 % less A-weighted noise")
        return self._judged(SIGNAL_TO_NOISE, reading, asked, noise.track, notes=notes)

    def _distortion(self) -> Iterator[Judgement]:
        for one in self.said.of(names.THIRD):
            if one.at_db == 0.0:
                yield self._judged(names.THIRD, one.reading, self._asked(names.THIRD), one.track)
        yield from self._each(names.THREE_PERCENT)


def _worst_first(one: Judgement) -> tuple[int, float]:
    assert one.verdict is not None
    return _ORDER[one.verdict.verdict], -abs(one.reading.value or 0.0)


def _most_heard(one: Judgement) -> tuple[int, float]:
    """Order crosstalk: what fails is worse than what passes; then what may be most."""
    ends = _ends(one.reading)
    return -_ORDER[one.verdict.verdict] if one.verdict else -len(_ORDER), -math.inf if ends is None else ends[1]


def _tones(read: Sequence[PassReading], low_hz: float, high_hz: float) -> list[PassReading]:
    return [one for one in read if one.at_hz is not None and low_hz <= one.at_hz <= high_hz]


def _band_said(tones: Sequence[PassReading], low_hz: float, high_hz: float) -> str:
    """Say which tones stood for a band."""
    ends = [one.at_hz or 0.0 for one in tones]
    return f"{len(tones)} tones from {min(ends):g} to {max(ends):g} Hz stand for {low_hz:g} to {high_hz:g} Hz."


def _ends(reading: Reading) -> tuple[float, float] | None:
    """Give the 95 % interval; None where nothing is known."""
    if reading.interval is not None:
        return reading.interval
    if reading.value is None:
        return None
    doubt = reading.doubt or 0.0
    return reading.value - doubt, reading.value + doubt


def spread_of(readings: Sequence[Reading], method: str) -> Reading:
    """Give highest less lowest of several readings, with the interval that their own intervals leave open.

    >>> found = spread_of([Reading(1.0, "dB", 0.1), Reading(-2.0, "dB", 0.2), Reading(0.0, "dB", 0.1)], "spread")
    >>> found.value, [round(end, 6) for end in found.interval]
    (3.0, [2.7, 3.3])
    """
    values = [(one.value, one.doubt or 0.0) for one in readings if one.value is not None]
    if len(values) < max(2, len(readings)):
        why = next((one.why_not for one in readings if one.value is None), None)
        return Reading(None, "dB", why_not=why or "Fewer than two readings.", method=method)
    spread = max(v for v, _ in values) - min(v for v, _ in values)
    least = max(0.0, max(v - d for v, d in values) - min(v + d for v, d in values))
    most = max(v + d for v, d in values) - min(v - d for v, d in values)
    return Reading(spread, "dB", max(most - spread, spread - least), method=method, interval=(least, most))


def less(one: Reading, other: Reading, method: str) -> Reading:
    """Give the difference of two readings, as far as either is known.

    >>> less(Reading(4.0, "dB", 0.3), Reading(-50.0, "dB", 0.4), "difference")
    Reading(value=54.0, unit='dB', doubt=0.5, why_not=None, method='difference', conditions='', interval=None, by='')
    """
    if one.value is not None and other.value is not None:
        doubt = math.hypot(one.doubt or 0.0, other.doubt or 0.0)
        return Reading(one.value - other.value, "dB", doubt, method=method)
    ends = _ends(one), _ends(other)
    why = one.why_not or other.why_not
    if ends[0] is None or ends[1] is None:
        return Reading(None, "dB", why_not=why, method=method)
    return Reading(None, "dB", why_not=why, method=method, interval=(ends[0][0] - ends[1][1], ends[0][1] - ends[1][0]))
