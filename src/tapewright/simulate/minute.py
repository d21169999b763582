"""Play a guided minute: what a microphone would hear of a machine with its faults, and the truth about it beside it."""

import itertools
import json
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
import soundfile

from tapewright.faults.applied import Fault
from tapewright.faults.consequences import signs_shown
from tapewright.machine.minute import MinuteStep, marks_of
from tapewright.machine.parts import Machine
from tapewright.simulate.minute_course import MinuteCourse, minute_course
from tapewright.simulate.minute_noises import noises
from tapewright.simulate.minute_room import (
    BACKGROUNDS,
    PHONES,
    ROOMS,
    background,
    in_room,
    packed,
    through_phone,
    unpacked,
)
from tapewright.simulate.minute_truth import SAYS, MinuteTruth, TrueNoise, TrueStretch
from tapewright.simulate.minute_turning import FALTERS, GRID_HZ, MOTOR_WANDERS, Turning, turning
from tapewright.simulate.minute_voices import voices
from tapewright.simulate.pack import Samples
from tapewright.simulate.place import in_the_way
from tapewright.words.mechanism_heard import OFF, Mark
from tapewright.words.plain import plain
from tapewright.words.problem import InputAtFaultError, Problem, nearest
from tapewright.words.whole_file import write_whole

PEAK: Final = 0.7
"""Where the loudest sample comes to lie; full scale is 1."""
REFERENCE_RMS: Final = 1.0
"""What the background is held against on a machine on which nothing turns: one motor."""
KEPT_HZ: Final = 5.0
"""How often the truth tells a rate."""
TURNS_HZ: Final = 0.05
STEADY_WITHIN: Final = 0.01
"""So near to its middle, relative, a sound motor runs steadily."""
PACKED_AS: Final = {".m4a": "aac", ".ogg": "opus", ".opus": "opus"}


@dataclass(frozen=True, slots=True)
class Minute:
    """A played minute.

    Arguments:
        samples: shape (n,), full scale is 1.
        rate_hz: samples per second.
        truth: what is known of it.
    """

    samples: Samples
    rate_hz: int
    truth: MinuteTruth


def play_minute(
    machine: Machine,
    steps: Sequence[MinuteStep],
    seed: int,
    *,
    room: str = "bench",
    phone: str = "recorder",
    snr_db: float = 30.0,
    background: Sequence[str] = ("noise",),
    sample_rate_hz: int = 48000,
    faults: Sequence[Fault] = (),
) -> Minute:
    """Play a guided minute on a machine.

    Arguments:
        machine: with its imperfections.
        steps: of `machine.minute.minute_steps`.
        seed: the same seed gives the same samples.
        room: one of `minute_room.ROOMS`.
        phone: one of `minute_room.PHONES`.
        snr_db: mechanism against background, both as rms before the phone; clicks left out, and of the mechanism only
            what sounds while something turns.
        background: what else is heard: any of `minute_room.BACKGROUNDS`; empty for nothing.
        sample_rate_hz: of the result.
        faults: what was put into the machine, for the truth to name.

    Raises:
        InputAtFaultError: for a room, phone or background that there is not, or a number that makes no sense.

    >>> from tapewright.machine.library import shipped
    >>> from tapewright.machine.minute import minute_steps
    >>> four = shipped("four_track")
    >>> heard = play_minute(four, minute_steps(four)[:3], seed=1, sample_rate_hz=16000)
    >>> [(one.name, one.mode) for one in heard.truth.motors]
    [('cam_motor', 'switch_on'), ('capstan_motor', 'cassette_in')]
    """
    kinds = tuple(background)
    _check(room, phone, kinds, snr_db, sample_rate_hz, seed)
    course, turns, sounding = _happening(machine, steps, seed)
    close = voices(course, turns, sounding, sample_rate_hz, seed)
    running = in_room(close.running, ROOMS[room], sample_rate_hz, np.random.default_rng([seed, 40]))
    clicks = in_room(close.clicks, ROOMS[room], sample_rate_hz, np.random.default_rng([seed, 40]))
    loud = _rms_while_turning(running, turns, machine, sample_rate_hz)
    beside = np.zeros(len(running))
    if kinds:
        drawn = _beside(kinds, len(running), sample_rate_hz, seed)
        beside = drawn * (loud or REFERENCE_RMS) * 10.0 ** (-snr_db / 20.0)
    mixed = running + clicks + beside
    found = through_phone(mixed, PHONES[phone], sample_rate_hz)
    found *= PEAK / max(float(np.abs(found).max()), 1e-9)
    codec = PHONES[phone].codec
    if codec:
        data = packed(found, sample_rate_hz, codec, PHONES[phone].bits_per_s)
        found = unpacked(data, sample_rate_hz, len(found))
    truth = _truth(machine, steps, course, turns, sounding, seed, sample_rate_hz, tuple(faults))
    heard_as = replace(truth, room=room, phone=phone, background=kinds, snr_db=snr_db if kinds and loud else None)
    return Minute(np.clip(found, -1.0, 1.0), sample_rate_hz, heard_as)


