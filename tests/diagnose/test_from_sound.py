"""What was heard of a mechanism becomes readings and signs, no surer than the ear was."""

from dataclasses import replace

import numpy as np
import pytest

from tapewright.diagnose.from_sound import MISSED_ALL, MISSED_LEAST, RUNS_MOST, evidence_of_sound
from tapewright.diagnose.likelihoods import checked_evidence, of_observations, of_readings
from tapewright.diagnose.network import network
from tapewright.diagnose.told_when import as_told
from tapewright.faults.applied import Fault, applied
from tapewright.jobs.mechanism_heard import expected_rates, parse_marks
from tapewright.machine.library import shipped
from tapewright.machine.minute import minute_steps
from tapewright.measure.mechanism import hear_sound
from tapewright.measure.mechanism_frames import Sound
from tapewright.simulate.minute import play_minute
from tapewright.words.mechanism_heard import Click, EvidenceHeard, Mark, MechanismHeard, NotHeard, Squeal, StretchHeard
from tapewright.words.problem import InputAtFaultError
from tapewright.words.reading import Reading

FOUR = shipped("four_track")
MARKS = (Mark("off", 0.0), Mark("switch_on", 4.0), Mark("cassette_in", 10.0), Mark("play", 14.0), Mark("stop", 29.0))
NOTHING = MechanismHeard(35.0, 48000.0, MARKS, (), (), (), (), (), (), ())


def ran(name: str, mode: str, start: float, end: float, sure: float = 0.97) -> StretchHeard:
    return StretchHeard(name, mode, start, end, Reading(40.0, "Hz", 0.05), Reading(0.1, "%", 0.05), sure)


def value(told: EvidenceHeard, name: str) -> float:
    found = told.evidence.readings[name].value
    assert found is not None
    return found


def test_a_motor_heard_is_as_sure_as_the_ear() -> None:
    told = evidence_of_sound(FOUR, replace(NOTHING, stretches=(ran("capstan_motor", "cassette_in", 10.2, 33.0, 0.87),)))
    assert value(told, "motor_runs_sure:capstan_motor@cassette_in") == 0.87
    assert value(told, "motor_runs_sure:capstan_motor@play") == 0.87


def test_silence_says_as_much_as_the_background_lets_it() -> None:
    def after(sure: float) -> EvidenceHeard:
        missing = NotHeard("capstan_motor", "cassette_in", 10.0, 14.0, -40.0, sure)
        return evidence_of_sound(FOUR, replace(NOTHING, not_heard=(missing,)))

    name = "motor_runs_sure:capstan_motor@cassette_in"
    # Bayes by hand, as likely to run as not: missed / (missed + 1).
    assert value(after(0.9), name) == pytest.approx(0.1 / 1.1)
    assert value(after(0.6), name) == pytest.approx(0.4 / 1.4)
    assert name not in after(0.1).evidence.readings


def test_silence_throughout_says_more_where_the_keys_are_heard() -> None:
    """A phone that hears the keys would hear a motor somewhere in a minute; one that hears nothing may be far away."""
    missing = NotHeard("capstan_motor", "cassette_in", 10.0, 14.0, -40.0, 0.6)
    clicks = tuple(Click(mark.at_s + 0.05, 0.97) for mark in MARKS[1:])
    name = "motor_runs_sure:capstan_motor@cassette_in"
    quiet = evidence_of_sound(FOUR, replace(NOTHING, not_heard=(missing,), clicks=clicks))
    deaf = evidence_of_sound(FOUR, replace(NOTHING, not_heard=(missing,)))
    other = ran("reel_motor", "play", 15.0, 29.0)
    runs = evidence_of_sound(FOUR, replace(NOTHING, not_heard=(missing,), clicks=clicks, stretches=(other,)))
    assert value(quiet, name) == pytest.approx(MISSED_ALL / (1.0 + MISSED_ALL))
    assert value(deaf, name) == value(runs, name) == pytest.approx(0.4 / 1.4)


