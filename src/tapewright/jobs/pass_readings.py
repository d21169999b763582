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
from tapewright.machine.parts import Machine, spoken
from tapewright.machine.speeds import speeds_m_per_s
from tapewright.measure.azimuth import wander_at
from tapewright.measure.dropouts_of_tone import LEAST_TO_REPEAT, Dropout, repeats_with
from tapewright.measure.erasure import where_erased
from tapewright.words import one_pass as names
from tapewright.words.one_pass import PassReading, PassSaid
from tapewright.words.reading import Reading
from tapewright.words.record import Heard

STANDS_OUT: Final = 2.0
"""How many doubts something must exceed at a rate that was supposed, before it counts."""
EXPLAINED: Final = 0.5
"""Share of the wander's power that what was found with rotors must make up, for the whole to be left out."""
SAME_SPEED: Final = 0.03
"""Ratio within which a test tape is for the speed of the description."""
NEAR_TREBLE: Final = 1.35
LEAST_UM: Final = 0.01
SUPPOSED_NOT_SEEN: Final = (
    "Nothing stands out at the rate this reel has at the start of a side, and where in the side the pass was made is "
    "not known: give how often the reel turns a second in play, from a film or a stopwatch."
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


def pass_notes(machine: Machine, heard: Sequence[Heard], found: Mapping[str, Reading]) -> tuple[str, ...]:
    """Say of whom a pass speaks, what does not fit the machine, which track is missing, and what turns unseen.

    Arguments:
        machine: as described.
        heard: the recordings' channels.
        found: from `pass_readings`.
    """
    first = next((one for one in heard if one.one_pass is not None), None)
    if first is None or first.one_pass is None:
        return ()
    channels = sum(one.file == first.file for one in heard)
    spoken_of = "What the pass of the test sequence says of the cassette, it says of the one it was played from."
    return (
        *_of_other_speed(machine, first.one_pass),
        *_of_missing_tracks(machine, first.one_pass, channels),
        *_of_foreign_tracks(machine, first.one_pass),
        spoken_of,
        *_of_unknown_rates(machine, found),
    )


def _of_other_speed(machine: Machine, said: PassSaid) -> tuple[str, ...]:
    """Say that a tape which plays right on this machine is for another speed than the description's."""
    tape_m_per_s = said.tape_speed_m_per_s
    own = speeds_m_per_s(machine)
    if any(abs(tape_m_per_s / one - 1.0) < SAME_SPEED for one in own):
        return ()
    described = " or ".join(f"{100.0 * one:.3g}" for one in own)
    played = f"The test tape is for {100.0 * tape_m_per_s:.3g} cm/s and plays right, but this machine is described with"
    return (f"{played} {described} cm/s: see which of them is wrong before believing the rest.",)


def _of_missing_tracks(machine: Machine, said: PassSaid, channels: int) -> tuple[str, ...]:
    """Say which tracks were not found in a recording that has a channel for each: dead, or never connected."""
    missing = [str(track) for track in range(1, machine.tape.tracks + 1) if track not in said.tracks]
    if not missing or channels < machine.tape.tracks or not said.tracks:
        return ()
    several = len(missing) > 1
    which = f"{'Tracks' if several else 'Track'} {' and '.join(missing)}"
    found = f"{which} {'were' if several else 'was'} not found, though there is a channel for every track"
    return (
        f"{found}, and nothing is judged of {'them' if several else 'it'}. Swap the lead with that of track "
        f"{said.tracks[0]} and capture once more: what is silent through the good lead too is dead (head winding, "
        "replay amplifier, switch); where the other track falls silent instead, it was the lead or the input.",
    )


def _of_unknown_rates(machine: Machine, found: Mapping[str, Reading]) -> tuple[str, ...]:
    """Say in step with which parts nothing could be looked for, parts with the same reason together."""
    reasons: dict[str, list[str]] = {}
    for name, one in found.items():
        stem, _, part = name.partition(":")
        if stem == "azimuth_swing_arcmin" and one.why_not:
            reasons.setdefault(one.why_not, []).append(spoken(machine, part))
    return tuple(f"Azimuth in step with {' and '.join(parts)}: {why}" for why, parts in reasons.items())


def _foreign(machine: Machine, said: PassSaid) -> list[str]:
    return [str(track) for track in said.tracks if track > machine.tape.tracks]


def _of_foreign_tracks(machine: Machine, said: PassSaid) -> tuple[str, ...]:
    """Say that a capture holds tracks which the machine is not described with."""
    more = _foreign(machine, said)
    if not more:
        return ()
    which = f"track{'s' * (len(more) > 1)} {' and '.join(more)}"
    own = f"{machine.tape.tracks} track{'s' * (machine.tape.tracks > 1)}"
    return (
        f"The capture holds {which}, and this machine is described with {own}: what is read of {which} stands in the "
        "tables and moves no belief. See whether the description is of this machine.",
    )


def _of_own_tracks(machine: Machine, said: PassSaid) -> PassSaid:
    """Leave out what was read of tracks that the machine is not described with."""
    if not _foreign(machine, said):
        return said
    most = machine.tape.tracks
    return replace(
        said,
        tracks=tuple(track for track in said.tracks if track <= most),
        readings=tuple(one for one in said.readings if max(one.track, one.from_track) <= most),
        dropouts=tuple(one for one in said.dropouts if one.track <= most),
    )


def readings_of(machine: Machine, said: PassSaid, known: Mapping[str, Reading]) -> dict[str, Reading]:
    """Give everything that a pass said under the names of evidence; what could not be read has its reason.

    Arguments:
        machine: as described.
        said: the pass.
        known: readings that were given beside it.
    """
    said = _of_own_tracks(machine, said)
    edge = [track for track in said.tracks if track in tracks_of(machine.tape).edge]
    inner = [track for track in said.tracks if track not in edge]
    found = {
        **_swings(machine, said, known),
        "azimuth_error_arcmin": _azimuth(said),
        **_spacings(said, edge, inner),
        "gap_um": _mean([one.reading for one in said.of(names.GAP)], "µm"),
        "response_treble_db": _treble(machine, said),
        "edge_dropouts_per_min": _mean(_on(said, names.DROPOUTS, edge), "1/min"),
        "inner_dropouts_per_min": _mean(_on(said, names.DROPOUTS, inner), "1/min"),
        "balance_db": _extreme(said.of(names.BALANCE), min, "dB"),
        "noise_a_db": _extreme(said.of(names.NOISE_A), max, "dB"),
        "hum_db": _extreme(said.of(names.HUM), max, "dB"),
        "crosstalk_db": _extreme(said.of(names.CROSSTALK), max, "dB"),
        "erasure_db": where_erased(_extreme(said.of(names.ERASURE), max, "dB")),
        "level_at_three_percent_db": _extreme(said.of(names.THREE_PERCENT), min, "dB"),
    }
    return {name: replace(one, conditions=one.conditions or said.sequence) for name, one in found.items()}


def _none(unit: str) -> Reading:
    return Reading(None, unit, why_not="The pass did not tell.")


def _only(said: PassSaid, name: str, unit: str) -> Reading:
    return next((one.reading for one in said.of(name)), _none(unit))


def _on(said: PassSaid, name: str, tracks: Sequence[int]) -> list[Reading]:
    return [one.reading for one in said.of(name) if one.track in tracks]


def _azimuth(said: PassSaid) -> Reading:
    """Give how far the azimuth is off; none by a tape that the same head recorded, which the acceptance knows."""
    judged = next((one.reading for one in said.acceptance if one.name == names.AZIMUTH), None)
    if judged is not None and judged.value is None:
        return judged
    reading = _only(said, names.AZIMUTH, "arcmin")
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
    if abs(said.tape_speed_m_per_s / machine.tape.speed_m_per_s - 1.0) > SAME_SPEED:
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
