"""Round trip: a capture with known truth and all defects at once is read by one pass.

Oracle: the generator's own truth (`capture`), which shares no code with the measuring. The limits are those that the
project set itself: azimuth 0.1 minute of arc and twice the bound, level 0.05 dB, response 0.1 dB, crosstalk 1 dB down
to -60 dB, third harmonic 5 % of its reading, spacing 0.05 µm; and of all intervals 93 to 97 % hold.
"""

from collections import defaultdict
from collections.abc import Iterator
from functools import cache

import numpy as np
import pytest

from tapewright.measure.one_pass import read_sections
from tapewright.measure.one_pass_parts import OnePass, SectionSound
from tapewright.words.plain import plain
from tapewright.words.reading import Reading
from tapewright.words.sequence import (
    AZIMUTH,
    CROSSTALK,
    DISTORTION,
    ERASURE,
    LEVEL,
    RESPONSE,
    SILENCE,
    SPEED,
    Section,
)
from tests.measure import capture
from tests.measure.capture import AZIMUTH_HZ, MINUTE_RAD, NOMINAL_M_PER_S, RESPONSE_HZ, RISING_DB, Truth, drawn

ALL = (1, 2, 3, 4)
READABLE_PCT = 0.3
"""A third harmonic below this stands too little over the noise of a second of tape to be read within 5 %."""
DIPS = ((1, 1.0, 0.03, 12.0), (1, 2.2, 0.05, 9.0), (0, 2.2, 0.05, 9.0), (2, 4.0, 0.02, 15.0))
LIMITS = {"azimuth": 0.1, "level": 0.05, "response": 0.1, "crosstalk": 1.0, "harmonic": 0.05, "spacing": 0.05}


def planned(quiet: bool) -> list[Section]:
    """Give the sections of the test's own tape: what a real one holds, shorter."""
    rows: list[tuple[str, float, float | None, float, tuple[int, ...], bool]] = [
        (SPEED, 6.0, 3150.0, -10.0, ALL, False),
        (LEVEL, 2.0, 315.0, 0.0, ALL, False),
    ]
    rows += [(AZIMUTH, 2.0, hz, -10.0, ALL, False) for hz in AZIMUTH_HZ]
    rows += [(RESPONSE, 1.2, hz, -20.0, ALL, False) for hz in RESPONSE_HZ]
    rows += [(CROSSTALK, 2.0, 1000.0, 0.0, (track,), False) for track in ALL]
    rows += [(DISTORTION, 1.0, 315.0, level_db, ALL, False) for level_db in RISING_DB]
    if quiet:
        rows += [(SILENCE, 5.0, None, 0.0, ALL, False)]
        rows += [(ERASURE, 1.5, 1000.0, 0.0, ALL, False), (ERASURE, 4.0, 1000.0, 0.0, ALL, True)]
    starts = np.cumsum([0.0, *(row[1] for row in rows)])
    return [
        Section(kind, float(start), length, tracks, hz, (), level_db, erased)
        for start, (kind, length, hz, level_db, tracks, erased) in zip(starts, rows, strict=False)
    ]


def sounds(truth: Truth, seed: int, sections: list[Section]) -> Iterator[SectionSound]:
    for section in sections:
        level_db = section.level_db + (truth.left_db if section.to_be_erased else 0.0)
        tracks = tuple(track - 1 for track in section.tracks)
        dips = DIPS if section.kind == SPEED else ()
        samples = capture.played(
            truth, seed, section.start_s, section.length_s, section.frequency_hz, level_db, tracks, dips
        )
        yield SectionSound(section, samples, truth.speed_ratio)


@cache
def read(seed: int, quiet: bool = True) -> tuple[Truth, OnePass]:
    truth = drawn(seed)
    rates = (truth.wander_hz, 5.1)
    return truth, read_sections(sounds(truth, seed, planned(quiet)), truth.rate_hz, NOMINAL_M_PER_S, rates_hz=rates)


Compared = tuple[str, Reading, float, float]
"""What it is, its reading, its truth, and what counts as one: 1, or the truth itself for shares of it."""


