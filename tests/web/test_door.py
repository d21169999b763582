"""Only pages of this bench, opened on this computer, may look in or change anything."""

from pathlib import Path

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.web.door import refusal
from tapewright.web.reach import OWN_NAMES
from tests.web.visitor import HERE, Visitor


@pytest.mark.parametrize("host", ["localhost", "127.0.0.1:8137", "[::1]:8137", "LOCALHOST:1"])
def test_this_computer_may_look(host: str) -> None:
    assert refusal("GET", {"host": host}) is None


@pytest.mark.parametrize(
    "host",
    ["", "elsewhere.invalid", "127.0.0.1.elsewhere.invalid", "localhost.", "127.0.0.1:8137@elsewhere", "0.0.0.0:8137",
     "127.0.0.1:8137, elsewhere", "192.168.0.7:8137", "[::2]:8137", "localhost:123456"],
)  # fmt: skip
def test_a_name_that_was_made_to_lead_here_is_turned_away(host: str) -> None:
    found = refusal("GET", {"host": host})
    assert found is not None
    assert found[0] == 421


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"origin": "http://localhost:8137"}, None),
        ({"origin": "http://localhost:8137", "sec-fetch-site": "same-origin"}, None),
        ({"sec-fetch-site": "same-origin"}, None),
        ({}, 403),  # neither says where it comes from: not a browser's form
        ({"origin": "null"}, 403),
        ({"origin": "http://localhost:8138"}, 403),  # another program on this computer
        ({"origin": "https://localhost:8137"}, 403),
        ({"origin": "http://elsewhere.invalid"}, 403),
        ({"origin": "http://localhost:8137", "sec-fetch-site": "cross-site"}, 403),
        ({"sec-fetch-site": "same-site"}, 403),
        ({"sec-fetch-site": "none"}, 403),
    ],
)
@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE"])
def test_changes_come_from_our_own_pages_only(method: str, headers: dict[str, str], status: int | None) -> None:
    found = refusal(method, {"host": "localhost:8137"} | headers)
    assert (found[0] if found else None) == status


@given(st.text(max_size=40))
def test_no_other_name_gets_in(host: str) -> None:
    if refusal("GET", {"host": host}) is None:
        assert host.lower().startswith(OWN_NAMES)


def test_strangers_change_nothing(tmp_path: Path) -> None:
    with Visitor(tmp_path) as visitor:
        fields = {"machine": "four_track", "complaint": "x"}
        assert visitor.post("/jobs", fields, headers={"origin": "http://elsewhere.invalid"}).status_code == 403
        assert visitor.post("/jobs", fields, headers={"host": "elsewhere.invalid"}).status_code == 421
        put = visitor.ask("PUT", "/jobs/0123456789abcdef/recordings?name=a.wav", content=b"x", headers={"origin": "x"})
        assert put.status_code == 403
    assert not (tmp_path / "jobs").exists()


def test_every_answer_tells_the_browser_what_it_may_do(tmp_path: Path) -> None:
    with Visitor(tmp_path) as visitor:
        job = visitor.begin()
        for address in ("/", job, "/nowhere", "/static/bench.css", f"{job}/evidence.json"):
            headers = visitor.get(address).headers
            assert headers["x-content-type-options"] == "nosniff", address
            assert headers["cache-control"] == ("no-cache" if "/static/" in address else "no-store"), address
            policy = headers["content-security-policy"]
            assert "default-src 'none'" in policy
            assert "unsafe" not in policy
        policy = visitor.get(f"{job}/report").headers["content-security-policy"]
        assert "style-src 'unsafe-inline'" in policy
        assert "script-src" not in policy


def test_pages_hold_nothing_that_the_policy_forbids_and_name_no_other_host(tmp_path: Path) -> None:
    with Visitor(tmp_path) as visitor:
        job = visitor.begin()
        visitor.say(job, "play_tape_races", "yes")
        for address in ("/", job, f"{job}/drawing", f"{job}/found?q=reel"):
            page = visitor.get(address).text
            assert " style=" not in page
            assert "<style" not in page
            assert " onclick" not in page
            assert "://" not in page.replace(HERE, "")


def test_the_answer_to_a_stranger_is_plain_text(tmp_path: Path) -> None:
    with Visitor(tmp_path) as visitor:
        answer: httpx.Response = visitor.get("/", headers={"host": "<b>elsewhere</b>"})
        assert answer.status_code == 421
        assert answer.headers["content-type"].startswith("text/plain")
