"""What is known of a played minute: the truth that ears and programs are to be held against."""

from dataclasses import dataclass
from typing import Final

from tapewright.simulate.truth import Simulated
from tapewright.words.mechanism_heard import Mark

SAYS: Final = (
    "Invented: nobody recorded this, and no such machine stood before a microphone. What turns when, and how fast, is "
    "worked out from the machine's description and its faults; what each thing sounds like is from memory. Use it to "
    "try an ear or a program, never as evidence about a real machine."
)


@dataclass(frozen=True, slots=True)
class TrueStretch:
    """Something that turned from one moment to another.

    Arguments:
        name: the motor or reel table.
        mode: what the machine was in when it began.
        does: the outcome's word: right, weak, slow, uneven, fast and so on.
        start_s, end_s: when it turned; run-up and run-down belong to it.
        rate_hz: its mean rate, turns a second, run-up and run-down left out.
        times_s, rates_hz: the same over time.
    """

    name: str
    mode: str
    does: str
    start_s: float
    end_s: float
    rate_hz: float
    times_s: tuple[float, ...] = ()
    rates_hz: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class TrueNoise:
    """A noise that a part made over a stretch: a squeal, a knock once a turn, a rubbing.

    Arguments:
        part: which.
        kind: "squeal", "chirp", "knock", "thump" or "rub".
        mode: what the machine was in.
        start_s, end_s: when.
        rate_hz: how often a second it comes or swells: once a turn of the part.
        frequency_hz: pitch of a squeal; None for the others.
    """

    part: str
    kind: str
    mode: str
    start_s: float
    end_s: float
    rate_hz: float
    frequency_hz: float | None = None


@dataclass(frozen=True, slots=True)
class TrueClick:
    """A short noise: a key, a solenoid, the head base as it arrives, the lid, the mains switch."""

    of: str
    at_s: float


@dataclass(frozen=True, slots=True)
class TrueStop:
    """The moment at which the logic, or a lever, ended a mode by itself, and by which sensor."""

    sensor: str
    at_s: float


@dataclass(frozen=True, slots=True)
class MinuteTruth(Simulated):
    """All that is known of a played minute, after what `Simulated` says of it.

    Arguments:
        duration_s, sample_rate_hz: of the recording.
        marks: what was to be done when; a hand follows up to a quarter of a second later.
        entered: when the machine really was in which mode, the logic's own stops counted.
        motors: every stretch in which a motor turned.
        reels: the same of the reel tables.
        noises: squeals, knocks and rubbings.
        clicks: in the order of time.
        stops: in the order of time.
        head_base: what it did in each mode it was sent somewhere: (mode, word).
        room, phone, background: what was asked for.
        snr_db: mechanism against background, both as rms before the phone; clicks left out, and of the mechanism only
            what sounds while something turns. None where nothing turned at all.
        signs: ids of the signs such a machine shows.
    """

    duration_s: float
    sample_rate_hz: int
    marks: tuple[Mark, ...]
    entered: tuple[Mark, ...]
    motors: tuple[TrueStretch, ...]
    reels: tuple[TrueStretch, ...]
    noises: tuple[TrueNoise, ...]
    clicks: tuple[TrueClick, ...]
    stops: tuple[TrueStop, ...]
    head_base: tuple[tuple[str, str], ...]
    room: str
    phone: str
    background: tuple[str, ...]
    snr_db: float | None
    signs: tuple[str, ...]
