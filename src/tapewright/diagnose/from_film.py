"""From a film of the hubs to evidence: readings and signs of the machine, each with a sentence that says why.

How sure each is comes from the film: the events' own sureness, and for what did not happen how small a shortfall would
have shown. What a film of one mode cannot tell is left out, not denied.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np

from tapewright.diagnose.measured import asked
from tapewright.diagnose.network import network
from tapewright.diagnose.still_by_film import going, never_turns, stood
from tapewright.diagnose.stops_by_film import of_brakes
from tapewright.diagnose.winds_by_film import (
    AT_THE_END_S,
    FALTERS_PER_S,
    LEAST_WHOLE,
    RAMP_S,
    may_be_another,
    sure_of,
    weak_over_strong,
    wind_seen,
)
from tapewright.machine.parts import SPOKEN_MODES, Machine, spoken
from tapewright.machine.rates import tape_speed
from tapewright.measure.film_watching import OTHER_WAY
from tapewright.words.evidence import Evidence, Observation
from tapewright.words.mechanism_heard import EvidenceHeard
from tapewright.words.problem import InputAtFaultError, Problem, nearest
from tapewright.words.reading import Reading
from tapewright.words.reels_seen import HubName, ReelEvent, ReelsSeen

FALTERS: Final = ("slips", "hesitates", "lags", "stands")
WEAK: Final = ("slips", "hesitates", "stands")
"""What makes a wind a weak one. Tape given and not yet wound does not: fast hubs look alike at several rates."""
RACES: Final = 2.5
"""So many times the right speed is no play: fast winding starts at about five; own choice, common practice."""
LEAST_S: Final = 3.0
"""A shorter film denies nothing."""
LEAST_SHARE: Final = 0.1
"""A wind that falls short by less is no weak one."""
LEAST_WATCHED_S: Final = 1.0
"""A wind must have been seen for so long since it came up to be called strong; own choice."""
DOUBTFUL_FALTER: Final = 0.6
"""How sure a falter is at a rate that may be another: four of five such winds were weak, of 66 simulated minutes."""
MOST_SURE: Final = 0.92
"""Of steps of simulated minutes, few enough were watched that no finding is held to be surer."""
BY_KEY_S: Final = 0.3
"""What stops so shortly before the key that ends the mode, or after it, is stopped by that key; a hand's doubt."""
STOP_DOUBT_S: Final = 0.5
"""Doubt of when a machine gave up: reels take a moment to start and to stop, a hand to press; own choice."""
STOOD: Final = 0.8
"""Share of the film for which a hub must stand to be said not to turn at all."""
CLOCKWISE: Final = ("rewind", "review", "reverse_play")
"""Modes in which the hubs turn clockwise, seen from the front of the cassette; in all others anticlockwise."""
Said = tuple[str, Reading | Observation, str]


def sides(machine: Machine, mode: str) -> dict[str, HubName]:
    """Give on which side of the film each reel of a mode is: takes up and gives, as reels' names.

    The cassette is taken to be seen from the front with its opening down, where play winds to the right; a description
    that says where the reels stand says it better.

    Arguments:
        machine: as described.
        mode: one in which tape is taken up.

    >>> from tapewright.machine.library import shipped
    >>> sides(shipped("four_track"), "play")["takeup_reel"]
    'right'
    """
    entered = machine.modes[mode]
    play = machine.modes.get("play", entered)
    taker, giver = play.takes_up, play.gives
    places = [machine.rotors[reel].position_m if reel in machine.rotors else None for reel in (taker, giver)]
    right: HubName = "right"
    if places[0] is not None and places[1] is not None and abs(places[0][0] - places[1][0]) > 5e-3:
        right = "right" if places[0][0] > places[1][0] else "left"
    left: HubName = "left" if right == "right" else "right"
    return {name: side for name, side in ((taker, right), (giver, left)) if name}


def mirrored(seen: ReelsSeen, mode: str) -> bool:
    """Say whether both hubs turn the other way round than in this mode: then the film shows a mirror of the cassette.

    Which hub takes up goes with the way round: seen with the opening down, the right one where they turn anticlockwise
    (from memory). A mirrored film changes both, one taken upside down the side alone.

    Arguments:
        seen: what the film told.
        mode: the mode that was filmed.
    """
    rates = [one.value for one in seen.mean_rate_hz.values() if one.value]
    way = -1.0 if mode in CLOCKWISE else 1.0
    return len(rates) == 2 and all(way * rate < 0.0 for rate in rates)


