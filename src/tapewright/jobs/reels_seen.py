"""A film of a cassette's hubs, watched with the machine's description at hand."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.from_film import CLOCKWISE, check_mode, evidence_of_film, sides
from tapewright.jobs.evidence_file import evidence_json
from tapewright.machine.parts import Machine
from tapewright.machine.rates import rates
from tapewright.measure.film_reading import film_frames
from tapewright.measure.film_watching import watch_reels
from tapewright.words.mechanism_heard import EvidenceHeard
from tapewright.words.plain import plain
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.reels_seen import HubSeen, ReelsSeen

ROOM: Final = (0.6, 1.5)
"""A worn machine's reels turn slower or faster than described by so much; trade judgement, from memory."""
MOST_HUBS: Final = 2
MIN_RADIUS: Final = 5.0
NO_STILL: Final = np.zeros((1, 1), dtype=np.uint8)
"""Where no frame was kept."""


@dataclass(frozen=True, slots=True, eq=False)
class FilmWatched:
    """A film, what it told, and what that says of a machine.

    Arguments:
        seen: what the film told.
        heard: readings and signs of the machine; None without one.
        mode: the mode that was filmed.
        still: brightness of the first frame, shape (height, width), to mark the hubs in; one dark point for none.
    """

    seen: ReelsSeen
    heard: EvidenceHeard | None
    mode: str
    still: NDArray[np.uint8]


def expected_reel_rates(machine: Machine, mode: str) -> tuple[tuple[float, float], ...]:
    """Give the ranges in which the hubs' rates may lie in a mode, turns per second, anticlockwise positive.

    Arguments:
        machine: as described.
        mode: one that moves tape.

    >>> from tapewright.machine.library import shipped
    >>> [round(value, 1) for value in expected_reel_rates(shipped("two_motor_deck"), "play")[0]]
    [0.2, 1.0]
    """
    turning = rates(machine, mode)
    found = []
    entered = machine.modes[mode]
    for reel in (entered.takes_up, entered.gives):
        rate = turning.get(reel or "")
        if rate is None:
            continue
        low, high = rate.range_per_s or (rate.turns_per_s.value, rate.turns_per_s.value)
        low, high = ROOM[0] * low, ROOM[1] * high
        found.append((-high, -low) if mode in CLOCKWISE else (low, high))
    return tuple(dict.fromkeys(found))


def pointed_at(texts: Sequence[str]) -> tuple[HubSeen, ...]:
    """Read where somebody pointed: `x,y,r` in pixels of the film as it is watched.

    Arguments:
        texts: one for each hub.

    Raises:
        InputAtFaultError: a Problem for each that cannot be read.

    >>> pointed_at(["420,365,57"])[0].radius_px
    57.0
    """
    problems, found = [], []
    for text in texts:
        parts = text.split(",")
        try:
            x, y, radius = (float(part) for part in parts)
        except ValueError:
            problems.append(Problem("--hub", f"is {text!r}.", "Give x,y,r in pixels, for instance 420,365,57."))
            continue
        if not (radius >= MIN_RADIUS and np.isfinite([x, y, radius]).all()):
            problems.append(Problem("--hub", f"has a radius of {radius:g} pixels.", "Give at least 5."))
            continue
        found.append(HubSeen("left", x, y, radius, 0, 0.9))
    if len(texts) > MOST_HUBS:
        problems.append(Problem("--hub", f"is given {len(texts)} times.", "A cassette has two hubs."))
    if problems:
        raise InputAtFaultError(problems)
    found.sort(key=lambda hub: hub.centre_x)
    return tuple(found)


def watch_film(
    path: Path,
    machine: Machine | None = None,
    mode: str = "play",
    hubs: Sequence[HubSeen] = (),
    progress: Callable[[float], None] | None = None,
) -> FilmWatched:
    """Watch a film, and say what it tells of a machine.

    Arguments:
        path: the film.
        machine: as described; None where there is none.
        mode: the mode that was filmed.
        hubs: where they are, when somebody pointed at them.
        progress: called with the share that is done.

    Raises:
        InputAtFaultError: no film, no hub in it, no such mode, or a hub outside of the picture.
    """
    expected: tuple[tuple[float, float], ...] = ()
    takes_up = ""
    if machine is not None:
        check_mode(machine, mode)
        expected = expected_reel_rates(machine, mode)
        takes_up = sides(machine, mode).get(machine.modes[mode].takes_up or "", "")
    still = next((frame.luma for frame in film_frames(path)), None)
    if still is not None:
        _see_that_inside(hubs, still.shape)
    seen = watch_reels(path, hubs or None, expected, takes_up, progress)
    heard = None if machine is None else evidence_of_film(machine, seen, mode)
    return FilmWatched(seen, heard, mode, _eight_bits(still))


def _see_that_inside(hubs: Sequence[HubSeen], shape: tuple[int, ...]) -> None:
    outside = [hub for hub in hubs if not (0 <= hub.centre_x < shape[1] and 0 <= hub.centre_y < shape[0])]
    if outside:
        do = f"The picture is {shape[1]} by {shape[0]} pixels, counted from its top left."
        raise InputAtFaultError(
            [Problem("--hub", f"lies at {hub.centre_x:g},{hub.centre_y:g}.", do) for hub in outside]
        )


def _eight_bits(still: NDArray[Any] | None) -> NDArray[np.uint8]:
    if still is None:
        return NO_STILL
    if still.dtype == np.uint8:
        return np.array(still)
    return np.asarray(still >> 8, dtype=np.uint8)


def watched_json(watched: FilmWatched) -> dict[str, Any]:
    """Give what a film told as plain data: all that was seen, and with a machine the evidence and its reasons.

    Arguments:
        watched: from `watch_film`.
    """
    data: dict[str, Any] = plain(watched.seen) | {"mode": watched.mode}
    if watched.heard is not None:
        data["evidence"] = evidence_json(watched.heard.evidence)
        data["reasons"] = [{"id": name, "says": says} for name, says in watched.heard.reasons]
    return data


__all__ = ["FilmWatched", "expected_reel_rates", "pointed_at", "watch_film", "watched_json"]
