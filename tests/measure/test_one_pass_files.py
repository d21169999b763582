"""One pass from a file: the written sequence through a deck of known faults; and real recordings, which hold none."""

import math
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from tapewright.measure.audio import BLOCK_FRAMES, open_recording, sound_blocks
from tapewright.measure.hum_lines import hum_lines
from tapewright.measure.levels import section_levels
from tapewright.measure.one_pass import read_one_pass
from tapewright.measure.sequence_plan import planned_sequence
from tapewright.measure.sequence_writing import write_sequence
from tapewright.measure.weighted_noise import a_weighted_noise, quasi_peak_noise

Values = NDArray[np.float64]
RATE_HZ = 44100
GAINS_DB = (-3.0, -5.0)
LATE_S = 20e-6
"""3.64 minutes of arc between tracks 0.9 mm apart at 4.76 cm/s: atan(v t / d), closed form."""
CUBE = 0.6
SPACING_M = 0.4e-6


def through_a_deck(clean: Values) -> Values:
    """Bend, dull, delay and turn over what is on the tape, and add hum and noise; by the spectrum of the whole file."""
    bent = clean - CUBE * clean**3
    hz = np.fft.rfftfreq(len(clean), 1.0 / RATE_HZ)
    dull = np.exp(-2.0 * np.pi * SPACING_M * hz / 0.047625)
    late = np.exp(-2j * np.pi * hz * LATE_S)
    tracks = [np.fft.irfft(np.fft.rfft(bent[:, k]) * dull * (late if k else 1.0), len(clean)) for k in (0, 1)]
    draw = np.random.default_rng(1)
    hum = 2e-4 * np.cos(2.0 * np.pi * 50.0 * np.arange(len(clean)) / RATE_HZ)
    noise = 3e-4 * draw.standard_normal((len(clean), 2))
    first, second = (10.0 ** (gain / 20.0) for gain in GAINS_DB)
    return np.array([-second * tracks[1] + hum, first * tracks[0]]).T + noise


@pytest.mark.slow
def test_a_written_sequence_through_a_deck(tmp_path: Path) -> None:
    """Oracle: what the deck above does. Channels are crossed over, one of them is turned over, nothing was erased."""
    written, captured = tmp_path / "sequence.wav", tmp_path / "capture.wav"
    write_sequence(planned_sequence(tracks=2), written, RATE_HZ)
    clean, _ = soundfile.read(str(written), always_2d=True)
    soundfile.write(str(captured), through_a_deck(clean), RATE_HZ, subtype="PCM_24")
    found = read_one_pass(captured)
    assert found is not None
    wanted = math.atan(0.047625 * LATE_S / 0.9e-3) / math.radians(1.0 / 60.0)
    assert found.azimuth_arcmin.value == pytest.approx(wanted, abs=0.02)
    one, two = found.tracks
    assert (one.inverted, two.inverted) == (False, True)
    assert (two.level_db.value or 0.0) - (one.level_db.value or 0.0) == pytest.approx(-2.0, abs=0.02)
    for track, gain_db in zip(found.tracks, GAINS_DB, strict=True):
        peak = 10.0 ** (-14.0 / 20.0)
        left = 1.0 - 0.75 * CUBE * peak**2
        dull_db = 40.0 * math.pi * math.log10(math.e) * SPACING_M * 315.0 / 0.047625
        wanted = -14.0 + gain_db + 20.0 * math.log10(left) - dull_db
        assert track.level_db.value == pytest.approx(wanted, abs=0.01), "closed forms of cube and spacing"
        assert track.losses is not None
        assert track.losses.spacing_um.value == pytest.approx(0.4, abs=0.05)
        low, high = track.losses.gap_um.interval or (0.0, 0.0)
        assert low <= 1.0 <= high, "the delay may be one gap's place or a lean: two tracks cannot say"
        assert track.erasure_db.value == pytest.approx(0.0, abs=0.1)
        at_reference = next(each.reading for each in track.third_harmonic if each.level_db == 0.0)
        duller_db = 2.0 * dull_db
        size = 100.0 * CUBE * peak**2 / 4.0 / left * 10.0 ** (-duller_db / 20.0)
        assert at_reference.value == pytest.approx(size, rel=0.03), "closed form of a cube, the spacing taken off"
        assert all(each.reading.value is None for each in track.crosstalk)
    assert two.hum_db[0].value is not None
    assert one.hum_db[0].why_not is not None
    assert any("plays on" in note for note in found.notes)
    assert any("Polarity" in note for note in found.notes)


REAL = [
    "mechanism_sound/cassette_player/hiss.wav",
    "mechanism_sound/cassette_player/rewNoise.wav",
    "programme/sorohanro_-_solo-trumpet-06.hq.ogg",
]


@pytest.mark.parametrize("name", REAL)
def test_real_stereo_recordings_give_what_applies_and_reasons_for_the_rest(shared_data: Path, name: str) -> None:
    """No sequence in it, no test tone to be level; its noise is read, since any sound has some."""
    path = shared_data / name
    assert read_one_pass(path) is None
    recording = open_recording(path)
    sound = np.concatenate([one.copy() for one in sound_blocks(recording, 0, recording.frames, BLOCK_FRAMES)]).astype(
        np.float64
    )
    for reading in a_weighted_noise(sound, recording.rate_hz):
        assert reading.value is not None
        assert -100.0 < reading.value < 0.0
    for peak, plain in zip(
        quasi_peak_noise(sound, recording.rate_hz), a_weighted_noise(sound, recording.rate_hz), strict=True
    ):
        assert (peak.value or 0.0) > (plain.value or 0.0)
    for reading in section_levels(sound, recording.rate_hz, 10000.0):
        assert reading.value is None or (reading.doubt or 0.0) > 0.1
    assert len(hum_lines(sound, recording.rate_hz).total_db) == recording.channels
