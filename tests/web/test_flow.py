"""The whole way of a job over the pages, and what goes wrong on it."""

import os
import re
import time
from importlib.resources import files
from pathlib import Path

import pytest

from tapewright.jobs.evidence_file import parse_evidence
from tapewright.jobs.store.files import INCOMING
from tapewright.jobs.store.nouns import Answer
from tapewright.machine.library import shipped_ids
from tapewright.web import findings, recordings
from tests.web.visitor import Visitor, seen, tone_with_flutter

HALF_WRITTEN = ".part"
FOUR_TRACK = "four_track_starter"
EVIL = "<script>alert(1)</script>\"'&"
EVIL_SHOWN = "&lt;script&gt;alert(1)&lt;/script&gt;"


def machine_text(machine_id: str) -> str:
    return (files("tapewright.machine.library") / f"{machine_id}.toml").read_text(encoding="utf-8")


def check_asked(page: str) -> tuple[str, str]:
    """Give the sign that the next check is about, and what it says."""
    card = page.partition('id="check"')[2].partition("</section>")[0]
    sign = re.search(r'name="sign" value="(\w+)"', card)
    question = re.search(r'class="question">(.*?)\?<', card)
    assert sign
    assert question
    return sign[1], question[1]


def without_tokens(page: str) -> str:
    """Give a page without what makes each of its forms count once."""
    return re.sub(r'name="once" value="\w+"', "", page)


def test_from_the_complaint_to_the_parts(tmp_path: Path) -> None:
    with Visitor(tmp_path / "home") as visitor:
        page = visitor.get("/arrive").text
        for machine_id in shipped_ids():
            assert f'value="{machine_id}"' in page

        job = visitor.begin(FOUR_TRACK, "In play the reels race and it gabbles")
        page = visitor.get(job).text
        assert "Is this what the owner means?" in page
        assert 'value="play_tape_races"' in page, "the owner's words bring the sign to mind"
        assert "By age alone" in page

        answer = visitor.say(job, "play_tape_races", "yes")
        assert (answer.status_code, answer.headers["location"]) == (303, f"{job}#now")
        page = visitor.get(job).text
        first = seen(page.partition('class="suspects"')[2].partition("</li>")[0])
        assert "capstan belt" in first
        assert "Fit a new capstan belt" in visitor.get(f"{job}/plan").text

        sign, question = check_asked(page)
        assert visitor.say(job, sign, "yes").status_code == 303
        page = visitor.get(job).text
        assert f"Undo: {question}" in page
        assert check_asked(page)[0] != sign

        assert visitor.post(f"{job}/undo", {}).status_code == 303
        assert check_asked(visitor.get(job).text) == (sign, question)
        visitor.say(job, sign, "skip")
        assert check_asked(visitor.get(job).text)[0] != sign
        visitor.post(f"{job}/remove", {"sign": sign})
        assert check_asked(visitor.get(job).text)[0] == sign
        visitor.say(job, sign, "no")
        visitor.say(job, sign, "unsure")

        path = tone_with_flutter(tmp_path / "side a.wav")
        put = visitor.ask("PUT", f"{job}/recordings?name=side+a.wav&tone=", content=path.read_bytes())
        assert (put.status_code, put.json()) == (201, {"to": f"{job}/recordings"})
        page = visitor.measured(job)
        assert "Test tone of 3150" in page
        assert "flutter, weighted peak" in page
        assert "side a.wav" in page
        (kept,) = (tmp_path / "home").glob("files/??/*")
        assert kept.read_bytes() == path.read_bytes()

        report = visitor.get(f"{job}/report").text
        assert "capstan belt" in report
        assert "side a.wav" in report
        assert "3150" in report
        assert "<svg" in visitor.get(f"{job}/charts/{kept.name}").text
        found = visitor.get(f"{job}/findings.json").json()
        assert found["beliefs"][0]["part"]
        assert found["recordings"][0]["file"] == "side a.wav"
        evidence = parse_evidence(visitor.get(f"{job}/evidence.json").text, "download")
        assert [(o.id, o.present) for o in evidence.signs] == [("play_tape_races", True), (sign, None)]

        visitor.post(f"{job}/recordings/{kept.name}", {"do": "remove"})
        assert "side a.wav" not in visitor.get(f"{job}/recordings").text
        assert kept.read_bytes() == path.read_bytes(), "it can be undone"


