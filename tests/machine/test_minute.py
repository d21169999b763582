"""The guided minute follows from a machine's modes, whatever the machine."""

import itertools
from dataclasses import replace

import pytest

from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.minute import marks_of, minute_steps
from tapewright.machine.parts import TRAY_MODES, Machine
from tapewright.words.mechanism_heard import OFF


@pytest.fixture(params=shipped_ids())
def machine(request: pytest.FixtureRequest) -> Machine:
    return shipped(request.param)


def test_it_takes_about_a_minute(machine: Machine) -> None:
    assert 50.0 <= minute_steps(machine)[-1].ends_s <= 75.0


def test_it_begins_and_ends_switched_off_and_enters_only_modes_the_machine_has(machine: Machine) -> None:
    modes = [step.mode for step in minute_steps(machine)]
    assert modes[0] == modes[-1] == OFF
    assert set(modes) - {OFF} <= set(machine.modes)


def test_every_wind_and_play_is_stopped_before_the_next(machine: Machine) -> None:
    modes = [step.mode for step in minute_steps(machine)]
    for at, mode in enumerate(modes):
        if mode in ("play", "fast_forward", "rewind"):
            assert modes[at + 1] == "stop"


def test_steps_follow_each_other_without_a_gap_and_marks_say_the_same(machine: Machine) -> None:
    steps = minute_steps(machine)
    assert all(earlier.ends_s == later.at_s for earlier, later in itertools.pairwise(steps))
    assert [(mark.mode, mark.at_s) for mark in marks_of(steps)] == [(step.mode, step.at_s) for step in steps]


def test_no_tape_is_put_in_without_saying_which(machine: Machine) -> None:
    # Design: a sacrificial tape wherever a machine's state is not known yet.
    for step in minute_steps(machine):
        if step.mode in ("cassette_in", "close_tray"):
            assert any("sacrificial" in caution for caution in step.cautions)


def test_whatever_turns_has_its_caution(machine: Machine) -> None:
    for step in minute_steps(machine):
        if step.mode != OFF and machine.modes[step.mode].motors:
            assert any("stay out" in caution for caution in step.cautions)


def test_a_step_outlasts_what_the_logic_waits_for() -> None:
    four = shipped("four_track")
    patient = replace(four.sensors["cam_switch"], timeout_s=9.0)
    longer = replace(four, sensors=dict(four.sensors) | {"cam_switch": patient})
    lasts = {step.mode: step.lasts_s for step in minute_steps(longer)}
    assert lasts["switch_on"] == 11.0
    assert lasts["fast_forward"] == 8.0


def test_a_machine_without_a_mode_has_no_step_for_it() -> None:
    four = shipped("four_track")
    without = replace(four, modes={name: mode for name, mode in four.modes.items() if name != "rewind"})
    modes = [step.mode for step in minute_steps(without)]
    assert "rewind" not in modes
    assert modes.count("stop") == 2


def test_a_tray_goes_in_before_and_comes_out_after() -> None:
    modes = [step.mode for step in minute_steps(shipped("tray_deck"))]
    assert [mode for mode in modes if mode in TRAY_MODES] == ["close_tray", "open_tray"]
    assert modes.index("close_tray") < modes.index("cassette_in") < modes.index("open_tray")
