"""Transports of other kinds, described from scratch: what holds for the shipped ones holds for them too."""

import math

import pytest

from tapewright.machine.couplings import links
from tapewright.machine.forces import margin, margins
from tapewright.machine.load import read_machine_text
from tapewright.machine.parts import Machine
from tapewright.machine.rates import rates, tape_speed
from tapewright.machine.sizes import sizes

COMMON = """
schema = 1
[machine]
id = "mine"
[rotors.capstan]
kind = "capstan"
on = "CARRIER"
diameter_mm = 2.0
[rotors.roller]
kind = "pinch_roller"
[couplings.nip]
kind = "nip"
path = ["capstan", "roller"]
switched = true
[rotors.left]
kind = "reel_table"
LEFT
[rotors.right]
kind = "reel_table"
RIGHT
"""

DIRECT = COMMON.replace("CARRIER", "capstan_motor").replace("LEFT", 'on = "left_motor"').replace(
    "RIGHT", 'on = "right_motor"') + """
[head_base]
lifted_by = "solenoid"
[rotors.capstan_motor]
kind = "motor"
[rotors.left_motor]
kind = "motor"
[rotors.right_motor]
kind = "motor"
[modes.play]
motors = { capstan_motor = 1, right_motor = 1, left_motor = -0.2 }
engaged = ["nip"]
head_base = "up"
moves_head_base = true
takes_up = "right"
gives = "left"
at_capstan = true
[modes.rewind]
motors = { left_motor = -4 }
takes_up = "left"
gives = "right"
"""  # fmt: skip
"""A capstan on its motor's shaft, and a motor on each reel spindle: no belt, no tyre, no gear."""

GEARED = (
    COMMON.replace("CARRIER", "flywheel").replace("LEFT", "").replace("RIGHT", "")
    + """
[head_base]
lifted_by = "cam"
[rotors.motor]
kind = "motor"
speed_rpm = 2244.0
[rotors.pulley]
kind = "pulley"
on = "motor"
diameter_mm = 9.5
[rotors.flywheel]
kind = "flywheel"
diameter_mm = 50.0
[rotors.flywheel_gear]
kind = "gear"
on = "flywheel"
teeth = 20
[rotors.cam]
kind = "cam"
teeth = 80
[rotors.swing_gear]
kind = "gear"
teeth = 60
[rotors.clutch_gear]
kind = "gear"
teeth = 60
[couplings.belt]
kind = "belt"
path = ["pulley", "flywheel"]
width_mm = 1.2
thickness_mm = 1.2
[couplings.cam_gears]
kind = "gear"
path = ["flywheel_gear", "cam"]
switched = true
[couplings.swing]
kind = "gear"
path = ["flywheel_gear", "swing_gear"]
[couplings.swing_out]
kind = "gear"
path = ["swing_gear", "clutch_gear"]
switched = true
[couplings.clutch]
kind = "clutch"
path = ["clutch_gear", "right"]
[modes.play]
motors = { motor = 1 }
engaged = ["nip", "cam_gears", "swing_out"]
head_base = "up"
moves_head_base = true
takes_up = "right"
gives = "left"
at_capstan = true
"""
)
"""One motor; the flywheel turns the cam that lifts the head base, and the reels by gears and a clutch."""

TWO_CAPSTANS = (
    COMMON.replace("CARRIER", "flywheel").replace("LEFT", "").replace("RIGHT", "")
    + """
[head_base]
lifted_by = "keys"
[rotors.motor]
kind = "motor"
position_mm = [0.0, -45.0]
[rotors.pulley]
kind = "pulley"
on = "motor"
diameter_mm = 8.0
[rotors.flywheel]
kind = "flywheel"
diameter_mm = 44.9
position_mm = [26.0, 0.0]
[rotors.other_flywheel]
kind = "flywheel"
diameter_mm = 48.8
position_mm = [-26.0, 0.0]
[rotors.other_capstan]
kind = "capstan"
on = "other_flywheel"
[rotors.other_roller]
kind = "pinch_roller"
[couplings.other_nip]
kind = "nip"
path = ["other_capstan", "other_roller"]
switched = true
[couplings.belt]
kind = "belt"
path = ["pulley", "flywheel", "other_flywheel"]
sides = [1, 1, SIDE]
width_mm = 4.0
thickness_mm = 0.5
[couplings.clutch]
kind = "clutch"
path = ["flywheel", "right"]
torque_gcm = 30.0
[modes.play]
motors = { motor = 1 }
engaged = ["nip"]
head_base = "up"
takes_up = "right"
gives = "left"
at_capstan = true
[modes.record]
motors = { motor = -1 }
engaged = ["other_nip"]
head_base = "up"
takes_up = "right"
gives = "left"
at_capstan = true
"""
)
"""Two capstans on one belt; the second flywheel inside the loop, or on the belt's back, when it turns the other way."""


