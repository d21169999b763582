"""Attacks on signing in, on sessions and on roles, each with what the attacker would see."""

import asyncio
import ipaddress
import os
import re
import stat
import threading
from collections.abc import Callable

import pytest
from starlette.routing import Route

from tapewright.jobs import people
from tapewright.jobs.people import PEOPLE_FILE, Person, Role, remove_person, set_person
from tapewright.web import signing_in
from tapewright.web.present import COUNTER_SAYS
from tapewright.web.sessions import FREE_TRIES, IDLE_S, LONGEST_S, MOST_AT_ONCE, Sessions, Throttle
from tests.web.attacker import EVIL, PASSWORD, SECRET, secret_job, sign_in
from tests.web.visitor import Visitor

WRONG = "a wrong password"


class Clock:
    """A clock that goes when it is told to."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def clock(stranger: Visitor) -> Clock:
    """The clock that the bench's sessions go by."""
    clock = Clock()
    stranger.gate.sessions, stranger.gate.throttle = Sessions(clock), Throttle(clock)
    return clock


def inside(visitor: Visitor) -> bool:
    answer = visitor.get("/")
    assert answer.status_code in (200, 303)
    return answer.status_code == 200


def cookie(visitor: Visitor) -> str:
    return visitor.cookies.get(visitor.gate.cookie) or ""


# --- without a session ------------------------------------------------------------------------------------------------


def test_who_has_not_signed_in_sees_nothing_at_any_address(stranger: Visitor) -> None:
    job = f"/jobs/{secret_job(stranger.store)}"
    seen = 0
    for method, address in addresses(stranger, job):
        if re.fullmatch("/sign-in|/sign-out|/favicon.ico", address):
            continue
        answer = stranger.ask(method, address, content=b"complaint=x", headers={"content-type": "text/plain"})
        assert answer.status_code in (303, 401), f"{method} {address}"
        assert SECRET not in answer.text
        assert answer.headers.get("location", "/sign-in").startswith("/sign-in")
        seen += 1
    assert seen > 30
    assert stranger.store.job(job.removeprefix("/jobs/")).particulars.complaint == SECRET


def addresses(visitor: Visitor, job: str) -> list[tuple[str, str]]:
    """Give every method and address that the bench answers to, and two that it does not."""
    routes = [one for one in visitor.app.app.router.routes if isinstance(one, Route)]  # type: ignore[attr-defined]
    filled = [
        (one.methods or set(), re.sub(r"\{\w+\}", "x", one.path.replace("/jobs/{job_id}", job))) for one in routes
    ]
    return [(method, address) for methods, address in filled for method in sorted(methods)] + [
        ("DELETE", job), ("GET", "/nowhere"),
    ]  # fmt: skip


def test_a_job_that_is_there_looks_like_one_that_is_not(stranger: Visitor) -> None:
    there, not_there = stranger.get(f"/jobs/{secret_job(stranger.store)}"), stranger.get("/jobs/0123456789abcdef")
    assert there.status_code == not_there.status_code == 303


@pytest.mark.parametrize("token", ["", "x", "0" * 43, "../../x", "None", "\u00e9", "a=b", "x" * 8000])
def test_a_made_up_session_is_none(stranger: Visitor, token: str) -> None:
    sign_in(stranger)
    stranger.cookies.clear()
    headers = {"cookie": f"{stranger.gate.cookie}={token}".encode("latin-1")}
    assert stranger.get("/", headers=headers).status_code == 303


def test_a_session_under_a_name_that_another_program_can_set_is_none(stranger: Visitor) -> None:
    sign_in(stranger)
    token = cookie(stranger)
    stranger.cookies.clear()
    assert stranger.get("/", headers={"cookie": f"tapewright-session={token}"}).status_code == 303
    assert stranger.get("/", headers={"cookie": f"{stranger.gate.cookie}={token}"}).status_code == 200


def test_the_name_typed_in_passing_lets_nobody_in(stranger: Visitor) -> None:
    assert stranger.get("/", headers={"cookie": "tapewright-who=Ana"}).status_code == 303


# --- passwords --------------------------------------------------------------------------------------------------------


