"""How a machine is set up: the adjustments it has, in the order that follows from what each of them disturbs."""

import heapq
import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from tapewright.faults.cautions import cautions
from tapewright.jobs.setting_up_conflicts import conflicts, never
from tapewright.jobs.setting_up_steps import ADJUSTMENTS, NEEDS_REFERENCE, SEAL, TAPES, TOOL, Adjustment
from tapewright.jobs.setting_up_stop import amount_said
from tapewright.jobs.verdicts import OWN_SHEET
from tapewright.machine.parts import Machine, spoken
from tapewright.machine.speeds import speeds_m_per_s
from tapewright.standards.alignment import (
    AZIMUTH_PHASE_AT_HZ,
    AZIMUTH_PHASE_DEG,
    LEVEL_DB,
    REFERENCE_NWB_PER_M,
    SET_SPEED_PCT,
    TAPE_AZIMUTH_RAD,
    WEAVE_RAD,
    angle_of_phase_rad,
)
from tapewright.standards.din_45500 import BALANCE_DB, MIDDLE_SPREAD_DB, SPEED_ERROR_LIMIT_PCT
from tapewright.standards.iec_60094 import TRACK_CENTRES_M
from tapewright.words.problem import InputAtFaultError, Problem, nearest
from tapewright.words.setting_up import SetUpPlan, SetUpStep

ARC_MINUTES: Final = 10800.0 / math.pi
AZIMUTH_TONES_HZ: Final = (400.0, 1250.0, 4000.0, 10000.0)
RESPONSE_TONES_HZ: Final = (315.0, 1000.0, 4000.0, 6300.0, 8000.0, 10000.0, 12500.0)
LEVEL_TONE_HZ: Final = 315.0
SPEED_TONE_HZ: Final = 3150.0
REVERSE: Final = "_reverse"
BETWEEN_TRACKS: Final = ("angle_arcmin", "balance_db")
"""Readings that one track alone does not have: its level is followed instead."""


@dataclass(frozen=True, slots=True)
class _Aim:
    """What a reading should come to, how far off it may be, and where there is nothing more to gain."""

    target: float | None = None
    tolerance: float | None = None
    unit: str = ""
    source: str = ""
    enough: float | None = None
    enough_because: str = ""


def tracks_read(machine: Machine, mode: str = "play") -> tuple[int, ...]:
    """Give which tracks of the tape a machine plays at once, counted from 1 at the deck plate.

    Arguments:
        machine: as described.
        mode: "play" or "reverse_play": the second pair of a stereo machine lies the other way.

    >>> from tapewright.machine.library import shipped
    >>> tracks_read(shipped("four_track")), tracks_read(shipped("auto_reverse_deck"), "reverse_play")
    ((1, 2, 3, 4), (3, 4))
    """
    count = machine.tape.tracks
    if count <= 2:
        first = 3 if mode == "reverse_play" and count == 2 else 1
        return tuple(range(first, first + count))
    return tuple(range(1, count + 1))


def centres_m(tracks: Sequence[int]) -> tuple[float, ...]:
    """Give where tracks lie across the tape, metres from the edge at the deck plate; empty where no document tells.

    >>> centres_m((1, 2))
    (0.0003, 0.0012)
    """
    if not tracks or max(tracks) > len(TRACK_CENTRES_M):
        return ()
    return tuple(TRACK_CENTRES_M[track - 1] for track in tracks)


def in_order(disturbs: Mapping[str, Collection[str]]) -> tuple[str, ...]:
    """Give all names so that each comes before what it disturbs; where that leaves a choice, as they are listed.

    Arguments:
        disturbs: name -> names that it disturbs; names that are not listed themselves are passed over.

    Raises:
        ValueError: where things disturb each other in a ring.

    >>> in_order({"response": (), "azimuth": ("response",), "height": ("azimuth", "response")})
    ('height', 'azimuth', 'response')
    """
    place = {name: at for at, name in enumerate(disturbs)}
    before = {name: sum(name in others for others in disturbs.values()) for name in disturbs}
    ready = [(place[name], name) for name, count in before.items() if not count]
    heapq.heapify(ready)
    found: list[str] = []
    while ready:
        _, name = heapq.heappop(ready)
        found.append(name)
        for other in dict.fromkeys(disturbs[name]):
            if other in before:
                before[other] -= 1
                if not before[other]:
                    heapq.heappush(ready, (place[other], other))
    if len(found) < len(disturbs):
        left = ", ".join(name for name in disturbs if name not in found)
        raise ValueError(f"these disturb each other in a ring: {left}")
    return tuple(found)


