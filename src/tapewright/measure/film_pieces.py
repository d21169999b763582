"""watch_pieces: several modes in one film, the hubs looked for once, and each piece with the packs that were left it.

Where the camera stays, the hubs stay: a reel that stands in one mode is known from another. The packs at the end of one
piece are those at the beginning of the next, which tells like teeth apart: both hubs' rates are as those packs.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from tapewright.measure.film_aliases import OPEN, Turned, unwrapped
from tapewright.measure.film_hubs import find_hubs
from tapewright.measure.film_one_tape import TURNS_HZ, PackRatio
from tapewright.measure.film_rates import RateCourse, rate_course
from tapewright.measure.film_reading import LEAST_FRAMES, film_bursts, film_header
from tapewright.measure.film_run_down import BEFORE_S, stands_after
from tapewright.measure.film_tape import pack_ratio
from tapewright.measure.film_turning import Followed, follow_pieces
from tapewright.measure.film_watching import BURST_FRAMES, BURST_S, MOST_SCATTER, told_of, turns_evenly
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.reels_seen import HubSeen, ReelsSeen

BURSTS_EACH: Final = 5
SURE_OF_HUBS: Final = 0.95
KNOWN_SCATTER: Final = 0.1
"""So much may the angles of hubs scatter that another piece showed surely: fast teeth are wiped out; noise has 0.13."""
SLOW_HZ: Final = 1.5
"""As in play: far below what like teeth hide at any frame rate of a phone."""
AFTER_S: Final = 0.15
"""So long a piece goes on after its end: the reels of the mode before have still to stop; own choice."""
STANDS_S: Final = 0.8
"""The same where a key stops it: how a hub comes to a stand tells its rate from others that look the same."""


@dataclass(frozen=True, slots=True)
class FilmPiece:
    """One mode in a film.

    Arguments:
        start_s, end_s: from when to when, seconds of the film.
        expected_hz: ranges of turns per second that the machine can give a hub.
        takes_up: "left" or "right" where it is known which hub takes up.
        stopped_until_s: a key stops it at its end, and the reels are left to stand until then; 0 where none does.
    """

    start_s: float
    end_s: float
    expected_hz: tuple[tuple[float, float], ...] = ()
    takes_up: str = ""
    stopped_until_s: float = 0.0

    @property
    def followed_until_s(self) -> float:
        """Give until when it is followed: what it did is told by how it stops as well."""
        stopped = self.stopped_until_s - self.end_s
        return self.end_s + (min(STANDS_S, stopped) if stopped > AFTER_S else AFTER_S)

    def mirrored(self) -> "FilmPiece":
        """Give the piece as a mirror shows it: the other way round, and the other hub takes up."""
        other = {"left": "right", "right": "left"}.get(self.takes_up, "")
        return replace(self, expected_hz=tuple((-high, -low) for low, high in self.expected_hz), takes_up=other)

    def other_way_round(self, seen: ReelsSeen) -> bool:
        """Say whether both hubs turn slowly, and so for sure, the other way round than they should."""
        rates = [one.value for one in seen.mean_rate_hz.values() if one.value]
        ways = {low > 0.0 for low, _ in self.expected_hz}
        if len(rates) != 2 or len(ways) != 1 or max(map(abs, rates)) > SLOW_HZ:
            return False
        return all((rate > 0.0) != next(iter(ways)) for rate in rates)


def watch_pieces(
    path: Path, pieces: Sequence[FilmPiece], progress: Callable[[float], None] | None = None
) -> tuple[ReelsSeen | Problem, ...]:
    """Watch several pieces of a film of the two hubs, in the order of time.

    Arguments:
        path: the film.
        pieces: the modes.
        progress: called with the share that is done.

    Returns:
        For each piece what it told, or why it told nothing: it ends before, or its frames do not fit the hubs found.

    Raises:
        InputAtFaultError: no film, or nothing in these pieces that turns.
    """
    film = _Film(path, tuple(pieces))
    base = film.surest()
    stretches = [(one.start_s, one.followed_until_s) for one in pieces]
    done = None if progress is None else lambda at_s: progress(min(at_s / film.whole_s, 1.0))
    stopped = [one for one in pieces if one.stopped_until_s > one.end_s]
    stretches += [(one.end_s - BEFORE_S, one.stopped_until_s) for one in stopped]
    each = follow_pieces(path, base, stretches, done)
    rests = {one.start_s: stands_after(ways, BEFORE_S) for one, ways in zip(stopped, each[len(pieces) :], strict=True)}
    found: list[ReelsSeen | Problem] = []
    packs: PackRatio | None = None
    turned_over = False
    for at, (planned, followed) in enumerate(zip(pieces, each[: len(pieces)], strict=True)):
        piece = planned.mirrored() if turned_over else planned
        seen, left = _piece(path, piece, base, followed, film.tick_s, packs)
        if isinstance(seen, Problem) and len(followed[0].times_s) >= LEAST_FRAMES:
            own = film.hubs(at)
            if own and own != base:
                again = follow_pieces(path, own, stretches[at : at + 1])[0]
                seen, left = _piece(path, piece, own, again, film.tick_s, packs)
        if isinstance(seen, Problem) and min(hub.sure for hub in base) > SURE_OF_HUBS:
            seen, left = _piece(path, piece, base, followed, film.tick_s, packs, KNOWN_SCATTER)
        if isinstance(seen, ReelsSeen) and not turned_over and piece.other_way_round(seen):
            turned_over = True
            seen, left = _piece(path, piece.mirrored(), seen.hubs, followed, film.tick_s, packs)
        packs = left
        if isinstance(seen, ReelsSeen) and planned in stopped:
            key_s = planned.end_s - planned.start_s
            seen = replace(seen, stopped_s=key_s, stands_after_s=rests[planned.start_s])
        found.append(seen)
    if not any(_turns(one) for one in found if isinstance(one, ReelsSeen)):
        raise _nothing_turns(path)
    return tuple(found)


def _turns(seen: ReelsSeen) -> bool:
    """Say whether a hub turns in a piece: hubs that never do were none, as far as a film can tell."""
    return any(max(map(abs, one.rates_hz), default=0.0) > TURNS_HZ for one in seen.rates)


def _nothing_turns(path: Path) -> InputAtFaultError:
    do = "Film both hubs from close by and straight on."
    return InputAtFaultError(Problem(str(path), "shows nothing that turns about a point of its own.", do))


class _Film:
    """Where the hubs are, looked for piece by piece, and only where it is asked."""

    def __init__(self, path: Path, pieces: tuple[FilmPiece, ...]) -> None:
        header = film_header(path)
        self.path, self.pieces, self.tick_s = path, pieces, header.tick_s
        self.whole_s = max(header.duration_s or max(one.end_s for one in pieces), 1e-3)
        self._found: dict[int, tuple[HubSeen, ...]] = {}

    def hubs(self, at: int) -> tuple[HubSeen, ...]:
        """Give the hubs as one piece alone shows them; nothing where they do not turn in it."""
        if at not in self._found:
            start_s, end_s = self.pieces[at].start_s, min(self.pieces[at].end_s, self.whole_s)
            from_s = [start_s + (end_s - start_s) * (number + 0.5) / BURSTS_EACH for number in range(BURSTS_EACH)]
            bursts = [] if start_s >= end_s else film_bursts(
                self.path, BURSTS_EACH, BURST_FRAMES, BURST_S, from_s
            )  # fmt: skip
            self._found[at] = find_hubs(list(bursts))
        return self._found[at]

    def surest(self) -> tuple[HubSeen, ...]:
        """Give the hubs of the first piece that is sure of them, else of the surest."""
        best: tuple[HubSeen, ...] = ()
        for at in range(len(self.pieces)):
            hubs = self.hubs(at)
            if hubs and (not best or min(hub.sure for hub in hubs) > min(hub.sure for hub in best)):
                best = hubs
            if best and min(hub.sure for hub in best) > SURE_OF_HUBS:
                break
        if not best:
            raise _nothing_turns(self.path)
        return best


def _piece(
    path: Path, piece: FilmPiece, hubs: Sequence[HubSeen], followed: Sequence[Followed], tick_s: float,
    packs: PackRatio | None, most_scatter: float = MOST_SCATTER,
) -> tuple[ReelsSeen | Problem, PackRatio | None]:  # fmt: skip
    """Tell of one piece, and give the packs at its end."""
    if len(followed[0].times_s) < LEAST_FRAMES:
        return Problem(str(path), "The film ends before it.", "Film the whole minute."), packs
    turned = unwrapped(followed, piece.expected_hz, packs)
    if not turned or not turns_evenly(followed, turned, most_scatter):
        return Problem(str(path), "shows no hub that turns or stands in it.", "Leave the phone where it is."), packs
    if most_scatter > MOST_SCATTER and not turns_evenly(followed, turned):
        # They turn, and that is all: of teeth that are wiped out some steps are lost.
        turned = tuple(replace(way, lead=0.0) for way in turned)
    seen = told_of(hubs, turned, tick_s, piece.takes_up)
    return seen, _packs_after(seen, turned, packs)


def _packs_after(seen: ReelsSeen, turned: Sequence[Turned], before: PackRatio | None) -> PackRatio | None:
    """Give the packs at the end of a piece: by its own rates, or as before where nothing turned; None where open."""
    courses: list[RateCourse] = [rate_course(one) for one in turned]
    if all(not one.usual_hz for one in courses):
        return before
    if seen.tape_speed_m_per_s.value is None or any(one.lead < OPEN for one in turned):
        return None
    slipped = any(one.kind in ("slips", "lags", "stands") for one in seen.events)
    return pack_ratio(courses, slipped=slipped)


__all__ = ["FilmPiece", "watch_pieces"]
