"""A guided minute as it happens: blocks and marks are kept together, whatever the other end does."""

import json
import struct
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from websockets.exceptions import InvalidHandshake

from tapewright.jobs.guided_minute_marks import marks_in
from tapewright.machine.library import shipped
from tapewright.web.live import Opening
from tapewright.web.minute import minutes_of_job
from tapewright.web.minute_live import MinuteTake
from tests.web.test_live import Line, connection

RATE = 8000
OPENING = json.dumps({"rate_hz": RATE, "channels": 1})


def block(number: int, samples: NDArray[np.float32], lost: int = 0) -> bytes:
    return struct.pack("<II", number, lost) + samples.astype("<f4").tobytes()


def noise(seconds: float, seed: int = 1) -> NDArray[np.float32]:
    return (0.1 * np.random.default_rng(seed).standard_normal(int(seconds * RATE))).astype(np.float32)


def take() -> MinuteTake:
    return MinuteTake(Opening(float(RATE), 1, None, (), None), shipped("four_track"))


def send_a_minute(line: Line) -> NDArray[np.float32]:
    """Half a second off, then play for a second; the machine does not do it."""
    samples = noise(1.5)
    line.send(OPENING)
    line.send(json.dumps({"mark": "off", "at_s": 0}))
    line.send(block(0, samples[: RATE // 2]))
    line.send(json.dumps({"mark": "play"}))
    line.send(json.dumps({"failed": True}))
    line.send(block(1, samples[RATE // 2 :]))
    return samples


def test_sound_and_marks_land_in_the_job_together(tmp_path: Path) -> None:
    with connection(tmp_path / "home", path="/minute/live") as line:
        samples = send_a_minute(line)
        line.send(json.dumps({"done": True}))
        kept = line.receive()
        (entry,) = minutes_of_job(line.store.job(line.job_id))
        assert kept["file"] == entry.what.sha256
        assert entry.how == "guided minute"
        marks, failed = marks_in(entry.what.note)
        assert [(one.mode, one.at_s) for one in marks] == [("off", 0.0), ("play", 0.5)]
        assert failed == {1}
        back, rate_hz = soundfile.read(str(line.store.file_path(entry.what.sha256)), dtype="float32")
        assert rate_hz == RATE
        np.testing.assert_array_equal(back, samples)
        assert line.store.undo(line.job_id).files == (), "it is a step like any other"


def test_a_broken_connection_keeps_what_came(tmp_path: Path) -> None:
    with connection(tmp_path / "home", path="/minute/live") as line:
        send_a_minute(line)
        line.send(json.dumps({"mark": "no such mode"}))
        code, reason = line.closed()
        assert code == 1003
        assert "no such mode" in (reason or "")
        for _ in range(200):  # it is kept once the line is closed
            if kept := minutes_of_job(line.store.job(line.job_id)):
                break
            time.sleep(0.02)
        assert [one.what.note for one in kept] == ["guided minute: off 0, play 0.5 failed"]


def test_breaking_off_keeps_nothing(tmp_path: Path) -> None:
    with connection(tmp_path / "home", path="/minute/live") as line:
        send_a_minute(line)
        line.send(json.dumps({"abort": True}))
        line.closed()
        assert minutes_of_job(line.store.job(line.job_id)) == []


@pytest.mark.parametrize(
    "said",
    [
        '{"mark": 3}',
        '{"mark": "play", "at_s": "soon"}',
        '{"mark": "play", "at_s": NaN}',
        '{"mark": "play", "at_s": -9}',
        '{"mark": "play", "at_s": 400}',
        '{"mark": "fly"}',
        "[]",
        "{",
        "1" * 5000,
    ],
)
def test_words_that_cannot_be_meant_end_it(tmp_path: Path, said: str) -> None:
    with connection(tmp_path / "home", path="/minute/live") as line:
        line.send(OPENING)
        line.send(block(0, noise(0.1)))
        line.send(said)
        assert line.closed()[0] == 1003
        assert minutes_of_job(line.store.job(line.job_id)) == [], "sound without a mark is no minute"


def test_marks_out_of_order_are_refused() -> None:
    minute = take()
    minute.add(block(0, noise(2.0)))
    minute.told({"mark": "play", "at_s": 1.5})
    with pytest.raises(ValueError, match="before the one ahead"):
        minute.told({"mark": "stop", "at_s": 1.0})
    minute.sound.forget()


def test_lost_sound_is_silence_so_that_marks_stay_where_they_are() -> None:
    minute = take()
    minute.add(block(0, noise(1.0)))
    minute.add(block(1, noise(1.0), lost=RATE // 2))
    assert minute.now_s == pytest.approx(2.5)
    assert minute.sound.spoilt
    minute.sound.forget()


def test_a_minute_that_does_not_end_is_ended() -> None:
    minute = take()
    minute.sound.frames = 900 * RATE
    with pytest.raises(ValueError, match="15 minutes"):
        minute.add(block(0, noise(0.1)))
    minute.sound.forget()


def test_a_page_elsewhere_cannot_listen_in(tmp_path: Path) -> None:
    with (
        pytest.raises(InvalidHandshake),
        connection(tmp_path / "home", origin="http://elsewhere.invalid", path="/minute/live"),
    ):
        pass
