"""Machines that differ from a shipped one by their description alone: what shows, and whom one suspects, follows.

The reasoning stands with each; all of it is common practice, without a source. No line of the program knows any of
these machines. Beliefs are taken with all parts equally likely beforehand, so that only the mechanism speaks.
"""

from collections.abc import Sequence

from tapewright.diagnose.beliefs import posterior, ranked
from tapewright.diagnose.likelihoods import of_observations
from tapewright.diagnose.network import network
from tapewright.faults.applied import Fault, applied
from tapewright.faults.consequences import outcome, signs_shown
from tapewright.machine.library import shipped
from tapewright.machine.parts import Machine
from tapewright.words.evidence import Observation
from tests.described import Table, described

EQUAL = 0.2
PLAYING = ("play", "record")


def shown(machine: Machine, *faults: Fault) -> set[str]:
    """What shows with these faults and not without."""
    usual = {sign.id for sign in signs_shown(machine)}
    return {sign.id for sign in signs_shown(applied(machine, faults))} - usual


def shares(machine: Machine, present: Sequence[str], absent: Sequence[str] = ()) -> dict[str, float]:
    """Who explains what was noticed, the best explanation first."""
    net = network(machine, None, EQUAL)
    told = [Observation(sign, True) for sign in present] + [Observation(sign, False) for sign in absent]
    beliefs, _ = ranked(net, posterior(net, of_observations(net, told)))
    return {belief.part: belief.explains_complaint for belief in beliefs}


def leader(machine: Machine, present: Sequence[str], absent: Sequence[str] = ()) -> str:
    return next(iter(shares(machine, present, absent)))


def plays_and_winds(machine: Machine) -> bool:
    values = outcome(machine).values
    return all(values[f"tape@{mode}"] == "right" for mode in ("play", "fast_forward", "rewind"))


# --- what drives the reels --------------------------------------------------------------------------------------------


def rewind_by_its_own_belt(table: Table) -> None:
    table["rotors"]["rewind_pulley"] = {"kind": "pulley", "diameter_mm": 30.0}
    table["rotors"]["rewind_pinion"] = {"kind": "gear", "on": "rewind_pulley", "teeth": 20, "diameter_mm": 10.0}
    table["rotors"]["supply_reel"]["teeth"] = 60
    couplings = table["couplings"]
    couplings["rewind_belt"] = belt("reel_pulley", "rewind_pulley")
    couplings["rewind_mesh"] = {"kind": "gear", "path": ["rewind_pinion", "supply_reel"], "switched": True}
    del couplings["idler_to_supply"]
    table["modes"]["rewind"]["engaged"] = ["rewind_mesh"]


def belt(*path: str) -> dict[str, object]:
    return {"kind": "belt", "path": list(path), "width_mm": 1.2, "thickness_mm": 1.2}


def clutch(*path: str) -> dict[str, object]:
    return {"kind": "clutch", "path": list(path), "switched": True, "torque_gcm": 50.0}


def test_rewind_by_its_own_belt_outlives_the_idler() -> None:
    """A belt of its own from the reel motor turns the supply reel in rewind. A dead idler then takes fast forward and
    the take-up with it, but leaves rewind alive; where both ways go through the idler, both fail."""
    usual, changed = shipped("four_track"), described("four_track", rewind_by_its_own_belt)
    glazed = Fault("idler_tyre", "glazed")
    assert plays_and_winds(changed)
    assert {"fast_forward_weak", "rewind_weak"} <= shown(usual, glazed)
    assert "fast_forward_weak" in shown(changed, glazed)
    assert "rewind_weak" not in shown(changed, glazed)
    assert "rewind_dead" in shown(changed, Fault("rewind_belt", "missing"))
    assert leader(usual, ["rewind_weak", "fast_forward_weak"]) == "idler_tyre"
    assert shares(changed, ["rewind_weak"])["idler_tyre"] < 0.01
    assert shares(changed, ["rewind_dead"])["rewind_belt"] > 0.05


