"""The owner's sheet: what is asked from afar, in which order, and what each way through it comes to."""

from dataclasses import dataclass
from typing import Final

CASSETTE: Final = "cassette"
CLEAN: Final = "clean"
SEND: Final = "send"
UNCLEAR: Final = "unclear"
VERDICTS: Final = (CASSETTE, CLEAN, SEND, UNCLEAR)


@dataclass(frozen=True, slots=True)
class AskedSign:
    """A sign as an owner is asked about it.

    Arguments:
        id: the sign's id.
        says: what one notices, a sentence.
        how: how to look.
        mode: the mode it shows in.
        part: the part it is seen on; "" for the whole machine.
        cautions: said where the hand is about to go.
    """

    id: str
    says: str
    how: str
    mode: str
    part: str
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Verdict:
    """What one way through the sheet comes to.

    Arguments:
        kind: one of `VERDICTS`.
        stop: whether playing on may harm a tape.
        suspects: the leading parts with their shares of the explanation.
        work: what the owner can do without opening anything, sentences; empty for what belongs on a bench.
        cautions: for that work.
        minutes: of the bench work that would explain the complaint.
        cost_low: lowest usual price of its parts.
        cost_high: highest usual price of its parts.
    """

    kind: str
    stop: bool
    suspects: tuple[tuple[str, float], ...]
    work: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    minutes: float = 0.0
    cost_low: float = 0.0
    cost_high: float = 0.0


@dataclass(frozen=True, slots=True)
class Step:
    """One place in the tree: a question, or a verdict at its end.

    Arguments:
        asks: number of the sign in the sheet; None at the end of a way.
        verdict: number of the verdict that stands if one stops here.
        yes: where "yes" leads; None at the end, like the others.
        no: where "no" leads.
        unsure: where "can't tell" leads.
    """

    asks: int | None
    verdict: int
    yes: "Step | None" = None
    no: "Step | None" = None
    unsure: "Step | None" = None


@dataclass(frozen=True, slots=True)
class OwnerSheet:
    """All that a sheet holds.

    Arguments:
        machine_id: the machine.
        title: its name.
        invented: True when the machine is.
        fingerprint: of the signs and their order, so that a code made with another sheet is known for that.
        signs: every outside sign an owner may be asked about, in the order that codes count in.
        complaints: number of the sign, and the tree that follows on it.
        verdicts: what the ways through it come to.
        rescue: how to get a trapped tape out unharmed.
        rescue_cautions: for that.
    """

    machine_id: str
    title: str
    invented: bool
    fingerprint: int
    signs: tuple[AskedSign, ...]
    complaints: tuple[tuple[int, Step], ...]
    verdicts: tuple[Verdict, ...]
    rescue: str
    rescue_cautions: tuple[str, ...]
