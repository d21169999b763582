"""From what a film told to evidence: every name is one of the machine's, and the signs say what the reels did."""

from collections.abc import Mapping
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.diagnose.beliefs import posterior, ranked
from tapewright.diagnose.from_film import evidence_of_film, sides
from tapewright.diagnose.likelihoods import of_observations
from tapewright.diagnose.measured import Asked, asked
from tapewright.diagnose.network import network
from tapewright.diagnose.winds_by_film import WindSeen, may_be_another, weak_over_strong
from tapewright.jobs.reels_seen import expected_reel_rates, pointed_at
from tapewright.machine.library import shipped
from tapewright.machine.rates import rates
from tapewright.machine.winding import wind
from tapewright.words.problem import InputAtFaultError
from tapewright.words.reading import Reading
from tapewright.words.reels_seen import HubName, HubSeen, ReelEvent, ReelRate, ReelsSeen

NONE = Reading(None, "m", why_not="not in this test")
MACHINES = ("two_motor_deck", "one_motor_portable")
LATER = [pytest.param(name, marks=pytest.mark.slow) for name in ("flywheel_cam_deck", "auto_reverse_deck")]


def seen(left: float, right: float, events: tuple[ReelEvent, ...] = (), speed: float | None = 0.0476) -> ReelsSeen:
    """Give what a film of steady hubs would tell."""
    times = tuple(0.1 * number for number in range(100))
    rates: tuple[tuple[HubName, float], ...] = (("left", left), ("right", right))
    return ReelsSeen(
        10.0, 30.0,
        (HubSeen("left", 100, 100, 40, 6, 0.95), HubSeen("right", 300, 100, 40, 6, 0.95)),
        tuple(ReelRate(n, times, (r,) * 100, (1e-3,) * 100) for n, r in rates),
        {"left": Reading(left, "Hz", 1e-3), "right": Reading(right, "Hz", 1e-3)},
        NONE if speed is None else Reading(speed, "m/s", 0.04 * speed), {}, NONE, NONE, NONE, events, (), (),
    )  # fmt: skip


def told(machine: str, film: ReelsSeen, mode: str = "play") -> Mapping[str, bool | None]:
    return {sign.id: sign.present for sign in evidence_of_film(shipped(machine), film, mode).evidence.signs}


@pytest.mark.parametrize("machine", [*MACHINES, *LATER])
def test_every_name_is_one_of_the_machines_and_has_a_reason(machine: str) -> None:
    slip = ReelEvent("slips", "right", 2.0, 3.0, 0.4, 0.9)
    for left, right, mode in ((0.4, 0.5, "play"), (0.4, 0.0, "play"), (0.0, 0.0, "play"), (-8.0, -6.0, "rewind")):
        heard = evidence_of_film(shipped(machine), seen(left, right, (slip,)), mode)
        names = [*(sign.id for sign in heard.evidence.signs), *heard.evidence.readings]
        assert names == [name for name, _ in heard.reasons] or sorted(names) == sorted(
            name for name, _ in heard.reasons
        )
        assert {sign.id for sign in heard.evidence.signs} <= set(network(shipped(machine)).signs)
        assert all(isinstance(asked(shipped(machine), name), Asked) for name in heard.evidence.readings)
        assert all(says.endswith(".") for _, says in heard.reasons)
        assert all(0.0 < sign.sure <= 1.0 for sign in heard.evidence.signs)


def test_a_take_up_that_stands_while_tape_is_given_is_said_with_its_loop() -> None:
    signs = told("two_motor_deck", seen(0.4, 0.0, speed=None))
    assert signs["play_takeup_reel_stands"] is True
    assert signs["play_loop"] is True
    assert signs["play_tape_still"] is False


def test_a_slip_is_a_reel_that_falters_and_steady_reels_deny_it() -> None:
    slip = ReelEvent("slips", "right", 2.0, 3.0, 0.4, 0.9)
    assert told("two_motor_deck", seen(0.4, 0.5, (slip,)))["play_takeup_reel_falters"] is True
    steady = told("two_motor_deck", seen(0.4, 0.5))
    assert steady["play_takeup_reel_falters"] is False
    assert steady["play_takeup_reel_stands"] is False
    other = ReelEvent("slips", "left", 2.0, 3.0, 0.4, 0.9)
    assert told("two_motor_deck", seen(0.4, 0.5, (other,)))["play_takeup_reel_falters"] is False


