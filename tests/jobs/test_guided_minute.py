"""What a guided minute reveals follows from the description; the list that is kept is the one worked out now."""

import csv
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given as draw
from hypothesis import strategies as st

from benchmarks import guided_minute as command
from tapewright.diagnose.likelihoods import of_observations, of_readings, together
from tapewright.diagnose.network import network, speaking_of
from tapewright.faults.applied import Fault, applied
from tapewright.faults.consequences import signs_shown
from tapewright.jobs.guided_minute import differs, given, impressions, share_of
from tapewright.jobs.guided_minute_marks import checked_marks, is_film, is_minute, marks_in, note_of, usual_marks
from tapewright.jobs.guided_minute_score import said_of, scored
from tapewright.machine.library import shipped
from tapewright.words.evidence import Observation
from tapewright.words.mechanism_heard import Mark
from tapewright.words.problem import InputAtFaultError
from tapewright.words.reading import Reading

QUICK = "direct_drive_deck"


def rows(text: str, machine: str = "") -> list[dict[str, str]]:
    return [row for row in csv.DictReader(text.splitlines()) if machine in ("", row["machine"])]


@pytest.mark.slow
def test_the_list_kept_is_what_follows_from_a_description_now() -> None:
    kept = rows(command.LIST.read_text(encoding="utf-8"), QUICK)
    assert kept == rows(command.list_text([QUICK]))


@pytest.mark.slow
def test_so_it_is_of_another_layout() -> None:
    machine = "two_motor_deck"
    kept = rows(command.LIST.read_text(encoding="utf-8"), machine)
    assert kept == rows(command.list_text([machine]))


def test_every_layout_is_on_the_list_and_on_the_page() -> None:
    assert {row["machine"] for row in rows(command.LIST.read_text(encoding="utf-8"))} == set(command.MACHINES)
    page = command.PAGE.read_text(encoding="utf-8")
    assert all(f"`{name}`" in page for name in command.MACHINES)


def test_no_table_says_it_the_description_does() -> None:
    """A motor that no longer runs in play leaves the minute's play without its rate, and no fault of it shows there."""
    machine = shipped("four_track")
    play = machine.modes["play"]
    assert "rate_hz:capstan_motor@play" in {one.name for one in impressions(machine)}
    without = {name: way for name, way in play.motors.items() if name != "capstan_motor"}
    altered = replace(machine, modes={**machine.modes, "play": replace(play, motors=without)})
    assert "rate_hz:capstan_motor@play" not in {one.name for one in impressions(altered)}


@pytest.mark.parametrize(
    ("fault", "shows"),
    [
        # Common practice: a dead motor is not heard; a belt that is gone leaves its motor racing; play that races
        # without a capstan belt is seen at the reels; a missing cam belt lets the cam motor run on.
        (Fault("capstan_motor", "dead"), "-motor_runs_sure:capstan_motor@play"),
        (Fault("capstan_belt", "missing"), "+play_tape_races"),
        (Fault("cam_belt", "missing"), "+play_cam_motor_goes_on"),
        (Fault("idler_tyre", "glazed"), "+play_takeup_reel_falters"),
    ],
)
def test_what_the_trade_hears_and_sees(fault: Fault, shows: str) -> None:
    machine = shipped("four_track")
    wanted = impressions(machine)
    worn, sound = given(applied(machine, [fault]), wanted), given(machine, wanted)
    changed = {
        f"{'+' if b.chance > a.chance else '-'}{one.name}"
        for one, a, b in zip(wanted, sound, worn, strict=True)
        if differs(one, b, a)
    }
    assert shows in changed or (shows.endswith("falters") and any("takeup_reel" in one for one in changed))


def test_a_sound_machine_shows_nothing_and_is_like_itself() -> None:
    for name in (QUICK, "four_track"):
        machine = shipped(name)
        wanted = impressions(machine)
        at_rest = given(machine, wanted)
        assert not any(differs(one, a, a) for one, a in zip(wanted, at_rest, strict=True))


def test_what_a_perfect_eye_shows_a_person_shows_too() -> None:
    """Another road: of the signs a fault changes, those of the minute are shown by the engine's own list of signs."""
    machine = shipped(QUICK)
    signs_of_minute = {one.name for one in impressions(machine) if one.sign is not None}
    usual = {sign.id for sign in signs_shown(machine)}
    for one in command._revealed(QUICK)[::5]:
        shown = {sign.id for sign in signs_shown(applied(machine, [one.fault]))}
        newly = (shown - usual) & signs_of_minute
        assert newly <= {name.lstrip("+-") for name in one.shows}


