"""What drives the tape in one mode of a film: how fast tape is fed or wound, and how much of it the reel can take.

Whether a reel stands, lags or hesitates comes from the outcome of `faults`; how deep and how often is from memory, as
in `course`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Final, Literal

import numpy as np

from tapewright.faults.consequences import ModeOutcome, mode_asked, modes_told, outcome
from tapewright.faults.slipping import reel_held
from tapewright.faults.tape_speed import driven_by, racing_turns, speed_ratio
from tapewright.machine.asked import hold_back
from tapewright.machine.force_sizes import force_table
from tapewright.machine.formulas import half_side_radius
from tapewright.machine.parts import Machine, sound
from tapewright.machine.reel_drive import line_share, reel_drive, reel_losses
from tapewright.machine.winding import wind
from tapewright.simulate.course import course
from tapewright.simulate.pack import Samples
from tapewright.simulate.timebase import SpeedSource

RATE_HZ: Final = 500.0
"""How often a film's course is worked out; a reel at 20 turns a second makes 14° from one to the next, steadily."""
BRINGS_UP_S: Final = 0.5
"""From the key to the moving tape in play, where the head base has to come up; from memory."""
STARTS_S: Final = {"capstan": 0.15, "race": 0.3, "wind": 0.4, "stand": 0.1}
"""Time in which the tape comes up to speed; from memory."""
STOPS_S: Final = {"capstan": 0.15, "race": 0.2, "wind": 0.4, "stand": 0.1}
"""Time in which it comes to a stand; from memory."""
LAGS_SHARE: Final = 0.45
"""What a take-up that is called weak takes of what is brought, on average; from memory."""
SLOW_SHARE: Final = 0.7
WEAK_WIND_SHARE: Final = 0.35
"""Rates of a reel that winds slowly, or weakly, against the right one where nothing slips; from memory. Where something
does, `faults.slipping` says what is left."""
FALTERS_PER_S: Final = 0.45
FALTERS_DEEP: Final = (0.1, 0.6)
FALTERS_S: Final = (0.3, 2.0)
HOLDS_AGAIN_S: Final = 0.5
"""How often a reel falters that is called uneven, how deep, how long, and how long it holds at least; from memory."""
FALTERS_LOSE: Final = (
    sum(FALTERS_DEEP) / 2 * sum(FALTERS_S) / 2 / (sum(FALTERS_S) / 2 + HOLDS_AGAIN_S + 1 / FALTERS_PER_S)
)
"""Share of its turns that such a reel loses by them on average."""
CATCHES_UP: Final = (1.08, 1.8)
"""Least and largest rate at which a take-up takes slack in, against what is brought; from memory."""
EDGE_S: Final = 0.06
"""Time in which a reel begins to slip and holds again; from memory."""

How = Literal["stand", "capstan", "race", "wind"]


@dataclass(frozen=True, slots=True)
class Hesitation:
    """A moment in which the reel that takes the tape up falls short.

    Arguments:
        at_s: when it begins, from the beginning of the mode, seconds.
        lasts_s: how long, seconds.
        share: by how much of its rate it falls, 0 to 1: 1 stands.
    """

    at_s: float
    lasts_s: float
    share: float


@dataclass(frozen=True, slots=True)
class Drive:
    """What drives the tape in one mode, on a raster of `RATE_HZ`.

    Arguments:
        how: "capstan" feeds the tape; "race" and "wind" turn the reel that takes up; "stand" does nothing.
        feeds_m_per_s: tape that the capstan brings, shape (n,); empty for the others.
        limit: what the taking reel can take: of the tape brought ("capstan"), or of the rate it should turn at; (n,).
        radii_m, turns_per_s: rate of the taking reel by its pack's radius, for "race" and "wind".
        hesitations: those that were put in.
        stops_s: when the machine stops by itself; infinite when it does not.
        says: a sentence.
    """

    how: How
    feeds_m_per_s: Samples = field(default_factory=lambda: np.zeros(0))
    limit: Samples = field(default_factory=lambda: np.zeros(0))
    radii_m: tuple[float, ...] = ()
    turns_per_s: tuple[float, ...] = ()
    hesitations: tuple[Hesitation, ...] = ()
    stops_s: float = float("inf")
    says: str = ""


