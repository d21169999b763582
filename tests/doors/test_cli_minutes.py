"""Guided minutes that nobody recorded, as a script meets them."""

import json
from pathlib import Path

import pytest
import soundfile

from tests.doors.test_cli import refused, run_json


@pytest.mark.slow
def test_a_minute_is_played_with_its_truth(tmp_path: Path) -> None:
    out = tmp_path / "heard.wav"
    shown = run_json("simulate", "one_motor_portable", "--minute", "--fault", "capstan_motor=dead", "--out", out)
    assert shown == json.loads(out.with_suffix(".json").read_text("utf-8"))
    assert shown["motors"] == []
    assert shown["simulated"] is True
    assert abs(soundfile.info(out).duration - shown["duration_s"]) < 0.01


def test_a_room_that_there_is_not_is_refused(tmp_path: Path) -> None:
    out = tmp_path / "heard.wav"
    assert "--room" in refused("simulate", "one_motor_portable", "--minute", "--room", "cellar", "--out", out)
    assert not out.exists()