def capstan_shaft_takes_up(table: Table) -> None:
    table["rotors"]["takeup_groove"] = {"kind": "pulley", "on": "capstan_motor", "diameter_mm": 20.0}
    table["rotors"]["clutch_pulley"] = {"kind": "pulley", "diameter_mm": 30.0}
    table["couplings"]["takeup_belt"] = belt("takeup_groove", "clutch_pulley")
    table["couplings"]["takeup_clutch"] = clutch("clutch_pulley", "takeup_reel")
    for mode in PLAYING:
        del table["modes"][mode]["motors"]["reel_motor"]
        table["modes"][mode]["engaged"] = ["nip", "takeup_clutch"]


def test_take_up_from_the_capstan_shaft_does_not_need_the_reel_motor() -> None:
    """The capstan's own shaft drives a clutch on the take-up reel, so that play needs the capstan motor only. A dead
    reel motor stops both windings and no longer spills tape; a loop in play speaks for belt and clutch instead."""
    usual, changed = shipped("direct_drive_deck"), described("direct_drive_deck", capstan_shaft_takes_up)
    dead = Fault("reel_motor", "dead")
    assert plays_and_winds(changed)
    assert {"play_loop", "fast_forward_dead", "rewind_dead"} <= shown(usual, dead)
    assert {"fast_forward_dead", "rewind_dead"} <= shown(changed, dead)
    assert "play_loop" not in shown(changed, dead)
    assert "play_loop" in shown(changed, Fault("takeup_clutch", "worn_felt"))
    assert shares(usual, ["play_loop"])["reel_motor"] > 0.1
    assert shares(changed, ["play_loop"])["reel_motor"] < 0.01
    assert leader(changed, ["play_loop"]) in ("takeup_belt", "takeup_clutch")


def one_motor_for_all(table: Table) -> None:
    for rotor in table["rotors"].values():
        rotor.pop("position_mm", None)
    del table["rotors"]["reel_motor"]
    table["rotors"]["reel_pulley"]["on"] = "capstan_motor"
    table["rotors"]["clutch_pulley"] = {"kind": "pulley", "diameter_mm": 40.0}
    table["couplings"]["takeup_belt"] = belt("flywheel", "clutch_pulley")
    table["couplings"]["takeup_clutch"] = clutch("clutch_pulley", "takeup_reel")
    for mode in table["modes"].values():
        mode["motors"].pop("reel_motor", None)
    for name in PLAYING:
        table["modes"][name]["engaged"] = ["nip", "takeup_clutch"]
    table["modes"]["rewind"]["motors"] = {"capstan_motor": -1.0}


WINDS_NEITHER_WAY = ("fast_forward_dead", "rewind_dead")


def test_one_motor_for_all_takes_the_winding_with_it() -> None:
    """One motor drives capstan and reels. When it is dead nothing winds either, where a second motor would go on
    winding; and with the capstan belt gone the take-up, which hangs on the flywheel, cannot pull the tape through."""
    usual, changed = shipped("two_motor_deck"), described("two_motor_deck", one_motor_for_all)
    dead, missing = Fault("capstan_motor", "dead"), Fault("capstan_belt", "missing")
    assert plays_and_winds(changed)
    assert "play_tape_still" in shown(usual, dead) & shown(changed, dead)
    assert not set(WINDS_NEITHER_WAY) & shown(usual, dead)
    assert set(WINDS_NEITHER_WAY) <= shown(changed, dead)
    assert "play_tape_races" in shown(usual, missing)
    assert "play_tape_races" not in shown(changed, missing)
    assert shares(usual, WINDS_NEITHER_WAY)["capstan_motor"] < 0.01
    assert shares(changed, WINDS_NEITHER_WAY)["capstan_motor"] > 0.05
    assert leader(usual, ["play_tape_races"], ["play_stays_down"]) == "capstan_belt"
    assert shares(changed, ["play_tape_races"], ["play_stays_down"])["capstan_belt"] < 0.01


