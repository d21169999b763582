"""The conversation: two faults at once are found, case shut, within eight answers; nothing said is lost."""

import json
from pathlib import Path

import pytest

from tapewright.faults.applied import Fault, applied
from tapewright.faults.consequences import signs_shown
from tapewright.jobs.ask import Conversation, converse, kept_in
from tapewright.jobs.evidence_file import read_evidence
from tapewright.machine.library import shipped
from tapewright.words.evidence import Evidence, Observation
from tapewright.words.record import Record

WITHIN = 8
TWO_FAULTS = [
    ((Fault("cam_belt", "missing"), Fault("idler_tyre", "glazed")), "switch_on_does_not_drop"),
    ((Fault("cam_belt", "slack"), Fault("idler_tyre", "glazed")), "switch_on_cam_motor_goes_on"),
    ((Fault("capstan_belt", "missing"), Fault("pinch_roller", "glazed")), "play_tape_races"),
    ((Fault("capstan_belt", "missing"), Fault("pinch_roller", "sticky")), "play_tape_races"),
]


@pytest.mark.parametrize("machine_id", ["four_track", "four_track_starter"])
@pytest.mark.parametrize("with_complaint", [True, False], ids=["complaint", "nothing said"])
@pytest.mark.parametrize(("faults", "complaint"), TWO_FAULTS, ids=lambda value: str(value)[:60])
def test_both_of_two_bad_parts_are_found(
    machine_id: str, with_complaint: bool, faults: tuple[Fault, ...], complaint: str
) -> None:
    machine = shipped(machine_id)
    shown = {sign.id for sign in signs_shown(applied(machine, faults))}
    said = (Observation(complaint, complaint in shown),) if with_complaint else ()
    talk = Conversation(machine, Evidence(said))
    answers = 0
    while answers < WITHIN and (check := talk.now().next_check) is not None:
        assert not check.opens_case, f"{check.id} opens the case while a shut-case check can still tell"
        talk.say(check.id, check.id in shown)
        answers += 1
    first_two = {belief.part for belief in talk.now().beliefs[:2]}
    assert first_two == {fault.part for fault in faults}
    assert all(belief.out_of_order > 0.6 for belief in talk.now().beliefs[:2])


def drive(talk: Conversation, *lines: str) -> tuple[Record, str]:
    said: list[str] = []
    record = converse(talk, iter(lines), said.append, lambda record: str(record.next_check and record.next_check.id))
    return record, "\n".join(said)


def test_every_answer_is_kept_at_once_and_can_be_taken_back(tmp_path: Path) -> None:
    path = tmp_path / "evidence.json"
    talk = Conversation(shipped("one_motor_portable"), Evidence(), keep=kept_in(path))
    drive(talk, "yes", "can't tell", "no", "undo", "stop")
    kept = json.loads(path.read_text(encoding="utf-8"))["signs"]
    assert [row["present"] for row in kept] == [True, None]
    assert read_evidence(path).signs == talk.evidence.signs


def test_what_is_typed_is_understood_or_said_not_to_be() -> None:
    talk = Conversation(shipped("one_motor_portable"), Evidence())
    typed = ("why", "find tire rewind", "seen play_loop", "not rewind_weak", "perhaps", "undo", "undo", "undo")
    record, said = drive(talk, *typed)
    assert "minutes of work" in said
    assert "rewind_weak" in said
    assert "“perhaps” is not understood" in said
    assert "Nothing to take back" in said
    assert record.evidence.signs == ()


def test_the_end_of_input_stops_it() -> None:
    record, _ = drive(Conversation(shipped("one_motor_portable"), Evidence()))
    assert record.evidence.signs == ()
