"""Orders over the tape: against speeds whose every component is known in closed form."""

import numpy as np
import pytest

from tapewright.measure.in_angle import order_picture
from tapewright.words.signal import OrderPicture, Trace

RATE_HZ = 1200.0


def at_order(found: OrderPicture, order: float) -> float:
    sizes = np.sqrt(np.nanmean(found.peak_pct**2, axis=0))
    return float(sizes[int(np.argmin(np.abs(found.orders - order)))])


def test_what_turns_with_the_part_stands_at_its_orders_while_the_speed_wanders() -> None:
    """1 % of wander at 12 Hz smears a line over a dozen bins of two minutes; over the angle it stands still."""
    times = np.arange(int(120 * RATE_HZ)) / RATE_HZ
    wander = 0.01 * np.sin(2 * np.pi * times / 50.0)
    angle = 2 * np.pi * 12.0 * np.cumsum(1 + wander) / RATE_HZ
    speed = wander + 0.001 * np.cos(angle) + 0.0005 * np.cos(3 * angle + 1.0)
    found = order_picture(Trace(speed, RATE_HZ), 12.0, part="capstan")
    assert found is not None
    assert found.part == "capstan"
    assert at_order(found, 1.0) == pytest.approx(0.1, rel=0.01)
    assert at_order(found, 3.0) == pytest.approx(0.05, rel=0.01)
    for order in (2.0, 4.0, 1.5, 2.5):
        assert at_order(found, order) < 0.002
    # The same line against a clock: its power is spread.
    plain = np.abs(np.fft.rfft((speed - wander) * np.hanning(len(speed)))) * 4 / len(speed)
    assert 100 * float(plain[int(11.0 * 120) : int(13.0 * 120)].max()) < 0.06


def test_what_belongs_to_another_part_stands_between() -> None:
    times = np.arange(int(60 * RATE_HZ)) / RATE_HZ
    found = order_picture(Trace(0.001 * np.cos(2 * np.pi * 21.0 * times), RATE_HZ), 12.0)
    assert found is not None
    assert at_order(found, 1.75) == pytest.approx(0.1, rel=0.02)
    assert max(at_order(found, order) for order in (1.0, 2.0, 3.0)) < 0.001


def test_a_reel_is_followed_as_its_pack_grows() -> None:
    """r² grows evenly (closed form): 0.6 Hz that slows by 1/1000 a second, ten minutes, each turn one bump."""
    seconds, slowing, middle_hz = 600.0, 0.0008, 0.6
    times = np.arange(int(seconds * 200.0)) / 200.0
    since = times - seconds / 2
    turns = middle_hz * (np.sqrt(1 + 2 * slowing * since) - 1) / slowing
    speed = 0.002 * np.cos(2 * np.pi * turns) + 0.001 * np.cos(4 * np.pi * turns)
    found = order_picture(Trace(speed, 200.0), middle_hz, slowing, "takeup_reel")
    assert found is not None
    assert at_order(found, 1.0) == pytest.approx(0.2, rel=0.03)
    assert at_order(found, 2.0) == pytest.approx(0.1, rel=0.03)
    assert float(found.turns[-1] - found.turns[0]) == pytest.approx(
        float(np.interp(found.times_s[-1], times, turns) - np.interp(found.times_s[0], times, turns)), abs=0.2
    )
    steady = order_picture(Trace(speed, 200.0), middle_hz, 0.0)
    assert steady is not None
    assert at_order(steady, 2.0) < 0.09


def test_a_change_half_way_shows_half_way() -> None:
    times = np.arange(int(100 * RATE_HZ)) / RATE_HZ
    speed = np.where(times > 50.0, 0.002, 0.0005) * np.cos(2 * np.pi * 7.5 * times)
    found = order_picture(Trace(speed, RATE_HZ, 3.0), 7.5)
    assert found is not None
    first = found.peak_pct[:, int(np.argmin(np.abs(found.orders - 1.0)))]
    assert first[found.times_s < 45.0] == pytest.approx(0.05, rel=0.03)
    assert first[found.times_s > 63.0] == pytest.approx(0.2, rel=0.03)


def test_a_stretch_that_was_masked_is_left_out() -> None:
    times = np.arange(int(100 * RATE_HZ)) / RATE_HZ
    speed = 0.001 * np.cos(2 * np.pi * 7.5 * times)
    speed[int(40 * RATE_HZ) : int(60 * RATE_HZ)] = np.nan
    found = order_picture(Trace(speed, RATE_HZ), 7.5)
    assert found is not None
    gone = np.array([bool(np.isnan(row).all()) for row in found.peak_pct])
    assert gone.any()
    assert not gone[[0, -1]].any()
    assert at_order(found, 1.0) == pytest.approx(0.1, rel=0.02)


@pytest.mark.parametrize("turns_per_s", [0.0, 0.2, 400.0])
def test_what_hardly_turns_or_turns_too_fast_is_not_drawn(turns_per_s: float) -> None:
    assert order_picture(Trace(np.zeros(int(20 * RATE_HZ)), RATE_HZ), turns_per_s) is None


def test_the_tape_that_has_passed_is_told() -> None:
    """Ten minutes at 95.25 mm/s: 57.15 m, from end to end (closed form)."""
    trace = Trace(np.zeros(120_000), 200.0, 7.0)
    found = order_picture(trace, 12.0, tape_m_per_s=0.09525)
    assert found is not None
    assert found.tape_m == pytest.approx(0.09525 * (found.times_s - 7.0), abs=1e-3)
    without = order_picture(trace, 12.0)
    assert without is not None
    assert len(without.tape_m) == 0


def test_a_picture_of_an_hour_is_no_larger() -> None:
    found = order_picture(Trace(np.zeros(576_000), 160.0), 12.05)
    assert found is not None
    assert found.peak_pct.size <= 36 * 32