def felt_holds_back(table: Table) -> None:
    table["couplings"]["supply_drag"] = {"kind": "drag", "path": ["supply_reel"], "torque_gcm": 3.0}
    for name in (*PLAYING, "fast_forward"):
        del table["modes"][name]["motors"]["supply_motor"]


def test_a_felt_holds_back_where_the_motor_is_dead() -> None:
    """A felt under the supply reel holds the tape back, and the motor there only rewinds. When that motor is dead the
    pack stays tight; a loose pack speaks for the felt, where it spoke for the motor that was fed against the tape."""
    usual, changed = shipped("direct_reels_deck"), described("direct_reels_deck", felt_holds_back)
    dead = Fault("supply_motor", "dead")
    assert plays_and_winds(changed)
    assert {"play_pack_loose", "rewind_dead"} <= shown(usual, dead)
    assert "rewind_dead" in shown(changed, dead)
    assert "play_pack_loose" not in shown(changed, dead)
    assert "play_pack_loose" in shown(changed, Fault("supply_drag", "too_low"))
    assert leader(usual, ["play_pack_loose"]) == "supply_motor"
    assert leader(changed, ["play_pack_loose"]) == "supply_drag"
    assert shares(changed, ["play_pack_loose"])["supply_motor"] < 0.01


# --- what lifts, what frees -------------------------------------------------------------------------------------------


def a_solenoid_lifts(table: Table) -> None:
    """A solenoid lifts the head base; the cam goes on turning, and brings the idler to the take-up reel."""
    table["head_base"]["lifted_by"] = "lift_solenoid"
    table["solenoids"] = {"lift_solenoid": {}}
    del table["sensors"]["cam_switch"]
    table["couplings"]["idler_to_takeup"]["by"] = "cam"
    for mode in PLAYING:
        table["modes"][mode]["solenoids"] = ["lift_solenoid"]


def its_drive_first(table: Table) -> None:
    """The same, the cam's own drive described before what the cam brings in."""
    a_solenoid_lifts(table)
    couplings = table["couplings"]
    table["couplings"] = {name: couplings.pop(name) for name in ("cam_belt", "cam_worm")} | couplings


def test_with_a_solenoid_that_lifts_the_cam_belt_no_longer_does() -> None:
    """A solenoid lifts the head base, and the cam with its belt only brings the idler in. A missing cam belt then lets
    the heads rise and the tape spill, where it kept the heads down before."""
    usual, changed = shipped("four_track"), described("four_track", its_drive_first)
    missing = Fault("cam_belt", "missing")
    assert plays_and_winds(changed)
    assert "play_stays_down" in shown(usual, missing)
    assert "play_loop" not in shown(usual, missing)
    assert "play_stays_down" not in shown(changed, missing)
    assert {"play_loop", "play_takeup_reel_stands"} <= shown(changed, missing)
    assert leader(usual, ["play_stays_down"]) == "cam_belt"
    assert shares(changed, ["play_stays_down"])["cam_belt"] < 0.01
    assert shares(changed, ["play_stays_down"])["lift_solenoid"] > 0.15
    assert shares(usual, ["play_loop"])["cam_belt"] < 0.01
    assert shares(changed, ["play_loop"])["cam_belt"] > 0.1


def test_the_order_of_the_description_does_not_matter() -> None:
    """The same machine, the cam's drive described last: nothing may follow from the order in which things are told."""
    missing = Fault("cam_belt", "missing")
    first, last = (described("four_track", change) for change in (its_drive_first, a_solenoid_lifts))
    assert shown(last, missing) == shown(first, missing)


