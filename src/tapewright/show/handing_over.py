"""The hand-over for the owner and for the bench, as a page and on paper.

Both are written from the same sections; paper is set by typst, which is handed data and never text to read as markup.
"""

import json
import re
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from tapewright.machine.parts import Machine
from tapewright.show.channels_beside import beside, fullest_first
from tapewright.show.charts import spectrum_chart, speed_chart
from tapewright.show.comparing import PASS_HEADINGS, line_rows, pass_rows, reading_rows, spectra_chart, speeds_chart
from tapewright.show.one_pass_shown import owners_section, pass_sections
from tapewright.show.paper import inline, template
from tapewright.show.said import against_limit, percent, reading_name, reading_said, tone_said
from tapewright.show.sections import Picture, Section, Table
from tapewright.show.text import whose_line
from tapewright.words.hand_over import HandOver
from tapewright.words.record import Heard

_PAGE_COLOUR: Final = re.compile(r"var\(--[\w-]+, (#[0-9a-f]{6})\)")
OWNERS_READINGS: Final = ("speed_error_pct", "weighted_peak_pct", "weighted_rms_pct")
SHOWN_LINES: Final = 12


@dataclass(frozen=True, slots=True)
class Page:
    """All that one hand-over shows."""

    heading: str
    ticket: str
    facts: tuple[tuple[str, str], ...]
    invented: bool
    sections: tuple[Section, ...]
    footer: str


def owners_page(said: HandOver) -> Page:
    """Set out what the owner reads: plain words, no more numbers than three.

    Arguments:
        said: from `hand_over`.
    """
    sections = [
        Section("What you told us", (said.complaint or "No complaint was written down.",)),
        Section("What was found", points=said.found) if said.found else None,
        Section("What was done", points=said.done) if said.done else None,
        _owners_proof(said),
        _owners_heads(said),
        Section("Your tapes", points=said.tapes) if said.after or said.done else None,
        Section("What to expect", points=said.expect) if said.expect else None,
        _bill(said),
    ]
    return _page("Your machine", said, sections)


def bench_page(said: HandOver, machine: Machine) -> Page:
    """Set out what the bench keeps: every reading with its doubt and method, plots, parts, reasons, steps.

    Arguments:
        said: from `hand_over`.
        machine: whose parts make the lines.
    """
    sections = [
        Section("Complaint", (said.complaint or "No complaint was written down.",)),
        Section("Found", points=said.found) if said.found else None,
        _reasons(said),
        Section("Done", points=said.done) if said.done else None,
        _proof(said, machine),
        *_passes("Before", said.before),
        *_passes("After", said.after),
        *_recordings("Before", said.before, machine),
        *_recordings("After", said.after, machine),
        Section("Tapes", points=said.tapes) if said.after else None,
        Section("May come next", points=said.expect) if said.expect else None,
        _bill(said),
        Section("Steps", tables=(Table(("when", "what"), said.history, "Every step of the job"),))
        if said.history
        else None,
        Section("Where the numbers come from", points=said.notes) if said.notes else None,
    ]
    return _page("Bench record", said, sections)


def _page(heading: str, said: HandOver, sections: Sequence[Section | None]) -> Page:
    facts = [
        ("Ticket", said.ticket), ("Machine", said.title), ("Serial number", said.serial), ("Owner", said.owner),
        ("Came in", said.came_in), ("Left", said.left),
    ]  # fmt: skip
    return Page(
        heading,
        said.ticket,
        tuple((name, value) for name, value in facts if value),
        said.invented,
        tuple(section for section in sections if section is not None),
        f"Written on {said.made_at[:10]} with Tapewright {said.version}",
    )


def _bill(said: HandOver) -> Section | None:
    if not said.costs:
        return None
    return Section(
        "Costs", tables=(Table(("what", "amount"), (*said.costs, ("All together", said.total)), "What it came to"),)
    )


def _plots(said: HandOver) -> tuple[Picture, ...]:
    """Draw before and after on one plot, of the first channel that has both."""
    later = {one.channel: one for one in said.after}
    for one in said.before:
        mate = later.get(one.channel)
        if mate is not None and one.trace is not None and mate.trace is not None:
            return (
                Picture(speeds_chart(one, mate), f"Speed before and after, channel {one.channel}. Fast is upward."),
                Picture(spectra_chart(one, mate), f"Flutter over frequency before and after, channel {one.channel}."),
            )
    return ()


def _owners_proof(said: HandOver) -> Section | None:
    """Show before and after in three readings; or what was measured after."""
    changed = next((one for one in said.changes if one.why_not is None), None)
    if changed is not None:
        rows = reading_rows([one for one in changed.readings if one.name in OWNERS_READINGS])
        table = Table(
            ("reading", "", "before", "after", "change"), tuple(map(tuple, rows)), "Measured, each with its doubt"
        )
        return Section("What the measurements say", (said.proof,), (), _plots(said)[:1], (table,))
    latest = next((one for one in (*said.after, *said.before) if one.tone.get("found")), None)
    if latest is None:
        return None
    kept = [
        (reading_name(name), reading_said(name, reading), against_limit(latest.verdicts.get(name)))
        for name, reading in latest.readings.items()
        if name in OWNERS_READINGS and reading.value is not None
    ]
    when = "after" if said.after else "before"
    table = Table(("reading", "value", "limit"), tuple(kept), f"Measured {when} the repair, each with its doubt")
    return Section("What the measurements say", tables=(table,))


