"""Setting a machine up: the order follows from what disturbs what, figures from documents; the job keeps what came."""

import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.jobs.machine_history import visits
from tapewright.jobs.setting_up import ARC_MINUTES, centres_m, in_order, set_up_plan, tracks_read
from tapewright.jobs.setting_up_kept import done_in, keep_left, keep_set, passes_of
from tapewright.jobs.setting_up_steps import ADJUSTMENTS, TAPES
from tapewright.jobs.setting_up_stop import GO_ON, INSIDE, STOP, TOO_NEAR, UNREAD, standing
from tapewright.jobs.store.nouns import Particulars
from tapewright.jobs.store.opened import Store, open_store
from tapewright.machine.library import shipped, shipped_ids
from tapewright.show.setting_up_text import setting_up_text
from tapewright.standards.alignment import REFERENCE_NWB_PER_M, TAPE_AZIMUTH_RAD, angle_of_phase_rad
from tapewright.words.problem import InputAtFaultError
from tapewright.words.reading import Reading
from tapewright.words.setting_up import LEFT_ALONE, LOOK_AGAIN, OPEN, SET, SetUpPlan, SetUpStep


def step_of(plan: SetUpPlan, id: str) -> SetUpStep:
    return next(step for step in plan.steps if step.id == id)


# --- the order -------------------------------------------------------------------------------------------------------


@given(st.permutations(range(9)), st.sets(st.tuples(st.integers(0, 8), st.integers(0, 8))), st.randoms())
def test_each_comes_before_what_it_disturbs_however_they_are_listed(
    hidden: list[int], pairs: set[tuple[int, int]], drawn: object
) -> None:
    """Edges that follow a hidden order have no ring; the order found may be another, but keeps every edge."""
    disturbs = {str(one): [str(b) for a, b in pairs if a == one and hidden[a] < hidden[b]] for one in range(9)}
    listed = list(disturbs)
    drawn.shuffle(listed)  # type: ignore[attr-defined]
    order = in_order({one: disturbs[one] for one in listed})
    assert sorted(order) == sorted(disturbs)
    for one, others in disturbs.items():
        assert all(order.index(one) < order.index(other) for other in others)


def test_a_ring_is_refused_and_named() -> None:
    with pytest.raises(ValueError, match="a, b"):
        in_order({"c": ("a",), "a": ("b",), "b": ("a",)})


@given(st.permutations(ADJUSTMENTS))
def test_the_order_of_work_does_not_hang_on_how_the_table_is_written(listed: list[object]) -> None:
    """Path, height, azimuth, level, response, then record: the order of service sheets (common practice)."""
    order = in_order({each.kind: each.disturbs for each in listed})  # type: ignore[attr-defined]
    wanted = ["clean", "path", "height", "azimuth", "level", "response", "bias", "record_response", "record_level"]
    assert [kind for kind in order if kind != "speed"] == wanted
    assert order.index("path") < order.index("speed") < order.index("azimuth")


@pytest.mark.parametrize("machine_id", shipped_ids())
def test_the_plan_of_every_machine_holds_together(machine_id: str) -> None:
    machine = shipped(machine_id)
    plan = set_up_plan(machine)
    ids = [step.id for step in plan.steps]
    assert len(set(ids)) == len(ids)
    for at, step in enumerate(plan.steps):
        assert set(step.after) <= set(ids[:at])
        assert set(step.look_again) == set(step.disturbs) & set(ids[:at])
        assert "{" not in step.how + step.adjusts
        assert step.cautions, "every step has a hand somewhere"
        assert (step.target is None) or step.source
    assert any(step.kind == "bias" for step in plan.steps) == ("record" in machine.modes)
    assert setting_up_text(machine, plan).count("LEFT ALONE") == 0


def test_after_azimuth_the_height_is_looked_at_again() -> None:
    azimuth = step_of(set_up_plan(shipped("four_track")), "azimuth")
    assert azimuth.look_again == ("height",)
    assert {"level", "response"} <= set(azimuth.disturbs)


def test_a_hand_near_the_tape_has_its_cautions() -> None:
    azimuth = step_of(set_up_plan(shipped("four_track")), "azimuth")
    said = " ".join(azimuth.cautions)
    for word in ("nip", "magnetic", "mains", "headphones", "photo"):
        assert word in said


