"""What each layout is known to do when a part fails: the signatures of the trade, read off the descriptions alone.

The facts are those of the reference notes on layouts (service manuals and trade pages; a few from memory). No table
pairs a fault with a sign: each follows from what the machine's own description says.
"""

import pytest

from tapewright.faults.applied import Fault, applied
from tapewright.faults.catalogue import possible_faults
from tapewright.faults.consequences import modes_told, outcome, signs_shown
from tapewright.machine.library import shipped, shipped_ids
from tests.described import Table, described

COMPLETE = [name for name in shipped_ids() if not name.endswith("_starter")]


def shown(machine_id: str, *faults: Fault) -> set[str]:
    return {sign.id for sign in signs_shown(applied(shipped(machine_id), faults))}


def words(machine_id: str, *faults: Fault) -> dict[str, str]:
    return dict(outcome(applied(shipped(machine_id), faults)).values)


@pytest.mark.parametrize("machine_id", shipped_ids())
def test_a_sound_machine_plays_winds_and_stops(machine_id: str) -> None:
    for mode in modes_told(shipped(machine_id)).values():
        assert mode.tape in ("right", ""), (mode.mode, mode.tape)
        assert mode.head_base in ("arrives", ""), (mode.mode, mode.head_base)
        assert (dict(mode.harm), mode.stopped_by, dict(mode.runs_on)) == ({}, (), {})


ALWAYS = "four_track"
"""The machine that every run of the tests looks at; the others when the slow ones run."""


@pytest.mark.parametrize(
    "machine_id", [pytest.param(one, marks=() if one == ALWAYS else pytest.mark.slow) for one in shipped_ids()]
)
def test_every_fault_of_every_layout_shows_or_is_felt(machine_id: str) -> None:
    """A fault that no sign and no line of flutter could ever tell would be a part nobody can diagnose."""
    usual, silent = shown(machine_id), []
    for possible in possible_faults(shipped(machine_id)):
        fault = Fault(possible.part, possible.fault.kind, possible.fault.severities[-1])
        unsteady = {"lump", "eccentricity_m", "rate"} & set(possible.fault.changes)
        if shown(machine_id, fault) == usual and not unsteady:
            silent.append((fault.part, fault.kind))
    assert silent == []


# --- one motor, flywheel-driven cam -----------------------------------------------------------------------------------


def test_flywheel_cam_with_the_belt_gone_only_clicks() -> None:
    """Capstan belt gone, flywheel-driven cam: nothing lifts, only clicks (service manual and trade page)."""
    signs = shown("flywheel_cam_deck", Fault("capstan_belt", "missing"))
    assert {"play_stays_down", "play_tape_still", "fast_forward_dead", "rewind_dead"} <= signs
    assert not {"play_tape_races", "play_cam_solenoid_no_click"} & signs


def test_flywheel_cam_with_a_slack_belt_lifts_slowly_or_not() -> None:
    """Slack belt: click, slow or no head lift."""
    found = words("flywheel_cam_deck", Fault("capstan_belt", "slack"))
    assert found["head_base@play"] in ("late", "part", "stays")


def test_flywheel_cam_with_hardened_grease_lifts_no_more() -> None:
    """Hardened cam grease: click, whirr, no lift, like a slipping belt."""
    signs = shown("flywheel_cam_deck", Fault("cam", "hardened_grease"))
    assert {"play_rises_part_way", "play_stays_down"} & signs
    assert "play_cam_solenoid_no_click" not in signs


def test_flywheel_cam_with_its_solenoid_dead_neither_clicks_nor_lifts() -> None:
    signs = shown("flywheel_cam_deck", Fault("cam_solenoid", "dead"))
    assert {"play_cam_solenoid_no_click", "play_stays_down", "fast_forward_dead"} <= signs
    assert "cassette_in_capstan_motor_heard" in signs


# --- two motors, idler, solenoids -------------------------------------------------------------------------------------


def test_two_motors_with_the_capstan_belt_gone_race_in_play() -> None:
    """Capstan belt gone: the reel motor alone pulls tape in play at wind-like speed (trade pages)."""
    signs = shown("two_motor_deck", Fault("capstan_belt", "missing"))
    assert {"play_tape_races", "play_capstan_still"} <= signs
    assert not {"play_stays_down", "fast_forward_dead", "rewind_dead"} & signs


