"""The guided minute of a job: files with their marks come in or are refused, and what they say is taken by one tap."""

import time
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlencode

import httpx
import pytest

from tapewright.diagnose.network import network
from tapewright.jobs.guided_minute_marks import marks_in
from tapewright.jobs.owner_code import minute_code_of
from tapewright.jobs.owner_sheet import fingerprint, owner_signs
from tapewright.jobs.store.nouns import Attached, FileKind
from tapewright.machine.library import shipped
from tapewright.machine.minute import minute_steps
from tapewright.web import minute
from tests.web.minutes import Senses, film_file, sound_file
from tests.web.visitor import Visitor, seen

MACHINE = "one_motor_portable"


@pytest.fixture
def senses() -> Senses:
    return Senses()


@pytest.fixture
def visitor(tmp_path: Path, senses: Senses) -> Iterator[Visitor]:
    with Visitor(tmp_path / "home") as visitor:
        state = visitor.app.app.state  # type: ignore[attr-defined]
        state.minutes = senses.desk(state.minutes)
        yield visitor


@pytest.fixture
def job(visitor: Visitor) -> str:
    return visitor.begin(MACHINE)


def put(visitor: Visitor, job: str, content: bytes, **asked: str) -> httpx.Response:
    return visitor.ask("PUT", f"{job}/minute/files?{urlencode({'name': 'a.wav'} | asked)}", content=content)


def done(visitor: Visitor, job: str) -> str:
    """Wait until all is listened to, and give the page."""
    for _ in range(200):
        page = visitor.get(f"{job}/minute").text
        if "data-measuring" not in page:
            return page
        time.sleep(0.02)
    raise AssertionError("a minute was never listened to")


def kept(visitor: Visitor, job: str) -> list[Attached]:
    sheet = visitor.store.job(job.rpartition("/")[2])
    return [one.what for one in minute.minutes_of_job(sheet)]


def entry(visitor: Visitor, job: str) -> str:
    return minute.minutes_of_job(visitor.store.job(job.rpartition("/")[2]))[0].id


def form(path: Path, fields: dict[str, str]) -> tuple[bytes, dict[str, str]]:
    """Write a form with a file, as a browser without scripts sends it."""
    parts = [f'--xx\r\ncontent-disposition: form-data; name="{k}"\r\n\r\n{v}\r\n'.encode() for k, v in fields.items()]
    head = f'--xx\r\ncontent-disposition: form-data; name="minute"; filename="{path.name}"\r\n\r\n'.encode()
    body = b"".join(parts) + head + path.read_bytes() + b"\r\n--xx--\r\n"
    return body, {"content-type": "multipart/form-data; boundary=xx"}


def test_the_page_says_each_step_with_its_cautions_and_works_without_a_script(visitor: Visitor, job: str) -> None:
    answer = visitor.get(f"{job}/minute")
    page = seen(answer.text)
    for step in minute_steps(shipped(MACHINE)):
        assert step.says in page
        assert all(caution in page for caution in step.cautions)
    assert 'enctype="multipart/form-data"' in answer.text
    assert "camera=(self)" in answer.headers["permissions-policy"], "here alone the camera is open"
    assert "camera=()" in visitor.get(f"{job}/recordings").headers["permissions-policy"]
    assert "guided minute" in visitor.get(f"{job}/recordings").text


def test_a_sound_from_elsewhere_with_its_marks(visitor: Visitor, senses: Senses, job: str, tmp_path: Path) -> None:
    fields = {"kind": "sound", "mode_0": "off", "at_0": "0", "mode_1": "play", "at_1": "1,5"}
    body, headers = form(sound_file(tmp_path / "phone.wav"), fields | {"mode_2": "stop", "at_2": ""})
    assert visitor.ask("POST", f"{job}/minute/files", content=body, headers=headers).status_code == 303
    page = done(visitor, job)
    (one,) = kept(visitor, job)
    assert one.note == "guided minute: off 0, play 1.5", "the step left empty was not done"
    assert one.personal, "a sound may hold somebody's voice"
    assert one.kind is FileKind.DOCUMENT
    assert [(mark.mode, mark.at_s) for mark in senses.given[0][2]] == [("off", 0.0), ("play", 1.5)]
    assert "In play the reels race" in seen(page)
    assert "90 % sure" in seen(page)
    assert "&lt;b&gt;the reels&lt;/b&gt; whirr" in page, "what a file says is words"
    assert "runs in play" in seen(page)
    assert "Somebody speaks at 12 s." in seen(page)
    assert "<svg" in visitor.get(f"{job}/minute/{entry(visitor, job)}/picture").text


