"""Slow speed change from hum and from steady notes: right where it is given, and refused where nothing tells the tape.

Oracle: the speed curve itself. Hum and notes are sounded in closed form at the time the tape has then reached.
"""

import json
import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from tapewright.cli import main
from tapewright.measure import hum_frames, without_tone
from tapewright.measure.hum_frames import SLOPE_NOISE, harmonics, hum_frame
from tapewright.measure.hum_speed import shared_noise
from tapewright.measure.overlapping import OverlappingFrames
from tapewright.measure.slow_speed import SlowSpeed, drift_weights
from tapewright.measure.without_tone import measure_without_tone
from tapewright.show.without_tone_text import without_tone_text
from tapewright.words.problem import InputAtFaultError
from tests.measure import made, refusals, untoned
from tests.measure.untoned import RATE_HZ, Tape

OVER_S = 1.0
Samples = NDArray[np.float64]


@dataclass(frozen=True)
class Outcome:
    """Errors in halves of the 95 % interval: of each value, of the drift, and of the speed where it is given."""

    values: Samples
    drift: float
    speed: float | None


def saved(path: Path, samples: Samples) -> Path:
    return made.saved(path, 0.5 * samples / float(np.max(np.abs(samples))), RATE_HZ)


def with_hum(draw: np.random.Generator) -> tuple[Tape, Samples]:
    """Half a minute to a minute and a half of 50 or 60 Hz hum on the tape, under hiss, in half of them under music."""
    seconds, nominal_hz = float(draw.uniform(30.0, 90.0)), float(draw.choice([50.0, 60.0]))
    offset, error = draw.uniform(-3e-3, 3e-3), draw.uniform(-0.02, 0.02)
    tape = untoned.played(seconds, untoned.slow_curve(draw, seconds, error))
    sound = untoned.hum(untoned.mains_phase(tape.recorded_s, nominal_hz, draw, offset), draw)
    sound = sound + 0.003 * 10.0 ** draw.uniform(-1.0, 0.5) * draw.standard_normal(len(sound))
    music = 0.1 * untoned.sounded(tape, untoned.ensemble(draw, seconds, 2), draw)
    return tape, sound + float(draw.integers(2)) * music


def with_notes(draw: np.random.Generator) -> tuple[Tape, Samples]:
    """Four to six parts on a tempered scale, each note up to one cent off, one sigma; half a minute to a minute."""
    seconds = float(draw.uniform(30.0, 60.0))
    tape = untoned.played(seconds, untoned.slow_curve(draw, seconds, draw.uniform(-0.02, 0.02)))
    notes = untoned.ensemble(draw, 1.03 * seconds, int(draw.integers(4, 7)), draw.uniform(1e-4, 6e-4))
    return tape, untoned.noisy(untoned.sounded(tape, notes, draw), draw.uniform(30.0, 50.0), draw)


def outcome(found: SlowSpeed, tape: Tape) -> Outcome | None:
    if found.trace is None:
        return None
    times, inside = found.trace.times_s, np.isfinite(found.trace.values)
    inside &= (times >= OVER_S / 2.0) & (times <= tape.times_s[-1] - OVER_S / 2.0)
    truth = tape.at(times[inside], OVER_S)
    off = np.log1p(found.trace.values[inside]) - truth
    drift, speed = found.drift_pct, found.speed_error_pct
    assert drift.value is not None
    assert drift.doubt is not None
    true_drift = 100.0 * float(drift_weights(times[inside]) @ truth)
    mean_pct = 100.0 * float(np.expm1(truth.mean()))
    return Outcome(
        (off - off.mean()) / found.doubt[inside],
        (drift.value - true_drift) / drift.doubt,
        None if speed.value is None else (speed.value - mean_pct) / (speed.doubt or 1.0),
    )


def outcomes(
    folder: Path, make: Callable[[np.random.Generator], tuple[Tape, Samples]], source: str, seeds: range
) -> list[Outcome | None]:
    found = []
    for seed in seeds:
        tape, sound = make(np.random.default_rng(seed))
        (channel,) = measure_without_tone(saved(folder / "t.wav", sound))
        found.append(outcome(getattr(channel, source), tape))
    return found