def test_no_motor_is_surer_than_the_ear_was_found_to_be() -> None:
    told = evidence_of_sound(
        FOUR, replace(NOTHING, stretches=(ran("capstan_motor", "cassette_in", 10.2, 33.0, 0.999),))
    )
    assert value(told, "motor_runs_sure:capstan_motor@cassette_in") == RUNS_MOST
    missing = NotHeard("capstan_motor", "cassette_in", 10.0, 14.0, -40.0, 0.999)
    told = evidence_of_sound(FOUR, replace(NOTHING, not_heard=(missing,)))
    assert value(told, "motor_runs_sure:capstan_motor@cassette_in") == pytest.approx(MISSED_LEAST / (1 + MISSED_LEAST))


@pytest.mark.parametrize("name", ["closed_loop_deck", "two_motor_deck", "four_track", "one_motor_portable"])
def test_a_silent_motor_speaks_where_the_network_left_out_whether_it_turns(name: str) -> None:
    """A network that dropped what a motor does dropped what was heard of it too, without a word."""
    machine = shipped(name)
    net = network(machine)
    starts = [node.partition(":")[2] for node in net.words if node.startswith("sounds:")]
    assert starts
    for where in starts:
        said = of_readings(net, {f"motor_runs_sure:{where}": Reading(0.1, "1")})
        node = next(iter(said))
        words = dict(zip(net.words[node], said[node], strict=True))
        # By hand: a silent motor is 0.9 likely to be called silent so surely, one that sounds 0.1.
        assert words["silent" if node.startswith("sounds:") else "still"] == pytest.approx(0.9)
        assert words["normal" if node.startswith("sounds:") else "right"] == pytest.approx(0.1)


def test_what_a_microphone_mistook_never_rules_a_state_out() -> None:
    net = network(FOUR)
    name, reading = "rate_hz:capstan_motor@play", Reading(400.0, "Hz", 0.01, by="microphone")
    by_ear, by_meter = (of_readings(net, {name: one}) for one in (reading, replace(reading, by="")))
    least = min((said.min() / said.max() for said in by_ear.values()), default=1.0)
    assert least > 1e-3
    assert least >= min((said.min() / said.max() for said in by_meter.values()), default=1.0)


def test_a_motor_heard_up_to_the_key_denies_that_the_machine_gave_up() -> None:
    on = evidence_of_sound(FOUR, replace(NOTHING, stretches=(ran("reel_motor", "play", 14.6, 29.1),)))
    assert {one.id: one.present for one in on.evidence.signs}["play_stops"] is False
    assert "seconds_to_stop@play" not in on.evidence.readings
    off = evidence_of_sound(FOUR, replace(NOTHING, stretches=(ran("reel_motor", "play", 14.6, 17.0),)))
    assert "play_stops" not in {one.id for one in off.evidence.signs}


def test_a_motor_that_falls_to_another_rate_gave_its_mode_up() -> None:
    machine = shipped("auto_reverse_deck")
    marks = (Mark("off", 0.0), Mark("fast_forward", 5.0), Mark("stop", 16.5))
    wound = replace(ran("capstan_motor", "fast_forward", 5.2, 7.2), rate_hz=Reading(59.5, "Hz", 0.01))
    after = replace(ran("capstan_motor", "fast_forward", 7.5, 16.5), rate_hz=Reading(39.7, "Hz", 0.01))
    told = evidence_of_sound(machine, replace(NOTHING, marks=marks, stretches=(wound, after)))
    assert value(told, "seconds_to_stop@fast_forward") == pytest.approx(2.2)


def test_a_quiet_play_denies_a_squeal_only_where_the_machine_is_heard() -> None:
    quiet = evidence_of_sound(FOUR, replace(NOTHING, stretches=(ran("capstan_motor", "play", 14.1, 29.0),)))
    assert {one.id: one.present for one in quiet.evidence.signs}["play_squeak"] is False
    assert not evidence_of_sound(FOUR, NOTHING).evidence.signs


