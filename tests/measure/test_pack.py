"""A reel's pack read off its line: radius, thickness of the tape, how much is wound on it."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.measure.lines import find_lines
from tapewright.measure.pack import Pack, pack_of, packs
from tapewright.measure.reels import find_reels
from tapewright.measure.speed_trace import speed_trace
from tapewright.words.reading import Reading
from tests.measure import made
from tests.measure.test_lines import RATE_HZ, followed
from tests.measure.test_long import FLYWHEEL, slow_trace

TAPE_M_PER_S = 0.047625
SPEED = Reading(0.0, "%", 0.01)


def wound(radius_m: float, thickness_m: float, seconds: float, grows: bool, seed: int) -> Pack | None:
    """A pack of this radius half way through, 0.05 % at its turns, a capstan beside it; r² grows evenly."""
    base = followed(seconds, seed, (made.Rotor(8.7, 0.1),))
    times = np.arange(len(base.phase_rad)) / RATE_HZ
    bend = (1.0 if grows else -1.0) * TAPE_M_PER_S * thickness_m / np.pi
    radii = np.sqrt(radius_m**2 + bend * (times - seconds / 2.0))
    turns = np.cumsum(TAPE_M_PER_S / (2.0 * np.pi * radii)) / RATE_HZ
    speed = 0.0005 * np.cos(2.0 * np.pi * turns + seed)
    tone = replace(base, phase_rad=base.phase_rad + 2.0 * np.pi * 3150.0 * np.cumsum(speed) / RATE_HZ)
    found = packs(find_lines(tone, speed_trace(tone)), SPEED)
    return found[0] if found else None


@pytest.mark.parametrize(
    ("seconds", "radius_m", "thickness_m", "grows"),
    [
        (60.0, 0.0115, 18e-6, True),
        pytest.param(90.0, 0.0125, 18e-6, True, marks=pytest.mark.slow),
        pytest.param(120.0, 0.016, 12e-6, True, marks=pytest.mark.slow),
        pytest.param(180.0, 0.018, 18e-6, False, marks=pytest.mark.slow),
    ],
)
def test_a_minute_or_three_tell_the_pack(seconds: float, radius_m: float, thickness_m: float, grows: bool) -> None:
    """Oracle: the pack that was put in, each figure within 1.6 times its doubt (three sigma)."""
    for seed in (1, 2):
        pack = wound(radius_m, thickness_m, seconds, grows, seed)
        assert pack is not None
        assert pack.grows == grows
        assert pack.order == 1
        length = np.pi * (radius_m**2 - 0.011**2) / thickness_m
        for reading, truth in ((pack.radius_m, radius_m), (pack.thickness_m, thickness_m), (pack.wound_m, length)):
            assert reading.doubt is not None
            assert reading.value == pytest.approx(truth, abs=1.6 * reading.doubt)
        assert (pack.thickness_m.doubt or 1.0) < 0.35 * thickness_m
        assert ("take-up" if grows else "supply") in pack.says()


@pytest.mark.slow
def test_the_intervals_of_the_thickness_hold() -> None:
    """Oracle: the tape put in; of 24 intervals of 95 % 21 and more hold (more than three outside: under 3 %)."""
    found = [wound(0.0125, 18e-6, 75.0, True, seed) for seed in range(24)]
    held = [one.thickness_m for one in found if one is not None and one.thickness_m.value is not None]
    inside = [abs((one.value or 0.0) - 18e-6) < (one.doubt or 0.0) for one in held]
    assert len(held) >= 21
    assert np.mean(inside) > 0.86
    off = np.array([((one.value or 0.0) - 18e-6) / (one.doubt or 1.0) for one in held])
    assert np.sqrt(np.mean(np.square(off))) > 0.3  # and are not far too wide: half the doubt is one sigma


def test_a_whole_side_tells_it_nearer() -> None:
    """Oracle: the rates at the two ends, whose 1/f² runs straight."""
    seconds, ends_hz = 2700.0, (0.689, 0.33)
    (reel,) = find_reels(slow_trace(3, seconds, ends_hz), FLYWHEEL)
    radii = [TAPE_M_PER_S / (2.0 * np.pi * rate) for rate in ends_hz]
    thickness = np.pi * (radii[1] ** 2 - radii[0] ** 2) / (TAPE_M_PER_S * seconds)
    pack = pack_of(reel.line.frequency_hz, reel.line.frequency_doubt_hz, reel.slowing_per_s, reel.slowing_doubt_per_s)
    assert pack is not None
    assert pack.thickness_m.doubt is not None
    assert pack.thickness_m.value == pytest.approx(thickness, abs=pack.thickness_m.doubt)
    assert pack.thickness_m.doubt < 0.05 * thickness


@given(st.floats(0.0115, 0.025), st.floats(8e-6, 2e-5), st.booleans())
def test_round_trip(radius_m: float, thickness_m: float, grows: bool) -> None:
    """Oracle: r = v/(2 pi f) and dr²/dt = v h/pi, differentiated by hand."""
    rate = TAPE_M_PER_S / (2.0 * np.pi * radius_m)
    slowing = (1.0 if grows else -1.0) * TAPE_M_PER_S * thickness_m / (2.0 * np.pi * radius_m**2)
    pack = pack_of(rate, 1e-6, slowing, 1e-9, TAPE_M_PER_S)
    assert pack is not None
    assert pack.radius_m.value == pytest.approx(radius_m)
    assert pack.thickness_m.value == pytest.approx(thickness_m)
    assert pack.wound_m.value == pytest.approx(np.pi * (radius_m**2 - 0.011**2) / thickness_m)


def test_a_second_harmonic_is_known_by_a_radius_that_no_hub_has() -> None:
    pack = pack_of(1.2, 1e-3, 7e-4, 1e-5)
    assert pack is not None
    assert pack.order == 2
    assert pack.radius_m.value == pytest.approx(TAPE_M_PER_S / (2.0 * np.pi * 0.6), rel=1e-3)


def test_what_is_no_pack_is_none_and_what_is_not_known_says_so() -> None:
    assert pack_of(2.9, 1e-3, 7e-4, 1e-5) is None
    pack = pack_of(0.6, 2e-3, 4e-4, 3e-4)
    assert pack is not None
    assert pack.radius_m.value is not None
    assert pack.thickness_m.value is None
    assert "too short" in (pack.thickness_m.why_not or "")
    assert "too short" in pack.says()
