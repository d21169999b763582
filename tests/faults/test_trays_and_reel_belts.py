"""Trays, back-tension belts, belts of their own for the reels, rim drives: what shows, and whom one suspects, follows.

As in `test_counterfactual_machines` the machines differ by their description alone, and the reasoning stands with each;
where no source is named it is common practice. Beliefs are taken with all parts equally likely beforehand.
"""

import pytest

from tapewright.diagnose.likelihoods import of_observations
from tapewright.diagnose.network import network
from tapewright.diagnose.rescue import tape_held
from tapewright.faults.applied import Fault, applied
from tapewright.faults.catalogue import possible_faults
from tapewright.faults.consequences import outcome
from tapewright.machine.library import shipped
from tapewright.machine.parts import Machine
from tapewright.words.evidence import Observation
from tests.described import Table, described
from tests.faults.test_counterfactual_machines import leader, plays_and_winds, shares, shown

TRAY, REELS, RIM, PORTABLE = "tray_deck", "belt_reels_portable", "rim_drive_recorder", "one_motor_portable"


def word(machine: Machine, node: str, *faults: Fault) -> str:
    return outcome(applied(machine, faults)).values[node]


# --- back tension -----------------------------------------------------------------------------------------------------


def felt_on_the_reel(table: Table) -> None:
    del table["couplings"]["back_tension_belt"], table["rotors"]["felt_pulley"]
    table["couplings"]["supply_drag"]["path"] = ["supply_reel"]


def test_without_its_belt_the_supply_reel_runs_loose() -> None:
    """A lost belt holds nothing back: the pack weaves in play, and where no brake stops the reels a loop is thrown when
    winding stops. Speed and take-up stay as they are."""
    signs = shown(shipped(TRAY), Fault("back_tension_belt", "missing"))
    assert {"play_pack_loose", "play_supply_reel_runs_loose", "stop_overruns"} <= signs
    assert not [sign for sign in signs if sign.startswith(("rewind", "fast_forward_weak", "play_tape"))]


def test_a_drum_tight_back_tension_belt_strains_take_up_and_tape() -> None:
    """Too much hold-back: uneven speed and weak winding, as with a felt that holds too hard (service manuals, from
    memory: over 7 g·cm slow, high flutter)."""
    tight, hard = Fault("back_tension_belt", "too_short"), Fault("supply_drag", "too_high")
    for fault in (tight, hard):
        signs = shown(shipped(TRAY), fault)
        assert {"play_supply_reel_holds_hard", "play_tape_uneven", "fast_forward_weak"} <= signs


@pytest.mark.slow
def test_a_loose_pack_speaks_for_the_belt_only_where_there_is_one() -> None:
    """The same complaint on two descriptions: with a belt between reel and felt two parts can have let go, and the belt
    is suspected as much as the felt; where the felt rubs on the reel itself there is one suspect for both."""
    by_belt, direct = shipped(TRAY), described(TRAY, felt_on_the_reel)
    assert plays_and_winds(direct)
    told = shares(by_belt, ["play_pack_loose", "stop_overruns"])
    assert list(told)[:2] in (["supply_drag", "back_tension_belt"], ["back_tension_belt", "supply_drag"])
    assert told["back_tension_belt"] > 0.2
    assert "back_tension_belt" not in {one.part for one in possible_faults(direct)}
    assert leader(direct, ["play_pack_loose"]) == "supply_drag"


# --- trays ------------------------------------------------------------------------------------------------------------


def tray_by_the_flywheel(table: Table) -> None:
    """The tray's wheel is belted to the motor that turns the flywheel; there is no tray motor."""
    del table["rotors"]["tray_motor"]
    table["rotors"]["tray_pulley"]["on"] = "flywheel"
    table["modes"]["close_tray"]["motors"] = {"capstan_motor": 1.0}
    table["modes"]["open_tray"]["motors"] = {"capstan_motor": -1.0}


def test_a_tray_that_does_not_go_in_lets_nothing_else_start() -> None:
    """The logic waits for the tray's switch: with the tray out no key is answered, and no motor starts."""
    signs = shown(shipped(TRAY), Fault("tray_belt", "missing"))
    assert {"close_tray_stays_out", "cassette_in_keys_dead", "play_tape_still", "rewind_dead"} <= signs
    assert "close_tray_returns" not in signs


def test_a_weak_tray_belt_glides_and_does_not_press_the_cassette_down() -> None:
    """Stretched but still there: the tray glides in, cannot press the cassette down, and the logic sends it out again;
    a light push helps. A dirty switch sends it out again too, but there a push helps nothing, and it goes all the way
    in."""
    machine = shipped(TRAY)
    weak, switch = Fault("tray_belt", "slack", 0.8), Fault("tray_switch", "dirty")
    assert {"close_tray_returns", "close_tray_stops_short", "close_tray_stays_when_helped"} <= shown(machine, weak)
    assert "close_tray_returns" in shown(machine, switch)
    assert not {"close_tray_stops_short", "close_tray_stays_when_helped"} & shown(machine, switch)
    returns = ["close_tray_returns"]
    assert leader(machine, [*returns, "close_tray_stops_short", "close_tray_stays_when_helped"]) == "tray_belt"
    assert leader(machine, returns, ["close_tray_stops_short", "close_tray_stays_when_helped"]) == "tray_switch"


def test_a_tray_motor_that_is_heard_leaves_belt_and_gears() -> None:
    machine = shipped(TRAY)
    assert leader(machine, ["close_tray_stays_out", "close_tray_tray_motor_races"]) == "tray_belt"
    assert shares(machine, ["close_tray_stays_out", "close_tray_tray_motor_heard"])["tray_motor"] < 0.05


