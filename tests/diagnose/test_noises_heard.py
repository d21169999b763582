"""What knocks, rubs and squeals becomes signs: what a sound machine does too is none."""

from collections.abc import Sequence
from dataclasses import replace

import pytest

from tapewright.diagnose.from_sound import evidence_of_sound
from tapewright.diagnose.network import network
from tapewright.machine.library import shipped
from tapewright.machine.rates import rates
from tapewright.words.evidence import Observation
from tapewright.words.mechanism_heard import Knock, Mark, MechanismHeard, NoRepeats, Rubbing, SlipHeard, Squeal
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
    slow = rubs(turning("takeup_reel", "play"), 5.0)
    found = said("fast_forward_noise", slow, reel)
    assert found is not None
    assert found.present is False
    in_play = rubs(turning("flywheel", "play"), 9.0)
    again = rubs(turning("flywheel", "fast_forward") * 1.01, 1.5, WIND)
    found = said("fast_forward_noise", in_play, reel, again)
    assert found is not None
    assert found.present is True


def test_what_comes_back_more_slowly_than_once_a_second_is_left_open() -> None:
    assert said("play_noise", rubs(0.6, 5.0)) is None


# --- squeals ----------------------------------------------------------------------------------------------------------


def squeals_said(back: Reading, sure: float = 0.9) -> dict[str, float]:
    """Give what is said of each part's squealing in play."""
    squeal = Squeal(12.0, 24.0, Reading(2400.0, "Hz", 5.0), 15.0, back, "squeal", sure)
    heard = MechanismHeard(42.0, 48000.0, MARKS, (), (squeal,), (), (), (), (), ())
    readings = evidence_of_sound(MACHINE, heard).evidence.readings
    found = {name: one.value for name, one in readings.items() if name.startswith("squeal_sure:")}
    return {name: value for name, value in found.items() if value is not None}


def test_a_squeal_that_swells_with_the_flywheel_is_not_a_reels() -> None:
    found = squeals_said(Reading(turning("flywheel", "play"), "Hz", 0.05, method="spectrum of its level"))
    named = {name for name, value in found.items() if value > 0.5}
    assert len(named) <= 1
    assert found["squeal_sure:takeup_reel@play"] < 0.2


@pytest.mark.parametrize("rotor", ["flywheel", "takeup_reel", "pinch_roller", "idler_tyre"])
def test_the_chances_behind_a_squeals_shares_add_up_to_no_more_than_the_squeal(rotor: str) -> None:
    """Each reading is an odds ratio: from an even share of what may squeal, and of none of it, it leads to a chance."""
    known = rates(MACHINE, "play").get(rotor)
    back = Reading(known.turns_per_s.value if known else 1.0, "Hz", 0.05, method="from chirp to chirp")
    may = sum(node.startswith("rubs:") and node.endswith("@play") for node in network(MACHINE).words)
    chances = [value / (value + (1.0 - value) * may) for value in squeals_said(back).values()]
    assert sum(chances) <= 0.9 + 1e-9
    assert bool(chances) == (f"rubs:{rotor}@play" in network(MACHINE).words)


def test_where_it_is_open_how_often_a_squeal_comes_back_no_part_is_named() -> None:
    assert squeals_said(Reading(None, "Hz", why_not="It is too short.")) == {}


# --- slips ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("mode", "sure", "present"), [
    ("fast_forward", 0.9, True), ("fast_forward", 0.5, None), ("fast_forward", 0.02, None), ("play", 0.9, None),
])  # fmt: skip
def test_a_wind_that_falters_is_a_weak_one_and_a_steady_one_says_nothing(
    mode: str, sure: float, present: bool | None
) -> None:
    start = 30.0 if mode == "fast_forward" else 11.0
    slip = SlipHeard(mode, start, start + 8.0, 1.2, sure)
    heard = replace(MechanismHeard(42.0, 48000.0, MARKS, (), (), (), (), (), (), ()), slips=(slip,))
    found = {one.id: one.present for one in evidence_of_sound(MACHINE, heard).evidence.signs}
    assert found.get(f"{mode}_weak") is present