def test_what_a_machine_has_twice_is_set_twice() -> None:
    assert [step.speed_m_per_s for step in set_up_plan(shipped("direct_drive_deck")).steps if step.kind == "speed"] == [
        0.047625, 0.09525,
    ]  # fmt: skip
    reverse = step_of(set_up_plan(shipped("auto_reverse_deck")), "azimuth_reverse")
    assert reverse.mode == "reverse_play"
    assert "azimuth" in reverse.look_again
    assert tracks_read(shipped("auto_reverse_deck"), "reverse_play") == (3, 4)


def test_what_pulls_against_what_is_of_this_machine() -> None:
    def between(machine_id: str) -> str:
        return "; ".join(one.between for one in set_up_plan(shipped(machine_id)).conflicts)

    assert "different azimuths" in between("four_track")
    assert "different azimuths" not in between("one_motor_portable")
    assert "two directions" in between("auto_reverse_deck")
    assert "two capstans" in between("closed_loop_deck")
    assert "bias" not in between("auto_reverse_deck")


# --- figures ---------------------------------------------------------------------------------------------------------


def test_the_tolerance_of_azimuth_is_the_phase_that_service_accepts() -> None:
    """45 degrees at 6.3 kHz is 19.84 µs; d tan(a)/v = 5.50 µs a minute over 0.9 mm at 4.7625 cm/s (closed form)."""
    stereo = step_of(set_up_plan(shipped("one_motor_portable")), "azimuth")
    assert stereo.tolerance == pytest.approx(45 / 360 / 6300 / 5.497e-6, rel=1e-3)
    four = step_of(set_up_plan(shipped("four_track")), "azimuth")
    assert stereo.tolerance is not None
    assert four.tolerance == pytest.approx(stereo.tolerance * 2 * 0.9 / 3.21, rel=1e-6), "double speed, outer tracks"
    assert TAPE_AZIMUTH_RAD.value * ARC_MINUTES == pytest.approx(1.0)
    assert four.enough == pytest.approx(300e-6 * 180 * 60 / math.pi)


def test_no_tolerance_is_finer_than_the_tape() -> None:
    assert angle_of_phase_rad(45, 10000, 3.21e-3, 0.047625) * ARC_MINUTES < 1.0
    for machine_id in shipped_ids():
        for step in set_up_plan(shipped(machine_id)).steps:
            assert step.kind != "azimuth" or step.tolerance is None or step.tolerance >= 1.0


def test_the_machines_own_sheet_goes_first() -> None:
    own = step_of(set_up_plan(shipped("four_track")), "speed")
    assert (own.tolerance, own.source) == (0.5, "the machine's own sheet")
    other = step_of(set_up_plan(shipped("four_track_starter")), "speed")
    assert other.tolerance == 1.5
    assert "DIN 45500" in other.source


def test_levels_of_tapes_against_each_other() -> None:
    """20 lg(218/250) = -1.19 dB, 20 lg(160/250) = -3.88 dB (closed form)."""
    how = step_of(set_up_plan(shipped("four_track")), "level").how
    assert "-1.2 dB for one marked 200" in how
    assert "-3.9 dB for one marked 160" in how
    assert REFERENCE_NWB_PER_M["250"].value == 250.0


def test_tracks_that_no_document_places_have_no_place() -> None:
    assert centres_m((1, 8)) == ()
    assert centres_m((1, 2, 3, 4)) == (0.30e-3, 1.20e-3, 2.61e-3, 3.51e-3)


def test_one_track_is_set_by_its_level_and_eight_without_an_angle() -> None:
    machine = shipped("four_track")
    mono = set_up_plan(replace(machine, tape=replace(machine.tape, tracks=1)))
    azimuth = step_of(mono, "azimuth")
    assert (azimuth.reading, azimuth.target) == ("level_db", None)
    assert "no delay to read" in azimuth.how
    assert step_of(mono, "height").reading == "level_db"
    assert not any("balance" in one.between for one in mono.conflicts)
    eight = set_up_plan(replace(machine, tape=replace(machine.tape, tracks=8)))
    assert step_of(eight, "azimuth").tolerance is None
    assert any("No document says where" in note for note in eight.notes)


# --- tapes at hand ---------------------------------------------------------------------------------------------------


def test_without_its_tape_a_step_is_left_alone() -> None:
    plan = set_up_plan(shipped("four_track"), {"speed", "sacrificial"})
    left = {step.id for step in plan.steps if step.left_alone}
    assert left == {"height", "azimuth", "level", "response", "bias", "record_response", "record_level"}
    assert all(step.left_alone for step in plan.steps if step.needs_reference)
    assert not any(step.left_alone for step in set_up_plan(shipped("four_track"), set(TAPES)).steps)