def evidence_of_film(machine: Machine, seen: ReelsSeen, mode: str) -> EvidenceHeard:
    """Say what a film of the hubs tells of a machine.

    Arguments:
        machine: as described.
        seen: what the film told.
        mode: the mode that was filmed.

    Raises:
        InputAtFaultError: the machine has no such mode, or moves no tape in it.
    """
    check_mode(machine, mode)
    net = network(machine)
    said: dict[str, tuple[Reading | Observation, str]] = {}
    for name, what, why in _all(machine, seen, mode):
        if isinstance(what, Observation):
            known = name in net.signs and net.signs[name].node in net.words
        else:
            known = what.value is not None and not isinstance(asked(machine, name), Problem)
        if known:
            said.setdefault(name, (what, why))
    signs = tuple(what for what, _ in said.values() if isinstance(what, Observation))
    readings = {name: what for name, (what, _) in said.items() if isinstance(what, Reading)}
    return EvidenceHeard(Evidence(signs, readings), tuple((name, why) for name, (_, why) in said.items()))


def check_mode(machine: Machine, mode: str) -> None:
    """Refuse a mode that moves no tape.

    Arguments:
        machine: as described.
        mode: its name.

    Raises:
        InputAtFaultError: with the modes that do.
    """
    moving = [name for name, one in machine.modes.items() if one.takes_up]
    if mode not in moving:
        raise InputAtFaultError(Problem("--mode", f"{mode!r} moves no tape here.", nearest(mode, moving)))


def _all(machine: Machine, seen: ReelsSeen, mode: str) -> Iterator[Said]:
    where = sides(machine, mode)
    if mirrored(seen, mode):
        where = {reel: "left" if side == "right" else "right" for reel, side in where.items()}
    if any(text.startswith(OTHER_WAY) for text in seen.cannot_say):
        # Which reel is which is open then: only what both hubs tell together is said.
        yield from _tape(machine, seen, mode)
        return
    entered = machine.modes[mode]
    taker, giver = where.get(entered.takes_up or ""), where.get(entered.gives or "")
    yield from _rates(machine, seen, mode, where)
    yield from _tape(machine, seen, mode)
    yield from _stopping(seen, mode)
    if entered.at_capstan:
        yield from _taking_up(machine, seen, mode, taker, giver)
    else:
        yield from _winding(machine, seen, mode, taker)
        yield from of_brakes(machine, seen, mode, taker, giver)


def _rates(machine: Machine, seen: ReelsSeen, mode: str, where: dict[str, HubName]) -> Iterator[Said]:
    when, entered = SPOKEN_MODES[mode], machine.modes[mode]
    for reel, side in where.items():
        reading = seen.mean_rate_hz.get(side)
        if reading is None or reading.value is None or not reading.value:
            continue
        if not entered.at_capstan and not _drives(machine, seen, mode, reel, side):
            continue
        if entered.at_capstan and _short_of(seen, side) > LEAST_SHARE:
            continue  # what it takes while it slips says nothing of the tape, nor of the drive
        rate = abs(reading.value)
        how = "film" if entered.at_capstan else "film of a wind"
        value = Reading(rate, "Hz", reading.doubt, method=reading.method, conditions=reading.conditions, by=how)
        why = f"The {spoken(machine, reel)} ({side} in the film) makes {rate:.3f} turns a second {when}."
        yield f"rate_hz:{reel}@{mode}", value, why


def _short_of(seen: ReelsSeen, side: HubName) -> float:
    """Give the share of its turns that a reel alone lost by slipping, lagging or standing."""
    first, last = going(seen)
    lost = [one for one in seen.events if one.name == side and one.kind in ("slips", "lags", "stands")]
    return sum(one.share * (one.end_s - one.start_s) for one in lost) / max(last - first, 1e-9)


def _drives(machine: Machine, seen: ReelsSeen, mode: str, reel: str, side: HubName) -> bool:
    """Say whether a reel's rate in a wind is the drive's: of the reel that takes up, where it goes as it should.

    The reel that gives turns as the packs make it, and what winds by fits has no rate of its own.
    """
    if reel != machine.modes[mode].takes_up:
        return False
    share = wind_seen(machine, seen, mode, side).share
    return share is None or share >= LEAST_WHOLE


