"""A recording of a mechanism, listened to with its description at hand."""

import csv
import io
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from tapewright.machine.minute import marks_of, minute_steps
from tapewright.machine.parts import SPOKEN_MODES, Machine, part_names, spoken
from tapewright.machine.rates import Rate, rates
from tapewright.measure.mechanism import hear_sound
from tapewright.measure.mechanism_bands import BANDS_RATE_HZ, band_powers, octave_levels
from tapewright.measure.mechanism_clicks import find_clicks
from tapewright.measure.mechanism_frames import Sound, read_sound, thinned
from tapewright.measure.mechanism_marks import MarksFound, changes_in, marks_from_clicks
from tapewright.measure.mechanism_picture import picture_of
from tapewright.words.mechanism_heard import OFF, Mark, MechanismHeard, RateExpected, SoundPicture
from tapewright.words.problem import InputAtFaultError, Problem, nearest
from tapewright.words.whole_file import read_text

SLOWEST, FASTEST = 0.72, 1.3
"""How far a motor that is worn, starved or badly set may be off; trade judgement, from memory."""
PLAIN_ORDERS: Final = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0)
SEGMENT_ORDERS: Final = (1.0, 2.0, 3.0, 4.0, 6.0, 8.0)
TEETH_ORDERS: Final = (1.0, 2.0, 3.0, 4.0)
ONE_MESH: Final = 0.005
LEAST_MESH_HZ: Final = 40.0
TOLD_APART_HZ: Final = 12.0
"""Lines closer than this run together in a frame: a slow motor is looked for at its commutator's multiples alone."""
LARGEST_MB: Final = 2
ONE_STEP_S: Final = 0.3
"""A change of loudness so near to a click is that of the key that clicked."""


def expected_rates(machine: Machine) -> tuple[RateExpected, ...]:
    """Say which motors and gears may turn in which mode, at what rate, and at which multiples of it they may sound.

    Every mode that powers a motor has one for it, and every mesh of gears one for one of its gears. What else turns
    is driven by a motor and sounds with it.

    >>> from tapewright.machine.library import shipped
    >>> [e.name for e in expected_rates(shipped("four_track")) if e.mode == "switch_on"]
    ['cam_motor']
    """
    found = []
    for mode in machine.modes.values():
        turning = rates(machine, mode.name)
        for motor in mode.motors:
            rate = turning.get(motor)
            if rate is not None and rate.turns_per_s.value > 0:
                found.append(_expected(machine, motor, mode.name, rate))
        found += _meshes(machine, mode.name, turning)
    return tuple(found)


def _meshes(machine: Machine, mode: str, turning: Mapping[str, Rate]) -> list[RateExpected]:
    """Give one gear of each mesh: its teeth sound as a motor does, and would pass for one."""
    found: list[RateExpected] = []
    for one in turning.values():
        teeth = machine.rotors[one.name].teeth if one.what == "teeth" else 0
        if not teeth or one.turns_per_s.value < LEAST_MESH_HZ:
            continue
        same = (abs(e.rate_hz * e.comb[0] / one.turns_per_s.value - 1.0) < ONE_MESH for e in found)
        if any(same):
            continue
        middle = one.turns_per_s.value / teeth
        low, high = (end / teeth for end in one.range_per_s or (one.turns_per_s.value, one.turns_per_s.value))
        comb = tuple(teeth * order for order in TEETH_ORDERS)
        found.append(RateExpected(one.name, mode, middle, SLOWEST * low, FASTEST * high, "gear", comb))
    return found


def _expected(machine: Machine, motor: str, mode: str, rate: Rate) -> RateExpected:
    middle, doubt = rate.turns_per_s.value, rate.turns_per_s.doubt or 0.0
    low, high = rate.range_per_s or (middle, middle)
    segments = float(machine.rotors[motor].segments)
    comb: tuple[float, ...] = PLAIN_ORDERS if middle >= TOLD_APART_HZ else ()
    # An odd number of segments under two brushes sounds at twice their number too; that is among the multiples.
    comb += tuple(segments * order for order in SEGMENT_ORDERS) if segments else ()
    return RateExpected(
        motor, mode, middle, SLOWEST * min(low, middle - doubt / 2), FASTEST * max(high, middle + doubt / 2), "motor",
        tuple(sorted(set(comb))),
    )  # fmt: skip


def listen(path: Path, machine: Machine | None, marks: Sequence[Mark] | None = None) -> MechanismHeard:
    """Listen to a recording of a machine's mechanism.

    Arguments:
        path: a sound file; a phone's formats too.
        machine: its description; None where there is none.
        marks: what was done when; None where nobody noted it: then the steps of the guided minute are looked for in
            the clicks of the keys and where motors begin and end.

    Raises:
        InputAtFaultError: the file cannot be read, or a mark names a mode that the machine does not have.
    """
    if machine is not None and marks:
        known = (OFF, *machine.modes)
        wrong = [mark for mark in marks if mark.mode not in known]
        if wrong:
            raise InputAtFaultError(
                [Problem("marks", f"{m.mode!r} is no mode of this machine.", nearest(m.mode, known)) for m in wrong]
            )
    sound = read_sound(path)
    if machine is None:
        return hear_sound(sound, marks, ())
    found = None if marks else _marks_by_ear(sound, machine)
    heard = hear_sound(sound, found.marks if found else marks, expected_rates(machine))
    said = heard.cannot_say if found is None else (found.says, *heard.cannot_say)
    return replace(heard, cannot_say=tuple(_spoken(machine, said)))


