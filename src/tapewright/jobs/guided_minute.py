"""What one guided minute can reveal of a machine: worked out from what its faults do, with a perfect ear and eye.

The ear is a telephone beside the machine, the eye its camera over the cassette well; the machine goes through the steps
of `machine.minute`. Which functions of a machine ear and eye get at is said here once, for all machines. What a fault
then changes is read off the graph of the machine's functions and off what a stopwatch would read; no fault is named.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from tapewright.diagnose.expectation import Expected
from tapewright.diagnose.expected import expected
from tapewright.diagnose.likelihoods import SURE_OF
from tapewright.diagnose.measured import asked
from tapewright.faults.applied import Fault, applied
from tapewright.faults.catalogue import possible_faults
from tapewright.faults.consequences import outcome
from tapewright.faults.mechanism import mechanism
from tapewright.faults.signs import Sign, signs
from tapewright.machine.minute import minute_steps
from tapewright.machine.parts import Machine, shaft, sound
from tapewright.words.problem import Problem

EAR: Final[Mapping[str, tuple[str, ...]]] = {
    # That a motor is heard at all is a chance of its own (`motor_runs_sure`), and says it once.
    "sounds": ("races", "labours"),
    "cut": ("starts_and_stops",),
    "runs_on": ("goes_on",),
    "pulls": ("no_click",),
    "rubs": ("squeals",),
    "squeal": ("squeak",),
    "noise": ("noise",),
    "stops": ("stops",),
    "reported": ("falls_back",),
    # The clunk of the head base is heard or not, and when; how far it came is not.
    "head_base": ("stays_down", "rises_late", "does_not_drop"),
}
"""Stem of a function -> the signs of it that a sound can give: motors, solenoids, rubbing, the head base, stopping."""
EYE: Final[Mapping[str, tuple[str, ...]]] = {
    "turns": ("falters", "stands"),
    "tape": ("tape_races", "tape_still", "weak", "dead"),
    "loop": ("loop",),
    "overruns": ("overruns",),
    "coasts": ("coasts",),
    "tray": ("stays_out", "stops_short", "goes_late"),
    "returns": ("returns",),
    "lid": ("stays_in", "comes_part_way", "comes_late"),
}
"""The same for a film of the cassette well: what reels and tray do, and tape that piles up between them."""
FILM_SPEED_PCT: Final = 4.0
"""Doubt of a tape speed from the turns of both reels: a cassette's hub and full pack are known to about 4 %; from
memory."""
RATE_PCT: Final = 0.5
"""Doubt of a motor's rate heard, and of a reel's seen over some seconds."""
TIMED_S: Final = 0.3
"""Doubt of a time taken from sound or film, with the marks of a hand."""
TELLS: Final = 0.4
"""A yes or no tells two machines apart when its chance differs by so much."""
BEYOND: Final = 1.96
"""A reading tells them apart beyond so many standard deviations of machines alike."""


REPORTED: Final[Mapping[str, tuple[str, ...]]] = {
    "sound": (
        "motor_runs_sure", "rate_hz", "run_on_s", "head_base_rise_s", "seconds_to_stop", "stops", "falls_back",
        "goes_on", "races", "labours", "squeals", "squeak", "noise",
    ),
    "film": (
        "rate_hz", "speed_error_pct", "wind_time_s", "falters", "stands", "tape_races", "tape_still", "weak", "dead",
        "loop", "coasts", "overruns",
        # Nobody films the tray: how long its motor is heard to run says these.
        "stays_out", "stays_in", "goes_late", "comes_late",
    ),
}  # fmt: skip
"""What `diagnose.from_sound` and `diagnose.from_film` report of it so far: stems of readings, ends of signs."""


@dataclass(frozen=True, slots=True)
class Impression:
    """One thing that the minute gives of a machine.

    Arguments:
        name: the id of a sign, or the name of a reading.
        sense: "sound" or "film".
        mode: the step it is had in.
        node: the function it is about; "" for a reading that hangs on several.
        sign: the sign; None for a reading.
        reading: how the reading hangs on the machine; None for a sign and for a reading that is a chance.
        doubt: of the reading, in its unit; a share of the value where `relative`.
        relative: see there.
    """

    name: str
    sense: str
    mode: str
    node: str = ""
    sign: Sign | None = None
    reading: Expected | None = None
    doubt: float = 0.0
    relative: bool = False


def impressions(machine: Machine) -> tuple[Impression, ...]:
    """List all that a guided minute gives of a machine, in the order of its steps, sound before film.

    >>> from tapewright.machine.library import shipped
    >>> "motor_runs_sure:cam_motor@play" in {one.name for one in impressions(shipped("four_track"))}
    True
    """
    ideal = sound(machine)
    modes = list(dict.fromkeys(step.mode for step in minute_steps(ideal) if step.mode != "off"))
    found = [*_signs(ideal, modes), *_chances(ideal, modes), *_readings(ideal, modes)]
    return tuple(sorted(found, key=lambda one: (modes.index(one.mode), one.sense != "sound")))


def is_reported(one: Impression) -> bool:
    """Tell whether the detectors that this version has report an impression."""
    stem = one.name.partition("@")[0].partition(":")[0]
    return any(stem == name or one.name.endswith(f"_{name}") for name in REPORTED[one.sense])


def _signs(machine: Machine, modes: list[str]) -> Iterator[Impression]:
    """Give the machine's own signs that ear or eye can get in a minute."""
    for sign in signs(mechanism(machine)):
        stem = sign.node.partition("@")[0].partition(":")[0]
        for sense, gets in (("sound", EAR), ("film", EYE)):
            own = any(sign.id.endswith(f"_{one}") for one in gets.get(stem, ()))
            if own and sign.mode in modes and not _hidden(machine, sign):
                yield Impression(sign.id, sense, sign.mode, sign.node, sign=sign)


