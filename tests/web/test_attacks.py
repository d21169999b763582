"""Attacks on the bench, each with what the attacker would see. None gets through; each of them could.

Here are those by pages and files. Those on signing in are in `test_attacks_on_sign_in.py`; those by zips in
`test_attacks_by_zip.py`; those that need bytes which no browser sends, and a real port, in `test_attacks_by_wire.py`.
"""

import io
import json
import re
import struct
import zipfile
import zlib
from importlib.resources import files
from pathlib import Path
from urllib.parse import quote

import numpy as np
import pytest
import soundfile
from starlette.routing import Route

from tapewright.jobs.people import PEOPLE_FILE
from tapewright.jobs.store.files import INCOMING
from tapewright.jobs.store.nouns import Note, Owner, Particulars, PartUsed
from tapewright.machine.library import shipped
from tapewright.web import jobsheet, recordings
from tests.web.attacker import AT_SHOP, ELSEWHERE, EVIL, PASSWORD, SECRET, alive, secret_job, sign_in
from tests.web.visitor import HERE, Visitor, tone_with_flutter

PORTABLE = "one_motor_portable_starter"
FOUR_TRACK = "four_track_starter"
FORM = "application/x-www-form-urlencoded"


def words(visitor: Visitor, job: str) -> str:
    return visitor.store.job(job.removeprefix("/jobs/")).particulars.complaint


def begun(visitor: Visitor) -> int:
    return visitor.store.jobs().total


# --- another name, another page ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("host", ["elsewhere.invalid", "elsewhere.invalid:8137", "192.168.0.7:8137", "0.0.0.0:8137"])
def test_a_name_rebound_to_this_address_reads_nothing(bench: Visitor, job: str, host: str) -> None:
    answer = bench.get(job, headers={"host": host})
    assert (answer.status_code, SECRET in answer.text) == (421, False)
    assert SECRET in bench.get(job).text, "or the test looks for something that is never there"


@pytest.mark.parametrize(
    "host",
    ["127.0.0.1.elsewhere.invalid", "localhost.elsewhere.invalid", "localhost.", "localhost:8137@elsewhere.invalid",
     "localhost, elsewhere.invalid",  "localhost:99999999", "2130706433", "127.1", "0177.0.0.1", "[::ffff:127.0.0.1]",
     "[::1%25lo]", "[::1].elsewhere.invalid",
     "l\u00f6calhost", "localhost\u00a0", "localhost:8137/x", "", " ", ":8137"],
)  # fmt: skip
def test_host_header_tricks_are_turned_away(bench: Visitor, job: str, host: str) -> None:
    answer = bench.get(job, headers={"host": host.encode("latin-1")})
    assert (answer.status_code, SECRET in answer.text) == (421, False)


@pytest.mark.parametrize("host", ["LOCALHOST:1", "[0:0:0:0:0:0:0:1]:8137", "[::1]"])
def test_the_same_name_written_otherwise_is_no_stranger(bench: Visitor, host: str) -> None:
    assert bench.get("/", headers={"host": host}).status_code == 200


@pytest.mark.parametrize("host", ["other.example", "192.168.0.8", "bench.example.invalid", "b\u0435nch.example"])
def test_on_a_network_too_only_its_own_names_count(stranger: Visitor, host: str) -> None:
    answer = stranger.get("/", headers={"host": host.encode("utf-8")})
    assert answer.status_code == 421


@pytest.mark.parametrize("kind", [FORM, "text/plain", "multipart/form-data; boundary=x", "application/json"])
@pytest.mark.parametrize(
    "origin", [ELSEWHERE, "null", "http://127.0.0.1:8138", "https://127.0.0.1:8137", HERE + ".invalid"]
)
def test_a_page_elsewhere_cannot_send_a_form(bench: Visitor, kind: str, origin: str) -> None:
    before = begun(bench)
    body = f"machine={FOUR_TRACK}&complaint=x"
    answer = bench.ask("POST", "/jobs", content=body, headers={"content-type": kind, "origin": origin})
    assert (answer.status_code, begun(bench)) == (403, before)


def test_a_form_without_origin_is_none_of_ours(bench: Visitor) -> None:
    before = begun(bench)
    body = f"machine={FOUR_TRACK}&complaint=x"
    for site in ("", "cross-site", "same-site", "none"):
        headers = {"content-type": FORM, "origin": "", "sec-fetch-site": site}
        assert bench.ask("POST", "/jobs", content=body, headers=headers).status_code == 403
    assert begun(bench) == before


