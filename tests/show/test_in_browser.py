"""The report in a real browser: nothing runs off the side, nothing is fetched, nothing is complained of."""

import importlib.util
from pathlib import Path
from typing import Literal

import pytest

from tapewright.machine.library import shipped
from tapewright.show.report import write_report
from tests.show.sample import record

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(importlib.util.find_spec("playwright") is None, reason="Playwright is not installed"),
]
MACHINES = ("four_track", "one_motor_portable_starter")
OFF_THE_SIDE = """() => [...document.body.querySelectorAll('*')]
    .filter(it => !it.closest('svg') && !it.parentElement.closest('.scroll'))
    .filter(it => it.getBoundingClientRect().right > document.documentElement.clientWidth + 0.5)
    .map(it => it.tagName + '.' + it.className)"""
SMALL_TEXT = (
    """() => [...document.querySelectorAll('svg.mechanism text')].map(it => it.getBoundingClientRect().height)"""
)


@pytest.mark.parametrize("name", MACHINES)
@pytest.mark.parametrize("width", [360, 1200])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_fits_and_is_quiet(
    chromium: str, tmp_path: Path, name: str, width: int, scheme: Literal["light", "dark"]
) -> None:
    from playwright.sync_api import sync_playwright

    path = write_report(record(name), shipped(name), tmp_path)[0]
    said: list[str] = []
    asked: list[str] = []
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme)
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("request", lambda request: asked.append(request.url))
        page.goto(path.as_uri())
        across = page.evaluate("() => document.documentElement.scrollWidth")
        off, heights = page.evaluate(OFF_THE_SIDE), page.evaluate(SMALL_TEXT)
        browser.close()
    assert across <= width
    assert off == []
    assert asked == [path.as_uri()]
    assert said == []
    assert min(heights) >= 10.0, "the names in the drawing are too small to read"
