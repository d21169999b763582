"""What a description and its faults lead to, and that nothing pairs one with the other by hand."""

import ast
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapewright.diagnose.beliefs import posterior
from tapewright.diagnose.network import network
from tapewright.faults.applied import Fault, applied
from tapewright.faults.catalogue import catalogue
from tapewright.faults.consequences import ModeOutcome, Stop, modes_told, outcome, signs_shown
from tapewright.faults.speed_lines import fault_lines
from tapewright.faults.tape_speed import racing_turns, shortfall, speed_ratio
from tapewright.machine.formulas import belt_resonance, transmissibility
from tapewright.machine.library import shipped
from tapewright.machine.parts import Machine
from tapewright.machine.rates import rates

SRC = Path(__file__).resolve().parents[2] / "src" / "tapewright"
FOUR = shipped("four_track")
PORTABLE = shipped("one_motor_portable")


def worn(machine: Machine, *faults: tuple[str, str] | tuple[str, str, float]) -> Machine:
    return applied(machine, [Fault(*fault) for fault in faults])


def ids(machine: Machine) -> set[str]:
    return {sign.id for sign in signs_shown(machine)}


def takes_up_from_the_flywheel() -> Machine:
    """Four tracks, described otherwise: the take-up's pulley sits on the flywheel, and the reel motor rests in play."""
    play = FOUR.modes["play"]
    motors = {name: share for name, share in play.motors.items() if name != "reel_motor"}
    pulley = replace(FOUR.rotors["reel_pulley"], on="flywheel")
    return replace(
        FOUR,
        rotors={**FOUR.rotors, "reel_pulley": pulley},
        modes={**FOUR.modes, "play": replace(play, motors=motors)},
    )


def lifts_from_the_flywheel() -> Machine:
    """Four tracks, described otherwise: the belt of the cam runs from the flywheel, and no cam motor does anything."""
    modes = {
        name: replace(mode, motors={m: share for m, share in mode.motors.items() if m != "cam_motor"})
        for name, mode in FOUR.modes.items()
    }
    pulley = replace(FOUR.rotors["cam_pulley"], on="flywheel")
    return replace(FOUR, rotors={**FOUR.rotors, "cam_pulley": pulley}, modes=modes)


# --- the outcome ------------------------------------------------------------------------------------------------------


def test_without_its_capstan_belt_the_tape_races_in_play() -> None:
    faulty = worn(FOUR, ("capstan_belt", "missing"))
    assert outcome(faulty).values["tape@play"] == "races"
    assert {"play_tape_races", "cassette_in_capstan_motor_races"} <= ids(faulty)
    assert "play_tape_races" not in ids(FOUR)


def test_it_does_not_race_where_the_flywheel_takes_the_tape_up() -> None:
    other = takes_up_from_the_flywheel()
    assert outcome(other).values["tape@play"] == "right"
    faulty = worn(other, ("capstan_belt", "missing"))
    assert outcome(faulty).values["tape@play"] == "still"
    assert "play_tape_races" not in ids(faulty)
    assert speed_ratio(faulty) == 0.0


def test_nothing_lifts_without_the_capstan_belt_where_the_flywheel_lifts_the_head_base() -> None:
    belt = ("capstan_belt", "missing")
    assert modes_told(worn(FOUR, belt))["play"].head_base == "arrives"
    assert modes_told(lifts_from_the_flywheel())["play"].head_base == "arrives"
    assert modes_told(worn(lifts_from_the_flywheel(), belt))["play"].head_base == "stays"


def test_no_text_of_ours_names_a_kind_of_fault() -> None:
    """Were a fault paired with a sign by hand, its kind would stand in the code."""
    kinds = {fault.kind for fault in catalogue()}
    read = [SRC / "faults" / "consequences.py", *(SRC / "simulate").glob("*.py")]
    assert len(read) > 5
    for path in read:
        tree = ast.parse(path.read_text(encoding="utf-8"))
        constants = {
            node.value for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)
        }
        assert not constants & kinds, path.name
        assert not constants & {sign.id for sign in signs_shown(FOUR)}, path.name


