"""How a filmed wind goes beside what the machine's description says of it: the share of its rate, the whole time.

The reel that takes up is driven, so its rate is the drive's, and it changes over a side only as the load does. What
the film tells is that rate at one place of the side; the description's own line of motor and load says what it should
be there, and what the whole wind then takes.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from tapewright.machine.asked import hold_back
from tapewright.machine.force_sizes import force_table
from tapewright.machine.parts import Machine
from tapewright.machine.reel_drive import line_share, reel_drive, reel_losses
from tapewright.machine.winding import wind, wind_modes
from tapewright.words.reading import Reading
from tapewright.words.reels_seen import ReelsSeen

Floats = NDArray[np.float64]

RAMP_S: Final = 1.2
"""So long a wind may take to come up: what happens before is no falter; own choice."""
SHORT_RAMP_S: Final = 0.4
"""The same where the machine gives up so soon that little else was filmed; own choice."""
ENOUGH_S: Final = 1.0
AT_THE_END_S: Final = 0.5
LEAST_S: Final = 0.5
"""Of a wind that has come up, so much must be filmed for its rate to count; own choice."""
SPREAD: Final = 0.12
"""Standard deviation, as a share, of sound machines' winds about their descriptions, at least; as for a stopwatch."""
ELSEWHERE: Final = 0.05
"""The same for what the load does elsewhere on the side; own choice."""
WEAK: Final = (0.2, 0.85)
"""A weak wind runs at a share of its rate between these, any as likely by its logarithm; own choice."""
FASTEST: Final = 1.5
"""No wind is so much faster than described; as for the rates that are looked for."""
ANOTHER: Final = 0.03
"""How often a rate that was told is another that looks the same: none was, of 96 hubs of simulated winds."""
FALTERS_PER_S: Final = 0.45
"""How often a wind falters that does so at times; from memory."""
LEAST_WHOLE: Final = 0.8
"""Below this share of its rate nobody knows how a wind goes on; own choice."""
BY_RATE: Final = 0.4
"""Share of weak winds that are slow all the time; the others falter. By simulated winds, a quarter of the weak ones
show nothing in the two seconds or so that are filmed of them."""
_PLACES: Final = 9


@dataclass(frozen=True, slots=True)
class WindSeen:
    """A wind that has come up, as it was filmed.

    Arguments:
        share: rate of the reel that takes up, of what it should be there; None where its rate is open.
        deviation: standard deviation of that as a share: what sound machines differ by, and the film.
        alike: shares that would look the same.
        watched_s: how long it was seen since it had come up.
        time: of the whole wind of a 60-minute cassette.
    """

    share: float | None
    deviation: float
    alike: tuple[float, ...]
    watched_s: float
    time: Reading


def wind_seen(machine: Machine, seen: ReelsSeen, mode: str, taker: str) -> WindSeen:
    """Hold a filmed wind against the description.

    Arguments:
        machine: as described.
        seen: what the film told.
        mode: a wind.
        taker: the hub that takes up, as the film shows it.
    """
    course = next((one for one in seen.rates if one.name == taker), None)
    size = np.abs(np.array([] if course is None else course.rates_hz))
    times = np.array([] if course is None else course.times_s)
    hop_s = float(times[1] - times[0]) if len(times) > 1 else 0.0
    up = _come_up(seen, times, size, RAMP_S)
    short = float(up.sum()) * hop_s < ENOUGH_S
    if short:
        up = _come_up(seen, times, size, SHORT_RAMP_S)
    watched_s = float(up.sum()) * hop_s
    reading = seen.mean_rate_hz.get(taker)
    found = wind(machine, mode) if mode in wind_modes(machine) else None
    open_ = reading is None or reading.value is None
    if open_ or found is None or found.time is None or found.reel_turns_per_s is None or watched_s < LEAST_S:
        why = "How fast the reel that takes up winds is not told by the film, or not what it should be."
        return WindSeen(None, SPREAD, (), watched_s, Reading(None, "s", why_not=why))
    # A wind that is ended while it still comes up is judged by the best it came to.
    rate = float(np.quantile(size[up], 0.9)) if short else float(size[up].mean())
    right = found.reel_turns_per_s.value * _there(machine, mode, seen, taker)
    # What goes by fits is known by the mean over a few of them.
    fits = float(size[up].std()) / max(rate, 1e-9) / float(np.sqrt(max(watched_s, 1.0)))
    model = max(SPREAD, float(np.log(found.time.high / found.time.low)) / 2.0 / 1.96)
    share = rate / right
    hub = next((one for one in seen.hubs if one.name == taker), None)
    step_hz = seen.frame_rate_hz / max(hub.symmetry if hub is not None else 1, 1)
    others = (abs(rate + step_hz * number) / right for number in (-3, -2, -1, 1, 2, 3))
    alike = tuple(one for one in others if one < FASTEST)
    if share < LEAST_WHOLE:
        why = "The wind is a weak one: by fits or slowly, and how it would go on is not known."
        return WindSeen(share, float(np.hypot(model, fits)), alike, watched_s, Reading(None, "s", why_not=why))
    seconds = found.time.value / share
    time = Reading(
        float(seconds), "s", float(1.96 * np.hypot(ELSEWHERE, fits) * seconds),
        method="rate of the reel that takes up, drawn out over the whole by the described drive",
        conditions=f"{watched_s:.1f} s of the wind were filmed", by="film",
    )  # fmt: skip
    return WindSeen(share, float(np.hypot(model, fits)), alike, watched_s, time)