def test_plain_text_that_looks_like_a_form_is_no_form(bench: Visitor) -> None:
    before = begun(bench)
    body = f"machine={FOUR_TRACK}&complaint=x"
    assert bench.ask("POST", "/jobs", content=body, headers={"content-type": "text/plain"}).status_code == 422
    assert begun(bench) == before


def test_a_page_without_tls_cannot_change_the_bench_with_it(stranger: Visitor) -> None:
    sign_in(stranger)
    before = begun(stranger)
    fields = {"machine": FOUR_TRACK, "complaint": "x"}
    assert stranger.post("/jobs", fields, headers={"origin": AT_SHOP.replace("https", "http")}).status_code == 403
    assert begun(stranger) == before


def test_nobody_is_signed_in_or_out_by_a_page_elsewhere(stranger: Visitor) -> None:
    fields = {"name": "Ana", "password": PASSWORD}
    answer = stranger.post("/sign-in", fields, headers={"origin": ELSEWHERE})
    assert (answer.status_code, "set-cookie" in answer.headers) == (403, False)
    sign_in(stranger)
    assert stranger.post("/sign-out", {}, headers={"origin": ELSEWHERE}).status_code == 403
    assert stranger.get("/arrive").status_code == 200


@pytest.mark.parametrize(
    "headers", [{"x-http-method-override": "POST"}, {"x-method-override": "POST"}, {"x-http-method": "POST"}]
)
def test_a_link_cannot_be_made_a_change(bench: Visitor, job: str, headers: dict[str, str]) -> None:
    bench.get(f"{job}/sheet?_method=POST&complaint=gone&status=put+away", headers=headers)
    assert words(bench, job) == SECRET


def test_no_change_is_made_by_looking(bench: Visitor, job: str) -> None:
    before = len(bench.store.history(job.removeprefix("/jobs/")))
    only_changes = 0
    for route in _routes(bench):
        if "GET" not in (route.methods or ()):
            continue
        bench.get(_filled(route.path, job))
    for piece in ("answer", "undo", "remove", "code", "add", "take-out", "step", "photos", "erase"):
        only_changes += bench.get(f"{job}/{piece}").status_code in (404, 405)
    assert only_changes == 9
    assert len(bench.store.history(job.removeprefix("/jobs/"))) == before


def _routes(visitor: Visitor) -> list[Route]:
    routes = visitor.app.app.router.routes  # type: ignore[attr-defined]
    return [one for one in routes if isinstance(one, Route) and one.methods is not None]


def _filled(path: str, job: str) -> str:
    return re.sub(r"\{\w+\}", "x", path.replace("/jobs/{job_id}", job))


@pytest.mark.parametrize("dest", ["script", "image", "empty", "iframe", "object", "style"])
def test_a_page_elsewhere_cannot_hold_a_part_of_ours(bench: Visitor, job: str, dest: str) -> None:
    mode = "navigate" if dest in ("iframe", "object") else "no-cors"
    headers = {"sec-fetch-site": "cross-site", "sec-fetch-mode": mode, "sec-fetch-dest": dest}
    for address in (f"{job}/findings.json", f"{job}/sheet", "/"):
        answer = bench.get(address, headers=headers)
        assert (answer.status_code, SECRET in answer.text) == (403, False)
    link = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}
    assert bench.get("/", headers=link).status_code == 200, "a link to the bench is none of that"


def test_a_page_elsewhere_is_not_told_that_it_may_read(bench: Visitor, job: str) -> None:
    for method in ("OPTIONS", "GET"):
        asked = {"origin": ELSEWHERE, "access-control-request-method": "POST"}
        given = bench.ask(method, job, headers=asked).headers
        assert [name for name in given if name.startswith("access-control")] == []
        assert given["cross-origin-resource-policy"] == "same-origin"


def test_no_page_of_ours_can_be_laid_under_another(bench: Visitor, job: str) -> None:
    for address in ("/", job, f"{job}/sheet", f"{job}/report", "/nowhere", "/who"):
        headers = bench.get(address).headers
        assert "frame-ancestors 'none'" in headers["content-security-policy"]
        assert headers["x-frame-options"] == "DENY"


