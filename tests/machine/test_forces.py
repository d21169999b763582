"""What each coupling can pass against what is asked of it: by hand, by wear, by symmetry."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.machine.couplings import steps
from tapewright.machine.forces import margin, margins, mode_margins, motor_margin
from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.parts import Machine
from tapewright.machine.typical import typical
from tapewright.words.estimate import Estimate
from tapewright.words.units import GCM_NM, GF_N
from tests.machine.altered import renamed, worn


def ratio(machine: Machine, coupling: str, mode: str) -> float:
    return margin(machine, coupling, mode).ratio.value


# --- by hand ----------------------------------------------------------------------------------------------------------


def test_the_capstan_belt_by_hand() -> None:
    """Flat 4.0 x 0.5 mm at 4 % stretch over 10 and 49.7 mm pulleys 58.55 mm apart; modulus 4.5 MPa, friction 0.5."""
    wrap = math.pi - 2 * math.asin((24.85 - 5.0) / math.hypot(58.0, 8.0))
    pull_n = 2 * (4.5e6 * 2.0e-6 * 0.04) * math.tanh(0.5 * wrap / 2)
    found = margin(shipped("four_track"), "capstan_belt", "cassette_in")
    assert found.capacity_nm == pytest.approx(pull_n * 5.25e-3, rel=1e-9)
    # With no tape engaged only the flywheel's bearing asks: 0.5 mN·m, through 10.5 over 50.2.
    assert found.demand_nm == pytest.approx(0.5e-3 * 10.5 / 50.2, rel=1e-9)


def test_play_asks_the_capstan_belt_for_bearing_bush_and_tape() -> None:
    machine = shipped("four_track")
    tape_n = (18 * GCM_NM / 11e-3) * math.exp(0.25 * math.radians(10)) + 25 * GF_N * 0.45
    roller_nm = 0.05e-3 * 2.516 / 13.0
    at_flywheel = 0.5e-3 + 0.1 * 350 * GF_N * 1.25e-3 + tape_n * 1.25e-3 + roller_nm
    assert margin(machine, "capstan_belt", "play").demand_nm == pytest.approx(at_flywheel * 10.5 / 50.2, rel=1e-9)
    assert margin(machine, "nip", "play").demand_nm == pytest.approx(tape_n * 1.25e-3 + roller_nm, rel=1e-9)
    assert margin(machine, "nip", "play").capacity_nm == pytest.approx(0.25 * 350 * GF_N * 1.25e-3, rel=1e-9)


def test_the_idler_tyre_by_hand() -> None:
    """150 gf at friction 0.5 on the 16 mm tyre; winding asks 60 g·cm of a 30 mm reel table that turns a counter."""
    found = margin(shipped("four_track"), "idler_to_takeup", "fast_forward")
    assert found.capacity_nm == pytest.approx(0.5 * 150 * GF_N * 8e-3, rel=1e-9)
    counter_nm = 0.1e-3 * 30.8 / 10.8
    assert found.demand_nm == pytest.approx((60 * GCM_NM + counter_nm) * 16 / 30, rel=1e-9)


def test_the_cam_belt_by_hand() -> None:
    """30 mN·m at the cam, 1 to 40 by a worm that passes 0.4 of it, then the wheel's own bearing."""
    wrap = math.pi - 2 * math.asin((12.0 - 3.0) / 32.0)
    pull_n = 2 * (4.5e6 * 1.44e-6 * 0.06) * math.tanh(0.5 * wrap / 2)
    found = margin(shipped("four_track"), "cam_belt", "play")
    assert found.capacity_nm == pytest.approx(pull_n * 3.6e-3, rel=1e-9)
    assert found.demand_nm == pytest.approx((30e-3 * 0.025 / 0.4 + 0.05e-3) * 7.2 / 25.2, rel=1e-9)


def test_the_clutch_is_asked_for_the_lowest_printed_take_up_and_loads_its_belt_with_what_it_slips_at() -> None:
    machine = shipped("one_motor_portable")
    counter_nm = 0.1e-3 * 32.8 / 10.8
    found = margin(machine, "takeup_clutch", "play")
    assert found.capacity_nm == pytest.approx(50 * GCM_NM)
    assert found.demand_nm == pytest.approx(25 * GCM_NM + counter_nm)
    belt = margin(machine, "clutch_belt", "play")
    assert belt.demand_nm == pytest.approx((50 * GCM_NM + 0.05e-3) * 9.4 / 37.4)
    seized = worn(machine, "takeup_clutch", passes=3.0)
    assert margin(seized, "clutch_belt", "play").demand_nm > 2.9 * belt.demand_nm