def drive_of(
    machine: Machine, mode: str, lasts_s: float, seed: int, position_s: float = 0.0, given: Sequence[Hesitation] = ()
) -> Drive:
    """Work out what drives the tape in one mode.

    Arguments:
        machine: with its imperfections.
        mode: its name; one in which no tape moves, or one it does not have, stands.
        lasts_s: how long it is kept, seconds.
        seed: decides what happens at times, and when a reel falters.
        position_s: how far into the side the tape is, seconds at the right speed.
        given: moments to put in besides those that the faults bring.
    """
    count = round(lasts_s * RATE_HZ)
    at = machine.modes.get(mode)
    if at is None or not at.takes_up:
        return Drive("stand", says="No tape moves.")
    told = modes_told(machine)[mode]
    rng = np.random.default_rng([seed, 31])
    stops = _stops_s(told, rng)
    if told.tape == "still" or (told.tape == "at_times" and rng.random() < 0.5):
        return Drive(
            "stand", stops_s=stops, says="The tape does not move" + (" in this try." if told.tape != "still" else ".")
        )
    word = told.reels.get(at.takes_up, "right")
    times_s = np.arange(count) / RATE_HZ
    if not at.at_capstan:
        return _winding(machine, mode, word, told.tape, times_s, rng, stops, given)
    if driven_by(machine, mode, outcome(machine).values) == "take_up":
        turning = racing_turns(machine, mode)
        hub, full = machine.tape.hub_radius_m, machine.tape.full_radius_m
        return Drive("race", np.zeros(0), np.ones(count), (hub, full), (turning, turning), (), stops, "The tape races.")
    return _playing(machine, mode, word, times_s, seed, rng, stops, position_s, given)


def _stops_s(told: ModeOutcome, rng: np.random.Generator) -> float:
    """Give when the machine stops by itself in this try, seconds."""
    found = [
        stop.after_s
        for stop in told.stopped_by
        if stop.after_s is not None and (stop.how == "yes" or rng.random() < 0.5)
    ]
    return min(found, default=float("inf"))


# --- play -------------------------------------------------------------------------------------------------------------


def _playing(
    machine: Machine, mode: str, word: str, times_s: Samples, seed: int, rng: np.random.Generator, stops_s: float,
    position_s: float, given: Sequence[Hesitation],
) -> Drive:  # fmt: skip
    feeds = _fed(machine, mode, times_s, seed, position_s) * machine.tape.speed_m_per_s
    if word == "at_times":
        word = "still" if rng.random() < 0.5 else "right"
    hesitations = (*given, *(_falters(times_s, rng) if word == "uneven" else ()))
    if word in ("still", "loose"):
        return Drive("capstan", feeds, np.zeros(len(times_s)), stops_s=stops_s, says="The take-up reel does not turn.")
    if word == "weak":
        limit, says = _lagging(times_s, rng), "The take-up reel lags behind the tape."
    else:
        limit = np.full(len(times_s), _catches_up(machine, mode))
        says = "The take-up reel falters." if hesitations else "The take-up reel takes all the tape."
    return Drive("capstan", feeds, _with(limit, times_s, hesitations), (), (), hesitations, stops_s, says)


def _fed(machine: Machine, mode: str, times_s: Samples, seed: int, position_s: float) -> Samples:
    """Give the tape's speed against the right one, as the sound of the same machine has it."""
    if mode_asked(machine, mode) != "play":
        return np.full(len(times_s), speed_ratio(machine, mode))
    way = replace(course(machine, seed, position_s), stops_s=float("inf"))
    if not way.moves:  # the sound's own draw says that it does not start; this try is one in which it does
        return np.full(len(times_s), 1.0)
    return SpeedSource(way, RATE_HZ, max(len(times_s) / RATE_HZ, 1.0), seed).take(len(times_s))


def _catches_up(machine: Machine, mode: str) -> float:
    """Give how fast a take-up can turn that nothing holds, against what the tape asks in the middle of a side."""
    half = float(half_side_radius(machine.tape.hub_radius_m, machine.tape.full_radius_m))
    free = racing_turns(machine, mode) * 2 * np.pi * half / machine.tape.speed_m_per_s
    return float(np.clip(free, *CATCHES_UP))


def _falters(times_s: Samples, rng: np.random.Generator) -> tuple[Hesitation, ...]:
    """Draw moments in which a reel falters, none over another, once it runs."""
    at, last = 1.5 + float(rng.exponential(1.0)), times_s[-1] if len(times_s) else 0.0
    found = []
    while at < last:  # nothing knows when the key will be pressed
        one = Hesitation(at, float(rng.uniform(*FALTERS_S)), float(rng.uniform(*FALTERS_DEEP)))
        found.append(one)
        at += one.lasts_s + HOLDS_AGAIN_S + float(rng.exponential(1.0 / FALTERS_PER_S))
    return tuple(found)