# --- out of the folder ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "climb",
    ["../people.json", "..%2fpeople.json", "%2e%2e%2fpeople.json", "..%5cpeople.json", "....//people.json",
     "%252e%252e%252fpeople.json", "%2fetc%2fpasswd", "..;/people.json", "..%c0%afpeople.json", "people.json%00.wav",
     "jobs.sqlite", "../jobs.sqlite"],
)  # fmt: skip
def test_no_address_leads_out_of_the_jobs(lan: Visitor, stranger: Visitor, climb: str) -> None:
    sign_in(stranger)
    job = f"/jobs/{secret_job(lan.store)}"
    assert (lan.gate._home / PEOPLE_FILE).exists()
    for before in ("/", "/jobs/", f"{job}/", f"{job}/photos/", f"{job}/charts/", f"{job}/chain/", "/static/"):
        answer = stranger.get(before + climb)
        assert answer.status_code in (400, 404), before
        assert "argon2" not in answer.text
        assert b"SQLite format" not in answer.content
        assert "root:" not in answer.text


@pytest.mark.parametrize(
    "name",
    [
        "../../people.json",
        "/etc/passwd",
        "..\\..\\people.json",
        "C:\\x.wav",
        "a/../../b.wav",
        ".",
        "",
        "x" * 5000 + ".wav",
    ],
)
def test_no_file_is_put_where_its_name_says(bench: Visitor, job: str, tmp_path: Path, name: str) -> None:
    home = bench.gate._home
    content = tone_with_flutter(tmp_path / "a.wav", seconds=1.0).read_bytes()
    outside = sorted(home.parent.iterdir())
    answer = bench.ask("PUT", f"{job}/recordings?name={quote(name, safe='')}", content=content)
    assert answer.status_code == 201
    (entry,) = bench.store.job(job.removeprefix("/jobs/")).files
    assert not set(entry.what.called) & set("/\\")
    assert bench.store.file_path(entry.what.sha256).is_relative_to(home / "files")
    assert sorted(home.parent.iterdir()) == outside
    assert not (home / PEOPLE_FILE).exists()


def test_a_nought_character_gets_nowhere(bench: Visitor, job: str) -> None:
    for address in ("/%00", f"{job}%00", "/?q=%00", f"{job}/found?q=x%00y", "/static/bench.css%00.js"):
        assert bench.get(address).status_code in (400, 404)
    for piece, field in (
        ("sheet", "complaint"),
        ("add", "once"),
        ("take-out", "item"),
        ("code", "code"),
        ("sheet", "a\0"),
    ):
        answer = bench.post(f"{job}/{piece}", {field: "a\0b"})
        assert (answer.status_code, "nought character" in answer.text) == (422, True)
    assert bench.post("/jobs", {"machine": FOUR_TRACK, "owner_id": "\0"}).status_code == 422
    assert words(bench, job) == SECRET


@pytest.mark.parametrize(
    "old_and_new",
    [("[machine]", 'include = "/etc/passwd"\n[machine]'),
     ("[machine]", '[machine]\nphoto = "../people.json"'), ("[rotors.counter]", '[rotors."../../evil"]')],
)  # fmt: skip
def test_no_path_in_a_description_is_followed(bench: Visitor, old_and_new: tuple[str, str]) -> None:
    text = _described(*old_and_new)
    before = begun(bench)
    answer = bench.ask("POST", "/jobs", files={"description": ("../../mine.toml", text)}, data={"complaint": "x"})
    assert (answer.status_code, "root:" in answer.text, begun(bench)) == (422, False, before)


def _described(old: str, new: str) -> str:
    text = (files("tapewright.machine.library") / f"{PORTABLE}.toml").read_text(encoding="utf-8")
    assert old in text
    return text.replace(old, new, 1)


# --- words that come alive --------------------------------------------------------------------------------------------


def _pages_of(visitor: Visitor, job: str) -> dict[str, str]:
    pieces = (
        "",
        "/ticket",
        "/recordings",
        "/findings",
        "/plan",
        "/proof",
        "/sheet",
        "/drawing",
        "/report",
        "/found?q=x",
    )
    addresses = ["/", f"/?q={quote(EVIL)}&status=all", *(f"{job}{piece}" for piece in pieces)]
    return {address: visitor.get(address).text for address in addresses}


