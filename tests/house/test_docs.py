"""The manual is about the program that is here: commands, links and examples."""

import dataclasses
import doctest
import importlib
import json
import re
from pathlib import Path

import pytest

from tapewright.faults.mechanism import mechanism
from tapewright.faults.signs import signs
from tapewright.machine.load import read_machine
from tapewright.words.evidence import Observation
from tapewright.words.findings import Belief, BudgetItem, ChangeOfMind, Check, Clash, PlanStep
from tapewright.words.signal import Line
from tests.house.commands import commands, run
from tests.house.floors import modules_of

ROOT = Path(__file__).resolve().parents[2]
PAGES = [ROOT / "README.md", ROOT / "CHANGELOG.md", *sorted((ROOT / "docs").rglob("*.md"))]
PAGES += sorted((ROOT / "decisions").rglob("*.md"))
MODULES = sorted(name for name in modules_of(ROOT / "src" / "tapewright") if not name.endswith("__main__"))
FENCED = re.compile(r"^```.*?^```", re.MULTILINE | re.DOTALL)


def headings(page: Path) -> list[str]:
    return re.findall(r"^#+ +(.+?) *$", FENCED.sub("", page.read_text(encoding="utf-8")), re.MULTILINE)


def anchor(heading: str) -> str:
    """Give the anchor a heading gets where this repository is read: lower case, hyphens, letters and digits only."""
    return re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")


def broken_links(page: Path) -> list[str]:
    """Give the links that lead to no file, or to no heading of it; links out of the repository are left alone."""
    text = re.sub(r"`[^`\n]*`", "", FENCED.sub("", page.read_text(encoding="utf-8")))
    broken = []
    for target in re.findall(r"\]\(([^)\s]+)\)", text):
        if re.match(r"[a-z]+:", target):
            continue
        name, _, wanted = target.partition("#")
        there = (page.parent / name).resolve() if name else page
        if not there.exists() or (wanted and wanted not in map(anchor, headings(there))):
            broken.append(target)
    return broken


def test_every_command_has_its_heading_and_every_heading_its_command() -> None:
    described = [line.split()[1] for line in headings(ROOT / "docs" / "commands.md") if line.startswith("tapewright ")]
    assert sorted(described) == sorted(commands())


@pytest.mark.parametrize("command", commands())
def test_every_option_is_described_and_every_described_option_exists(command: str) -> None:
    text = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    section = text.partition(f"## tapewright {command}\n")[2].partition("\n## ")[0]
    offered = set(re.findall(r"(?<![\w-])--[a-z][a-z-]*", run(command, "--help").stdout)) - {"--help", "--json"}
    described = set(re.findall(r"(?<![\w-])--[a-z][a-z-]*", section)) - {"--json"}
    synopsis = set(re.findall(r"--[a-z][a-z-]*", section.partition("```console")[2].partition("```")[0]))
    assert synopsis == offered
    assert described <= offered


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_every_command_that_a_page_shows_exists(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    shown = re.findall(r"^(?:\$ )?tapewright ([a-z]+)|^python do\.py run ([a-z]+)", text, re.MULTILINE)
    shown += re.findall(r"`tapewright ([a-z]+)()", text)
    assert {first or second for first, second in shown} - set(commands()) == set()


def test_the_readme_names_commands_and_files_that_exist() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (`.+?) \|", text, re.MULTILINE)
    named = {word for row in rows for word in re.findall(r"`([a-z]+)[ `]", row)}
    assert named <= set(commands())
    assert len(named) > 8
    files = re.findall(r"^\d+\. `(.+?)`", text, re.MULTILINE)
    assert len(files) == 10
    assert [name for name in files if not (ROOT / name).exists()] == []


@pytest.mark.parametrize(
    ("field", "noun"),
    [
        ("beliefs[]", Belief),
        ("next_check", Check),
        ("change_of_mind[]", ChangeOfMind),
        ("plan[]", PlanStep),
        ("clash[]", Clash),
        ("budget[]", BudgetItem),
        ("lines[]", Line),
    ],
)
def test_the_manual_names_every_field_of_a_result(field: str, noun: type) -> None:
    text = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    (row,) = re.findall(rf"^\| `{re.escape(field)}` \|.*$", text, re.MULTILINE)
    described = {word.removesuffix("[]") for word in re.findall(r"`([a-z_]+(?:\[\])?)`", row)}
    assert {each.name for each in dataclasses.fields(noun)} - described == set()


def test_the_manual_names_every_key_of_an_observation() -> None:
    text = (ROOT / "docs" / "evidence.md").read_text(encoding="utf-8")
    section = text.partition("## Signs")[2].partition("\n## ")[0]
    rows = re.findall(r"^\| `([a-z_]+)` \| (?:yes|no) \|", section, re.MULTILINE)
    assert rows == [each.name for each in dataclasses.fields(Observation)]


def test_the_evidence_example_is_about_the_shipped_machine() -> None:
    text = (ROOT / "docs" / "evidence.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"^```json\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    given = [sign["id"] for sign in json.loads(example)["signs"]]
    known = {sign.id for sign in signs(mechanism(read_machine("four_track")))}
    assert given
    assert set(given) <= known


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_links_lead_somewhere(page: Path) -> None:
    assert broken_links(page) == []


def test_a_broken_link_would_be_seen(tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text(
        "# One `two`\n[a](none.md) [b](#one-two) [c](page.md#three) [d](https://x.y)\n```\n[e](f)\n```\n", "utf-8"
    )
    assert broken_links(page) == ["none.md", "page.md#three"]


def test_every_page_is_reached_from_the_index() -> None:
    text = (ROOT / "docs" / "index.md").read_text(encoding="utf-8")
    linked = set(re.findall(r"\]\(([^)#\s]+)", text))
    expected = {path.name for path in (ROOT / "docs").glob("*.md")} - {"index.md"}
    expected |= {f"../decisions/{path.name}" for path in (ROOT / "decisions").glob("*.md")}
    assert expected - linked == set()


def test_decisions_are_numbered_without_gaps_and_say_what_was_turned_down() -> None:
    pages = sorted((ROOT / "decisions").glob("*.md"))
    assert [int(page.name[:4]) for page in pages] == list(range(1, len(pages) + 1))
    assert [page.name for page in pages if "## Turned down" not in page.read_text(encoding="utf-8")] == []


@pytest.mark.parametrize("name", MODULES)
def test_examples_in_the_code_run(name: str) -> None:
    results = doctest.testmod(importlib.import_module(name), optionflags=doctest.NORMALIZE_WHITESPACE)
    assert results.failed == 0


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_examples_in_the_pages_run(page: Path) -> None:
    assert doctest.testfile(str(page), module_relative=False, encoding="utf-8").failed == 0
