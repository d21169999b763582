"""What the terminal says of a recording: every line stands in the mode that it was in."""

from tapewright.machine.library import shipped
from tapewright.show.mechanism_text import mechanism_text
from tapewright.words.mechanism_heard import Mark, MechanismHeard, NotHeard

MARKS = tuple(Mark(mode, at_s) for mode, at_s in (("play", 0.0), ("stop", 10.0), ("rewind", 14.0), ("stop", 20.0)))


def said(*missing: NotHeard) -> str:
    heard = MechanismHeard(24.0, 48000.0, MARKS, (), (), (), (), (), (), (), missing)
    return " ".join(mechanism_text(heard, shipped("four_track"), None).split())


def test_a_stop_after_play_is_told_from_one_after_a_wind() -> None:
    first, second = (NotHeard("capstan_motor", "stop", at_s, at_s + 4.0, -40.0, 0.9) for at_s in (10.0, 20.0))
    assert "capstan motor on stop after play, 10.0 to 14.0 s." in said(first)
    assert "capstan motor on stop, 20.0 to 24.0 s." in said(second)


def test_what_lowers_the_head_base_is_missed_after_play_alone() -> None:
    first, second = (NotHeard("cam_motor", "stop", at_s, at_s + 4.0, -40.0, 0.9) for at_s in (10.0, 20.0))
    assert "cam motor on stop after play" in said(first)
    assert "cam motor" not in said(second)
