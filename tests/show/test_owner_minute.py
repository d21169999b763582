"""The guided minute on the owner's sheet: led through by taps and a clock, its code is the one the bench reads."""

import importlib.util
from pathlib import Path
from typing import Any

import pytest

from tapewright.jobs.owner_code import minute_marks_in
from tapewright.machine.minute import minute_steps
from tapewright.show.owner_page import owner_page
from tests.show.test_owner_page import MACHINE, SHEET

STEPS = minute_steps(MACHINE)
MODES = [step.mode for step in STEPS]


def test_every_step_stands_on_the_page_without_a_script_and_cautions_before_it() -> None:
    page = owner_page(SHEET, MACHINE)
    printed = page.partition("<h3>The steps</h3>")[2].partition("</ol>")[0]
    assert [step.says for step in STEPS if step.says not in printed] == []
    assert "Caution:" in page.partition('id="minute"')[2].partition('id="minute-place"')[0]


@pytest.fixture
def page(chromium: str, tmp_path: Path) -> Any:
    if importlib.util.find_spec("playwright") is None:
        pytest.skip("Playwright is not installed")
    from playwright.sync_api import sync_playwright

    path = tmp_path / "sheet.html"
    path.write_text(owner_page(SHEET, MACHINE), encoding="utf-8")
    fake = ["--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream"]
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu", *fake])
        page: Any = browser.new_page(viewport={"width": 360, "height": 740})
        page.set_default_timeout(30_000)
        page.said = []
        page.on("console", lambda message: page.said.append(message.text))
        page.on("pageerror", lambda error: page.said.append(str(error)))
        page.goto(path.as_uri())
        page.locator("summary", has_text="heard once through its steps").click()
        yield page
        browser.close()


def go_through(page: Any) -> None:
    """Hurry through: every step is done, or gone on from early; the machine does not play."""
    place = page.locator("#minute-place")
    for number, step in enumerate(STEPS):
        assert step.says in place.inner_text() or "In " in place.inner_text()
        if place.get_by_role("button", name="Done: now").count():
            place.get_by_role("button", name="Done: now").click()
        if step.mode == "play":
            place.get_by_role("button", name="It did not do it").click()
        else:
            place.get_by_role("button", name="Go on early").click()
        assert number == len(STEPS) - 1 or place.locator("h3").is_visible()


@pytest.mark.browser
def test_with_the_telephones_own_recorder(page: Any) -> None:
    page.locator("#minute-place").get_by_role("button", name="My own recorder is running").click()
    go_through(page)
    code = page.locator("#minute-place .code").inner_text()
    found = minute_marks_in(code, MODES, SHEET.fingerprint)  # two programs, one in each language
    assert [mode for mode, _, _ in found] == MODES
    assert [mode for mode, _, failed in found if failed] == ["play"]
    times = [at for _, at, _ in found]
    assert times == sorted(times)
    assert "attach its file" in page.locator("#minute-place").inner_text()
    assert page.evaluate("() => document.documentElement.scrollWidth") <= 360
    assert page.said == []


@pytest.mark.browser
def test_recorded_by_the_page_itself_where_the_browser_allows_it(page: Any, tmp_path: Path) -> None:
    place = page.locator("#minute-place")
    own = place.get_by_role("button", name="Record with this page")
    if not own.count():
        assert "over https" in place.inner_text(), "where it cannot, it says so and what to do"
        return
    own.click()
    place.locator("h3").wait_for()
    page.wait_for_timeout(1500)
    go_through(page)
    with page.expect_download() as kept:
        place.locator("a.keep").click()
    sound = tmp_path / kept.value.suggested_filename
    kept.value.save_as(sound)
    from tapewright.measure.audio import open_recording

    assert open_recording(sound).duration_s > 1.0
    assert page.said == []
