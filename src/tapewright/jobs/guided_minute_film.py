"""The film of a guided minute, each step in which tape should move for itself.

The hubs are looked for once and followed in one go, so that reels that stand in one step are known from another, and
the packs that one step leaves are those the next begins with.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Final

from tapewright.diagnose.from_film import evidence_of_film, sides
from tapewright.jobs.reels_seen import NO_STILL, FilmWatched, expected_reel_rates
from tapewright.machine.parts import SPOKEN_MODES, Machine
from tapewright.measure.film_pieces import FilmPiece, watch_pieces
from tapewright.measure.film_reading import film_header
from tapewright.words.evidence import Evidence
from tapewright.words.mechanism_heard import EvidenceHeard, Mark
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.reels_seen import ReelsSeen

RUNS_DOWN_S: Final = 2.0
"""So long after stop the reels are watched; none runs down longer."""
LEAST_S: Final = 2.0
"""A shorter piece tells next to nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class PieceWatched:
    """One step of the minute as it was filmed.

    Arguments:
        mode: the step's mode.
        start_s: where it begins in the whole film.
        watched: what it told; None where it told nothing.
        why_not: the reason then.
    """

    mode: str
    start_s: float
    watched: FilmWatched | None
    why_not: str = ""


def watch_minute(path: Path, machine: Machine, marks: Sequence[Mark]) -> tuple[PieceWatched, ...]:
    """Watch the film of a guided minute, step by step.

    Arguments:
        path: the film.
        machine: as described.
        marks: when each step was, in the film's own time.

    Raises:
        InputAtFaultError: no film, or no step of it in which tape should move.
    """
    wanted = list(_pieces(machine, marks))
    if not wanted:
        do = "Say when play, fast forward or rewind was pressed, in seconds of the film."
        raise InputAtFaultError(Problem(path.name, "has no step marked in which tape should move.", do))
    film_header(path)
    entered = [
        FilmPiece(
            start,
            end,
            expected_reel_rates(machine, mode),
            sides(machine, mode).get(_takes_up(machine, mode), ""),
            _stopped_until(marks, end),
        )
        for mode, start, end in wanted
    ]
    try:
        told: Sequence[ReelsSeen | Problem] = watch_pieces(path, entered)
    except InputAtFaultError as error:
        told = [error.problems[0]] * len(wanted)
    return tuple(
        PieceWatched(mode, start, None, one.found)
        if isinstance(one, Problem)
        else PieceWatched(mode, start, FilmWatched(one, evidence_of_film(machine, one, mode), mode, NO_STILL))
        for one, (mode, start, _) in zip(told, wanted, strict=True)
    )


def _stopped_until(marks: Sequence[Mark], end_s: float) -> float:
    """Say until when reels are left to stand by a stop that ends a step; 0 where another key ends it."""
    after = next((number for number, mark in enumerate(marks) if mark.at_s == end_s), None)
    if after is None or marks[after].mode != "stop" or after + 1 == len(marks):
        return 0.0
    return min(marks[after + 1].at_s, end_s + RUNS_DOWN_S)


def _takes_up(machine: Machine, mode: str) -> str:
    return machine.modes[mode].takes_up or ""


def _pieces(machine: Machine, marks: Sequence[Mark]) -> Iterator[tuple[str, float, float]]:
    """Give mode, beginning and end of each step that moves tape; of a mode entered twice the first time."""
    seen: set[str] = set()
    for mark, after in pairwise((*marks, Mark("off", float("inf")))):
        mode = machine.modes.get(mark.mode)
        if mode is not None and mode.takes_up and mark.mode not in seen and after.at_s - mark.at_s >= LEAST_S:
            seen.add(mark.mode)
            yield mark.mode, mark.at_s, after.at_s


def evidence_of_minute(pieces: Sequence[PieceWatched]) -> EvidenceHeard:
    """Put together what all pieces say."""
    heard = [one.watched.heard for one in pieces if one.watched is not None and one.watched.heard is not None]
    signs = tuple(sign for one in heard for sign in one.evidence.signs)
    readings = {name: reading for one in heard for name, reading in one.evidence.readings.items()}
    return EvidenceHeard(Evidence(signs, readings), tuple(reason for one in heard for reason in one.reasons))


def notes_of_minute(pieces: Sequence[PieceWatched]) -> tuple[str, ...]:
    """Say what the pieces cannot tell, each with its step."""
    said = []
    for one in pieces:
        when = SPOKEN_MODES.get(one.mode, one.mode)
        texts = (one.why_not,) if one.watched is None else (*one.watched.seen.aliasing, *one.watched.seen.cannot_say)
        said += [f"{when[:1].upper()}{when[1:]}: {text}" for text in texts if text]
    return tuple(dict.fromkeys(said))
