"""Crosstalk, third harmonic, dropouts, erasure, hum and noise: each against what was put in, and what each refuses."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from tapewright.measure.crosstalk import channel_order, crosstalk_row, without_crosstalk
from tapewright.measure.distortion import level_at_three_percent, third_harmonic
from tapewright.measure.dropouts_of_tone import Dropout, counts, dropouts_of, repeats_with
from tapewright.measure.erasure import erasure
from tapewright.measure.hum_lines import hum_lines
from tapewright.measure.section_tone import Baseband, section_tone
from tapewright.measure.settled import settled_mean
from tapewright.measure.weighted_noise import a_weighted_noise, quasi_peak_noise
from tapewright.standards.tables import table_column
from tapewright.words.reading import Reading

RATE_HZ = 44100.0
Values = NDArray[np.float64]


def times(seconds: float) -> Values:
    return np.asarray(np.arange(int(seconds * RATE_HZ)) / RATE_HZ)


def noise(seconds: float, tracks: int = 1, seed: int = 1) -> Values:
    return np.asarray(np.random.default_rng(seed).standard_normal((int(seconds * RATE_HZ), tracks)))


def turning(frequency_hz: float, seconds: float) -> Values:
    """Give the phase of a tone with 0.2 % of flutter at 7 Hz."""
    at = times(seconds)
    return np.asarray(2.0 * np.pi * frequency_hz * (at + 0.002 / (2.0 * np.pi * 7.0) * np.sin(2.0 * np.pi * 7.0 * at)))


@pytest.mark.parametrize("below_db", [-20.0, -40.0, -60.0])
def test_crosstalk_far_below_the_noise_of_its_band(below_db: float) -> None:
    """Oracle: what was put in; noise 40 dB below the tone hides -60 dB from a meter, in step it is read within 1 dB."""
    turn = turning(1000.0, 2.5)
    ratio = 10.0 ** (below_db / 20.0)
    both = np.array([np.cos(turn), ratio * np.cos(turn + 0.7)]).T
    found = crosstalk_row(both + 0.01 * noise(2.5, 2), RATE_HZ, 1000.0, 0)
    assert found[1].value == pytest.approx(below_db, abs=1.0)
    assert abs((found[1].value or 0.0) - below_db) < 1.5 * (found[1].doubt or 0.0)
    assert found[0].why_not is not None


def test_noise_adds_nothing_to_crosstalk_on_the_whole() -> None:
    """Oracle: what was put in, as the power mean of 100 draws at five sigmas; the noise would add to it."""
    turn = turning(1000.0, 1.0)
    powers = []
    for seed in range(100):
        both = np.array([np.cos(turn), 1.7e-3 * np.cos(turn)]).T + 0.05 * noise(1.0, 2, seed)
        value = crosstalk_row(both, RATE_HZ, 1000.0, 0)[1].value
        powers += [] if value is None else [10.0 ** (value / 10.0)]
    assert len(powers) > 90
    assert 10.0 * math.log10(float(np.mean(powers))) == pytest.approx(20.0 * math.log10(1.7e-3), abs=0.35)


def test_no_crosstalk_gives_an_upper_limit() -> None:
    both = np.array([np.cos(turning(1000.0, 2.0)), np.zeros(int(2.0 * RATE_HZ))]).T
    found = crosstalk_row(both + 0.01 * noise(2.0, 2), RATE_HZ, 1000.0, 0)[1]
    assert found.value is None
    assert "less than -" in (found.why_not or "")


def test_the_order_of_channels() -> None:
    """Each track alone, channels crossed over; a channel that two claim is given to none."""
    order = [2, 0, 3, 1]
    tones = []
    for track, channel in enumerate(order):
        sound = 0.003 * noise(0.5, 4, track)
        sound[:, channel] += np.cos(turning(1000.0, 0.5))
        tones.append((track, section_tone(sound, RATE_HZ, 1000.0)))
    assert channel_order(tones) == tuple(order)
    assert channel_order([tones[0], (1, tones[0][1]), tones[2]]) == (None, None, 3)
    quiet = section_tone(0.003 * noise(0.5, 4), RATE_HZ, 1000.0)
    assert channel_order([(0, quiet)]) == (None,)


def test_mixtures_are_undone() -> None:
    draw = np.random.default_rng(2)
    mixing = np.eye(4) + 0.05 * draw.standard_normal((4, 4)) + 0.02j * draw.standard_normal((4, 4))
    own = draw.standard_normal((50, 4)) + 1j * draw.standard_normal((50, 4))
    assert without_crosstalk(own @ mixing.T, mixing) == pytest.approx(own, abs=1e-12)


@pytest.mark.parametrize("percent", [0.1, 1.0, 3.0])
def test_third_harmonic(percent: float) -> None:
    """Oracle: what was put in, within 5 %; 3 % are -30.46 dB (DIN 45500 part 4 writes 30.5)."""
    turn = turning(315.0, 2.0)
    tone = 0.3 * (np.cos(turn) + percent / 100.0 * np.cos(3.0 * turn + 1.0) + 0.02 * np.cos(2.0 * turn))
    found = third_harmonic(tone[:, None] + 0.001 * noise(2.0), RATE_HZ, 315.0)[0]
    assert found.value == pytest.approx(percent, rel=0.05)
    brighter = third_harmonic(tone[:, None], RATE_HZ, 315.0, replay_db=2.0)[0]
    assert brighter.value == pytest.approx(percent * 10.0 ** (-0.1), rel=0.01)
    assert 20.0 * math.log10(0.03) == pytest.approx(-30.46, abs=0.005)


def test_third_harmonic_whatever_the_speed_does() -> None:
    """A wow of 1 % at half a hertz turns the tone's phase by a whole turn and more; three times that is followed."""
    at = times(2.0)
    turn = 2.0 * np.pi * 315.0 * (at + 0.01 / np.pi * np.sin(np.pi * at))
    tone = 0.3 * (np.cos(turn) + 0.01 * np.cos(3.0 * turn))
    assert third_harmonic(tone[:, None], RATE_HZ, 315.0)[0].value == pytest.approx(1.0, rel=0.01)


