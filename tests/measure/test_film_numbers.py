"""What is worked out of a film's angles: aliases, rates, tape, events, against closed forms and published figures."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapewright.measure.film_aliases import (
    DECIDED,
    Turned,
    apparent_rate_hz,
    fastest_sure_hz,
    marked,
    said_of_aliases,
    unwrapped,
)
from tapewright.measure.film_events import reel_events
from tapewright.measure.film_polar import correlation, harmonics, refined, symmetry_of
from tapewright.measure.film_rates import RateCourse, mean_rate, rate_course, rate_deviation_hz, slow_scatter_turns
from tapewright.measure.film_tape import position_by_rates, tape_seen
from tapewright.measure.film_turning import Followed

# Reference notes on angular rate from video, section g: apparent rates of six like teeth at two frame rates.
TABLE = (
    (30.0, 2.4, 2.4), (30.0, 2.6, -2.4), (30.0, 5.0, 0.0), (30.0, 7.3, 2.3),
    (24.0, 2.4, -1.6), (24.0, 2.6, -1.4), (24.0, 5.0, 1.0), (24.0, 7.3, -0.7),
)  # fmt: skip


@pytest.mark.parametrize(("frames", "true", "seen"), TABLE)
def test_apparent_rates_are_the_published_ones(frames: float, true: float, seen: float) -> None:
    assert apparent_rate_hz(true, frames, 6) == pytest.approx(seen, abs=1e-9)


# The same section: limits for six teeth, three, and a mark, at 30, 60 and 240 frames a second.
@pytest.mark.parametrize(
    ("symmetry", "limits"), [(6, (2.5, 5.0, 20.0)), (3, (5.0, 10.0, 40.0)), (1, (15.0, 30.0, 120.0))]
)
def test_limits_are_the_published_ones(symmetry: int, limits: tuple[float, ...]) -> None:
    assert [fastest_sure_hz(rate, symmetry) for rate in (30.0, 60.0, 240.0)] == pytest.approx(limits)


@given(st.floats(-20.0, 20.0), st.floats(10.0, 240.0), st.integers(1, 12))
def test_an_apparent_rate_is_an_alias_within_the_limit(rate: float, frames: float, symmetry: int) -> None:
    seen = apparent_rate_hz(rate, frames, symmetry)
    steps = (rate - seen) * symmetry / frames
    assert abs(seen) <= fastest_sure_hz(frames, symmetry) * (1.0 + 1e-9)
    assert steps == pytest.approx(round(steps), abs=1e-6)


def test_the_doubt_of_a_rate_is_the_published_one() -> None:
    # Section g: 0.05 degrees, 300 frames at 30 a second: 2.8e-6 turns a second.
    assert rate_deviation_hz(0.05 / 360.0, 300, 1.0 / 30.0) == pytest.approx(2.8e-6, rel=0.02)


@given(st.floats(-3.0, 3.0), st.integers(0, 1000))
def test_a_turned_pattern_gives_its_angle(angle: float, seed: int) -> None:
    draw = np.random.default_rng(seed)
    own = draw.standard_normal((5, 16)) + 1j * draw.standard_normal((5, 16))
    turned = own * np.exp(-1j * np.arange(1, 17) * angle)
    cross = np.sum(np.conj(own) * turned, axis=0)
    start = float(np.argmax(correlation(cross))) * 2.0 * np.pi / 1024
    found = refined(cross, start)[0]
    assert np.angle(np.exp(1j * (found - angle))) == pytest.approx(0.0, abs=1e-6)


def test_angles_scatter_as_little_as_their_noise_allows() -> None:
    # Cramér-Rao for two noisy pictures: sqrt(2) s/sqrt(sum of (dI/d angle)²), section g.
    draw = np.random.default_rng(3)
    turn = np.arange(256) * 2.0 * np.pi / 256
    clean = np.stack([np.exp(3.0 * np.cos(6.0 * turn)) + 2.0 * np.cos(turn + r) for r in range(8)])
    slope = np.gradient(np.tile(clean, 3), turn[1], axis=1)[:, 256:512]
    noise = 0.1
    bound = np.sqrt(2.0) * noise / np.sqrt(np.sum(slope**2))
    errors = []
    for _ in range(200):
        one, other = (harmonics((clean + noise * draw.standard_normal(clean.shape)).astype(np.float32)) for _ in "ab")
        cross = np.sum(np.conj(one) * other, axis=0, dtype=np.complex128)
        errors.append(refined(np.asarray(cross), 0.0)[0])
    assert 0.8 * bound < np.std(errors) < 1.35 * bound


@pytest.mark.parametrize("number", [2, 3, 4, 5, 6, 8, 12])
def test_like_teeth_are_counted(number: int) -> None:
    turn = np.arange(512) * 2.0 * np.pi / 512
    teeth = np.exp(4.0 * np.cos(number * turn)) + 0.1 * np.exp(4.0 * np.cos(turn))
    power = np.abs(np.fft.rfft(teeth)[1:49]) ** 2
    assert symmetry_of(power)[0] == number


def followed(rate_hz: Any, times: Any, *, symmetry: int = 6, tooth_known: bool = False, seed: int = 1) -> Followed:
    """Give angles as a film of like teeth would: right up to a tooth, which is drawn unless it is known."""
    draw = np.random.default_rng(seed)
    turns = np.concatenate([[0.0], np.cumsum(0.5 * (rate_hz[1:] + rate_hz[:-1]) * np.diff(times))])
    angle = 2.0 * np.pi * turns + 5e-4 * draw.standard_normal(len(times))
    if not tooth_known:
        angle = angle + 2.0 * np.pi / symmetry * draw.integers(0, symmetry, len(times))
    angle = np.mod(angle, 2.0 * np.pi)
    return Followed("left", symmetry, times, angle, np.full(len(times), 5e-4), np.ones((len(times), symmetry)))


TIMES = np.arange(240) / 30.0


def test_a_slow_hub_is_unwrapped_with_no_help() -> None:
    way = unwrapped([followed(np.full(240, 0.61), TIMES)])[0]
    assert way.turns[-1] / TIMES[-1] == pytest.approx(0.61, rel=1e-3)
    assert way.symmetry == 6


def test_teeth_are_told_apart_only_where_a_mark_does_it() -> None:
    assert marked(followed(np.full(240, 0.61), TIMES, tooth_known=True))
    assert not marked(followed(np.full(240, 0.61), TIMES))


def test_a_mark_shows_a_wind() -> None:
    way = unwrapped([followed(np.full(240, -7.3), TIMES, tooth_known=True)])[0]
    assert way.turns[-1] / TIMES[-1] == pytest.approx(-7.3, rel=1e-3)


def test_frame_times_that_waver_show_a_wind_of_like_teeth() -> None:
    times = TIMES + 0.006 * np.random.default_rng(2).uniform(-1.0, 1.0, 240)
    way = unwrapped([followed(np.full(240, 7.3), times)])[0]
    assert (way.turns[-1] - way.turns[0]) / (times[-1] - times[0]) == pytest.approx(7.3, rel=1e-3)


def test_the_way_from_a_stand_shows_a_wind_of_like_teeth() -> None:
    rate = np.clip((TIMES - 1.0) * 5.0, 0.0, 7.3)
    way = unwrapped([followed(rate, TIMES)])[0]
    assert (way.turns[-1] - way.turns[200]) / (TIMES[-1] - TIMES[200]) == pytest.approx(7.3, rel=1e-3)


def test_what_the_machine_can_do_decides_between_like_rates() -> None:
    way = unwrapped([followed(np.full(240, 7.3), TIMES)], [(5.5, 9.0)])[0]
    assert way.turns[-1] / TIMES[-1] == pytest.approx(7.3, rel=1e-3)
    alone = unwrapped([followed(np.full(240, 7.3), TIMES)])[0]
    assert alone.turns[-1] / TIMES[-1] == pytest.approx(2.3, rel=1e-3)
    assert "Nothing decides for sure" in said_of_aliases([alone], 30.0)[0]


def test_two_packs_on_one_tape_show_a_wind_of_like_teeth() -> None:
    """Turns by the closed form of two packs, 8.3 and 8.8 turns a second at 30 frames; alone they look like 3.3, 3.8."""
    times = np.arange(300) / 30.0
    taken = 8.8 * times + 0.02 * times**2
    length = 0.0205 * taken + 16e-6 * taken**2 / 2.0
    given_off = (0.0217 - np.sqrt(0.0217**2 - 2.0 * 16e-6 * length)) / 16e-6
    draw = np.random.default_rng(4)
    hubs = []
    for turns in (given_off, taken):
        angle = 2.0 * np.pi * turns + 2e-3 * draw.standard_normal(300)
        angle = np.mod(angle + np.pi / 3.0 * draw.integers(0, 6, 300), 2.0 * np.pi)
        hubs.append(Followed("left", 6, times, angle, np.full(300, 2e-3), np.ones((300, 6))))
    for way, turns in zip(unwrapped(hubs), (given_off, taken), strict=True):
        assert way.turns[-1] - way.turns[0] == pytest.approx(turns[-1], abs=0.02)
        assert way.lead > DECIDED
    assert unwrapped(hubs[:1])[0].turns[-1] < 0.5 * given_off[-1]


def test_the_mean_of_a_changing_rate_is_that_of_the_stretch_that_is_stated() -> None:
    times = TIMES + 0.004 * np.random.default_rng(5).uniform(-1.0, 1.0, 240)
    turns = 6.0 * times + 0.05 * times**2
    turned = Turned("left", times, turns, np.full(240, 2e-4), 5.0, 6, 9.0)
    mean = mean_rate(turned, rate_course(turned), 1e-5)
    begin, end = (float(word) for word in mean.conditions.split(" s;")[0].split(" to "))
    assert mean.value == pytest.approx(6.0 + 0.05 * (begin + end), rel=6e-5)


def course(name: Any, rate_hz: Any, *, doubt: float = 0.002) -> RateCourse:
    times = np.asarray(np.arange(len(rate_hz)) * 0.05 + 0.1, dtype=np.float64)
    return RateCourse(name, times, np.asarray(rate_hz, float), np.full(len(times), doubt), np.cumsum(rate_hz) * 0.05)


def reels(speed: float, thickness: float, wound: float, seconds: float) -> tuple[RateCourse, RateCourse]:
    """Give two hubs of 11 mm on a tape of 700 mm² less both hubs, by r² = r0² + L t/pi (closed form)."""
    times = np.arange(0.0, seconds, 0.05)
    hub, whole = 0.011**2, 0.0264**2
    taker = hub + (wound + speed * times) * thickness / np.pi
    return (
        course("left", speed / (2.0 * np.pi * np.sqrt(whole - taker))),
        course("right", speed / (2.0 * np.pi * np.sqrt(taker))),
    )


@settings(max_examples=25)
@given(st.floats(0.043, 0.1), st.floats(9e-6, 18e-6), st.floats(0.0, 25.0))
def test_both_hubs_tell_the_tape(speed: float, thickness: float, wound: float) -> None:
    seen = tape_seen(reels(speed, thickness, wound, 60.0))
    assert seen.takes_up == "right"
    for reading, true in (
        (seen.speed_m_per_s, speed), (seen.thickness_m, thickness),
        (seen.radius_m["right"], float(np.sqrt(0.011**2 + (wound + 30.0 * speed) * thickness / np.pi))),
    ):  # fmt: skip
        assert reading.value is not None
        assert reading.doubt is not None
        assert abs(reading.value - true) < reading.doubt
        assert reading.doubt < 0.12 * reading.value


def test_a_pack_that_grows_on_the_wrong_side_is_noticed() -> None:
    """Two packs of 16 µm tape; the right one grows, whatever was said (a mirrored film, or one upside down)."""
    hubs = reels(0.0476, 16e-6, 10.0, 60.0)
    assert not tape_seen(hubs, "right").other_way
    wrong = tape_seen(hubs, "left")
    assert wrong.other_way
    assert wrong.takes_up == "right"


def test_published_reel_rates_are_the_published_speed() -> None:
    # Reference notes on standards: reels turn 0.689 Hz (bare hub) to 0.300 Hz (full) at 4.76 cm/s.
    seen = tape_seen((course("left", np.full(100, 0.300)), course("right", np.full(100, 0.689))), "right")
    assert seen.speed_m_per_s.value == pytest.approx(0.0476, rel=0.05)
    assert abs((seen.speed_m_per_s.value or 0.0) - 0.0476) < (seen.speed_m_per_s.doubt or 0.0)
    assert seen.position.value == pytest.approx(0.0, abs=0.03)
    assert position_by_rates(
        (course("left", np.full(100, 0.5)), course("right", np.full(100, 0.5))), "right", 2.0, 1.0
    ) == pytest.approx(0.5)


def test_one_hub_or_a_standing_one_tells_nothing_of_the_tape() -> None:
    for hubs in (
        (course("left", np.full(100, 0.5)),),
        (course("left", np.zeros(100)), course("right", np.full(100, 0.5))),
    ):
        seen = tape_seen(hubs)
        assert seen.speed_m_per_s.value is None
        assert seen.speed_m_per_s.why_not


def dipped(base: float, at_s: float, lasts_s: float, share: float, seed: int) -> Any:
    """Give a rate with a shortfall, read over windows of 0.2 s as a film's rates are, with noise."""
    fine = np.arange(0.0, 8.2, 0.01)
    rate = base * (1.0 - share * ((fine >= at_s) & (fine < at_s + lasts_s)))
    smooth = np.convolve(rate, np.ones(20) / 20.0, mode="valid")[::5]
    return smooth * (1.0 + 0.003 * np.random.default_rng(seed).standard_normal(len(smooth)))


