"""The test sequence from the command line: written, played by a deck, measured."""

import contextlib
import io
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tapewright.cli.running import DONE, INPUT_AT_FAULT, run
from tapewright.jobs.one_pass import BESIDE_S, one_pass_in
from tapewright.measure.sequence_finding import find_sequence
from tapewright.measure.sequence_plan import planned_sequence
from tapewright.show.one_pass_text import found_text
from tapewright.words.record import Heard
from tapewright.words.sequence import SPEED
from tests.measure import made
from tests.measure.played import Deck, Wobble, noisy, played, saved

RATE_HZ = 44100


def shown(*arguments: str | Path) -> tuple[int, str]:
    """Give the exit code and what stands on standard output."""
    with contextlib.redirect_stdout(io.StringIO()) as out:
        code = run([str(one) for one in arguments])
    return code, out.getvalue()


def run_json(*arguments: str | Path) -> Any:
    code, out = shown(*arguments, "--json")
    assert code == DONE
    return json.loads(out)


@pytest.fixture(scope="module")
def capture(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The first half of a two-track sequence, 1 % fast, channels the other way round."""
    deck = Deck(1.01, (Wobble(4.0, 0.001),), ends_s=75.0)
    sound = noisy(played(planned_sequence(tracks=2), deck, RATE_HZ), 40.0, np.random.default_rng(2))
    return saved(tmp_path_factory.mktemp("capture") / "capture.wav", sound[:, ::-1], RATE_HZ)


def test_it_is_written_with_its_sheet(tmp_path: Path) -> None:
    out = tmp_path / "tape.wav"
    said = run_json(
        "sequence", "--out", out, "--tracks", "2", "--tape-speed", "9.53", "--type", "II", "--rate", "44100"
    )
    assert said["written"] == [str(tmp_path / f"tape.{ending}") for ending in ("wav", "json", "html")]
    assert all(Path(one).stat().st_size > 1000 for one in said["written"])
    assert said["sequence"]["name"] == "cassette, 9.53 cm/s, 2 tracks, type II"
    assert json.loads((tmp_path / "tape.json").read_text("utf-8")) == {k: v for k, v in said.items() if k != "written"}
    there = find_sequence(out)
    assert there is not None
    assert there.sequence == planned_sequence(0.09525, 2, "II")
    assert there.missing == ()
    assert there.speed_ratio == pytest.approx(1.0, abs=1e-7)


@pytest.mark.parametrize(
    ("options", "where"),
    [
        (["--tape-speed", "19"], "--tape-speed"),
        (["--tracks", "3"], "--tracks"),
        (["--type", "IV"], "--type"),
        (["--rate", "22050"], "--rate"),
        (["--rate", "fast"], "tapewright sequence"),
    ],
)
def test_wrong_options_are_refused(tmp_path: Path, options: list[str], where: str) -> None:
    code, out = shown("sequence", "--out", tmp_path / "t.wav", *options, "--json")
    assert code == INPUT_AT_FAULT
    assert [one["where"] for one in json.loads(out)["problems"]] == [where]
    assert list(tmp_path.iterdir()) == []


def test_measure_finds_it_and_reads_it(capture: Path) -> None:
    said = run_json("measure", capture)
    one = said["one_pass"]
    assert one["sequence"] == planned_sequence(tracks=2).name
    assert one["channel_of_track"] == [2, 1]
    assert one["polarity"] == [1, 1]
    assert one["speed_ratio"] == pytest.approx(1.01, rel=5e-4)
    assert one["sections"][1]["planned"]["kind"] == SPEED
    assert one["sections"][1]["start_s"] == pytest.approx(3.4 / 1.01, abs=2e-3)
    assert [track["track"] for track in one["readings"]["tracks"]] == [1, 2]
    for track in one["readings"]["tracks"]:
        assert track["level_db"]["value"] == pytest.approx(-14.0, abs=0.05)
    assert {"mark", "silence", "crosstalk"} <= {each["kind"] for each in one["missing"]}
    tones = [channel["tone"] for channel in said["channels"]]
    assert all(tone["found"] for tone in tones), "the channels' own readings stay what they are"
    assert [tone["frequency_hz"] for tone in tones] == pytest.approx([3181.5, 3181.5], rel=1e-4)


def test_measure_says_so_to_people(capture: Path) -> None:
    code, out = shown("measure", capture)
    assert code == DONE
    assert "Test sequence: cassette, 4.76 cm/s, 2 tracks, type I" in out
    assert "Track 1 on channel 2; track 2 on channel 1." in out
    assert "Missing: " in out
    assert max(map(len, out.splitlines())) <= 100


def test_a_recording_without_one_says_null(tmp_path: Path) -> None:
    samples, _ = made.tone(6.0, rate_hz=22050)
    said = run_json("measure", made.saved(tmp_path / "t.wav", samples, 22050))
    assert said["one_pass"] is None
    assert said["channels"][0]["tone"]["found"]


def test_a_tone_that_fills_the_recording_spares_the_search(capture: Path) -> None:
    """Told that a tone fills it, the search is not even begun; told otherwise it finds what is there."""
    nothing = Heard("capture.wav", 1, {"found": False}, {})
    filled = replace(nothing, tone={"found": True, "start_s": 0.0, "end_s": 75.0 / 1.01 - 0.9 * BESIDE_S})
    assert one_pass_in(capture, [filled, filled]) is None
    there = one_pass_in(capture, [filled, nothing])
    assert there is not None
    assert there.readings is not None
    assert "Missing: " in found_text(there.found)
