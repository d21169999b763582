"""The owner's sheet in a real browser: it leads to a verdict by taps alone, and its code is the one the bench reads."""

import base64
import hashlib
import importlib.util
import re
from pathlib import Path
from typing import Any

import pytest

from tapewright.jobs.owner_code import code_of
from tapewright.machine.library import shipped
from tapewright.show.owner_page import owner_page
from tapewright.words.owner import CASSETTE, CLEAN, SEND, UNCLEAR, AskedSign, OwnerSheet, Step, Verdict

MACHINE = shipped("four_track")
CRUEL = "</script><img src=x onerror=alert(1)> & \u2028"
SIGNS = tuple(
    AskedSign(
        f"sign_{n}",
        f"Sign {n} {CRUEL if n == 3 else ''}",
        "Look.",
        "play",
        "idler_tyre" if n == 1 else "",
        ("Mind it.",),
    )
    for n in range(140)
)
VERDICTS = (
    Verdict(SEND, True, (("idler tyre", 0.6),), minutes=45.0, cost_low=4, cost_high=20),
    Verdict(CLEAN, False, (("heads", 0.9),), ("Clean the heads.",), ("Damp, not wet.",)),
    Verdict(CASSETTE, False, (("cassette", 0.8),)),
    Verdict(UNCLEAR, False, ()),
)
TREE = Step(1, 3, Step(None, 0), Step(139, 3, Step(None, 1), Step(None, 2), Step(None, 3)), Step(None, 3))
SHEET = OwnerSheet(
    "four_track", "Machine <b>x</b>", True, 0xBEEF, SIGNS, ((2, TREE), (3, TREE)), VERDICTS, "By hand.", ("Power off.",)
)


def test_the_page_holds_all_it_needs_and_runs_no_script_but_its_own() -> None:
    page = owner_page(SHEET, MACHINE)
    script = re.findall(r"<script>(.*?)</script>", page, re.DOTALL)
    assert len(script) == 1
    digest = base64.b64encode(hashlib.sha256(script[0].encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}'" in page
    assert not re.search(r"(?:src|href)\s*=\s*[\"']?\s*(?:https?:|//)", page)
    assert "<b>x</b>" not in page
    assert "<img src=x" not in page


@pytest.fixture(scope="module")
def page(chromium: str, tmp_path_factory: pytest.TempPathFactory) -> Any:
    if importlib.util.find_spec("playwright") is None:
        pytest.skip("Playwright is not installed")
    from playwright.sync_api import sync_playwright

    path = Path(tmp_path_factory.mktemp("sheet")) / "sheet.html"
    path.write_text(owner_page(SHEET, MACHINE), encoding="utf-8")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        page: Any = browser.new_page(viewport={"width": 360, "height": 700})
        page.said = []
        page.on("console", lambda message: page.said.append(message.text))
        page.on("pageerror", lambda error: page.said.append(str(error)))
        page.address = path.as_uri()
        yield page
        browser.close()


def tap(page: Any, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()


def gone_through(page: Any, *answers: str) -> str:
    page.goto(page.address)
    page.evaluate("() => sessionStorage.clear()")
    page.goto(page.address)
    tap(page, "No")
    tap(page, "Sign 2")
    for answer in answers:
        tap(page, answer)
    return str(page.locator("#place").inner_text())


@pytest.mark.browser
@pytest.mark.parametrize(
    ("answers", "said", "told"),
    [
        (("Yes",), "Worth sending to a bench", [(2, True), (1, True)]),
        (("No", "Yes"), "Cleaning may well do", [(2, True), (1, False), (139, True)]),
        (("No", "No"), "It is the cassette", [(2, True), (1, False), (139, False)]),
        (("Can't tell",), "A bench should look at it", [(2, True), (1, None)]),
    ],
)
def test_taps_lead_to_the_verdict_and_to_the_benchs_own_code(
    page: Any, answers: tuple[str, ...], said: str, told: list[tuple[int, bool | None]]
) -> None:
    shown = gone_through(page, *answers)
    assert said in shown
    assert page.locator(".code").inner_text() == code_of(told, 0xBEEF)  # two programs, one in each language
    assert ("Stop playing your own tapes" in shown) == (answers == ("Yes",))
    assert page.said == []


@pytest.mark.browser
def test_a_held_tape_comes_first_and_back_leads_back(page: Any) -> None:
    page.goto(page.address)
    page.evaluate("() => sessionStorage.clear()")
    page.goto(page.address)
    tap(page, "Yes, it is held")
    assert "By hand." in page.locator("#place").inner_text()
    tap(page, "Back")
    assert "First of all" in page.locator("#place h2").inner_text()


@pytest.mark.browser
def test_reloading_goes_on_where_one_was_and_the_part_is_shown(page: Any) -> None:
    gone_through(page)
    page.reload()
    assert "Sign 1" in page.locator("#place h2").inner_text()
    assert page.locator("#mechanism").is_visible()
    assert page.locator("#mechanism .asked").get_attribute("data-part") == "idler_tyre"


@pytest.mark.browser
def test_what_it_is_worth_is_weighed_against_the_parts(page: Any) -> None:
    gone_through(page, "Yes")
    for worth, said in (("1", "not worth it"), ("10", "Agree a limit"), ("500", "looks worth it")):
        page.get_by_label("What is it worth to you").fill(worth)
        assert said in page.locator("p[role=status]").inner_text()


@pytest.mark.browser
def test_it_fits_the_smallest_telephone(page: Any) -> None:
    gone_through(page, "Yes")
    assert page.evaluate("() => document.documentElement.scrollWidth") <= 360