def test_heads_that_stay_up_hold_the_tray() -> None:
    """Trade note: a tray does not come out while the heads stand against the tape. The tape is held, so it is the first
    thing to be freed."""
    machine = shipped(TRAY)
    assert word(machine, "lid@open_tray", Fault("cam", "jammed")) == "stuck"
    net = network(machine)
    assert tape_held(net, of_observations(net, [Observation("open_tray_stays_in", True)]))


@pytest.mark.slow
def test_a_tray_that_hangs_on_the_flywheel_fails_with_the_capstan_belt() -> None:
    """Trade note (repair diary): where the flywheel drives tray and head lift, a stretched capstan belt stops both.
    With a tray motor the tray goes in all the same, and only the heads stay down."""
    usual, changed = shipped(TRAY), described(TRAY, tray_by_the_flywheel)
    gone = Fault("capstan_belt", "missing")
    assert plays_and_winds(changed)
    assert "close_tray_stays_out" not in shown(usual, gone)
    assert "play_stays_down" in shown(usual, gone)
    assert "close_tray_stays_out" in shown(changed, gone)
    assert shares(usual, ["close_tray_stays_out"])["capstan_belt"] < 0.01
    assert shares(changed, ["close_tray_stays_out"])["capstan_belt"] > 0.05


# --- belts to the reels -----------------------------------------------------------------------------------------------


def test_rewind_lives_on_its_own_belt_when_the_main_belt_is_gone() -> None:
    """No play, no fast forward, but rewind: where the motor turns the rewind pulley by a belt of its own, that is the
    main belt. Where all of it hangs on one belt, rewind would be dead as well, and something else is suspected."""
    own, shared = shipped(REELS), shipped(PORTABLE)
    gone = Fault("capstan_belt", "missing")
    assert {"play_tape_still", "fast_forward_dead"} <= shown(own, gone)
    assert "rewind_dead" not in shown(own, gone)
    assert "rewind_dead" in shown(shared, gone)
    told = (["play_tape_still", "fast_forward_dead"], ["rewind_dead"])
    assert leader(own, *told) == "capstan_belt"
    assert shares(own, *told)["capstan_belt"] > 0.5
    assert leader(shared, *told) != "capstan_belt"


def test_dead_rewind_alone_is_the_rewind_belt_where_there_is_one() -> None:
    """The same complaint, machine with and without a rewind belt of its own: the belt here, wheel or reel there."""
    own, shared = shipped(REELS), shipped(PORTABLE)
    told = (["rewind_dead"], ["fast_forward_dead"])
    assert leader(own, *told) == "rewind_belt"
    assert leader(shared, *told) in ("supply_reel", "rewind_wheel")
    assert word(own, "tape@play", Fault("rewind_belt", "missing")) == "right"


# --- rim drive --------------------------------------------------------------------------------------------------------


def belt_in_place_of_the_wheel(table: Table) -> None:
    for name in ("motor_to_wheel", "wheel_to_rim"):
        del table["couplings"][name]
    del table["rotors"]["drive_wheel"]
    for rotor in table["rotors"].values():
        rotor.pop("position_mm", None)
    table["couplings"]["capstan_belt"] = {
        "kind": "belt", "path": ["motor_pulley", "flywheel"], "width_mm": 5.0, "thickness_mm": 0.6,
    }  # fmt: skip
    for mode in table["modes"].values():
        if mode["motors"]:
            mode["motors"] = {"capstan_motor": 1.0}


@pytest.mark.slow
def test_a_crumbled_drive_wheel_is_to_a_rim_drive_what_a_lost_belt_is_to_a_belt() -> None:
    """Motor heard, capstan and reels still: with a rim drive the wheel is suspected, with a belt the belt."""
    rim, belted = shipped(RIM), described(RIM, belt_in_place_of_the_wheel)
    dead = {"play_capstan_still", "play_tape_still", "fast_forward_dead", "rewind_dead"}
    assert plays_and_winds(belted)
    assert dead <= shown(rim, Fault("drive_wheel", "crumbled"))
    assert dead <= shown(belted, Fault("capstan_belt", "missing"))
    told = [*sorted(dead), "play_capstan_motor_races"]
    assert leader(rim, told) == "drive_wheel"
    assert leader(belted, told) == "capstan_belt"


def test_a_flat_on_the_drive_wheel_is_heard_in_the_pitch() -> None:
    """A rubber wheel that rested against a shaft thumps at its own rate (from memory)."""
    assert "play_wavers_regularly" in shown(shipped(RIM), Fault("drive_wheel", "flat_spot"))
    assert "play_wavers_regularly" not in shown(shipped(RIM), Fault("idler_tyre", "flat_spot"))


def test_a_part_is_heard_only_in_modes_in_which_it_turns() -> None:
    """A cracked gear of the tray clicks while the tray moves and not while a tape plays; the swing gear the
    other way round; a cam stands in both once the head base has come. From the description of what turns when."""
    noises = {
        part: {one for one in shown(shipped(TRAY), Fault(part, "cracked")) if one.endswith("_noise")}
        for part in ("tray_mesh", "cam_gear", "swing_drive")
    }
    assert noises["tray_mesh"] == {"close_tray_noise", "open_tray_noise"}
    assert not noises["cam_gear"]
    assert noises["swing_drive"] == {"play_noise", "fast_forward_noise", "rewind_noise"}
