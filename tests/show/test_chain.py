"""The way from a fault to a sign, drawn: every step there, in order, told apart without colour, and said in words."""

import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Literal

import pytest

from tapewright.diagnose.explain import chains, reasons
from tapewright.diagnose.network import network
from tapewright.machine.library import shipped, shipped_ids
from tapewright.show.chain import chain_drawing
from tapewright.show.report import CHAINS_DRAWN, html_report, write_report
from tapewright.words.evidence import Observation
from tapewright.words.findings import Chain, Link
from tapewright.words.problem import InputAtFaultError
from tapewright.words.record import Record
from tests.show.pictures import SVG, parsed
from tests.show.sample import record

FOUR = "four_track"
CASES = [
    (FOUR, "capstan_belt", "missing", "play_tape_races"),
    (FOUR, "cam_belt", "missing", "play_stops"),
    (FOUR, "cassette_switch", "dirty", "play_tape_still"),
    ("two_motor_deck", "brake_solenoid", "dead", "fast_forward_weak"),
    ("direct_drive_deck", "tacho", "dead", "play_tape_races"),
    ("four_track_starter", "idler_tyre", "glazed", "play_loop"),
]


def chain(machine_id: str, part: str, kind: str, sign: str) -> Chain:
    (found,) = chains(network(shipped(machine_id)), part, kind, [Observation(sign, True)])
    return found


def steps(svg: str) -> list[tuple[str, str, str]]:
    """Number, part and words of each step, read back from the picture."""
    found = []
    for node in parsed(svg).iter(f"{SVG}g"):
        if node.get("class") == "step":
            written = [words.text or "" for words in node.iter(f"{SVG}text")]
            found.append((node.get("data-step", ""), node.get("data-of", ""), " ".join(written[1:])))
    return found


@pytest.mark.parametrize(("machine_id", "part", "kind", "sign"), CASES)
def test_every_step_is_there_in_its_order_with_its_number(machine_id: str, part: str, kind: str, sign: str) -> None:
    told = chain(machine_id, part, kind, sign)
    svg = chain_drawing(shipped(machine_id), told)
    assert told.links[0].part == part
    assert len(told.links) > 2
    for k, ((numbered, of, says), link) in enumerate(zip(steps(svg), told.links, strict=True), 1):
        assert (numbered, of) == (str(k), link.part)
        assert says.replace("\u2002", " ").lower() == f"{k} {link.says}".lower()
    arrows = svg.count('class="leads-to"')
    assert len(told.links) - 3 <= arrows <= len(told.links) - 1  # steps side by side need none


@pytest.mark.parametrize(("machine_id", "part", "kind", "sign"), CASES[:3])
def test_it_says_the_whole_way_to_people_who_do_not_see_it(machine_id: str, part: str, kind: str, sign: str) -> None:
    told = chain(machine_id, part, kind, sign)
    root = parsed(chain_drawing(shipped(machine_id), told))
    (describes,) = [node.text or "" for node in root if node.tag == f"{SVG}desc"]
    at = [describes.index(f"Step {k}: {link.says}.") for k, link in enumerate(told.links, 1)]
    assert at == sorted(at)
    assert describes.endswith(f"What is noticed: {told.says}.")
    shown = " ".join(words.text or "" for words in root.iter(f"{SVG}text"))
    assert f"What is noticed: {told.says}" in shown


def test_it_is_told_without_colour() -> None:
    """Hatching for the fault, a whole band for what follows, dashed arrows, faint for the rest; the page's colours."""
    svg = chain_drawing(shipped(FOUR), chain(*CASES[0]))
    root = parsed(svg)
    faint = [node for node in root if node.get("opacity")]
    parts_of = {p for node in faint for inner in node.iter() if (p := inner.get("data-part"))}
    assert {"cam_belt", "reel_motor", "counter"} <= parts_of
    assert not {"capstan_belt", "flywheel", "nip"} & parts_of
    assert svg.count('class="follows"') == 3
    assert re.search(r'class="leads-to".*?stroke-dasharray', svg)
    assert "capstan belt, out of order" in svg
    assert not re.findall(r'(?:fill|stroke)="#', svg)


