"""What leaves the shop with a machine: what was found, done and proved, in sentences and rows."""

from dataclasses import dataclass

from tapewright.words.comparison import ChannelChange, PassChange
from tapewright.words.record import Heard


@dataclass(frozen=True, slots=True)
class Suspected:
    """A part that was suspected: its name, its share of the explanation, and why, for the bench."""

    name: str
    share: float
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class HandOver:
    """All that a hand-over says.

    Arguments:
        ticket: the job's number.
        came_in: the day, ISO 8601.
        left: the day it left; "" while it has not.
        title: the machine.
        serial: its number; may be empty.
        invented: True when the machine is.
        owner: the owner's name; may be empty.
        complaint: the owner's words.
        found: what was out of order, sentences.
        done: what was done, sentences.
        costs: what each thing came to: words and an amount.
        total: all of it together; may be empty.
        proof: what the measurements say of before and after, a sentence; "" when there are none.
        changes: channel by channel.
        before: the recording from before, channel by channel; empty when there is none.
        after: the same from after.
        expect: what to expect of the machine, sentences.
        tapes: advice for the owner's tapes, sentences.
        suspected: for the bench.
        history: every step, for the bench: when, and what.
        made_at: when this was written, ISO 8601.
        version: of the program that wrote it.
        notes: where numbers come from, sentences.
        heads: what changed in the readings of a test sequence.
    """

    ticket: str
    came_in: str
    left: str
    title: str
    serial: str
    invented: bool
    owner: str
    complaint: str
    found: tuple[str, ...]
    done: tuple[str, ...]
    costs: tuple[tuple[str, str], ...]
    total: str
    proof: str
    changes: tuple[ChannelChange, ...]
    before: tuple[Heard, ...]
    after: tuple[Heard, ...]
    expect: tuple[str, ...]
    tapes: tuple[str, ...]
    suspected: tuple[Suspected, ...]
    history: tuple[tuple[str, str], ...]
    made_at: str
    version: str
    notes: tuple[str, ...]
    heads: tuple[PassChange, ...] = ()