def test_findings_are_taken_one_by_one_and_undone(visitor: Visitor, job: str, tmp_path: Path) -> None:
    put(visitor, job, sound_file(tmp_path / "a.wav").read_bytes(), marks="off:0,play:1")
    done(visitor, job)
    address = f"{job}/minute/{entry(visitor, job)}"
    assert visitor.post(address, {"do": "take", "name": "play_tape_races"}).status_code == 303
    sheet = visitor.store.job(job.rpartition("/")[2])
    assert [(one.what.sign, one.what.present, one.what.sure, one.how) for one in sheet.answers] == [
        ("play_tape_races", True, 0.9, "guided minute")
    ]
    assert "in the evidence" in visitor.get(f"{job}/minute").text
    assert visitor.get(f"{job}/evidence.json").json()["signs"][0]["sure"] == 0.9
    visitor.post(address, {"do": "take"})  # all the rest
    sheet = visitor.store.job(job.rpartition("/")[2])
    assert [one.what.name.partition(":")[0] for one in sheet.readings] == ["motor_runs_sure", "rate_hz"]
    assert visitor.get(f"{job}/minute").text.count("in the evidence") == 3
    assert visitor.get(job).status_code == 200, "the findings hold what was taken"
    readings = visitor.get(f"{job}/findings.json").json()
    assert "rate_hz" in str(readings)
    visitor.post(f"{job}/undo", {})
    assert visitor.get(f"{job}/minute").text.count("in the evidence") == 2


def test_a_film_is_looked_at(visitor: Visitor, senses: Senses, job: str, tmp_path: Path) -> None:
    content = film_file(tmp_path / "f.mp4").read_bytes()
    assert put(visitor, job, content, kind="film", name="f.mp4", marks="off:0,play:1").status_code == 201
    page = seen(done(visitor, job))
    assert senses.given[0][0] == "film"
    assert "Not so: A loop of tape forms" in page


def test_times_are_said_anew_and_it_is_listened_to_again(
    visitor: Visitor, senses: Senses, job: str, tmp_path: Path
) -> None:
    put(visitor, job, sound_file(tmp_path / "a.wav").read_bytes(), marks="off:0,play:1")
    done(visitor, job)
    address = f"{job}/minute/{entry(visitor, job)}"
    said = {"do": "marks", "mode_0": "off", "at_0": "0", "mode_1": "play", "at_1": "1.25"}
    assert visitor.post(address, said).status_code == 303
    done(visitor, job)
    assert marks_in(kept(visitor, job)[0].note)[0][1].at_s == 1.25
    assert senses.given[-1][2][1].at_s == 1.25
    visitor.post(address, {"do": "remove"})
    assert kept(visitor, job) == []


# --- what is refused --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("marks", "says"),
    [
        ("play:nan", "nan"),
        ("play:-3", "-3"),
        ("play:2,stop:1", "before the one ahead"),
        ("fly:1", "fly"),
        ("play:99", "after the end"),
        ("play:1," * 70, "more than 60"),
        ("play", "nan"),
        ("<b>:1", "<b>"),
    ],
)
def test_marks_that_cannot_be_meant(visitor: Visitor, job: str, tmp_path: Path, marks: str, says: str) -> None:
    answer = put(visitor, job, sound_file(tmp_path / "a.wav").read_bytes(), marks=marks)
    assert answer.status_code == 422
    assert says in str(answer.json()["problems"])
    assert kept(visitor, job) == []


@pytest.mark.parametrize("kind", ["sound", "film"])
@pytest.mark.parametrize("content", [b"", b"GIF89a" + bytes(200), b"<script>alert(1)</script>", b"RIFF" + bytes(64)])
def test_what_is_neither_sound_nor_film(visitor: Visitor, job: str, kind: str, content: bytes) -> None:
    answer = put(visitor, job, content, kind=kind, marks="off:0")
    assert answer.status_code == 422
    assert kept(visitor, job) == []
    assert list((visitor.store.home / "files").rglob("*.part")) == []


