"""From what a pass of the test sequence said to readings by the names of evidence, for the diagnosis.

Several tracks become few readings, each about one thing: the worst track's spacing, what edge tracks have more of,
dropouts along the edges and further in, what swings with each rotor.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Final

from tapewright.jobs.pass_rates import PartRates, rates_to_ask
from tapewright.machine.head_contact import TREBLE_HZ, tracks_of
from tapewright.machine.parts import Machine
from tapewright.measure.azimuth import wander_at
from tapewright.measure.dropouts_of_tone import LEAST_TO_REPEAT, Dropout, repeats_with
from tapewright.measure.one_pass import NOT_ERASED_DB
from tapewright.words import one_pass as names
from tapewright.words.one_pass import PassReading, PassSaid
from tapewright.words.reading import Reading
from tapewright.words.record import Heard

STANDS_OUT: Final = 2.0
"""How many doubts something must exceed at a rate that was supposed, before it counts."""
EXPLAINED: Final = 0.5
"""Share of the wander's power that what was found with rotors must make up, for the whole to be left out."""
NEAR_TREBLE: Final = 1.35
LEAST_UM: Final = 0.01
SUPPOSED_NOT_SEEN: Final = (
    "Nothing stands out at the rate this reel has at the start of a side, and where in the side the pass was made is "
    "not known: give rate_hz of the reel in play, from a film or a stopwatch."
)


def pass_readings(machine: Machine, heard: Sequence[Heard], known: Mapping[str, Reading]) -> dict[str, Reading]:
    """Give the readings of the first pass in some recordings; none where there is no pass.

    Arguments:
        machine: as described.
        heard: the recordings' channels.
        known: readings that were given, by the names of evidence: rates of reels among them.
    """
    said = next((one.one_pass for one in heard if one.one_pass is not None), None)
    return {} if said is None else readings_of(machine, said, known)


def pass_notes(found: Mapping[str, Reading]) -> tuple[str, ...]:
    """Say of whom a pass speaks, and what turns at no known rate.

    Arguments:
        found: from `pass_readings`.
    """
    if not found:
        return ()
    swings = {name.partition(":")[2]: one for name, one in found.items() if name.startswith("azimuth_swing_arcmin:")}
    unknown = [f"{part}: {one.why_not}" for part, one in swings.items() if one.why_not]
    spoken = "What the pass of the test sequence says of the cassette, it says of the one it was played from."
    return (spoken, *(f"Azimuth in step with the {one}" for one in unknown))


def readings_of(machine: Machine, said: PassSaid, known: Mapping[str, Reading]) -> dict[str, Reading]:
    """Give everything that a pass said under the names of evidence; what could not be read has its reason.

    Arguments:
        machine: as described.
        said: the pass.
        known: readings that were given beside it.
    """
    edge = [track for track in said.tracks if track in tracks_of(machine.tape).edge]
    inner = [track for track in said.tracks if track not in edge]
    found = {
        **_swings(machine, said, known),
        "azimuth_error_arcmin": _size(_only(said, names.AZIMUTH, "arcmin")),
        **_spacings(said, edge, inner),
        "gap_um": _mean([one.reading for one in said.of(names.GAP)], "µm"),
        "response_treble_db": _treble(machine, said),
        "edge_dropouts_per_min": _mean(_on(said, names.DROPOUTS, edge), "1/min"),
        "inner_dropouts_per_min": _mean(_on(said, names.DROPOUTS, inner), "1/min"),
        "balance_db": _extreme(said.of(names.BALANCE), min, "dB"),
        "noise_a_db": _extreme(said.of(names.NOISE_A), max, "dB"),
        "hum_db": _extreme(said.of(names.HUM), max, "dB"),
        "crosstalk_db": _extreme(said.of(names.CROSSTALK), max, "dB"),
        "erasure_db": _erasure(said),
        "level_at_three_percent_db": _extreme(said.of(names.THREE_PERCENT), min, "dB"),
    }
    return {name: replace(one, conditions=one.conditions or said.sequence) for name, one in found.items()}


def _none(unit: str) -> Reading:
    return Reading(None, unit, why_not="The pass did not tell.")


def _only(said: PassSaid, name: str, unit: str) -> Reading:
    return next((one.reading for one in said.of(name)), _none(unit))


def _on(said: PassSaid, name: str, tracks: Sequence[int]) -> list[Reading]:
    return [one.reading for one in said.of(name) if one.track in tracks]


def _size(reading: Reading) -> Reading:
    return reading if reading.value is None else Reading(abs(reading.value), reading.unit, reading.doubt)


def _mean(readings: Sequence[Reading], unit: str) -> Reading:
    """Give the mean over tracks that were read."""
    there = [one for one in readings if one.value is not None]
    if not there:
        return next((one for one in readings if one.why_not), _none(unit))
    doubt = math.sqrt(sum((one.doubt or 0.0) ** 2 for one in there)) / len(there)
    return Reading(sum(one.value or 0.0 for one in there) / len(there), unit, doubt)


def _extreme(found: Sequence[PassReading], which: Callable[..., PassReading], unit: str) -> Reading:
    """Give the reading of the track that stands out."""
    there = [one for one in found if one.reading.value is not None]
    if not there:
        return next((one.reading for one in found if one.reading.why_not), _none(unit))
    worst = which(there, key=lambda one: one.reading.value)
    return Reading(worst.reading.value, unit, worst.reading.doubt, conditions=f"track {worst.track}")


