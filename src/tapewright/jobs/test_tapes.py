"""What the shop measures with: its test tapes, the passes they have made, and its sound card's clock.

The register is a text file of the shop's own, `measuring.toml`, which is read and never written, so that what a person
wrote into it stays as it is. Passes are counted in a file beside it, one row for each recording: measuring a recording
again plays no tape.
"""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from tapewright.jobs.home import bench_home
from tapewright.jobs.tape_register import SCHEMA, STARTER, Measuring, parse_measuring
from tapewright.measure.speed import MOST_CLOCK_PPM
from tapewright.measure.test_tape import KnownTape
from tapewright.words.problem import InputAtFaultError, Problem, nearest
from tapewright.words.whole_file import read_text, write_whole

REGISTER_FILE: Final = "measuring.toml"
LARGEST_MB: Final = 5
LOOKED_AT: Final = 1_000_000
"""Bytes at either end of a recording that, with its length, tell it from another."""


@dataclass(frozen=True, slots=True)
class MeasuredWith:
    """What one recording was made with.

    Arguments:
        tape: the test tape that was played; None when it is not told.
        clock_error_ppm, clock_doubt_ppm: the sound card's clock.
        place: the register, where the pass is to be counted; None for nowhere.
    """

    tape: KnownTape | None = None
    clock_error_ppm: float | None = None
    clock_doubt_ppm: float = 0.0
    place: Path | None = None


def measured_with(
    tape: str | None = None,
    register: Path | None = None,
    clock_error_ppm: float | None = None,
    clock_doubt_ppm: float | None = None,
) -> MeasuredWith:
    """Put together what a recording was made with.

    Arguments:
        tape: the name of a test tape in the register; None when none is told.
        register: the file; None for the shop's own, where there is one.
        clock_error_ppm: as told just now; None for what the register says.
        clock_doubt_ppm: the same.

    Raises:
        InputAtFaultError: when the register cannot be used, or does not hold the tape.
    """
    found = measuring(register)
    error = found.clock_error_ppm if clock_error_ppm is None else clock_error_ppm
    doubt = found.clock_doubt_ppm if clock_error_ppm is None and clock_doubt_ppm is None else clock_doubt_ppm or 0.0
    problems = [
        Problem(option, f"is {value:g} ppm.", f"Give parts in a million, from {least:g} to {MOST_CLOCK_PPM:g}.")
        for option, value, least in (("--clock-ppm", error or 0.0, -MOST_CLOCK_PPM), ("--clock-doubt-ppm", doubt, 0.0))
        if not least <= value <= MOST_CLOCK_PPM
    ]
    if problems:
        raise InputAtFaultError(problems)
    if tape is None:
        return MeasuredWith(None, error, doubt)
    chosen = next((one for one in found.tapes if one.name == tape), None)
    if chosen is None:
        raise InputAtFaultError(_no_such_tape(tape, found))
    return MeasuredWith(chosen, error, doubt, found.place)


def _no_such_tape(name: str, found: Measuring) -> Problem:
    place = found.place or register_place()
    if not found.tapes:
        do = "`tapewright tapes --begin` writes a register to fill in."
        return Problem("--test-tape", f'"{name}" is in no register: {place} holds no tape.', do)
    do = nearest(name, [one.name for one in found.tapes], "The register holds")
    return Problem("--test-tape", f'"{name}" is not in {place}.', do)


def register_place() -> Path:
    """Give where the shop's own register lies: in the folder that its jobs lie in."""
    return bench_home() / REGISTER_FILE


def measuring(register: Path | None = None) -> Measuring:
    """Read what the shop measures with, all passes counted.

    Arguments:
        register: the file; None for the shop's own, and nothing where there is none.

    Raises:
        InputAtFaultError: with every mistake in the register.
    """
    place = register or register_place()
    if register is None and not place.exists():
        return Measuring()
    text = read_text(
        place,
        largest_mb=LARGEST_MB,
        instead="Give the register of test tapes.",
        absent="`tapewright tapes --begin` writes one; check the name.",
        kind="TOML",
    )
    found = parse_measuring(text, str(place))
    played = [row["tape"] for row in _passes(place)]
    counted = tuple(replace(one, passes=one.passes + played.count(one.name)) for one in found.tapes)
    return replace(found, tapes=counted, place=place)


def looked_at(register: Path | None = None, played: Sequence[str] = (), *, begin: bool = False) -> Measuring:
    """Look at the shop's test tapes, with passes counted that nobody recorded.

    Arguments:
        register: the file; None for the shop's own.
        played: names of tapes, one for each pass.
        begin: write a register to fill in first.

    Raises:
        InputAtFaultError: for a name the register does not hold, and a file that cannot be used.
    """
    place = begin_register(register) if begin else register or register_place()
    for name in played:
        count_pass(measured_with(name, place))
    return measuring(place) if register is not None or place.exists() else Measuring(place=place)


def begin_register(place: Path | None = None) -> Path:
    """Write a register to fill in; one that is there already is left alone.

    Raises:
        InputAtFaultError: when it is there, or cannot be written.
    """
    place = place or register_place()
    if place.exists():
        raise InputAtFaultError(Problem(str(place), "is there already.", "Edit it, or name another file."))
    write_whole(place, STARTER)
    return place


# --- passes -----------------------------------------------------------------------------------------------------------


def passes_place(register: Path) -> Path:
    """Give the file that passes are counted in, beside the register.

    >>> passes_place(Path("measuring.toml")).name
    'measuring_passes.json'
    """
    return register.with_name(f"{register.stem}_passes.json")


def count_pass(given: MeasuredWith, recording: Path | None = None) -> KnownTape | None:
    """Count one pass of a test tape, once for each recording.

    Arguments:
        given: with the tape that was played.
        recording: what was recorded from it; None for a pass that nobody recorded.

    Returns:
        The tape with this pass counted; None when no tape is told.

    Raises:
        InputAtFaultError: when the count cannot be read or written.
    """
    tape, register = given.tape, given.place
    if tape is None or register is None:
        return tape
    rows = _passes(register)
    mark = "" if recording is None else _mark(recording)
    if not (mark and any(row["tape"] == tape.name and row.get("recording") == mark for row in rows)):
        row = {"tape": tape.name, "at": datetime.now(UTC).isoformat(timespec="seconds")}
        row |= {"recording": mark, "file": recording.name} if recording is not None else {}
        rows.append(row)
        write_whole(passes_place(register), json.dumps({"schema": SCHEMA, "passes": rows}, indent=1) + "\n")
    now = next((one for one in measuring(register).tapes if one.name == tape.name), tape)
    return replace(tape, passes=now.passes)


def _mark(recording: Path) -> str:
    """Tell a recording from others by its length and its two ends, wherever it lies and whatever it is called."""
    size = recording.stat().st_size
    found = hashlib.blake2b(str(size).encode(), digest_size=16)
    with recording.open("rb") as file:
        found.update(file.read(LOOKED_AT))
        file.seek(max(0, size - LOOKED_AT))
        found.update(file.read(LOOKED_AT))
    return found.hexdigest()


def _passes(register: Path) -> list[dict[str, str]]:
    place = passes_place(register)
    if not place.exists():
        return []
    text = read_text(place, largest_mb=LARGEST_MB, instead="Take old passes out.", absent="", kind="JSON")
    do = "Put it right, or take the file away and write what it counted into the register's `passes`."
    try:
        rows = json.loads(text)["passes"]
        return [{key: str(value) for key, value in row.items()} | {"tape": str(row["tape"])} for row in rows]
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise InputAtFaultError(Problem(str(place), f"is no count of passes: {error}.", do)) from None