@settings(max_examples=25)
@given(st.floats(1.0, 6.0), st.floats(0.3, 1.5), st.floats(0.12, 0.9), st.integers(0, 99))
def test_shortfalls_are_found_and_told_from_those_of_both(at_s: float, lasts_s: float, share: float, seed: int) -> None:
    steady, short = dipped(0.45, 0.0, 0.0, 0.0, seed), dipped(0.61, at_s, lasts_s, share, seed + 1)
    alone = reel_events((course("left", steady), course("right", short)), "right", 0.0476)
    slips = [event for event in alone if event.kind in ("slips", "stands")]
    assert [event.name for event in slips] == ["right"]
    assert slips[0].start_s < at_s + lasts_s
    assert slips[0].end_s > at_s
    assert slips[0].share == pytest.approx(share, abs=0.06)
    both = reel_events(
        (course("left", dipped(0.45, at_s, lasts_s, share, seed)), course("right", short)), "right", 0.0476
    )
    assert {event.kind for event in both if event.kind != "lags"} == {"hesitates"}


@settings(max_examples=20)
@given(st.integers(0, 300))
def test_steady_hubs_have_no_events(seed: int) -> None:
    hubs = (course("left", dipped(0.45, 0.0, 0.0, 0.0, seed)), course("right", dipped(0.61, 0.0, 0.0, 0.0, seed + 7)))
    assert reel_events(hubs, "right", 0.0476) == ()


