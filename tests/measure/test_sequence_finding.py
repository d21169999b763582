"""A test sequence, played by decks of every kind and found again.

Oracle: round trip. The time on the tape is known in closed form for every sample of the capture, so where each section
stands and how fast it runs is known exactly (`tests.measure.played`).
"""

import contextlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from tapewright.measure.audio import open_recording
from tapewright.measure.sequence_finding import FoundSequence, find_sequence, section_samples
from tapewright.measure.sequence_plan import SPEEDS_M_PER_S, TRACKS, TYPES, planned_sequence
from tapewright.measure.sequence_sweeps import SweepSearch
from tapewright.words.problem import InputAtFaultError
from tapewright.words.sequence import CROSSTALK, ERASURE, LEVEL, MARK, SPEED, Sequence
from tests.measure import made
from tests.measure.played import RATE_HZ, Deck, Samples, Wobble, noisy, played, saved
from tests.measure.test_no_number import KINDS
from tests.measure.test_no_number import RATE_HZ as PROGRAMME_HZ

FLUTTER = (Wobble(0.5, 0.002), Wobble(4.0, 0.002), Wobble(12.0, 0.001))
START_S = 0.002
RATIO = 5e-4


@pytest.fixture(scope="module")
def two_tracks() -> Sequence:
    return planned_sequence(tracks=2)


def found(path: Path, sound: Samples, rate_hz: int = RATE_HZ) -> FoundSequence:
    there = find_sequence(saved(path / "capture.wav", sound, rate_hz))
    assert there is not None
    return there


def worst_start_s(there: FoundSequence, deck: Deck, after_s: float = 0.0, moved_s: float = 0.0) -> float:
    """Give how far the start of any section is out; what lies after a time on the tape stands later in the file."""
    out = [
        one.start_s - deck.file_s(one.section.start_s) - (moved_s if one.section.start_s >= after_s else 0.0)
        for one in there.sections
    ]
    return float(np.max(np.abs(out)))


def test_a_speed_that_changes_is_no_cut(tmp_path: Path, two_tracks: Sequence) -> None:
    """Three percent from beginning to end, five times what any tape machine may."""
    deck = Deck(1.0, FLUTTER, drift=0.03)
    there = found(tmp_path, noisy(played(two_tracks, deck), 20.0, np.random.default_rng(11)))
    assert there.missing == ()
    assert [note for note in there.notes if "missing" in note or "put in" in note] == []
    assert any("differs" in note for note in there.notes)
    assert worst_start_s(there, deck) < 2.0 * START_S


def true_ratio(sequence: Sequence, deck: Deck) -> float:
    """Give the mean speed between the first mark and the last."""
    marks = [one.start_s for one in sequence.sections if one.kind == MARK]
    return (marks[-1] - marks[0]) / (deck.file_s(marks[-1]) - deck.file_s(marks[0]))


@pytest.mark.parametrize(
    "deck",
    [
        Deck(1.1, FLUTTER),
        pytest.param(Deck(), marks=pytest.mark.slow),
        pytest.param(Deck(0.9, FLUTTER), marks=pytest.mark.slow),
        pytest.param(Deck(1.03, FLUTTER, drift=0.004), marks=pytest.mark.slow),
    ],
    ids=["10 % fast", "as it should", "10 % slow", "drifting"],
)
def test_found_with_flutter_and_noise(tmp_path: Path, two_tracks: Sequence, deck: Deck) -> None:
    sound = noisy(played(two_tracks, deck), 20.0, np.random.default_rng(3))
    there = found(tmp_path, sound)
    assert there.sequence == two_tracks
    assert there.missing == ()
    assert [one.section for one in there.sections] == list(two_tracks.sections)
    assert there.channel_of_track == (0, 1)
    assert there.polarity == (1, 1)
    assert there.notes == ()
    assert worst_start_s(there, deck) < START_S
    assert there.speed_ratio == pytest.approx(true_ratio(two_tracks, deck), rel=RATIO)