def test_a_mode_is_told_in_words() -> None:
    told = modes_told(worn(FOUR, ("cam_belt", "missing")))
    assert set(told) == set(FOUR.modes)
    play = told["play"]
    assert isinstance(play, ModeOutcome)
    assert (play.head_base, play.tape, play.heard["cam_motor"]) == ("stays", "still", "races")
    assert play.runs_on == {"cam_motor": "yes"}
    assert Stop("cam_switch", "yes", 4.0) in play.stopped_by
    assert replace(told["record"], mode="play") == play
    assert modes_told(FOUR)["play"].stopped_by == ()


def test_a_machine_is_not_altered_by_being_asked() -> None:
    before = repr(FOUR)
    fault_lines(worn(FOUR, ("idler_tyre", "flat_spot")))
    signs_shown(FOUR)
    assert repr(FOUR) == before


@pytest.mark.parametrize("name", ["four_track", "one_motor_portable"])
@settings(max_examples=15)
@given(data=st.data())
def test_engine_and_network_never_differ(name: str, data: st.DataObject) -> None:
    """Two roads that must meet: clamp every part's state, and the network has to be certain of the engine's words.

    A word may stand for another only where no sign tells the two apart.
    """
    machine = shipped(name)
    net = network(machine)
    faults, clamped = [], dict(net.parts)
    for part, known in net.parts.items():
        ill = data.draw(st.integers(0, 3), label=part) == 0
        at = data.draw(st.integers(1, len(known.states) - 1), label="state") if ill else 0
        clamped[part] = replace(known, prior=tuple(float(i == at) for i in range(len(known.states))))
        if at:
            faults.append(Fault(part, *known.states[at]))
    values = outcome(applied(machine, faults)).values
    found = posterior(replace(net, parts=clamped), {})
    compared = 0
    for node in net.observed:
        chances = found.words[node][0]
        word = net.words[node][int(np.argmax(chances))]
        assert chances.max() == pytest.approx(1.0, abs=1e-9), node
        compared += 1
        for sign in net.signs.values():
            if sign.node == node:
                assert sign.chance(word) == sign.chance(values[node]), (node, word, values[node])
    assert compared > 20
    assert found.words["tape@play"][0][net.words["tape@play"].index(values["tape@play"])] == pytest.approx(1.0)


# --- how fast the tape runs -------------------------------------------------------------------------------------------


def test_a_sound_machine_runs_at_its_speed() -> None:
    for machine in (FOUR, PORTABLE):
        assert speed_ratio(machine) == 1.0
        assert shortfall(machine) == 0.0


def test_a_wrong_motor_speed_is_the_tapes() -> None:
    """Oracle: the catalogue's 3 %, taken down in proportion of decibels: 1 / 1.03."""
    assert speed_ratio(worn(FOUR, ("capstan_motor", "wrong_speed", 1.0))) == pytest.approx(1.03, abs=1e-9)
    assert speed_ratio(worn(FOUR, ("capstan_motor", "wrong_speed", -1.0))) == pytest.approx(1 / 1.03, abs=1e-9)


def test_residue_on_a_small_pulley_is_a_faster_tape() -> None:
    """Oracle: the driver grows by 1 % on its diameter under a belt of 0.5 mm: (10.1 + 0.5) / (10 + 0.5)."""
    assert speed_ratio(worn(FOUR, ("motor_pulley", "residue"))) == pytest.approx(10.6 / 10.5, abs=1e-6)


def test_what_races_runs_as_its_reel_motor_turns_the_reel() -> None:
    """Oracle: 800 rpm over 5 mm on 16 mm on 30 mm is 2.222 turns a second of a pack of 18.41 mm: 0.2571 m/s."""
    faulty = worn(FOUR, ("capstan_belt", "missing"))
    assert racing_turns(faulty) == pytest.approx(800 / 60 * 5 / 30, abs=1e-6)
    radius = math.sqrt((11.0e-3**2 + 23.6e-3**2) / 2)
    assert speed_ratio(faulty) == pytest.approx(2 * math.pi * radius * 800 / 60 * 5 / 30 / 95.25e-3, rel=1e-6)


def test_a_clutch_lets_a_reel_race_no_faster_than_its_driver() -> None:
    faulty = worn(PORTABLE, ("pinch_roller", "low_force"))
    assert racing_turns(faulty) == rates(faulty, "play")["clutch_pulley"].turns_per_s.value
    assert speed_ratio(faulty) > 2


