"""The film of a guided minute: cut where the steps change; each piece in which tape should move is watched alone."""

import tempfile
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Final

import av
import numpy as np

from tapewright.jobs.reels_seen import FilmWatched, watch_film
from tapewright.machine.parts import SPOKEN_MODES, Machine
from tapewright.measure.film_reading import FilmFrame, film_frames
from tapewright.words.evidence import Evidence
from tapewright.words.mechanism_heard import EvidenceHeard, Mark
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.reels_seen import HubSeen

TICKS: Final = Fraction(1, 90_000)
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
    with tempfile.TemporaryDirectory(prefix="tapewright-film-") as folder:
        files = [Path(folder) / f"{i}.mkv" for i in range(len(wanted))]
        cut(path, [(start, end) for _, start, end in wanted], files)
        pieces = [_watched(file, machine, mode, start) for file, (mode, start, _) in zip(files, wanted, strict=True)]
        known = hubs_of(pieces)
        again = (_standing(file, machine, piece, known) for file, piece in zip(files, pieces, strict=True))
        return tuple(again)


def _pieces(machine: Machine, marks: Sequence[Mark]) -> Iterator[tuple[str, float, float]]:
    """Give mode, beginning and end of each step that moves tape; of a mode entered twice the first time."""
    seen: set[str] = set()
    for mark, after in pairwise((*marks, Mark("off", float("inf")))):
        mode = machine.modes.get(mark.mode)
        if mode is not None and mode.takes_up and mark.mode not in seen and after.at_s - mark.at_s >= LEAST_S:
            seen.add(mark.mode)
            yield mark.mode, mark.at_s, after.at_s


def cut(path: Path, stretches: Sequence[tuple[float, float]], files: Sequence[Path]) -> None:
    """Write stretches of a film as films of their own: brightness alone, without loss, each frame with its own time.

    Arguments:
        path: the film.
        stretches: beginning and end of each, seconds; they may overlap.
        files: where each goes; one in which no frame lies is not written.

    Raises:
        InputAtFaultError: no film.
    """
    with ExitStack() as stack:
        pieces: dict[int, tuple[av.container.OutputContainer, av.VideoStream]] = {}
        for frame in film_frames(path):
            for i, (start_s, end_s) in enumerate(stretches):
                if start_s <= frame.time_s < end_s:
                    if i not in pieces:
                        pieces[i] = _begun(stack.enter_context(av.open(str(files[i]), "w")), frame)
                    _write(*pieces[i], frame, start_s)
        for container, stream in pieces.values():
            container.mux(stream.encode())


def _begun(
    container: av.container.OutputContainer, frame: FilmFrame
) -> tuple[av.container.OutputContainer, av.VideoStream]:
    stream = container.add_stream("ffv1", rate=30)
    stream.height, stream.width = frame.luma.shape
    stream.pix_fmt = "gray"
    stream.codec_context.time_base = TICKS
    return container, stream


def _write(container: av.container.OutputContainer, stream: av.VideoStream, frame: FilmFrame, start_s: float) -> None:
    luma = frame.luma
    eight = luma if luma.dtype == np.uint8 else (luma >> 8).astype(np.uint8)
    picture = av.VideoFrame.from_ndarray(np.ascontiguousarray(eight), format="gray")
    picture.pts, picture.time_base = round((frame.time_s - start_s) / TICKS), TICKS
    container.mux(stream.encode(picture))


def _watched(file: Path, machine: Machine, mode: str, start_s: float) -> PieceWatched:
    if not file.exists():
        return PieceWatched(mode, start_s, None, "The film ends before it.")
    try:
        return PieceWatched(mode, start_s, watch_film(file, machine, mode))
    except InputAtFaultError as error:
        return PieceWatched(mode, start_s, None, error.problems[0].found)


def hubs_of(pieces: Sequence[PieceWatched]) -> tuple[HubSeen, ...]:
    """Give where both hubs are in the picture, from the piece that is surest of them; nothing where none saw both."""
    both = [one.watched.seen.hubs for one in pieces if one.watched is not None and len(one.watched.seen.hubs) == 2]
    return max(both, key=lambda hubs: min(hub.sure for hub in hubs), default=())


def _standing(file: Path, machine: Machine, piece: PieceWatched, hubs: Sequence[HubSeen]) -> PieceWatched:
    """Look again, where other pieces have the hubs, at a piece in which none was found to turn: they may stand."""
    if piece.watched is not None or not hubs or not file.exists():
        return piece
    try:
        watched = watch_film(file, machine, piece.mode, hubs)
    except InputAtFaultError:
        return piece
    # A hub that turns would have been found by its turning: only one that stands is believed here.
    if not any(rate.value == 0.0 for rate in watched.seen.mean_rate_hz.values()):
        return piece
    return replace(piece, watched=watched, why_not="")


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