def test_two_motors_with_a_glazed_tyre_wind_weakly_and_spill() -> None:
    """Tyre glazed: weak wind and spill in play (service manual and trade pages)."""
    signs = shown("two_motor_deck", Fault("idler_tyre", "glazed"))
    assert {"fast_forward_weak", "rewind_weak", "play_loop"} <= signs


def test_a_dead_lift_solenoid_lifts_nothing_and_leaves_winding_alone() -> None:
    signs = shown("two_motor_deck", Fault("lift_solenoid", "dead"))
    assert {"play_stays_down", "play_lift_solenoid_no_click"} <= signs
    assert not {"fast_forward_weak", "fast_forward_dead", "rewind_weak", "rewind_dead"} & signs


def test_a_dead_brake_solenoid_leaves_the_brakes_on() -> None:
    found = words("two_motor_deck", Fault("brake_solenoid", "dead"))
    assert found["tape@fast_forward"] in ("weak", "slow", "still")
    assert found["tape@rewind"] in ("weak", "slow", "still")
    assert found["head_base@play"] == "arrives"


def test_a_dragging_brake_winds_weakly_the_one_way_most() -> None:
    """Wind slow one way, squeal (from memory)."""
    found = words("two_motor_deck", Fault("takeup_brake", "dragging"))
    assert found["tape@fast_forward"] in ("weak", "slow", "still")
    assert found["rubs:takeup_reel@fast_forward"] == "yes"
    assert found["tape@rewind"] in ("right", "slow")


def test_a_brake_that_does_not_hold_throws_a_loop_on_stopping() -> None:
    """Trade page and memory."""
    assert "stop_overruns" in shown("two_motor_deck", Fault("supply_brake", "not_holding"))
    assert "stop_overruns" not in shown("two_motor_deck", Fault("supply_brake", "dragging"))


def test_a_snapped_lift_lever_clicks_and_lifts_nothing() -> None:
    signs = shown("two_motor_deck", Fault("lift_lever", "snapped"))
    assert "play_stays_down" in signs
    assert "play_lift_solenoid_no_click" not in signs


# --- a motor under each reel ------------------------------------------------------------------------------------------


def test_one_dead_reel_motor_fails_in_one_direction_only() -> None:
    """One reel motor weak: loose pack or weak wind in one direction only (trade page and memory)."""
    takeup = shown("direct_reels_deck", Fault("takeup_motor", "dead"))
    assert {"fast_forward_dead", "play_loop"} <= takeup
    assert not {"rewind_dead", "rewind_weak"} & takeup
    supply = shown("direct_reels_deck", Fault("supply_motor", "dead"))
    assert {"rewind_dead", "play_pack_loose"} <= supply
    assert not {"fast_forward_dead", "fast_forward_weak", "play_loop"} & supply


def test_direct_reels_have_no_idler_or_clutch_to_blame() -> None:
    kinds = {(one.part, one.fault.kind) for one in possible_faults(shipped("direct_reels_deck"))}
    assert not any("idler" in part or "clutch" in part for part, _ in kinds)


# --- direct drive -----------------------------------------------------------------------------------------------------


def test_direct_drive_never_has_a_capstan_belt_to_blame() -> None:
    assert not any("belt" in one.part for one in possible_faults(shipped("direct_drive_deck")))


def test_direct_drive_without_its_tacho_runs_away() -> None:
    """Runaway: loop or capacitors; no start: track or supply (trade pages)."""
    for fault in (Fault("tacho", "dead"), Fault("capstan_motor", "unregulated")):
        signs = shown("direct_drive_deck", fault)
        assert {"play_tape_races", "cassette_in_capstan_motor_races"} <= signs
        assert "play_capstan_still" not in signs
    assert "play_capstan_still" in shown("direct_drive_deck", Fault("capstan_motor", "dead"))


def test_direct_drive_feels_a_stiff_capstan_at_its_motor() -> None:
    assert words("direct_drive_deck", Fault("capstan", "seized"))["turns:capstan_motor@play"] == "still"
    dry = words("direct_drive_deck", Fault("capstan", "dry_bearing"))
    assert (dry["turns:capstan_motor@play"], dry["tape@play"]) == ("slow", "uneven")


# --- two capstans in one loop -----------------------------------------------------------------------------------------


