"""Exercises for the ear: what is told is what was played, and which faults are worth it follows from the machine."""

import itertools
import json
from pathlib import Path

import pytest
import soundfile

from tapewright.faults.applied import Fault, applied
from tapewright.jobs.practise import _exercise, _worth_hearing, practise
from tapewright.jobs.practise_told import differences
from tapewright.machine.library import shipped
from tapewright.machine.minute import minute_steps
from tapewright.simulate.minute import minute_truth
from tapewright.words.problem import InputAtFaultError

PLACE = ("bench", "recorder", 25.0, ("noise",))


def told(name: str, part: str, kind: str) -> tuple[str, ...]:
    machine = shipped(name)
    steps = minute_steps(machine)
    worn = minute_truth(applied(machine, [Fault(part, kind)]), steps, 1)
    return differences(machine, minute_truth(machine, steps, 1), worn)


def test_a_machine_does_nothing_otherwise_than_itself() -> None:
    machine = shipped("four_track")
    truth = minute_truth(machine, minute_steps(machine), 1)
    assert differences(machine, truth, truth) == ()


def test_a_slipping_cam_belt_lets_its_motor_run_on_until_the_machine_gives_up() -> None:
    said = told("four_track", "cam_belt", "slack")
    assert any("cam motor runs" in one and "at switch-on" in one for one in said)
    assert any("gives up by itself; the cam switch tells it to" in one for one in said)
    assert any("take-up reel does not run in play" in one for one in said)


def test_what_no_ear_can_tell_is_no_exercise() -> None:
    # A head's azimuth changes what the tape sounds like, and nothing of the mechanism.
    assert told("four_track", "heads", "azimuth") == ()


def test_the_same_fault_is_told_by_what_this_machine_does() -> None:
    # Where the flywheel lifts the heads, a missing capstan belt stops all; where a cam motor does, the tape races.
    flywheel = told("flywheel_cam_deck", "capstan_belt", "missing")
    assert any("take-up reel does not run in play" in one for one in flywheel)
    own_cam = told("four_track", "capstan_belt", "missing")
    assert any("take-up reel makes" in one and "in play" in one for one in own_cam)


@pytest.mark.slow
def test_an_exercise_offers_what_is_there_and_what_is_not() -> None:
    machine = shipped("four_track")
    for number, drawn in enumerate(itertools.islice(_worth_hearing(machine, 1), 3), start=1):
        one = _exercise(machine, number, "A", drawn, PLACE)
        assert {offered.is_there for offered in one.offered} == {True, False}
        assert one.differs
        assert len({offered.says for offered in one.offered}) == len(one.offered)


def test_two_exercises_are_not_of_the_same_part() -> None:
    drawn = list(itertools.islice(_worth_hearing(shipped("one_motor_portable"), 2), 4))
    assert len({one.fault.part for one in drawn}) == 4


def test_a_folder_with_other_things_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "letters.txt").write_text("kept")
    with pytest.raises(InputAtFaultError, match="something else"):
        practise(shipped("one_motor_portable"), tmp_path, 1)
    with pytest.raises(InputAtFaultError, match="1 to 40"):
        practise(shipped("one_motor_portable"), tmp_path / "new", 0)
    assert [one.name for one in tmp_path.iterdir()] == ["letters.txt"]


@pytest.mark.slow
def test_the_sounds_and_their_truth_are_written(tmp_path: Path) -> None:
    done: list[float] = []
    practice = practise(shipped("one_motor_portable"), tmp_path / "p", 1, progress=done.append)
    (exercise,) = practice.exercises
    truth = json.loads((tmp_path / "p" / "truth.json").read_text("utf-8"))
    of_sound = {one["sound"]: one["faults"] for one in truth["minutes"]}
    assert set(of_sound) == {"1-a", "1-b"}
    assert of_sound[f"1-{exercise.faulty.lower()}"] != []
    assert [faults for faults in of_sound.values() if not faults] == [[]]
    assert done == [0.5, 1.0]
    lasts = soundfile.info(tmp_path / "p" / "1-a.ogg").duration
    assert lasts == pytest.approx(truth["minutes"][0]["duration_s"], abs=0.1)