def minute_truth(machine: Machine, steps: Sequence[MinuteStep], seed: int, faults: Sequence[Fault] = ()) -> MinuteTruth:
    """Say what would happen in a minute without playing it; where and with what it is heard is left empty.

    Arguments:
        machine: with its imperfections.
        steps: of `machine.minute.minute_steps`.
        seed: the same as for `play_minute` tells the same.
        faults: what was put into the machine, for the truth to name.
    """
    course, turns, sounding = _happening(machine, steps, seed)
    return _truth(machine, steps, course, turns, sounding, seed, 0, tuple(faults))


def _happening(
    machine: Machine, steps: Sequence[MinuteStep], seed: int
) -> tuple[MinuteCourse, Turning, tuple[TrueNoise, ...]]:
    course = minute_course(machine, steps, seed)
    turns = turning(course, seed)
    return course, turns, noises(course, turns, seed)


def write_minute(minute: Minute, out_path: str | Path) -> MinuteTruth:
    """Write a played minute and its truth beside it, each whole or not at all.

    Arguments:
        minute: as played.
        out_path: a name that ends in .wav, or in .m4a (aac), .ogg or .opus (opus), packed as a phone does.

    Returns:
        The truth as it stands in the JSON file, with the recording's name.

    Raises:
        InputAtFaultError: for another ending, a place that cannot be written, or one that holds something else.
    """
    path = Path(out_path)
    ending = path.suffix.lower()
    if ending != ".wav" and ending not in PACKED_AS:
        do = "Give a name that ends in .wav, .m4a, .ogg or .opus."
        raise InputAtFaultError(Problem(str(path), "has an ending that no minute is written with.", do))
    wrong = in_the_way(path, "recording")
    if wrong:
        raise InputAtFaultError(wrong)
    truth = replace(minute.truth, file=path.name)
    write_whole(path, minute_bytes(minute, ending))
    write_whole(path.with_suffix(".json"), json.dumps(plain(truth), indent=1, ensure_ascii=False) + "\n")
    return truth


def minute_bytes(minute: Minute, ending: str = ".wav", bits_per_s: int = 64000) -> bytes:
    """Give a played minute as the bytes of a file.

    Arguments:
        minute: as played.
        ending: ".wav" (16 bit), or one of `PACKED_AS`.
        bits_per_s: of a packed one.
    """
    if ending in PACKED_AS:
        return packed(minute.samples, minute.rate_hz, PACKED_AS[ending], bits_per_s)
    with tempfile.TemporaryDirectory() as folder:
        written = Path(folder) / "minute.wav"
        soundfile.write(written, minute.samples, minute.rate_hz, subtype="PCM_16")
        return written.read_bytes()


# --- what is refused --------------------------------------------------------------------------------------------------


def _check(room: str, phone: str, kinds: tuple[str, ...], snr_db: float, rate_hz: int, seed: int) -> None:
    wrong = []
    for where, asked, known in (
        ("--room", (room,), ROOMS),
        ("--phone", (phone,), PHONES),
        ("--beside", kinds, BACKGROUNDS),
    ):
        wrong += [Problem(where, f"names {one!r}.", nearest(one, sorted(known))) for one in asked if one not in known]
    if not -20.0 <= snr_db <= 120.0:
        wrong.append(Problem("--snr", f"is {snr_db:g}.", "Give -20 to 120 dB."))
    if rate_hz not in (8000, 12000, 16000, 24000, 48000):
        wrong.append(Problem("sample rate", f"is {rate_hz}.", "Give 8000, 12000, 16000, 24000 or 48000 Hz."))
    if seed < 0:
        wrong.append(Problem("--seed", f"is {seed}.", "Give a whole number from 0."))
    if wrong:
        raise InputAtFaultError(wrong)


# --- loudness and truth -----------------------------------------------------------------------------------------------


def _beside(kinds: tuple[str, ...], count: int, rate_hz: int, seed: int) -> Samples:
    return background(kinds, count, rate_hz, np.random.default_rng([seed, 41]))


def _rms_while_turning(running: Samples, turns: Turning, machine: Machine, rate_hz: int) -> float:
    """Give the rms of a sound over the moments in which a motor turns; 0 where none ever does."""
    motors = [turns.rates_hz[name] for name, rotor in machine.rotors.items() if rotor.kind == "motor"]
    on = np.any(np.array(motors) > TURNS_HZ, axis=0) if motors else np.zeros(len(turns.times_s), dtype=bool)
    step = round(rate_hz / GRID_HZ)
    here = np.repeat(on, step)[: len(running)]
    kept = running[: len(here)][here]
    return float(np.sqrt(np.mean(kept**2))) if len(kept) else 0.0