def held(found: list[Outcome | None]) -> tuple[int, float, float]:
    """Give how many were read, and the shares of values and of drifts that lie within their doubt."""
    read = [one for one in found if one is not None]
    values = float(np.mean(np.abs(np.concatenate([one.values for one in read])) < 1.0))
    drifts = float(np.mean([abs(one.drift) < 1.0 for one in read]))
    print(f"{len(read)} of {len(found)} read; within their doubt: {values:.3f} of values, {drifts:.3f} of drifts")
    return len(read), values, drifts


@pytest.mark.parametrize(("make", "source"), [(with_hum, "hum"), (with_notes, "programme")])
def test_slow_change_is_what_the_curve_says(
    tmp_path: Path, make: Callable[[np.random.Generator], tuple[Tape, Samples]], source: str
) -> None:
    read, values, drifts = held(outcomes(tmp_path, make, source, range(1002, 1003)))
    assert read == 1
    assert values > 0.8
    assert drifts == 1.0


@pytest.mark.slow
def test_thirty_two_with_hum(tmp_path: Path) -> None:
    """Doubts hold what they promise, and are small enough to tell a failing belt: drift to a twentieth of a percent."""
    found = outcomes(tmp_path, with_hum, "hum", range(100, 132))
    read, values, drifts = held(found)
    assert read >= 28
    assert 0.93 <= values <= 0.99
    assert drifts >= 0.93
    assert all(abs(one.speed) < 1.0 for one in found if one is not None and one.speed is not None)


@pytest.mark.slow
def test_thirty_two_with_notes(tmp_path: Path) -> None:
    read, values, drifts = held(outcomes(tmp_path, with_notes, "programme", range(100, 132)))
    assert read >= 28
    assert 0.93 <= values <= 0.99
    assert drifts >= 0.93


def numbers_from(folder: Path, seeds: range) -> list[str]:
    """Give what was wrongly read, each with its kind and seed."""
    wrong = []
    for seed in seeds:
        kind = refusals.KINDS[seed % len(refusals.KINDS)]
        sound = kind(np.random.default_rng(seed))
        path = folder / "t.wav"
        (channel,) = measure_without_tone(
            made.saved(path, sound, RATE_HZ) if kind is refusals.silence else saved(path, sound)
        )
        for found in (channel.hum, channel.programme):
            if found.trace is not None or found.drift_pct.value is not None or found.speed_error_pct.value is not None:
                wrong.append(f"{kind.__name__} {seed}, {found.source}: {found.drift_pct}")
            assert len(found.drift_pct.why_not or "") > 20 or found.trace is not None
    return wrong


def test_two_that_tell_nothing(tmp_path: Path) -> None:
    assert numbers_from(tmp_path, range(7, 9)) == []


@pytest.mark.slow
def test_a_hundred_and_five_that_tell_nothing(tmp_path: Path) -> None:
    """Noise, silence, voices, birds, data, lone players, unsteady choirs, plucked strings, slides, hum that stands
    still, hums that disagree, walking basses, drones, motors, weak hum: seven of each."""
    assert numbers_from(tmp_path, range(105)) == []


@pytest.mark.slow
def test_real_sounds_that_are_no_tape_tell_nothing(shared_data: Path, tmp_path: Path) -> None:
    """Music, speech, birds, whales, mechanisms, data: none from tape, none with notes or hum that would do."""
    seen = 0
    for folder in ("programme", "mechanism_sound", "not_tape", "tape_tone"):
        for path in sorted((shared_data / folder).rglob("*")):
            sound = path
            if path.suffix == ".raw":
                sound = tmp_path / "t.wav"
                soundfile.write(str(sound), np.frombuffer(path.read_bytes(), "<i2"), 44100)
            elif path.suffix not in {".wav", ".ogg"}:
                continue
            for channel in measure_without_tone(sound):
                assert channel.hum.drift_pct.value is None, path.name
                assert channel.programme.drift_pct.value is None, path.name
            seen += 1
    assert seen > 30


