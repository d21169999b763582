"""Setting up on the bench page: the list, one page a step, what is kept, a capture, and sound over the wire."""

import json
from collections.abc import Iterator
from contextlib import AbstractContextManager
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from websockets.exceptions import InvalidHandshake

from tapewright.jobs.setting_up import set_up_plan
from tapewright.machine.library import shipped
from tapewright.measure.askew import ARC_MINUTE, delay_s
from tapewright.web.live import Opening
from tapewright.web.live_set_up import SetUpListening, tracks_in
from tapewright.web.setting_up import tracks_typed
from tapewright.words.problem import InputAtFaultError
from tapewright.words.setting_up import SetUpStep
from tests.measure import made
from tests.web.test_live import Line, block
from tests.web.test_live import connection as bench_connection
from tests.web.visitor import Visitor, seen

RATE = 48_000
SPEED = 0.09525  # four_track
OUTER = (0.0, 3.21e-3)


def step_of(id: str) -> SetUpStep:
    return next(step for step in set_up_plan(shipped("four_track")).steps if step.id == id)


def askew(angle_arcmin: float, seconds: float, where: tuple[float, ...] = OUTER) -> NDArray[np.float64]:
    """400 Hz and 10 kHz on each track, late by the closed form d tan(a)/v."""
    time = np.arange(round(seconds * RATE)) / RATE
    late = [delay_s(angle_arcmin * ARC_MINUTE, one, SPEED) for one in where]
    sound = [0.2 * np.sin(800 * np.pi * (time - one)) + 0.2 * np.sin(2e4 * np.pi * (time - one)) for one in late]
    return np.stack(sound, axis=1) + 1e-5 * np.random.default_rng(1).standard_normal((len(time), len(where)))


def as_file(sound: NDArray[np.float64]) -> bytes:
    out = BytesIO()
    soundfile.write(out, sound, RATE, format="WAV", subtype="FLOAT")
    return out.getvalue()


# --- pages -----------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def visitor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    with Visitor(tmp_path_factory.mktemp("set-up") / "home") as visitor:
        yield visitor


@pytest.fixture
def job(visitor: Visitor) -> str:
    return visitor.begin("four_track")


def test_the_list_names_every_step_in_its_order(visitor: Visitor, job: str) -> None:
    page = visitor.get(f"{job}/set-up")
    assert page.status_code == 200
    told = seen(page.text)
    plan = set_up_plan(shipped("four_track"))
    places = [page.text.index(f'id="step-{step.id}"') for step in plan.steps]
    assert places == sorted(places)
    assert told.count("not done yet") == len(plan.steps)
    assert "Never to be turned" in told
    assert "The azimuth screw , without a calibration tape" in told


@pytest.mark.parametrize("id", ["clean", "speed", "azimuth", "response", "bias"])
def test_every_step_has_its_page_with_cautions_and_aim(visitor: Visitor, job: str, id: str) -> None:
    page = visitor.get(f"{job}/set-up/{id}")
    assert page.status_code == 200
    told, step = seen(page.text), step_of(id)
    assert all(" ".join(caution.split()) in told for caution in step.cautions)
    assert ("data-live" in page.text) == bool(step.reading)
    assert ("Never without a reference tape" in told) == step.needs_reference


def test_what_there_is_not_is_not_found(visitor: Visitor, job: str) -> None:
    assert visitor.get(f"{job}/set-up/nonsense").status_code == 404
    assert visitor.post(f"{job}/set-up/nonsense", {"do": "set"}).status_code == 404


