"""The owner's sheet asks what the bench would ask, from outside only, and its endings follow from what is believed."""

from collections.abc import Iterator

import pytest

from tapewright.diagnose.network import network
from tapewright.faults.cautions import CAUTIONS
from tapewright.faults.mechanism import mechanism
from tapewright.faults.signs import Sign, signs
from tapewright.jobs.examine import examine
from tapewright.jobs.owner_code import code_of
from tapewright.jobs.owner_sheet import Building, answers_of, owner_sheet, owner_signs
from tapewright.machine.library import shipped
from tapewright.words.evidence import Evidence, Observation
from tapewright.words.owner import CASSETTE, CLEAN, SEND, OwnerSheet, Step
from tapewright.words.problem import InputAtFaultError

MACHINE = shipped("four_track_starter")


@pytest.fixture(scope="module")
def sheet() -> OwnerSheet:
    return owner_sheet(MACHINE, deep=1)


def ways(
    step: Step, told: tuple[tuple[int, bool | None], ...]
) -> Iterator[tuple[Step, tuple[tuple[int, bool | None], ...]]]:
    yield step, told
    for following, present in ((step.yes, True), (step.no, False), (step.unsure, None)):
        if following is not None and step.asks is not None:
            yield from ways(following, (*told, (step.asks, present)))


def all_ways(sheet: OwnerSheet) -> list[tuple[Step, tuple[tuple[int, bool | None], ...]]]:
    return [way for sign, step in sheet.complaints for way in ways(step, ((sign, True),))]


def test_nothing_asked_opens_the_case_or_needs_more_than_hands_and_eyes(sheet: OwnerSheet) -> None:
    refused = {CAUTIONS[hazard] for hazard in ("opening", "mains", "live", "solvent", "moving")}
    assert not [one.id for one in sheet.signs if refused & set(one.cautions)]
    ids = {one.id for one in sheet.signs}
    opened = {sign.id for sign in _signs() if sign.opens_case}
    assert not ids & opened


def _signs() -> tuple[Sign, ...]:
    return signs(mechanism(MACHINE))


def test_the_usual_complaints_are_there(sheet: OwnerSheet) -> None:
    offered = {sheet.signs[sign].id for sign, _ in sheet.complaints}
    assert offered >= {"play_tape_still", "play_tape_uneven", "play_stays_down", "rewind_dead", "stop_stays_shut"}
    assert "play_tape_right" not in offered  # nobody complains of that


def test_the_next_question_is_the_benchs_own_with_the_case_shut(sheet: OwnerSheet) -> None:
    inside = {sign.id for sign in _signs()} - {one.id for one in sheet.signs}
    for sign, step in sheet.complaints[:4]:
        told = Evidence((Observation(sheet.signs[sign].id, True),))
        check = examine(MACHINE, told, skipped=inside).next_check
        assert (None if step.asks is None else sheet.signs[step.asks].id) == (None if check is None else check.id)


def test_no_way_asks_the_same_twice(sheet: OwnerSheet) -> None:
    for step, told in all_ways(sheet):
        assert step.asks not in [number for number, _ in told]


def ending(*told: tuple[str, bool]) -> str:
    """Give the ending when all of this is told at once: the tree's own rule, without the tree."""
    net = network(MACHINE)
    building = Building(net, owner_signs(net))
    step = building.step(tuple(Observation(sign, present) for sign, present in told), 0)
    return building.verdicts[step.verdict].kind


def test_one_cassette_only_comes_to_the_cassette() -> None:
    assert ending(("play_only_this_cassette", True), ("cassette_stiff", True), ("play_tape_right", True)) == CASSETTE


def test_dull_sound_comes_to_cleaning() -> None:
    assert ending(("play_dull", True)) == CLEAN


def test_a_head_base_that_stays_down_comes_to_the_bench() -> None:
    assert ending(("play_stays_down", True), ("switch_on_cam_motor_races", True)) == SEND


def test_tape_drawn_into_a_loop_stops_the_owner_from_playing_on(sheet: OwnerSheet) -> None:
    stopped = [
        sheet.verdicts[step.verdict].stop for sign, step in sheet.complaints if sheet.signs[sign].id == "play_loop"
    ]
    assert stopped == [True]


def test_a_code_comes_back_as_evidence(sheet: OwnerSheet) -> None:
    _, told = max(all_ways(sheet), key=lambda way: len(way[1]))
    found = answers_of(MACHINE, code_of(told, sheet.fingerprint))
    assert [(one.id, one.present) for one in found] == [(sheet.signs[number].id, present) for number, present in told]


def test_a_code_for_another_machine_is_refused(sheet: OwnerSheet) -> None:
    with pytest.raises(InputAtFaultError, match="another machine"):
        answers_of(shipped("one_motor_portable"), code_of([(0, True)], sheet.fingerprint))
