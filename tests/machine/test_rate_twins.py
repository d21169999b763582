"""Parts that no recording tells apart, and a machine at its other speed."""

import pytest

from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.rate_twins import rate_twins
from tapewright.machine.rates import rates, tape_speed
from tapewright.machine.speeds import at_speed, speeds_m_per_s

FOUR = shipped("four_track")


def pairs(why: str, mode: str = "play", **given: float) -> set[tuple[str, str]]:
    return {(one.first, one.second) for one in rate_twins(FOUR, mode, **given) if one.why == why}  # type: ignore[arg-type]


def test_what_sits_on_one_shaft_is_never_told_apart() -> None:
    assert pairs("shaft") == {
        ("capstan", "flywheel"), ("capstan_motor", "motor_pulley"), ("reel_motor", "reel_pulley"),
        ("cam_motor", "cam_pulley"),
    }  # fmt: skip
    assert pairs("shaft", seconds=1e6) == pairs("shaft")


def test_a_longer_recording_tells_more_apart() -> None:
    """Counter and pinch roller are 0.016 Hz apart in the middle of a side: by hand, 95.25 mm/s on 13 mm and on 16.3 mm
    of pack by the counter's pulleys of 30 and 10 mm."""
    assert ("counter", "pinch_roller") in pairs("rate", seconds=30.0)
    assert ("counter", "pinch_roller") not in pairs("rate", seconds=600.0)
    for shorter, longer in ((20.0, 60.0), (60.0, 600.0)):
        assert pairs("rate", seconds=longer) <= pairs("rate", seconds=shorter)


def test_the_reels_meet_in_the_middle_of_a_side() -> None:
    assert ("supply_reel", "takeup_reel") in pairs("rate")


def test_a_twin_says_which_harmonics_meet_and_how_far_apart() -> None:
    for machine_id in shipped_ids():
        for twin in rate_twins(shipped(machine_id), "play"):
            found = rates(shipped(machine_id), "play")
            first, second = (found[name].turns_per_s.value for name in (twin.first, twin.second))
            assert twin.rate_hz == pytest.approx(twin.order_first * first)
            assert twin.apart_hz == pytest.approx(twin.order_second * second - twin.order_first * first, abs=1e-9)
            assert abs(twin.apart_hz) <= 1 / 60 + twin.doubt_hz or twin.why == "shaft"


def test_commutator_and_third_order_of_its_own_pulley_meet() -> None:
    """A motor with three segments: what its pulley does three times a turn falls on the segments."""
    found = {(one.first, one.second): one for one in rate_twins(FOUR, "play")}
    twin = found["capstan_motor.commutator", "motor_pulley"]
    assert (twin.order_first, twin.order_second, twin.why) == (1, 3, "harmonic")


def test_a_mode_that_is_not_there() -> None:
    with pytest.raises(KeyError):
        rate_twins(FOUR, "reverse_play")


@pytest.mark.parametrize("machine_id", ["direct_drive_deck", "closed_loop_deck"])
def test_at_its_other_speed_everything_behind_the_capstan_turns_twice_as_fast(machine_id: str) -> None:
    machine = shipped(machine_id)
    assert speeds_m_per_s(machine) == (0.047625, 0.09525)
    fast = at_speed(machine, 0.09525)
    slow_rates, fast_rates = rates(machine, "play"), rates(fast, "play")
    for name in ("capstan", "capstan_motor", "pinch_roller", "takeup_reel", "flywheel"):
        assert fast_rates[name].turns_per_s.value == pytest.approx(2 * slow_rates[name].turns_per_s.value, rel=1e-9)
    reached = tape_speed(fast)
    assert reached is not None
    assert reached.value == pytest.approx(0.09525, rel=0.005)
    assert at_speed(fast, 0.047625) == machine


def test_winding_by_a_motor_of_its_own_does_not_follow_the_speed() -> None:
    machine = shipped("direct_drive_deck")
    before, after = (rates(one, "fast_forward")["takeup_reel"] for one in (machine, at_speed(machine, 0.09525)))
    assert after.turns_per_s == before.turns_per_s


@pytest.mark.parametrize("machine_id", [name for name in shipped_ids() if not name.endswith("_starter")])
def test_motor_and_diameters_lead_to_the_nominal_speed(machine_id: str) -> None:
    machine = shipped(machine_id)
    for mode in ("play", "reverse_play"):
        if mode in machine.modes:
            reached = tape_speed(machine, mode)
            assert reached is not None
            assert reached.value == pytest.approx(machine.tape.speed_m_per_s, rel=0.005)
