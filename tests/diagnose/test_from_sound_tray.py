"""A tray's motor runs until the tray has gone, or until the logic gives it up."""

import pytest

from tapewright.diagnose.from_sound import evidence_of_sound
from tapewright.machine.library import shipped
from tapewright.words.mechanism_heard import Mark, MechanismHeard, StretchHeard
from tapewright.words.reading import Reading

DECK = shipped("tray_deck")
WAITS_S = next(one.timeout_s for one in DECK.sensors.values() if one.kind == "tray_switch") or 0.0
MARKS = (Mark("off", 0.0), Mark("close_tray", 7.0), Mark("play", 13.0), Mark("stop", 20.0), Mark("open_tray", 30.0))


def said(mode: str, start_s: float, lasts_s: float, marks: tuple[Mark, ...] = MARKS) -> dict[str, bool | None]:
    turned = StretchHeard(
        "tray_motor", mode, start_s, start_s + lasts_s, Reading(40.0, "Hz", 0.1), Reading(0.1, "%", 0.1), 0.97
    )
    heard = MechanismHeard(40.0, 48000.0, marks, (turned,), (), (), (), (), (), ())
    return {one.id: one.present for one in evidence_of_sound(DECK, heard).evidence.signs}


def test_a_tray_that_ended_its_motor_went_and_one_that_waited_in_vain_did_not() -> None:
    assert said("close_tray", 7.1, 0.5 * WAITS_S)["close_tray_stays_out"] is False
    assert said("close_tray", 7.1, WAITS_S)["close_tray_stays_out"] is True
    assert said("open_tray", 30.1, WAITS_S)["open_tray_stays_in"] is True
    assert said("open_tray", 30.1, 0.5 * WAITS_S)["open_tray_stays_in"] is False


@pytest.mark.parametrize("share", [0.75, 0.85, 0.92])
def test_a_slow_tray_is_not_called_one_that_stays(share: float) -> None:
    """What the logic gave up it waited for to the end: a motor heard for less of the wait was ended by its tray."""
    told = said("close_tray", 7.1, share * WAITS_S) | said("open_tray", 30.1, share * WAITS_S)
    assert told["close_tray_stays_out"] is False
    assert told["close_tray_goes_late"] is True
    assert told["open_tray_comes_late"] is True
    assert said("close_tray", 7.1, 0.5 * WAITS_S)["close_tray_goes_late"] is False
    assert "close_tray_goes_late" not in said("close_tray", 7.1, WAITS_S)


def test_a_key_pressed_while_the_motor_runs_leaves_it_open() -> None:
    marks = (Mark("off", 0.0), Mark("close_tray", 7.0), Mark("play", 9.0), Mark("stop", 20.0))
    assert "close_tray_stays_out" not in said("close_tray", 7.1, 1.9, marks)