def test_third_harmonic_is_refused_where_there_is_none_to_read() -> None:
    turn = turning(315.0, 1.0)
    assert third_harmonic((0.3 * np.cos(turn))[:, None] + 0.01 * noise(1.0), RATE_HZ, 315.0)[0].value is None
    assert "beyond" in (third_harmonic(np.cos(turning(8000.0, 1.0))[:, None], RATE_HZ, 8000.0)[0].why_not or "")
    assert third_harmonic(np.zeros((44100, 1)), RATE_HZ, 315.0)[0].value is None


def thirds(percents: list[float | None]) -> list[Reading]:
    return [Reading(None, "%", why_not="noise") if one is None else Reading(one, "%", 0.02 * one) for one in percents]


def test_level_at_three_percent_of_a_cube() -> None:
    """Oracle: a weak cube rises 2 dB for each: from 0.75 % at -3 dB to 3 % at +3.02 dB; closed form."""
    found = level_at_three_percent([-3.0, 0.0, 3.0, 6.0], thirds([0.75 * 10.0 ** (k * 0.3) for k in range(4)]))
    assert found.value == pytest.approx(-3.0 + 10.0 * math.log10(4.0), abs=0.01)
    assert found.doubt == pytest.approx(20.0 * math.log10(1.02) / 2.0, rel=0.5)


@pytest.mark.parametrize(
    ("percents", "said"),
    [
        ([None, 0.1, None, None], "fewer than two"),
        ([1.0, 1.0, 1.0, 1.0], "does not rise"),
        ([0.01, 0.02, 0.04, 0.08], "too far"),
    ],
)
def test_level_at_three_percent_is_refused(percents: list[float | None], said: str) -> None:
    found = level_at_three_percent([-3.0, 0.0, 3.0, 6.0], thirds(percents))
    assert said in (found.why_not or "")


def dipped(dips: list[tuple[int, float, float, float]], seconds: float = 8.0, size: float = 0.02) -> Baseband:
    sound = 0.3 * np.cos(turning(3150.0, seconds))[:, None] * np.ones(2)
    for track, when, length, depth_db in dips:
        sound[int(when * RATE_HZ) : int((when + length) * RATE_HZ), track] *= 10.0 ** (-depth_db / 20.0)
    return section_tone(sound + size * noise(seconds, 2), RATE_HZ, 3150.0)