def test_guessing_is_stopped_before_the_right_one_is_tried(stranger: Visitor, clock: Clock) -> None:
    guesses = [f"{WRONG} {n}" for n in range(FREE_TRIES + 3)] + [PASSWORD]
    answers = [sign_in(stranger, password=guess) for guess in guesses]
    assert [one.status_code for one in answers[:FREE_TRIES]] == [422] * FREE_TRIES
    assert {one.status_code for one in answers[FREE_TRIES:]} == {429}
    assert int(answers[-1].headers["retry-after"]) >= 1
    assert not inside(stranger)
    clock.now_s += 301.0
    assert sign_in(stranger).status_code == 303
    assert inside(stranger)


def test_a_day_of_guessing_tries_few(clock: Clock) -> None:
    """The waits bound what one address, and what any number of addresses together, can try at a name."""
    for bits in (0, 16):
        throttle, tried, begun_s = Throttle(clock), 0, clock.now_s
        while clock.now_s < begun_s + 24 * 3600.0:
            address = str(ipaddress.IPv4Address(0x0A000000 + tried % 2**bits))
            wait_s = throttle.begin(address, "Ana")
            if wait_s == 0.0:
                throttle.end(address, "Ana", good=False)
                tried += 1
            clock.now_s += max(wait_s, 0.01)
        assert FREE_TRIES < tried < 3000


def test_many_guesses_at_once_are_no_more_than_some(stranger: Visitor, monkeypatch: pytest.MonkeyPatch) -> None:
    looked_at, lock = 0, threading.Lock()

    def slow(_people: tuple[Person, ...], _name: str, _password: str) -> None:
        nonlocal looked_at
        with lock:
            looked_at += 1

    monkeypatch.setattr(signing_in, "let_in", slow)

    async def at_once() -> list[int]:
        body = b"name=Ana&password=x"
        headers = {"content-type": "application/x-www-form-urlencoded"}
        asked = [stranger._client.post("/sign-in", content=body, headers=headers) for _ in range(40)]
        return [one.status_code for one in await asyncio.gather(*asked)]

    statuses = stranger._loop.run(at_once())
    assert (statuses.count(429) >= 40 - FREE_TRIES, looked_at <= FREE_TRIES) == (True, True)


def test_no_more_passwords_are_looked_at_together_than_there_is_memory_for() -> None:
    throttle = Throttle()
    waits = [throttle.begin(f"10.0.0.{n}", f"name {n}") for n in range(MOST_AT_ONCE + 1)]
    assert [wait > 0.0 for wait in waits] == [False] * MOST_AT_ONCE + [True]


@pytest.mark.parametrize("written", ["ana", " Ana ", "ANA", "\uff21na", "Ana\u00a0"])
def test_a_name_written_otherwise_is_counted_as_the_same(clock: Clock, written: str) -> None:
    throttle = Throttle(clock)
    for n in range(20):
        assert throttle.begin(f"10.0.0.{n}", "Ana") == 0.0
        throttle.end(f"10.0.0.{n}", "Ana", good=False)
    assert throttle.begin("10.0.9.9", written) > 0.0
    assert throttle.begin("10.0.9.8", "Bo") == 0.0


def test_another_address_of_the_same_computer_is_no_new_one(clock: Clock) -> None:
    throttle = Throttle(clock)
    for n in range(FREE_TRIES):
        throttle.begin(f"2001:db8::{n:x}", f"name {n}")
        throttle.end(f"2001:db8::{n:x}", f"name {n}", good=False)
    assert throttle.begin("2001:db8::ffff", "Ana") > 0.0


def test_an_unknown_name_answers_like_a_known_one(stranger: Visitor, monkeypatch: pytest.MonkeyPatch) -> None:
    verified: list[str] = []

    class Counting:
        hash = people._HASHER.hash

        def verify(self, kept: str, password: str) -> bool:
            verified.append(kept)
            return people._HASHER_ASKED.verify(kept, password)  # type: ignore[attr-defined,no-any-return]

    monkeypatch.setattr(people, "_HASHER_ASKED", people._HASHER, raising=False)
    monkeypatch.setattr(people, "_HASHER", Counting())
    known, unknown = sign_in(stranger, "Ana", WRONG), sign_in(stranger, "Nobody", WRONG)
    assert (known.status_code, unknown.status_code) == (422, 422)
    assert known.text.replace("Ana", "") == unknown.text.replace("Nobody", "")
    assert len(verified) == 2, "both cost the same work"
    assert len({kept.rpartition("$")[0].rpartition("$")[0] for kept in verified}) == 1


