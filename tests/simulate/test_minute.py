"""A played minute against closed forms, against plain transforms of its own sound, and against changed descriptions."""

import json
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tapewright.faults.applied import applied, parse_fault
from tapewright.machine.library import shipped
from tapewright.machine.minute import MinuteStep, minute_steps
from tapewright.machine.parts import Machine
from tapewright.machine.rates import rates
from tapewright.simulate.minute import Minute, minute_bytes, minute_truth, play_minute, write_minute
from tapewright.simulate.minute_course import minute_course
from tapewright.simulate.minute_room import PHONES, ROOMS, background, packed, response, through_phone, unpacked
from tapewright.simulate.minute_truth import TrueStretch
from tapewright.simulate.minute_turning import MOTOR_FRICTION_NM, MOTOR_INERTIA, run_down_s, run_up_s, turning
from tapewright.words.problem import InputAtFaultError

Samples = NDArray[np.float64]
FS = 16000


def worn(machine: str | Machine, *faults: str) -> Machine:
    described = shipped(machine) if isinstance(machine, str) else machine
    return applied(described, [parse_fault(described, text) for text in faults])


def upto(machine: Machine, mode: str) -> Sequence[MinuteStep]:
    """Give the steps of a minute as far as the first of a mode, so that a test need not wait for the rest."""
    steps = minute_steps(machine)
    last = next(at for at, step in enumerate(steps) if step.mode == mode)
    return steps[: last + 1]


@lru_cache(maxsize=8)
def played(name: str, *faults: str, mode: str = "play", kinds: tuple[str, ...] = (), phone: str = "recorder") -> Minute:
    machine = worn(name, *faults)
    return play_minute(machine, upto(machine, mode), 3, sample_rate_hz=FS, room="case", background=kinds, phone=phone)


def between(minute: Minute, start_s: float, end_s: float) -> Samples:
    return minute.samples[round(start_s * minute.rate_hz) : round(end_s * minute.rate_hz)]


def rms(samples: Samples) -> float:
    return float(np.sqrt(np.mean(samples**2)))


def stretch(minute: Minute, name: str, mode: str) -> TrueStretch:
    return next(one for one in minute.truth.motors if (one.name, one.mode) == (name, mode))


# --- the rate that is sounded -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["one_motor_portable", "rim_drive_recorder"])
def test_a_plain_transform_finds_the_motors_rate(name: str) -> None:
    # Oracle: one plain windowed FFT over the middle of play, its peak near the commutator's order, by a parabola.
    minute, machine = played(name), shipped(name)
    rotor = machine.rotors["capstan_motor"]
    entered = next(mark.at_s for mark in minute.truth.entered if mark.mode == "play")
    part = between(minute, entered + 4.0, entered + 14.0)
    spectrum = np.log(np.abs(np.fft.rfft(part * np.hanning(len(part)))) + 1e-12)
    order = 2 * rotor.segments or 6
    expected = rates(machine, "play")["capstan_motor"].turns_per_s
    bins = len(part) / FS
    low, high = (round(order * expected.value * share * bins) for share in (0.985, 1.015))
    peak = low + int(np.argmax(spectrum[low:high]))
    before, top, after = spectrum[peak - 1 : peak + 2]
    found = (peak + 0.5 * (before - after) / (before - 2 * top + after)) / bins / order
    true = next(one for one in minute.truth.motors if one.name == "capstan_motor" and one.end_s > entered + 4.0)
    assert found == pytest.approx(true.rate_hz, rel=1e-3)
    assert abs(found - expected.value) <= expected.doubt + 1e-3 * expected.value


def test_a_slow_motor_sounds_slower_by_what_its_fault_says() -> None:
    machine = worn("one_motor_portable", "capstan_motor=wrong_speed:-1.0")
    share = rates(machine, "play")["capstan_motor"].turns_per_s.value / 40.2
    slow = played("one_motor_portable", "capstan_motor=wrong_speed:-1.0")
    right = played("one_motor_portable")
    found = stretch(slow, "capstan_motor", "play").rate_hz / stretch(right, "capstan_motor", "play").rate_hz
    assert found == pytest.approx(share, rel=2e-3)
    assert found < 0.99


