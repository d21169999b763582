"""A key with which a solenoid pulls against those with which none does."""

import math

import pytest

from tapewright.diagnose.from_sound import evidence_of_sound
from tapewright.machine.library import shipped
from tapewright.words.mechanism_heard import Click, Mark, MechanismHeard

MACHINE = "direct_reels_deck"
STEPS = (("off", 0.0), ("cassette_in", 7.0), ("play", 11.0), ("stop", 26.0), ("fast_forward", 30.0), ("stop", 38.0))


def click(at_s: float, rise_db: float) -> Click:
    """Give a click that rises so far: the ear's own law of how sure it is of one."""
    return Click(at_s, 1.0 / (1.0 + math.exp(-(rise_db - 8.0) / 2.0)))


def said(*clicks: Click, machine_name: str = MACHINE) -> dict[str, bool | None]:
    marks = tuple(Mark(mode, at_s, 0.05) for mode, at_s in STEPS)
    heard = MechanismHeard(45.0, 48000.0, marks, (), (), (), (), clicks, (), ())
    signs = evidence_of_sound(shipped(machine_name), heard).evidence.signs
    return {one.id: one.present for one in signs if one.id.endswith("_no_click")}


@pytest.mark.parametrize(("key_db", "clicked"), [(18.0, True), (13.0, False), (9.0, False)])
def test_a_solenoid_has_clicked_where_its_key_is_plainer_than_one_without(key_db: float, clicked: bool) -> None:
    found = said(click(11.12, key_db), click(30.1, 12.0))
    assert found == ({"play_lift_solenoid_no_click": False} if clicked else {})


def test_no_solenoid_is_called_dead_because_no_click_is_heard() -> None:
    assert said(click(30.1, 12.0)) == {}


def test_nothing_is_said_where_clicks_come_thick_or_several_solenoids_move_at_once() -> None:
    thick = [click(12.0 + 0.13 * k, 20.0) for k in range(60)]
    assert said(click(11.12, 25.0), *thick) == {}
    assert said(click(11.12, 25.0), machine_name="two_motor_deck") == {}
