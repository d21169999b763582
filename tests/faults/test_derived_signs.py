"""What shows follows from the description. Every fact here is common practice, without a source, unless it says so."""

import pytest

from tapewright.faults.applied import Fault, applied
from tapewright.faults.consequences import outcome, signs_shown
from tapewright.machine.library import shipped
from tapewright.machine.parts import Machine
from tests.described import (
    capstan_motor_runs_always,
    described,
    flywheel_lifts_the_head_base,
    flywheel_takes_the_tape_up,
    without_sizes,
)


def shown(machine: Machine, *faults: Fault) -> set[str]:
    return {sign.id for sign in signs_shown(applied(machine, faults))}


MISSING_CAPSTAN_BELT = Fault("capstan_belt", "missing")


@pytest.mark.parametrize("machine_id", ["four_track", "four_track_starter"])
@pytest.mark.parametrize(
    ("fault", "signs"),
    [
        (Fault("cam_belt", "missing"), {"switch_on_cam_motor_races", "switch_on_cam_motor_goes_on"}),
        (Fault("cam_belt", "missing"), {"switch_on_does_not_drop", "play_stays_down"}),
        (MISSING_CAPSTAN_BELT, {"play_tape_races"}),
        (MISSING_CAPSTAN_BELT, {"cassette_in_capstan_motor_heard", "cassette_in_capstan_still"}),
        (Fault("idler_tyre", "glazed"), {"fast_forward_weak", "rewind_weak"}),
        (Fault("idler_tyre", "glazed"), {"play_loop", "play_takeup_reel_falters"}),
        (Fault("pinch_roller", "sticky"), {"play_oxide", "play_wrap"}),
        (Fault("pinch_roller", "glazed"), {"play_oxide", "play_tape_uneven"}),
        # From here on: rows of the reference chart with their sources, see its symptom table.
        (Fault("counter_belt", "missing"), {"play_stops", "play_counter_still"}),  # trade pages on counter belts
        (Fault("cassette_switch", "dirty"), {"cassette_in_nothing_starts", "play_tape_still"}),  # trade pages
        (Fault("cam", "hardened_grease"), {"play_rises_part_way"}),  # trade page: like a slipping belt
        (Fault("supply_drag", "too_low"), {"play_pack_loose"}),  # trade page on lost back tension
    ],
)
def test_the_four_track_shows(machine_id: str, fault: Fault, signs: set[str]) -> None:
    machine = shipped(machine_id)
    assert signs <= shown(machine, fault)
    usual = shown(machine)
    assert signs - {"cassette_in_capstan_motor_heard"} == signs - {"cassette_in_capstan_motor_heard"} - usual


def test_winding_works_where_play_never_latches() -> None:
    """Trade pages: winding needs no cam travel, so a cam belt that is gone leaves it alone."""
    signs = shown(shipped("four_track"), Fault("cam_belt", "missing"))
    assert not {"fast_forward_weak", "fast_forward_dead", "rewind_weak", "rewind_dead"} & signs


def test_a_weak_idler_still_plays_before_it_fails() -> None:
    """Trade pages: the wind is weak long before play spills."""
    signs = shown(shipped("four_track"), Fault("idler_tyre", "glazed", 0.45))
    assert "fast_forward_weak" in signs
    assert "play_loop" not in signs


def test_one_motor_with_its_belt_gone_hums_and_nothing_moves() -> None:
    """The signature of the layout in the reference notes: main belt gone, motor hums, nothing moves."""
    signs = shown(shipped("one_motor_portable"), MISSING_CAPSTAN_BELT)
    assert {"play_tape_still", "play_capstan_motor_heard", "fast_forward_dead", "rewind_dead"} <= signs
    assert "play_tape_races" not in signs


def test_one_motor_with_a_weak_clutch_spills_and_winds() -> None:
    """The same: clutch weak, tape spills in play, wind fine."""
    signs = shown(shipped("one_motor_portable"), Fault("takeup_clutch", "worn_felt"))
    assert "play_loop" in signs
    assert not {"fast_forward_weak", "rewind_weak"} & signs


def test_one_motor_with_a_glazed_idler_winds_weakly_and_plays() -> None:
    """The same: idler glazed, wind weak, play fine."""
    signs = shown(shipped("one_motor_portable"), Fault("idler_tyre", "glazed"))
    assert {"fast_forward_weak", "rewind_weak"} <= signs
    assert "play_loop" not in signs


# --- counterfactual machines: only the description changes ------------------------------------------------------------


def test_with_the_flywheel_lifting_a_missing_capstan_belt_lifts_nothing() -> None:
    changed = described("four_track", flywheel_lifts_the_head_base)
    assert {"play_stays_down", "switch_on_does_not_drop"} <= shown(changed, MISSING_CAPSTAN_BELT)
    assert not {"play_stays_down", "switch_on_does_not_drop"} & shown(shipped("four_track"), MISSING_CAPSTAN_BELT)
    assert not {"play_stays_down", "switch_on_does_not_drop"} & shown(changed)


def test_with_the_flywheel_taking_up_play_no_longer_races() -> None:
    changed = described("four_track", flywheel_takes_the_tape_up)
    signs = shown(changed, MISSING_CAPSTAN_BELT)
    assert "play_tape_races" not in signs
    assert {"play_tape_still", "play_takeup_reel_stands"} <= signs
    assert "play_tape_right" in shown(changed)


def test_with_the_capstan_motor_always_running_none_starts_with_the_cassette() -> None:
    changed = described("four_track", capstan_motor_runs_always)
    assert "cassette_in_nothing_starts" in shown(changed)
    assert "cassette_in_nothing_starts" not in shown(shipped("four_track"))
    assert "cassette_in_nothing_starts" in shown(shipped("four_track"), Fault("cassette_switch", "dirty"))


def test_without_a_single_size_the_same_signs_follow() -> None:
    bare = described("four_track", without_sizes)
    for fault in (MISSING_CAPSTAN_BELT, Fault("cam_belt", "missing"), Fault("idler_tyre", "glazed")):
        assert shown(bare, fault) == shown(shipped("four_track"), fault)


def test_two_faults_interact_as_the_mechanism_says() -> None:
    """With the cam belt gone the roller never closes, so a missing capstan belt cannot make the tape race."""
    machine = shipped("four_track")
    both = shown(machine, MISSING_CAPSTAN_BELT, Fault("cam_belt", "missing"))
    assert "play_tape_races" in shown(machine, MISSING_CAPSTAN_BELT)
    assert "play_tape_races" not in both
    assert "play_stays_down" in both
    assert "cassette_in_capstan_still" in both


@pytest.mark.parametrize("machine_id", ["four_track", "one_motor_portable", "four_track_starter"])
def test_a_sound_machine_does_what_it_should(machine_id: str) -> None:
    values = outcome(shipped(machine_id)).values
    assert values["tape@play"] == "right"
    assert values["tape@fast_forward"] == values["tape@rewind"] == "right"
    assert values["loop@play"] == values["oxide@play"] == values["wrap@play"] == "no"