def _hidden(machine: Machine, sign: Sign) -> bool:
    """Tell whether a film cannot show what a sign is about: only reels are seen through the window."""
    about_turning = sign.node.startswith("turns:")
    return about_turning and (sign.part not in machine.rotors or machine.rotors[sign.part].kind != "reel_table")


def _chances(machine: Machine, modes: list[str]) -> Iterator[Impression]:
    """Give which motors run in which step, powered there or not."""
    nodes = {node.name for node in mechanism(machine).nodes}
    for mode in modes:
        for motor in (one.name for one in machine.rotors.values() if one.kind == "motor"):
            node = f"turns:{shaft(machine, motor)}@{mode}"
            if node in nodes:
                yield Impression(f"motor_runs_sure:{motor}@{mode}", "sound", mode, node)


def _readings(machine: Machine, modes: list[str]) -> Iterator[Impression]:
    """Give what ear and eye can measure: rates, times, the tape's speed."""
    for name, sense, mode, doubt, relative in _names(machine, modes):
        what = asked(machine, name)
        hangs_on = None if isinstance(what, Problem) else expected(machine, what)
        if hangs_on is not None:
            yield Impression(name, sense, mode, reading=hangs_on, doubt=doubt, relative=relative)


def _names(machine: Machine, modes: list[str]) -> Iterator[tuple[str, str, str, float, bool]]:
    share = RATE_PCT / 100.0
    for mode in modes:
        entered = machine.modes[mode]
        for motor in entered.motors:
            yield f"rate_hz:{motor}@{mode}", "sound", mode, share, True
        yield f"seconds_to_stop@{mode}", "sound", mode, TIMED_S, False
        for reel in (one for one in (entered.takes_up, entered.gives) if one):
            yield f"rate_hz:{reel}@{mode}", "film", mode, share, True
        if entered.takes_up and not entered.at_capstan:
            yield f"wind_time_s@{mode}", "film", mode, 0.05, True
    if "play" in modes:
        yield "head_base_rise_s", "sound", "play", TIMED_S, False
        yield "speed_error_pct", "film", "play", FILM_SPEED_PCT, False
        for motor in machine.modes["play"].motors:
            yield f"run_on_s:{motor}", "sound", "play", TIMED_S, False


# --- what a machine gives ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Given:
    """What a perfect ear and eye get of one impression on one machine.

    Arguments:
        chance: of a yes, where it is a yes or no.
        value: of a reading; nan where there is none to take.
    """

    chance: float = 0.0
    value: float = math.nan


def given(machine: Machine, wanted: tuple[Impression, ...]) -> tuple[Given, ...]:
    """Say what the minute gives of a machine as it is.

    Arguments:
        machine: imperfections included.
        wanted: from `impressions` of the same description.
    """
    words = outcome(machine).values
    return tuple(_given(machine, one, words) for one in wanted)


def _given(machine: Machine, one: Impression, words: Mapping[str, str]) -> Given:
    if one.reading is not None:
        return Given(value=_reading_of(machine, one.reading, words))
    if one.sign is not None:
        return Given(chance=share_of(one.sign, words[one.node]))
    return Given(chance=SURE_OF["motor_runs_sure"][1].get(words[one.node], 0.0))