def test_a_motor_that_goes_on_is_said_and_one_that_ends_too() -> None:
    long = replace(NOTHING, stretches=(ran("cam_motor", "switch_on", 4.2, 8.4), ran("cam_motor", "play", 14.1, 18.3)))
    short = replace(NOTHING, stretches=(ran("cam_motor", "switch_on", 4.2, 5.6), ran("cam_motor", "play", 14.1, 15.6)))
    told, other = evidence_of_sound(FOUR, long), evidence_of_sound(FOUR, short)
    assert value(told, "run_on_s:cam_motor") == pytest.approx(4.2)
    assert {one.id: one.present for one in told.evidence.signs}["switch_on_cam_motor_goes_on"] is True
    assert {one.id: one.present for one in other.evidence.signs}["switch_on_cam_motor_goes_on"] is False


def test_the_head_base_has_risen_when_its_motor_stops_before_the_logic_gives_up() -> None:
    short = replace(NOTHING, stretches=(ran("cam_motor", "play", 14.2, 15.6),))
    assert value(evidence_of_sound(FOUR, short), "head_base_rise_s") == pytest.approx(1.6)
    long = replace(NOTHING, stretches=(ran("cam_motor", "play", 14.2, 18.3),))
    assert "head_base_rise_s" not in evidence_of_sound(FOUR, long).evidence.readings


def test_a_squeal_that_comes_back_with_a_reel_names_it() -> None:
    back = Reading(0.82, "Hz", 0.02)
    squeal = Squeal(16.0, 24.0, Reading(3200.0, "Hz", 5.0), 15.0, back, "squeal", 0.95)
    told = evidence_of_sound(FOUR, replace(NOTHING, squeals=(squeal,)))
    assert "squeal_sure:takeup_reel@play" in told.evidence.readings
    assert {one.id: one.present for one in told.evidence.signs}["play_squeak"] is True


def test_what_stops_by_itself_says_after_how_long() -> None:
    told = evidence_of_sound(FOUR, replace(NOTHING, stretches=(ran("reel_motor", "play", 14.6, 17.0),)))
    assert value(told, "seconds_to_stop@play") == pytest.approx(3.0, abs=0.2)


def test_a_wind_given_up_leaves_its_mode_the_rate_it_had() -> None:
    """The machine falls back to the rate of play by itself: that is no rate of the wind."""
    machine = shipped("auto_reverse_deck")
    marks = (Mark("off", 0.0), Mark("fast_forward", 5.0), Mark("stop", 13.0))
    wound = replace(ran("capstan_motor", "fast_forward", 5.2, 7.2), rate_hz=Reading(59.5, "Hz", 0.01))
    after = replace(ran("capstan_motor", "fast_forward", 7.5, 16.0), rate_hz=Reading(39.7, "Hz", 0.01))
    told = evidence_of_sound(machine, replace(NOTHING, marks=marks, stretches=(wound, after)))
    assert value(told, "rate_hz:capstan_motor@fast_forward") == pytest.approx(59.5)
    steady = replace(after, rate_hz=Reading(59.6, "Hz", 0.01))
    told = evidence_of_sound(machine, replace(NOTHING, marks=marks, stretches=(wound, steady)))
    assert value(told, "rate_hz:capstan_motor@fast_forward") == pytest.approx(59.6)


def test_without_marks_nothing_is_said_of_any_mode() -> None:
    told = evidence_of_sound(FOUR, replace(NOTHING, marks=(), stretches=(ran("cam_motor", "", 4.2, 8.4),)))
    assert not told.evidence.readings
    assert not told.evidence.signs


def test_every_name_is_one_the_machine_knows_and_has_its_reason() -> None:
    stretches = (ran("cam_motor", "play", 14.1, 18.3), ran("capstan_motor", "play", 10.2, 33.0))
    told = evidence_of_sound(FOUR, replace(NOTHING, stretches=stretches))
    net, evidence = as_told(network(FOUR), told.evidence)
    checked_evidence(net, evidence)
    assert of_observations(net, evidence.signs) or of_readings(net, evidence.readings)
    assert {name for name, _ in told.reasons} == {*told.evidence.readings, *(one.id for one in told.evidence.signs)}
    assert all(why.endswith(".") for _, why in told.reasons)