def test_set_left_alone_and_undone(visitor: Visitor, job: str) -> None:
    def list_page() -> str:
        return seen(visitor.get(f"{job}/set-up").text)

    assert visitor.post(f"{job}/set-up/height", {"do": "set", "value": "0.3", "doubt": "0.1"}).status_code == 303
    answer = visitor.post(f"{job}/set-up/azimuth", {"do": "set", "value": "1,2", "doubt": "0.3"})
    assert answer.headers["location"] == f"{job}/set-up#step-azimuth"
    assert "● set 1.20 ± 0.30 minutes of arc" in list_page()
    assert "◆ look again Azimuth moved it." in list_page()
    assert "Off after each pass before: 1.2 minutes of arc" in seen(visitor.get(f"{job}/set-up/azimuth").text)
    visitor.post(f"{job}/set-up/bias", {"do": "left", "why": "no sheet"})
    assert "– left alone no sheet" in list_page()
    steps = visitor.store.history(job.rpartition("/")[2])
    visitor.post(f"{job}/step", {"step": str(steps[-1].number)})
    assert "no sheet" not in list_page()


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({"do": "left", "why": " "}, "Say why in a few words"),
        ({"do": "set", "value": "nought"}, "Give a number"),
        ({"do": "set", "value": "1", "doubt": "-1"}, "how far it may be off"),
        ({"do": "set", "value": "1e9"}, "minutes of arc"),
    ],
)
def test_what_cannot_be_meant_stands_on_the_same_page(
    visitor: Visitor, job: str, fields: dict[str, str], told: str
) -> None:
    answer = visitor.post(f"{job}/set-up/azimuth", fields)
    assert answer.status_code == 422
    assert told in seen(answer.text)
    assert "Live: azimuth" in seen(answer.text)


def test_a_capture_is_read_for_its_step_and_not_kept(visitor: Visitor, job: str) -> None:
    sound = as_file(askew(1.7, 2.0))
    answer = visitor.ask(
        "POST", f"{job}/set-up/azimuth/capture", data={"tracks": "1,4"}, files={"capture": ("my.wav", sound)}
    )
    assert answer.status_code == 200
    told = seen(answer.text)
    assert "my.wav , channels taken as tracks 1, 4" in told
    assert "+1.700" in told or "+1.70" in told
    assert 'name="value"' in answer.text
    assert visitor.store.job(job.rpartition("/")[2]).files == ()


@pytest.mark.parametrize("sound", [b"RIFF", b""])
def test_a_capture_that_cannot_be_read_says_so(visitor: Visitor, job: str, sound: bytes) -> None:
    answer = visitor.ask(
        "POST", f"{job}/set-up/azimuth/capture", data={"tracks": "1,4"}, files={"capture": ("my.wav", sound)}
    )
    assert answer.status_code == 422
    assert "my.wav" in answer.text or "No file" in answer.text


@given(st.text(max_size=30))
def test_tracks_are_meant_or_a_problem(text: str) -> None:
    try:
        tracks = tracks_typed(text)
    except InputAtFaultError:
        return
    assert len(set(tracks)) == len(tracks) <= 8
    assert all(0 < one <= 16 for one in tracks)


# --- sound -----------------------------------------------------------------------------------------------------------


def connection(home: Path, step: str, job: str | None = None) -> AbstractContextManager[Line]:
    return bench_connection(home, job=job, path=f"/set-up/{step}/live")


OPENING = {"rate_hz": RATE, "channels": 2, "tracks": [1, 4]}


def test_azimuth_is_followed_over_the_wire(tmp_path: Path) -> None:
    sound = askew(1.5, 3.0)
    with connection(tmp_path, "azimuth") as line:
        line.send(json.dumps(OPENING))
        moments = []
        for number, at in enumerate(range(0, len(sound), 9600)):
            line.send(block(number, sound[at : at + 9600]))
            moments += line.receive()["moments"]
    last = moments[-1]
    assert last["reading"]["value"] == pytest.approx(1.5, abs=0.02)
    assert last["standing"]["word"] == "inside"
    assert dict(last["lines"])["Which turn".lower()] == "No turn is left open."
    assert "track 1 to track 4" in dict(last["lines"])


def test_a_level_is_kept_and_told_against(tmp_path: Path) -> None:
    time = np.arange(2 * RATE) / RATE
    tone = 0.1 * np.sin(630 * np.pi * time)[:, None] * np.ones(2)
    with connection(tmp_path, "level") as line:
        line.send(json.dumps(OPENING))
        for number, at in enumerate(range(0, len(tone), 9600)):
            line.send(block(number, tone[at : at + 9600]))
            last = line.receive()["moments"][-1]
        assert "No level was kept" in last["reading"]["why_not"]
        line.send('{"keep": true}')
        assert line.receive() == {"kept": True}
        for number, at in enumerate(range(0, len(tone), 9600), 10):
            line.send(block(number, 1.06 * tone[at : at + 9600]))
            last = line.receive()["moments"][-1]
    assert last["reading"]["value"] == pytest.approx(20 * np.log10(1.06), abs=0.01)
    assert last["standing"]["word"] == "go on"


