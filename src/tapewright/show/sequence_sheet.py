"""The sheet that goes with a test sequence: what is on it, when, and how to put it on a tape; as text and as a page."""

from dataclasses import dataclass
from typing import Final

from tapewright.faults.cautions import cautions
from tapewright.show.columns import bullets, heading, paragraph, table
from tapewright.show.paper import template
from tapewright.words.clock import clock
from tapewright.words.sequence import (
    AZIMUTH,
    CROSSTALK,
    DISTORTION,
    ERASURE,
    LEVEL,
    MARK,
    MULTITONE,
    RESPONSE,
    SILENCE,
    SPEED,
    Section,
    Sequence,
)

HEADINGS: Final = ("From", "Length, s", "What", "Tone", "Level, dB", "Tracks")
SAID: Final = {
    MARK: "synchronising mark",
    SPEED: "speed, wow and flutter",
    LEVEL: "reference level",
    AZIMUTH: "azimuth",
    RESPONSE: "response",
    MULTITONE: "many tones at once",
    SILENCE: "silence, for noise and hum",
    CROSSTALK: "one track alone, for crosstalk",
    DISTORTION: "rising level, for distortion",
    ERASURE: "erasure: kept",
}
ERASE: Final = "erasure: erase this"


@dataclass(frozen=True, slots=True)
class SequenceSheet:
    """What the sheet says, before it is set as text or as a page.

    Arguments:
        title: of the sheet.
        facts: name and what it is.
        steps: how to put the sequence on a tape, in their order.
        cautions: what can hurt.
        rows: a cell for each of `HEADINGS`; one row for each section.
    """

    title: str
    facts: tuple[tuple[str, str], ...]
    steps: tuple[str, ...]
    cautions: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def sequence_sheet(sequence: Sequence, reference_dbfs: float, file: str = "") -> SequenceSheet:
    """Work out the sheet of a sequence.

    Arguments:
        sequence: what is on the tape.
        reference_dbfs: where a tone at the reference level peaks in the file.
        file: its name; "" for none.
    """
    facts = (
        ("Sequence", sequence.name),
        ("File", file or "not written"),
        ("Plays", f"{clock(sequence.duration_s)} at the right speed"),
        ("Reference level", f"{sequence.reference_nwb_per_m:g} nWb/m; peaks at {reference_dbfs:g} dB of full scale"),
        ("Replay curve", f"{1e6 * sequence.time_constant_s:g} µs and 3180 µs"),
    )
    rows = tuple(_row(section) for section in sequence.sections)
    return SequenceSheet("Test sequence", facts, _steps(sequence), cautions(("tone", "tape")), rows)


def _steps(sequence: Sequence) -> tuple[str, ...]:
    level = next(one for one in sequence.sections if one.kind == LEVEL)
    erased = next(one for one in sequence.sections if one.to_be_erased)
    return (
        "Use the best machine there is, clean, demagnetised, adjusted and run in: the tape can be no better.",
        f"Set it to type {sequence.tape_type} ({1e6 * sequence.time_constant_s:g} µs), noise reduction off, no "
        "limiter, no tone control. The file is flat: the machine does the equalisation.",
        f"Turn the record level so that the tone at {clock(level.start_s)} stands at "
        f"{sequence.reference_nwb_per_m:g} nWb/m, by the machine's meter or, better, by a level tape.",
        "Put channel 1 of the file on the track next to the deck plate, the others outwards in their order. Record the "
        "whole file in one go.",
        f"Wind back, and record with the inputs closed from anywhere after {clock(erased.start_s - 5.0)} to the end: "
        f"this erases what stands at {clock(erased.start_s)}. Where it is left out, erasure reads as none.",
        "Write on the cassette what recorded it, and when. Speed, azimuth and response of another machine are then "
        "read against that one, with its faults.",
    )


def _row(section: Section) -> tuple[str, ...]:
    tones = [f"{hz:g}" for hz in section.frequencies_hz]
    tone = f"{len(tones)} from {tones[0]} to {tones[-1]} Hz" if tones else _hz(section.frequency_hz)
    silent = section.kind == SILENCE
    return (
        clock(section.start_s),
        f"{section.length_s:.1f}",
        ERASE if section.to_be_erased else SAID[section.kind],
        tone,
        "" if silent else f"{section.level_db:+.0f}".replace("+0", "0"),
        "none" if silent else ", ".join(map(str, section.tracks)),
    )


def _hz(frequency_hz: float | None) -> str:
    return "" if frequency_hz is None else f"{frequency_hz:g} Hz"


def sequence_text(sheet: SequenceSheet) -> str:
    """Set the sheet as text."""
    parts = [
        heading(sheet.title),
        "\n".join(f"{name}: {what}" for name, what in sheet.facts),
        "\n".join(paragraph(step, "   ", f"{place}. ") for place, step in enumerate(sheet.steps, 1)),
        bullets([f"Caution: {one}" for one in sheet.cautions]),
        table(HEADINGS, sheet.rows, right=(0, 1, 4)),
    ]
    return "\n\n".join(parts)


def sequence_page(sheet: SequenceSheet) -> str:
    """Set the sheet as one HTML file for screen and paper: no script, no network."""
    return template("sequence.html.j2").render(sheet=sheet, headings=HEADINGS)


__all__ = ["SequenceSheet", "sequence_page", "sequence_sheet", "sequence_text"]