@pytest.mark.slow
def test_found_where_noise_is_as_loud_as_the_tone(tmp_path: Path, two_tracks: Sequence) -> None:
    deck = Deck(0.95, FLUTTER)
    there = found(tmp_path, noisy(played(two_tracks, deck), 0.0, np.random.default_rng(4)))
    assert worst_start_s(there, deck) < START_S
    assert there.missing == ()


def test_channels_in_any_order_and_turned_over(tmp_path: Path) -> None:
    sequence, deck = planned_sequence(SPEEDS_M_PER_S[1], 4, "II"), Deck(1.02, FLUTTER, ends_s=30.0)
    sound = played(sequence, deck)
    tracks = [2, 0, 3, 1]
    there = found(tmp_path, sound[:, tracks] * [1.0, -1.0, 1.0, -1.0])
    assert there.sequence == sequence
    assert there.channel_of_track == (1, 3, 0, 2)
    assert there.polarity == (-1, -1, 1, 1)
    recording = open_recording(tmp_path / "capture.wav")
    level = next(one for one in there.sections if one.section.kind == LEVEL)
    first = round(level.start_s * RATE_HZ)
    given_back = section_samples(recording, level)
    expected = sound[first : first + len(given_back)] * [-1.0, -1.0, 1.0, 1.0]
    assert given_back == pytest.approx(expected, abs=2.0**-22)


def test_a_silent_channel_and_a_leaning_head(tmp_path: Path) -> None:
    """The outer tracks of a cassette, 3.21 mm apart, one degree out: 1.18 ms (closed form, at 4.76 cm/s)."""
    lean = 3.21e-3 * np.tan(np.radians(1.0)) / 0.047625
    deck = Deck(0.97, FLUTTER, ends_s=30.0, azimuth_s=(0.0, 0.0, 0.0, float(lean)))
    sound = noisy(played(planned_sequence(), deck), 20.0, np.random.default_rng(5))
    sound[:, 1] = 0.0
    there = found(tmp_path, sound)
    assert there.channel_of_track == (0, None, 2, 3)
    assert there.polarity == (1, 0, 1, 1)
    assert there.notes == ("Channel 2 holds none of the marks.",)
    assert worst_start_s(there, deck) < START_S
    silent = section_samples(open_recording(tmp_path / "capture.wav"), there.sections[1])
    assert np.all(silent[:, 1] == 0.0)
    assert np.all(np.std(silent[:, [0, 2, 3]], axis=0) > 0.01)


@pytest.mark.slow
@pytest.mark.parametrize("begins_s", [10.0, 30.5, 50.0, 95.0])
def test_the_beginning_cut_off(tmp_path: Path, two_tracks: Sequence, begins_s: float) -> None:
    deck = Deck(1.05, FLUTTER, begins_s=begins_s)
    there = found(tmp_path, noisy(played(two_tracks, deck), 20.0, np.random.default_rng(6)))
    assert {one.start_s for one in there.missing} == {
        one.start_s for one in two_tracks.sections if one.start_s < begins_s
    }
    assert worst_start_s(there, deck) < START_S


def test_a_beginning_that_was_not_recorded_is_not_called_found(tmp_path: Path, two_tracks: Sequence) -> None:
    """The recorder ran all along, the tape came late: silence stands where the first sections should."""
    sound = played(two_tracks, Deck(ends_s=70.0))
    sound[: round(30.0 * RATE_HZ)] = 0.0
    there = found(tmp_path, noisy(sound, 40.0, np.random.default_rng(6)))
    assert min(one.section.start_s for one in there.sections) >= 30.0
    assert worst_start_s(there, Deck()) < START_S


