"""A finger, or a keyboard alone, on the bench in a real Chromium; and a bench to use it on."""

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync", "--no-first-run"]
TOUCHED_PX = 44.0
"""The least height of what a finger is meant to hit."""
TOO_SMALL = """() => [...document.querySelectorAll("button, input:not([type=hidden]), select, textarea, summary, a")]
    .filter((one) => !one.closest("svg") && one.checkVisibility())
    .map((one) => one.closest("label") ?? one)
    .map((one) => [one.textContent.trim() || one.name, one.getBoundingClientRect().height])
    .filter(([, height]) => height < %s)"""
WIDER = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"
ALL_MEASURED = """(count) => document.readyState === "complete" && !document.querySelector("[data-measuring]")
    && document.querySelectorAll(".recording").length >= count"""
PATIENCE_MS = 90_000
MOST_TABS = 120
AT_RING = """() => { const style = getComputedStyle(document.activeElement);
    return style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2; }"""


@contextmanager
def chromium_with(*more: str) -> Iterator[Any]:
    """Start a Chromium, with more arguments than usual; skips, saying so, where there is none."""
    path = next(filter(None, map(shutil.which, NAMES)), None)
    if path is None:
        pytest.skip("there is no Chromium on this machine")
    playwright = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")
    with playwright.sync_playwright() as player:
        browser = player.chromium.launch(executable_path=path, args=[*ARGUMENTS, *more])
        yield browser
        browser.close()


@contextmanager
def served(home: Path) -> Iterator[str]:
    """Serve a bench as the command does, and give its address."""
    code = "from tapewright.web.serve import serve; serve(0, lambda text: print(text, flush=True))"
    environment = os.environ | {"TAPEWRIGHT_DATA": str(home)}
    with subprocess.Popen([sys.executable, "-c", code], env=environment, stdout=subprocess.PIPE, text=True) as bench:
        assert bench.stdout
        said = re.search(r"http://[\d.:]+", bench.stdout.readline())
        assert said
        try:
            yield said[0]
        finally:
            bench.terminate()


class Hand:
    """One finger on a page: it counts taps, fields and pages, and sees whether each page holds what it promises."""

    def __init__(self, browser: Any, address: str, width: int, height: int, *, touch: bool, **more: Any) -> None:
        self.context = browser.new_context(viewport={"width": width, "height": height}, has_touch=touch, **more)
        self.page = self.context.new_page()
        self.page.set_default_timeout(PATIENCE_MS)
        self.touch, self.taps, self.fields = touch, 0, 0
        self.complaints: list[str] = []
        self.hosts: set[str] = set()
        self.pages: set[str] = set()
        self.page.on("console", lambda said: self.complaints.append(said.text) if said.type == "error" else None)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", lambda asked: self.hosts.add(urlsplit(asked.url).netloc))
        self.page.on(
            "framenavigated", lambda frame: self.pages.add(re.sub(r"[0-9a-f]{16}", "", urlsplit(frame.url).path))
        )
        self.page.goto(address)

    def tap(self, what: str) -> None:
        """Tap the first of what is meant."""
        found = self.page.locator(what).first
        self.taps += 1
        if self.touch:
            found.tap()
        else:
            found.click()

    def fill(self, what: str, text: str) -> None:
        """Tap a field and type into it."""
        self.tap(what)
        self.fields += 1
        self.page.keyboard.type(text)

    def choose(self, what: str, value: str) -> None:
        """Open a list and touch one of it."""
        self.page.locator(what).select_option(value)
        self.taps += 2
        self.fields += 1

    def go(self, what: str) -> None:
        """Tap something that leads to another page, and see that that one holds what it promises."""
        with self.page.expect_navigation():
            self.tap(what)
        self.holds()

    def holds(self) -> None:
        """See that nothing sticks out at the side and that everything can be hit."""
        self.page.wait_for_load_state()
        assert self.page.evaluate(WIDER) <= 0
        assert self.page.evaluate(TOO_SMALL % TOUCHED_PX) == []

    def put(self, file: Path, stage: str) -> None:
        """Add a recording on the page of recordings, and wait until it is measured."""
        before = self.page.locator(".recording").count()
        self.page.locator("#stage").select_option(stage)
        self.page.locator("#file").set_input_files(file)
        self.page.locator(".recording").nth(before).wait_for()
        self.measured(before + 1)

    def measured(self, count: int) -> None:
        """Wait until so many recordings stand on the page and none is being measured."""
        self.page.wait_for_function(ALL_MEASURED, arg=count)
        self.page.wait_for_load_state("networkidle")


def _kind(address: str) -> str:
    """Give an address without whose job it is."""
    return re.sub(r"[0-9a-f]{16}", "", urlsplit(address).path)


def by_tab(page: Any, wanted: str, *, back: bool = False) -> None:
    """Press Tab until the focus is on what is wanted, and see that it is shown where it is.

    Arguments:
        page: of Playwright.
        wanted: a CSS selector.
        back: go backwards.
    """
    for _ in range(MOST_TABS):
        page.keyboard.press("Shift+Tab" if back else "Tab")
        if page.evaluate("(wanted) => document.activeElement.matches(wanted)", wanted):
            assert page.evaluate(AT_RING), f"{wanted}: nothing shows that it has the focus"
            return
    raise AssertionError(f"Tab never came to {wanted}")


def visible_words(page: Any, wanted: str) -> Sequence[str]:
    """Give the words of all elements that fit a selector, on one line each."""
    return [" ".join(text.split()) for text in page.locator(wanted).all_inner_texts()]