def head_base_frees_the_brakes(table: Table) -> None:
    """There is no brake solenoid: the head base, half up in winding, frees the brakes."""
    del table["solenoids"]["brake_solenoid"]
    for brake in ("takeup_brake", "supply_brake"):
        table["couplings"][brake]["by"] = "head_base"
    for name in (*PLAYING, "fast_forward", "rewind"):
        table["modes"][name]["solenoids"] = ["lift_solenoid"]
    for name in ("fast_forward", "rewind"):
        table["modes"][name] |= {"head_base": "half", "moves_head_base": True}


def test_brakes_that_the_head_base_frees_stay_on_with_it() -> None:
    """The head base takes the brakes off on its way. When its solenoid is dead winding drags as well, where a solenoid
    of the brakes' own leaves winding alone; so heads that stay down and weak winding have one cause, not two."""
    usual, changed = shipped("two_motor_deck"), described("two_motor_deck", head_base_frees_the_brakes)
    dead = Fault("lift_solenoid", "dead")
    weak = {"fast_forward_weak", "rewind_weak"}
    assert plays_and_winds(changed)
    assert "play_stays_down" in shown(usual, dead) & shown(changed, dead)
    assert not weak & shown(usual, dead)
    assert weak <= shown(changed, dead)
    assert weak <= shown(usual, Fault("brake_solenoid", "dead"))
    told = ["play_stays_down", *sorted(weak)]
    assert shares(changed, sorted(weak))["lift_solenoid"] > 0.05 > 0.01 > shares(usual, sorted(weak))["lift_solenoid"]
    assert shares(changed, told)["lift_solenoid"] > 1.5 * shares(usual, told)["lift_solenoid"]


def roller_has_its_solenoid(table: Table) -> None:
    table["couplings"]["nip"]["by"] = "pinch_solenoid"
    table["solenoids"]["pinch_solenoid"] = {}
    for name in PLAYING:
        table["modes"][name]["solenoids"] = [*table["modes"][name]["solenoids"], "pinch_solenoid"]


RACES_HEADS_UP = (["play_tape_races"], ["play_stays_down", "play_capstan_still"])


def test_a_roller_with_its_own_solenoid_can_stay_away_by_itself() -> None:
    """A second solenoid presses the roller once the heads are up. When it is dead the heads rise, the capstan turns and
    the tape races all the same: the new first suspect for it, on a machine where there was none so clear."""
    usual, changed = shipped("two_motor_deck"), described("two_motor_deck", roller_has_its_solenoid)
    signs = shown(changed, Fault("pinch_solenoid", "dead"))
    assert plays_and_winds(changed)
    assert {"play_tape_races", "play_pinch_solenoid_no_click"} <= signs
    assert not {"play_stays_down", "play_capstan_still"} & signs
    assert leader(changed, *RACES_HEADS_UP) == "pinch_solenoid"
    assert shares(changed, *RACES_HEADS_UP)["pinch_solenoid"] > 0.2
    assert leader(usual, *RACES_HEADS_UP) in ("head_base", "lift_lever", "pinch_roller")


# --- what the logic knows ---------------------------------------------------------------------------------------------


def sensor_on_the_supply_side(table: Table) -> None:
    table["couplings"]["counter_belt"]["path"] = ["supply_reel", "counter"]


SPILLS_AND_STOPS = ["play_stops", "play_loop"]


def test_a_sensor_on_the_supply_side_does_not_see_the_take_up_stand() -> None:
    """The pulses come from the supply side, which the capstan's pull keeps turning while tape piles up before a dead
    take-up: the machine spills on. The counter belt still stops it when it is gone, as before. So a loop together with
    a stop is the take-up drive's doing on the one machine, and asks for a second culprit on the other."""
    usual, changed = shipped("four_track"), described("four_track", sensor_on_the_supply_side)
    dead = Fault("reel_motor", "dead")
    assert plays_and_winds(changed)
    assert {"play_loop", "play_stops"} <= shown(usual, dead)
    assert "play_loop" in shown(changed, dead)
    assert "play_stops" not in shown(changed, dead)
    assert "play_stops" in shown(usual, Fault("counter_belt", "missing"))
    assert "play_stops" in shown(changed, Fault("counter_belt", "missing"))
    assert leader(usual, SPILLS_AND_STOPS) in ("takeup_reel", "idler_tyre", "reel_motor")
    assert leader(changed, SPILLS_AND_STOPS) in ("counter_belt", "reel_sensor")
    assert shares(usual, SPILLS_AND_STOPS)["counter_belt"] < 0.1