@pytest.mark.parametrize("name", ["' OR 1=1 --", "Ana\0", "Ana'; DROP TABLE job; --", EVIL, "A" * 100_000, "\u0410na"])
def test_no_other_name_is_ana(stranger: Visitor, name: str) -> None:
    answer = sign_in(stranger, name)
    assert (answer.status_code, inside(stranger)) == (422, False)
    assert "<script>alert" not in answer.text


@pytest.mark.parametrize(
    "password", ["", PASSWORD[:-1], PASSWORD + " ", PASSWORD.upper(), PASSWORD + "\0", "x" * 200_000]
)
def test_no_other_password_will_do(stranger: Visitor, password: str) -> None:
    assert (sign_in(stranger, password=password).status_code, inside(stranger)) == (422, False)


def test_passwords_are_kept_nowhere_and_their_file_is_read_by_its_owner_alone(stranger: Visitor) -> None:
    sign_in(stranger)
    home = stranger.gate._home
    kept = [path for path in home.rglob("*") if path.is_file() and PASSWORD.encode() in path.read_bytes()]
    assert kept == []
    if os.name == "posix":
        assert stat.S_IMODE((home / PEOPLE_FILE).stat().st_mode) == 0o600


# --- sessions ---------------------------------------------------------------------------------------------------------


def test_a_session_laid_in_a_browser_beforehand_is_not_the_one_signed_in(stranger: Visitor) -> None:
    sign_in(stranger, "Bo")
    planted = cookie(stranger)  # the attacker's own, put into Ana's browser
    assert sign_in(stranger, "Ana").status_code == 303
    assert cookie(stranger) not in ("", planted)
    stranger.cookies.clear()
    assert stranger.get("/", headers={"cookie": f"{stranger.gate.cookie}={planted}"}).status_code == 303, "it is ended"


def test_ids_are_drawn_at_random_and_kept_as_no_one_can_use_them() -> None:
    sessions = Sessions()
    ana = Person("Ana", Role.BENCH, "x")
    drawn = {sessions.begin(ana) for _ in range(200)}
    assert len(drawn) == 200
    assert min(map(len, drawn)) >= 43  # 32 bytes, RFC 4648 base64 without padding
    assert not drawn & set(sessions._open)


def test_a_session_cookie_is_out_of_reach_of_scripts_and_other_sites(stranger: Visitor) -> None:
    said = sign_in(stranger).headers["set-cookie"].lower()
    for word in ("httponly", "samesite=strict", "secure", "path=/", "__host-"):
        assert word in said
    assert "domain" not in said


@pytest.mark.parametrize("later_s", [IDLE_S + 1.0, LONGEST_S + 1.0])
def test_a_session_left_open_ends(stranger: Visitor, clock: Clock, later_s: float) -> None:
    sign_in(stranger)
    end_s, step_s = clock.now_s + later_s, (IDLE_S - 1.0 if later_s > IDLE_S + 1.0 else later_s)
    while clock.now_s + step_s < end_s:
        clock.now_s += step_s
        assert inside(stranger), "it is in use"
    clock.now_s = end_s
    assert not inside(stranger)


def test_after_signing_out_the_way_back_shows_nothing(stranger: Visitor) -> None:
    sign_in(stranger)
    page, token = stranger.get("/arrive"), cookie(stranger)
    assert page.headers["cache-control"] == "no-store"
    gone = stranger.post("/sign-out", {})
    assert "cache" in gone.headers["clear-site-data"]
    assert cookie(stranger) == ""
    assert stranger.get("/arrive", headers={"cookie": f"{stranger.gate.cookie}={token}"}).status_code == 303