def _come_up(seen: ReelsSeen, times: Floats, size: Floats, ramp_s: float) -> NDArray[np.bool_]:
    """Say where the wind has come up and not begun to stop."""
    turns = size > 0.1
    if not turns.any():
        return np.zeros(len(times), dtype=np.bool_)
    began = float(times[np.flatnonzero(turns)[0]])
    stops = [event.start_s for event in seen.events if event.kind == "stops"]
    end = min([seen.runs_until_s, *stops]) - AT_THE_END_S
    return np.asarray((times >= began + ramp_s) & (times <= end), dtype=np.bool_)


def _there(machine: Machine, mode: str, seen: ReelsSeen, taker: str) -> float:
    """Give the reel's rate at the pack that was seen, over the mean that makes the time of the whole."""
    tape, table, at = machine.tape, force_table(machine), machine.modes[mode]
    drive = reel_drive(machine, mode, at.takes_up, table)
    pack = seen.pack_radius_m.get(taker)
    if drive is None or pack is None or pack.value is None:
        return 1.0
    taking = reel_losses(machine, mode, at.takes_up, table)
    giving = reel_losses(machine, mode, at.gives, table) + hold_back(machine, at, table)

    def share(radius: float) -> float:
        other = np.sqrt(max(tape.hub_radius_m**2 + tape.full_radius_m**2 - radius**2, 1e-6))
        return float(line_share(machine, mode, drive, taking + giving * radius / other, table)[0])

    over = np.array([share(radius) for radius in np.linspace(tape.hub_radius_m, tape.full_radius_m, _PLACES)])
    here = share(float(np.clip(pack.value, tape.hub_radius_m, tape.full_radius_m)))
    return here * float(np.mean(1.0 / over)) if over.min() > 0.0 and here > 0.0 else 1.0


def weak_over_strong(one: WindSeen) -> float:
    """Give how much likelier what was seen is of a weak wind than of a strong one, where no falter was seen.

    Some weak winds are slow all the time; the others go by fits, and a short film may show none. A rate that was
    told may seldom be another one that looks the same.

    Arguments:
        one: from `wind_seen`.

    >>> nothing = Reading(None, "s", why_not="not here")
    >>> [round(weak_over_strong(WindSeen(share, 0.12, (), 3.0, nothing)), 1) for share in (1.0, 0.5)]
    [0.2, 13.5]
    """
    unseen = float(np.exp(-FALTERS_PER_S * one.watched_s))
    if one.share is None:
        return BY_RATE + (1.0 - BY_RATE) * unseen
    strong = (1.0 - ANOTHER) * _as_strong(one.share, one.deviation)
    strong += ANOTHER * max((_as_strong(share, one.deviation) for share in one.alike), default=0.0)
    strong = max(strong, ANOTHER * _as_weak(one.share, one.deviation), 1e-6)
    return BY_RATE * _as_weak(one.share, one.deviation) / strong + (1.0 - BY_RATE) * unseen


def may_be_another(one: WindSeen) -> bool:
    """Say whether a wind is slow by the rate told, and at its right rate by another that looks the same.

    Arguments:
        one: from `wind_seen`.
    """
    right = 2.0 * one.deviation
    return one.share is not None and one.share < LEAST_WHOLE and any(abs(alike - 1.0) < right for alike in one.alike)


def _as_strong(share: float, deviation: float) -> float:
    """Give the density of the logarithm of a strong wind's share; one that runs faster than described is strong too."""
    off = min(float(np.log(max(share, 1e-6))), 0.0) / deviation
    return float(np.exp(-0.5 * off**2) / (np.sqrt(2.0 * np.pi) * deviation))


def _as_weak(share: float, deviation: float) -> float:
    low, high = np.log(WEAK)
    at = np.log(max(share, 1e-6))
    within = ndtr((at - low) / deviation) - ndtr((at - high) / deviation)
    return float(within / (high - low))


def sure_of(ratio: float) -> float:
    """Give how sure a yes is that is so many times likelier if it is so: at 1 it says nothing.

    >>> round(sure_of(9.0), 2)
    0.8
    """
    return (ratio - 1.0) / (ratio + 1.0)


__all__ = [
    "AT_THE_END_S",
    "FALTERS_PER_S",
    "LEAST_WHOLE",
    "RAMP_S",
    "WindSeen",
    "may_be_another",
    "sure_of",
    "weak_over_strong",
    "wind_seen",
]