def test_the_next_answers_are_worked_out_ahead_and_are_the_same(tmp_path: Path) -> None:
    with Visitor(tmp_path) as visitor:
        job = visitor.begin()
        plainly = visitor.get(job).text
        bench = visitor.app.app.state.bench  # type: ignore[attr-defined]
        bench._ahead = True
        assert without_tokens(visitor.get(job).text) == without_tokens(plainly)
        for future in bench._waiting:
            future.result(timeout=60)
        before = len(bench._kept)
        sign, _ = check_asked(plainly)
        visitor.say(job, sign, "no")
        bench._ahead = False
        assert seen(visitor.get(job).text).count("not there") == 1
        assert len(bench._kept) == before, "nothing was left to work out"


def test_signs_are_found_by_the_words_of_the_trade(tmp_path: Path) -> None:
    with Visitor(tmp_path) as visitor:
        job = visitor.begin(FOUR_TRACK)
        page = visitor.get(f"{job}/found?q=ffwd+dead").text
        assert "fast_forward_" in page
        assert "<html" not in page
        whole = visitor.get(f"{job}?q=ffwd+dead").text
        assert re.findall(r'name="sign" value="fast_forward_\w+"', whole)
        assert "No sign of this machine fits" in visitor.get(f"{job}/found?q=zzz").text
        answer = visitor.post(
            f"{job}/answer", {"sign": "play_loop", "present": "no", "back": "noticed", "q": "a loop & more"}
        )
        assert answer.headers["location"] == f"{job}?q=a+loop+%26+more#noticed"


def test_a_trapped_tape_comes_before_everything(tmp_path: Path) -> None:
    with Visitor(tmp_path) as visitor:
        job = visitor.begin(FOUR_TRACK, "")
        visitor.say(job, "play_loop", "yes")
        page = visitor.get(job).text
        assert page.index("First of all, the tape") < page.index("Next check")
        assert "never pull" in page
        assert "<details open>" in page.partition("First of all, the tape")[2][:40]
        visitor.say(job, check_asked(page)[0], "no")
        page = visitor.get(job).text
        assert page.index("First of all, the tape") < page.index("Next check"), "it stays, folded"
        assert "<details>" in page.partition("First of all, the tape")[2][:40]


def test_cautions_stand_with_the_check(tmp_path: Path) -> None:
    with Visitor(tmp_path) as visitor:
        job = visitor.begin(FOUR_TRACK, "")
        visitor.say(job, "play_tape_races", "yes")
        record = visitor.get(f"{job}/findings.json").json()
        card = visitor.get(job).text.partition('id="check"')[2].partition("</form>")[0]
        cautions = record["next_check"]["cautions"]
        assert cautions
        for caution in cautions:
            assert caution in seen(card)


def test_everything_a_user_gives_is_shown_as_words(tmp_path: Path) -> None:
    text = machine_text("one_motor_portable")
    title = re.search(r'^title = "(.*)"', text, re.MULTILINE)
    assert title
    text = text.replace(title[0], f"title = '''{EVIL[:-2]}'''")
    with Visitor(tmp_path / "home") as visitor:
        answer = visitor.ask(
            "POST", "/jobs",
            data={"machine": "four_track", "complaint": EVIL, "age": "38,5"},
            files={"description": (f"{EVIL}.toml", text.encode(), "text/plain")},
        )  # fmt: skip
        assert answer.status_code == 303, seen(answer.text)
        job = answer.headers["location"].removesuffix("/ticket")
        path = tone_with_flutter(tmp_path / "a.wav")
        name = "%3Cscript%3Ealert(1)%3C%2Fscript%3E.wav"
        assert visitor.ask("PUT", f"{job}/recordings?name={name}", content=path.read_bytes()).status_code == 201
        visitor.say(job, "play_tape_uneven", "yes")
        visitor.measured(job)
        places = (
            "",
            "?q=" + EVIL,
            "/drawing",
            "/report",
            "/recordings",
            "/findings",
            "/plan",
            "/proof",
            "/sheet",
            "/ticket",
        )
        pages = [visitor.get(address).text for address in ("/", *(job + place for place in places))]
        for page in pages:
            assert "<script>" not in page
        assert EVIL_SHOWN in pages[0]
        assert pages[1].count(EVIL_SHOWN) >= 2
        assert "38.5 years" in pages[1]
        stored = [path.name for path in (tmp_path / "home").rglob("*")]
        assert not [name for name in stored if "script" in name]