def test_speed_is_read_by_the_meter_for_speed() -> None:
    tone = made.tone(6.0, error_pct=0.3, rate_hz=RATE)[0][:, None] * np.ones(2)
    listening = SetUpListening(Opening(RATE, 2, None, (), None), (1, 4), step_of("speed"))
    last = listening.hear(tone.astype(np.float32))[-1]
    assert last["reading"]["value"] == pytest.approx(0.3, abs=0.01)
    assert last["standing"]["word"] in ("inside", "stop")


def test_a_lost_block_begins_anew() -> None:
    listening = SetUpListening(Opening(RATE, 2, None, (), None), (1, 4), step_of("azimuth"))
    sound = askew(1.5, 2.0)
    assert listening.add(block(0, sound))[-1]["reading"]["value"] is not None
    assert listening.add(block(5, sound[:19200]))[0]["reading"]["value"] is None


def test_an_opening_that_cannot_be_meant_closes(tmp_path: Path) -> None:
    with connection(tmp_path, "azimuth") as line:
        line.send(json.dumps(OPENING | {"tracks": [1, 1]}))
        assert line.closed()[0] == 1003


@pytest.mark.parametrize("tracks", [3, [1, 1], [0], [True], ["1"], None, [17]])
def test_tracks_that_cannot_be_meant(tracks: object) -> None:
    with pytest.raises(ValueError, match="Tracks must be"):
        tracks_in(json.dumps({"tracks": tracks}), 2)


def test_words_that_ask_for_nothing_close(tmp_path: Path) -> None:
    with connection(tmp_path, "azimuth") as line:
        line.send(json.dumps(OPENING))
        line.send('{"record": true}')
        assert line.closed()[0] == 1003


@pytest.mark.parametrize(("step", "job"), [("nonsense", None), ("clean", None), ("azimuth", "0" * 16)])
def test_a_step_that_is_not_followed_is_refused(tmp_path: Path, step: str, job: str | None) -> None:
    with pytest.raises(InvalidHandshake, match="403"), connection(tmp_path, step, job):
        pass


@given(st.lists(st.integers(-3, 20), max_size=5), st.integers(1, 8))
def test_tracks_of_channels_are_meant_or_a_value_error(tracks: list[int], channels: int) -> None:
    try:
        found = tracks_in(json.dumps({"tracks": tracks}), channels)
    except ValueError:
        return
    assert len(found) == channels
    assert [one for one in found if one is not None] == tracks[:channels]


def test_a_response_section_is_told_tone_by_tone() -> None:
    """315 Hz, then 1 kHz alike, then 10 kHz with track 4 at 0.7: 20 lg 0.7 = -3.098 dB (closed form)."""
    listening = SetUpListening(Opening(RATE, 2, None, (), None), (1, 4), step_of("response"))
    time = np.arange(round(1.5 * RATE)) / RATE
    last: dict[str, Any] = {}
    for frequency, second in ((315.0, 1.0), (1000.0, 1.0), (10_000.0, 0.7)):
        tone = 0.1 * np.sin(2 * np.pi * frequency * time)[:, None] * np.array([1.0, second])
        last = listening.hear(tone.astype(np.float32))[-1]
        if frequency == 315.0:
            assert "is kept" in last["reading"]["why_not"]
    assert last["reading"]["value"] == pytest.approx(20 * np.log10(0.7), abs=0.02)
    assert last["standing"]["word"] == "go on"
    lines = dict(last["lines"])
    assert "track 4 -3.098 ± 0.010 dB" in lines["10000 Hz"]
    assert set(lines) >= {"315 Hz", "1000 Hz", "10000 Hz"}
    assert last["trend"] == "listening has only begun", "one tone is not better than another"
