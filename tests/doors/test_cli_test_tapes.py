"""Test tapes, clock and limits, as a script meets them."""

from pathlib import Path

import pytest

from tests.doors.test_cli import refused, run, run_json
from tests.measure import made

RATE_HZ = 8000


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    samples, _ = made.tone(9.0, made.rotors_curve((made.Rotor(4.0, 0.3),)), error_pct=1.0, rate_hz=RATE_HZ)
    return made.saved(tmp_path / "t.wav", samples, RATE_HZ)


@pytest.fixture
def register(tmp_path: Path) -> Path:
    path = tmp_path / "ours.toml"
    assert run_json("tapes", "--measuring", path, "--begin")["tapes"] == []
    own = '\n[[tape]]\nname = "one"\nknown = "measured"\nspeed_error_pct = 1.0\nspeed_doubt_pct = 0.1\n'
    path.write_text(path.read_text("utf-8") + own, "utf-8")
    return path


def test_a_tape_is_registered_played_and_counted(recording: Path, register: Path) -> None:
    """Oracle: a tape 1 % high, read 1 % high, says that the machine is right; its doubt is the tape's."""
    shown = run_json("measure", recording, "--test-tape", "one", "--measuring", register)
    channel = shown["channels"][0]
    assert channel["test_tape"] == "one"
    assert channel["speed_error_pct"]["value"] == pytest.approx(0.0, abs=1e-3)
    assert channel["speed_error_pct"]["doubt"] == pytest.approx(0.1 / 1.01, rel=1e-3)
    assert channel["limits"]["speed_error_pct"]["verdict"] == "pass"
    assert channel["limits"]["weighted_peak_pct"]["verdict"] == "within doubt of the limit"  # the tape's own is in it
    assert run_json("tapes", "--measuring", register)["tapes"][0]["passes"] == 1
    assert "one" in run("tapes", "--measuring", register, "--played", "one").stdout
    assert run_json("tapes", "--measuring", register)["tapes"][0]["passes"] == 2


def test_the_clock_is_told_in_parts_in_a_million(recording: Path, register: Path) -> None:
    """Oracle: a clock 1000 ppm fast shows a tone 0.1 % too low: 1.01 * 1.001 is 1.101 % high."""
    shown = run_json("measure", recording, "--clock-ppm", "1000", "--clock-doubt-ppm", "20", "--measuring", register)
    speed = shown["channels"][0]["speed_error_pct"]
    assert speed["value"] == pytest.approx(1.101, abs=1e-3)
    assert speed["doubt"] == pytest.approx(0.002 * 1.011, rel=0.02)
    assert shown["channels"][0]["test_tape"] is None


def test_a_machine_s_own_limit_is_said(recording: Path, register: Path) -> None:
    text = run("measure", recording, "--machine", "four_track", "--measuring", register).stdout
    assert "fail: limit" in " ".join(text.split())
    limits = run_json("measure", recording, "--machine", "four_track", "--measuring", register)["channels"][0]["limits"]
    assert limits["weighted_peak_pct"]["source"] == "the machine's own sheet"


def test_mistakes_get_a_sentence(recording: Path, register: Path) -> None:
    assert "Did you mean one?" in refused("measure", recording, "--test-tape", "onee", "--measuring", register)
    assert "there already" in refused("tapes", "--measuring", register, "--begin")
