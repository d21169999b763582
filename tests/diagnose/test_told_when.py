"""What a moment changes: the same sign at two moments is another sign."""

import pytest

from tapewright.diagnose.network import network
from tapewright.diagnose.told_when import by_moment
from tapewright.faults.applied import applied, parse_fault
from tapewright.faults.consequences import signs_shown
from tapewright.jobs.examine import examine
from tapewright.machine.library import shipped
from tapewright.words.evidence import Evidence, Observation

MACHINE = shipped("four_track")
NET = network(MACHINE)


@pytest.mark.parametrize(
    ("there", "not_there", "sign"),
    [
        ("cold", "warm", "play_right_when_warm"),
        ("warm", "cold", "play_fails_when_warm"),
        ("End of tape", "start of tape", "play_only_late"),
    ],
)
def test_what_differs_between_two_moments_is_a_sign(there: str, not_there: str, sign: str) -> None:
    told = [Observation("play_tape_slow", True, 0.9, there), Observation("play_tape_slow", False, 1.0, not_there)]
    found = by_moment(NET, told)
    assert (sign, True, 0.9) in {(one.id, one.present, one.sure) for one in found}
    of_later = {one.id for one in found if one.id == "play_slow_when_warm"}
    assert len(found) == 2 + len(of_later)
    assert bool(of_later) == ("warm" in (there, not_there))


def test_what_is_told_of_another_moment_alone_says_nothing_of_this_one() -> None:
    assert by_moment(NET, [Observation("play_loop", True, when="warm"), Observation("play_pack_loose", True)]) != ()
    assert by_moment(NET, [Observation("play_pack_loose", True, when="warm")]) == ()
    assert by_moment(NET, [Observation("play_tape_slow", True, when="start")]) == ()
    usual = Observation("play_tape_slow", True, when="on Tuesdays")
    assert by_moment(NET, [usual]) == (usual,)


def test_grease_is_suspected_where_warmth_cures() -> None:
    """Common practice: hardened grease frees with warmth; a belt that is gone does not come back."""
    told = (
        Observation("play_rises_part_way", True, when="cold"),
        Observation("play_rises_part_way", False, when="warm"),
    )
    found = examine(MACHINE, Evidence(told)).beliefs
    assert found[0].part in ("cam", "head_base")


def test_what_goes_wrong_later_is_not_told_of_the_start() -> None:
    told = [Observation("play_tape_slow", True), Observation("play_loop", True), Observation("rewind_weak", True)]
    later = Observation("play_fails_when_warm", True)
    kept = {"play_loop", "rewind_weak", "play_fails_when_warm", "play_slow_when_warm"}
    for said in ([*told, later], [later, *told]):
        assert {one.id for one in by_moment(NET, said)} == kept


def test_what_is_told_of_later_counts_where_a_sign_says_so() -> None:
    """What a machine does after some minutes tells of its drives then: one that is slow from cold is not meant."""
    (said,) = by_moment(NET, [Observation("play_tape_slow", True, 0.7, "warm")])
    assert (said.id, said.present, said.sure, said.when) == ("play_slow_when_warm", True, 0.7, "")
    shown = {
        fault: {sign.id for sign in signs_shown(applied(MACHINE, [parse_fault(MACHINE, fault)]))}
        for fault in ("capstan_motor=fails_warm", "capstan_belt=slack:0.8", "capstan_belt=slack:0.5")
    }
    assert {"play_fails_when_warm", "play_uneven_when_warm"} <= shown["capstan_motor=fails_warm"]
    assert not {"play_slow_when_warm", "play_uneven_when_warm"} & shown["capstan_belt=slack:0.8"]
    assert "play_uneven_when_warm" in shown["capstan_belt=slack:0.5"]


def test_a_reel_motor_that_fails_warm_stops_the_machine() -> None:
    """Common practice: right at first and stopping later is the reel drive, where the sensor watches the reels."""
    told = (Observation("play_fails_when_warm", True), Observation("play_stops", True))
    found = examine(shipped("direct_reels_deck"), Evidence(told)).beliefs
    assert found[0].part == "takeup_motor"


def test_a_tape_that_may_be_held_counts_at_any_moment() -> None:
    """Common practice: the tape comes out first, whenever it was drawn in."""
    found = examine(MACHINE, Evidence((Observation("play_loop", True, when="warm"),)))
    assert found.plan[0].part == "tape"


def test_what_was_told_of_another_moment_is_not_asked_again() -> None:
    told = (Observation("play_tape_uneven", True), Observation("fast_forward_weak", True, when="warm"))
    found = examine(MACHINE, Evidence(told))
    assert found.next_check is not None
    assert found.next_check.id not in {one.id for one in told}
