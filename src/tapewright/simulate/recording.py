"""Write the recording that a machine with its faults would make of a test tone, and the truth about it beside it."""

import contextlib
import json
import math
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np
import soundfile
from numpy.typing import NDArray

from tapewright.faults.applied import Fault, applied
from tapewright.faults.consequences import signs_shown
from tapewright.machine.parts import Machine
from tapewright.simulate import defects
from tapewright.simulate.course import Course, course
from tapewright.simulate.pack import Samples
from tapewright.simulate.place import in_the_way
from tapewright.simulate.timebase import SpeedSource
from tapewright.simulate.truth import SAYS, Truth, TruthTone, true_flutter, true_lines
from tapewright.standards.iec_60386 import TEST_TONE_HZ
from tapewright.words.plain import plain
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.whole_file import no_room, write_whole, written_beside, wrong_place

KNOTS_HZ: Final = 4000.0
"""About how often the speed is worked out: unsteadiness above 200 Hz does not matter, and a straight line between two
knots falls short by 0.2 % at 173 Hz. Closed form of our own."""
BLOCK_KNOTS: Final = 4000
HOLDS_BELOW: Final = 0.45
"""Share of the sample rate up to which a tone is written."""
FLUTTER_OF_S: Final = 300.0
"""The truth's flutter is of the first five minutes, so that memory stays flat."""
KEPT_ONE_IN: Final = 2
"""Of so many knots one is kept for it; above 900 Hz there is next to nothing."""
LARGEST_WAV: Final = 4_000_000_000
"""Bytes from which the 64-bit form of the container is taken."""


@dataclass(slots=True)
class _Heard:
    """What is kept of the speed while it is written: sums, and the curve of the first minutes."""

    moving_s: float = 0.0
    passed: float = 0.0
    first: list[float] = field(default_factory=list)
    last: float = 0.0
    curve: list[Samples] = field(default_factory=list)
    kept: int = 0

    def add(self, speed: Samples, rate_hz: float, for_s: float) -> None:
        """Take the next speeds, of which the first `for_s` seconds count: what comes after is a tape that stops."""
        counted = speed[: max(0, math.ceil(min(for_s * rate_hz, len(speed))))]
        moving = counted[counted > 0.0]
        self.moving_s += len(moving) / rate_hz
        self.passed += float(moving.sum()) / rate_hz
        if len(moving):
            second = moving[: round(rate_hz)]
            if not self.first:
                self.first.append(float(second.mean()))
            self.last = float(moving[-round(rate_hz) :].mean())
        if self.kept < FLUTTER_OF_S * rate_hz / KEPT_ONE_IN:
            self.curve.append(moving[::KEPT_ONE_IN].copy())
            self.kept += len(self.curve[-1])


@dataclass(frozen=True, slots=True)
class _Recipe:
    """All that decides the samples."""

    way: Course
    tone_hz: float
    duration_s: float
    rate_hz: int
    seed: int
    snr_db: float
    hum_db: float | None
    hum_hz: float
    channels: int
    dropouts: tuple[defects.Dropout, ...]

    @property
    def frames(self) -> int:
        return round(self.duration_s * self.rate_hz)

    @property
    def step(self) -> int:
        """Give the frames from one knot of the speed to the next."""
        return max(1, round(self.rate_hz / KNOTS_HZ))


def simulate(
    machine: Machine,
    faults: Sequence[Fault],
    out_path: str | Path,
    tone_hz: float = TEST_TONE_HZ,
    duration_s: float = 60.0,
    sample_rate_hz: int = 48000,
    seed: int = 1,
    snr_db: float = 45.0,
    dropouts_per_min: float = 1.0,
    channels: int = 1,
    position_s: float = 0.0,
    hum_db: float | None = None,
    hum_hz: float = 50.0,
    progress: Callable[[float], None] | None = None,
) -> Truth:
    """Write the recording of a test tone that a machine with these faults would play, and the truth beside it.

    Both files are written beside their places and put there in one step; a run that is ended half-way leaves no
    recording. Memory does not grow with length.

    Arguments:
        machine: as described.
        faults: what is wrong with it; none for a machine as it stands.
        out_path: a name that ends in .wav; the truth goes into the same name with .json.
        tone_hz: what is on the tape.
        duration_s: length.
        sample_rate_hz: of the file; 24 bit.
        seed: the same seed gives the same bytes.
        snr_db: the tone's rms over the hiss's, in the whole band of the file.
        dropouts_per_min: on average.
        channels: all play the same tone, with their own hiss and dropouts.
        position_s: how far into the side it begins, seconds at the right speed.
        hum_db: hum's fundamental against the tone; None for none.
        hum_hz: frequency of the mains.
        progress: called with the share done, 0 to 1.

    Returns:
        What is known of it, as it stands in the JSON file.

    Raises:
        InputAtFaultError: a number that makes no sense, a machine without play, a place that cannot be written or that
            holds something else.
    """
    path = Path(out_path)
    _check_numbers(tone_hz, duration_s, sample_rate_hz, seed, snr_db, dropouts_per_min, channels)
    size = 3 * channels * round(duration_s * sample_rate_hz)
    with _refusing(path):
        _check_place(path, size)
    worn = applied(machine, faults)
    way = course(worn, seed, position_s)
    drawn = defects.dropouts(dropouts_per_min, duration_s, channels, seed)
    recipe = _Recipe(
        way, tone_hz, duration_s, sample_rate_hz, seed, snr_db, hum_db, hum_hz, channels, drawn if way.moves else ()
    )
    heard = _Heard()
    with _refusing(path), written_beside(path) as part:
        _write(part, recipe, heard, "RF64" if size > LARGEST_WAV else "WAV", progress)
        truth = _truth(worn, tuple(faults), path, recipe, heard, position_s)
        write_whole(path.with_suffix(".json"), json.dumps(plain(truth), indent=1, ensure_ascii=False) + "\n")
        part.replace(path)
    return truth


