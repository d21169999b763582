"""What an ear is trained on: two minutes, one of them with a fault, and what is told afterwards."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Offered:
    """Something one may have noticed.

    Arguments:
        says: a sentence, as the machine's own sign has it.
        is_there: whether the machine with the fault shows it.
    """

    says: str
    is_there: bool


@dataclass(frozen=True, slots=True)
class Exercise:
    """Two invented minutes of one machine, and what is told once somebody has guessed.

    Arguments:
        number: from 1.
        stem: of its two sound files: "1-a" and "1-b" for the stem "1".
        faulty: "A" or "B".
        heard_in: room, phone and noise, a sentence.
        offered: what one may have noticed.
        fault: what is wrong, a sentence.
        differs: what the minute with the fault does otherwise, and when, sentences.
        why: from the fault along its chain of effects to each sign, sentences.
    """

    number: int
    stem: str
    faulty: str
    heard_in: str
    offered: tuple[Offered, ...]
    fault: str
    differs: tuple[str, ...]
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Practice:
    """A page of exercises.

    Arguments:
        machine: what it is called.
        says: that all of it is invented, sentences.
        steps: what is done when in each minute: (moment, what).
        exercises: in their order.
    """

    machine: str
    says: str
    steps: tuple[tuple[str, str], ...]
    exercises: tuple[Exercise, ...]