def compared(truth: Truth, found: OnePass) -> Iterator[Compared]:
    """Pair every reading with its truth."""
    yield "azimuth", found.azimuth_arcmin, truth.line_rad / MINUTE_RAD, 1.0
    for index, track in enumerate(found.tracks):
        yield "level", track.level_db, capture.own_level_db(truth, index, 315.0), 1.0
        yield "scatter", track.gap_scatter_um, 1e6 * truth.off_line_m[index], 1.0
        assert track.response is not None
        assert track.losses is not None
        for hz, deviation in zip(RESPONSE_HZ, track.response.deviations_db, strict=True):
            if hz != 315.0:
                wanted = capture.own_level_db(truth, index, hz) - capture.own_level_db(truth, index, 315.0)
                yield "response", deviation, wanted, 1.0
        yield "spacing", track.losses.spacing_um, 1e6 * truth.spacing_m[index], 1.0
        yield "gap", track.losses.gap_um, 1e6 * truth.gap_m, 1.0
        for each in track.crosstalk:
            yield "crosstalk", each.reading, capture.crosstalk_db(truth, index, each.from_track - 1), 1.0
        for one in track.third_harmonic:
            wanted = capture.harmonic_pct(truth, index, 315.0, one.level_db)
            yield "harmonic", one.reading, wanted, wanted


def within(kind: str, found: OnePass, wanted: float) -> float | None:
    """Give the limit of one reading; None where it has none."""
    if kind == "azimuth":
        return LIMITS["azimuth"] + 2.0 * (found.azimuth_bound_arcmin or 0.0)
    if (kind == "crosstalk" and wanted < -60.0) or (kind == "harmonic" and wanted < READABLE_PCT):
        return None
    return LIMITS.get(kind)


def check_limits(truth: Truth, found: OnePass, worst: dict[str, float], held: dict[str, list[bool]]) -> None:
    for kind, reading, wanted, unit in compared(truth, found):
        limit = within(kind, found, wanted)
        if limit is not None:
            assert reading.value is not None, f"{kind}: {reading.why_not}"
            apart = abs(reading.value - wanted) / unit
            worst[kind] = max(worst[kind], apart)
            assert apart < limit, f"{kind}: {reading.value} for {wanted}"
        if reading.value is not None and reading.doubt is not None:
            low, high = reading.interval or (reading.value - reading.doubt, reading.value + reading.doubt)
            held[kind].append(low <= wanted <= high)


def test_one_capture_within_the_limits() -> None:
    truth, found = read(0)
    check_limits(truth, found, defaultdict(float), defaultdict(list))


@pytest.mark.slow
def test_a_hundred_captures_within_the_limits_and_intervals_that_hold() -> None:
    worst: dict[str, float] = defaultdict(float)
    held: dict[str, list[bool]] = defaultdict(list)
    for seed in range(100):
        truth = drawn(seed)
        found = read_sections(sounds(truth, seed, planned(False)), truth.rate_hz, NOMINAL_M_PER_S)
        check_limits(truth, found, worst, held)
    for kind, each in held.items():
        print(f"{kind:10s} worst {worst[kind]:8.5f}  {100.0 * np.mean(each):5.1f} % of {len(each)} intervals hold")
    every = [one for each in held.values() for one in each]
    print(f"all: {100.0 * np.mean(every):.1f} % of {len(every)}")
    assert 0.93 <= np.mean(every) <= 0.97


def test_polarity() -> None:
    truth, found = read(0)
    assert [track.inverted for track in found.tracks] == truth.inverted.tolist()
    assert any(truth.inverted)
    assert any("Polarity" in note for note in found.notes)


def test_wander_of_the_angle() -> None:
    """Oracle: 95 % of the time of a sine lies within cos(4.5 degrees) of its peak."""
    truth, found = read(0)
    wanted = truth.wander_rad / MINUTE_RAD
    assert found.azimuth_wander_arcmin.value == pytest.approx(0.997 * wanted, rel=0.05)
    turning, elsewhere = found.wander_at
    assert turning.rate_hz == truth.wander_hz
    assert turning.reading.value == pytest.approx(wanted, rel=0.05)
    assert (elsewhere.reading.value or 0.0) < 0.05 * wanted
    assert found.repeats == (), "four dropouts are too few to come back with anything"


