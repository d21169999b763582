"""The film as a file: times, turn, what it says of itself, its truth, what is refused."""

import json
from dataclasses import replace
from pathlib import Path

import av
import numpy as np
import pytest

from tapewright.faults.applied import Fault
from tapewright.machine.library import shipped
from tapewright.machine.minute import minute_steps
from tapewright.simulate.film import film, film_without_reel
from tapewright.simulate.film_camera import Camera, frame_times
from tapewright.simulate.film_course import FilmStep
from tapewright.simulate.film_drive import Hesitation
from tapewright.simulate.film_words import burn_in, caption
from tapewright.words.problem import InputAtFaultError

FOUR = shipped("four_track")
SMALL = Camera(width=320, height=180, jitter_s=0.003, drops=0.1, noise=0.01, shake_px=0.5, flicker=0.05)


@pytest.mark.parametrize(("name", "rotation"), [("a.mp4", 0), ("a.mov", 90), ("b.mp4", 270)])
def test_the_file_holds_the_times_and_the_turn_that_were_asked(tmp_path: Path, name: str, rotation: int) -> None:
    """Decoded by FFmpeg's libraries, which know nothing of how it was made."""
    camera = replace(SMALL, rotation=rotation)
    truth = film(FOUR, [], tmp_path / name, seconds=1.5, seed=2, camera=camera)
    asked = frame_times(camera, 1.5, 2)[0]
    with av.open(str(tmp_path / name)) as container:
        assert "nobody filmed this" in container.metadata["comment"]
        stream = container.streams.video[0]
        frames = list(container.decode(stream))
    assert [round(float(f.pts * f.time_base) * 90000) for f in frames if f.pts is not None and f.time_base] == asked
    assert {frame.rotation % 360 for frame in frames} == {-rotation % 360}
    assert (frames[0].width, frames[0].height) == (320, 180)
    assert truth.frames == len(asked)
    assert sorted(entry.name for entry in tmp_path.iterdir()) == sorted([name, name[0] + ".json"])


def test_the_truth_beside_it_says_what_was_put_in(tmp_path: Path) -> None:
    given = [Hesitation(0.6, 0.5, 0.4)]
    made = film(FOUR, [], tmp_path / "a.mp4", seconds=1.5, camera=SMALL, given=given, running=True, position_s=100.0)
    held = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
    assert held["simulated"] is True
    assert "nobody filmed this" in held["says"]
    assert held["tape_m_per_s"] == pytest.approx(0.09525, rel=2e-3)
    assert [event["kind"] for event in held["events"]] == ["slips"]
    assert held["events"][0]["share"] == pytest.approx(0.4, abs=0.04)
    left, right = made.hubs
    assert left.centre_x < right.centre_x
    # the tape that the rates bring and take: 2 pi r x rate; less on the right, where a fifth of the time 40 % slip
    assert 2 * np.pi * left.pack_start_mm * left.mean_rate_hz == pytest.approx(95.25, rel=5e-3)
    assert 2 * np.pi * right.pack_start_mm * right.mean_rate_hz == pytest.approx(95.25, rel=0.15)


def test_the_same_seed_gives_the_same_bytes_and_another_another(tmp_path: Path) -> None:
    for name, seed in (("a.mp4", 1), ("b.mp4", 1), ("c.mp4", 2)):
        film(FOUR, [Fault("reel_motor", "worn")], tmp_path / name, seconds=1.0, seed=seed, camera=SMALL)
    first, again, other = ((tmp_path / name).read_bytes() for name in ("a.mp4", "b.mp4", "c.mp4"))
    assert first == again
    assert first != other


def test_a_whole_guided_minute_can_be_filmed(tmp_path: Path) -> None:
    steps = [FilmStep(step.mode, step.at_s / 10, step.lasts_s / 10) for step in minute_steps(FOUR)]
    made = film(FOUR, [], tmp_path / "m.mp4", mode=steps, camera=replace(SMALL, rate_hz=10.0), position_s=200.0)
    assert made.duration_s == pytest.approx(6.6, abs=0.2)
    assert [step.mode for step in made.steps][:3] == ["off", "switch_on", "cassette_in"]
    assert len(made.happens) == len(steps)


@pytest.mark.parametrize("what", ["fan", "desk", "hands"])
def test_a_film_without_a_reel_says_so(tmp_path: Path, what: str) -> None:
    made = film_without_reel(what, tmp_path / "x.mp4", 1.0, 3, SMALL)  # type: ignore[arg-type]
    assert made.hubs == ()
    assert made.scene == what


def test_the_caption_is_read_upright_however_the_film_is_turned() -> None:
    words = caption(320)
    for rotation in (0, 90, 180, 270):
        luma = np.zeros((320, 320), dtype=np.uint8)
        burn_in(luma, (320, 320), rotation)
        upright = np.rot90(luma, -(rotation // 90))
        assert np.array_equal(upright[-words.shape[0] :, : words.shape[1]], words)


def test_what_cannot_be_is_refused_and_nothing_is_left(tmp_path: Path) -> None:
    (tmp_path / "real.mp4").write_bytes(b"a film of somebody's")
    (tmp_path / "notes.json").write_text("[1]", encoding="utf-8")
    before = sorted(entry.name for entry in tmp_path.iterdir())
    for name, camera, seconds, says in (
        ("a.avi", SMALL, 1.0, "does not end in"),
        ("no/a.mp4", SMALL, 1.0, "is not there"),
        ("real.mp4", SMALL, 1.0, "may be a real film"),
        ("notes.mp4", SMALL, 1.0, "no truth of a simulation"),
        ("a.mp4", replace(SMALL, width=321), 1.0, "321"),
        ("a.mp4", SMALL, 0.0, "--seconds"),
    ):
        with pytest.raises(InputAtFaultError, match=says):
            film(FOUR, [], tmp_path / name, seconds=seconds, camera=camera)
    assert sorted(entry.name for entry in tmp_path.iterdir()) == before