# --- what is refused --------------------------------------------------------------------------------------------------


def _check_numbers(
    tone_hz: float, duration_s: float, rate_hz: int, seed: int, snr_db: float, per_min: float, channels: int
) -> None:
    rules = (
        ("--seconds", duration_s, 0.1 <= duration_s <= 86400.0, "Give 0.1 to 86400 s."),
        ("sample rate", rate_hz, 8000 <= rate_hz <= 192000, "Give 8000 to 192000 Hz."),
        ("tone", tone_hz, 20.0 <= tone_hz <= HOLDS_BELOW * rate_hz, "Give 20 Hz to 0.45 of the sample rate."),
        ("--seed", seed, seed >= 0, "Give a whole number from 0."),
        ("signal to noise", snr_db, 0.0 <= snr_db <= 140.0, "Give 0 to 140 dB."),
        ("dropouts", per_min, 0.0 <= per_min <= 600.0, "Give 0 to 600 a minute."),
        ("channels", channels, 1 <= channels <= 16, "Give 1 to 16."),
    )
    wrong = [Problem(where, f"is {value:g}.", do) for where, value, holds, do in rules if not holds]
    if wrong:
        raise InputAtFaultError(wrong)


def _refusal(path: Path, found: str, do: str) -> InputAtFaultError:
    return InputAtFaultError(Problem(str(path), found, do))


@contextlib.contextmanager
def _refusing(path: Path) -> Iterator[None]:
    """Turn what the system says of a place into a problem with it."""
    try:
        yield
    except OSError as error:
        raise _refusal(path, f"cannot be written: {error.strerror or error}.", "Give another place.") from error


def _check_place(path: Path, size: int) -> None:
    wrong = wrong_place(path, (".wav",), "the truth goes beside it with .json")
    if wrong is not None:
        raise InputAtFaultError(wrong)
    beside = path.with_suffix(".json")
    if beside.is_dir():
        raise _refusal(beside, "is a folder, and the truth has to go there.", "Give another name.")
    standing = in_the_way(path, "recording")
    if standing:
        raise InputAtFaultError(standing)
    crowded = no_room(path, size, "make it shorter")
    if crowded is not None:
        raise InputAtFaultError(crowded)


# --- what is written --------------------------------------------------------------------------------------------------


def _write(part: Path, recipe: _Recipe, heard: _Heard, container: str, tell: Callable[[float], None] | None) -> None:
    part.open("wb").close()  # says why when it cannot be, where the library below only says "system error"
    try:
        with soundfile.SoundFile(
            str(part), "w", recipe.rate_hz, recipe.channels, subtype="PCM_24", format=container
        ) as file:
            for done, block in _blocks(recipe, heard):
                file.write(block)
                if tell is not None:
                    tell(done)
        with part.open("rb+") as written:
            os.fsync(written.fileno())
    except (soundfile.SoundFileError, AssertionError) as error:
        raise OSError(None, "the disk is full, or was taken away") from error
    if part.stat().st_size < 3 * recipe.channels * recipe.frames:
        raise OSError(None, "less was written than was to be: the disk is full")