def sensor_under_the_reel(table: Table) -> None:
    table["sensors"]["reel_sensor"]["senses"] = "takeup_reel"


def test_a_sensor_under_the_reel_makes_the_counter_belt_harmless() -> None:
    """A magnet under the take-up reel gives the pulses. A snapped counter belt then stops the counter and nothing else,
    where it stopped the machine; and a machine that stops does not speak against that belt any more."""
    usual, changed = shipped("four_track"), described("four_track", sensor_under_the_reel)
    missing = Fault("counter_belt", "missing")
    stops = (["play_stops"], ["play_loop"])
    assert plays_and_winds(changed)
    assert {"play_stops", "play_counter_still"} <= shown(usual, missing)
    assert "play_counter_still" in shown(changed, missing)
    assert not {"play_stops", "fast_forward_stops", "rewind_stops"} & shown(changed, missing)
    assert shares(usual, *stops)["counter_belt"] > 0.05
    assert shares(changed, *stops)["counter_belt"] < 0.01


def auto_stop_on_the_take_up(table: Table) -> None:
    table["sensors"]["auto_stop"] = {"kind": "auto_stop", "senses": "takeup_reel"}


def test_with_a_mechanical_auto_stop_a_machine_that_goes_on_clears_the_take_up() -> None:
    """A lever feels the take-up reel and frees the keys when it stands; without it a broken take-up goes on spilling. A
    counter that stands while the machine plays on then clears the take-up drive and leaves the counter's own belt; on
    the plain machine that question cannot even be asked."""
    plain, changed = shipped("one_motor_portable"), described("one_motor_portable", auto_stop_on_the_take_up)
    missing = Fault("clutch_belt", "missing")
    assert plays_and_winds(changed)
    assert "play_loop" in shown(plain, missing) & shown(changed, missing)
    assert "play_stops" in shown(changed, missing)
    assert "play_stops" not in network(plain).signs
    counter_stands = (["play_counter_still"], ["play_tape_still"])
    goes_on = (["play_counter_still"], ["play_tape_still", "play_stops"])
    assert leader(plain, *counter_stands) == "clutch_belt"
    assert leader(changed, *counter_stands) == "clutch_belt"
    assert leader(changed, *goes_on) == "counter_belt"
    assert shares(changed, *goes_on)["clutch_belt"] < 0.05


def capstan_motor_waits(table: Table) -> None:
    table["modes"]["cassette_in"]["motors"] = {}


STANDS_AND_FALLS_BACK = (["play_capstan_still", "play_falls_back"], ["play_stays_down"])


def test_a_capstan_motor_that_waits_hangs_on_the_position_switch() -> None:
    """Nothing runs with a cassette in; in play the capstan motor waits until the cam's switch reports. A dirty switch
    then keeps the capstan still, where it ran already: a capstan that stands accuses the switch, not its belt."""
    usual, changed = shipped("four_track"), described("four_track", capstan_motor_waits)
    dirty = Fault("cam_switch", "dirty")
    assert plays_and_winds(changed)
    assert "play_falls_back" in shown(usual, dirty) & shown(changed, dirty)
    assert "play_capstan_still" not in shown(usual, dirty)
    assert "play_capstan_still" in shown(changed, dirty)
    belt, switch = (shares(usual, *STANDS_AND_FALLS_BACK)[name] for name in ("capstan_belt", "cam_switch"))
    assert belt > switch > 0.05
    assert leader(changed, *STANDS_AND_FALLS_BACK) == "cam_switch"
    assert shares(changed, *STANDS_AND_FALLS_BACK)["capstan_belt"] < 0.05