def test_a_slipping_nip_is_slow_and_says_by_how_much() -> None:
    faulty = worn(FOUR, ("pinch_roller", "glazed"))
    assert 0.1 < shortfall(faulty) < 1.0
    assert 0.95 < speed_ratio(faulty) < 0.99


# --- lines ------------------------------------------------------------------------------------------------------------


def test_run_out_is_worth_its_share_of_the_radius() -> None:
    """Oracle: e / r, 8 um on a capstan of 2.5 mm is 0.64 % (with 0.04 % of the usual run-out in quadrature)."""
    line = fault_lines(worn(FOUR, ("capstan", "bent")))[0]
    assert (line.part, line.order) == ("capstan", 1)
    assert line.peak_ratio == pytest.approx(math.hypot(8e-6 / 1.25e-3, 0.5e-6 / 1.25e-3), rel=1e-9)
    assert line.frequency_hz == pytest.approx(rates(FOUR, "play")["capstan"].turns_per_s.value)


def test_an_uneven_belt_stands_at_its_pass_rate() -> None:
    line = fault_lines(worn(FOUR, ("capstan_belt", "dented")))[0]
    assert (line.part, line.order) == ("capstan_belt", 1)
    assert line.turns_per_s == pytest.approx(rates(FOUR, "play")["capstan_belt"].turns_per_s.value)
    assert 0.005 < line.peak_ratio < 0.007


def test_the_flywheel_keeps_the_motors_unsteadiness_from_the_tape() -> None:
    """Oracle: the second-order low-pass with the resonance worked out by hand; 0.6 % of a worn motor at 57.6 Hz."""
    found = {(line.part, line.order): line for line in fault_lines(worn(FOUR, ("capstan_motor", "worn")))}
    line = found["capstan_motor", 1]
    resonance = belt_resonance(24.85e-3, 4.5e6 * 4e-3 * 0.5e-3, 55.08e-3, 45e-6)
    passed = transmissibility(line.turns_per_s / float(resonance), 0.15)
    assert line.peak_ratio == pytest.approx(math.hypot(0.006, 0.0003) * float(passed), rel=1e-3)
    assert line.peak_ratio < 0.1 * 0.006
    assert line.doubt_ratio > 0.1 * line.peak_ratio


def test_a_reel_reaches_the_tape_through_its_tension_only() -> None:
    held = next(line for line in fault_lines(worn(FOUR, ("idler_tyre", "flat_spot"))) if line.part == "idler_tyre")
    assert 0.0005 < held.peak_ratio < 0.0015
    assert held.pack == "takeup_reel"
    free = fault_lines(worn(FOUR, ("idler_tyre", "flat_spot"), ("capstan_belt", "missing")))[0]
    assert free.part == "idler_tyre"
    assert free.peak_ratio > 10 * held.peak_ratio
    assert free.turns_per_s == pytest.approx(800 / 60 * 5 / 16, rel=1e-6)


def test_a_sound_machine_has_small_lines_of_its_own() -> None:
    for machine in (FOUR, PORTABLE, shipped("four_track_starter")):
        found = fault_lines(machine)
        assert {"capstan", "pinch_roller", "capstan_belt"} <= {line.part for line in found}
        assert max(line.peak_ratio for line in found) < 0.001


def test_what_does_not_turn_the_tape_has_no_lines() -> None:
    assert fault_lines(worn(FOUR, ("cam_belt", "missing"))) == ()
    assert not {line.part for line in fault_lines(FOUR)} & {"cam_motor", "cam_belt", "cam_wheel"}


@settings(max_examples=6)
@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_more_of_a_fault_is_a_larger_line(one: float, other: float) -> None:
    sizes = []
    for degree in sorted((one, other)):
        found = fault_lines(worn(FOUR, ("pinch_roller", "eccentric", degree)))
        sizes.append(next(line.peak_ratio for line in found if line.part == "pinch_roller"))
    assert sizes[0] <= sizes[1]


def test_winding_has_lines_of_the_reel_that_drives() -> None:
    parts = [line.part for line in fault_lines(FOUR, "rewind")]
    assert parts[0] == "idler_tyre"
    assert "capstan" not in parts