def test_a_sound_is_no_film(visitor: Visitor, job: str, tmp_path: Path) -> None:
    answer = put(visitor, job, sound_file(tmp_path / "a.wav").read_bytes(), kind="film")
    assert answer.status_code == 422
    assert "no film" in str(answer.json()["problems"])


def test_what_is_too_large_is_refused_while_it_comes(
    visitor: Visitor, job: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(minute, "MOST_RECORDING_BYTES", 1000)
    answer = put(visitor, job, sound_file(tmp_path / "a.wav").read_bytes())
    assert answer.status_code == 422
    assert kept(visitor, job) == []


def test_a_name_is_never_a_path(visitor: Visitor, job: str, tmp_path: Path) -> None:
    put(visitor, job, sound_file(tmp_path / "a.wav").read_bytes(), name="../../<script>.wav")
    assert kept(visitor, job)[0].called == "<script>.wav"
    assert "<script>.wav" not in done(visitor, job)


def test_a_form_without_a_file_and_a_finding_that_is_none(visitor: Visitor, job: str, tmp_path: Path) -> None:
    answer = visitor.post(f"{job}/minute/files", {"kind": "sound"})
    assert answer.status_code == 422
    assert "No file was chosen" in seen(answer.text)
    put(visitor, job, sound_file(tmp_path / "a.wav").read_bytes())
    done(visitor, job)
    answer = visitor.post(f"{job}/minute/{entry(visitor, job)}", {"do": "take", "name": "<i>"})
    assert answer.status_code == 422
    assert "<i>" not in answer.text
    assert visitor.post(f"{job}/minute/nothing", {"do": "take"}).status_code == 404
    assert visitor.get(f"{job}/minute/nothing/picture").status_code == 404


def test_pages_elsewhere_put_nothing_in(visitor: Visitor, job: str, tmp_path: Path) -> None:
    content = sound_file(tmp_path / "a.wav").read_bytes()
    for headers in ({"origin": "http://elsewhere.invalid"}, {"sec-fetch-site": "cross-site"}):
        for method, place in (("PUT", "files?name=a.wav"), ("POST", "files")):
            answer = visitor.ask(method, f"{job}/minute/{place}", content=content, headers=headers)
            assert answer.status_code == 403
    assert kept(visitor, job) == []


def test_without_senses_the_file_is_kept_and_it_is_said(tmp_path: Path) -> None:
    """A file that stops the ear says so in its place; the page and the file stay."""
    with Visitor(tmp_path / "home") as visitor:
        state = visitor.app.app.state  # type: ignore[attr-defined]

        def broken(*_given: object) -> None:
            raise RuntimeError("on purpose")

        state.minutes._listen = broken
        job = visitor.begin(MACHINE)
        put(visitor, job, sound_file(tmp_path / "a.wav").read_bytes())
        assert "a fault of this program" in seen(done(visitor, job))
        assert len(kept(visitor, job)) == 1


def test_an_owners_recording_with_its_code_and_a_late_beginning(
    visitor: Visitor, senses: Senses, job: str, tmp_path: Path
) -> None:
    """The code that the owner's sheet gave holds the marks; the recorder was begun 0.5 s before the first step."""
    machine = shipped(MACHINE)
    ids = [sign.id for sign in owner_signs(network(machine))]
    code = minute_code_of([(0, 0.0, False), (3, 1.5, True)], fingerprint(MACHINE, ids))
    fields = {"kind": "sound", "code": code, "later": "0,5", "mode_0": "off", "at_0": "2"}
    body, headers = form(sound_file(tmp_path / "owner.wav"), fields)
    assert visitor.ask("POST", f"{job}/minute/files", content=body, headers=headers).status_code == 303
    page = done(visitor, job)
    mode = minute_steps(machine)[3].mode
    assert kept(visitor, job)[0].note == f"guided minute: off 0.5, {mode} 2 failed"
    assert "it did not do what it should" in seen(page)
    body, headers = form(sound_file(tmp_path / "owner.wav"), fields | {"code": code[:-1]})
    assert visitor.ask("POST", f"{job}/minute/files", content=body, headers=headers).status_code == 422
    body, headers = form(sound_file(tmp_path / "owner.wav"), fields | {"code": "", "later": "-9"})
    assert visitor.ask("POST", f"{job}/minute/files", content=body, headers=headers).status_code == 422
    assert len(kept(visitor, job)) == 1