def test_a_wind_that_comes_up_is_not_called_weak() -> None:
    def weak(event: ReelEvent) -> bool | None:
        right = rates(shipped("two_motor_deck"), "rewind")["supply_reel"].turns_per_s.value
        return told("two_motor_deck", seen(-right, -6.0, (event,)), "rewind")["rewind_weak"]

    assert weak(ReelEvent("hesitates", "left", 0.6, 1.1, 0.3, 1.0)) is False  # still coming up
    assert weak(ReelEvent("lags", "right", 3.0, 4.0, 0.5, 1.0)) is False  # fast hubs look alike at several rates
    assert weak(ReelEvent("slips", "right", 4.0, 4.4, 0.05, 1.0)) is False  # too little
    assert weak(ReelEvent("hesitates", "left", 9.8, 10.0, 0.5, 1.0)) is False  # the film ends
    assert weak(ReelEvent("hesitates", "left", 4.0, 5.0, 0.3, 1.0)) is True


def test_a_wind_that_goes_evenly_and_too_slowly_is_weak_and_less_surely_where_the_right_rate_looks_alike() -> None:
    machine = shipped("two_motor_deck")
    right = wind(machine, "rewind").reel_turns_per_s
    assert right is not None
    strong, slow = seen(-right.value, -6.0), seen(-0.5 * right.value, -6.0)
    assert told("two_motor_deck", strong, "rewind")["rewind_weak"] is False
    assert told("two_motor_deck", slow, "rewind")["rewind_weak"] is True

    def sure(film: ReelsSeen) -> float:
        signs = evidence_of_film(machine, film, "rewind").evidence.signs
        return next(sign.sure for sign in signs if sign.id == "rewind_weak")

    # One mark: rates look alike that differ by the frame rate.
    marked = replace(slow, hubs=tuple(replace(hub, symmetry=1) for hub in slow.hubs))
    assert sure(replace(marked, frame_rate_hz=0.5 * right.value)) < sure(replace(marked, frame_rate_hz=300.0))


@pytest.mark.parametrize("share", [0.85, 1.0, 1.2])
def test_the_whole_wind_takes_its_time_over_the_share_of_its_rate(share: float) -> None:
    """Against `machine.winding`, which sums the whole over the turns, where the film shows the middle of the side."""
    machine = shipped("two_motor_deck")
    whole = wind(machine, "rewind")
    assert whole.time is not None
    assert whole.reel_turns_per_s is not None
    film = evidence_of_film(machine, seen(-share * whole.reel_turns_per_s.value, -6.0), "rewind")
    time = film.evidence.readings["wind_time_s@rewind"]
    assert time.value == pytest.approx(whole.time.value / share, rel=1e-6)
    assert 0.05 < (time.doubt or 0.0) / (time.value or 1.0) < 0.2


def test_a_wind_whose_rate_is_open_is_hardly_denied_to_be_weak_and_its_time_is_not_told() -> None:
    film = seen(-8.0, -6.0)
    why = Reading(None, "Hz", why_not="Its teeth look alike.")
    heard = evidence_of_film(
        shipped("two_motor_deck"), replace(film, mean_rate_hz={"left": why, "right": why}), "rewind"
    )
    weak = next(sign for sign in heard.evidence.signs if sign.id == "rewind_weak")
    assert weak.present is False
    assert weak.sure < 0.4
    assert "wind_time_s@rewind" not in heard.evidence.readings


@given(st.floats(0.3, 1.3), st.floats(0.0, 20.0))
def test_the_longer_a_wind_is_watched_the_less_likely_it_falters_unseen(share: float, seconds: float) -> None:
    shorter, longer = (WindSeen(share, 0.12, (), watched, NONE) for watched in (seconds, seconds + 1.0))
    assert weak_over_strong(longer) < weak_over_strong(shorter)