def _owners_heads(said: HandOver) -> Section | None:
    """Say in plain words what a test sequence told of heads and levels: after the repair, else before it."""
    for when, heard in (("after the repair", said.after), ("before the repair", said.before)):
        found = next((one.one_pass for one in heard if one.one_pass is not None), None)
        if found is not None:
            return owners_section(found, when)
    return None


def _passes(when: str, heard: Sequence[Heard]) -> list[Section]:
    return [
        section
        for one in heard
        if one.one_pass is not None
        for section in pass_sections(one.one_pass, f"{when}: {one.file}")
    ]


def _proof(said: HandOver, machine: Machine) -> Section | None:
    tables = []
    for one in said.changes:
        if one.why_not is not None:
            continue
        headings = ("reading", "verdict", "before", "after", "change")
        kept = [row for row in one.readings if row.change.value is not None]
        tables.append(Table(headings, tuple(map(tuple, reading_rows(kept))), f"Channel {one.channel}: readings"))
        if one.lines:
            rows = tuple(map(tuple, line_rows(one.lines[:SHOWN_LINES], machine)))
            also = ("line", "what makes it", "verdict", "before, %", "after, %", "change, %")
            tables.append(Table(also, rows, f"Channel {one.channel}: steady lines of the speed"))
    if said.heads:
        rows = tuple(map(tuple, pass_rows(said.heads)))
        tables.append(Table(PASS_HEADINGS, rows, "Test sequence: heads and levels"))
    if not tables:
        return None
    return Section("Before and after", (said.proof,), (), _plots(said), tuple(tables))


def _recordings(when: str, heard: Sequence[Heard], machine: Machine) -> list[Section]:
    """Set out of each recording the channel with the clearest tone in full, the others beside it in one short table."""
    sections = []
    for fullest, others in fullest_first(heard):
        sections.append(_measured(f"{when}: {fullest.file}, channel {fullest.channel}", fullest, machine))
        if others:
            sections.append(beside(f"{when}: {fullest.file}, the other channels", fullest, others))
    return sections


def _measured(title: str, heard: Heard, machine: Machine) -> Section:
    """Set out one channel: readings with method and conditions, lines, plots."""
    rows = tuple(
        (reading_name(name), reading_said(name, reading), against_limit(heard.verdicts.get(name)),
         " ".join(filter(None, (reading.method, reading.conditions))))
        for name, reading in heard.readings.items() if reading.value is not None
    )  # fmt: skip
    tables = [Table(("reading", "value", "limit", "how it was taken"), rows, "Readings")] if rows else []
    if heard.budget:
        largest = sorted(heard.budget, key=lambda item: -item.peak_pct)[:SHOWN_LINES]
        lines = tuple(
            (f"{item.frequency_hz:.2f} Hz", f"{item.peak_pct:.2g} ± {item.doubt_pct:.1g} %", whose_line(item, machine),
             percent(item.probability) if item.order else "")
            for item in largest
        )  # fmt: skip
        tables.append(Table(("line", "peak", "what makes it", "how sure"), lines, "What makes the flutter"))
    pictures: tuple[Picture, ...] = ()
    if heard.trace is not None:
        pictures = (
            Picture(speed_chart(heard.trace), "Speed over time; fast is upward, gaps were left out."),
            Picture(
                spectrum_chart(heard.spectrum_hz, heard.spectrum_pct, heard.budget, machine), "Flutter over frequency."
            ),
        )
    return Section(title, (tone_said(heard),), heard.notes, pictures, tuple(tables))


def _reasons(said: HandOver) -> Section | None:
    if not said.suspected:
        return None
    points = [f"{one.name}, {percent(one.share)}. {' '.join(one.reasons)}" for one in said.suspected]
    return Section("Suspected, and why", points=tuple(points))


# --- as a page, on paper ----------------------------------------------------------------------------------------------


def as_html(page: Page) -> str:
    """Write a hand-over as one HTML file: no script, no network, for screen and paper."""
    return template("hand_over.html.j2").render(page=page, inline=inline)


def as_pdf(page: Page) -> bytes:
    """Set a hand-over on paper: tagged PDF that a screen reader can read (PDF/UA-1, by typst's own check)."""
    import typst

    with tempfile.TemporaryDirectory(prefix="tapewright-paper-") as folder:
        root = Path(folder)
        (root / "page.json").write_text(json.dumps(_data(page, root), ensure_ascii=False), encoding="utf-8")
        source = (files(__package__) / "templates" / "hand_over.typ").read_text(encoding="utf-8")
        (root / "hand_over.typ").write_text(source, encoding="utf-8")
        written = typst.compile(
            str(root / "hand_over.typ"), root=str(root), ignore_system_fonts=True, pdf_standards=["ua-1"]
        )
    assert isinstance(written, bytes)
    return written


def _data(page: Page, root: Path) -> dict[str, Any]:
    """Give the page as plain data, its drawings as files beside it."""
    sections = []
    for number, section in enumerate(page.sections):
        pictures = []
        for at, picture in enumerate(section.pictures):
            name = f"picture-{number}-{at}.svg"
            (root / name).write_text(_PAGE_COLOUR.sub(r"\1", picture.svg), encoding="utf-8")
            pictures.append({"file": name, "says": picture.says})
        tables = [
            {"headings": list(one.headings), "rows": [list(row) for row in one.rows], "caption": one.caption}
            for one in section.tables
        ]
        sections.append({
            "title": section.title, "texts": list(section.texts), "points": list(section.points),
            "pictures": pictures, "tables": tables,
        })  # fmt: skip
    return {
        "heading": page.heading, "ticket": page.ticket, "facts": [list(pair) for pair in page.facts],
        "invented": page.invented, "sections": sections, "footer": page.footer,
    }  # fmt: skip