@pytest.mark.parametrize(
    ("from_s", "to_s"),
    [(50.0, 57.3), *(pytest.param(*cut, marks=pytest.mark.slow) for cut in ((20.0, 21.5), (84.0, 120.0)))],
)
def test_a_piece_cut_out(tmp_path: Path, two_tracks: Sequence, from_s: float, to_s: float) -> None:
    sound = noisy(played(two_tracks, Deck(wobbles=FLUTTER)), 20.0, np.random.default_rng(7))
    left, right = round(from_s * RATE_HZ), round(to_s * RATE_HZ)
    there = found(tmp_path, np.concatenate([sound[:left], sound[right:]]))
    touched = [one for one in two_tracks.sections if one.start_s < to_s and one.end_s > from_s]
    lost = {one.start_s for one in there.missing}
    assert {one.start_s for one in touched} <= lost
    assert len(lost) <= len(touched) + 2, "no more than its neighbours are given up with it"
    assert worst_start_s(there, Deck(wobbles=FLUTTER), to_s, from_s - to_s) < START_S
    assert any("missing" in note for note in there.notes)


@pytest.mark.slow
def test_a_pause_put_in(tmp_path: Path, two_tracks: Sequence) -> None:
    sound = played(two_tracks, Deck())
    at = round(60.0 * RATE_HZ)
    there = found(tmp_path, np.concatenate([sound[:at], np.zeros((3 * RATE_HZ, 2)), sound[at:]]))
    assert worst_start_s(there, Deck(), 60.0, 3.0) < START_S
    assert len(there.missing) <= 2
    assert any("put in" in note for note in there.notes)


def test_one_mark_alone(tmp_path: Path, two_tracks: Sequence) -> None:
    deck = Deck(1.04, FLUTTER, begins_s=20.0, ends_s=40.0)
    there = found(tmp_path, noisy(played(two_tracks, deck), 20.0, np.random.default_rng(8)))
    assert there.speed_ratio == pytest.approx(1.04, rel=RATIO)
    assert any("one mark" in note and "tones beside it" in note for note in there.notes)
    assert worst_start_s(there, deck) < 2.0 * START_S


def test_one_mark_and_nothing_else(tmp_path: Path, two_tracks: Sequence) -> None:
    deck = Deck(1.04, FLUTTER, begins_s=43.0, ends_s=45.6)
    there = found(tmp_path, noisy(played(two_tracks, deck), 20.0, np.random.default_rng(8)))
    assert [one.section.kind for one in there.sections] == [MARK]
    assert there.speed_ratio == pytest.approx(1.04, rel=3e-3)
    assert any("on it alone" in note for note in there.notes)


@pytest.mark.slow
def test_of_two_passes_the_more_complete_one(tmp_path: Path, two_tracks: Sequence) -> None:
    sound = played(two_tracks, Deck())
    first = sound[: 50 * RATE_HZ]
    there = found(tmp_path, np.concatenate([first, sound]))
    assert there.missing == ()
    assert there.sections[0].start_s == pytest.approx(51.0, abs=START_S)
    assert any("2 times" in note for note in there.notes)


def test_tracks_mixed_into_one_channel_are_found_and_none_of_them_is_named(
    tmp_path: Path, two_tracks: Sequence
) -> None:
    there = found(tmp_path, played(two_tracks, Deck(ends_s=30.0)).mean(axis=1, keepdims=True))
    assert there.channel_of_track == (None, None)
    assert any("several tracks" in note for note in there.notes)


@pytest.mark.slow
def test_lost_treble_and_lost_bass(tmp_path: Path, two_tracks: Sequence) -> None:
    """Half the sweeps' band is more than 10 dB down; a filter without delay of its own, so that times stay known."""
    band = signal.butter(1, [300.0, 1200.0], "band", fs=RATE_HZ, output="sos")
    sound = signal.sosfiltfilt(band, played(two_tracks, Deck(0.93, ends_s=60.0)), axis=0)
    there = found(tmp_path, noisy(sound, 20.0, np.random.default_rng(9)))
    assert worst_start_s(there, Deck(0.93)) < START_S


def clipped(sound: Samples, _: np.random.Generator) -> Samples:
    return np.clip(12.0 * sound, -1.0, 1.0)


def hummed(sound: Samples, _: np.random.Generator) -> Samples:
    return sound + 0.3 * np.sin(2.0 * np.pi * 50.0 * np.arange(len(sound)) / RATE_HZ)[:, None]


def quiet(sound: Samples, _: np.random.Generator) -> Samples:
    return np.asarray(np.round(sound * 0.003 * 2.0**15) / 2.0**15)