def test_hum_and_its_harmonics() -> None:
    truth, found = read(0)
    mains = found.mains_hz
    assert mains.value == pytest.approx(truth.mains_hz, abs=mains.doubt)
    for index, track in enumerate(found.tracks):
        for number in range(3):
            each, wanted = track.hum_db[number], capture.hum_db(truth, index, number)
            assert each.doubt is not None
            assert each.doubt < 0.8
            assert each.value == pytest.approx(wanted, abs=1.5 * each.doubt)
        assert all(one.value is None for one in track.hum_db[4:])
        total = 10.0 * np.log10(sum(10.0 ** (capture.hum_db(truth, index, number) / 10.0) for number in range(3)))
        assert track.hum_total_db.value == pytest.approx(total, abs=0.3)


def test_what_erasing_left() -> None:
    truth, found = read(0)
    for track in found.tracks:
        left = track.erasure_db
        assert left.doubt is not None
        assert left.doubt < 1.0
        assert left.value == pytest.approx(truth.left_db, abs=1.5 * left.doubt)


def test_noise_by_either_weighting() -> None:
    """Oracle: white noise of known size, weighted by a table drawn through and summed over the band, plus the hum."""
    truth, found = read(0)
    for index, track in enumerate(found.tracks):
        own = 10.0 ** (capture.own_level_db(truth, index, 315.0) / 20.0)
        size = truth.noise * np.sqrt(2.0) * a_weighted_share(truth.rate_hz) / own
        hums = [10.0 ** (capture.hum_db(truth, index, number) / 20.0) for number in range(3)]
        rates = truth.mains_hz * np.arange(1, 4)
        hums_db = np.interp(rates, [50, 63, 80, 100, 125, 160, 200], [-30.2, -26.2, -22.5, -19.1, -16.1, -13.4, -10.9])
        wanted = 10.0 * np.log10(size**2 + np.sum((np.array(hums) * 10.0 ** (hums_db / 20.0)) ** 2))
        assert track.noise_a_db.value == pytest.approx(wanted, abs=0.15)
        assert track.noise_468_db.value is not None
        assert 8.0 < track.noise_468_db.value - wanted < 16.0


def a_weighted_share(rate_hz: float) -> float:
    """Give the A-weighted rms of white noise of rms 1 up to half the sample rate: a table drawn through, summed."""
    points = [
        20,
        50,
        100,
        200,
        400,
        630,
        800,
        1e3,
        1250,
        1600,
        2e3,
        2500,
        3150,
        4e3,
        5e3,
        6300,
        8e3,
        1e4,
        12500,
        16e3,
        2e4,
        24e3,
    ]
    sizes = [
        -50.5,
        -30.2,
        -19.1,
        -10.9,
        -4.8,
        -1.9,
        -0.8,
        0,
        0.6,
        1.0,
        1.2,
        1.3,
        1.2,
        1.0,
        0.5,
        -0.1,
        -1.1,
        -2.5,
        -4.3,
        -6.6,
        -9.3,
        -12,
    ]
    band = np.arange(1.0, rate_hz / 2.0, 5.0)
    return float(np.sqrt(np.mean(10.0 ** (np.interp(np.log(band), np.log(points), sizes) / 10.0))))


def test_dropouts_are_found_where_they_are() -> None:
    _, found = read(0)
    seen = [(one.track, one.start_s, one.length_s, one.depth_db) for one in found.dropouts]
    assert len(seen) == len(DIPS)
    for track, when, length, depth_db in DIPS:
        near = [one for one in seen if one[0] == track and abs(one[1] + 0.06 - when) < 0.02]
        assert len(near) == 1
        assert near[0][2] == pytest.approx(length, abs=0.008)
        assert near[0][3] == pytest.approx(depth_db, abs=1.0)
    assert [which for which, _ in found.in_common] == [(0, 1)]


def test_level_at_three_percent() -> None:
    truth, found = read(0)
    for index, track in enumerate(found.tracks):
        at_reference = capture.harmonic_pct(truth, index, 315.0, 0.0)
        wanted = 10.0 * np.log10(3.0 / at_reference)
        if wanted < 9.0:
            assert track.level_at_three_percent_db.value == pytest.approx(wanted, abs=0.1)
        else:
            assert track.level_at_three_percent_db.why_not is not None