# --- run-up and run-down ----------------------------------------------------------------------------------------------


def test_a_motor_that_carries_nothing_coasts_by_its_own_inertia_alone() -> None:
    # Closed form: t = J omega / T.
    machine = worn("four_track", "cam_belt=missing")
    expected = MOTOR_INERTIA * 2 * np.pi * 40.0 / MOTOR_FRICTION_NM
    assert run_down_s(machine, "switch_on", "cam_motor", 40.0) == pytest.approx(expected)


def test_a_flywheel_on_its_belt_prolongs_the_coast_by_its_inertia_seen_through_the_belt() -> None:
    # Closed form: J = J_m + r^2 J_f, T = T_m + r T_f, with r the flywheel's turns for one of the motor.
    machine = shipped("one_motor_portable")
    told = rates(machine, "fast_forward")
    flywheel = machine.rotors["flywheel"].inertia
    assert flywheel is not None
    share = told["flywheel"].turns_per_s.value / told["capstan_motor"].turns_per_s.value
    inertia = MOTOR_INERTIA + share**2 * flywheel.value
    assert run_down_s(machine, "play", "capstan_motor", 40.0) < inertia * 2 * np.pi * 40.0 / MOTOR_FRICTION_NM
    assert run_down_s(machine, "play", "capstan_motor", 40.0) > 0.3 * inertia * 2 * np.pi * 40.0 / MOTOR_FRICTION_NM
    without = worn("one_motor_portable", "capstan_belt=missing")
    assert run_up_s(without, "play", "capstan_motor", 40.0) < run_up_s(machine, "play", "capstan_motor", 40.0)


def test_the_run_down_in_the_minute_takes_as_long_as_the_closed_form_says() -> None:
    machine = shipped("one_motor_portable")
    course = minute_course(machine, upto(machine, "stop"), 3)
    turns = turning(course, 3)
    fed = next(one for one in course.fed if one.motor == "capstan_motor")
    rate = turns.rates_hz["capstan_motor"]
    stands = turns.times_s[np.flatnonzero((turns.times_s > fed.end_s) & (rate == 0.0))[0]]
    assert stands - fed.end_s == pytest.approx(run_down_s(machine, "play", "capstan_motor", fed.rate_hz), abs=0.03)


# --- what is heard when -----------------------------------------------------------------------------------------------


def test_a_dead_motor_is_silent() -> None:
    minute = played("one_motor_portable", "capstan_motor=dead")
    entered = next(mark.at_s for mark in minute.truth.entered if mark.mode == "play")
    assert minute.truth.motors == ()
    assert rms(between(minute, entered + 1.0, entered + 10.0)) < 1e-3 * rms(between(minute, entered, entered + 0.1))


def test_the_truths_times_are_those_of_the_sound() -> None:
    minute = played("four_track", mode="cassette_in")
    cam = stretch(minute, "cam_motor", "switch_on")
    assert rms(between(minute, cam.start_s - 0.5, cam.start_s - 0.1)) < 1e-3 * rms(
        between(minute, cam.start_s + 0.4, cam.end_s - 0.6)
    )
    assert rms(between(minute, cam.end_s + 0.3, cam.end_s + 1.0)) < 1e-2 * rms(
        between(minute, cam.start_s + 0.4, cam.end_s - 0.6)
    )