def set_up_plan(machine: Machine, has: Collection[str] | None = None) -> SetUpPlan:
    """Work out how a machine is set up.

    Arguments:
        machine: as described.
        has: which kinds of tape are at hand, by the words of `TAPES`; None where nothing was said.

    Raises:
        InputAtFaultError: for a kind of tape that there is not.

    >>> from tapewright.machine.library import shipped
    >>> [step.id for step in set_up_plan(shipped("auto_reverse_deck")).steps][3:6]
    ['speed', 'azimuth', 'azimuth_reverse']
    """
    _known_tapes(has)
    fitted = {id: each for each in _fitting(machine) for id in _ids(machine, each)}
    kinds = {id: each.kind for id, each in fitted.items()}

    def all_of(names: Collection[str], but: str) -> tuple[str, ...]:
        return tuple(id for id, kind in kinds.items() if kind in names and id != but)

    disturbs = {id: all_of(each.disturbs, id) for id, each in fitted.items()}
    order = in_order(disturbs)
    steps = []
    for id in order:
        each = fitted[id]
        moved = (*disturbs[id], *all_of(each.nudges, id), *_beside(id, kinds))
        earlier = order[: order.index(id)]
        step = _step(machine, each, id)
        steps.append(
            replace(
                step,
                after=tuple(other for other in earlier if id in disturbs[other]),
                disturbs=tuple(other for other in order if other in moved),
                look_again=tuple(other for other in earlier if other in moved),
                left_alone=_left_alone(each, has),
            )
        )
    taken = dict.fromkeys(tape for step in steps for tape in step.tapes)
    tapes = tuple((tape, TAPES[tape]) for tape in taken)
    kinds_there = frozenset(kinds.values())
    both = "reverse_play" in machine.modes
    return SetUpPlan(
        machine.id,
        tuple(steps),
        tapes,
        conflicts(machine, len(tracks_read(machine)), both),
        never(kinds_there),
        _notes(machine),
    )


def _known_tapes(has: Collection[str] | None) -> None:
    problems = [Problem("--has", f"is {one!r}.", nearest(one, TAPES)) for one in has or () if one not in TAPES]
    if problems:
        raise InputAtFaultError(problems)


def _fitting(machine: Machine) -> tuple[Adjustment, ...]:
    records = "record" in machine.modes
    return tuple(each for each in ADJUSTMENTS if records or not each.recording)


def _ids(machine: Machine, each: Adjustment) -> tuple[str, ...]:
    """Give one id for each time a machine has an adjustment: speed by speed, azimuth by direction."""
    if each.kind == "azimuth" and "reverse_play" in machine.modes:
        return each.kind, each.kind + REVERSE
    if each.kind == "speed":
        others = machine.tape.other_speeds_m_per_s
        return (each.kind, *(f"speed_{1e3 * one:.0f}" for one in others))
    return (each.kind,)


def _beside(id: str, kinds: Mapping[str, str]) -> tuple[str, ...]:
    """Give its like for another speed or direction: they share a motor or a head."""
    return tuple(other for other, kind in kinds.items() if kind == kinds[id] and other != id)


def _left_alone(each: Adjustment, has: Collection[str] | None) -> str:
    lacking = [tape for tape in each.tapes if has is not None and tape not in has]
    return f"No {lacking[0]} tape is at hand, and it takes one: {TAPES[lacking[0]]}." if lacking else ""


def _step(machine: Machine, each: Adjustment, id: str) -> SetUpStep:
    mode = _mode(machine, each, id)
    speed = _speed(machine, id)
    tracks = tracks_read(machine, mode)
    aim = _aim(machine, each.kind, tracks, speed)
    filled = {
        "motor": _motor(machine),
        "tracks": _tracks_said(tracks),
        "treble": "type I: 120 µs; types II and IV: 70 µs",
        "levels": _levels_said(),
    }
    tool = (TOOL, SEAL) if each.near_heads else (SEAL,) if each.reading else ()
    return SetUpStep(
        id=id,
        kind=each.kind,
        says=each.says + _which(machine, each, id),
        adjusts=each.adjusts.format(**filled),
        where=each.where,
        tapes=each.tapes,
        mode=mode,
        speed_m_per_s=speed,
        tones_hz=_tones(each),
        reading="level_db" if len(tracks) < 2 and each.reading in BETWEEN_TRACKS else each.reading,
        target=aim.target,
        tolerance=aim.tolerance,
        unit=aim.unit,
        source=aim.source,
        enough=aim.enough,
        enough_because=aim.enough_because,
        how=_how(each, tracks).format(**filled),
        cautions=(*cautions(each.hazards), *tool),
        after=(),
        disturbs=(),
        look_again=(),
        stop=_stop(aim, each),
        needs_reference=each.kind in NEEDS_REFERENCE,
    )


def _mode(machine: Machine, each: Adjustment, id: str) -> str:
    if not each.tapes:
        return "off"
    return "record" if each.recording else "reverse_play" if id.endswith(REVERSE) else "play"


def _speed(machine: Machine, id: str) -> float:
    for one in machine.tape.other_speeds_m_per_s:
        if id == f"speed_{1e3 * one:.0f}":
            return one
    return machine.tape.speed_m_per_s


def _which(machine: Machine, each: Adjustment, id: str) -> str:
    if len(_ids(machine, each)) < 2:
        return ""
    if each.kind == "speed":
        return f", {1e2 * _speed(machine, id):.2f} cm/s"
    return ", in reverse" if id.endswith(REVERSE) else ", forward"


