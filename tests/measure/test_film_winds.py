"""A whole wind, angle by angle: its time where a mark tells the teeth apart, and rates of like teeth right or open."""

import numpy as np
import pytest

from tapewright.measure.film_aliases import OPEN, unwrapped
from tapewright.measure.film_turning import Followed
from tapewright.measure.film_watching import told_of
from tapewright.words.reels_seen import HubName, ReelsSeen

HUB_M, THICKNESS_M, FULL_M = 0.011, 16e-6, 0.0236
DRIVEN_HZ = 12.7
WHOLE_S = (FULL_M - HUB_M) / THICKNESS_M / DRIVEN_HZ


def whole_wind(frames_hz: float, *, marked: bool, share: float = 1.0) -> tuple[Followed, ...]:
    """Give both hubs of a wind by the closed form of two packs: a second of standing, a ramp, an even drive, a stop.

    The pack that gives starts full, so the first turns of a shorter wind are those of the whole.
    """
    draw = np.random.default_rng(1)
    times = np.arange(int((WHOLE_S * share + 4.0) * frames_hz)) / frames_hz
    on = np.clip(times - 1.0, 0.0, None)
    taken = DRIVEN_HZ * np.where(on < 0.4, on**2 / 0.8, on - 0.2)
    taken = np.minimum(taken, share * (FULL_M - HUB_M) / THICKNESS_M)
    squares = FULL_M**2 + HUB_M**2 - (HUB_M + taken * THICKNESS_M) ** 2
    given_off = (FULL_M - np.sqrt(squares)) / THICKNESS_M
    hubs = []
    names: tuple[HubName, HubName] = ("left", "right")
    for name, turns in zip(names, (given_off, taken), strict=True):
        angle = 2.0 * np.pi * turns + 3e-3 * draw.standard_normal(len(times))
        if not marked:
            angle = angle + np.pi / 3.0 * draw.integers(0, 6, len(times))
        fits = np.ones((len(times), 6))
        hubs.append(Followed(name, 6, times, np.mod(angle, 2.0 * np.pi), np.full(len(times), 3e-3), fits))
    return tuple(hubs)


def told(hubs: tuple[Followed, ...]) -> ReelsSeen:
    return told_of((), unwrapped(hubs), 1e-5, "right")


@pytest.mark.parametrize("share", [1.0, 0.7, 0.6])
def test_a_whole_wind_takes_its_time_within_the_interval(share: float) -> None:
    seen = told(whole_wind(30.0, marked=True, share=share))
    time = seen.wind_time_s
    assert time.value is not None, time.why_not
    assert abs(time.value - WHOLE_S - 0.2) < (time.doubt or 0.0)
    assert (time.doubt or 0.0) < 0.1 * WHOLE_S
    assert not [event for event in seen.events if event.kind in ("slips", "hesitates", "stands")]


@pytest.mark.parametrize("frames_hz", [30.0, 60.0])
def test_a_whole_wind_of_like_teeth_is_read_right_or_left_open(frames_hz: float) -> None:
    """The reel that gives makes up to 27 turns a second, which no frame tells from slower ones: its whole way does.

    It stops from that rate within a frame, which no film can follow: there some turns may be lost.
    """
    for way in unwrapped(whole_wind(frames_hz, marked=False)):
        assert way.lead < OPEN or abs(way.turns[-1] - way.turns[0] - DRIVEN_HZ * WHOLE_S) < 0.005 * DRIVEN_HZ * WHOLE_S
