"""When each step of a guided minute was done: checked as it comes in, and kept as a line that a person can read."""

import math
import re
from collections.abc import Iterable, Sequence
from typing import Final

from tapewright.machine.minute import minute_steps
from tapewright.machine.parts import Machine
from tapewright.words.mechanism_heard import Mark
from tapewright.words.problem import InputAtFaultError, Problem, nearest

SOUND, FILM = "guided minute", "film of a guided minute"
"""How the note of a kept file begins."""
MOST_MARKS: Final = 60
LONGEST_S: Final = 900.0
"""No guided minute lasts longer than a quarter of an hour, pauses included."""
BY_HAND_S: Final = 0.5
"""Doubt of a mark that a hand made: it presses about when the page says so; from memory."""
_MARK: Final = re.compile(r"([a-z_]{1,40}) (\d{1,4}(?:\.\d{1,2})?)( failed)?")


def checked_marks(
    machine: Machine, given: Iterable[tuple[str, float]], duration_s: float = LONGEST_S
) -> tuple[Mark, ...]:
    """See that marks are those of a guided minute of this machine, in order of time.

    Arguments:
        machine: as described.
        given: (mode, seconds from the beginning of the file), as they came.
        duration_s: length of the file.

    Raises:
        InputAtFaultError: a Problem for each that cannot be meant.
    """
    known = {"off", *machine.modes}
    found: list[Mark] = []
    problems = []
    listed = list(given)[: MOST_MARKS + 1]
    if len(listed) > MOST_MARKS:
        problems.append(Problem("marks", f"are more than {MOST_MARKS}.", "Give one for each step."))
    for number, (mode, at_s) in enumerate(listed[:MOST_MARKS], 1):
        where = f"mark {number}"
        if mode not in known:
            problems.append(Problem(where, f"names the mode {mode[:40]!r}.", nearest(mode, sorted(known))))
        elif not math.isfinite(at_s) or at_s < 0.0:
            problems.append(Problem(where, f"stands at {at_s:g} s.", "Give seconds from the beginning of the file."))
        elif at_s > duration_s:
            found_there = f"stands at {at_s:g} s, after the end of the file at {duration_s:.1f} s."
            problems.append(Problem(where, found_there, "Give seconds from the beginning of the file."))
        elif found and round(at_s, 2) < found[-1].at_s:
            problems.append(Problem(where, f"at {at_s:g} s stands before the one ahead of it.", "Give them in order."))
        else:
            found.append(Mark(mode, round(at_s, 2), BY_HAND_S))
    if problems:
        raise InputAtFaultError(problems)
    return tuple(found)


def note_of(marks: Sequence[Mark], failed: Iterable[int] = (), *, film: bool = False) -> str:
    """Write marks as the note that stands beside the file.

    Arguments:
        marks: in order of time.
        failed: numbers, from 0, of those of which somebody said that the machine did not do it.
        film: whether the file is the film.

    >>> note_of([Mark("off", 0.0), Mark("play", 4.25)], [1])
    'guided minute: off 0, play 4.25 failed'
    """
    did_not = set(failed)
    each = [f"{mark.mode} {mark.at_s:g}{' failed' if i in did_not else ''}" for i, mark in enumerate(marks)]
    return f"{FILM if film else SOUND}: {', '.join(each)}" if each else (FILM if film else SOUND)


def is_minute(note: str) -> bool:
    """Tell whether a file's note says that it is of a guided minute."""
    return note.partition(":")[0] in (SOUND, FILM)


def is_film(note: str) -> bool:
    """Tell whether it is the film of one."""
    return note.partition(":")[0] == FILM


def marks_in(note: str) -> tuple[tuple[Mark, ...], frozenset[int]]:
    """Read the marks of a note, and which of them failed.

    >>> marks_in("guided minute: off 0, play 4.25 failed")[1]
    frozenset({1})
    """
    found = [_MARK.fullmatch(one.strip()) for one in note.partition(":")[2].split(",")]
    read = [one for one in found if one]
    marks = tuple(Mark(one[1], float(one[2]), BY_HAND_S) for one in read)
    return marks, frozenset(i for i, one in enumerate(read) if one[3])


def usual_marks(machine: Machine) -> tuple[Mark, ...]:
    """Give the marks of a minute that went by the clock: what a form begins with."""
    return tuple(Mark(step.mode, step.at_s, BY_HAND_S) for step in minute_steps(machine))
