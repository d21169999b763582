"""How it came, what helps it on, what fell out: facts are common practice, without a source, unless it says so."""

import pytest

from tapewright.diagnose.beliefs import posterior, ranked
from tapewright.diagnose.likelihoods import of_observations
from tapewright.diagnose.network import network, speaking_of
from tapewright.faults.applied import Fault, applied, imperfections_of, parse_fault
from tapewright.faults.catalogue import catalogue
from tapewright.faults.consequences import outcome, signs_shown
from tapewright.faults.two_moments import by_tries, helped_on, motor_helped_on, only_stiff, only_when_warm
from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.parts import SOUND, WAYS_TO_COME_ON, Machine
from tapewright.words.evidence import Observation
from tests.described import Table, described


def shown(machine: Machine, *faults: str) -> set[str]:
    """What shows with these faults and not without."""
    worn = applied(machine, [parse_fault(machine, fault) for fault in faults])
    return {sign.id for sign in signs_shown(worn)} - {sign.id for sign in signs_shown(machine)}


def explained(machine_id: str, *told: str, unseen: tuple[str, ...] = ()) -> dict[str, float]:
    """Who explains what was told, the best explanation first."""
    net = speaking_of(network(shipped(machine_id)), told)
    observations = [Observation(sign, True) for sign in told] + [Observation(sign, False) for sign in unseen]
    beliefs, _ = ranked(net, posterior(net, of_observations(net, observations)))
    return {belief.part: belief.explains_complaint for belief in beliefs}


def out_of_order(machine_id: str, part: str, kind: str, *told: str) -> float:
    """How likely a part has this kind of fault once this was told."""
    net = speaking_of(network(shipped(machine_id)), told)
    found = posterior(net, of_observations(net, [Observation(sign, True) for sign in told])).states[part][0]
    return float(sum(chance for state, chance in zip(net.parts[part].states, found, strict=True) if state[0] == kind))


# --- how it came ------------------------------------------------------------------------------------------------------


def test_every_kind_of_fault_says_how_it_comes_on() -> None:
    for fault in catalogue():
        assert fault.comes_on in WAYS_TO_COME_ON
        assert imperfections_of(fault, max(fault.severities)).came_on == fault.comes_on
        assert imperfections_of(fault, 0.0).came_on == SOUND.came_on == ""
    assert {fault.comes_on for fault in catalogue()} == set(WAYS_TO_COME_ON)


def test_how_it_came_follows_from_what_the_mode_hangs_on() -> None:
    """A belt that snaps fails at once; one that hardens does so at rest; a belt of the wrong size came with a repair.

    A counter belt that snaps stops no winding on a machine that does not watch its counter.
    """
    machine = shipped("one_motor_portable")
    ways = {"play_came_suddenly", "play_came_with_rest", "play_came_with_handling"}
    assert shown(machine, "capstan_belt=missing") & ways == {"play_came_suddenly"}
    assert shown(machine, "capstan_belt=slack") & ways == {"play_came_with_rest"}
    assert shown(machine, "capstan_belt=too_long") & ways == {"play_came_with_handling"}
    assert not shown(machine, "counter_belt=missing") & {"fast_forward_came_suddenly", "play_came_suddenly"}
    assert "fast_forward_came_suddenly" in shown(shipped("two_motor_deck"), "counter_belt=missing")


@pytest.mark.parametrize(("told", "more"), [("play_came_suddenly", "missing"), ("play_came_with_handling", "too_long")])
def test_how_it_came_moves_the_kinds_that_come_so(told: str, more: str) -> None:
    alone = ("play_tape_still",)
    assert out_of_order("one_motor_portable", "capstan_belt", more, *alone, told) > 1.1 * out_of_order(
        "one_motor_portable", "capstan_belt", more, *alone
    )
    assert out_of_order("one_motor_portable", "capstan_belt", "missing", *alone, "play_came_slowly") < out_of_order(
        "one_motor_portable", "capstan_belt", "missing", *alone
    )


# --- what helps it on -------------------------------------------------------------------------------------------------


def test_a_slack_belt_takes_hold_after_some_presses_or_with_a_push() -> None:
    """Trade pages: a stretched belt starts the flywheel only when it is helped, and then carries it."""
    machine = shipped("one_motor_portable")
    signs = shown(machine, "capstan_belt=slack:0.8")
    assert {"play_flywheel_runs_when_helped", "play_only_after_tries"} <= signs
    assert "play_flywheel_runs_when_helped" not in shown(machine, "capstan_belt=missing")


def test_a_motor_with_a_dead_place_runs_once_it_is_turned() -> None:
    """Trade page: will not restart unless it is turned by hand."""
    signs = shown(shipped("one_motor_portable"), "capstan_motor=dead_spot")
    assert {"play_capstan_motor_runs_when_helped", "play_only_after_tries"} <= signs
    assert "play_capstan_motor_runs_when_helped" not in shown(shipped("one_motor_portable"), "capstan_motor=dead")