def play_needs_no_cassette_switch(table: Table) -> None:
    table["sensors"]["cassette_switch"]["allows"] = ["cassette_in"]


NOTHING_AT_ALL = ["cassette_in_nothing_starts", "play_tape_still"]


def test_a_cassette_switch_that_only_wakes_the_motor_leaves_play_alone() -> None:
    """The switch starts the capstan motor when a cassette goes in, and the keys work without it. A dirty one then keeps
    the motor silent until a key is pressed, and all modes run; before, nothing ran at all. So a machine that neither
    wakes nor plays loses its first suspect."""
    usual, changed = shipped("four_track"), described("four_track", play_needs_no_cassette_switch)
    dirty = Fault("cassette_switch", "dirty")
    assert plays_and_winds(changed)
    assert "cassette_in_nothing_starts" in shown(usual, dirty) & shown(changed, dirty)
    assert {"play_tape_still", *WINDS_NEITHER_WAY} <= shown(usual, dirty)
    assert not {"play_tape_still", *WINDS_NEITHER_WAY} & shown(changed, dirty)
    before, after = shares(usual, NOTHING_AT_ALL)["cassette_switch"], shares(changed, NOTHING_AT_ALL)["cassette_switch"]
    assert before > after
    assert leader(changed, NOTHING_AT_ALL) != "cassette_switch"


# --- what sets the tape's speed ---------------------------------------------------------------------------------------


def one_roller(table: Table) -> None:
    del table["couplings"]["supply_nip"], table["rotors"]["supply_roller"]
    table["head_base"]["carries"] = ["pinch_roller"]
    for name in PLAYING:
        table["modes"][name]["engaged"].remove("supply_nip")


RACES_THOUGH_LIFTED = (["play_tape_races"], ["play_stays_down", "play_rises_part_way", "play_lift_solenoid_no_click"])


def test_with_one_roller_nothing_holds_the_tape_when_it_fails() -> None:
    """Without the supply side roller there is no second one to hold the tape when the first lets go: then it races,
    where only the loop before the heads slackened. A tape that races is the roller's doing here alone."""
    usual, changed = shipped("closed_loop_deck"), described("closed_loop_deck", one_roller)
    weak = Fault("pinch_roller", "low_force")
    assert plays_and_winds(changed)
    assert "play_level_flutters" in shown(usual, weak)
    assert "play_tape_races" not in shown(usual, weak)
    assert "play_tape_races" in shown(changed, weak)
    assert "play_level_flutters" not in network(changed).signs
    assert leader(changed, *RACES_THOUGH_LIFTED) == "pinch_roller"
    assert shares(changed, *RACES_THOUGH_LIFTED)["pinch_roller"] > 0.2
    assert shares(usual, *RACES_THOUGH_LIFTED)["pinch_roller"] < 0.1


def tacho_on_the_capstan_motor(table: Table) -> None:
    table["sensors"]["tacho"] = {"kind": "tacho", "senses": "capstan_motor"}


def test_with_a_tacho_the_tape_can_race_and_the_capstan_turn() -> None:
    """A tacho regulates the capstan motor: without its pulses the motor runs away, and the tape races although roller
    and capstan hold it. Where the motor minds itself a racing tape means that they do not."""
    usual, changed = shipped("two_motor_deck"), described("two_motor_deck", tacho_on_the_capstan_motor)
    signs = shown(changed, Fault("tacho", "dead"))
    assert plays_and_winds(changed)
    assert {"play_tape_races", "cassette_in_capstan_motor_races"} <= signs
    assert not {"play_capstan_still", "play_stays_down"} & signs
    turns = (["play_tape_races", "cassette_in_capstan_motor_races"], ["play_capstan_still"])
    assert leader(usual, *turns) == "capstan_belt"
    assert leader(changed, *turns) == "tacho"
    assert leader(changed, *RACES_HEADS_UP) == "tacho"
