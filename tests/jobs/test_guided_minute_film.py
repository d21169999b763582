"""The film of a minute is watched step by step."""

from collections.abc import Sequence
from pathlib import Path

import av
import numpy as np
import pytest

from tapewright.faults.applied import parse_fault
from tapewright.jobs import guided_minute_film
from tapewright.jobs.guided_minute_film import evidence_of_minute, notes_of_minute, watch_minute
from tapewright.machine.library import shipped
from tapewright.measure.film_pieces import FilmPiece
from tapewright.simulate.film import film as simulated_film
from tapewright.simulate.film_camera import Camera
from tapewright.simulate.film_course import FilmStep
from tapewright.words.mechanism_heard import Mark
from tapewright.words.problem import InputAtFaultError, Problem

MACHINE = shipped("four_track")


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Eight seconds of noise, ten frames a second: a film with no reel in it."""
    path = tmp_path_factory.mktemp("film") / "minute.mp4"
    random = np.random.default_rng(1)
    with av.open(str(path), "w") as container:
        stream = container.add_stream("mpeg4", rate=10)
        stream.width, stream.height, stream.pix_fmt = 320, 240, "yuv420p"
        for _ in range(80):
            picture = np.repeat(random.integers(0, 255, (240, 320, 1), dtype=np.uint8), 3, axis=2)
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="rgb24")))
        container.mux(stream.encode())
    return path


def test_a_film_with_no_reel_says_so_step_by_step(film: Path) -> None:
    marks = [Mark("off", 0.0), Mark("play", 1.0), Mark("stop", 4.0), Mark("rewind", 5.0), Mark("stop", 30.0)]
    pieces = watch_minute(film, MACHINE, marks)
    assert [one.mode for one in pieces] == ["play", "rewind"]
    assert evidence_of_minute(pieces).reasons == ()
    says = "shows nothing that turns about a point of its own."
    assert notes_of_minute(pieces) == (f"In play: {says}", f"In rewind: {says}")


def test_a_step_after_the_end_of_the_film_says_so(film: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What watches is left out here: only what it gives for each step goes on, in the same order."""
    ends = Problem("minute.mp4", "The film ends before it.", "Film the whole minute.")
    asked: list[FilmPiece] = []

    def told(path: Path, pieces: Sequence[FilmPiece]) -> tuple[Problem, ...]:
        asked.extend(pieces)
        return tuple(ends for _ in pieces)

    monkeypatch.setattr(guided_minute_film, "watch_pieces", told)
    marks = [Mark("off", 0.0), Mark("play", 1.0), Mark("fast_forward", 50.0), Mark("play", 55.0), Mark("stop", 60.0)]
    pieces = watch_minute(film, MACHINE, marks)
    assert [(one.start_s, one.end_s, one.takes_up) for one in asked] == [(1.0, 50.0, "right"), (50.0, 55.0, "right")]
    assert [one.why_not for one in pieces] == [ends.found] * 2


def test_a_film_without_a_step_that_moves_tape_is_refused(film: Path) -> None:
    with pytest.raises(InputAtFaultError, match="no step marked"):
        watch_minute(film, MACHINE, [Mark("off", 0.0), Mark("switch_on", 2.0)])


@pytest.mark.slow
@pytest.mark.parametrize("put_in", ["", "idler_tyre=glazed"])
def test_a_minute_that_was_played_tells_what_was_put_in(put_in: str, tmp_path: Path) -> None:
    """Steps of a guided minute, drawn by code that shares nothing with what watches: the truth is beside the film.

    A take-up that slips all the time makes both hubs turn as a slow tape would: the tape's speed must not be told.
    """
    steps = [FilmStep("off", 0.0, 1.0), FilmStep("play", 1.0, 9.0), FilmStep("stop", 10.0, 1.0)]
    faults = [parse_fault(MACHINE, put_in)] if put_in else []
    camera = Camera(320, 180, exposure_s=0.005, noise=0.01, shake_px=0.5)
    truth = simulated_film(MACHINE, faults, tmp_path / "m.mp4", steps, seed=5, position_s=200.0, camera=camera)
    pieces = watch_minute(tmp_path / "m.mp4", MACHINE, [Mark(step.mode, step.at_s) for step in steps])
    assert [one.mode for one in pieces] == ["play"]
    heard = evidence_of_minute(pieces).evidence
    present = {sign.id: sign.present for sign in heard.signs}
    assert present["play_takeup_reel_falters"] is bool(put_in)
    assert present["play_loop"] is bool(put_in)
    assert present["play_takeup_reel_stands"] is False
    assert present["play_tape_still"] is False
    supply = heard.readings["rate_hz:supply_reel@play"]
    assert supply.value == pytest.approx(truth.hubs[0].moving_rate_hz, rel=0.02)
    assert truth.tape_m_per_s == pytest.approx(0.09525, rel=0.03)
    if put_in:
        assert "speed_error_pct" not in heard.readings
    else:
        speed = heard.readings["speed_error_pct"]
        assert speed.value is not None
        assert abs(speed.value) < (speed.doubt or 0.0)