def _truth(
    machine: Machine, steps: Sequence[MinuteStep], course: MinuteCourse, turns: Turning,
    sounding: tuple[TrueNoise, ...], seed: int, rate_hz: int, faults: tuple[Fault, ...],
) -> MinuteTruth:  # fmt: skip
    of_kind = {
        kind: [name for name, rotor in machine.rotors.items() if rotor.kind == kind] for kind in ("motor", "reel_table")
    }
    told = course.told
    sent = [
        (one.mode, told[one.mode].head_base) for one in course.spells if one.mode != OFF and told[one.mode].head_base
    ]
    return MinuteTruth(
        simulated=True,
        says=SAYS,
        machine=machine.id,
        invented=machine.invented,
        faults=faults,
        seed=seed,
        file="",
        duration_s=course.spells[-1].end_s,
        sample_rate_hz=rate_hz,
        marks=marks_of(steps),
        entered=tuple(Mark(one.mode, one.start_s, 0.0) for one in course.spells),
        motors=_stretches(of_kind["motor"], course, turns),
        reels=_stretches(of_kind["reel_table"], course, turns),
        noises=sounding,
        clicks=course.clicks,
        stops=course.stops,
        head_base=tuple(sent),
        room="",
        phone="",
        background=(),
        snr_db=None,
        signs=tuple(sign.id for sign in signs_shown(machine)),
    )


def _stretches(names: list[str], course: MinuteCourse, turns: Turning) -> tuple[TrueStretch, ...]:
    found = [one for name in names for one in _stretches_of(name, course, turns)]
    return tuple(sorted(found, key=lambda one: (one.start_s, one.name)))


def _stretches_of(name: str, course: MinuteCourse, turns: Turning) -> list[TrueStretch]:
    """Cut one rotor's minute where it begins, stands, or is asked for another rate."""
    rate = turns.rates_hz[name]
    edges = np.flatnonzero(np.diff(np.concatenate([[0.0], rate > TURNS_HZ, [0.0]])))
    # While it goes on turning, another mode begins another stretch only where the rate it is asked for changes.
    found = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        cuts = [int(first), *_changes(name, course, turns, int(first), int(last)), int(last)]
        found += [_stretch(name, course, turns, a, b) for a, b in itertools.pairwise(cuts) if b - a > 2]
    return found


def _changes(name: str, course: MinuteCourse, turns: Turning, first: int, last: int) -> list[int]:
    """Give where, between two moments, something that goes on turning is asked for another rate."""
    if course.machine.rotors[name].kind == "motor":
        asked = [(one.start_s, one.rate_hz) for one in course.fed if one.motor == name]
    else:
        asked = [(one.start_s, turns.right_hz.get(one.mode, {}).get(name, 0.0)) for one in course.spells]
    return [
        round(at_s * GRID_HZ)
        for (_, before), (at_s, now) in itertools.pairwise(asked)
        if first < round(at_s * GRID_HZ) < last and now > 0.0 and abs(now - before) > 0.002 * max(before, now)
    ]


def _stretch(name: str, course: MinuteCourse, turns: Turning, first: int, last: int) -> TrueStretch:
    rate = turns.rates_hz[name][first:last]
    spell = next(one for one in reversed(course.spells) if one.start_s <= turns.times_s[first] + 0.02)
    told = course.told.get(spell.mode)
    word = (told.motors.get(name) or told.reels.get(name) or "right") if told else "right"
    # What falters is told by its mean; what runs up, runs steadily and runs down by the part between.
    middle = float(np.median(rate[rate > 0.5 * float(np.median(rate))]))
    steady = rate if word in FALTERS and word not in MOTOR_WANDERS else rate[np.abs(rate / middle - 1.0) < _about(word)]
    steady = steady if len(steady) else rate
    kept = slice(first, last, max(1, round(GRID_HZ / KEPT_HZ)))
    return TrueStretch(
        name, spell.mode, word, float(turns.times_s[first]), float(turns.times_s[last - 1]) + 1.0 / GRID_HZ,
        float(steady.mean()), _rounded(turns.times_s[kept]), _rounded(turns.rates_hz[name][kept]),
    )  # fmt: skip


def _about(word: str) -> float:
    """Give how far from its middle a rate still counts as steady running, relative."""
    return 5 * MOTOR_WANDERS[word] if word in MOTOR_WANDERS else STEADY_WITHIN


def _rounded(values: Samples) -> tuple[float, ...]:
    return tuple(round(float(value), 4) for value in values)