def _tape(machine: Machine, seen: ReelsSeen, mode: str) -> Iterator[Said]:
    entered, when = machine.modes[mode], SPOKEN_MODES[mode]
    speed, right = seen.tape_speed_m_per_s, tape_speed(machine, mode)
    stands = [stood(seen, hub.name) for hub in seen.hubs]
    if len(stands) == 2:
        still = min(stands) > STOOD
        sure = min(hub.sure for hub in seen.hubs)
        why = "Neither hub turns." if still else "At least one hub turns."
        yield (
            f"{mode}_{'tape_still' if entered.at_capstan else 'dead'}",
            _noticed(mode, "tape_still" if entered.at_capstan else "dead", still, sure),
            why,
        )
    if not entered.at_capstan:
        # A wind filmed from end to end says it best.
        yield f"wind_time_s@{mode}", seen.wind_time_s, f"The film shows the whole {when}."
        return
    if speed.value is None or right is None or not right.value:
        return
    ratio, share = speed.value / right.value, (speed.doubt or 0.0) / right.value
    why = f"Both hubs' rates tell {100.0 * speed.value:.2f} cm/s {when}, {100.0 * ratio:.0f} % of what it should be."
    races = ratio > RACES
    yield f"{mode}_tape_races", _noticed(mode, "tape_races", races, _sure(seen)), why
    if not races and mode == "play":
        yield (
            "speed_error_pct",
            Reading(
                100.0 * (ratio - 1.0),
                "%",
                100.0 * share,
                method=speed.method,
                conditions=speed.conditions,
                by="film",
            ),
            why,
        )


def _taking_up(
    machine: Machine, seen: ReelsSeen, mode: str, taker: HubName | None, giver: HubName | None
) -> Iterator[Said]:
    reel = machine.modes[mode].takes_up or ""
    if taker is None or taker not in seen.mean_rate_hz:
        return
    called, when = spoken(machine, reel), SPOKEN_MODES[mode]
    others = giver is not None and giver in seen.mean_rate_hz and stood(seen, giver) < STOOD
    share = stood(seen, taker)
    # Where no tape is given, a reel that could turn stands too.
    if (share > STOOD and others) or share < 1.0 - STOOD:
        stands = share > STOOD
        why = f"The {called} ({taker} in the film) {'stands' if stands else 'turns'} {when}"
        why += " while the other hub gives tape." if stands else "."
        yield f"{mode}_{reel}_stands", _noticed(mode, f"{reel}_stands", stands, min(hub.sure for hub in seen.hubs)), why
    own = [event for event in seen.events if event.name == taker and event.kind in FALTERS]
    if share < STOOD:
        yield from _one_sign(seen, mode, f"{reel}_falters", own, f"The {called} {{}} {when}.", "turns evenly")
    loops = [event for event in own if event.kind == "lags"]
    if others:
        if share > STOOD:
            why = f"The {called} stands while the other hub gives tape: it has to go somewhere."
            yield f"{mode}_loop", _noticed(mode, "loop", True, 0.8 * _sure(seen)), why
        elif loops or any("which hub takes up" in text for text in seen.cannot_say) is False:
            yield from _one_sign(seen, mode, "loop", loops, f"The {called} {{}} {when}.", "winds all that is given")


def _winding(machine: Machine, seen: ReelsSeen, mode: str, taker: HubName | None) -> Iterator[Said]:
    """Say whether a wind is weak: by what happens in it, else by how fast the reel that takes up turns."""
    if not any(stood(seen, hub.name) < STOOD for hub in seen.hubs):
        return
    own = [event for event in seen.events if event.kind in WEAK and _while_it_winds(seen, event)]
    when = SPOKEN_MODES[mode]
    filmed = wind_seen(machine, seen, mode, taker or "")
    share = "" if filmed.share is None else f" at {100.0 * filmed.share:.0f} % of what it should"
    yield (
        f"wind_time_s@{mode}",
        filmed.time,
        f"The hub that takes up turns{share} {when}: so long the whole would take.",
    )
    ratio, hubs = weak_over_strong(filmed), min(hub.sure for hub in seen.hubs)
    if own:
        # Of a rate that is far off, and another that looks the same is not, the falters are less sure as well.
        most = max(sure_of(ratio), DOUBTFUL_FALTER) if may_be_another(filmed) else 1.0
        for name, sign, why in _one_sign(seen, mode, "weak", own, f"A hub {{}} {when}.", ""):
            yield name, replace(sign, sure=min(sign.sure, most)) if isinstance(sign, Observation) else sign, why
    elif ratio > 1.0:
        why = f"The hub that takes up turns{share} {when}."
        yield f"{mode}_weak", _noticed(mode, "weak", True, sure_of(ratio) * hubs), why
    elif filmed.watched_s >= LEAST_WATCHED_S:
        why = f"Both hubs go on evenly {when}{';' + share if share else ', and how fast is open'}."
        yield f"{mode}_weak", _noticed(mode, "weak", False, -sure_of(ratio) * hubs), why


