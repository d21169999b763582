"""Whether a motor races is told by its rate, as far as motors alike turn alike."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.diagnose.from_sound import evidence_of_sound
from tapewright.diagnose.from_sound_racing import FASTER, FASTER_SPREAD, evidence_of_racing, wavering
from tapewright.machine.library import shipped
from tapewright.machine.rates import rates
from tapewright.words.evidence import Observation
from tapewright.words.mechanism_heard import Mark, MechanismHeard, StretchHeard
from tapewright.words.reading import Reading

FOUR = shipped("four_track")
MARKS = (Mark("off", 0.0), Mark("switch_on", 4.0), Mark("cassette_in", 10.0), Mark("play", 14.0), Mark("stop", 29.0))
RIGHT = rates(FOUR, "play")["cam_motor"].turns_per_s.value


def said(rate: float, sure: float = 0.97) -> Observation | None:
    turned = StretchHeard("cam_motor", "play", 14.1, 15.6, Reading(rate, "Hz", 0.05), Reading(0.1, "%", 0.05), sure)
    heard = MechanismHeard(35.0, 48000.0, MARKS, (turned,), (), (), (), (), (), ())
    told = evidence_of_sound(FOUR, heard).evidence.signs
    return next((one for one in told if one.id == "play_cam_motor_races"), None)


def test_a_motor_at_its_rate_does_not_race_and_one_above_it_does() -> None:
    right, above, between = said(RIGHT), said(1.035 * RIGHT), said(1.0145 * RIGHT)
    assert right is not None
    assert right.present is False
    assert above is not None
    assert above.present is True
    assert between is None or between.sure < min(right.sure, above.sure)
    assert said(1.035 * RIGHT, sure=0.5) is None


@given(st.floats(-0.2, 0.2), st.floats(0.004, 0.02))
def test_how_much_a_rate_speaks_for_racing_is_bayes_sum(above: float, spread: float) -> None:
    """Against the slow obvious sum over how much faster motors run unloaded, in steps of its logarithm."""
    total = weights = 0.0
    for step in range(-450, 451):
        z = step / 100.0
        weight = math.exp(-z * z / 2.0)
        total += weight * math.exp(-(((above - FASTER * math.exp(FASTER_SPREAD * z)) / spread) ** 2) / 2.0)
        weights += weight
    usual = math.exp(-((above / spread) ** 2) / 2.0)
    assert evidence_of_racing(above, spread) == pytest.approx((total / weights + 1e-3) / (usual + 1e-3), rel=0.02)


def test_a_motor_far_from_its_rate_is_not_said_to_race() -> None:
    """A rate wrong by half is another fault, or another motor: it speaks neither way."""
    assert said(1.5 * RIGHT) is None
    assert said(0.5 * RIGHT) is None


def test_a_motor_of_no_known_rate_says_nothing() -> None:
    machine = shipped("direct_reels_deck")
    marks = (Mark("off", 0.0), Mark("fast_forward", 30.0), Mark("stop", 38.0))
    turned = StretchHeard(
        "takeup_motor", "fast_forward", 30.1, 38.0, Reading(9.2, "Hz", 0.05), Reading(0.1, "%", 0.05), 0.97
    )
    heard = MechanismHeard(40.0, 48000.0, marks, (turned,), (), (), (), (), (), ())
    told = evidence_of_sound(machine, replace(heard, stretches=(turned,)))
    assert not any(one.id.endswith("_races") for one in told.evidence.signs)


def labours(machine_id: str, rate: float, unsteady_pct: float, mode: str, motor: str) -> Observation | None:
    """Say what is made of a motor's labouring, heard over five seconds of a mode."""
    marks = (Mark("off", 0.0), Mark("idle", 2.0), Mark("cassette_in", 6.0), Mark(mode, 14.0), Mark("stop", 24.0))
    turned = StretchHeard(motor, mode, 14.1, 19.1, Reading(rate, "Hz", 0.05), Reading(unsteady_pct, "%", 0.05), 0.97)
    heard = MechanismHeard(35.0, 48000.0, marks, (turned,), (), (), (), (), (), ())
    told = evidence_of_sound(shipped(machine_id), heard).evidence.signs
    return next((one for one in told if one.id == f"{mode}_{motor}_labours"), None)


def test_a_motor_labours_that_wavers_far_below_its_rate() -> None:
    """What a weak motor does under its load; steady at its rate, or wavering about it, says nothing of labouring."""
    right = rates(shipped("one_motor_portable"), "play")["capstan_motor"].turns_per_s.value
    found = labours("one_motor_portable", 0.82 * right, 1.2, "play", "capstan_motor")
    assert found is not None
    assert found.present is True
    assert labours("one_motor_portable", 0.82 * right, 0.06, "play", "capstan_motor") is None
    assert labours("one_motor_portable", 0.99 * right, 1.2, "play", "capstan_motor") is None
    assert labours("one_motor_portable", 0.5 * right, 1.2, "play", "capstan_motor") is None
    short = labours("one_motor_portable", 0.82 * right, 0.0, "play", "capstan_motor")
    assert short is not None
    assert short.sure < found.sure
    assert labours("one_motor_portable", right, 0.06, "play", "capstan_motor") is None


def test_a_motor_of_no_known_rate_labours_less_surely_that_wavers() -> None:
    known = labours("one_motor_portable", 33.0, 1.2, "play", "capstan_motor")
    unknown = labours("closed_loop_deck", 43.0, 1.2, "fast_forward", "reel_motor")
    assert known is not None
    assert unknown is not None
    assert unknown.sure < known.sure
    assert labours("closed_loop_deck", 43.0, 0.06, "fast_forward", "reel_motor") is None


@given(st.lists(st.tuples(st.floats(20.0, 60.0), st.floats(0.0, 2.0)), min_size=1, max_size=5))
def test_how_far_a_motor_wavers_is_at_least_what_lies_between_its_stretches(heard: list[tuple[float, float]]) -> None:
    stretches = [
        StretchHeard("m", "play", at, at + 1.0, Reading(rate, "Hz", 0.01), Reading(unsteady, "%", 0.01), 0.9)
        for at, (rate, unsteady) in enumerate(heard)
    ]
    logs = [math.log(rate) for rate, _ in heard]
    mean = sum(logs) / len(logs)
    between = math.sqrt(sum((one - mean) ** 2 for one in logs) / len(logs))
    assert wavering(stretches) >= between - 1e-9
    assert wavering(stretches[:1]) == pytest.approx(heard[0][1] / 100.0, abs=1e-9)