@pytest.mark.parametrize(
    "change",
    [lambda home: remove_person(home, "Cy"), lambda home: set_person(home, "Cy", Role.COUNTER, PASSWORD),
     lambda home: set_person(home, "Cy", Role.BENCH, "another invented password")],
    ids=["removed", "another role", "another password"],
)  # fmt: skip
def test_who_is_no_longer_as_they_were_is_out_at_once(stranger: Visitor, change: Callable[..., object]) -> None:
    home = stranger.gate._home
    set_person(home, "Cy", Role.BENCH, PASSWORD)
    sign_in(stranger, "Cy")
    assert inside(stranger)
    change(home)
    assert not inside(stranger)


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"schema": 1, "people": []}', '{"schema": 1, "people": [{"name": "Ana"}]}']
)
def test_a_damaged_list_of_people_lets_nobody_in(stranger: Visitor, text: str) -> None:
    sign_in(stranger)
    path = stranger.gate._home / PEOPLE_FILE
    kept = path.read_text("utf-8")
    try:
        path.write_text(text, "utf-8")
        assert stranger.get("/").status_code in (303, 503)
        path.unlink()
        assert stranger.get("/").status_code == 303, "and none at all neither, on a network"
    finally:
        path.write_text(kept, "utf-8")
        path.chmod(0o600)


@pytest.mark.parametrize(
    "to",
    ["//elsewhere.invalid", "https://elsewhere.invalid", "/\\elsewhere.invalid", "\\\\elsewhere.invalid",
     "/%2felsewhere.invalid", "javascript:alert(1)", "/jobs/../..//elsewhere.invalid", "/\t/elsewhere.invalid",
     "/x\r\nSet-Cookie: a=b", "@elsewhere.invalid", "/jobs/0123456789abcdef\n", "http:elsewhere.invalid",
     "///elsewhere.invalid"],
)  # fmt: skip
def test_signing_in_leads_nowhere_else(stranger: Visitor, to: str) -> None:
    page = stranger.get("/sign-in", params={"to": to}).text
    assert 'name="to" value="/"' in page
    answer = sign_in(stranger, to=to)
    assert (answer.status_code, answer.headers["location"]) == (303, "/")


# --- roles ------------------------------------------------------------------------------------------------------------


def test_the_counter_does_what_is_the_counters_and_nothing_else(stranger: Visitor) -> None:
    """Every address there is, so that one that is added later is not the counter's by itself."""
    job = f"/jobs/{secret_job(stranger.store)}"
    sign_in(stranger, "Bo")
    let = set()
    for method, address in addresses(stranger, job):
        if address == "/sign-out":
            continue
        answer = stranger.ask(
            method, address, content=b"", headers={"content-type": "application/x-www-form-urlencoded"}
        )
        if answer.status_code not in (403, 404, 405):
            let.add(f"{method} {address.replace(job, '/jobs/J')}")
    gets = {f"{method} {address}" for method in ("GET", "HEAD") for address in (
        "/", "/arrive", "/jobs/J/ticket", "/jobs/J/sheet", "/sign-in", "/who", "/favicon.ico")}  # fmt: skip
    assert let - {"GET /jobs/J"} == gets | {"POST /jobs", "POST /jobs/J/sheet", "POST /sign-in", "POST /who"}
    assert stranger.get(job).headers["location"] == f"{job}/sheet"
    assert stranger.store.job(job.removeprefix("/jobs/")).owner.name == "Invented Owner"


@pytest.mark.parametrize(
    "field", ["complaint", "approved_limit", "estimate_low", "approved", "serial", "age", "condition"]
)
def test_the_counter_cannot_say_what_is_the_benchs(stranger: Visitor, field: str) -> None:
    job_id = secret_job(stranger.store)
    before = stranger.store.job(job_id)
    sign_in(stranger, "Bo")
    said = {field: "1", "status": "ready to collect"}
    assert stranger.post(f"/jobs/{job_id}/sheet", said).status_code == 403
    assert stranger.store.job(job_id) == before
    sign_in(stranger, "Ana")
    assert stranger.post(f"/jobs/{job_id}/sheet", said).status_code in (303, 422)


def test_what_the_counter_says_is_kept_with_their_name(stranger: Visitor) -> None:
    job_id = secret_job(stranger.store)
    sign_in(stranger, "Bo")
    page = stranger.get(f"/jobs/{job_id}/sheet").text
    offered = set(re.findall(r'<(?:input|select|textarea)[^>]* name="(\w+)"', page))
    assert offered <= COUNTER_SAYS, "the page offers nothing that would be refused"
    assert stranger.post(f"/jobs/{job_id}/sheet", {"status": "ready to collect"}).status_code == 303
    assert stranger.store.history(job_id)[-1].who == "Bo" or stranger.store.history(job_id)[0].who == "Bo"