def test_a_slack_inter_capstan_belt_loses_the_loop_and_still_plays() -> None:
    """Inter-capstan belt slack: the loop between the heads slackens, the level flutters (trade pages and memory)."""
    signs = shown("closed_loop_deck", Fault("inter_belt", "missing"))
    assert "play_level_flutters" in signs
    assert "play_tape_races" not in signs
    assert "play_level_flutters" not in shown("closed_loop_deck")


def test_a_glazed_supply_roller_creases_the_edge() -> None:
    """Glazed supply roller: edge damage in the loop."""
    assert "play_edge" in shown("closed_loop_deck", Fault("supply_roller", "glazed"))
    assert "play_edge" not in shown("closed_loop_deck", Fault("pinch_roller", "glazed"))


def test_in_the_loop_the_supply_side_still_feeds_when_the_leading_roller_is_gone() -> None:
    found = words("closed_loop_deck", Fault("pinch_roller", "low_force"))
    assert found["tape@play"] not in ("races", "still")
    assert found["head_loop@play"] == "slack"


# --- both ways --------------------------------------------------------------------------------------------------------


def test_a_bad_roller_of_one_side_leaves_the_other_alone() -> None:
    found = words("auto_reverse_deck", Fault("reverse_roller", "glazed"))
    assert found["tape@reverse_play"] != "right"
    assert found["tape@play"] == "right"
    found = words("auto_reverse_deck", Fault("pinch_roller", "glazed"))
    assert found["tape@play"] != "right"
    assert found["tape@reverse_play"] == "right"


def test_a_dead_direction_solenoid_leaves_forward_play_alone() -> None:
    signs = shown("auto_reverse_deck", Fault("direction_solenoid", "dead"))
    assert "reverse_play_direction_solenoid_no_click" in signs
    assert "reverse_play_tape_right" not in signs
    assert "play_tape_right" in signs


def test_a_slackening_belt_shows_first_in_the_reverse_direction() -> None:
    """The back of the S-routed belt wraps the reverse flywheel less (trade pages and a service manual)."""
    order = ["right", "slow", "uneven", "weak", "still", "loose"]
    worse = []
    for tenth in range(1, 11):
        found = words("auto_reverse_deck", Fault("capstan_belt", "slack", tenth / 10))
        forward = order.index(found["turns:flywheel@play"])
        back = order.index(found["turns:reverse_flywheel@reverse_play"])
        assert back >= forward
        worse.append(back > forward)
    assert any(worse)


def test_only_the_description_changes() -> None:
    """Let keys lift the head base of the deck with solenoids, and its dead solenoid no longer keeps it down."""

    def keys_lift(table: Table) -> None:
        table["head_base"]["lifted_by"] = "keys"
        del table["solenoids"]["lift_solenoid"]
        for mode in table["modes"].values():
            if "solenoids" in mode:
                mode["solenoids"] = [one for one in mode["solenoids"] if one != "lift_solenoid"]

    changed = described("two_motor_deck", keys_lift)
    dead = {sign.id for sign in signs_shown(applied(changed, [Fault("power_supply", "dead")]))}
    assert "play_stays_down" not in dead
    assert "play_stays_down" in shown("two_motor_deck", Fault("power_supply", "dead"))


def test_cue_review_and_pause_are_modes_like_others() -> None:
    """Cue and review wind with the head near the tape; in pause nothing moves it."""

    def with_more_modes(table: Table) -> None:
        modes = table["modes"]
        modes["cue"] = modes["fast_forward"] | {"head_base": "half"}
        modes["review"] = modes["rewind"] | {"head_base": "half"}
        modes["pause"] = {"motors": {"capstan_motor": 1.0}, "head_base": "half"}

    told = modes_told(described("four_track", with_more_modes))
    assert (told["cue"].tape, told["review"].tape, told["pause"].tape) == ("right", "right", "")
    glazed = applied(described("four_track", with_more_modes), [Fault("idler_tyre", "glazed")])
    assert "cue_weak" in {sign.id for sign in signs_shown(glazed)}


def test_a_record_switch_keeps_record_out_and_play_in() -> None:
    """One or two record switches: the tab matters for record only (owner's manuals)."""
    signs = shown("two_motor_deck", Fault("record_switch", "dirty"))
    assert "record_does_not_engage" in signs
    assert "play_tape_right" in signs


def test_a_stiff_swing_arm_leaves_the_reels_undriven() -> None:
    found = words("direct_drive_deck", Fault("swing_arm", "snapped"))
    assert found["tape@fast_forward"] == found["tape@rewind"] == "still"
    assert found["loop@play"] == "yes"
