"""Setting a machine up: what is adjusted, in which order, how close is close enough, and what is better left alone."""

from dataclasses import dataclass
from typing import Final

SET: Final = "set"
LEFT_ALONE: Final = "left alone"
LOOK_AGAIN: Final = "look again"
OPEN: Final = "open"


@dataclass(frozen=True, slots=True)
class SetUpStep:
    """One adjustment, in its place in the order.

    Arguments:
        id: short name; a kind, with a direction or a speed where the machine has several.
        kind: "path", "height", "speed", "azimuth", "level", "response", "bias", "record_level" and so on.
        says: what it is called, with the direction or the speed.
        adjusts: what is turned, a sentence.
        where: where that is found, a sentence.
        tapes: what kind of tape it takes, by the words of `TAPES`; the first is what it cannot do without.
        mode: the machine's mode it is done in; "off" with the machine unplugged.
        speed_m_per_s: of the tape.
        tones_hz: that the reading wants, coarse to fine; empty where it needs none.
        reading: which reading is followed live; "" where an eye decides.
        target: what the reading should come to; None where an eye decides.
        tolerance: how far it may be off that, either way; None where no figure could be found.
        unit: of target, tolerance and `enough`.
        source: where the tolerance is from.
        enough: nearer than this there is nothing to gain; None for the reading's own doubt.
        enough_because: why that is so, a sentence.
        how: how it is done and read, a sentence or more.
        cautions: what can hurt, said where the hand is about to go.
        after: what has to stand right first, by id.
        disturbs: what it moves besides, by id.
        look_again: those of them that came before it: to be looked at once more.
        stop: when to stop, sentences.
        needs_reference: whether it must never be turned without a reference tape.
        left_alone: why it is left as it is; "" where it can be done.
    """

    id: str
    kind: str
    says: str
    adjusts: str
    where: str
    tapes: tuple[str, ...]
    mode: str
    speed_m_per_s: float
    tones_hz: tuple[float, ...]
    reading: str
    target: float | None
    tolerance: float | None
    unit: str
    source: str
    enough: float | None
    enough_because: str
    how: str
    cautions: tuple[str, ...]
    after: tuple[str, ...]
    disturbs: tuple[str, ...]
    look_again: tuple[str, ...]
    stop: tuple[str, ...]
    needs_reference: bool
    left_alone: str = ""


@dataclass(frozen=True, slots=True)
class Conflict:
    """Two things that pull against each other.

    Arguments:
        between: the two, a few words.
        says: why, a sentence or two.
        do: what to do, a sentence or two.
    """

    between: str
    says: str
    do: str


@dataclass(frozen=True, slots=True)
class NeverTurn:
    """Something that is left alone.

    Arguments:
        what: is never turned.
        why: a sentence.
        unless: what would allow it; "" for nothing.
    """

    what: str
    why: str
    unless: str = ""


@dataclass(frozen=True, slots=True)
class SetUpPlan:
    """How a machine is set up.

    Arguments:
        machine: its id.
        steps: in their order.
        tapes: kind of tape -> what it is, for all that the steps take.
        conflicts: what pulls against what in this machine.
        never: what is left alone.
        notes: what else is to be said, sentences.
    """

    machine: str
    steps: tuple[SetUpStep, ...]
    tapes: tuple[tuple[str, str], ...]
    conflicts: tuple[Conflict, ...]
    never: tuple[NeverTurn, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class StepDone:
    """How a step stands in a job.

    Arguments:
        id: of the step.
        state: "open", "set", "left alone" or "look again".
        says: what was read or why it was left, a sentence; "" while it is open.
        because: ids of the steps that moved it since; empty unless it is to be looked at again.
    """

    id: str
    state: str = OPEN
    says: str = ""
    because: tuple[str, ...] = ()