def _while_it_winds(seen: ReelsSeen, event: ReelEvent) -> bool:
    """Tell whether something happens while a wind runs: not as it comes up or the film ends, and not in passing."""
    stops = [one.start_s for one in seen.events if one.kind == "stops"]
    end_s = min([seen.runs_until_s, *stops]) - AT_THE_END_S
    return event.start_s >= RAMP_S and event.start_s < end_s and event.share >= LEAST_SHARE


def _one_sign(
    seen: ReelsSeen, mode: str, name: str, events: list[ReelEvent], says: str, otherwise: str
) -> Iterator[Said]:
    """Give a sign that events show, or that their absence in a film long enough denies."""
    first, last = going(seen)
    if events:
        most = max(events, key=lambda event: event.share * event.sure)
        does = {"slips": "falls short alone", "hesitates": "hesitates", "lags": "winds less than is given"}
        text = (
            f"{does.get(most.kind, 'stands')} by {100.0 * most.share:.0f} % from {most.start_s:.1f} s to "
            f"{most.end_s:.1f} s"
        )
        yield f"{mode}_{name}", _noticed(mode, name, True, most.sure), says.format(text)
    elif last - first >= LEAST_S:
        # What falters at times may not do so while it is watched.
        unseen = float(np.exp(-FALTERS_PER_S * max(last - first - RAMP_S - AT_THE_END_S, 0.0)))
        yield f"{mode}_{name}", _noticed(mode, name, False, -sure_of(unseen) * _sure(seen)), says.format(otherwise)


def _stopping(seen: ReelsSeen, mode: str) -> Iterator[Said]:
    """Say when the machine gave up: from then on both hubs stand and the film goes on; one may have stood all along."""
    stops = {event.name: event for event in seen.events if event.kind == "stops"}
    starts = [event.start_s for event in seen.events if event.kind == "starts"]
    still = [hub.name for hub in seen.hubs if hub.name not in stops and never_turns(seen, hub.name)]
    if len(seen.hubs) < 2 or not stops or len(stops) + len(still) < len(seen.hubs):
        return
    at_s = max(event.start_s for event in stops.values())
    if seen.stopped_s is not None and at_s > seen.stopped_s - BY_KEY_S:
        return
    begins = "Both hubs stop" if not still else f"The {next(iter(stops))} hub stops as well"
    why = f"{begins} at {at_s:.1f} s {SPOKEN_MODES[mode]} and stand{'s' if still else ''} from there on."
    sure = min(event.sure for event in stops.values())
    yield f"{mode}_stops", _noticed(mode, "stops", True, sure), why
    # A step of a minute begins with its key; in any other film the reels' start stands for it.
    key_s = 0.0 if seen.stopped_s is not None else min(starts, default=at_s)
    if key_s < at_s:
        how = "film of the hubs, from the key" if seen.stopped_s is not None else "film of the hubs, from their start"
        yield f"seconds_to_stop@{mode}", Reading(at_s - key_s, "s", STOP_DOUBT_S, method=how, by="film"), why


def _noticed(mode: str, name: str, present: bool, sure: float) -> Observation:
    return Observation(f"{mode}_{name}", present, float(np.clip(sure, 0.05, MOST_SURE)))


def _sure(seen: ReelsSeen) -> float:
    """Give how sure the film is of what it saw: of the hubs, and of rates to a few per cent."""
    hubs = min((hub.sure for hub in seen.hubs), default=0.0)
    sizes = [np.median(one.doubt_hz) / max(float(np.median(np.abs(one.rates_hz))), 0.2) for one in seen.rates]
    fine = float(np.clip(1.0 - max(sizes, default=1.0) / 0.1, 0.2, 1.0))
    return float(hubs * fine)


__all__ = ["CLOCKWISE", "check_mode", "evidence_of_film", "mirrored", "sides"]
