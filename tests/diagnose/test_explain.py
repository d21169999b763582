"""The chain from a fault to a sign, step by step: common practice, no source, what a technician would tell."""

import pytest

from tapewright.diagnose.explain import chains, reasons
from tapewright.diagnose.network import network
from tapewright.machine.library import shipped
from tapewright.words.evidence import Observation
from tapewright.words.findings import Chain


def told(machine_id: str, part: str, kind: str, sign: str) -> tuple[Chain, ...]:
    return chains(network(shipped(machine_id)), part, kind, [Observation(sign, True)])


@pytest.mark.parametrize(
    ("machine_id", "part", "kind", "sign", "way"),
    [
        ("four_track", "capstan_belt", "missing", "play_tape_races", ["flywheel", "nip", "tape"]),
        ("four_track", "cam_belt", "missing", "play_stays_down", ["cam_wheel", "cam", "head_base"]),
        (
            "four_track",
            "cam_belt",
            "missing",
            "switch_on_cam_motor_goes_on",
            ["cam_wheel", "cam", "head_base", "head_base", "cam_motor"],
        ),
        ("four_track", "cassette_switch", "dirty", "cassette_in_nothing_starts", ["", "capstan_motor", ""]),
        (
            "two_motor_deck",
            "brake_solenoid",
            "dead",
            "fast_forward_weak",
            ["brake_solenoid", "takeup_brake", "takeup_reel", "tape"],
        ),
        ("closed_loop_deck", "inter_belt", "missing", "play_level_flutters", ["supply_flywheel", "supply_nip", "tape"]),
        ("direct_drive_deck", "tacho", "dead", "play_tape_races", ["capstan_motor", "tape"]),
    ],
)
def test_the_way_from_part_to_part(machine_id: str, part: str, kind: str, sign: str, way: list[str]) -> None:
    (found,) = told(machine_id, part, kind, sign)
    assert (found.links[0].part, found.links[0].about) == (part, "fault")
    assert [link.part for link in found.links[1:]] == way
    assert found.sign == sign


def test_a_sign_that_the_fault_does_not_bring_about_has_no_chain() -> None:
    assert told("four_track", "capstan_belt", "missing", "play_stays_down") == ()
    assert told("four_track", "capstan_belt", "missing", "play_tape_right") == ()


def test_the_sentences_are_the_chains() -> None:
    net = network(shipped("four_track"))
    noticed = [Observation("play_tape_races", True), Observation("play_capstan_still", True)]
    said = reasons(net, "capstan_belt", "missing", noticed)
    found = chains(net, "capstan_belt", "missing", noticed)
    assert len(said) == len(found) == 2
    for sentence, chain in zip(said, found, strict=True):
        at = [sentence.index(link.says) for link in chain.links]
        assert at == sorted(at)
        assert chain.says in sentence


def test_what_gives_is_not_said_to_be_giving() -> None:
    (found,) = told("direct_drive_deck", "tacho", "dead", "play_tape_races")
    assert not found.links[0].says.startswith("the tacho is gives")