def share_of(sign: Sign, word: str) -> float:
    """Give how often a perfect ear or eye gets a sign, by the word of its function: its mistakes taken out."""
    most = max(sign.notice.values())
    scale = max(most - sign.false_rate, 1e-9)
    return min(1.0, max(0.0, (sign.chance(word) - sign.false_rate) / scale))


def _reading_of(machine: Machine, reading: Expected, words: Mapping[str, str]) -> float:
    for (node, word), value in reading.by_word.items():
        if words.get(node) == word:
            return value
    return reading.value(machine)


def differs(one: Impression, this: Given, other: Given) -> bool:
    """Tell whether an impression tells two machines apart."""
    if one.reading is None:
        return abs(this.chance - other.chance) >= TELLS
    if math.isnan(this.value) or math.isnan(other.value):
        return math.isnan(this.value) != math.isnan(other.value)
    return abs(_scaled(one.reading, this.value) - _scaled(one.reading, other.value)) > BEYOND * _spread(
        one, other.value
    )


def _scaled(reading: Expected, value: float) -> float:
    return value if reading.composed == "sum" else math.log(max(value, 1e-3))


def _spread(one: Impression, value: float) -> float:
    """Give the standard deviation between machines alike, the measuring itself included, on the reading's scale."""
    assert one.reading is not None
    measured = one.doubt / BEYOND
    if one.reading.composed != "sum" and not one.relative:
        measured /= max(abs(value), 1e-3)
    return math.hypot(one.reading.spread, measured)


# --- what that reveals ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Revealed:
    """One fault in one degree, and what the minute shows of it.

    Arguments:
        fault: part, kind, degree.
        base_rate: of this degree.
        shows: names of the impressions that differ from a sound machine's, as they are then: "+name" for there, higher
            or later, "-name" for not there, lower or earlier; empty where it shows nothing.
        elsewhere: names of the signs it shows to a person that no guided minute gives.
        alike: parts whose faults show exactly the same.
    """

    fault: Fault
    base_rate: float
    shows: tuple[str, ...]
    elsewhere: tuple[str, ...]
    alike: tuple[str, ...] = ()

    @property
    def told_apart(self) -> bool:
        """Say whether it shows, and no other part's fault looks and sounds just like it."""
        return bool(self.shows) and not self.alike


def what_it_reveals(machine: Machine) -> tuple[Revealed, ...]:
    """Say of every single fault of a machine, in every degree, what a guided minute shows of it.

    Arguments:
        machine: as described; what is wrong with it already plays no role.

    >>> from tapewright.machine.library import shipped
    >>> found = what_it_reveals(shipped("four_track"))
    >>> dead = next(one for one in found if one.fault == Fault("cam_motor", "dead", 1.0))
    >>> "-motor_runs_sure:cam_motor@switch_on" in dead.shows
    True
    """
    ideal = sound(machine)
    wanted = impressions(ideal)
    at_rest = given(ideal, wanted)
    known = signs(mechanism(ideal))
    usual = _shown(ideal, known)
    found = []
    for possible in possible_faults(ideal):
        for severity in possible.fault.severities:
            worn = applied(ideal, [Fault(possible.part, possible.fault.kind, severity)])
            now = given(worn, wanted)
            changed = [_said(o, a, b) for o, a, b in zip(wanted, now, at_rest, strict=True) if differs(o, a, b)]
            beyond = _shown(worn, known) - usual - {one.name for one in wanted}
            fault = Fault(possible.part, possible.fault.kind, severity)
            rate = possible.base_rate / len(possible.fault.severities)
            found.append(Revealed(fault, rate, tuple(changed), tuple(sorted(beyond))))
    return _grouped(found)


def _shown(machine: Machine, known: tuple[Sign, ...]) -> set[str]:
    """Name the signs that a machine shows to a person who looks for everything."""
    values = outcome(machine).values
    return {sign.id for sign in known if sign.chance(values[sign.node]) >= TELLS}


def _said(one: Impression, now: Given, at_rest: Given) -> str:
    if one.reading is None:
        return f"{'+' if now.chance > at_rest.chance else '-'}{one.name}"
    more = math.isnan(at_rest.value) or now.value > at_rest.value
    return f"{'+' if more else '-'}{one.name}"


def _grouped(found: list[Revealed]) -> tuple[Revealed, ...]:
    by_look: dict[tuple[str, ...], list[str]] = {}
    for one in found:
        by_look.setdefault(one.shows, []).append(one.fault.part)
    return tuple(
        Revealed(one.fault, one.base_rate, one.shows, one.elsewhere, _others(by_look[one.shows], one.fault.part))
        if one.shows else one
        for one in found
    )  # fmt: skip


def _others(parts: list[str], own: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for name in parts if name != own))