def _erasure(said: PassSaid) -> Reading:
    """Give what erasing left; what plays on as it was may never have been recorded over."""
    left = _extreme(said.of(names.ERASURE), max, "dB")
    if left.value is None or left.value <= NOT_ERASED_DB:
        return left
    return Reading(None, "dB", why_not="What was to be erased plays on as it was: was it recorded over at all?")


def _spacings(said: PassSaid, edge: Sequence[int], inner: Sequence[int]) -> dict[str, Reading]:
    found = said.of(names.SPACING)
    each = {f"track_spacing_um:{one.track}": one.reading for one in found}
    worst, least = (_at_least(_extreme(found, which, "µm")) for which in (max, min))
    outside, inside = (_mean(_on(said, names.SPACING, tracks), "µm") for tracks in (edge, inner))
    if outside.value is None or inside.value is None:
        more = Reading(None, "µm", why_not="Edge and inner tracks were not both read.")
    else:
        more = Reading(outside.value - inside.value, "µm", math.hypot(outside.doubt or 0.0, inside.doubt or 0.0))
    return {**each, "spacing_um": worst, "least_spacing_um": least, "edge_spacing_um": more}


def _at_least(reading: Reading) -> Reading:
    """A spacing below nought is a head better than its sheet."""
    return reading if reading.value is None else replace(reading, value=max(reading.value, LEAST_UM))


def _treble(machine: Machine, said: PassSaid) -> Reading:
    """Give the weakest track's response at the tone next to 10 kHz."""
    if abs(said.tape_speed_m_per_s / machine.tape.speed_m_per_s - 1.0) > 0.03:
        return Reading(None, "dB", why_not="The sequence is for another speed than the description's.")
    tones = {one.at_hz for one in said.of(names.RESPONSE) if one.at_hz and one.reading.value is not None}
    near = min(tones, key=lambda hz: abs(math.log(hz / TREBLE_HZ)), default=None)
    if near is None or abs(math.log(near / TREBLE_HZ)) > math.log(NEAR_TREBLE):
        return Reading(None, "dB", why_not="No tone near 10 kHz was read.")
    return _extreme([one for one in said.of(names.RESPONSE) if one.at_hz == near], min, "dB")


# --- what turns -------------------------------------------------------------------------------------------------------


def _swings(machine: Machine, said: PassSaid, known: Mapping[str, Reading]) -> dict[str, Reading]:
    """Give what of the azimuth's wander, and of the dropouts, goes with each rotor that touches the tape."""
    wander = _only(said, names.WANDER, "arcmin")
    if said.course is None:
        return {"azimuth_wander_arcmin": wander}
    seconds = len(said.course.values) / said.course.rate_hz
    asked = rates_to_ask(machine, known, said.tape_speed_m_per_s * said.speed_ratio, seconds)
    swings = {one.part: _swing(said, one) for one in asked}
    found = {f"azimuth_swing_arcmin:{part}": one for part, one in swings.items()}
    found |= {f"dropouts_in_step_per_min:{one.part}": _in_step(said, one, seconds) for one in asked}
    power = sum((one.value or 0.0) ** 2 for one in swings.values())
    every = all(one.value is not None for one in swings.values())
    if wander.value is not None and (every or power > EXPLAINED * wander.value**2):
        wander = Reading(None, "arcmin", why_not="Told in detail by what swings with each rotor.")
    return {**found, "azimuth_wander_arcmin": wander}


def _swing(said: PassSaid, asked: PartRates) -> Reading:
    """Give the most of the wander that is found at the rates a rotor may have."""
    assert said.course is not None
    if not asked.at_hz:
        return Reading(None, "arcmin", why_not=asked.says)
    tried = [(hz, wander_at(said.course, hz)) for hz in asked.at_hz]
    read = [(hz, one) for hz, one in tried if one.value is not None]
    if not read:
        return tried[0][1]
    hz, most = max(read, key=lambda one: one[1].value or 0.0)
    if asked.supposed and (most.value or 0.0) < STANDS_OUT * (most.doubt or 0.0):
        return Reading(None, "arcmin", why_not=SUPPOSED_NOT_SEEN)
    return Reading(most.value, "arcmin", most.doubt, conditions=f"at {hz:.3f} turns a second: {asked.says}")


def _in_step(said: PassSaid, asked: PartRates, seconds: float) -> Reading:
    """Give the dropouts a minute, if they keep step with a rotor."""
    dropouts = [Dropout(one.track - 1, one.start_s, one.length_s, one.depth_db) for one in said.dropouts]
    if not asked.at_hz:
        return Reading(None, "1/min", why_not=asked.says)
    if len(dropouts) < LEAST_TO_REPEAT:
        return Reading(None, "1/min", why_not=f"Fewer than {LEAST_TO_REPEAT} dropouts: none could be in step.")
    apart = len({round(one.start_s, 1) for one in dropouts})
    minute = 60.0 / max(seconds, 1.0)
    if repeats_with(dropouts, asked.at_hz):
        return Reading(apart * minute, "1/min", 2.0 * math.sqrt(apart) * minute, conditions=asked.says)
    if asked.supposed:
        return Reading(None, "1/min", why_not=SUPPOSED_NOT_SEEN)
    return Reading(0.0, "1/min", 2.0 * math.sqrt(apart) * minute, conditions=asked.says)


__all__ = ["pass_notes", "pass_readings", "readings_of"]