def _lagging(times_s: Samples, rng: np.random.Generator) -> Samples:
    """Give the share a weak reel takes: half or so, wandering slowly, and nothing now and then."""
    phases, rates = rng.uniform(0, 2 * np.pi, 3), rng.uniform(0.15, 0.7, 3)
    slow = np.sum(np.sin(2 * np.pi * rates[:, None] * times_s + phases[:, None]), axis=0)
    return np.asarray(np.clip(LAGS_SHARE + 0.12 * slow, 0.0, 0.85))


def _with(limit: Samples, times_s: Samples, hesitations: Sequence[Hesitation]) -> Samples:
    """Lower a limit to the share left in each moment; the edges are short and soft."""
    lowered = limit.copy()
    for one in hesitations:
        rise = np.clip((times_s - one.at_s) / EDGE_S + 0.5, 0.0, 1.0)
        fall = np.clip((one.at_s + one.lasts_s - times_s) / EDGE_S + 0.5, 0.0, 1.0)
        inside = np.minimum(rise, fall)
        left = np.minimum(1.0, limit) * (1.0 - one.share)
        lowered = np.minimum(lowered, limit + (left - limit) * inside)
    return lowered


# --- winding ----------------------------------------------------------------------------------------------------------


def _winding(
    machine: Machine, mode: str, word: str, tape: str, times_s: Samples, rng: np.random.Generator, stops_s: float,
    given: Sequence[Hesitation],
) -> Drive:  # fmt: skip
    radii, turns = wind_turns(machine, mode)
    held, hesitations = reel_held(machine, mode), tuple(given)
    share = np.full(len(times_s), held)
    if "weak" in (word, tape):
        left = held if held < 1.0 else WEAK_WIND_SHARE
        share, says = np.minimum(_lagging(times_s, rng) * (left / LAGS_SHARE), 1.0), "The tape winds weakly, by fits."
    elif "slow" in (word, tape):
        share, says = share * _slowed(machine, mode), "The tape winds slowly."
    elif "uneven" in (word, tape):
        # What slips is slower on the whole by what it passes: in its falters, and between them by the rest.
        share = np.minimum(share / (1.0 - FALTERS_LOSE), 1.0)
        hesitations, says = (*hesitations, *_falters(times_s, rng)), "The wind falters."
    else:
        says = "The tape winds." if held == 1.0 else "The tape winds, and slips."
    return Drive("wind", np.zeros(0), _with(share, times_s, hesitations), radii, turns, hesitations, stops_s, says)


def _slowed(machine: Machine, mode: str) -> float:
    """Give the share of the rate that is left, where the drive's own sums have not slowed it already."""
    worn, right = wind(machine, mode).reel_turns_per_s, wind(sound(machine), mode).reel_turns_per_s
    if worn is None or right is None:
        return SLOW_SHARE
    return min(1.0, SLOW_SHARE * right.value / worn.value)


def wind_turns(machine: Machine, mode: str) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Give the rate of the taking reel by the radius of its pack: metres, turns a second.

    The mean is that of `machine.winding`; how it changes over the pack follows the motor's line against the load. Where
    that says that nothing winds and yet the outcome has it wind, the sound machine's rates stand in.

    Arguments:
        machine: with its imperfections.
        mode: one that winds.
    """
    found = wind(machine, mode)
    if found.reel_turns_per_s is None:
        machine = sound(machine)
        found = wind(machine, mode)
    tape, table = machine.tape, force_table(machine)
    radii = np.linspace(tape.hub_radius_m, tape.full_radius_m, 9)
    at = machine.modes[mode]
    drive = reel_drive(machine, mode, at.takes_up, table)
    shares = np.ones(len(radii))
    if drive is not None:
        taking = reel_losses(machine, mode, at.takes_up, table)
        giving = reel_losses(machine, mode, at.gives, table) + hold_back(machine, at, table)
        for place, radius in enumerate(radii):
            other = np.sqrt(radii[0] ** 2 + radii[-1] ** 2 - radius**2)
            load = taking + giving * radius / other
            shares[place] = float(line_share(machine, mode, drive, load, table)[0])
    if shares.min() <= 0.0 or found.reel_turns_per_s is None:
        shares = np.ones(len(radii))
    mean = found.reel_turns_per_s.value if found.reel_turns_per_s else 8.0
    return tuple(radii.tolist()), tuple((shares * (mean * float(np.mean(1.0 / shares)))).tolist())