def test_it_is_plain_data() -> None:
    _, found = read(0)
    shown = plain(found)
    assert len(shown["tracks"]) == 4
    assert shown["tracks"][0]["level_db"]["unit"] == "dB"


@cache
def few() -> list[SectionSound]:
    """Give the sections of a small capture, low in rate and without the high tones."""
    sections = [one for one in planned(True) if (one.frequency_hz or 0.0) < 9000.0]
    return list(sounds(drawn(3, 24000.0), 3, sections))


@pytest.mark.parametrize("gone", [AZIMUTH, LEVEL, RESPONSE, SILENCE, CROSSTALK, DISTORTION, ERASURE, SPEED])
def test_each_missing_section_leaves_a_reason_and_not_a_number(gone: str) -> None:
    found = read_sections([one for one in few() if one.section.kind != gone], 24000.0, NOMINAL_M_PER_S)
    track = found.tracks[0]
    assert (found.azimuth_arcmin.value is None) == (gone == AZIMUTH)
    assert (track.level_db.value is None) == (gone == LEVEL)
    assert (track.response is None) == (gone == RESPONSE)
    assert (found.mains_hz.value is None) == (gone == SILENCE)
    assert (not track.crosstalk) == (gone == CROSSTALK)
    assert (not track.third_harmonic) == (gone == DISTORTION)
    assert (track.erasure_db.value is None) == (gone == ERASURE)
    assert track.noise_a_db.why_not is not None, "24 kHz leave out part of the band"


def test_two_tracks_of_four() -> None:
    """A capture with channels missing: the tracks keep their numbers and their places."""
    truth = drawn(4)
    both = (2, 4)
    sections = [one for one in planned(False) if one.kind in (LEVEL, AZIMUTH)]
    cut = [SectionSound(one.section, one.samples[:, [1, 3]], one.speed_ratio) for one in sounds(truth, 4, sections)]
    found = read_sections(cut, truth.rate_hz, NOMINAL_M_PER_S, both)
    assert tuple(track.track for track in found.tracks) == both
    along = capture.CENTRES_M * np.tan(truth.angle_rad) + truth.gap_off_m
    wanted = (along[3] - along[1]) / (capture.CENTRES_M[3] - capture.CENTRES_M[1]) / MINUTE_RAD
    assert found.azimuth_arcmin.value == pytest.approx(wanted, abs=0.02)
    assert found.tracks[0].gap_scatter_um.why_not is not None


@pytest.mark.parametrize("left", [0.0, 1e-4])
def test_a_dead_track_takes_no_part(left: float) -> None:
    """Track 3 gives nothing, or hiss only: it has reasons, and the others read as they would without it.

    What crossed over from it before it died in the wires stays in them: some tenth of a decibel.
    """
    quiet = np.random.default_rng(5)
    dead = []
    for one in few():
        samples = one.samples.copy()
        samples[:, 2] = left * quiet.standard_normal(len(samples))
        dead.append(SectionSound(one.section, samples, one.speed_ratio))
    found = read_sections(dead, 24000.0, NOMINAL_M_PER_S)
    truth = drawn(3, 24000.0)
    third = found.tracks[2]
    for reading in (third.level_db, third.delay_us, third.gap_scatter_um, third.erasure_db, third.dropouts_per_minute):
        assert reading.why_not is not None
    assert third.inverted is None
    assert all(each.from_track != 3 for track in found.tracks for each in track.crosstalk)
    along = capture.CENTRES_M * np.tan(truth.angle_rad) + truth.gap_off_m
    wanted = np.polyfit(np.delete(capture.CENTRES_M, 2), np.delete(along, 2), 1)[0] / MINUTE_RAD
    assert found.azimuth_arcmin.value == pytest.approx(wanted, abs=0.1)
    assert found.tracks[0].level_db.value == pytest.approx(capture.own_level_db(truth, 0, 315.0), abs=0.15)


def test_nothing_at_all_is_refused_reading_by_reading() -> None:
    found = read_sections([], 48000.0, NOMINAL_M_PER_S)
    assert found.azimuth_arcmin.value is None
    assert all(track.level_db.value is None for track in found.tracks)