def test_alike_is_mutual() -> None:
    found = command._revealed(QUICK)
    for one in found:
        assert one.told_apart == (bool(one.shows) and not one.alike)
        for other in (two for two in found if two.shows == one.shows and two.shows):
            assert other.fault.part == one.fault.part or other.fault.part in one.alike


# --- the score --------------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_the_score_speaks_the_language_of_evidence() -> None:
    """One row of the score's likelihoods is what the same evidence, written down, gives."""
    machine = shipped(QUICK)
    wanted = impressions(machine)
    net = speaking_of(network(machine), [one.name for one in wanted if one.sign is not None])
    now = given(machine, wanted)
    found = said_of(net, wanted, [now], np.random.default_rng(1), 1.0, 0.0)
    signs = [
        Observation(one.name, how.chance > 0.5)
        for one, how in zip(wanted, now, strict=True)
        if one.sign is not None and how.chance in (0.0, 1.0)
    ]
    readings = {
        one.name: Reading(round(how.value, 6), "", how.value * one.doubt if one.relative else one.doubt)
        for one, how in zip(wanted, now, strict=True)
        if one.reading is not None and how.value == how.value
    }
    chances = {
        one.name: Reading(how.chance, "1", 0.0)
        for one, how in zip(wanted, now, strict=True)
        if one.reading is None and one.sign is None and how.chance in (0.0, 1.0)
    }
    written = together(of_observations(net, signs), of_readings(net, readings | chances))
    for place, said in written.items():
        np.testing.assert_allclose(found[place][0], said, rtol=1e-4)


def test_a_dead_motor_leads_and_senses_that_tell_nothing_do_not_help() -> None:
    machine = shipped(QUICK)
    motor = next(one for one in machine.rotors.values() if one.kind == "motor")
    dead = [Fault(motor.name, "dead")]
    assert scored(machine, dead, draws=3)[0].among_three == 1.0
    blind = scored(machine, dead, draws=3, hits=0.5, false_alarms=0.5, senses=("sound",))
    assert blind[0].first <= scored(machine, dead, draws=3)[0].first


# --- marks ------------------------------------------------------------------------------------------------------------


@draw(st.lists(st.floats(0.0, 800.0), max_size=20), st.sets(st.integers(0, 19)), st.booleans())
def test_marks_come_back_from_their_note(times: list[float], failed: set[int], film: bool) -> None:
    machine = shipped("four_track")
    modes = ["off", *machine.modes]
    marks = checked_marks(machine, [(modes[i % len(modes)], at) for i, at in enumerate(sorted(times))])
    note = note_of(marks, failed, film=film)
    assert is_minute(note)
    assert is_film(note) == film
    assert marks_in(note) == (marks, frozenset(i for i in failed if i < len(marks)))


@pytest.mark.parametrize(
    ("given_marks", "says"),
    [
        ([("play", float("nan"))], "nan"),
        ([("play", float("inf"))], "inf"),
        ([("play", -0.1)], "-0.1"),
        ([("play", 5.0), ("stop", 4.0)], "before the one ahead"),
        ([("fly", 1.0)], "'fly'"),
        ([("play", 61.0)], "after the end"),
        ([("play", 1.0)] * 61, "more than 60"),
    ],
)
def test_marks_that_cannot_be_meant_are_refused(given_marks: list[tuple[str, float]], says: str) -> None:
    with pytest.raises(InputAtFaultError) as refused:
        checked_marks(shipped("four_track"), given_marks, 60.0)
    assert says in str(refused.value.problems[0])


def test_a_form_begins_with_the_minute_by_the_clock() -> None:
    marks = usual_marks(shipped("four_track"))
    assert marks[0] == Mark("off", 0.0, 0.5)
    assert checked_marks(shipped("four_track"), [(one.mode, one.at_s) for one in marks]) == marks


def test_a_perfect_sense_makes_no_mistakes() -> None:
    for one in impressions(shipped(QUICK)):
        if one.sign is not None:
            assert max(share_of(one.sign, word) for word in one.sign.notice) == pytest.approx(1.0)
            assert share_of(one.sign, "no such word") == 0.0