def test_stretch_comes_from_length_and_path_where_both_are_known() -> None:
    machine = shipped("one_motor_portable")
    belt = machine.couplings["capstan_belt"]
    looser = replace(belt, length=Estimate(0.1795, 0.001))
    loose = replace(machine, couplings={**machine.couplings, "capstan_belt": looser})
    # 180.45 mm of path: from 171.0 mm 5.5 % of stretch, from 179.5 mm 0.53 %.
    expected = (180.4504 / 179.5 - 1) / (180.4504 / 171.0 - 1)
    got = ratio(loose, "capstan_belt", "play") / ratio(machine, "capstan_belt", "play")
    assert got == pytest.approx(expected, rel=1e-3)


# --- sound machines hold ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("machine_id", shipped_ids())
def test_a_sound_machine_holds_everywhere(machine_id: str) -> None:
    machine = shipped(machine_id)
    found = margins(machine)
    assert {one.mode for one in found} >= {name for name in machine.modes if steps(machine, name)}
    for one in found:
        assert one.ratio.value > 1.6, one
        assert one.ratio.value == pytest.approx(one.capacity_nm / one.demand_nm)
        assert one.assumption


@pytest.mark.parametrize("machine_id", ["four_track", "one_motor_portable"])
def test_no_margin_that_counts_is_absurd(machine_id: str) -> None:
    """A belt that runs idle may hold twenty times over; one at work no more than twelve."""
    for one in mode_margins(shipped(machine_id), "play"):
        assert one.ratio.value < 12, one


def test_starters_doubt_their_margins_more() -> None:
    described, starter = shipped("one_motor_portable"), shipped("one_motor_portable_starter")
    for coupling, mode in (("capstan_belt", "play"), ("takeup_clutch", "play"), ("idler_to_takeup", "fast_forward")):
        sure, unsure = margin(described, coupling, mode).ratio, margin(starter, coupling, mode).ratio
        assert unsure.relative_doubt > sure.relative_doubt
        assert unsure.basis == "typical"


def test_motors_have_torque_to_spare() -> None:
    machine = shipped("four_track")
    assert motor_margin(machine, "capstan_motor", "play").ratio.value > 2
    assert motor_margin(shipped("one_motor_portable"), "capstan_motor", "fast_forward").ratio.value > 1.6
    assert motor_margin(worn(machine, "cam_motor", pull=0.1), "cam_motor", "play").ratio.value < 1
    assert motor_margin(worn(machine, "power_supply", works=False), "cam_motor", "play").ratio.value == 0
    with pytest.raises(KeyError):
        motor_margin(machine, "cam_motor", "rewind")


# --- worn machines by the same code -----------------------------------------------------------------------------------


def test_a_glazed_idler_tyre_winds_no_more_but_still_takes_up() -> None:
    sound = shipped("four_track")
    glazed = worn(sound, "idler_tyre", grip=0.35)
    assert ratio(glazed, "idler_to_takeup", "fast_forward") < 1 > ratio(glazed, "idler_to_supply", "rewind")
    assert 1.2 < ratio(glazed, "idler_to_takeup", "play") < 1.7
    assert ratio(glazed, "reel_drive", "rewind") < 1
    assert ratio(glazed, "capstan_belt", "play") == ratio(sound, "capstan_belt", "play")
    assert ratio(sound, "idler_to_takeup", "fast_forward") > 1.6  # the old machine is as it was


@pytest.mark.parametrize("belt", ["capstan_belt", "cam_belt"])
def test_a_tired_smooth_belt_slips(belt: str) -> None:
    assert ratio(worn(shipped("four_track"), belt, tension=0.1, grip=0.6), belt, "play") < 1


@pytest.mark.parametrize("coupling", ["capstan_belt", "cam_belt", "nip", "cam_worm", "supply_drag"])
def test_what_is_missing_passes_nothing(coupling: str) -> None:
    assert ratio(worn(shipped("four_track"), coupling, present=False), coupling, "play") == 0


@pytest.mark.parametrize("rotor", ["idler_tyre", "takeup_reel"])
def test_a_missing_end_passes_nothing(rotor: str) -> None:
    assert ratio(worn(shipped("four_track"), rotor, present=False), "idler_to_takeup", "play") == 0