def test_it_is_drawn_in_the_mode_it_shows_in() -> None:
    told = chain("two_motor_deck", "brake_solenoid", "dead", "fast_forward_weak")
    assert "In fast forward;" in chain_drawing(shipped("two_motor_deck"), told)
    looked = Chain("x", "It is gone", "off", (Link("capstan_belt", "fault", "the belt is gone"),))
    assert "What is noticed (switched off and unplugged): It is gone" in chain_drawing(shipped(FOUR), looked)


def test_a_stranger_in_the_chain_is_a_problem() -> None:
    told = Chain("x", "y", "play", (Link("gearbox", "fault", "it is gone"), Link("", "starts", "no motor starts")))
    with pytest.raises(InputAtFaultError) as caught:
        chain_drawing(shipped(FOUR), told)
    assert "'gearbox'" in caught.value.problems[0].found


def test_words_are_escaped() -> None:
    told = Chain("x", "<script>", "play", (Link("flywheel", "fault", "a <b> & c"), Link("tape", "tape", "</svg>")))
    svg = chain_drawing(shipped(FOUR), told)
    assert parsed(svg) is not None
    assert "<script>" not in svg
    assert svg.count("</svg>") == 1


@pytest.mark.slow
@pytest.mark.parametrize("machine_id", shipped_ids())
def test_the_longest_chains_of_a_layout_can_be_drawn(machine_id: str) -> None:
    """The longest chain of each part's first fault, the eight longest of these: each step is drawn once, in order."""
    net = network(shipped(machine_id))
    everything = [Observation(sign, True) for sign in net.signs]
    of_parts = (chains(net, part, known.states[1][0], everything) for part, known in net.parts.items())
    longest = [max(found, key=lambda one: len(one.links)) for found in of_parts if found]
    for told in sorted(longest, key=lambda one: -len(one.links))[:8]:
        numbers = [int(one[0]) for one in steps(chain_drawing(net.machine, told))]
        assert numbers == list(range(1, len(told.links) + 1))


# --- in the report ----------------------------------------------------------------------------------------------------


@cache
def explained(machine_id: str = FOUR) -> Record:
    made, net = record(machine_id), network(shipped(machine_id))
    beliefs = tuple(
        replace(b, reasons=reasons(*about), chains=chains(*about)) if i < 6 else b
        for i, b in enumerate(made.beliefs)
        for about in [(net, b.part, b.kind, made.evidence.signs)]
    )
    return replace(made, beliefs=beliefs)


def test_the_report_draws_the_way_of_the_leading_suspects() -> None:
    made = explained()
    page = html_report(made, shipped(FOUR))
    drawn = page.count('class="mechanism chain"')
    with_chain = [b for b in made.beliefs[:CHAINS_DRAWN] if any(len(c.links) > 1 for c in b.chains)]
    assert drawn == len(with_chain) > 0
    assert page.index("Why the capstan belt") < page.index('class="mechanism chain"')
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    asked = re.findall(r"url\(#([^)]+)\)", page)
    assert set(asked) <= set(ids)
    assert html_report(record(), shipped(FOUR)).count('class="mechanism chain"') == 0


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_can_be_read_on_a_telephone(chromium: str, tmp_path: Path, scheme: Literal["light", "dark"]) -> None:
    pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")
    from playwright.sync_api import sync_playwright

    path = write_report(explained(), shipped(FOUR), tmp_path)[0]
    heights = "() => [...document.querySelectorAll('svg.chain text')].map(it => it.getBoundingClientRect().height)"
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport={"width": 360, "height": 800}, color_scheme=scheme)
        page.goto(path.as_uri())
        across, tall = page.evaluate("() => document.documentElement.scrollWidth"), page.evaluate(heights)
        browser.close()
    assert across <= 360
    assert min(tall) >= 10.0