def test_a_mirrored_film_tells_of_the_same_reels() -> None:
    """Left and right change places, and the way round: what the film tells of the machine stays."""
    slip = ReelEvent("slips", "right", 2.0, 3.0, 0.4, 0.9)
    film, mirror = seen(0.35, 0.51, (slip,)), seen(-0.51, -0.35, (replace(slip, name="left"),))
    first, second = (evidence_of_film(shipped("two_motor_deck"), one, "play").evidence for one in (film, mirror))
    assert first.signs == second.signs
    assert {name: one.value for name, one in first.readings.items()} == {
        name: one.value for name, one in second.readings.items()
    }


def test_reels_that_race_are_told_by_the_tape() -> None:
    assert told("two_motor_deck", seen(3.0, 4.0, speed=0.35))["play_tape_races"] is True
    film = evidence_of_film(shipped("two_motor_deck"), seen(0.41, 0.51, speed=0.049), "play")
    error = film.evidence.readings["speed_error_pct"]
    assert error.value == pytest.approx(100.0 * (0.049 / 0.047625 - 1.0), abs=0.1)


def test_a_machine_that_gives_up_stops_both() -> None:
    events = (
        *(ReelEvent("starts", name, 1.0, 1.0, 1.0, 0.9) for name in ("left", "right")),
        *(ReelEvent("stops", name, 4.0, 4.0, 1.0, 0.9) for name in ("left", "right")),
    )
    film = evidence_of_film(shipped("two_motor_deck"), seen(0.4, 0.5, events), "play")
    assert film.evidence.readings["seconds_to_stop@play"].value == pytest.approx(3.0)


def test_evidence_of_a_film_moves_the_belief_in_what_drives_the_take_up() -> None:
    machine = shipped("two_motor_deck")
    net = network(machine)
    chances = []
    for film in (seen(0.4, 0.5), seen(0.4, 0.0, speed=None)):
        signs = evidence_of_film(machine, film, "play").evidence.signs
        found = {one.part: one.out_of_order for one in ranked(net, posterior(net, of_observations(net, signs)))[0]}
        chances.append(found["idler_tyre"])
    assert chances[1] > chances[0]


def test_a_mode_that_moves_no_tape_is_refused() -> None:
    with pytest.raises(InputAtFaultError, match="moves no tape"):
        evidence_of_film(shipped("two_motor_deck"), seen(0.4, 0.5), "stop")


@pytest.mark.parametrize("machine", [*MACHINES, "auto_reverse_deck"])
def test_reels_have_two_sides_and_rates_a_side(machine: str) -> None:
    found = shipped(machine)
    assert sorted(sides(found, "play").values()) == ["left", "right"]
    for low, high in expected_reel_rates(found, "play"):
        assert 0.0 < low < high
    for low, high in expected_reel_rates(found, "rewind"):
        assert low < high < 0.0


def test_hubs_are_pointed_at_in_pixels() -> None:
    assert [hub.centre_x for hub in pointed_at(["300,100,40", "100,100,40"])] == [100.0, 300.0]
    for bad in (["1,2"], ["a,b,c"], ["1,2,0"], ["1,2,nan"], ["1,2,40"] * 3):
        with pytest.raises(InputAtFaultError):
            pointed_at(bad)


def stopped(later_s: float) -> ReelsSeen:
    """Give a rewind with reels that come to a stand, the one that gives so much later."""
    rests = {"left": Reading(0.15, "s", 0.03), "right": Reading(0.15 + later_s, "s", 0.03)}
    return replace(seen(-8.0, -6.0), stopped_s=9.0, stands_after_s=rests)


def test_a_reel_that_stands_later_than_the_other_coasts() -> None:
    """In rewind it is the take-up reel that gives; how much later follows from the drag that is left."""
    assert told("two_motor_deck", stopped(0.12), "rewind")["stop_takeup_reel_coasts"] is True
    assert told("two_motor_deck", stopped(0.12), "rewind")["stop_overruns"] is True
    assert told("two_motor_deck", stopped(0.0), "rewind")["stop_takeup_reel_coasts"] is False
    assert "stop_supply_reel_coasts" not in told("two_motor_deck", stopped(0.0), "rewind")
    sure = {
        sign.id: sign.sure
        for sign in evidence_of_film(shipped("two_motor_deck"), stopped(0.0), "rewind").evidence.signs
    }
    assert sure["stop_overruns"] < sure["stop_takeup_reel_coasts"], "the other reel's brake is not tried by this wind"