def test_a_tape_that_there_is_not_is_a_problem() -> None:
    with pytest.raises(InputAtFaultError, match="Did you mean azimuth"):
        set_up_plan(shipped("four_track"), {"azimut"})


# --- when to stop ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("off", "doubt", "passes", "word"),
    [
        (0.5, 0.2, (), STOP), (-0.5, 0.2, (), STOP), (1.5, 0.2, (), INSIDE), (1.5, 0.2, (3.0,), INSIDE),
        (1.5, 0.2, (1.55,), STOP), (1.9, 0.2, (), TOO_NEAR), (2.3, 0.2, (), GO_ON), (9.0, 0.2, (9.1,), GO_ON),
        (0.3, 1.5, (), STOP), (0.3, 30.0, (), TOO_NEAR),
    ],
)  # fmt: skip
def test_when_to_stop(off: float, doubt: float, passes: tuple[float, ...], word: str) -> None:
    azimuth = step_of(set_up_plan(shipped("four_track")), "azimuth")
    assert standing(azimuth, Reading(off, "arcmin", doubt), passes).word == word


@given(st.floats(-20, 20), st.floats(0.001, 20))
def test_stop_is_never_said_outside_the_tolerance(off: float, doubt: float) -> None:
    azimuth = step_of(set_up_plan(shipped("four_track")), "azimuth")
    assert azimuth.tolerance is not None
    found = standing(azimuth, Reading(off, "arcmin", doubt))
    if found.word in (STOP, INSIDE):
        assert abs(off) <= azimuth.tolerance
    if abs(off) - doubt > azimuth.tolerance:
        assert found.word == GO_ON


def test_nothing_read_is_no_verdict() -> None:
    azimuth = step_of(set_up_plan(shipped("four_track")), "azimuth")
    found = standing(azimuth, Reading(None, "arcmin", why_not="There is no tone."))
    assert (found.word, found.says) == (UNREAD, "There is no tone.")


# --- kept in the job -------------------------------------------------------------------------------------------------


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return open_store(tmp_path)


def test_a_step_is_kept_moved_by_another_and_undone(store: Store) -> None:
    plan = set_up_plan(shipped("four_track"))
    height, azimuth = step_of(plan, "height"), step_of(plan, "azimuth")
    job = store.begin(Particulars(machine_id="four_track"))

    def states() -> dict[str, str]:
        return {one.id: one.state for one in done_in(store.job(job.id), plan)}

    assert set(states().values()) == {OPEN}
    keep_set(store, job.id, height, None, who="Ana")
    assert states()["height"] == SET
    keep_set(store, job.id, azimuth, Reading(1.234, "arcmin", 0.21), who="Ana")
    assert states()["azimuth"] == SET
    assert states()["height"] == LOOK_AGAIN, "the screws rock the head"
    moved = next(one for one in done_in(store.job(job.id), plan) if one.id == "height")
    assert moved.because == ("azimuth",)
    assert passes_of(store.job(job.id), azimuth) == (1.234,)
    keep_left(store, job.id, azimuth, "no  screw to turn")
    found = next(one for one in done_in(store.job(job.id), plan) if one.id == "azimuth")
    assert (found.state, found.says) == (LEFT_ALONE, "no screw to turn")
    assert states()["height"] == SET, "what was left alone moved nothing"
    store.undo(job.id, 4)
    assert next(one for one in done_in(store.job(job.id), plan) if one.id == "azimuth").says == (
        "1.23 ± 0.21 minutes of arc"
    )
    store.undo(job.id, 3)
    assert states() == {step.id: SET if step.id == "height" else OPEN for step in plan.steps}


def test_left_alone_needs_a_reason(store: Store) -> None:
    job = store.begin(Particulars(machine_id="four_track"))
    with pytest.raises(InputAtFaultError, match="left alone because"):
        keep_left(store, job.id, set_up_plan(shipped("four_track")).steps[0], "  ")


def test_what_was_set_by_hand_is_no_trend(store: Store) -> None:
    job = store.begin(Particulars(machine_id="four_track", serial="0017"))
    azimuth = step_of(set_up_plan(shipped("four_track")), "azimuth")
    keep_set(store, job.id, azimuth, Reading(1.0, "arcmin", 0.2))
    assert visits(store, "0017") == []