def test_hum_at_playback_is_told_from_hum_on_the_tape(tmp_path: Path) -> None:
    """Both at once: the one that moves is read, the other is named."""
    draw = np.random.default_rng(7)
    tape = untoned.played(30.0, untoned.slow_curve(draw, 30.0, 0.015))
    on_tape = untoned.hum(untoned.mains_phase(tape.recorded_s, 50.0, draw, 0.0), draw)
    at_playback = untoned.hum(untoned.mains_phase(tape.times_s, 50.0, draw, 0.0), draw, level=0.01)
    sound = on_tape + at_playback + 1e-3 * draw.standard_normal(len(on_tape))
    (channel,) = measure_without_tone(saved(tmp_path / "t.wav", sound))
    found = outcome(channel.hum, tape)
    assert found is not None, channel.hum.drift_pct.why_not
    assert abs(found.drift) < 1.0
    assert found.speed is not None
    assert abs(found.speed) < 1.0
    assert any("came in at playback" in note for note in channel.hum.notes)


def test_a_steady_wrong_speed_is_read_only_where_the_mains_are_told(tmp_path: Path) -> None:
    draw = np.random.default_rng(3)
    tape = untoned.played(30.0, lambda t: np.full(len(t), 0.02))
    sound = untoned.hum(untoned.mains_phase(tape.recorded_s, 50.0, draw, 0.0), draw)
    path = saved(tmp_path / "t.wav", sound + 1e-3 * draw.standard_normal(len(sound)))
    (unasked,), (told,) = measure_without_tone(path), measure_without_tone(path, 50.0)
    assert "--mains" in (unasked.hum.drift_pct.why_not or "")
    assert told.hum.speed_error_pct.value == pytest.approx(2.0, abs=0.36)
    assert told.hum.speed_error_pct.doubt == pytest.approx(0.36, abs=0.05)  # the corridor's long-term limit


@pytest.mark.slow
def test_hums_that_cross_are_told_apart_or_refused(tmp_path: Path) -> None:
    """Twelve tapes whose hum passes through that of playback, weaker or stronger."""
    for seed in range(12):
        draw = np.random.default_rng(seed)
        tape = untoned.played(40.0, untoned.slow_curve(draw, 40.0, draw.uniform(-0.01, 0.01), 2.0))
        on_tape = untoned.hum(untoned.mains_phase(tape.recorded_s, 50.0, draw, 0.0), draw)
        turns = untoned.mains_phase(tape.times_s, 50.0, draw, 0.0)
        at_playback = untoned.hum(turns, draw, level=draw.uniform(0.005, 0.03))
        sound = on_tape + at_playback + 1e-3 * draw.standard_normal(len(on_tape))
        (channel,) = measure_without_tone(saved(tmp_path / "t.wav", sound))
        found = outcome(channel.hum, tape)
        assert found is None or (abs(found.drift) < 1.2 and float(np.abs(found.values).max()) < 2.5), seed


@pytest.mark.parametrize(("seconds", "said"), [(8.0, "20 s are needed"), (19.0, "20 s are needed")])
def test_too_short(tmp_path: Path, seconds: float, said: str) -> None:
    sound = np.sin(2.0 * np.pi * 50.0 * np.arange(int(seconds * RATE_HZ)) / RATE_HZ)
    (channel,) = measure_without_tone(saved(tmp_path / "t.wav", sound))
    for found in (channel.hum, channel.programme):
        assert said in (found.drift_pct.why_not or "")


def test_a_mains_frequency_that_is_none(tmp_path: Path) -> None:
    with pytest.raises(InputAtFaultError, match="mains"):
        measure_without_tone(tmp_path / "t.wav", 400.0)