def test_a_loop_grows_by_what_is_given_and_not_wound() -> None:
    hubs = (course("left", np.full(161, 0.45)), course("right", dipped(0.61, 3.0, 2.0, 0.5, 1)))
    loops = [event for event in reel_events(hubs, "right", 0.0476) if event.kind == "lags"]
    assert len(loops) == 1
    assert loops[0].share == pytest.approx(0.5, abs=0.08)
    assert not [event for event in reel_events(hubs, "", 0.0476) if event.kind == "lags"]


def test_starts_stops_and_stands_are_told() -> None:
    rate = np.concatenate([np.zeros(30), np.full(90, 0.6), np.zeros(40)])
    kinds = [event.kind for event in reel_events((course("left", rate), course("right", 0.8 * rate)))]
    assert sorted(kinds) == ["starts", "starts", "stops", "stops"]
    stands = reel_events((course("left", np.zeros(160)), course("right", np.full(160, 0.5))))
    assert [(event.kind, event.name) for event in stands] == [("stands", "left")]


@settings(max_examples=20)
@given(st.floats(0.1, 2.0), st.integers(0, 500))
def test_a_mean_rate_lies_in_its_interval(rate: float, seed: int) -> None:
    draw = np.random.default_rng(seed)
    turns = rate * TIMES + 2e-4 * draw.standard_normal(240)
    turned = Turned("left", TIMES, turns, np.full(240, 2e-4), 5.0, 6, 9.0)
    rates = rate_course(turned)
    mean = mean_rate(turned, rates, 1e-5)
    assert mean.value is not None
    assert abs(mean.value - rate) < (mean.doubt or 0.0)
    inside = np.abs(rates.rate_hz - rate) < rates.doubt_hz
    assert inside.mean() > 0.85