def test_dropouts_by_length_and_depth_and_in_common() -> None:
    """Oracle: where, how long and how deep each was made; and one too shallow, one too short."""
    made = [(0, 1.0, 0.04, 10.0), (1, 2.0, 0.15, 18.0), (0, 4.0, 0.06, 8.0), (1, 4.02, 0.06, 12.0)]
    found = dropouts_of(dipped([*made, (0, 6.0, 0.05, 4.0), (0, 7.0, 0.004, 12.0)], size=0.002))
    assert [one.track for one in found.found] == [0, 1, 0, 1]
    for one, (_, when, length, depth_db) in zip(found.found, made, strict=True):
        assert one.start_s == pytest.approx(when, abs=0.02)
        assert one.length_s == pytest.approx(length, abs=0.008)
        assert one.depth_db == pytest.approx(depth_db, abs=1.2)
    assert [tracks for tracks, _ in found.in_common] == [(0, 1)]
    table = counts(found.found)
    assert table.shape == (6, 4)
    assert table.sum() == 4
    assert (table[1, 0], table[3, 2]) == (0, 1), "0.15 s and 18 dB"
    assert found.per_minute[0].value == pytest.approx(2 * 60.0 / 8.0, rel=0.02)
    low, high = found.per_minute[0].interval or (0.0, 0.0)
    assert (low / 7.5, high / 7.5) == pytest.approx((0.242, 7.225), rel=0.02), "Poisson: 2 seen, 0.242 to 7.225"


def test_noise_is_no_dropout() -> None:
    """A steady tone 20 dB over the noise of its own band has none; one that drowns in it is refused."""
    assert dropouts_of(dipped([])).found == ()
    assert dropouts_of(dipped([], size=1.5)).per_minute[0].why_not is not None


def test_dropouts_that_come_back_with_a_reel() -> None:
    """Oracle: made once a turn of 0.55 Hz with a little play; at random times no rate is named."""
    draw = np.random.default_rng(3)
    turns = np.arange(14) / 0.55 + 0.05 * draw.standard_normal(14)
    kept = repeats_with([Dropout(0, float(at), 0.02, 9.0) for at in turns], [0.41, 0.55, 6.3])
    assert [rate for rate, _ in kept] == [0.55]
    assert kept[0][1] < 1e-4
    apart = [Dropout(0, float(at), 0.02, 9.0) for at in np.sort(draw.uniform(0.0, 25.0, 14))]
    assert repeats_with(apart, [0.41, 0.55, 6.3]) == ()
    assert repeats_with(apart[:3], [0.55]) == ()


@pytest.mark.parametrize("left_db", [-40.0, -60.0])
def test_what_erasing_left(left_db: float) -> None:
    """Oracle: what was put in, with flutter, under noise 50 dB below the tone that was."""
    seconds = 6.0
    tone = 0.2 * 10.0 ** (left_db / 20.0) * np.cos(turning(1000.0, seconds))
    found = erasure(tone[:, None] + 0.0006 * noise(seconds), RATE_HZ, 1000.0, np.array([20.0 * math.log10(0.2)]))[0]
    assert found.value == pytest.approx(left_db, abs=max(0.3, 1.3 * (found.doubt or 0.0)))


def test_clean_erasing_gives_an_upper_limit() -> None:
    found = erasure(0.0006 * noise(6.0), RATE_HZ, 1000.0, np.array([-14.0]))[0]
    assert found.value is None
    limit_db = float((found.why_not or "").split("less than ")[1].split(" dB")[0])
    assert -95.0 < limit_db < -60.0
    assert erasure(0.0006 * noise(0.5), RATE_HZ, 1000.0, np.array([-14.0]))[0].why_not is not None
    assert erasure(0.0006 * noise(2.0), RATE_HZ, 1000.0, np.array([np.nan]))[0].why_not is not None


@pytest.mark.parametrize(("mains_hz", "seconds"), [(49.96, 4.0), (60.03, 10.0)])
def test_hum_by_its_harmonics(mains_hz: float, seconds: float) -> None:
    """Oracle: what was put in: the fundamental and odd harmonics, a track without."""
    at = times(seconds)
    sizes = {1: 1e-3, 3: 4e-4, 5: 1e-4}
    humming = sum(size * np.cos(2.0 * np.pi * mains_hz * number * at + number) for number, size in sizes.items())
    found = hum_lines(np.array([humming, np.zeros_like(at)]).T + 3e-4 * noise(seconds, 2), RATE_HZ)
    assert found.mains_hz.value == pytest.approx(mains_hz, abs=found.mains_hz.doubt)
    for number, size in sizes.items():
        each = found.levels_db[0][number - 1]
        assert each.value == pytest.approx(20.0 * math.log10(size), abs=max(0.05, 1.5 * (each.doubt or 0.0)))
    assert found.levels_db[0][1].why_not is not None
    assert all(one.why_not is not None for one in found.levels_db[1])
    total = 10.0 * math.log10(sum(size**2 for size in sizes.values()))
    assert found.total_db[0].value == pytest.approx(total, abs=0.2)
    assert found.total_db[1].why_not is not None


