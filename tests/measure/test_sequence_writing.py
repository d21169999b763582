"""What a test sequence is made of: times, levels, phases, bytes; and what is refused."""

import itertools
import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from tapewright.measure.sequence_mark import mark_length_s
from tapewright.measure.sequence_plan import (
    AZIMUTH_HZ,
    GAP_S,
    MULTITONE_HZ,
    SPEEDS_M_PER_S,
    TRACKS,
    TYPES,
    marks_of,
    planned_sequence,
    sequence_of,
    variant_of,
)
from tapewright.measure.sequence_writing import (
    REFERENCE_DBFS,
    amplitude,
    section_sound,
    sequence_blocks,
    sequence_frames,
    write_sequence,
)
from tapewright.show.sequence_sheet import sequence_page, sequence_sheet, sequence_text
from tapewright.words.clock import clock
from tapewright.words.problem import InputAtFaultError
from tapewright.words.sequence import AZIMUTH, ERASURE, KINDS, MARK, MULTITONE, RESPONSE, SILENCE, Sequence

EVERY = [planned_sequence(speed, tracks, kind) for speed in SPEEDS_M_PER_S for tracks in TRACKS for kind in TYPES]


def short() -> Sequence:
    """Give the beginning of a sequence, so that writing it takes no time."""
    whole = planned_sequence(tracks=2)
    return replace(whole, sections=(whole.sections[0], *(replace(one, length_s=0.5) for one in whole.sections[1:2])))


@pytest.mark.parametrize("sequence", EVERY, ids=lambda one: one.name)
def test_every_sequence_holds_every_kind_in_order_with_silence_between(sequence: Sequence) -> None:
    assert {one.kind for one in sequence.sections} == set(KINDS)
    for one, other in itertools.pairwise(sequence.sections):
        assert other.start_s - one.end_s >= GAP_S - 1e-9
    for one in sequence.sections:
        assert set(one.tracks) <= set(range(1, sequence.tracks + 1))
        assert max(one.frequency_hz or 0.0, *one.frequencies_hz, 0.0) <= 20000.0
    marks = marks_of(sequence)
    assert {round(one.length_s, 6) for one in marks} == {round(mark_length_s(sequence.tracks), 6)}
    assert max(b.start_s - a.start_s for a, b in itertools.pairwise(marks)) < 35.0
    assert [one.to_be_erased for one in sequence.sections if one.kind == ERASURE] == [False, True]
    assert sequence.sections[-1].to_be_erased, "whoever erases too much erases nothing else"


def test_the_number_in_the_code_names_the_sequence() -> None:
    assert [sequence_of(variant_of(one)) for one in EVERY] == EVERY
    assert len({variant_of(one) for one in EVERY}) == len(EVERY)
    assert sequence_of(len(EVERY)) is None
    assert sequence_of(-1) is None


def test_time_constants_and_response_follow_the_tape() -> None:
    """IEC 60094-1:1981 as JIS S 8604-1993 table 1 quotes it: 120 µs for type I, 70 µs for type II."""
    assert {(one.tape_type, one.time_constant_s) for one in EVERY} == {("I", 120e-6), ("II", 70e-6)}
    highest = {
        s.tape_speed_m_s: max(one.frequency_hz or 0.0 for one in s.sections if one.kind == RESPONSE) for s in EVERY
    }
    assert highest == {0.047625: 18000.0, 0.09525: 20000.0}


@given(st.floats(-2.5, 2.5), st.sampled_from(SPEEDS_M_PER_S), st.floats(0.0, 1.0))
def test_azimuth_tones_lead_to_the_angle_without_wrapping(degrees: float, speed_m_s: float, draw: float) -> None:
    """Closed form: delay d tan a / v between the outer tracks, 3.21 mm apart; each tone's phase put right by the last.

    Each phase is read to a tenth of a turn, which is far worse than any head.
    """
    delay_s = 3.21e-3 * math.tan(math.radians(degrees)) / speed_m_s
    known = 0.0
    for hz in AZIMUTH_HZ:
        read = hz * delay_s + 0.1 * math.sin(20.0 * draw + hz)
        turns = (read + 0.5) % 1.0 - 0.5
        known = (turns + round(hz * known - turns)) / hz
    assert known == pytest.approx(delay_s, abs=0.1001 / AZIMUTH_HZ[-1])