def test_without_brakes_or_without_a_stop_nothing_is_said_of_them() -> None:
    assert not any("coasts" in name for name in told("two_motor_deck", seen(-8.0, -6.0), "rewind"))
    assert not any("coasts" in name or "overruns" in name for name in told("four_track", stopped(0.1), "rewind"))


def test_what_the_stop_key_stops_has_not_given_up() -> None:
    ends = tuple(ReelEvent("stops", name, 9.1, 9.1, 1.0, 0.9) for name in ("left", "right"))
    by_key = replace(stopped(0.0), events=ends)
    assert "rewind_stops" not in told("two_motor_deck", by_key, "rewind")
    assert told("two_motor_deck", replace(by_key, stopped_s=None), "rewind")["rewind_stops"] is True


def test_a_hub_that_stood_all_along_counts_where_the_other_stops() -> None:
    """The logic gave up two and a half seconds after the key; what moved then was one hub only."""
    film = replace(seen(0.4, 0.0), stopped_s=8.0, events=(ReelEvent("stops", "left", 2.5, 2.5, 1.0, 0.9),))
    evidence = evidence_of_film(shipped("two_motor_deck"), film, "play").evidence
    assert {sign.id: sign.present for sign in evidence.signs}["play_stops"] is True
    assert evidence.readings["seconds_to_stop@play"].value == 2.5
    goes_on = replace(film, events=())
    assert "play_stops" not in told("two_motor_deck", goes_on)
    turning = replace(seen(0.4, 0.5), events=film.events)
    assert "play_stops" not in told("two_motor_deck", turning), "the other hub goes on"


def test_what_moved_until_the_machine_gave_up_is_told_of_the_time_it_ran() -> None:
    """Two seconds of a reel that gives tape to one that stands: the tape moved, and it is the other that stood."""
    film = replace(seen(0.4, 0.0, speed=None), stopped_s=8.0)
    gives = replace(film.rates[0], rates_hz=tuple(0.4 if at < 2.0 else 0.0 for at in film.rates[0].times_s))
    film = replace(film, rates=(gives, film.rates[1]), events=(ReelEvent("stops", "left", 2.0, 2.0, 1.0, 0.9),))
    signs = told("two_motor_deck", film)
    assert signs["play_tape_still"] is False
    assert signs["play_takeup_reel_stands"] is True
    assert signs["play_stops"] is True


def test_the_rate_of_a_take_up_that_lags_is_not_said() -> None:
    """Its mean is that of a reel that slips; a short falter is no reason."""
    lags = ReelEvent("lags", "right", 1.0, 9.0, 0.5, 0.9)
    short = ReelEvent("slips", "right", 2.0, 2.5, 0.4, 0.9)
    for event, given_too in ((lags, False), (short, True)):
        readings = evidence_of_film(shipped("two_motor_deck"), seen(0.4, 0.5, (event,)), "play").evidence.readings
        assert "rate_hz:supply_reel@play" in readings
        assert ("rate_hz:takeup_reel@play" in readings) is given_too


def test_falters_of_a_rate_that_may_be_another_are_hardly_sure() -> None:
    """At 0.37 of its rate, with one at 0.99 that looks the same: a wrong rate makes falters of its own."""
    wrong = WindSeen(0.37, 0.12, (0.06, 0.68, 0.99), 2.0, NONE)
    assert may_be_another(wrong)
    assert not may_be_another(replace(wrong, alike=(0.06, 0.68)))
    assert not may_be_another(replace(wrong, share=0.95))
    slip = ReelEvent("slips", "left", 3.0, 4.0, 0.4, 0.9)
    right = rates(shipped("two_motor_deck"), "rewind")["supply_reel"].turns_per_s.value
    sure = []
    for rate in (right, right - 8.0):
        film = replace(seen(-rate, -6.0, (slip,), None), frame_rate_hz=24.0)
        sure += [one.sure for one in evidence_of_film(shipped("two_motor_deck"), film, "rewind").evidence.signs
                 if one.id == "rewind_weak" and one.present]  # fmt: skip
    assert sure[1] < 0.8 < sure[0]
