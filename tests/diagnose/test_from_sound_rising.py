"""The key clicks, and then the head base that a cam brings up: two clicks tell how long it took."""

import pytest

from tapewright.diagnose.from_sound import evidence_of_sound
from tapewright.machine.library import shipped
from tapewright.words.mechanism_heard import Click, EvidenceHeard, Mark, MechanismHeard

CAM = "flywheel_cam_deck"  # its logic waits 2 s for the head base, and 2 s for the reels
MARKS = (Mark("off", 0.0), Mark("cassette_in", 7.0), Mark("play", 11.0), Mark("stop", 26.0), Mark("off", 54.0))


def told(*clicks: tuple[float, float], name: str = CAM) -> EvidenceHeard:
    made = tuple(Click(at_s, sure) for at_s, sure in clicks)
    return evidence_of_sound(shipped(name), MechanismHeard(58.0, 48000.0, MARKS, (), (), (), (), made, (), ()))


def signs(heard: EvidenceHeard) -> dict[str, bool | None]:
    return {one.id: one.present for one in heard.evidence.signs}


def test_two_clicks_tell_how_long_the_head_base_took() -> None:
    came = told((11.2, 0.97), (11.55, 0.9))
    assert came.evidence.readings["head_base_rise_s"].value == pytest.approx(0.35)
    assert signs(came)["play_stays_down"] is False


def test_a_plain_key_alone_tells_that_it_stayed_and_a_faint_one_nothing() -> None:
    assert signs(told((11.2, 0.97)))["play_stays_down"] is True
    assert "play_stays_down" not in signs(told((11.2, 0.7)))
    assert "play_stays_down" not in signs(told())


def test_speech_and_knocking_tell_nothing() -> None:
    heard = told(*((11.2 + 0.3 * number, 0.95) for number in range(8)))
    assert "head_base_rise_s" not in heard.evidence.readings
    assert "play_stays_down" not in signs(heard)


def test_what_gives_up_after_the_head_base_came_saw_no_reel_and_else_no_head_base() -> None:
    came, stayed = signs(told((11.2, 0.97), (11.55, 0.9), (13.4, 0.97))), signs(told((11.2, 0.97), (13.4, 0.97)))
    assert came["play_stops"] is True
    assert "play_falls_back" not in came
    assert stayed["play_falls_back"] is True
    assert "play_stops" not in stayed


def test_a_solenoid_or_a_finger_takes_no_time_one_could_hear() -> None:
    for name in ("closed_loop_deck", "rim_drive_recorder"):
        assert "head_base_rise_s" not in told((11.2, 0.97), (11.55, 0.9), name=name).evidence.readings