@pytest.mark.parametrize(
    ("part", "wrong", "coupling", "mode"),
    [
        ("flywheel", {"drag": 4.0}, "capstan_belt", "play"),
        ("capstan", {"drag": 4.0}, "capstan_belt", "play"),
        ("pinch_roller", {"tension": 0.5}, "nip", "play"),
        ("pinch_roller", {"grip": 0.5}, "nip", "play"),
        ("supply_drag", {"drag": 4.0}, "nip", "play"),
        ("supply_drag", {"drag": 9.0}, "idler_to_takeup", "fast_forward"),
        ("cam", {"drag": 3.0}, "cam_belt", "play"),
        ("head_base", {"drag": 3.0}, "cam_belt", "stop"),
        ("cam_worm", {"passes": 0.2}, "cam_worm", "play"),
        ("takeup_reel", {"drag": 9.0}, "idler_to_takeup", "play"),
        ("takeup_reel", {"grip": 0.5}, "idler_to_takeup", "fast_forward"),
        ("takeup_reel", {"drag": 9.0}, "idler_to_takeup", "fast_forward"),
        ("supply_reel", {"drag": 9.0}, "idler_to_supply", "rewind"),
        ("idler_tyre", {"drag": 9.0}, "reel_drive", "rewind"),
        ("counter", {"drag": 5.0}, "counter_belt", "play"),
        ("motor_pulley", {"grip": 0.4}, "capstan_belt", "play"),
    ],
)
def test_wear_lowers_the_margin_it_should(part: str, wrong: dict[str, float], coupling: str, mode: str) -> None:
    sound = shipped("four_track")
    assert ratio(worn(sound, part, **wrong), coupling, mode) < 0.95 * ratio(sound, coupling, mode)


SHARE = st.floats(0.01, 1.0)


@given(SHARE, SHARE, SHARE, st.sampled_from(["capstan_belt", "cam_belt", "counter_belt"]))
def test_less_grip_or_tension_never_helps_a_belt(low: float, high: float, other: float, belt: str) -> None:
    less, more = sorted((low, high))
    machine = shipped("four_track")

    def held(grip: float, tension: float) -> float:
        found = {
            one.coupling: one for one in mode_margins(worn(machine, belt, grip=grip, tension=tension), "play", True)
        }
        return found[belt].ratio.value

    assert held(less, other) <= held(more, other)
    assert held(other, less) <= held(other, more)


# --- symmetries and doubts --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("machine_id", shipped_ids())
@pytest.mark.parametrize("mode", ["play", "rewind", "stop"])
def test_names_and_order_change_nothing(machine_id: str, mode: str) -> None:
    machine = shipped(machine_id)
    other, names = renamed(machine)
    after = {one.coupling: one for one in mode_margins(other, mode)}
    before = mode_margins(machine, mode)
    assert len(after) == len(before)
    for one in before:
        same = after[names[one.coupling]]
        assert same.ratio.value == pytest.approx(one.ratio.value, rel=1e-12)
        assert same.ratio.doubt == pytest.approx(one.ratio.doubt, rel=1e-9)


def test_the_doubt_of_a_clutch_is_that_of_its_torque_and_its_load() -> None:
    """Capacity 50 ± 27.5 g·cm; the load 25 g·cm and a counter whose own doubt is small: to first order 55 %."""
    found = margin(shipped("one_motor_portable_starter"), "takeup_clutch", "play").ratio
    assert typical("takeup_torque").relative_doubt == pytest.approx(0.55)
    assert found.relative_doubt == pytest.approx(0.55, abs=0.06)


def test_a_motor_on_the_reels_spindle_is_asked_for_the_reel() -> None:
    """With the reel motor on the spindle itself: 250 g·cm at full voltage, a fifth of it in play, against 25."""
    machine = shipped("four_track")
    on_spindle = replace(machine.rotors["takeup_reel"], on="reel_motor")
    rotors = {**machine.rotors, "takeup_reel": on_spindle}
    play = replace(machine.modes["play"], engaged=("nip",))
    other = replace(machine, rotors=rotors, modes={**machine.modes, "play": play})
    found = motor_margin(other, "reel_motor", "play")
    assert found.capacity_nm == pytest.approx(50 * GCM_NM)
    assert found.demand_nm > 25 * GCM_NM
    assert found.hangs_on == "spindle_motor_starting_torque"


def test_a_motor_that_is_only_dragged_along_asks_for_its_own_friction() -> None:
    machine = shipped("four_track")
    dragged = replace(machine.rotors["counter"], kind="motor")
    other = replace(machine, rotors={**machine.rotors, "counter": dragged})
    assert margin(other, "counter_belt", "play").demand_nm == pytest.approx(0.05e-3 * 30.8 / 10.8)


def test_a_quick_answer_is_the_same_without_its_doubt() -> None:
    machine = shipped("four_track")
    for slow, quick in zip(mode_margins(machine, "play"), mode_margins(machine, "play", True), strict=True):
        assert quick.ratio.value == pytest.approx(slow.ratio.value, rel=1e-12)
        assert quick.ratio.doubt == 0


def test_a_coupling_that_is_not_at_work_has_no_margin() -> None:
    with pytest.raises(KeyError):
        margin(shipped("four_track"), "nip", "rewind")
    with pytest.raises(KeyError):
        margin(shipped("four_track"), "nip", "pause")
