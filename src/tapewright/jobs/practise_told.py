"""What one minute does otherwise than another of the same machine, in sentences that say when to listen."""

from collections.abc import Iterator, Mapping
from typing import Final

from tapewright.machine.parts import SPOKEN_MODES, Machine, spoken
from tapewright.simulate.minute_truth import MinuteTruth, TrueStretch
from tapewright.words.clock import clock

LASTS_S: Final = 0.8
"""So much longer or shorter is heard; from memory."""
RATE: Final = 0.015
"""So much faster or slower, relative, is heard against a sound one: a quarter of a semitone; from memory."""
REEL: Final = 0.2
"""The same of a reel, which is heard by its rustle alone."""
SOUNDS: Final = {"squeal": "squeals", "chirp": "chirps", "knock": "knocks", "thump": "thumps", "rub": "rubs"}


def differences(machine: Machine, sound: MinuteTruth, worn: MinuteTruth) -> tuple[str, ...]:
    """Say what the second of two minutes does otherwise that can be heard.

    Arguments:
        machine: as described, for the names of its parts.
        sound: of the machine with nothing wrong.
        worn: of the same with a fault, the same seed.
    """
    found = [*_turning(machine, sound.motors, worn.motors, RATE), *_stopped(machine, sound, worn)]
    found += [*_noises(machine, sound, worn), *_base(sound, worn), *_turning(machine, sound.reels, worn.reels, REEL)]
    return tuple(dict.fromkeys(found))


def _in_mode(mode: str) -> str:
    return SPOKEN_MODES.get(mode, mode)


def _longest(stretches: tuple[TrueStretch, ...]) -> Mapping[tuple[str, str], TrueStretch]:
    """Give each motor's stretch in each mode; of several the longest."""
    in_order = sorted(stretches, key=lambda one: one.end_s - one.start_s)
    return {(one.name, one.mode): one for one in in_order}


def _turning(
    machine: Machine, sound: tuple[TrueStretch, ...], worn: tuple[TrueStretch, ...], rate: float
) -> Iterator[str]:
    right, wrong = _longest(sound), _longest(worn)
    for key, one in sorted(right.items(), key=lambda item: item[1].start_s):
        name, mode = spoken(machine, key[0]), _in_mode(key[1])
        other = wrong.get(key)
        if other is None:
            yield f"From {clock(one.start_s)}: the {name} does not run {mode}."
            continue
        lasts, usual = other.end_s - other.start_s, one.end_s - one.start_s
        if abs(lasts - usual) > LASTS_S:
            told = f"{lasts:.1f} s {mode}, and {usual:.1f} s when all is well"
            yield f"From {clock(other.start_s)}: the {name} runs {told}."
        if abs(other.rate_hz / one.rate_hz - 1.0) > rate:
            told = f"{other.rate_hz:.3g} turns a second {mode}, and {one.rate_hz:.3g} when all is well"
            yield f"From {clock(other.start_s)}: the {name} makes {told}."
    for key, other in sorted(wrong.items(), key=lambda item: item[1].start_s):
        if key not in right:
            yield f"From {clock(other.start_s)}: the {spoken(machine, key[0])} runs {_in_mode(key[1])}, and should not."


def _stopped(machine: Machine, sound: MinuteTruth, worn: MinuteTruth) -> Iterator[str]:
    expected = {round(one.at_s) for one in sound.stops}
    for one in worn.stops:
        if round(one.at_s) not in expected:
            sensor = spoken(machine, one.sensor)
            yield f"At {clock(one.at_s)}: the machine gives up by itself; the {sensor} tells it to."


def _noises(machine: Machine, sound: MinuteTruth, worn: MinuteTruth) -> Iterator[str]:
    expected = {(one.part, one.kind, one.mode) for one in sound.noises}
    told = set()
    for one in worn.noises:
        key = (one.part, one.kind, one.mode)
        if key not in expected and key not in told:
            told.add(key)
            pitch = f" at {one.frequency_hz:.0f} Hz" if one.frequency_hz else f", {one.rate_hz:.2g} times a second"
            name, mode = spoken(machine, one.part), _in_mode(one.mode)
            yield f"From {clock(one.start_s)}: the {name} {SOUNDS[one.kind]}{pitch}, {mode}."


def _base(sound: MinuteTruth, worn: MinuteTruth) -> Iterator[str]:
    right = dict(sound.head_base)
    for mode, word in dict(worn.head_base).items():
        if word != right.get(mode, word):
            does = {"stays": "does not come", "late": "comes late", "part": "comes part of the way"}.get(
                word, "comes at times"
            )
            yield f"The head base {does} {_in_mode(mode)}: its thud is missing or late."