def test_the_search_for_what_is_alive_can_fail() -> None:
    assert len(alive(EVIL)) == 3
    assert alive('<a href="javascript:x()">') == ["<a href=javascript:x()>"]
    assert alive('<script src="//elsewhere.invalid/static/x.js"></script><iframe>') == ["<script>", "<iframe>"]


def test_what_an_owner_says_stays_words(bench: Visitor) -> None:
    told = dict.fromkeys(("complaint", "condition", "serial", "name", "reach", "accessories"), EVIL)
    answer = bench.post("/jobs", {"machine": FOUR_TRACK, **told})
    job = answer.headers["location"].removesuffix("/ticket")
    shown = _pages_of(bench, job)
    assert {address: alive(page) for address, page in shown.items() if alive(page)} == {}
    assert shown[f"{job}/sheet"].count("&lt;script&gt;alert(1)") >= 6, "all of it is shown, as words"


def test_what_the_bench_writes_stays_words(bench: Visitor, job: str) -> None:
    bench.store.add(job.removeprefix("/jobs/"), Note(EVIL), PartUsed(EVIL, EVIL), who=EVIL, how=EVIL)
    page = bench.get(f"{job}/sheet").text
    assert alive(page) == []
    assert page.count("&lt;script&gt;alert(1)") >= 4


def test_what_is_wrong_is_said_in_words(bench: Visitor, job: str) -> None:
    answers = [
        bench.post("/jobs", {"machine": EVIL, "age": EVIL, "due": EVIL}),
        bench.post(f"{job}/sheet", {"status": EVIL}),
        bench.post(f"{job}/answer", {"sign": EVIL, "present": EVIL}),
        bench.post(f"{job}/code", {"code": EVIL}),
        bench.get(f"/{quote(EVIL)}"),
        bench.get(f"/jobs/{quote(EVIL)}"),
        bench.get("/", headers={"host": "<script>alert(1)</script>"}),
    ]
    for answer in answers:
        assert answer.status_code >= 400
        assert answer.headers["content-type"].startswith("text/plain") or alive(answer.text) == []


def test_what_a_file_is_called_stays_words(bench: Visitor, job: str, tmp_path: Path) -> None:
    content = tone_with_flutter(tmp_path / "a.wav", seconds=1.0).read_bytes()
    bench.ask("PUT", f"{job}/recordings?name={quote(EVIL)}.wav", content=content)
    bench.ask("POST", f"{job}/photos", files={"photo": (EVIL, _png(2, 2))}, data={"note": EVIL})
    bench.measured(job)
    assert {address: alive(page) for address, page in _pages_of(bench, job).items() if alive(page)} == {}
    refused = bench.ask("PUT", f"{job}/recordings?name={quote(EVIL)}", content=b"none")
    assert refused.headers["content-type"] == "application/json"  # put into the page by its script, as text


def test_tags_inside_a_recording_stay_words(bench: Visitor, job: str, tmp_path: Path) -> None:
    for kind in ("wav", "flac", "ogg"):
        path = tmp_path / f"a.{kind}"
        with soundfile.SoundFile(path, "w", 44100, 1) as file:
            for tag in ("title", "artist", "comment", "software"):
                setattr(file, tag, EVIL)
            file.write(0.3 * np.sin(np.arange(44100) * 0.4488))
        assert b"onerror" in path.read_bytes(), "or nothing is tried"
        assert bench.ask("PUT", f"{job}/recordings?name=a.{kind}", content=path.read_bytes()).status_code == 201
    bench.measured(job)
    assert {address: alive(page) for address, page in _pages_of(bench, job).items() if alive(page)} == {}


def test_what_a_description_says_stays_words_in_pages_and_drawings(bench: Visitor) -> None:
    text = _described(f"title = {json.dumps(shipped(PORTABLE).title)}", f"title = {json.dumps(EVIL)}")
    text = text.replace(f'id = "{PORTABLE}"', 'id = "../../../evil<script>"', 1)
    answer = bench.ask("POST", "/jobs", files={"description": (EVIL, text)}, data={"complaint": "slow"})
    assert answer.status_code == 303
    job = answer.headers["location"].removesuffix("/ticket")
    shown = _pages_of(bench, job)
    assert {address: alive(page) for address, page in shown.items() if alive(page)} == {}
    assert "<svg" in shown[f"{job}/drawing"]
    assert any("&lt;script&gt;alert(1)" in page for page in shown.values()), "it is shown, as words"
    assert list(bench.gate._home.parent.rglob("*evil*")) == [], "and the id of a machine becomes no path"


