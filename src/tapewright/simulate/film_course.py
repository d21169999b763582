"""Where both hubs of a cassette stand over time, with the tape on either pack and in a loop between them.

The tape is never lost: what leaves one pack is on the other or in the loop. A turn changes a pack's radius by one
thickness, so the angle of a hub is a closed form of the length that is on it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from tapewright.machine.formulas import pack_length, pack_radius
from tapewright.machine.parts import Machine, TapeFormat
from tapewright.simulate.film_drive import RATE_HZ, STARTS_S, STOPS_S, Drive, Hesitation, drive_of
from tapewright.simulate.film_packs import TapeOnReels
from tapewright.simulate.pack import Samples
from tapewright.words.problem import InputAtFaultError, Problem

SHORT_BY: Final = 0.07
"""A reel that falls short by less is not called an event; a hesitation of 10 % is one."""
SHORTEST_S: Final = 0.15
LAGS_FROM_S: Final = 4.0
"""From here on a reel that falls short is said to lag, and not to slip."""
STANDS_BELOW: Final = 0.05
MOVES_FROM_M_PER_S: Final = 1e-3


class Step(Protocol):
    """A mode, when it is entered and how long it is kept, seconds; the steps of the guided minute are such."""

    @property
    def mode(self) -> str:
        """Name the mode, "off" included."""

    @property
    def at_s(self) -> float:
        """Say when it is entered."""

    @property
    def lasts_s(self) -> float:
        """Say how long it is kept."""


@dataclass(frozen=True, slots=True)
class FilmStep:
    """One mode of a film: its name, when it is entered, how long it is kept, seconds."""

    mode: str
    at_s: float
    lasts_s: float


@dataclass(frozen=True, slots=True)
class CourseEvent:
    """Something that a hub does.

    Arguments:
        kind: hesitates (tape and reel), slips (the reel takes less than is brought), lags (the same, for long), stands
            (while tape is brought), starts, stops.
        hub: "left" or "right".
        start_s, end_s: seconds.
        share: by how much of its rate it falls short, 0 to 1; 0 for starts and stops.
    """

    kind: str
    hub: str
    start_s: float
    end_s: float
    share: float


@dataclass(frozen=True, slots=True)
class ReelCourse:
    """Where the hubs stand, on an even raster of times.

    Arguments:
        tape: hub, full pack, thickness.
        steps: the modes, in order.
        times_s: shape (n,).
        takeup_m, supply_m: length of tape on the hub that takes up in play, and on the other, metres, shape (n,).
        loop_m: length between them that hangs loose, shape (n,).
        fed_m_per_s: tape that is brought to the taking reel, signed as play goes, shape (n,).
        takeup_side: "right" or "left": where the hub stands that takes up in play, as seen from the front.
        events: in the order of time.
        says: what happens, sentences.
        stops: times at which the machine stopped by itself, seconds.
    """

    tape: TapeFormat
    steps: tuple[FilmStep, ...]
    times_s: Samples
    takeup_m: Samples
    supply_m: Samples
    loop_m: Samples
    fed_m_per_s: Samples
    takeup_side: str
    events: tuple[CourseEvent, ...]
    says: tuple[str, ...]
    stops: tuple[float, ...]

    def length_m(self, hub: str) -> Samples:
        """Give the length of tape on a hub, "left" or "right", metres, shape (n,)."""
        return self.takeup_m if hub == self.takeup_side else self.supply_m

    def radius_m(self, hub: str) -> Samples:
        """Give the radius of its pack, metres, shape (n,)."""
        return np.asarray(pack_radius(self.tape.hub_radius_m, self.length_m(hub), self.tape.thickness_m))

    def turns(self, hub: str) -> Samples:
        """Give the turns a hub has made since the beginning, anticlockwise as seen from the front, shape (n,).

        In play both turn anticlockwise: the tape leaves the one pack on its left and comes to the other on its right
        (from memory).
        """
        radius = self.radius_m(hub)
        way = 1.0 if hub == self.takeup_side else -1.0
        return np.asarray(way * (radius - radius[0]) / self.tape.thickness_m)

    def turns_at(self, hub: str, times_s: Samples) -> Samples:
        """Give the same at any times, any shape."""
        return np.asarray(np.interp(times_s, self.times_s, self.turns(hub)))

    def rate_hz(self, hub: str) -> Samples:
        """Give its rate, turns a second, anticlockwise positive, shape (n,)."""
        return np.asarray(np.gradient(self.turns(hub), 1.0 / RATE_HZ))


def mode_course(
    machine: Machine, mode: str, seconds: float, seed: int, position_s: float = 0.0, given: Sequence[Hesitation] = (),
    running: bool = False,
) -> ReelCourse:  # fmt: skip
    """Work out what both hubs do in one mode, from the key on; it still runs at the end.

    Arguments:
        machine: with its imperfections.
        mode: its name.
        seconds: how long.
        seed: the same seed gives the same course.
        position_s: how far into the side it begins, seconds at the right speed.
        given: moments to put in besides what the faults bring, from the beginning of the mode.
        running: True where the key was pressed before the film began.

    Raises:
        InputAtFaultError: when the machine has no such mode, or the position is not on the tape.

    >>> from tapewright.machine.library import shipped
    >>> way = mode_course(shipped("four_track"), "play", 10.0, seed=1)
    >>> round(float(way.rate_hz("right")[-1]), 2)
    1.35
    """
    if mode not in machine.modes:
        do = "Give one of " + ", ".join(machine.modes) + "."
        raise InputAtFaultError(Problem("--mode", f"this machine has no mode {mode}.", do))
    return film_course(machine, (FilmStep(mode, 0.0, seconds),), seed, position_s, given, running)


def film_course(
    machine: Machine, steps: Sequence[Step], seed: int, position_s: float = 0.0, given: Sequence[Hesitation] = (),
    running: bool = False,
) -> ReelCourse:  # fmt: skip
    """Work out what both hubs do over several modes; arguments as for `mode_course`, `given` in the first that plays.

    Arguments:
        machine: with its imperfections.
        steps: the modes in the order of time; "off" and modes without tape stand.
        seed: the same seed gives the same course.
        position_s: how far into the side it begins, seconds at the right speed.
        given: moments to put into the first mode in which tape should move.
        running: True where the first mode was entered before the film began. The last one does not stop at the end.

    Raises:
        InputAtFaultError: when the position is not on the tape.
    """
    tape = machine.tape
    side_m = float(pack_length(tape.hub_radius_m, tape.full_radius_m, tape.thickness_m))
    wound_m = position_s * tape.speed_m_per_s
    if not 0.0 <= wound_m < side_m:
        do = f"A side of this machine's tape lasts {side_m / tape.speed_m_per_s:.0f} s."
        raise InputAtFaultError(Problem("position", f"{position_s:g} s is not on the tape.", do))
    state, says, stops, events = TapeOnReels(tape, side_m, wound_m), [], [], []
    pending = tuple(given)
    for number, step in enumerate(steps):
        at = machine.modes.get(step.mode)
        put_in = pending if at is not None and at.takes_up else ()
        pending = () if put_in else pending
        place_s = min(state.takeup[-1], 0.999 * side_m) / tape.speed_m_per_s
        drive = drive_of(machine, step.mode, step.lasts_s, seed + 101 * number, place_s, put_in)
        forward = at is None or not at.takes_up or at.takes_up == machine.modes["play"].takes_up
        begins = len(state.takeup)
        last = number == len(steps) - 1
        # A wind that is stopped by the key runs down in the step after it; one that another key ends does so before.
        stopped = drive.how == "wind" and not last and not _moves(machine, steps[number + 1].mode)
        kept = (number == 0 and running, last or stopped)
        count = round(step.lasts_s * RATE_HZ)
        if not _moves(machine, step.mode):
            done = state.run_down(machine, steps[number - 1].mode, count) if number else 0
            events += _run_down_events(state, begins, done, _side(machine))
            count -= done
        wanted = state.run(drive, count, forward, bool(at and at.at_capstan), kept)
        events += _events(state, drive, begins, wanted, forward, _side(machine))
        says.append(f"{step.mode}: {drive.says}")
        if drive.stops_s < step.lasts_s and at is not None and at.takes_up:
            stops.append(step.at_s + drive.stops_s)
            says[-1] += f" The machine stops by itself after {drive.stops_s:g} s."
    named = tuple(FilmStep(one.mode, one.at_s, one.lasts_s) for one in steps)
    count = len(state.takeup)
    return ReelCourse(
        tape, named, np.arange(count) / RATE_HZ, np.array(state.takeup), np.array(state.supply), np.array(state.loop),
        np.array(state.fed), _side(machine), tuple(events), tuple(says), tuple(stops),
    )  # fmt: skip


def _moves(machine: Machine, mode: str) -> bool:
    at = machine.modes.get(mode)
    return at is not None and bool(at.takes_up)


def _side(machine: Machine) -> str:
    """Say on which side the hub stands that takes up in play: right, where the description does not say otherwise."""
    play = machine.modes["play"]
    places = [machine.rotors[name].position_m for name in (play.takes_up, play.gives) if name in machine.rotors]
    if len(places) == 2 and places[0] is not None and places[1] is not None and places[0][0] < places[1][0]:
        return "left"
    return "right"


# --- what a hub does, told as events ----------------------------------------------------------------------------------


def _events(
    state: TapeOnReels, drive: Drive, begins: int, wanted: Samples, forward: bool, side: str
) -> list[CourseEvent]:
    """Tell what the taking hub does while it should turn; both start and stop."""
    if drive.how == "stand" or not len(wanted):
        return []
    first = max(begins - 1, 0)
    other = "left" if side == "right" else "right"
    hubs = {"takes": side if forward else other, "gives": other if forward else side}
    stores = {"takes": state.takeup if forward else state.supply, "gives": state.supply if forward else state.takeup}
    found = []
    moved = {name: np.abs(np.diff(np.array(store[first:]))) * RATE_HZ for name, store in stores.items()}
    for name, speed in moved.items():
        going = np.flatnonzero(speed > MOVES_FROM_M_PER_S)
        if len(going):
            start, end = (float(first + 1 + place) / RATE_HZ for place in (going[0], going[-1] + 1))
            if going[0] > 0:
                found.append(CourseEvent("starts", hubs[name], start, start + STARTS_S[drive.how], 0.0))
            if going[-1] + 1 < len(speed):
                found.append(CourseEvent("stops", hubs[name], end - STOPS_S[drive.how], end, 0.0))
    share = np.divide(moved["takes"], wanted, out=np.ones(len(wanted)), where=wanted > 0.2 * wanted.max())
    for low, high in _runs(share < 1.0 - SHORT_BY, round(SHORTEST_S * RATE_HZ)):
        lost = float(1.0 - np.mean(share[low:high]))
        start, end = (first + 1 + low) / RATE_HZ, (first + 1 + high) / RATE_HZ
        kind = "stands" if lost > 1.0 - STANDS_BELOW else "hesitates" if drive.how != "capstan" else "slips"
        if kind == "slips" and end - start > LAGS_FROM_S:
            kind = "lags"
        found.append(CourseEvent(kind, hubs["takes"], start, end, lost))
    return sorted(found, key=lambda one: one.start_s)


def _run_down_events(state: TapeOnReels, begins: int, count: int, side: str) -> list[CourseEvent]:
    """Tell when each hub that was stopped by the key stands."""
    other = "left" if side == "right" else "right"
    found = []
    for hub, store in ((side, state.takeup), (other, state.supply)):
        going = np.flatnonzero(
            np.abs(np.diff(np.array(store[begins - 1 : begins + count]))) * RATE_HZ > MOVES_FROM_M_PER_S
        )
        if count and len(going):
            found.append(CourseEvent("stops", hub, begins / RATE_HZ, (begins + 1 + int(going[-1])) / RATE_HZ, 0.0))
    return sorted(found, key=lambda one: one.end_s)


def _runs(marked: NDArray[np.bool_], least: int) -> list[tuple[int, int]]:
    """Give where a run of True begins and ends, of at least so many."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], np.asarray(marked, dtype=np.int8), [0]])))
    return [(int(low), int(high)) for low, high in zip(edges[::2], edges[1::2], strict=True) if high - low >= least]