def dropped_out(sound: Samples, draw: np.random.Generator) -> Samples:
    """Each track by itself is 34 dB down for a fifth of the time, 150 ms at once."""
    gain = np.ones_like(sound)
    for track in range(sound.shape[1]):
        for first in draw.integers(0, len(sound), int(len(sound) / RATE_HZ / 0.75)):
            gain[first : first + int(0.15 * RATE_HZ), track] = 0.02
    return sound * gain


def clicked(sound: Samples, draw: np.random.Generator) -> Samples:
    clicks = np.zeros_like(sound)
    clicks[draw.integers(0, len(sound), 27 * len(sound) // RATE_HZ)] = 0.9
    return sound + clicks


def turned(sound: Samples, _: np.random.Generator) -> Samples:
    """Phases of 500 and 1000 Hz turned far from each other, levels kept: no polarity is told then."""
    return np.asarray(signal.lfilter([-0.8, 1.0], [1.0, -0.8], sound, axis=0))


@pytest.mark.slow
@pytest.mark.parametrize("spoil", [clipped, hummed, quiet, dropped_out, clicked, turned], ids=lambda one: one.__name__)
def test_spoilt_captures(
    tmp_path: Path, two_tracks: Sequence, spoil: Callable[[Samples, np.random.Generator], Samples]
) -> None:
    """Clipped by 20 dB and more, hum over all, 16 bit at 50 dB down, dropouts, clicks, phase."""
    deck = Deck(1.02, FLUTTER)
    there = found(tmp_path, spoil(played(two_tracks, deck), np.random.default_rng(12)))
    assert there.channel_of_track == (0, 1)
    assert there.missing == ()
    assert worst_start_s(there, deck) < START_S
    assert there.speed_ratio == pytest.approx(true_ratio(two_tracks, deck), rel=RATIO)
    assert -1 not in there.polarity


@pytest.mark.parametrize("variant", [(s, t, k) for s in SPEEDS_M_PER_S for t in TRACKS for k in TYPES], ids=str)
def test_which_sequence_it_is(tmp_path: Path, variant: tuple[float, int, str]) -> None:
    sequence = planned_sequence(*variant)
    there = found(tmp_path, played(sequence, Deck(ends_s=8.0)))
    assert there.sequence == sequence
    assert [one.section.kind for one in there.sections] == [MARK] or there.sections[1].section.kind == SPEED


@pytest.mark.slow
@given(
    speed=st.floats(0.9, 1.1),
    seed=st.integers(0, 2**32 - 1),
    peak=st.floats(0.0, 0.003),
    rate_hz=st.floats(1.0, 30.0),
    tape=st.sampled_from([8000, 11025, 22050]),
)
@settings(max_examples=12, deadline=None)
def test_any_speed_and_any_flutter(
    tmp_path_factory: pytest.TempPathFactory, speed: float, seed: int, peak: float, rate_hz: float, tape: int
) -> None:
    sequence, deck = planned_sequence(tracks=2), Deck(speed, (Wobble(rate_hz, peak),), ends_s=50.0)
    sound = noisy(played(sequence, deck, tape), 20.0, np.random.default_rng(seed))
    there = found(tmp_path_factory.mktemp("deck"), sound, tape)
    assert worst_start_s(there, deck) < START_S
    assert there.speed_ratio == pytest.approx(speed, rel=RATIO)
    assert [one.start_s for one in there.missing] == [one.start_s for one in sequence.sections if one.end_s > 50.0]


@pytest.mark.slow
def test_wow_puts_a_start_out_by_no_more_than_it_moves_the_tape(tmp_path: Path, two_tracks: Sequence) -> None:
    """Closed form: a swing of peak p at f hertz moves the tape by p / (2 pi f), the mark and the section each."""
    wow = Wobble(0.33, 0.005)
    deck = Deck(1.0, (wow, Wobble(4.0, 0.005), Wobble(12.0, 0.003)))
    there = found(tmp_path, noisy(played(two_tracks, deck), 20.0, np.random.default_rng(10)))
    moved_s = sum(one.peak / (2.0 * np.pi * one.rate_hz) for one in deck.wobbles)
    assert 0.001 < worst_start_s(there, deck) < 2.0 * moved_s
    assert there.missing == ()


def false_finds(path: Path, seeds: range) -> list[str]:
    """Give what was wrongly taken for a sequence, with its seed."""
    wrong = []
    for seed in seeds:
        kind = KINDS[seed % len(KINDS)]
        samples = kind(np.random.default_rng(seed))
        samples = samples / max(1e-9, float(np.max(np.abs(samples))))
        if find_sequence(made.saved(path / "t.wav", 0.7 * samples, PROGRAMME_HZ)) is not None:
            wrong.append(f"{kind.__name__} {seed}")
        search = SweepSearch(PROGRAMME_HZ, 1, least=0.2)
        search.add(samples[None].astype(np.float32))
        if any(len(peaks.times_s) for peaks in search.peaks()[0]):
            wrong.append(f"{kind.__name__} {seed} has something like a sweep")
    return wrong


def test_never_found_in_what_is_none(tmp_path: Path) -> None:
    """Oracle: music, speech, birdsong, noise, silence and pulse tapes, made by chance."""
    assert false_finds(tmp_path, range(12)) == []


@pytest.mark.slow
def test_never_found_in_three_hundred_that_are_none(tmp_path: Path) -> None:
    assert false_finds(tmp_path, range(12, 312)) == []


def test_never_found_in_real_recordings(shared_data: Path) -> None:
    """None of them holds a sequence: programme, tape tones, mechanism sounds, odd files."""
    looked = 0
    for path in sorted(shared_data.rglob("*")):
        with contextlib.suppress(InputAtFaultError):
            if path.is_file():
                assert find_sequence(path) is None, path
                looked += 1
    assert looked > 50


def test_never_found_in_tones_and_sweeps(tmp_path: Path) -> None:
    times = np.arange(20 * RATE_HZ) / RATE_HZ
    tone, _ = made.tone(20.0, rate_hz=RATE_HZ)
    slow = signal.chirp(times, 20.0, 20.0, 7900.0, method="logarithmic")
    bursts = np.sin(2.0 * np.pi * 1000.0 * times) * (times % 0.4 < 0.16)
    short = signal.chirp(times % 0.2, 2400.0, 0.16, 600.0, method="hyperbolic")
    for sound in (tone, slow, bursts, signal.square(2.0 * np.pi * 600.0 * times), short):
        assert find_sequence(saved(tmp_path / "t.wav", 0.5 * sound)) is None


def test_too_few_samples_a_second_are_none(tmp_path: Path) -> None:
    soundfile.write(str(tmp_path / "t.wav"), np.sin(np.arange(4000.0)), 4000)
    assert find_sequence(tmp_path / "t.wav") is None


@pytest.mark.slow
def test_every_kind_of_section_is_where_it_should_be(tmp_path: Path, two_tracks: Sequence) -> None:
    """Each section, cut out, holds its own tone and nothing else: the strongest frequency, and the silence beside."""
    there = found(tmp_path, played(two_tracks, Deck()))
    recording = open_recording(tmp_path / "capture.wav")
    for one in there.sections:
        hz = one.section.frequency_hz
        if hz is None or hz > 0.4 * RATE_HZ:
            continue
        cut = section_samples(recording, one)
        power = np.abs(np.fft.rfft(cut * np.hanning(len(cut))[:, None], axis=0)) ** 2
        for track in one.section.tracks:
            strongest = np.argmax(power[:, track - 1]) / len(cut) * RATE_HZ
            assert strongest == pytest.approx(hz, abs=1.5 * RATE_HZ / len(cut))
        if one.section.kind == CROSSTALK:
            silent = [track for track in (1, 2) if track not in one.section.tracks]
            assert np.all(cut[:, [track - 1 for track in silent]] == 0.0)
    assert {one.section.to_be_erased for one in there.sections if one.section.kind == ERASURE} == {True, False}