def test_a_description_with_mistakes_is_sent_back_with_all_of_them_and_what_was_typed(tmp_path: Path) -> None:
    with Visitor(tmp_path) as visitor:
        answer = visitor.ask(
            "POST", "/jobs", data={"machine": "four_track", "complaint": "It squeals <b>", "age": "x"},
        )  # fmt: skip
        assert answer.status_code == 422
        assert "It squeals &lt;b&gt;</textarea>" in answer.text
        assert "Give a number, or leave it empty." in answer.text
        text = machine_text("four_track").replace("kind = ", "kin = ", 2)
        answer = visitor.ask(
            "POST", "/jobs", data={"machine": "", "complaint": "x", "age": ""},
            files={"description": ("mine.toml", text.encode())},
        )  # fmt: skip
        assert answer.status_code == 422
        assert answer.text.count("mine.toml") >= 2
        wrong = visitor.ask("POST", "/jobs", data={"age": ""}, files={"description": ("a.toml", b"\xff\xfe")})
        assert "is not text in UTF-8" in wrong.text
        long = visitor.ask("POST", "/jobs", data={}, files={"description": ("a.toml", b"#" * 1_000_001)})
        assert (long.status_code, "larger than 1 MB" in long.text) == (422, True)
        assert visitor.store.jobs().total == 0


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "0 bytes"),
        (b"RIFF\x00\x00\x00\x00WAVEnonsense", "no sound file that can be read"),
        (b"hello" * 50, "no sound file that can be read"),
    ],
)
def test_a_broken_recording_gets_a_sentence_and_leaves_nothing_behind(
    tmp_path: Path, content: bytes, says: str
) -> None:
    with Visitor(tmp_path) as visitor:
        job = visitor.begin()
        put = visitor.ask("PUT", f"{job}/recordings?name=tape.wav", content=content)
        assert put.status_code == 422
        (problem,) = put.json()["problems"]
        assert problem["where"] == "tape.wav"
        assert says in problem["found"]
        assert problem["do"]
        posted = visitor.ask("POST", f"{job}/recordings", data={"tone": ""}, files={"recording": ("tape.wav", content)})
        assert (posted.status_code, says in posted.text) == (422, True)
        assert "Recordings of a test tone" in posted.text, "the form is on the same page"
        assert not list(tmp_path.glob("files/*/*"))


def test_a_recording_comes_by_a_plain_form_too(tmp_path: Path) -> None:
    path = tone_with_flutter(tmp_path / "a.wav", seconds=3.0)
    with Visitor(tmp_path / "home") as visitor:
        job = visitor.begin()
        file = {"recording": ("a.wav", path.read_bytes())}
        posted = visitor.ask("POST", f"{job}/recordings", data={"tone": "3150"}, files=file)
        assert (posted.status_code, posted.headers["location"]) == (303, f"{job}/recordings")
        assert "Test tone" in visitor.measured(job)
        for tone in ("9", "x", "90000"):
            refused = visitor.ask("POST", f"{job}/recordings", data={"tone": tone}, files=file)
            assert (refused.status_code, "tone on the test tape" in refused.text) == (422, True)
        nothing = visitor.ask("POST", f"{job}/recordings", data={"tone": ""}, files={"recording": ("", b"")})
        assert "No file was chosen" in nothing.text
        assert len(list((tmp_path / "home").glob("files/??/*"))) == 1
        assert not list((tmp_path / "home").rglob(f"*{HALF_WRITTEN}"))


