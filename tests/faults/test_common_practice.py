"""What technicians conclude from what they notice, all parts equally likely beforehand: common practice, no source."""

import pytest

from tapewright.diagnose.beliefs import posterior, ranked
from tapewright.diagnose.likelihoods import of_observations
from tapewright.diagnose.network import network, speaking_of
from tapewright.faults.applied import Fault, applied
from tapewright.faults.consequences import outcome
from tapewright.machine.library import shipped
from tapewright.words.evidence import Observation
from tapewright.words.findings import Belief

EQUAL = 0.2
NOT_THE_LOGIC = ("play_loop", "play_falls_back", "play_tape_at_times")
CONCLUDED = [
    ("four_track", ("stop_does_not_drop",), (), {"cam_belt"}),  # the cassette is held fast, the head base stays up
    ("four_track", ("pinch_roller_filmed",), (), {"pinch_roller"}),
    ("four_track", ("play_only_this_cassette",), (), {"cassette"}),
    ("one_motor_portable", ("play_only_this_cassette",), (), {"cassette"}),
    ("two_motor_deck", ("heads_dull",), ("heads_others_dull",), {"heads"}),
    ("four_track", ("play_cam_stands", "play_falls_back"), (), {"cam_belt"}),
    ("four_track", ("play_capstan_starts_slowly", "play_flywheel_slips"), (), {"capstan_belt"}),
    ("one_motor_portable", ("play_takeup_reel_right_while_slack",), (), {"takeup_clutch"}),
    (  # keys dead while lamps answer, no motor heard: what feeds the motors has opened, as after a belt that dragged
        "four_track",
        ("cassette_in_keys_dead", "switch_on_nothing_starts"),
        ("power_supply_no_lamp",),
        {"power_supply", "cam_belt"},
    ),
    ("four_track", ("play_squeak", "play_tape_right"), (), {"idler_tyre"}),  # squeak before any other sign
    ("four_track", ("stop_stays_shut", "stop_does_not_drop"), (), {"cam_belt"}),
    (  # a regular waver after a belt change: what the old belt left behind
        "four_track",
        ("play_wavers_regularly",),
        ("capstan_belt_slack", "capstan_belt_sticky", "capstan_belt_gone"),
        {"motor_pulley", "flywheel"},
    ),
    (
        "two_motor_deck",
        ("play_wavers_regularly",),
        ("capstan_belt_slack", "capstan_belt_sticky", "capstan_belt_gone"),
        {"motor_pulley", "flywheel"},
    ),
    (
        "four_track",
        ("play_stops", "play_counter_hesitates"),
        ("play_loop", "play_falls_back", "play_tape_at_times"),
        {"counter_belt"},
    ),
]


def concluded(machine_id: str, seen: tuple[str, ...], unseen: tuple[str, ...]) -> list[Belief]:
    net = speaking_of(network(shipped(machine_id), None, EQUAL), (*seen, *unseen))
    told = [Observation(sign, True) for sign in seen] + [Observation(sign, False) for sign in unseen]
    return ranked(net, posterior(net, of_observations(net, told)))[0]


def shown(value: object) -> str:
    """Name a case; a set in the same order wherever it is printed."""
    return str(sorted(value) if isinstance(value, set | frozenset) else value)[:40]


@pytest.mark.parametrize(("machine_id", "seen", "unseen", "parts"), CONCLUDED, ids=shown)
def test_the_part_a_technician_concludes(
    machine_id: str, seen: tuple[str, ...], unseen: tuple[str, ...], parts: set[str]
) -> None:
    found = concluded(machine_id, seen, unseen)
    assert found[0].part in parts
    assert found[0].explains_complaint > found[1].explains_complaint


@pytest.mark.parametrize(
    ("machine_id", "fault"),
    [
        ("four_track", Fault("idler_tyre", "flat_spot", 1.0)),  # an idler that grips unevenly
        ("four_track", Fault("heads", "guides_bent")),  # a tape edge on a guide
        ("four_track", Fault("capstan_motor", "worn")),  # a dry motor
        ("two_motor_deck", Fault("capstan_motor", "worn")),
        ("two_motor_deck", Fault("heads", "guides_bent")),
    ],
    ids=str,
)
def test_unsteady_pitch_also_comes_from(machine_id: str, fault: Fault) -> None:
    """A stiff cassette too, told by `only_this_cassette`: every other look is made with a good one."""
    usual = shipped(machine_id)
    assert outcome(usual).values["tape@play"] == "right"
    assert outcome(applied(usual, [fault])).values["tape@play"] == "uneven"


def test_a_film_on_the_roller_says_sticky_rather_than_glazed() -> None:
    found = concluded("four_track", ("pinch_roller_filmed", "play_wrap"), ())[0]
    assert (found.part, found.kind) == ("pinch_roller", "sticky")


def test_a_cassette_that_drags_says_nothing_where_every_cassette_fails() -> None:
    """The comparison only tells where a known good one plays: with a slack belt both are slow."""
    found = {b.part: b for b in concluded("four_track", ("play_tape_uneven",), ("play_only_this_cassette",))}
    assert found["cassette"].explains_complaint < 0.05