def test_who_is_at_the_bench_stays_words(bench: Visitor) -> None:
    bench.post("/who", {"who": EVIL})
    page = bench.get("/").text
    assert ("&lt;img" in page, alive(page)) == (True, [])
    bench.post("/who", {"who": ""})


def test_an_exported_job_stays_words(bench: Visitor) -> None:
    job_id = bench.store.begin(Particulars(FOUR_TRACK, complaint=EVIL, serial=EVIL), Owner(name=EVIL)).id
    with zipfile.ZipFile(io.BytesIO(bench.get(f"/jobs/{job_id}/export.zip").content)) as archive:
        for name in archive.namelist():
            if name.endswith(".html"):
                assert alive(archive.read(name).decode()) == []
        assert "index.html" in archive.namelist()


def test_no_answer_can_be_taken_for_a_page_that_is_none(bench: Visitor, job: str) -> None:
    bench.post(f"{job}/sheet", {"complaint": "<html><script>alert(1)</script>"})
    for address, kind in (
        ("evidence.json", "application/json"),
        ("findings.json", "application/json"),
        ("export.zip", "application/zip"),
    ):
        headers = bench.get(f"{job}/{address}").headers
        assert (headers["content-type"].partition(";")[0], headers["x-content-type-options"]) == (kind, "nosniff")
        assert headers["cache-control"] == "no-store"


# --- files that are not what they seem --------------------------------------------------------------------------------


def _png(width: int, height: int, after: bytes = b"") -> bytes:
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    rows = zlib.compress(b"\0" * min(1_000_000, height * (width + 1)), 9)
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", rows) + chunk(b"IEND", b"") + after


