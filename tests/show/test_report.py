"""The report is one file that needs nothing, says everything, and obeys nothing that was typed into it."""

import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest

from tapewright.machine.library import shipped, shipped_ids
from tapewright.show.report import html_report, write_report
from tapewright.words.findings import PlanStep
from tapewright.words.problem import InputAtFaultError
from tapewright.words.reading import Reading
from tapewright.words.record import Answered, Record
from tapewright.words.verdict import Verdict
from tests.show.sample import record, without_a_tone
from tests.show.test_text import bare, flat

MACHINES = shipped_ids()
VOID = {"meta", "br", "link", "img", "input", "hr"}
EVIL = "</title></style><script>alert(1)</script><img src=x onerror=alert(2)>\" ' & {{ 7*7 }}"


class Page(HTMLParser):
    """A page read back: its elements, whether they are closed, and its words."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.crossed: list[str] = []
        self.said: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.crossed.append(tag)

    def handle_data(self, data: str) -> None:
        self.said.append(data)

    @property
    def words(self) -> str:
        return flat(" ".join(self.said))


def page(made: Record) -> Page:
    return Page(html_report(made, shipped(made.machine_id)))


@pytest.mark.parametrize("name", MACHINES)
def test_it_is_one_well_made_file_without_references(name: str) -> None:
    text = html_report(record(name), shipped(name))
    found = Page(text)
    assert found.open == []
    assert found.crossed == []
    assert not re.search(r"https?://|//[a-z]|@import|src=|<link|<script|url\((?!#)", text)
    ids = [attributes["id"] for _, attributes in found.tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    asked = re.findall(r"url\(#([^)]+)\)", text) + re.findall(r'href="#([^"]+)"', text)
    asked += [one for _, a in found.tags for one in (a.get("aria-labelledby") or "").split()]
    assert set(asked) <= set(ids)
    for _, attributes in found.tags:
        assert not [key for key in attributes if key.startswith("on") or key == "style"]


@pytest.mark.parametrize("name", MACHINES)
def test_every_caution_action_and_reading_is_there(name: str) -> None:
    made = record(name)
    words = page(made).words
    wanted = [text for step in made.plan for text in (step.action, step.size, *step.cautions)]
    if made.next_check is not None:
        wanted += [made.next_check.says, made.next_check.how, made.next_check.why, *made.next_check.cautions]
    wanted += [*(one.says for one in made.answered), *(one.says for one in made.clash)]
    wanted += [reading.why_not or reading.method for one in made.heard for reading in one.readings.values()]
    assert [one for one in wanted if flat(one) not in words] == []


def test_cautions_stand_before_the_hand_goes_in() -> None:
    made = record()
    assert made.next_check is not None
    words = page(made).words
    assert words.index(made.next_check.says) < words.index(flat(made.next_check.how))
    assert words[: words.index(flat(made.next_check.how))].rfind("Caution:") > words.index(made.next_check.says)


def test_headings_go_down_by_one_and_tables_say_what_their_heads_are_for() -> None:
    found = page(record())
    levels = [int(tag[1]) for tag, _ in found.tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))
    tags = [tag for tag, _ in found.tags]
    assert tags.count("table") == tags.count("caption") > 4
    assert all(attributes.get("scope") for tag, attributes in found.tags if tag == "th")
    assert all(a.get("role") == "img" and a.get("aria-labelledby") for tag, a in found.tags if tag == "svg")


@pytest.mark.parametrize("where", ["complaint", "title", "says", "action", "note", "file"])
def test_what_was_typed_stays_text(where: str) -> None:
    made, machine = record(), shipped("four_track")
    step = PlanStep(EVIL, "capstan_belt", EVIL, 1.0, 0.0, 1.0, 0.5, (EVIL,), (EVIL,), EVIL)
    changed = {
        "complaint": replace(made, complaint=EVIL),
        "title": replace(made, title=EVIL),
        "says": replace(made, answered=(Answered("x", EVIL, "play", True),)),
        "action": replace(made, plan=(step,)),
        "note": replace(made, notes=(EVIL,), version=EVIL, made_at=EVIL, layout=EVIL),
        "file": replace(made, heard=(replace(made.heard[0], file=EVIL, notes=(EVIL,)),)),
    }[where]
    found = Page(html_report(changed, machine))
    tags = {tag for tag, _ in found.tags}
    assert not tags & {"script", "img"}
    assert found.open == []
    assert flat(EVIL) in found.words
    assert "49" not in found.words.replace(flat(EVIL), "").split()


def test_it_works_with_nothing_in_it() -> None:
    words = page(bare()).words
    for said in ("Nothing was noted down yet", "Nothing has been worked out", "Nothing to mend", "None: mending now"):
        assert said in words
    assert "nan" not in words.split()


def test_it_works_with_a_refusal_alone() -> None:
    words = page(replace(record(), heard=(without_a_tone(),))).words
    assert "No test tone: The level never holds still" in words
    assert "no reading: The level never holds still" in words


def test_before_any_evidence_nobody_is_suspected() -> None:
    made = replace(record(), answered=(), heard=())
    assert "suspect 1" not in page(made).words
    assert "suspect 1, the capstan belt" in page(record()).words


def test_provenance_is_said() -> None:
    words = page(record()).words
    for said in ("Tapewright 0.1.0", "four_track.toml", "2001-02-03", "nobody built it", "From memory", "38 years"):
        assert said in words


# --- contrast: WCAG 2.1, success criterion 1.4.3, level AA ------------------------------------------------------------


def themes() -> list[dict[str, str]]:
    css = re.search(r"<style>(.*?)</style>", html_report(bare(), shipped("four_track")), re.DOTALL)
    assert css is not None
    blocks = re.findall(r":root \{(.*?)\}", css.group(1), re.DOTALL)
    found = [dict(re.findall(r"--show-([a-z]+): (#[0-9a-f]{6})", block)) for block in blocks]
    assert len(found) == 3, "light, dark and paper"
    return found


def luminance(colour: str) -> float:
    channels = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_measure_of_contrast() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("theme", range(3), ids=["light", "dark", "paper"])
@pytest.mark.parametrize("ground", ["paper", "card"])
@pytest.mark.parametrize("text", ["ink", "muted", "suspect", "second", "tape"])
def test_words_stand_out(theme: int, ground: str, text: str) -> None:
    colours = themes()[theme]
    assert contrast(colours[text], colours[ground]) >= 4.5


# --- files ------------------------------------------------------------------------------------------------------------


def test_the_folder_is_made_and_holds_three_whole_files(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "one"
    made, machine = record(), shipped("four_track")
    paths = write_report(made, machine, folder)
    assert [path.name for path in paths] == ["report.html", "report.txt", "record.json"]
    assert sorted(path.name for path in folder.iterdir()) == ["record.json", "report.html", "report.txt"]
    kept = json.loads(paths[2].read_text(encoding="utf-8"))
    assert kept["machine_id"] == "four_track"
    assert kept["heard"][0]["trace"]["values"][4000] is None
    assert kept["heard"][0]["readings"]["speed_error_pct"]["value"] == pytest.approx(0.4217)


def test_writing_again_replaces(tmp_path: Path) -> None:
    made, machine = record(with_recordings=False), shipped("four_track")
    write_report(made, machine, tmp_path)
    (tmp_path / "kept.txt").write_text("mine", encoding="utf-8")
    paths = write_report(replace(made, complaint="Another one."), machine, tmp_path)
    assert "Another one." in paths[0].read_text(encoding="utf-8")
    assert (tmp_path / "kept.txt").read_text(encoding="utf-8") == "mine"


def test_a_folder_that_cannot_be_made_is_the_users_problem(tmp_path: Path) -> None:
    in_the_way = tmp_path / "file"
    in_the_way.write_text("", encoding="utf-8")
    with pytest.raises(InputAtFaultError) as refused:
        write_report(record(with_recordings=False), shipped("four_track"), in_the_way / "folder")
    (problem,) = refused.value.problems
    assert str(in_the_way) in problem.where
    assert problem.do


def test_a_file_that_cannot_be_replaced_leaves_no_litter(tmp_path: Path) -> None:
    (tmp_path / "report.html" / "full").mkdir(parents=True)
    with pytest.raises(InputAtFaultError):
        write_report(record(with_recordings=False), shipped("four_track"), tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["report.html"]


def test_of_four_channels_one_is_drawn_and_the_others_stand_in_one_table() -> None:
    """By hand: the clearest tone is drawn; the others are there with their readings and what a limit makes of them."""
    made = record()
    clearest = made.heard[0]
    broken = {"speed_error_pct": Verdict("fail", 0.1, "%", "its sheet")}
    less = [
        replace(clearest, channel=channel, tone={**clearest.tone, "snr_db": 20.0}, verdicts=broken,
                readings={"speed_error_pct": Reading(channel + 0.25, "%", 0.01)})
        for channel in (1, 3, 4)
    ]  # fmt: skip
    four = replace(made, heard=(less[0], replace(clearest, channel=2), *less[1:]))
    html, alone = (html_report(one, shipped("four_track")) for one in (four, replace(made, heard=(clearest,))))
    assert html.count("Speed over time; fast is upward.") == 1
    assert html.count("<svg") == alone.count("<svg")
    words = Page(html).words
    assert f"{clearest.file}, channel 2" in words
    for channel in (1, 3, 4):
        assert f"{channel + 0.25:+.3f}" in words or f"{channel + 0.25:.2f}" in words
    assert words.count(": fail") == 3