def read(text: str) -> Machine:
    return read_machine_text(text, "mine.toml")


@pytest.mark.parametrize("text", [DIRECT, GEARED, TWO_CAPSTANS.replace("SIDE", "1")], ids=["direct", "geared", "two"])
def test_any_layout_has_rates_margins_and_sizes(text: str) -> None:
    machine = read(text)
    for mode in machine.modes:
        for rate in rates(machine, mode).values():
            assert 0 < rate.turns_per_s.value < 1000
            assert math.isfinite(rate.turns_per_s.doubt)
    assert all(one.ratio.value > 1 for one in margins(machine) if one.mode == "play"), margins(machine)
    assert {size.what for size in sizes(machine)} >= {"roller"}


def test_without_a_belt_the_motor_turns_as_its_capstan() -> None:
    found = rates(read(DIRECT), "play")
    assert found["capstan_motor"].turns_per_s == found["capstan"].turns_per_s
    assert found["right_motor"].turns_per_s == found["right"].turns_per_s
    assert found["left_motor"].range_per_s == found["left"].range_per_s
    assert rates(read(DIRECT), "rewind")["left_motor"].turns_per_s == rates(read(DIRECT), "rewind")["left"].turns_per_s


def test_gears_turn_by_their_teeth() -> None:
    machine = read(GEARED)
    found = {link.coupling: link.ratio.value for link in links(machine, "play")}
    assert found["cam_gears"] == pytest.approx(-20 / 80)
    assert found["swing"] == pytest.approx(-20 / 60)
    turning = rates(machine, "play")
    assert turning["flywheel_gear.teeth"].turns_per_s.value == pytest.approx(
        20 * turning["flywheel"].turns_per_s.value, rel=1e-9
    )
    assert turning["cam.teeth"].turns_per_s.value == pytest.approx(turning["flywheel_gear.teeth"].turns_per_s.value)


def test_the_reel_behind_a_clutch_turns_by_its_pack() -> None:
    turning = rates(read(GEARED), "play")
    driven, reel = turning["clutch_gear"].turns_per_s.value, turning["right"]
    assert reel.range_per_s is not None
    assert driven > reel.range_per_s[1]  # faster than even an empty hub needs: no loop forms
    assert tape_speed(read(GEARED)) is not None


def test_a_cam_on_the_flywheel_loads_the_capstan_belt() -> None:
    """Let the flywheel lift the head base and the capstan belt has to pass what lifts it."""
    machine = read(GEARED)
    resting = read(GEARED.replace('lifted_by = "cam"', 'lifted_by = "solenoid"'))
    assert margin(machine, "belt", "play").demand_nm > 3 * margin(resting, "belt", "play").demand_nm


def test_a_belt_drives_every_pulley_it_runs_over() -> None:
    machine = read(TWO_CAPSTANS.replace("SIDE", "1"))
    found = {(link.driver, link.driven): link.ratio.value for link in links(machine, "play")}
    assert found["pulley", "flywheel"] == pytest.approx(8.5 / 45.4)
    assert found["pulley", "other_flywheel"] == pytest.approx(8.5 / 49.3)
    turning = rates(machine, "play")
    assert turning["other_flywheel"].turns_per_s.value == pytest.approx(
        turning["flywheel"].turns_per_s.value * 45.4 / 49.3
    )


def test_the_belts_back_turns_a_flywheel_the_other_way() -> None:
    text = TWO_CAPSTANS.replace("SIDE", "-1").replace("[-26.0, 0.0]", "[-20.5, -14.5]")
    found = {(link.driver, link.driven): link.ratio.value for link in links(read(text), "play")}
    assert found["pulley", "other_flywheel"] == pytest.approx(-8.5 / 49.3)


def test_the_capstan_whose_roller_is_engaged_sets_the_speed() -> None:
    machine = read(TWO_CAPSTANS.replace("SIDE", "1"))
    forward, back = rates(machine, "play"), rates(machine, "record")
    assert forward["capstan"].turns_per_s.value == pytest.approx(47.625 / (math.pi * 2.016), rel=1e-9)
    assert back["other_capstan"].turns_per_s.value == pytest.approx(47.625 / (math.pi * 2.016), rel=1e-9)
    # The motor runs backwards there, by the ratio of the flywheels faster: a rate is a size without a direction.
    ratio = back["motor"].turns_per_s.value / forward["motor"].turns_per_s.value
    assert ratio == pytest.approx(49.3 / 45.4, rel=1e-9)
