"""The page on which ears are trained: it stands alone, says that it is invented, and works without colour or sight."""

import importlib.util
from pathlib import Path

import pytest

from tapewright.show.practise_page import practise_page
from tapewright.words.practise import Exercise, Offered, Practice

PRACTICE = Practice(
    "A <deck>",
    "Invented: nobody recorded this.",
    (("0:00.0", "Say nothing."), ("0:04.0", "Press play.")),
    (
        Exercise(
            1, "1", "B", "Heard in: bench.", (Offered("It squeals", True), Offered("It hums", False)),
            "The belt is slack.", ("From 0:04.2: it slips.",), ("For “It squeals”: the belt is slack.",),
        ),
    ),
)  # fmt: skip


def test_it_says_that_it_is_invented_and_what_is_done_when() -> None:
    page = practise_page(PRACTICE)
    assert "Invented: nobody recorded this." in page
    assert "Press play." in page
    assert "A &lt;deck&gt;" in page
    assert "<deck>" not in page


def test_every_sound_has_a_name_and_two_forms() -> None:
    page = practise_page(PRACTICE)
    for letter in "ab":
        assert f'src="1-{letter}.m4a"' in page
        assert f'src="1-{letter}.ogg"' in page
    assert page.count("<audio") == page.count('aria-labelledby="e1 e1')


def test_the_truth_is_closed_until_it_is_opened() -> None:
    page = practise_page(PRACTICE)
    hidden = page[page.index("<details>") : page.index("</details>")]
    assert "The belt is slack." in hidden
    assert "The belt is slack." not in page.replace(hidden, "")


@pytest.mark.browser
@pytest.mark.skipif(importlib.util.find_spec("playwright") is None, reason="Playwright is not installed")
@pytest.mark.parametrize("width", [360, 1200])
def test_a_guess_is_answered_and_nothing_runs_off_the_side(chromium: str, tmp_path: Path, width: int) -> None:
    from playwright.sync_api import sync_playwright

    path = tmp_path / "practise.html"
    path.write_text(practise_page(PRACTICE), encoding="utf-8")
    said: list[str] = []
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport={"width": width, "height": 800})
        page.on("console", lambda message: said.append(message.text))
        page.goto(path.as_uri())
        page.get_by_role("radio", name="Minute B").check()
        page.get_by_label("It squeals").check()
        page.get_by_text("What it was in exercise 1").click()
        page.wait_for_function("() => document.querySelector('.guessed').textContent !== ''")
        answer = page.inner_text(".guessed")
        across = page.evaluate("() => document.documentElement.scrollWidth")
        browser.close()
    assert answer == "You said minute B: right. Of 2 things in the list you had 2 right."
    assert across <= width
    assert said == []