def test_every_section_has_its_level_and_nothing_else() -> None:
    """Closed form: a sine of peak a has the mean square a² / 2; n sines of different whole frequencies n times that."""
    sequence, rate_hz = planned_sequence(), 48000
    for section in sequence.sections:
        times_s = section.start_s + 0.05 + np.arange(rate_hz) / rate_hz
        sounds = [section_sound(sequence, section, track, times_s) for track in (1, 2, 3, 4)]
        tones = len(section.frequencies_hz) or (0 if section.frequency_hz is None else 1)
        if section.kind == MARK:
            continue
        for track, sound in enumerate(sounds, 1):
            expected = tones * amplitude(section.level_db) ** 2 / 2.0 if track in section.tracks else 0.0
            assert np.mean(sound**2) == pytest.approx(expected, rel=1e-6, abs=1e-15)
    assert amplitude(0.0) == pytest.approx(10.0 ** (REFERENCE_DBFS / 20.0))


def test_many_tones_do_not_peak_together_and_hide_behind_no_overtone() -> None:
    """Closed form: n sines in step peak at the root of 2 n times their rms, 6.6 here; these stay below a level tone."""
    sequence = planned_sequence()
    many = next(one for one in sequence.sections if one.kind == MULTITONE)
    sound = section_sound(sequence, many, 1, many.start_s + 1.0 + np.arange(2 * 48000) / 48000)
    assert np.max(np.abs(sound)) < 4.5 * np.std(sound)
    assert np.max(np.abs(sound)) < amplitude(-2.0)
    tones = [int(hz) for hz in MULTITONE_HZ]
    assert not {order * hz for hz in tones for order in range(2, 6)} & set(tones)
    assert not {a + b for a in tones for b in tones} & set(tones)


def test_blocks_join_without_a_seam() -> None:
    """Two roads: the whole at once, and block by block."""
    sequence, rate_hz = short(), 44100
    joined = np.concatenate(list(sequence_blocks(sequence, rate_hz)))
    times_s = np.arange(sequence_frames(sequence, rate_hz)) / rate_hz
    whole = np.zeros((len(times_s), 2))
    for section in sequence.sections:
        inside = (times_s >= section.start_s) & (times_s < section.end_s)
        for track in (1, 2):
            whole[inside, track - 1] += section_sound(sequence, section, track, times_s[inside])
    assert np.array_equal(joined, whole)
    assert np.max(np.abs(np.diff(joined, axis=0))) < 2.0 * np.pi * 3200.0 / rate_hz * amplitude(-6.0)
    assert np.all(joined[: int(0.99 * rate_hz)] == 0.0)


@given(st.integers(44100, 96000), st.sampled_from(EVERY))
@settings(max_examples=3, deadline=None)
def test_any_rate_is_written_the_same_way_twice(
    tmp_path_factory: pytest.TempPathFactory, rate_hz: int, sequence: Sequence
) -> None:
    path = tmp_path_factory.mktemp("sequence")
    brief = replace(sequence, sections=sequence.sections[:1])
    for name in ("a", "b"):
        (path / name).mkdir()
        write_sequence(brief, path / name / "t.wav", rate_hz)
    assert (path / "a" / "t.wav").read_bytes() == (path / "b" / "t.wav").read_bytes()
    assert (path / "a" / "t.json").read_bytes() == (path / "b" / "t.json").read_bytes()
    info = soundfile.info(str(path / "a" / "t.wav"))
    assert (info.samplerate, info.channels, info.subtype) == (rate_hz, sequence.tracks, "PCM_24")
    assert info.frames == sequence_frames(brief, rate_hz)
    assert sorted(one.name for one in (path / "a").iterdir()) == ["t.json", "t.wav"]


def test_what_is_written_is_what_was_planned(tmp_path: Path) -> None:
    sequence = short()
    said = write_sequence(sequence, tmp_path / "t.wav")
    assert json.loads((tmp_path / "t.json").read_text("utf-8")) == said
    samples, rate_hz = soundfile.read(str(tmp_path / "t.wav"))
    assert samples == pytest.approx(np.concatenate(list(sequence_blocks(sequence, rate_hz))), abs=2.0**-23)
    assert said["sequence"]["sections"][1]["frequency_hz"] == 3150.0
    write_sequence(sequence, tmp_path / "t.wav", 44100)
    assert soundfile.info(str(tmp_path / "t.wav")).samplerate == 44100, "its own kind may be written over"