def marks_by_ear(path: Path, machine: Machine) -> MarksFound:
    """Find when the steps of the guided minute were done from the sound alone.

    Arguments:
        path: a sound file; a phone's formats too.
        machine: its description.

    Raises:
        InputAtFaultError: the file cannot be read.
    """
    return _marks_by_ear(read_sound(path), machine)


def _marks_by_ear(sound: Sound, machine: Machine) -> MarksFound:
    powers, step_s = band_powers(thinned(sound, BANDS_RATE_HZ))
    clicks = find_clicks(octave_levels(powers), step_s)
    beside = [
        one for one in changes_in(powers, step_s)
        if all(abs(one.at_s - click.at_s) > ONE_STEP_S for click in clicks)
    ]  # fmt: skip
    return marks_from_clicks([*clicks, *beside], marks_of(minute_steps(machine)), sound.duration_s)


def _spoken(machine: Machine, sentences: Sequence[str]) -> Iterator[str]:
    """Say parts and modes as people do, where the ear, which knows no machine, wrote their names."""
    words = {name: f"the {spoken(machine, name)}" for name in part_names(machine)}
    words |= {name: SPOKEN_MODES.get(name, name.replace("_", " ")) for name in machine.modes}
    for sentence in sentences:
        said = re.sub(r"\w+", lambda found: words.get(found[0], found[0]) if "_" in found[0] else found[0], sentence)
        yield said[:1].upper() + said[1:]


def mechanism_picture(path: Path) -> SoundPicture:
    """Give how loud a recording is at each frequency and moment, to be drawn.

    Raises:
        InputAtFaultError: the file cannot be read.
    """
    return picture_of(read_sound(path))


def read_marks(path: Path) -> tuple[Mark, ...]:
    """Read what was done when: a CSV file with the columns `mode`, `at_s` and perhaps `doubt_s`, or JSON with `marks`.

    Raises:
        InputAtFaultError: a Problem for each row that cannot be used.
    """
    text = read_text(
        path, largest_mb=LARGEST_MB, instead="Give a file of marks, not a recording.",
        absent="Check the name, or leave --marks out.", kind="CSV or JSON",
    )  # fmt: skip
    return parse_marks(text, str(path))


def parse_marks(text: str, where: str) -> tuple[Mark, ...]:
    r"""Read marks from text; `where` names it in messages.

    >>> parse_marks("mode,at_s\noff,0\nplay,4.2\n", "example")[1].at_s
    4.2
    """
    rows = _json_rows(text, where) if text.lstrip()[:1] in ("{", "[") else list(csv.DictReader(io.StringIO(text)))
    problems: list[Problem] = []
    found = []
    for number, row in enumerate(rows, 1):
        mark = _mark(row, f"{where}, mark {number}", problems)
        if mark is not None:
            found.append(mark)
    if not rows:
        problems.append(
            Problem(where, "holds no marks.", "Write a line mode,at_s and under it one line for each mark.")
        )
    if problems:
        raise InputAtFaultError(problems)
    return tuple(sorted(found, key=lambda mark: mark.at_s))


def _json_rows(text: str, where: str) -> list[Any]:
    try:
        found = json.loads(text)
    except (json.JSONDecodeError, RecursionError):
        raise InputAtFaultError(Problem(where, "is not JSON.", "Mend the file, or write CSV.")) from None
    rows = found.get("marks") if isinstance(found, dict) else found
    if not isinstance(rows, list):
        raise InputAtFaultError(
            Problem(where, "holds no list `marks`.", 'Write {"marks": [{"mode": .., "at_s": ..}]}.')
        )
    return rows


def _mark(row: Any, where: str, problems: list[Problem]) -> Mark | None:
    mode = str(row.get("mode") or "").strip() if isinstance(row, dict) else ""
    if not mode:
        problems.append(Problem(where, "names no mode.", "Give `mode` and `at_s`."))
        return None
    try:
        at, doubt = float(row.get("at_s")), float(row.get("doubt_s") or Mark("", 0.0).doubt_s)
    except (TypeError, ValueError):
        problems.append(Problem(where, f"{row.get('at_s')!r} is no time.", "Give `at_s` in seconds."))
        return None
    if not (0.0 <= at < 1e6 and 0.0 <= doubt < 1e3):
        problems.append(
            Problem(where, f"{at:g} s is no time in a recording.", "Give `at_s` in seconds from its start.")
        )
        return None
    return Mark(mode, at, doubt)