@pytest.mark.parametrize("seed", range(6))
def test_noise_is_no_hum(seed: int) -> None:
    found = hum_lines(1e-3 * noise(4.0, 2, seed), RATE_HZ)
    assert found.mains_hz.why_not is not None
    assert found.total_db[0].why_not is not None


def test_a_tone_at_55_hz_is_no_mains() -> None:
    found = hum_lines((1e-3 * np.cos(2.0 * np.pi * 55.0 * times(4.0)))[:, None] + 1e-4 * noise(4.0), RATE_HZ)
    assert found.mains_hz.why_not is not None


def test_noise_readings_of_white_noise() -> None:
    """Oracle: the table of IEC 61672-1 drawn through and summed over the band; a reference level is taken off."""
    sound = 0.01 * noise(4.0)
    found = a_weighted_noise(sound, RATE_HZ)[0]
    rms_db = 20.0 * math.log10(0.01 * math.sqrt(2.0))
    band = np.arange(10.0, RATE_HZ / 2.0, 5.0)
    rows_hz, rows_db = table_column("a_weighting", "frequency_hz"), table_column("a_weighting", "response_db")
    share = np.mean(10.0 ** (np.interp(np.log(band), np.log(rows_hz), rows_db) / 10.0))
    assert (found.value or 0.0) - rms_db == pytest.approx(10.0 * math.log10(float(share)), abs=0.15)
    against = a_weighted_noise(sound, RATE_HZ, np.array([-10.0]))[0]
    assert against.value == pytest.approx((found.value or 0.0) + 10.0)
    peak = quasi_peak_noise(sound, RATE_HZ)[0]
    assert 8.0 < (peak.value or 0.0) - (found.value or 0.0) < 14.0, "common practice: 10 to 12 dB apart on tape noise"


def test_intervals_of_noise_hold() -> None:
    """Oracle: the mean of forty draws, side by side as tracks, stands for the truth."""
    sound = 0.01 * noise(3.0, 40)
    for read in (a_weighted_noise, quasi_peak_noise):
        found = read(sound, RATE_HZ)
        mean = float(np.mean([one.value or 0.0 for one in found]))
        held = [abs((one.value or 0.0) - mean) <= (one.doubt or 0.0) for one in found]
        assert 0.85 <= np.mean(held) <= 1.0
        assert np.mean([one.doubt or 0.0 for one in found]) < 0.3


def test_noise_is_refused_where_it_cannot_be_read() -> None:
    assert "44100" in (a_weighted_noise(0.01 * noise(2.0), 22050.0)[0].why_not or "")
    assert "s are needed" in (a_weighted_noise(0.01 * noise(0.2), RATE_HZ)[0].why_not or "")
    assert "s are needed" in (quasi_peak_noise(0.01 * noise(1.2), RATE_HZ)[0].why_not or "")
    assert a_weighted_noise(np.zeros((88200, 1)), RATE_HZ)[0].why_not is not None
    assert a_weighted_noise(0.01 * noise(2.0), RATE_HZ, np.array([np.nan]))[0].why_not is not None


def test_a_settled_mean_is_as_sure_as_it_says() -> None:
    """Oracle: 2000 draws of white noise, and of a waver of unknown rate with some noise."""
    draw = np.random.default_rng(4)
    for waver in (0.0, 1.0):
        held = []
        for _ in range(1000):
            turns = draw.uniform(2.0, 9.0) * np.arange(200) / 200.0 + draw.uniform()
            mean, doubt = settled_mean(waver * np.sin(2.0 * np.pi * turns) + 0.1 * draw.standard_normal(200))
            held.append(abs(mean) <= doubt)
        assert 0.93 <= np.mean(held) <= 0.985
    assert settled_mean(np.ones(10))[1] == math.inf
