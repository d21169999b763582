"""What knocks, rubs and squeals becomes signs: what a sound machine does too is none."""

from collections.abc import Sequence

import pytest

from tapewright.diagnose.from_sound import evidence_of_sound
from tapewright.machine.library import shipped
from tapewright.machine.rates import rates
from tapewright.words.evidence import Observation
from tapewright.words.mechanism_heard import Knock, Mark, MechanismHeard, NoRepeats, Rubbing
from tapewright.words.reading import Reading

MACHINE = shipped("one_motor_portable")
MARKS = (Mark("off", 0.0), Mark("play", 11.0), Mark("stop", 26.0), Mark("fast_forward", 30.0), Mark("stop", 38.0))
PLAY, WIND = (11.5, 25.75), (30.5, 37.75)
QUIET = tuple(NoRepeats(mode, *span, 0.4, 6.0) for mode, span in (("play", PLAY), ("fast_forward", WIND)))


def said(name: str, *repeats: Knock | Rubbing, quiet: Sequence[NoRepeats] = QUIET) -> Observation | None:
    knocks = tuple(one for one in repeats if isinstance(one, Knock))
    rubbings = tuple(one for one in repeats if isinstance(one, Rubbing))
    heard = MechanismHeard(42.0, 48000.0, MARKS, (), (), knocks, rubbings, (), (), (), (), tuple(quiet))
    return next((one for one in evidence_of_sound(MACHINE, heard).evidence.signs if one.id == name), None)


def rubs(rate_hz: float, high_db: float, span: tuple[float, float] = PLAY) -> Rubbing:
    return Rubbing(*span, Reading(rate_hz, "Hz", 0.02), 0.999, high_db, high_db)


def turning(name: str, mode: str) -> float:
    return rates(MACHINE, mode)[name].turns_per_s.value


@pytest.mark.parametrize(("high_db", "present"), [(0.6, False), (1.45, None), (2.2, True), (11.0, True)])
def test_what_rises_far_enough_in_play_is_a_noise_and_what_flywheels_do_is_none(
    high_db: float, present: bool | None
) -> None:
    found = said("play_noise", rubs(turning("flywheel", "play"), high_db))
    assert (None if found is None else found.present) == present


def test_a_thump_is_no_noise() -> None:
    thump = Knock(*PLAY, Reading(7.4, "Hz", 0.02), 19.0, 0.999, 0.8)
    found = said("play_noise", thump)
    assert found is not None
    assert found.present is False


def test_nothing_is_denied_where_nobody_could_have_heard_it() -> None:
    deaf = [NoRepeats("play", *PLAY, 3.0, 0.0)]
    assert said("play_noise", quiet=deaf) is None
    assert said("play_noise", quiet=()) is None


def test_a_reel_that_swells_in_a_wind_is_no_noise_and_what_knocks_there_as_in_play_is() -> None:
    reel = rubs(turning("takeup_reel", "fast_forward"), 4.5, WIND)
    found = said("fast_forward_noise", reel)
    assert found is not None
    assert found.present is False
    in_play = rubs(turning("flywheel", "play"), 9.0)
    again = rubs(turning("flywheel", "fast_forward") * 1.01, 1.5, WIND)
    found = said("fast_forward_noise", in_play, reel, again)
    assert found is not None
    assert found.present is True


def test_what_comes_back_more_slowly_than_once_a_second_is_left_open() -> None:
    assert said("play_noise", rubs(0.6, 5.0)) is None