def _blocks(recipe: _Recipe, heard: _Heard) -> Iterator[tuple[float, NDArray[np.float64]]]:
    """Give the sound block by block, shape (frames, channels), with the share done."""
    step, rate = recipe.step, recipe.rate_hz
    source = SpeedSource(recipe.way, rate / step, recipe.duration_s, recipe.seed)
    noises = [np.random.default_rng([recipe.seed, 10, channel]) for channel in range(recipe.channels)]
    last, turned, at = source.take(1), 0.0, 0
    while at < recipe.frames:
        knots = np.concatenate([last, source.take(BLOCK_KNOTS)])
        count = min(BLOCK_KNOTS * step, recipe.frames - at)
        heard.add(knots[: -(-count // step)], rate / step, recipe.way.ends_s - at / rate)
        # The phase grows by the speed half-way between two samples.
        speed = np.interp((np.arange(count) + 0.5) / step, np.arange(len(knots)), knots)
        turns = turned + np.concatenate([[0.0], np.cumsum(recipe.tone_hz * speed / rate)])
        times_s = (at + np.arange(count)) / rate
        tone = _tone(recipe, speed, turns[:-1])
        block = np.stack(
            [_channel(recipe, number, times_s, tone, noise) for number, noise in enumerate(noises, start=1)], axis=1
        )
        last, turned, at = knots[-1:], float(turns[-1] % 1.0), at + count
        yield at / recipe.frames, np.clip(block, -1.0, 1.0)


def _tone(recipe: _Recipe, speed: Samples, turns: Samples) -> Samples:
    held = np.asarray(recipe.tone_hz * speed < HOLDS_BELOW * recipe.rate_hz, dtype=np.float64)
    # A head's voltage goes with the speed of the tape; where it races the amplifier's roll-off takes that back.
    return defects.LEVEL * np.minimum(speed, 1.0) * held * np.sin(2 * np.pi * turns)


def _channel(
    recipe: _Recipe, number: int, times_s: Samples, tone: Samples, noise: np.random.Generator
) -> NDArray[np.float64]:
    # One level for every tenth of a second, drawn for the whole block, and a straight line between them.
    marks = np.arange(times_s[0], times_s[-1] + 0.1, 0.1)
    level = np.interp(times_s, marks, 1.0 + defects.LEVEL_UNSTEADY * noise.standard_normal(len(marks)))
    heard = tone * level * defects.gain(recipe.dropouts, number, times_s)
    heard += defects.hiss_rms(recipe.snr_db) * noise.standard_normal(len(times_s))
    if recipe.hum_db is not None:
        heard += defects.hum(times_s, recipe.hum_hz, recipe.hum_db)
    return heard


# --- what is known of it ----------------------------------------------------------------------------------------------


def _truth(
    worn: Machine, faults: tuple[Fault, ...], path: Path, recipe: _Recipe, heard: _Heard, position_s: float
) -> Truth:
    way, kept_hz = recipe.way, recipe.rate_hz / recipe.step / KEPT_ONE_IN
    tone = _true_tone(recipe, heard)
    curve = np.concatenate(heard.curve)[: round(FLUTTER_OF_S * kept_hz)]
    peak, rms = true_flutter(curve, kept_hz) if tone.present else (None, None)
    return Truth(
        simulated=True,
        says=SAYS,
        machine=worn.id,
        invented=worn.invented,
        faults=faults,
        seed=recipe.seed,
        file=path.name,
        duration_s=recipe.frames / recipe.rate_hz,
        sample_rate_hz=recipe.rate_hz,
        channels=recipe.channels,
        tone_hz=recipe.tone_hz,
        snr_db=recipe.snr_db,
        hum_db=recipe.hum_db,
        position_s=position_s,
        tape=way.tape_does,
        happens=way.says,
        tone=tone,
        speed_error_pct=100.0 * (heard.passed / heard.moving_s - 1.0) if heard.moving_s else None,
        weighted_peak_pct=peak,
        weighted_rms_pct=rms,
        flutter_of_s=len(curve) / kept_hz,
        lines=true_lines(way, heard.moving_s),
        signs=tuple(sign.id for sign in signs_shown(worn)),
        dropouts=recipe.dropouts,
    )


def _true_tone(recipe: _Recipe, heard: _Heard) -> TruthTone:
    if not heard.moving_s:
        return TruthTone(False, None, None, None, 0.0, recipe.way.says)
    first, mean, last = (recipe.tone_hz * s for s in (heard.first[0], heard.passed / heard.moving_s, heard.last))
    if first >= HOLDS_BELOW * recipe.rate_hz:
        why = f"{recipe.way.says} Its {first:.0f} Hz are more than a file of {recipe.rate_hz} samples a second holds."
        return TruthTone(False, None, None, None, 0.0, why)
    return TruthTone(True, mean, first, last, min(recipe.way.ends_s, recipe.frames / recipe.rate_hz))