@pytest.mark.parametrize(
    "content",
    [b"<html><script>alert(1)</script>", b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>",
     b"GIF89a<script>", b"%PDF-1.4", b"", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n<script>alert(1)</script>"],
)  # fmt: skip
def test_a_photo_that_is_none_is_not_kept(bench: Visitor, job: str, content: bytes) -> None:
    answer = bench.ask("POST", f"{job}/photos", files={"photo": ("a.jpg", content, "image/jpeg")})
    assert answer.status_code == 422
    assert bench.store.job(job.removeprefix("/jobs/")).files == ()


def test_a_photo_with_a_page_behind_it_is_given_as_a_photo(bench: Visitor, job: str) -> None:
    content = _png(2, 2, b"<html><script>alert(1)</script>")
    assert bench.ask("POST", f"{job}/photos", files={"photo": ("a.html", content, "text/html")}).status_code == 303
    (entry,) = bench.store.job(job.removeprefix("/jobs/")).files
    headers = bench.get(f"{job}/photos/{entry.what.sha256}").headers
    assert (headers["content-type"], headers["x-content-type-options"]) == ("image/png", "nosniff")


def test_a_small_picture_that_unpacks_to_a_wall_is_not_kept(bench: Visitor, job: str) -> None:
    content = _png(60_000, 60_000)
    assert len(content) < 10_000
    answer = bench.ask("POST", f"{job}/photos", files={"photo": ("a.png", content)})
    assert (answer.status_code, "60000 by 60000" in answer.text) == (422, True)


def test_a_file_of_another_job_is_not_given_out_under_this_one(bench: Visitor, job: str) -> None:
    bench.ask("POST", f"{job}/photos", files={"photo": ("a.png", _png(2, 2))})
    (entry,) = bench.store.job(job.removeprefix("/jobs/")).files
    assert bench.get(f"/jobs/{secret_job(bench.store)}/photos/{entry.what.sha256}").status_code == 404


@pytest.mark.parametrize("length", [None, "1000000000000"])
def test_what_is_too_long_is_cut_off_and_deleted(
    bench: Visitor, job: str, monkeypatch: pytest.MonkeyPatch, length: str | None
) -> None:
    monkeypatch.setattr(recordings, "MOST_RECORDING_BYTES", 100_000)
    sent = 0

    async def blocks() -> object:
        nonlocal sent
        for _ in range(1000):
            sent += 65536
            yield b"\0" * 65536

    headers = {} if length is None else {"content-length": length}
    answer = bench.ask("PUT", f"{job}/recordings?name=a.wav", content=blocks(), headers=headers)
    assert answer.status_code == 422
    assert "larger" in answer.text
    assert bench.store.job(job.removeprefix("/jobs/")).files == ()
    assert list((bench.gate._home / "files" / INCOMING).iterdir()) == []


def test_a_photo_too_large_is_cut_off(bench: Visitor, job: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jobsheet, "MOST_PHOTO_BYTES", 1000)
    answer = bench.ask("POST", f"{job}/photos", files={"photo": ("a.png", _png(2, 2, b"\0" * 5000))})
    assert (answer.status_code, bench.store.job(job.removeprefix("/jobs/")).files) == (422, ())
    assert list((bench.gate._home / "files" / INCOMING).iterdir()) == []


def test_a_search_is_words_and_no_question_to_the_database(bench: Visitor, job: str) -> None:
    everything = begun(bench)
    assert everything > 1
    for said in (
        "' OR 1=1 --",
        "x' UNION SELECT name FROM owner --",
        '"; DROP TABLE job; --',
        "%",
        "secr_t",
        "se%t",
        "\\",
        "*",
        "x') OR ('1'='1",
    ):
        page = bench.get(f"/?q={quote(said)}&status=all").text
        assert SECRET not in page, said
        assert bench.get(f"{job}/found?q={quote(said)}").status_code == 200
    assert begun(bench) == everything
    assert SECRET in bench.get(f"/?q={quote(SECRET)}&status=all").text


def test_a_forged_number_of_a_step_or_an_entry_does_nothing(bench: Visitor, job: str) -> None:
    other = secret_job(bench.store)
    bench.store.add(other, Note("stays"))
    (note,) = bench.store.job(other).notes
    assert bench.post(f"{job}/take-out", {"item": note.id}).status_code == 422
    for step in ("1", "-1", "99999999999999999999", "1 OR 1=1", "\u0661"):
        assert bench.post(f"{job}/step", {"step": step, "do": "undo"}).status_code in (404, 422), step
    assert [one.what.text for one in bench.store.job(other).notes] == ["stays"]


def test_where_a_form_leads_back_to_is_of_this_bench(bench: Visitor, job: str) -> None:
    said = {
        "sign": "play_tape_races",
        "present": "yes",
        "q": "x\r\nSet-Cookie: a=b",
        "part": "//elsewhere.invalid",
        "back": ELSEWHERE,
    }
    answer = bench.post(f"{job}/answer", said)
    assert answer.status_code == 303
    assert answer.headers["location"].startswith(f"{job}?q=")
    assert "set-cookie" not in answer.headers


MALFORMED = [
    b"", b"--x", b"--x\r\n\r\n\r\n--x--", b"--x\r\nContent-Disposition: form-data\r\n\r\nx\r\n--x--",
    b"--x\r\nContent-Disposition: form-data; name=\"complaint\"\r\n\r\nno end", b"--x words\r\n\r\n--x--",
    b"--x\r\n" + b"A: b\r\n" * 5000, b"--x" + b" " * 20_000, b"\r\n" * 100_000,
    b"--x\r\nContent-Disposition: form-data; name=\"a\"\r\n\r\n" + b"y" * 300_000 + b"\r\n--x--",
    b"".join(b"--x\r\nContent-Disposition: form-data; name=\"%d\"\r\n\r\ny\r\n" % i for i in range(60)) + b"--x--",
    b"--x\r\nContent-Disposition: form-data; name=\"complaint\"; name=\"machine\"\r\n\r\ny\r\n--x--",
]  # fmt: skip


@pytest.mark.parametrize("body", MALFORMED, ids=range(len(MALFORMED)))
def test_a_malformed_form_is_refused_and_begins_nothing(bench: Visitor, body: bytes) -> None:
    before = begun(bench)
    answer = bench.ask("POST", "/jobs", content=body, headers={"content-type": "multipart/form-data; boundary=x"})
    assert (answer.status_code, begun(bench)) == (422, before)


@pytest.mark.parametrize(
    "body", ["a=b&" * 60, "complaint=" + "x" * 300_000, "%", "%zz=%zz", "=&=&=", "complaint=%ff%fe&machine=%00"]
)
def test_a_form_of_too_much_or_of_nonsense_is_refused(bench: Visitor, body: str) -> None:
    before = begun(bench)
    answer = bench.ask("POST", "/jobs", content=body, headers={"content-type": FORM})
    assert (answer.status_code, begun(bench)) == (422, before)