@given(length=st.integers(1, 40), hop=st.integers(1, 60), cuts=st.lists(st.integers(1, 90), min_size=1, max_size=8))
def test_frames_are_cut_the_same_however_the_blocks_come(length: int, hop: int, cuts: list[int]) -> None:
    """Oracle: slices of the whole."""
    whole = np.arange(sum(cuts), dtype=np.float32)[None]
    frames = OverlappingFrames(length, hop)
    found = [
        (at, frame[0].tolist())
        for piece in np.split(whole, np.cumsum(cuts)[:-1], axis=1)
        for at, frame in frames.add(piece)
    ]
    starts = range(0, whole.shape[1] - length + 1, hop)
    assert found == [(at, whole[0, at : at + length].tolist()) for at in starts]


def test_a_harmonic_scatters_in_noise_as_the_closed_form_says() -> None:
    """Oracle: two hundred draws. The same for the noise that frames half a frame apart share."""
    rate, seconds, sd = 2000.0, hum_frames.FRAME_S, 0.1
    draw = np.random.default_rng(1)
    times = np.arange(int(1.5 * seconds * rate)) / rate
    comb = np.sum([np.sin(2.0 * np.pi * 50.0 * order * times + order) for order in range(1, 10)], axis=0)
    hz = []
    for _ in range(200):
        sound = (comb + sd * draw.standard_normal(len(times))).astype(np.float32)
        half = int(0.5 * seconds * rate)
        pair = [harmonics(hum_frame(sound[at : at + 2 * half], rate, 800.0), 50.0) for at in (0, half)]
        hz.append([6.0 * float(one[0, 5]) for one in pair])
    both = np.array(hz)
    peak_over_noise = (rate * seconds / 4.0) ** 2 / (sd**2 * rate * seconds * 3.0 / 8.0)
    wanted = np.sqrt(SLOPE_NOISE / peak_over_noise) / seconds
    assert both.std() == pytest.approx(wanted, rel=0.12)
    assert both.mean() == pytest.approx(300.0, abs=4.0 * wanted / np.sqrt(200.0))
    assert np.corrcoef(both.T)[0, 1] == pytest.approx(float(shared_noise(np.array(seconds / 2.0))), abs=0.15)


def test_memory_is_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With the bounds set low, four times the length costs no more."""
    monkeypatch.setattr(without_tone, "MOST_FRAMES", 20)
    monkeypatch.setattr(without_tone, "PROGRAMME_S", 10.0)
    peaks = []
    for number, seconds in enumerate((30.0, 30.0, 120.0)):  # the first loads what is loaded once
        sound = np.random.default_rng(number).standard_normal(int(seconds * 4000.0))
        soundfile.write(str(tmp_path / "t.wav"), 0.1 * sound, 4000, subtype="PCM_16")
        tracemalloc.start()
        measure_without_tone(tmp_path / "t.wav")
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[2] < 1.2 * peaks[1]


def printed(capsys: pytest.CaptureFixture[str], *arguments: str) -> Any:
    with pytest.raises(SystemExit) as left:
        main(arguments)
    assert left.value.code == 0
    return json.loads(capsys.readouterr().out)


def test_the_command_gives_it_on_request_only(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Under its own heading and grade; the ordinary readings of the same file stay refused."""
    draw = np.random.default_rng(5)
    tape = untoned.played(24.0, untoned.slow_curve(draw, 24.0, 0.01))
    path = saved(tmp_path / "t.wav", untoned.hum(untoned.mains_phase(tape.recorded_s, 60.0, draw, 0.0), draw))
    plain, asked = (printed(capsys, "measure", str(path), *more, "--json") for more in ((), ("--without-tone",)))
    assert "without_tone" not in plain
    assert asked["channels"] == plain["channels"]
    assert plain["channels"][0]["drift_pct"]["value"] is None
    with pytest.raises(SystemExit) as left:
        main(("measure", str(path), "--mains", "60"))
    assert left.value.code == 2
    assert "--without-tone" in capsys.readouterr().err
    (channel,) = asked["without_tone"]
    assert channel["hum"]["grade"] == "estimate"
    assert channel["hum"]["drift_pct"]["value"] is not None
    assert len(channel["hum"]["course"]) > 20
    text = without_tone_text(measure_without_tone(path))
    assert "Lower grade" in text
    assert max(map(len, text.splitlines())) <= 100
