"""A simulation goes only where nothing of value stands."""

import json
from pathlib import Path

from tapewright.simulate.place import in_the_way


def put(path: Path, **truth: object) -> None:
    path.with_suffix(".json").write_text(json.dumps({"simulated": True, **truth}), encoding="utf-8")


def test_the_truth_of_another_simulation_is_kept(tmp_path: Path) -> None:
    """A minute's sound and its film like to be called alike; the truth of the first must not be lost."""
    (tmp_path / "minute.wav").write_bytes(b"sound")
    put(tmp_path / "minute.wav", file="minute.wav")
    (standing,) = in_the_way(tmp_path / "minute.mp4", "film")
    assert standing.where == str(tmp_path / "minute.json")
    assert standing.found == "is the truth of minute.wav, which stands there too."


def test_the_same_simulation_may_be_written_anew(tmp_path: Path) -> None:
    (tmp_path / "minute.wav").write_bytes(b"sound")
    put(tmp_path / "minute.wav", file="minute.wav")
    assert in_the_way(tmp_path / "minute.wav", "recording") == []


def test_a_truth_whose_recording_is_gone_gives_way(tmp_path: Path) -> None:
    put(tmp_path / "minute.wav", file="minute.wav")
    assert in_the_way(tmp_path / "minute.mp4", "film") == []