def test_from_rest_more_is_asked_than_to_keep_on() -> None:
    """Slow obvious cases: what holds easily needs no push, what slips through even running is not helped by one."""
    assert helped_on("right", "full free", 8.0) == "no"
    assert helped_on("right", "faint free", 5.0) == "yes"
    assert helped_on("right", "none", 5.0) == "no"
    assert helped_on("still", "full free", 5.0) == "no"
    assert helped_on("at_times", "full free", 5.0) == "yes"
    assert [motor_helped_on(run) for run in ("right", "at_times", "weak", "still")] == ["no", "yes", "at_times", "no"]
    assert (by_tries("at_times"), by_tries("right")) == ("yes", "no")
    assert (only_when_warm("right", "slow"), only_when_warm("slow", "slow")) == ("slow", "same")
    assert (only_stiff("right", "uneven"), only_stiff("uneven", "still")) == ("yes", "no")


@pytest.mark.slow
@pytest.mark.parametrize("machine_id", shipped_ids())
def test_a_sound_machine_turns_a_stiff_cassette(machine_id: str) -> None:
    values = outcome(shipped(machine_id)).values
    assert values["stiff@play"] == values["tries@play"] == values["loose_piece@off"] == "no"


def test_stiff_cassettes_fail_where_the_idler_is_half_gone() -> None:
    """Trade page: a hardened take-up tyre runs easy cassettes and stalls on stiff ones. A new one turns both."""
    for machine_id in ("two_motor_deck", "four_track"):
        assert "play_stiff_ones_fail" in shown(shipped(machine_id), "idler_tyre=glazed:0.55")
        assert "play_stiff_ones_fail" not in shown(shipped(machine_id), "cassette=tight_pack")
    found = explained("two_motor_deck", "play_stiff_ones_fail")
    assert next(iter(found)) == "idler_tyre"
    assert found["cassette"] < 0.05


# --- what fell out, which way it swings, what runs beside -------------------------------------------------------------


def test_a_loose_spring_accuses_what_is_held_by_springs() -> None:
    """A roller that nothing presses on, and a spring on the bench: the roller's spring, not its rubber."""
    told, unseen = ("reverse_play_tape_still",), ("play_tape_still",)
    alone = explained("auto_reverse_deck", *told, unseen=unseen)
    beside = explained("auto_reverse_deck", *told, "off_loose_piece", unseen=unseen)
    assert beside["reverse_roller"] > 1.3 * alone["reverse_roller"]
    assert beside["capstan_belt"] / beside["reverse_roller"] < alone["capstan_belt"] / alone["reverse_roller"]
    assert "off_loose_piece" in shown(shipped("auto_reverse_deck"), "reverse_roller=spring_off")
    assert "off_loose_piece" not in shown(shipped("auto_reverse_deck"), "reverse_roller=glazed")


def test_an_idler_stuck_over_winds_one_way() -> None:
    """A gummed swing arm stays at the side where it plays: rewind is dead, the rest is well."""
    signs = shown(shipped("two_motor_deck"), "idler_tyre=stuck_over")
    assert "rewind_dead" in signs
    assert not {"fast_forward_dead", "fast_forward_weak", "play_loop"} & signs
    alone = explained("two_motor_deck", "rewind_dead", unseen=("fast_forward_dead", "fast_forward_weak"))
    assert "idler_tyre" in list(alone)[:3]


def test_another_well_that_runs_clears_the_supply() -> None:
    alone = explained("auto_reverse_deck", "cassette_in_capstan_still")
    beside = explained("auto_reverse_deck", "cassette_in_capstan_still", "power_supply_feeds_another")
    assert beside["power_supply"] < 0.2 * alone["power_supply"]


# --- what is noticed hangs on all that speaks there -------------------------------------------------------------------


def test_a_worn_bush_lets_the_flywheel_wobble() -> None:
    """Flywheel and capstan are one shaft in one bush: what shakes the one shakes the other."""
    assert "flywheel_wobbles" in shown(shipped("one_motor_portable"), "capstan=worn_bush")


def test_a_motor_is_heard_to_stop_where_the_logic_stops_it() -> None:
    """The reel does not follow, the sensor says so, the motor is cut off; without a sensor it runs on."""
    assert "play_reel_motor_starts_and_stops" in shown(shipped("two_motor_deck"), "idler_tyre=glazed")
    assert "fast_forward_capstan_motor_starts_and_stops" not in shown(
        shipped("one_motor_portable"), "idler_tyre=glazed"
    )


def without_the_felt(table: Table) -> None:
    del table["couplings"]["supply_drag"]


def test_a_tape_that_nothing_holds_back_wanders_and_is_creased() -> None:
    """Trade page: with the back tension gone the tape weaves; now and then an edge is caught. Where nothing is meant to
    hold it, nothing is lost."""
    values = outcome(applied(shipped("two_motor_deck"), [Fault("supply_drag", "too_low")])).values
    assert values["edge@play"] == "at_times"
    assert outcome(described("one_motor_portable", without_the_felt)).values["edge@play"] == "no"


def test_what_is_dull_may_be_the_electronics() -> None:
    """One channel missing is heard of the whole chain, whatever the heads are like."""
    assert "heads_dull" in shown(shipped("four_track"), "electronics=channel_weak")
    assert "heads_dull" in shown(shipped("four_track"), "heads=dirty")
    assert "heads_grooved" not in shown(shipped("four_track"), "electronics=channel_weak")