@given(
    speed=st.floats(0.0, 1.0), tracks=st.integers(-1, 9), kind=st.sampled_from(["I", "II", "III", "IV", "1", "", "i"])
)
def test_every_wrong_option_has_its_problem(speed: float, tracks: int, kind: str) -> None:
    wrong = {
        "--tape-speed": not any(abs(speed / one - 1.0) <= 0.01 for one in SPEEDS_M_PER_S),
        "--tracks": tracks not in (2, 4),
        "--type": kind not in ("I", "II"),
    }
    if not any(wrong.values()):
        assert planned_sequence(speed, tracks, kind).tracks == tracks
        return
    with pytest.raises(InputAtFaultError) as refused:
        planned_sequence(speed, tracks, kind)
    assert {one.where for one in refused.value.problems} == {name for name, is_wrong in wrong.items() if is_wrong}


@pytest.mark.parametrize("speed_cm_s", [4.75, 4.76, 4.7625, 9.5, 9.53])
def test_both_ways_of_writing_a_speed_are_meant(speed_cm_s: float) -> None:
    assert planned_sequence(speed_cm_s / 100.0).tape_speed_m_s == min(
        SPEEDS_M_PER_S, key=lambda s: abs(100 * s - speed_cm_s)
    )


@pytest.mark.parametrize(
    ("name", "rate_hz", "said"),
    [
        ("t.wav", 44099, "--rate"),
        ("t.wav", 96001, "--rate"),
        ("t.flac", 48000, "does not end in .wav"),
        ("none/t.wav", 48000, "is not there"),
        ("real.wav", 48000, "may be a recording"),
        ("other.wav", 48000, "is no test sequence"),
        ("folder.wav", 48000, "is a folder"),
    ],
)
def test_what_cannot_be_written_is_refused_and_nothing_is_touched(
    tmp_path: Path, name: str, rate_hz: int, said: str
) -> None:
    (tmp_path / "real.wav").write_bytes(b"a recording")
    (tmp_path / "other.json").write_text('{"simulated": true}', "utf-8")
    (tmp_path / "folder.wav").mkdir()
    before = {one.name for one in tmp_path.iterdir()}
    with pytest.raises(InputAtFaultError) as refused:
        write_sequence(short(), tmp_path / name, rate_hz)
    (problem,) = refused.value.problems
    assert said in str(problem)
    assert {one.name for one in tmp_path.iterdir()} == before
    assert (tmp_path / "real.wav").read_bytes() == b"a recording"


@pytest.mark.parametrize("sequence", EVERY[:3], ids=lambda one: one.name)
def test_the_sheet_names_every_section_and_where_to_erase(sequence: Sequence) -> None:
    sheet = sequence_sheet(sequence, REFERENCE_DBFS, "t.wav")
    assert [row[0] for row in sheet.rows] == [clock(one.start_s) for one in sequence.sections]
    text, page = sequence_text(sheet), sequence_page(sheet)
    erased = sequence.sections[-1]
    last_mark = marks_of(sequence)[-1]
    assert last_mark.end_s < erased.start_s - 5.0, "what is erased by a hand that is early is silence"
    for shown in (text, page):
        assert clock(erased.start_s) in shown
        assert clock(erased.start_s - 5.0) in shown
        assert "Caution" in shown
        assert sequence.name in shown
    assert max(map(len, text.splitlines())) <= 100
    assert "<script" not in page
    assert "http:" not in page.replace("http-equiv", "")
    assert page.count("<tr>") == len(sequence.sections) + 1


def test_silence_and_azimuth_stand_on_the_sheet_as_they_are() -> None:
    sequence = planned_sequence()
    rows = dict(zip(sequence.sections, sequence_sheet(sequence, -14.0).rows, strict=True))
    (silence,) = (row for section, row in rows.items() if section.kind == SILENCE)
    assert silence[3:] == ("", "", "none")
    assert [row[3] for section, row in rows.items() if section.kind == AZIMUTH] == [f"{hz:g} Hz" for hz in AZIMUTH_HZ]
