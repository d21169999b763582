"""watch_reels: a film of a cassette's two hubs, from the file to what it tells."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

import numpy as np

from tapewright.measure.film_aliases import DECIDED, OPEN, Turned, said_of_aliases, unwrapped, why_open
from tapewright.measure.film_events import reel_events
from tapewright.measure.film_hubs import find_hubs, hubs_pointed_at
from tapewright.measure.film_rates import TURNS_HZ, RateCourse, mean_rate, rate_course
from tapewright.measure.film_reading import LEAST_FRAMES, film_bursts, film_header
from tapewright.measure.film_tape import FULL_M, TapeSeen, position_by_rates, tape_seen
from tapewright.measure.film_turning import Followed, follow_hubs
from tapewright.standards.iec_60094 import HUB_RADIUS_M
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.reading import Reading
from tapewright.words.reels_seen import HubSeen, ReelEvent, ReelsSeen

BURSTS: Final = 8
BURST_FRAMES: Final = 10
BURST_S: Final = 0.5
LEAST_FITS: Final = 0.4
"""A hub whose frames agree less with its picture was none, or left the film."""
LEAST_TURNS: Final = 0.08
LEAST_ONWARD: Final = 0.8
"""Within a second a reel turns one way: so much of its way, at least, leads on."""
MOST_SCATTER: Final = 0.075
"""Of angles about their course, over the step from tooth to like tooth: hubs have 0.04 at most, noise 0.13 and more;
by drawn films."""
LEAST_SHARE_WOUND: Final = 0.4
"""A wind must carry so much of the tape over for the whole to be told from it."""
WIND_M_PER_S: Final = 0.15
"""What runs faster is a wind: play at double speed has 0.095."""
MOST_SHORT: Final = 0.2
"""A hub that falls short alone for more of the film than this slips all the time, more or less: its rate tells nothing
of the tape. One moment in eight seconds is less; own choice."""
OTHER_WAY: Final = "Whether the film is mirrored, upside down or of another mode"


def watch_reels(
    path: Path,
    hubs: Sequence[HubSeen] | None = None,
    expected_hz: Sequence[tuple[float, float]] = (),
    takes_up: str = "",
    progress: Callable[[float], None] | None = None,
) -> ReelsSeen:
    """Watch a film of the two hubs.

    Arguments:
        path: the film: mp4, mov, any frame rate, frame times that waver.
        hubs: where they are, when somebody pointed at them; None to find them.
        expected_hz: ranges of turns per second that the machine can give a hub: they help where teeth look alike.
        takes_up: "left" or "right" where it is known which hub takes up.
        progress: called with the share that is done.

    Raises:
        InputAtFaultError: no film, or nothing in it turns.
    """
    header = film_header(path)
    bursts = list(film_bursts(path, BURSTS, BURST_FRAMES, BURST_S))
    if sum(len(burst) for burst in bursts) < LEAST_FRAMES:
        raise _wrong(path, "holds too few frames.", "Film the hubs for some seconds.")
    seen = hubs_pointed_at(bursts, hubs) if hubs else find_hubs(bursts)
    if not seen:
        raise _wrong(
            path,
            "shows nothing that turns about a point of its own.",
            "Film both hubs from close by and straight on; where they stand still, point at them with --hub.",
        )
    whole_s = max(header.duration_s, 1e-3)
    followed = follow_hubs(path, seen, None if progress is None else lambda at_s: progress(min(at_s / whole_s, 1.0)))
    turned = unwrapped(followed, expected_hz)
    if not turned:
        raise _wrong(path, "holds too few frames.", "Film the hubs for some seconds.")
    if not hubs:
        _see_that_it_turns(path, followed, turned)
    return told_of(seen, turned, header.tick_s, takes_up)


def _wrong(path: Path, found: str, do: str) -> InputAtFaultError:
    return InputAtFaultError(Problem(str(path), found, do))


def _see_that_it_turns(path: Path, followed: Sequence[Followed], turned: Sequence[Turned]) -> None:
    """Refuse what looked like hubs and is not: frames that do not agree, a way that jumps or leads nowhere."""
    moves = any(_onward(way) < 1.0 or float(np.ptp(way.turns)) > LEAST_TURNS for way in turned)
    if not turns_evenly(followed, turned) or not moves:
        raise _wrong(
            path,
            "shows something that moves, but no hub that turns.",
            "Film both hubs from close by and straight on, or point at them with --hub.",
        )


def turns_evenly(
    followed: Sequence[Followed], turned: Sequence[Turned], most_scatter: float = MOST_SCATTER
) -> bool:  # fmt: skip
    """Say whether all frames agree with the hubs, and the ways lead on, or stand, without jumping.

    Arguments:
        followed: both hubs' angles.
        turned: the same, unwrapped.
        most_scatter: of angles about their course, over the step from tooth to like tooth.
    """
    return all(
        float(np.median(frames.fits.max(axis=1))) > LEAST_FITS
        and _onward(way) > LEAST_ONWARD
        and _scatter(way, frames.symmetry) < most_scatter
        for frames, way in zip(followed, turned, strict=True)
    )


def _onward(way: Turned) -> float:
    """Give which share of its way, second by second, leads on and not back again; 1 where it stands."""
    walked = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(way.turns)))])
    marks = np.searchsorted(way.times_s, np.arange(way.times_s[0], way.times_s[-1], 1.0))
    marks = np.append(marks, len(way.times_s) - 1)
    each, net = np.diff(walked[marks]), np.abs(np.diff(way.turns[marks]))
    moving = each > 0.05
    return float(net[moving].sum() / each[moving].sum()) if moving.any() else 1.0


def _scatter(way: Turned, symmetry: int) -> float:
    """Give how far the angles scatter about their course, over the step from one tooth to the next that is like it."""
    course = rate_course(way)
    left = np.abs(way.turns - np.interp(way.times_s, course.times_s, course.turns))
    inside = (way.times_s >= course.times_s[0]) & (way.times_s <= course.times_s[-1])
    return float(1.4826 * np.median(left[inside]) * symmetry) if inside.any() else 0.0


def told_of(hubs: Sequence[HubSeen], turned: Sequence[Turned], tick_s: float, takes_up: str) -> ReelsSeen:
    """Say all that the ways of the hubs tell.

    Arguments:
        hubs: where they are.
        turned: their ways, unwrapped.
        tick_s: the step of the film's time stamps.
        takes_up: "left" or "right" where it is known which hub takes up.
    """
    courses = tuple(rate_course(one) for one in turned)
    times = turned[0].times_s
    duration = float(times[-1] - times[0])
    frame_rate = float((len(times) - 1) / duration)
    unsure = next((one for one in turned if one.lead < OPEN), None)
    tape = tape_seen(courses, takes_up, "" if unsure is None else why_open(unsure))
    events = reel_events(courses, tape.takes_up, tape.speed_m_per_s.value)
    if unsure is not None:
        # Where a rate is open, what is a shortfall is open too.
        events = tuple(one for one in events if one.kind in ("starts", "stops"))
    short = _mostly_short(courses, events)
    if short:
        tape = tape_seen(courses, takes_up, short)
    means: dict[str, Reading] = {
        way.name: mean_rate(way, course, tick_s) for way, course in zip(turned, courses, strict=True)
    }
    return ReelsSeen(
        duration_s=duration,
        frame_rate_hz=frame_rate,
        hubs=tuple(hubs),
        rates=tuple(course.as_rate() for course in courses),
        mean_rate_hz=means,
        tape_speed_m_per_s=tape.speed_m_per_s,
        pack_radius_m=tape.radius_m,
        tape_thickness_m=tape.thickness_m,
        position=tape.position,
        wind_time_s=_wind_time(courses, tape, events),
        events=events,
        aliasing=said_of_aliases(turned, frame_rate),
        cannot_say=_cannot_say(courses, turned, tape),
    )


def _mostly_short(courses: Sequence[RateCourse], events: Sequence[ReelEvent]) -> str:
    """Say why both hubs tell nothing of the tape, where one falls short alone for much of the film; else ""."""
    for course in courses:
        own = [one for one in events if one.name == course.name and one.kind in ("slips", "lags")]
        times = course.times_s[np.abs(course.rate_hz) > TURNS_HZ]
        within = [(times >= one.start_s) & (times <= one.end_s) for one in own]
        share = float(np.mean(np.any(within, axis=0))) if own and len(times) else 0.0
        if share > MOST_SHORT:
            return (
                f"The {course.name} hub falls short alone for {100.0 * share:.0f} % of the film, and nothing says that "
                "it winds all it should in between."
            )
    return ""


def _wind_time(courses: Sequence[RateCourse], tape: TapeSeen, events: Sequence[ReelEvent]) -> Reading:
    """Give the time of a wind from end to end, where its start and its stop were filmed."""
    speed = tape.speed_m_per_s.value
    if speed is None or speed < WIND_M_PER_S:
        return Reading(None, "s", why_not="The film shows no fast wind of both hubs.")
    starts = [event.start_s for event in events if event.kind == "starts"]
    stops = [event.start_s for event in events if event.kind == "stops"]
    if len(starts) < 1 or len(stops) < 1:
        return Reading(None, "s", why_not="The film does not show the wind from its start to its stop.")
    begin, end = min(starts), max(stops)
    seconds = end - begin
    ramp = min(0.2 * seconds, 2.0)
    ends = [position_by_rates(courses, tape.takes_up, at, 0.3 * ramp + 0.1) for at in (begin + ramp, end - ramp)]
    if ends[0] is None or ends[1] is None or ends[1] - ends[0] < LEAST_SHARE_WOUND:
        return Reading(None, "s", why_not="Too little of the tape was wound for the whole to be told from it.")
    wound = ends[1] - ends[0]
    turns = _turns_for(ends[1]) - _turns_for(ends[0])
    # The ramps wind too: what is between them is the same share of the time, about.
    longer = seconds / max(seconds - 2.0 * ramp, 1e-6)
    share, of_turns = min(wound * longer, 1.0), min(turns * longer, 1.0)
    whole = seconds / of_turns
    return Reading(
        float(whole),
        "s",
        float(np.hypot(0.2, (0.02 if share > 0.95 else 0.08) * whole)),
        method="from start to stop, by the share of the turns that was made",
        conditions=f"{100.0 * share:.0f} % of the tape was wound in {seconds:.1f} s",
    )


def _turns_for(position: float) -> float:
    """Give the share of a wind's turns that the taking hub has made at a position: its radius grows evenly with them.

    It is this hub that is driven, so that time goes with its turns, and not with the tape it takes.

    >>> round(_turns_for(0.5), 2)
    0.59
    """
    hub = HUB_RADIUS_M.value
    return float((np.sqrt(hub**2 + position * (FULL_M**2 - hub**2)) - hub) / (FULL_M - hub))


def _cannot_say(courses: Sequence[RateCourse], turned: Sequence[Turned], tape: TapeSeen) -> tuple[str, ...]:
    said = []
    if len(courses) < 2:
        said.append(
            "Only one hub was found: nothing is said of the tape, the packs or a loop. Point at both with --hub."
        )
    elif not tape.takes_up:
        said.append("It cannot be told which hub takes up, so nothing is said of a loop.")
    if tape.other_way:
        said.append(f"{OTHER_WAY}: the pack on the {tape.takes_up} hub grows, though the other one should take up.")
    if any(way.lead < OPEN for way in turned):
        said.append(
            "What the reels did between start and stop: their rates are open, and so is what falls short of them."
        )
    unsure = [way for way in turned if way.lead < DECIDED]
    said += [f"Whether the {way.name} hub turns at the rate given or one {way.step_hz:.2f} Hz off." for way in unsure]
    said.append("A steady slip of a reel that was there from the first frame to the last: only changes show.")
    said.append("How fast the tape runs to better than a few per cent: the size of the packs is taken from the norm.")
    return tuple(said)


__all__ = ["OTHER_WAY", "told_of", "turns_evenly", "watch_reels"]