def test_the_clock_of_the_shops_register_is_taken_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A clock 5000 ppm fast would be broken; one 1000 ppm fast shows every tone 0.1 % too low."""
    monkeypatch.setenv("TAPEWRIGHT_DATA", str(tmp_path))
    path = tone_with_flutter(tmp_path / "a.wav", seconds=3.0)
    said = []
    for ppm in (0.0, 1000.0):
        (tmp_path / "measuring.toml").write_text(f"schema = 1\n[sound_card]\nclock_error_ppm = {ppm}\n", "utf-8")
        with Visitor(tmp_path / f"{ppm:.0f}") as visitor:
            job = visitor.begin()
            visitor.ask(
                "POST", f"{job}/recordings", data={"tone": ""}, files={"recording": ("a.wav", path.read_bytes())}
            )
            found = re.search(r"speed error</th><td[^>]*>([-+.0-9]+)", visitor.measured(job))
            assert found is not None
            said.append(float(found.group(1)))
    assert said[1] - said[0] == pytest.approx(0.1, abs=0.005)


def test_a_recording_that_cannot_be_measured_says_so_on_the_page(tmp_path: Path) -> None:
    silent = tone_with_flutter(tmp_path / "a.wav", seconds=2.0)
    content = silent.read_bytes()
    with Visitor(tmp_path / "home") as visitor:
        job = visitor.begin()
        visitor.ask("PUT", f"{job}/recordings?name=nothing.wav", content=content[:44] + bytes(len(content) - 44))
        page = visitor.measured(job)
        article = seen(page.partition('class="recording"')[2].partition("</article>")[0])
        assert "This needs mending first nothing.wav" in article


def test_too_much_is_refused_and_deleted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recordings, "MOST_RECORDING_BYTES", 1000)
    with Visitor(tmp_path) as visitor:
        job = visitor.begin()
        put = visitor.ask("PUT", f"{job}/recordings?name=a.wav", content=bytes(1001))
        assert put.status_code == 422
        assert "is larger than" in put.json()["problems"][0]["found"]
        assert not list(tmp_path.glob("files/*/*"))


@pytest.mark.parametrize("fields", [{}, {"sign": "no_such", "present": "yes"}, {"sign": "play_loop", "present": "?"}])
def test_an_answer_that_cannot_be_meant_changes_nothing(tmp_path: Path, fields: dict[str, str]) -> None:
    with Visitor(tmp_path) as visitor:
        job = visitor.begin()
        answer = visitor.post(f"{job}/answer", fields)
        assert answer.status_code == 422
        assert "This needs mending first" in answer.text
        assert visitor.store.job(job.rpartition("/")[2]).answers == ()


@pytest.mark.parametrize(
    "address", ["/jobs/0123456789abcdef", "/jobs/nonsense", "/jobs/..%2f..%2fx", "/nowhere", "/static/none.css"]
)
def test_what_is_not_there_is_said_to_be_missing(tmp_path: Path, address: str) -> None:
    with Visitor(tmp_path) as visitor:
        answer = visitor.get(address)
        assert (answer.status_code, "Not here" in answer.text) == (404, True)


@pytest.mark.parametrize(
    "piece", ["answer", "undo", "remove", "code", "recordings", "sheet", "add", "take-out", "step", "photos", "erase"]
)
def test_changes_to_a_missing_job_are_said_to_be_missing(tmp_path: Path, piece: str) -> None:
    with Visitor(tmp_path) as visitor:
        assert visitor.post(f"/jobs/0123456789abcdef/{piece}", {"sign": "x"}).status_code == 404
        assert visitor.get("/jobs").status_code == 405


def test_a_fault_of_the_program_is_said_to_be_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Visitor(tmp_path) as visitor:
        job = visitor.begin()

        def broken(*_given: object, **_said: object) -> str:
            nothing: dict[str, str] = {}
            return nothing["a key that is not there"]

        monkeypatch.setattr(findings, "html_report", broken)
        answer = visitor.get(f"{job}/report")
        assert answer.status_code == 500
        assert "fault of the program" in answer.text
        assert "Traceback" not in answer.text
        assert "a key that" not in answer.text


def test_a_job_survives_a_crash(tmp_path: Path) -> None:
    path = tone_with_flutter(tmp_path / "a.wav", seconds=3.0)
    with Visitor(tmp_path / "home") as visitor:
        job = visitor.begin(complaint="slow and uneven")
        visitor.say(job, "play_tape_uneven", "yes")
        visitor.ask("PUT", f"{job}/recordings?name=a.wav", content=path.read_bytes())
        # Nothing is said to this bench any more: it is left as a crash would leave it.
        half = tmp_path / "home" / "files" / INCOMING / f"0123{HALF_WRITTEN}"
        half.write_bytes(b"RIFF")
        os.utime(half, (0, 0))
        with Visitor(tmp_path / "home") as another:
            assert not half.exists(), "what never came whole is swept away"
            assert "slow and uneven" in another.get("/").text
            page = another.measured(job)
            assert "Test tone" in page
            (answer,) = another.store.job(job.rpartition("/")[2]).answers
            assert answer.what == Answer("play_tape_uneven", True)


def test_a_job_whose_signs_are_gone_can_still_be_mended(tmp_path: Path) -> None:
    with Visitor(tmp_path) as visitor:
        job = visitor.begin()
        visitor.store.add(job.rpartition("/")[2], Answer("of_an_older_version", True))
        page = visitor.get(job).text
        assert "of_an_older_version" in page
        assert visitor.get(f"{job}/report").status_code == 422
        visitor.post(f"{job}/remove", {"sign": "of_an_older_version"})
        assert "Next check" in visitor.get(job).text


def test_a_job_leaves_the_list_when_it_leaves_the_shop_and_is_found_by_its_words(tmp_path: Path) -> None:
    with Visitor(tmp_path) as visitor:
        job = visitor.begin(complaint="mended and gone")
        assert visitor.post(f"{job}/sheet", {"status": "handed over"}).headers["location"] == f"{job}/sheet"
        assert "mended and gone" not in visitor.get("/").text
        assert "mended and gone" in visitor.get("/?q=gone&status=all").text
        assert "mended and gone" in visitor.get("/?status=handed+over").text


def test_a_machine_is_known_by_its_number_over_the_years(tmp_path: Path) -> None:
    path = tone_with_flutter(tmp_path / "a.wav", seconds=6.0)
    with Visitor(tmp_path / "home") as visitor:
        job = visitor.begin("four_track", "it wavers")
        visitor.post(f"{job}/sheet", {"serial": "0017"})
        visitor.ask("PUT", f"{job}/recordings?name=a.wav&stage=before", content=path.read_bytes())
        visitor.measured(job)
        for _ in range(100):
            readings = visitor.store.job(job.rpartition("/")[2]).readings
            if readings:
                break
            time.sleep(0.05)
        assert {"speed_error_pct", "weighted_rms_pct"} <= {entry.what.name for entry in readings}
        again = visitor.begin("four_track", "it wavers again")
        visitor.post(f"{again}/sheet", {"serial": "0017"})
        page = seen(visitor.get(f"{again}/years").text)
        assert "Number 0017" in page
        assert "before" in page
        assert "Three days with measurements are needed" in page
        assert "No serial number" in visitor.get(f"{visitor.begin()}/years").text


@pytest.mark.parametrize(("whose", "form"), [("owner", "html"), ("owner", "pdf"), ("bench", "html"), ("bench", "pdf")])
def test_a_machine_is_handed_over_with_paper(tmp_path: Path, whose: str, form: str) -> None:
    with Visitor(tmp_path) as visitor:
        job = visitor.begin("four_track_starter", EVIL)
        visitor.say(job, "play_tape_races", "yes")
        visitor.post(f"{job}/add", {"kind": "part", "what": "A belt", "part": "capstan_belt", "cost": "8,50"})
        answer = visitor.get(f"{job}/hand-over/{whose}.{form}")
        assert answer.status_code == 200
        assert answer.headers["content-type"].startswith("application/pdf" if form == "pdf" else "text/html")
        assert (b"%PDF-" if form == "pdf" else EVIL_SHOWN.encode()) in answer.content
        assert visitor.get(f"{job}/hand-over/{whose}.exe").status_code == 404


def test_what_was_agreed_used_and_undone_stands_on_the_sheet(tmp_path: Path) -> None:
    with Visitor(tmp_path) as visitor:
        job = visitor.begin()
        visitor.post(f"{job}/sheet", {"approved_limit": "50", "currency": "EUR", "approved": "yes"})
        visitor.post(f"{job}/add", {"kind": "work", "what": "Belt fitted", "minutes": "45", "cost": "60"})
        page = seen(visitor.get(f"{job}/sheet").text)
        assert "more than the owner agreed to" in page
        assert "60.00 EUR" in page
        number = len(visitor.store.history(job.rpartition("/")[2]))
        visitor.post(f"{job}/step", {"step": str(number), "do": "undo"})
        page = seen(visitor.get(f"{job}/sheet").text)
        assert "more than the owner agreed to" not in page
        assert "(undone)" in page
        refused = visitor.post(f"{job}/add", {"kind": "work", "what": "x", "minutes": "many"})
        assert (refused.status_code, "minutes" in refused.text) == (422, True)


def test_all_jobs_go_out_as_one_zip_and_come_in_elsewhere_once(tmp_path: Path) -> None:
    with Visitor(tmp_path / "here") as here, Visitor(tmp_path / "there") as there:
        here.begin(complaint="it squeals")
        here.begin(complaint="it wavers")
        zipped = here.get("/jobs/in-and-out/jobs.zip")
        assert zipped.headers["content-type"] == "application/zip"
        for said in ("2 new here", "2 known, and nothing new"):
            answer = there.ask("POST", "/jobs/in-and-out", files={"zip": ("jobs.zip", zipped.content)})
            assert (answer.status_code, said in seen(answer.text)) == (200, True)
        assert there.store.jobs().total == 2
        for content in (b"", b"PK nonsense"):
            refused = there.ask("POST", "/jobs/in-and-out", files={"zip": ("jobs.zip", content)})
            assert (refused.status_code, "This needs mending first" in refused.text) == (422, True)
            assert "<b>jobs.zip</b>" in refused.text, "the user's own name for it, and no place on this computer's disk"
        assert not list((tmp_path / "there").rglob("*.part"))