def strays(seed: int, turns: float, memory_s: float) -> Turned:
    """Give a hub at 0.45 Hz and 60 frames a second whose angle strays slowly (a Markov chain)."""
    draw = np.random.default_rng(seed)
    times = np.arange(480) / 60.0
    kept = np.exp(-1.0 / 60.0 / memory_s)
    off = [turns * draw.standard_normal()]
    for one in draw.standard_normal(479):
        off.append(kept * off[-1] + turns * np.sqrt(1.0 - kept**2) * one)
    return Turned("left", times, 0.45 * times + np.array(off), np.full(480, 1e-4), 10.0, 6, 9.0)


def test_an_angle_that_strays_slowly_widens_the_interval() -> None:
    """Half a degree with a memory of 0.4 s: what it scatters within a window tells nothing of that."""
    holds, sizes = [], []
    for seed in range(60):
        turned = strays(seed, 0.5 / 360.0, 0.4)
        rates = rate_course(turned)
        mean = mean_rate(turned, rates, 1e-5)
        assert mean.value is not None
        holds.append(abs(mean.value - 0.45) < (mean.doubt or 0.0))
        sizes.append(360.0 * slow_scatter_turns(rates))
    assert np.mean(holds) >= 0.9
    # The stationary deviation that was put in; averaged over a window it is a little less.
    assert np.sqrt(np.mean(np.square(sizes))) == pytest.approx(0.5, rel=0.25)


def test_a_hub_that_falls_short_does_not_stray() -> None:
    rate = np.where((TIMES > 3.0) & (TIMES < 5.0), 0.3, 0.61)
    turns = np.concatenate([[0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(TIMES))])
    assert slow_scatter_turns(rate_course(Turned("left", TIMES, turns, np.full(240, 1e-4), 5.0, 6, 9.0))) < 1e-6