def test_a_sound_machine_squeals_nowhere() -> None:
    minute = played("one_motor_portable", mode="fast_forward")
    assert minute.truth.noises == ()
    winding = next(mark.at_s for mark in minute.truth.entered if mark.mode == "fast_forward")
    part = between(minute, winding + 2.0, winding + 7.0)
    power = np.abs(np.fft.rfft(part * np.hanning(len(part)))) ** 2
    bands = power[: len(power) // 100 * 100].reshape(100, -1).sum(axis=1)
    middle = bands[20:90]  # 1.6 to 7.2 kHz in bands of 80 Hz
    assert middle.max() < 8 * np.median(middle)


def test_a_squeal_stands_in_the_spectrum_where_the_truth_puts_it() -> None:
    minute = played("one_motor_portable", "takeup_reel=dry_spindle")
    squeal = next(one for one in minute.truth.noises if one.kind == "squeal")
    assert squeal.frequency_hz is not None
    part = between(minute, squeal.start_s + 0.1, squeal.end_s - 0.1)
    power = np.abs(np.fft.rfft(part * np.hanning(len(part))))
    high = round(1000.0 * len(part) / FS)
    assert (high + int(np.argmax(power[high:]))) * FS / len(part) == pytest.approx(squeal.frequency_hz, rel=0.02)


def test_a_flat_spot_thumps_once_a_turn_of_its_tyre() -> None:
    machine = worn("one_motor_portable", "idler_tyre=flat_spot")
    minute = play_minute(machine, upto(machine, "fast_forward"), 3, sample_rate_hz=FS, room="case", background=())
    thump = next(one for one in minute.truth.noises if one.part == "idler_tyre" and one.mode == "fast_forward")
    assert thump.kind == "thump"
    expected = rates(machine, "fast_forward")["idler_tyre"].turns_per_s.value
    assert thump.rate_hz == pytest.approx(expected, rel=0.1)


def test_a_cam_motor_without_its_belt_runs_on_until_the_logic_gives_up() -> None:
    minute = played("four_track", "cam_belt=missing", mode="cassette_in")
    cam = stretch(minute, "cam_motor", "switch_on")
    timeout = shipped("four_track").sensors["cam_switch"].timeout_s
    assert timeout is not None
    assert minute.truth.stops[0].sensor == "cam_switch"
    assert cam.end_s - cam.start_s == pytest.approx(timeout, abs=1.0)
    assert cam.end_s - cam.start_s > 2 * (
        stretch(played("four_track", mode="cassette_in"), "cam_motor", "switch_on").end_s - 4.5
    )


def test_running_down_to_a_slower_rate_is_no_part_of_the_slower_rate() -> None:
    machine = shipped("flywheel_cam_deck")
    truth = minute_truth(machine, minute_steps(machine), 3)
    found = {one.mode: one.rate_hz for one in truth.motors if one.name == "capstan_motor"}
    assert found["stop"] == pytest.approx(found["cassette_in"], rel=2e-3)
    assert found["rewind"] == pytest.approx(2 * found["cassette_in"], rel=2e-3)


def test_without_power_nothing_stops_nothing_and_no_solenoid_pulls() -> None:
    machine = worn("two_motor_deck", "power_supply=dead")
    truth = minute_truth(machine, minute_steps(machine), 3)
    assert truth.stops == ()
    assert truth.motors == ()
    assert {one.of for one in truth.clicks} <= {"key", "lid", "mains switch"}


# --- changed descriptions: only the machine changes, no code ----------------------------------------------------------


def test_a_capstan_motor_that_never_rests_is_heard_to_start_at_switch_on_and_not_with_the_cassette() -> None:
    four = shipped("four_track")
    modes = {
        name: replace(mode, motors=dict(mode.motors) | {"capstan_motor": 1.0}) for name, mode in four.modes.items()
    }
    always = replace(four, modes=modes)
    heard = play_minute(always, upto(always, "cassette_in"), 3, sample_rate_hz=FS, background=())
    assert [one.mode for one in heard.truth.motors if one.name == "capstan_motor"] == ["switch_on"]
    usual = played("four_track", mode="cassette_in")
    assert [one.mode for one in usual.truth.motors if one.name == "capstan_motor"] == ["cassette_in"]


def test_where_the_flywheel_lifts_the_head_base_a_missing_belt_lets_no_tape_run() -> None:
    lifted = play_minute(
        worn("flywheel_cam_deck", "capstan_belt=missing"),
        upto(shipped("flywheel_cam_deck"), "play"), 3, sample_rate_hz=FS, background=(),
    )  # fmt: skip
    assert lifted.truth.reels == ()
    own_cam = played("four_track", "capstan_belt=missing")
    racing = [one for one in own_cam.truth.reels if one.name == "takeup_reel"]
    assert racing[0].rate_hz > 2 * rates(shipped("four_track"), "play")["takeup_reel"].turns_per_s.value


def test_a_motor_that_races_goes_on_racing_while_nothing_hangs_on_it() -> None:
    """A belt that slips from the first turn slips in play too: the motor does not fall back to its rate at a key."""
    machine = worn("two_motor_deck", "capstan_belt=slack:0.8")
    course = minute_course(machine, minute_steps(machine), 3)
    fed = {one.mode: one.rate_hz for one in course.fed if one.motor == "capstan_motor"}
    right = rates(machine, "cassette_in")["capstan_motor"].turns_per_s.value * course.spread["capstan_motor"]
    assert fed["cassette_in"] > 1.01 * right
    assert fed["play"] == pytest.approx(fed["cassette_in"], rel=0.005)


def test_a_machine_without_a_cam_motor_has_none_to_run_on() -> None:
    assert {one.name for one in played("one_motor_portable").truth.motors} == {"capstan_motor"}


# --- noise, room, phone -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("snr_db", [5.0, 20.0])
def test_the_signal_stands_over_the_background_as_asked(snr_db: float) -> None:
    # Oracle: the same seed without a background, and their difference, on a flat recorder.
    machine = shipped("one_motor_portable")
    steps = upto(machine, "play")
    kinds = ("noise", "hum", "speech")
    with_it = play_minute(machine, steps, 4, sample_rate_hz=FS, snr_db=snr_db, background=kinds)
    alone = play_minute(machine, steps, 4, sample_rate_hz=FS, background=())
    quiet = slice(0, round(3.5 * FS))
    motor = alone.truth.motors[0]
    on = slice(round((motor.start_s + 1.0) * FS), round((motor.end_s - 1.0) * FS))
    # Levels of the two differ: the scale between them is what fits best.
    scale = float(np.dot(with_it.samples[on], alone.samples[on]) / np.dot(alone.samples[on], alone.samples[on]))
    beside = with_it.samples - scale * alone.samples
    found = 20 * np.log10(scale * rms(alone.samples[on]) / rms(beside))
    assert found == pytest.approx(snr_db, abs=0.3)
    assert rms(with_it.samples[quiet]) > 10 * rms(alone.samples[quiet])


def test_the_same_seed_gives_the_same_samples_and_another_does_not() -> None:
    machine = worn("one_motor_portable", "takeup_reel=dry_spindle")
    steps = upto(machine, "play")
    one, again, other = (
        play_minute(machine, steps, seed, sample_rate_hz=FS, room="workshop", background=("noise", "speech"))
        for seed in (5, 5, 6)
    )
    assert np.array_equal(one.samples, again.samples)
    assert one.truth == again.truth
    assert not np.array_equal(one.samples, other.samples)


def test_a_room_dies_away_by_sixty_decibels_in_its_time() -> None:
    # Closed form: the backward integral of the squared response falls by 60 dB in the decay time (Schroeder 1965).
    room = ROOMS["workshop"]
    tail = response(room, 48000, np.random.default_rng(1))[round(0.021 * 48000) :]
    left = np.cumsum(tail[::-1] ** 2)[::-1]
    fall_db = 10 * np.log10(left / left[0])
    seconds = np.flatnonzero(fall_db < -20.0)[0] / 48000
    assert 3 * seconds == pytest.approx(room.decay_s, rel=0.1)


def test_a_phones_automatic_gain_evens_out_what_was_uneven() -> None:
    rng = np.random.default_rng(1)
    sound = rng.standard_normal(FS * 12) * np.repeat([0.02, 0.2], FS * 6)
    evened = through_phone(sound, PHONES["phone_gain"], FS)
    flat = through_phone(sound, PHONES["recorder"], FS)
    share = rms(evened[FS * 10 :]) / rms(evened[FS * 4 : FS * 6])
    assert share < 0.6 * rms(flat[FS * 10 :]) / rms(flat[FS * 4 : FS * 6])


def test_noise_suppression_turns_a_steady_tone_down() -> None:
    steady = np.sin(2 * np.pi * 700.0 * np.arange(FS * 6) / FS)
    gated = through_phone(steady, replace(PHONES["phone_call"], gain_s=0.0), FS)
    assert rms(gated[FS * 3 :]) < 0.4 * rms(steady[FS * 3 :])


@pytest.mark.parametrize("codec", ["aac", "opus"])
def test_a_codec_keeps_time_and_pitch(codec: str) -> None:
    rng = np.random.default_rng(2)
    tone = 0.3 * np.sin(2 * np.pi * 700.0 * np.arange(FS * 3) / FS) + 0.02 * rng.standard_normal(FS * 3)
    tone[:FS] = 0.0
    back = unpacked(packed(tone, FS, codec, 64000), FS, len(tone))
    onset = int(np.argmax(np.abs(back) > 0.15)) / FS
    assert onset == pytest.approx(1.0, abs=0.02)
    part = back[FS + 800 : 2 * FS + 800]
    assert int(np.argmax(np.abs(np.fft.rfft(part)))) == 700


def test_the_background_has_unit_power_whatever_is_in_it() -> None:
    for kinds in (("noise",), ("hum",), ("speech",), ("noise", "hum", "speech")):
        assert rms(background(kinds, FS * 5, FS, np.random.default_rng(3))) == pytest.approx(1.0)


# --- files ------------------------------------------------------------------------------------------------------------


def test_it_is_written_with_its_truth_which_says_that_it_is_invented(tmp_path: Path) -> None:
    minute = played("four_track", mode="cassette_in")
    truth = write_minute(minute, tmp_path / "heard.wav")
    held = json.loads((tmp_path / "heard.json").read_text(encoding="utf-8"))
    assert held["simulated"] is True
    assert "Invented" in held["says"]
    assert held["file"] == truth.file == "heard.wav"
    assert [mark["mode"] for mark in held["marks"]] == ["off", "switch_on", "cassette_in"]
    again = write_minute(minute, tmp_path / "heard.wav")  # its own it may replace
    assert again == truth


def test_a_recording_that_may_be_real_is_never_replaced(tmp_path: Path) -> None:
    minute = played("four_track", mode="cassette_in")
    (tmp_path / "real.wav").write_bytes(b"not ours")
    with pytest.raises(InputAtFaultError, match="may be a real recording"):
        write_minute(minute, tmp_path / "real.wav")
    assert (tmp_path / "real.wav").read_bytes() == b"not ours"
    with pytest.raises(InputAtFaultError, match="ending"):
        write_minute(minute, tmp_path / "heard.txt")


@pytest.mark.parametrize("ending", [".m4a", ".ogg"])
def test_packed_files_hold_the_same_minute(ending: str) -> None:
    minute = played("four_track", mode="cassette_in")
    back = unpacked(minute_bytes(minute, ending), FS, len(minute.samples))
    assert float(np.corrcoef(back, minute.samples)[0, 1]) > 0.9


def test_what_there_is_not_is_refused_all_at_once() -> None:
    machine = shipped("four_track")
    with pytest.raises(InputAtFaultError) as refused:
        play_minute(
            machine, upto(machine, "switch_on"), 1, room="cellar", phone="tin", snr_db=500.0, background=("sea",)
        )
    assert len(refused.value.problems) == 4
