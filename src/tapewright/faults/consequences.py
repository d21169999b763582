"""Run a machine's description with what is wrong with it: what each thing does, what is noticed, which lines grow.

Nothing here knows a fault by name: only the imperfections of parts, the graph of functions and the physics.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final

from tapewright.faults.applied import with_imperfections
from tapewright.faults.conditions import Condition
from tapewright.faults.graph import evaluate
from tapewright.faults.mechanism import Mechanism, mechanism
from tapewright.faults.signs import Sign, signs
from tapewright.machine.parts import TURNING_SENSORS, Imperfections, Machine, Mode, part, shaft, sound

NOTICED_FROM: Final = 0.5
"""A sign is shown when a person who looks reports it more often than not."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What everything does on one machine.

    Arguments:
        values: the word of every condition and every function of the mechanism, by its name in the graph.
    """

    values: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Stop:
    """Something that ends a mode by itself.

    Arguments:
        sensor: what the logic goes by.
        how: "yes", or "at_times".
        after_s: how long it waits; None when the description does not say.
    """

    sensor: str
    how: str
    after_s: float | None


@dataclass(frozen=True, slots=True)
class ModeOutcome:
    """What a machine does in one mode; the words are those of `faults.behaviours`.

    Arguments:
        mode: its name.
        motors: how each motor of the machine turns.
        capstans: how each capstan turns; empty where nothing in this mode tells.
        reels: how each reel table turns; the same.
        head_base: arrives, late, part, stays, at_times; "" where it is not sent anywhere.
        tape: still, at_times, weak, slow, uneven, right, fast, races; "" where no tape moves.
        stopped_by: what ends the mode by itself.
        heard: how each motor sounds that starts in this mode: silent, normal, races, labours, at_times.
        squeals: shafts that squeal: "yes" or "at_times".
        runs_on: motors that go on after they should have stopped: the same.
        harm: what happens to the tape: "loop", "pack" (loose), "oxide", "wrap": the same.
    """

    mode: str
    motors: Mapping[str, str]
    capstans: Mapping[str, str]
    reels: Mapping[str, str]
    head_base: str
    tape: str
    stopped_by: tuple[Stop, ...] = ()
    heard: Mapping[str, str] = field(default_factory=dict)
    squeals: Mapping[str, str] = field(default_factory=dict)
    runs_on: Mapping[str, str] = field(default_factory=dict)
    harm: Mapping[str, str] = field(default_factory=dict)


@lru_cache(maxsize=256)  # a machine with each of its faults is asked many things; nothing of the answer ever changes
def outcome(machine: Machine) -> Outcome:
    """Work out what everything does on a machine as it is, imperfections included.

    >>> from tapewright.faults.applied import Fault, applied
    >>> from tapewright.machine.library import shipped
    >>> outcome(applied(shipped("four_track"), [Fault("capstan_belt", "missing")])).values["tape@play"]
    'races'
    """
    ideal = sound(machine)
    graph = _mechanism_of(ideal)
    given = {c.name: _answer(ideal, c, part(machine, c.part).imperfections) for c in graph.conditions}
    return Outcome(evaluate(graph.nodes, given))


@lru_cache(maxsize=8)
def _mechanism_of(ideal: Machine) -> Mechanism:
    """Give the graph of a machine's functions; what is wrong with it does not matter there."""
    return mechanism(ideal)


@lru_cache(maxsize=16384)  # a condition hangs on its own part alone, and most parts are sound
def _answer(ideal: Machine, condition: Condition, imperfect: Imperfections) -> str:
    return condition.read(with_imperfections(ideal, condition.part, imperfect))


def signs_shown(machine: Machine) -> tuple[Sign, ...]:
    """List the signs that a person who looks would report more often than not, in the order of the modes.

    >>> from tapewright.machine.library import shipped
    >>> "play_tape_right" in {sign.id for sign in signs_shown(shipped("four_track"))}
    True
    """
    values = outcome(machine).values
    return tuple(sign for sign in signs(mechanism(machine)) if sign.chance(values[sign.node]) >= NOTICED_FROM)


# --- mode by mode -----------------------------------------------------------------------------------------------------


def modes_told(machine: Machine) -> Mapping[str, ModeOutcome]:
    """Tell what a machine does in every mode of its description; record does what play does.

    >>> from tapewright.machine.library import shipped
    >>> modes_told(shipped("four_track"))["play"].tape
    'right'
    """
    values = outcome(machine).values
    return {mode.name: _mode_told(machine, mode, values) for mode in machine.modes.values()}


def _mode_told(machine: Machine, mode: Mode, values: Mapping[str, str]) -> ModeOutcome:
    told = mode_asked(machine, mode.name)
    turning = {name: values.get(f"turns:{shaft(machine, name)}@{told}", "") for name in machine.rotors}
    of_kind = {
        kind: {name: turning[name] for name, rotor in machine.rotors.items() if rotor.kind == kind and turning[name]}
        for kind in ("motor", "capstan", "reel_table")
    }
    harm = {what: values.get(f"{what}@{told}", "no") for what in ("loop", "pack", "oxide", "wrap")}
    return ModeOutcome(
        mode=mode.name,
        motors=of_kind["motor"],
        capstans=of_kind["capstan"],
        reels=of_kind["reel_table"],
        head_base=values.get(f"head_base@{told}", ""),
        tape=values.get(f"tape@{told}", ""),
        stopped_by=tuple(_stops(machine, told, values)),
        heard=_about("sounds", told, values),
        squeals=_not_no(_about("rubs", told, values)),
        runs_on=_not_no(_about("runs_on", told, values)),
        harm=_not_no(harm),
    )


def mode_asked(machine: Machine, mode: str) -> str:
    """Name the mode whose functions tell of a mode: record differs from play in its electronics only."""
    return "play" if mode == "record" and "play" in machine.modes else mode


def _about(stem: str, mode: str, values: Mapping[str, str]) -> dict[str, str]:
    head, tail = f"{stem}:", f"@{mode}"
    return {
        name.removeprefix(head).removesuffix(tail): word
        for name, word in values.items()
        if name.startswith(head) and name.endswith(tail)
    }


def _not_no(words: Mapping[str, str]) -> dict[str, str]:
    return {name: word for name, word in words.items() if word != "no"}


def _stops(machine: Machine, mode: str, values: Mapping[str, str]) -> Iterator[Stop]:
    """Name the sensors whose word, or silence, makes the logic give up."""
    reported = {"no": "yes", "at_times": "at_times"}.get(values.get(f"reported@{mode}", "yes"), "no")
    for sensor in machine.sensors.values():
        answer = "no"
        if sensor.kind in TURNING_SENSORS:
            answer = values.get(f"stops:{sensor.name}@{mode}", values.get(f"stops@{mode}", "no"))
        elif sensor.kind == "position_switch":
            answer = reported
        if answer != "no":
            yield Stop(sensor.name, answer, sensor.timeout_s)
