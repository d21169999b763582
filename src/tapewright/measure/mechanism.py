"""hear_mechanism: from a recording of a mechanism to what turned, squealed, knocked, rubbed and clicked."""

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from tapewright.measure.mechanism_bands import BANDS_RATE_HZ, band_powers, octave_levels
from tapewright.measure.mechanism_chirps import chirps_in
from tapewright.measure.mechanism_clicks import find_clicks
from tapewright.measure.mechanism_comb import LOWEST_HZ
from tapewright.measure.mechanism_disturbances import clipping, codec_band, processing, speech
from tapewright.measure.mechanism_falter import falterings
from tapewright.measure.mechanism_frames import Sound, framed, read_sound, thinned
from tapewright.measure.mechanism_hum import HUM_QUIET_S, hum_taken_out, mains_hum
from tapewright.measure.mechanism_modes import longest_off, modes_of, spans
from tapewright.measure.mechanism_motors import Ear
from tapewright.measure.mechanism_open import cannot_say
from tapewright.measure.mechanism_repeats import repeats_heard
from tapewright.measure.mechanism_squeal import faint_squeals, squeals_heard
from tapewright.measure.mechanism_tones import tones_in
from tapewright.measure.mechanism_trust import SURE_ENOUGH
from tapewright.words.mechanism_heard import (
    Disturbance,
    Mark,
    MechanismHeard,
    RateExpected,
    Squeal,
)

UNNAMED: Final = RateExpected("", "", 50.0, 18.0, 130.0, "motor", (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 9.0, 12.0))
"""Looked for where no machine says what may turn: small motors run at 1100 to 8000 turns a minute."""
SHORT_S: Final = 0.25
TALKED: Final = 10.0
"""How much likelier a tone is no squeal's while somebody speaks; trade judgement, from memory."""
SQUEAL_MOST: Final = 0.93
"""No more is said than trials bear out: n of n that were so give (n + 1) / (n + 2), Laplace's rule of succession.

In 42 tuning minutes 13 of 13 squeals were so. What `python -m benchmarks.mechanism_minutes --first 0` prints as "how
sure" counts anew.
"""


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


def hear_sound(sound: Sound, marks: Sequence[Mark] | None, expected: Sequence[RateExpected]) -> MechanismHeard:
    """Listen to sound that was read already; as `hear_mechanism`.

    Arguments:
        sound: one channel.
        marks: as there.
        expected: as there.
    """
    marks = tuple(sorted(marks or (), key=lambda mark: mark.at_s))
    duration = sound.duration_s
    powers, step_s = band_powers(thinned(sound, BANDS_RATE_HZ))
    levels = octave_levels(powers)
    clicks = tuple(find_clicks(levels, step_s))
    if duration < SHORT_S:
        too_short = f"The recording lasts {duration:.2f} s: too short for any rate."
        cut = tuple(clipping(sound))
        return MechanismHeard(duration, sound.rate_hz, marks, (), (), (), (), clicks, cut, (too_short,))
    whole = thinned(sound)
    low, mains, hum = _hum_apart(whole, longest_off(marks, duration))
    frames = framed(low)
    low_hz, high_hz, band = codec_band(sound, frames)
    recorder = processing(levels[-1], step_s, duration) if len(levels) else []
    disturbances = [*clipping(sound), *hum, *band, *speech(whole), *recorder]
    by_name: dict[str, list[RateExpected]] = {}
    for one in expected or (UNNAMED,):
        by_name.setdefault(one.name, []).append(one)
    ear = Ear(low, frames, modes_of(frames.times_s, marks), mains, max(LOWEST_HZ, low_hz))
    stretches, not_heard = ear.listen(by_name, marks)
    talks = [(one.start_s, one.end_s) for one in disturbances if one.kind == "speech"]
    parts = spans(marks, duration)
    knocks, rubbings, no_repeats = repeats_heard(powers, step_s, parts, talks)
    combs = {name: tuple(sorted({c for each in rows for c in each.comb})) for name, rows in by_name.items()}
    tones = list(tones_in(sound, high_hz))
    squeals = _believed(squeals_heard(sound, tones, stretches, combs, knocks), disturbances)
    faint = faint_squeals(sound, chirps_in(sound, parts, high_hz), squeals, stretches, combs)
    squeals = sorted([*squeals, *_believed(faint, disturbances)], key=lambda one: one.start_s)
    gated = [(one.start_s, one.end_s) for one in disturbances if one.kind == "noise_suppression"]
    slips = falterings(powers, step_s, parts, stretches, [*gated, *((one.start_s, one.end_s) for one in squeals)])
    return MechanismHeard(
        duration, sound.rate_hz, marks, tuple(stretches), tuple(squeals), tuple(knocks), tuple(rubbings),
        clicks, tuple(sorted(disturbances, key=lambda one: one.start_s)),
        (*cannot_say(sound, marks, by_name, low_hz, not_heard), *ear.open.sentences()),
        tuple(not_heard), tuple(no_repeats), tuple(slips),
    )  # fmt: skip


def _hum_apart(low: Sound, quiet_s: tuple[float, float]) -> tuple[Sound, float, list[Disturbance]]:
    """Take mains hum out where the room was heard alone; give the mains where some is left, and what to say of it."""
    mains, hum = mains_hum(low, quiet_s)
    if mains and quiet_s[1] - quiet_s[0] > HUM_QUIET_S:
        low = hum_taken_out(low, mains, quiet_s)
        # What is left where the hum's size changes too quickly is left out of the evidence.
        mains, _ = mains_hum(low, quiet_s)
    return low, mains, hum


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