def test_expected_rates_are_the_modes_motors() -> None:
    found = {(one.name, one.mode) for one in expected_rates(FOUR) if one.kind == "motor"}
    assert found == {(motor, mode.name) for mode in FOUR.modes.values() for motor in mode.motors}
    assert all(one.low_hz < one.rate_hz < one.high_hz for one in expected_rates(FOUR))


@pytest.mark.parametrize("text", ["mode,at_s\nplay,x\n", "mode,at_s\n,3\n", "[1]", "{}", "", "mode,at_s\nplay,-1\n"])
def test_marks_that_cannot_be_used_are_problems(text: str) -> None:
    with pytest.raises(InputAtFaultError):
        parse_marks(text, "marks")


@pytest.mark.slow
def test_a_simulated_minute_tells_a_missing_cam_belt_and_a_dead_capstan_motor() -> None:
    """The simulator shares no code with the ear."""
    for part, kind in (("cam_belt", "missing"), ("capstan_motor", "dead")):
        minute = play_minute(applied(FOUR, [Fault(part, kind)]), minute_steps(FOUR), 3, snr_db=10.0)
        sound = Sound(np.asarray(minute.samples, dtype=np.float32), float(minute.rate_hz))
        told = evidence_of_sound(FOUR, hear_sound(sound, minute.truth.marks, expected_rates(FOUR)))
        silent = value(told, "motor_runs_sure:capstan_motor@cassette_in") < 0.2
        goes_on = {one.id: one.present for one in told.evidence.signs}.get("switch_on_cam_motor_goes_on")
        assert (silent, goes_on) == (part == "capstan_motor", part == "cam_belt")


def squealing(rate_hz: float, method: str, mode_at_s: float = 33.0) -> tuple[Squeal, ...]:
    back = Reading(rate_hz, "Hz", 0.1, method=method)
    return (Squeal(mode_at_s, mode_at_s + 4.0, Reading(1800.0, "Hz", 5.0), 15.0, back, "squeal", 0.93),)


def test_what_squeals_more_slowly_than_any_part_turns_slips_and_is_not_denied() -> None:
    """The reel should turn 11.1 times a second in this wind, the flywheel 7.4 times: 4.2 is a reel that slips."""
    machine = shipped("two_motor_deck")
    marks = (Mark("off", 0.0), Mark("fast_forward", 31.0), Mark("stop", 39.0))
    heard = replace(NOTHING, marks=marks, squeals=squealing(4.2, "spectrum of its level"))
    told = evidence_of_sound(machine, heard)
    assert {one.id: one.present for one in told.evidence.signs}["fast_forward_weak"] is True
    assert value(told, "squeal_sure:takeup_reel@fast_forward") >= 0.45
    right = evidence_of_sound(machine, replace(heard, squeals=squealing(11.1, "from swell to swell")))
    assert "fast_forward_weak" not in {one.id for one in right.evidence.signs}
    assert value(right, "squeal_sure:takeup_reel@fast_forward") > 0.5


def test_a_rate_that_wavers_or_chirps_by_themselves_deny_no_part() -> None:
    machine = shipped("rim_drive_recorder")
    marks = (Mark("off", 0.0), Mark("play", 31.0), Mark("stop", 39.0))
    told = {
        method: evidence_of_sound(machine, replace(NOTHING, marks=marks, squeals=squealing(7.52, method))).evidence
        for method in ("spectrum of its level", "from swell to swell, unsteadily", "from chirp to chirp")
    }
    denied = [
        method for method, said in told.items()
        if any(name.startswith("squeal_sure") and (one.value or 0.0) < 0.4 for name, one in said.readings.items())
    ]  # fmt: skip
    assert denied == ["spectrum of its level"]