def _tones(each: Adjustment) -> tuple[float, ...]:
    return {
        "azimuth": AZIMUTH_TONES_HZ, "response": RESPONSE_TONES_HZ, "record_response": RESPONSE_TONES_HZ,
        "speed": (SPEED_TONE_HZ,), "bias": (LEVEL_TONE_HZ, 6300.0),
    }.get(each.kind, (LEVEL_TONE_HZ,) if each.reading else ())  # fmt: skip


def _motor(machine: Machine) -> str:
    running = machine.modes["play"].motors if "play" in machine.modes else {}
    named = [name for name in running if "capstan" in name] or list(running)
    return spoken(machine, named[0]) if named else "capstan's motor"


def _tracks_said(tracks: Sequence[int]) -> str:
    return f"tracks {tracks[0]} and {tracks[-1]}" if len(tracks) > 1 else "the only track"


def _levels_said() -> str:
    reference = REFERENCE_NWB_PER_M["250"].value
    others = ", ".join(
        f"{20.0 * math.log10(one.value / reference):+.1f} dB for one marked {name}"
        for name, one in REFERENCE_NWB_PER_M.items()
        if name != "250"
    )
    return f"Against a tape of 250 nWb/m that is {others}."


MONO_AZIMUTH: Final = (
    "One track has no delay to read: turn for the loudest treble, coarse tone first, and stop in the middle between "
    "the "
    "two places where the level begins to fall."
)


def _how(each: Adjustment, tracks: Sequence[int]) -> str:
    return MONO_AZIMUTH if each.kind == "azimuth" and len(tracks) < 2 else each.how


def _aim(machine: Machine, kind: str, tracks: Sequence[int], speed_m_per_s: float) -> _Aim:
    if kind == "speed":
        own = machine.limits.get("speed_error_pct")
        limit = SPEED_ERROR_LIMIT_PCT.value if own is None else own
        source = SPEED_ERROR_LIMIT_PCT.source if own is None else OWN_SHEET
        because = f"Asked for by {SET_SPEED_PCT.source}."
        return _Aim(0.0, limit, "%", source, min(SET_SPEED_PCT.value, limit), because)
    if kind == "azimuth" and len(centres_m(tracks)) > 1:
        return _azimuth_aim(centres_m(tracks), speed_m_per_s)
    if kind == "height" and len(tracks) > 1:
        return _Aim(0.0, BALANCE_DB.value, "dB", BALANCE_DB.source)
    if kind in ("level", "record_level"):
        return _Aim(0.0, LEVEL_DB.value, "dB", LEVEL_DB.source)
    if kind in ("response", "record_response"):
        half = MIDDLE_SPREAD_DB.value / 2.0
        return _Aim(0.0, half, "dB", f"half either way of {MIDDLE_SPREAD_DB.value:g} dB: {MIDDLE_SPREAD_DB.source}")
    return _Aim(source="no document with a figure was found")


def _azimuth_aim(where_m: Sequence[float], speed_m_per_s: float) -> _Aim:
    """Take what service practice accepts between the outer tracks, but no finer than the tape is itself."""
    apart_m = where_m[-1] - where_m[0]
    phase, at = AZIMUTH_PHASE_DEG, AZIMUTH_PHASE_AT_HZ
    accepted = angle_of_phase_rad(phase.value, at.value, apart_m, speed_m_per_s) * ARC_MINUTES
    tape, weave = TAPE_AZIMUTH_RAD.value * ARC_MINUTES, WEAVE_RAD.value / 2.0 * ARC_MINUTES
    source = f"{phase.value:g} degrees at {at.value:.0f} Hz over {1e3 * apart_m:.2f} mm: {phase.source}"
    if accepted < tape:
        source = f"no finer than the tape: {TAPE_AZIMUTH_RAD.source}"
    because = (
        f"The tape itself weaves by {weave:.1f}′ either way ({WEAVE_RAD.source}), and a calibration tape may be off by "
        f"{tape:.0f}′."
    )
    return _Aim(0.0, max(accepted, tape), "arcmin", source, min(weave, max(accepted, tape)), because)


def _stop(aim: _Aim, each: Adjustment) -> tuple[str, ...]:
    if not each.reading:
        return ("Stop when it runs true; what runs true is not improved by turning.",)
    if aim.tolerance is None:
        return ("Stop when a turn either way makes it worse.",)
    said = [f"Stop when it is inside {amount_said(aim.tolerance, aim.unit)} by more than its own doubt."]
    if aim.enough is not None:
        said.append(f"Nearer than {amount_said(aim.enough, aim.unit)} there is nothing to gain. {aim.enough_because}")
    said.append("Stop when the last pass gained less than the doubt of the reading.")
    return tuple(said)


def _notes(machine: Machine) -> tuple[str, ...]:
    said = ["After each adjustment, what it moved is looked at once more; two rounds are usual, a third seldom helps."]
    if len(speeds_m_per_s(machine)) > 1:
        said.append("Set the speed that the machine is used at last: on many motors the trimmers move each other.")
    if not centres_m(tracks_read(machine)):
        said.append("No document says where so many tracks lie: delays are read, but no angle.")
    if "record" in machine.modes:
        said.append(
            "Where the machine has a record head of its own, its azimuth is set last of all, by what it records being "
            "played by the replay head that was set before."
        )
    return tuple(said)
