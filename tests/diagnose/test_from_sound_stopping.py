"""What gives up by itself is told by what falls silent, goes over to another rate, or drops with one click."""

from dataclasses import replace

import pytest

from tapewright.diagnose.from_sound import evidence_of_sound
from tapewright.machine.library import shipped
from tapewright.words.mechanism_heard import Click, EvidenceHeard, Mark, MechanismHeard, StretchHeard
from tapewright.words.reading import Reading

DECK = shipped("closed_loop_deck")  # its logic waits 2 s for the reels
MARKS = (Mark("off", 0.0), Mark("cassette_in", 7.0), Mark("play", 11.0), Mark("stop", 26.0), Mark("off", 54.0))
NOTHING = MechanismHeard(58.0, 48000.0, MARKS, (), (), (), (), (), (), ())


def ran(name: str, mode: str, start: float, end: float, rate: float) -> StretchHeard:
    return StretchHeard(name, mode, start, end, Reading(rate, "Hz", 0.02), Reading(0.1, "%", 0.05), 0.97)


def signs(told: EvidenceHeard) -> dict[str, bool | None]:
    return {one.id: one.present for one in told.evidence.signs}


def test_a_motor_that_loses_its_load_when_the_logic_gives_up_tells_when() -> None:
    fed = ran("capstan_motor", "play", 11.2, 13.1, 33.33), ran("capstan_motor", "play", 13.2, 26.1, 33.99)
    told = evidence_of_sound(DECK, replace(NOTHING, stretches=fed))
    assert told.evidence.readings["seconds_to_stop@play"].value == pytest.approx(2.1)
    # A rate that wanders off and back is a worn motor's, and says nothing of stopping.
    back = (*fed[:1], ran("capstan_motor", "play", 13.2, 18.0, 33.99), ran("capstan_motor", "play", 18.2, 20.0, 33.0))
    told = evidence_of_sound(DECK, replace(NOTHING, stretches=back))
    assert "seconds_to_stop@play" not in told.evidence.readings
    assert "play_stops" not in signs(told)


def test_a_motor_not_heard_for_a_while_had_not_stopped() -> None:
    machine = shipped("direct_reels_deck")
    marks = (Mark("off", 0.0), Mark("rewind", 42.0), Mark("stop", 50.0))
    gap = ran("supply_motor", "rewind", 42.1, 44.6, 7.8), ran("supply_motor", "rewind", 45.5, 48.3, 7.8)
    told = evidence_of_sound(machine, replace(NOTHING, marks=marks, stretches=gap))
    assert "seconds_to_stop@rewind" not in told.evidence.readings
    told = evidence_of_sound(machine, replace(NOTHING, marks=marks, stretches=gap[:1]))
    assert "seconds_to_stop@rewind" in told.evidence.readings


def test_one_click_alone_after_the_logics_wait_is_the_head_base_that_drops() -> None:
    told = evidence_of_sound(DECK, replace(NOTHING, clicks=(Click(13.2, 0.98),)))
    assert signs(told)["play_stops"] is True
    knocking = tuple(Click(11.2 + 0.4 * number, 0.98) for number in range(20))
    for clicks in (knocking, (Click(13.2, 0.7),), (Click(18.0, 0.98),), (Click(13.2, 0.98), Click(13.9, 0.7))):
        assert "play_stops" not in signs(evidence_of_sound(DECK, replace(NOTHING, clicks=clicks)))


def test_no_click_after_the_logics_wait_denies_only_where_keys_are_heard_to_click() -> None:
    keys = tuple(Click(mark.at_s + 0.05, 0.97) for mark in MARKS[1:])
    assert signs(evidence_of_sound(DECK, replace(NOTHING, clicks=keys)))["play_stops"] is False
    assert "play_stops" not in signs(evidence_of_sound(DECK, NOTHING))
    assert "play_stops" not in signs(evidence_of_sound(DECK, replace(NOTHING, clicks=(*keys, Click(13.2, 0.7)))))


def test_a_motor_that_runs_where_all_rests_does_not_deny_that_its_mode_was_given_up() -> None:
    on = (ran("capstan_motor", "play", 11.2, 26.0, 33.3),)
    assert "play_stops" not in signs(evidence_of_sound(DECK, replace(NOTHING, stretches=on)))


def test_a_machine_whose_reels_nobody_watches_does_not_give_up_with_a_click() -> None:
    machine = shipped("belt_reels_portable")
    marks = (Mark("off", 0.0), Mark("play", 11.0), Mark("stop", 26.0))
    told = evidence_of_sound(machine, replace(NOTHING, marks=marks, clicks=(Click(13.2, 0.98),)))
    assert not told.evidence.signs


def test_a_motor_that_starts_with_a_mode_is_cut_short_or_heard_up_to_the_key() -> None:
    machine, cut = shipped("two_motor_deck"), "rewind_reel_motor_starts_and_stops"
    marks = (Mark("off", 0.0), Mark("rewind", 42.0), Mark("stop", 50.0), Mark("off", 54.0))

    def told(*stretches: StretchHeard) -> dict[str, bool | None]:
        return signs(evidence_of_sound(machine, replace(NOTHING, marks=marks, stretches=stretches)))

    assert told(ran("reel_motor", "rewind", 42.2, 44.3, 66.7))[cut] is True
    assert told(ran("reel_motor", "rewind", 42.2, 50.2, 66.7))[cut] is False
    # Heard in pieces, or only from the middle on, it may have stopped and started or not.
    pieces = ran("reel_motor", "rewind", 42.2, 44.3, 66.7), ran("reel_motor", "rewind", 47.0, 50.2, 66.7)
    assert cut not in told(*pieces)
    assert cut not in told(pieces[1])


def test_what_begins_just_before_a_key_and_goes_on_after_it_is_the_next_modes() -> None:
    """Where a motor comes up over noise its beginning is found too early: it did not run in the mode before."""
    marks = (Mark("off", 0.0), Mark("fast_forward", 30.0), Mark("stop", 38.0), Mark("off", 54.0))
    machine, name = shipped("auto_reverse_deck"), "motor_runs_sure:capstan_motor@fast_forward"
    late = ran("capstan_motor", "stop", 37.3, 42.0, 39.9)
    assert name not in evidence_of_sound(machine, replace(NOTHING, marks=marks, stretches=(late,))).evidence.readings
    early = ran("capstan_motor", "fast_forward", 34.0, 42.0, 39.9)
    assert name in evidence_of_sound(machine, replace(NOTHING, marks=marks, stretches=(early,))).evidence.readings
