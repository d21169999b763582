"""The acceptance in rows and sentences: what was read, what its limit makes of it, whose limit it is."""

from collections.abc import Sequence
from typing import Final

from tapewright.show.columns import bullets, heading, paragraph, table
from tapewright.show.said import READING_NAMES, with_doubt
from tapewright.words.one_pass import CALLED, Judgement, unread
from tapewright.words.reading import Reading
from tapewright.words.verdict import AT_LEAST, AT_MOST, EITHER_WAY, FAIL, PASS, WITHIN_DOUBT, Verdict, worst

LEAST_DOUBT: Final = 0.01
"""A doubt below this is written as this: a machine has none so small, only a file has."""
HEADINGS: Final = ("reading", "read", "verdict", "limit", "whose")
SAID: Final = READING_NAMES | CALLED
"""What each reading of a pass is called."""
SIGNS: Final = {PASS: "✓", FAIL: "✗", WITHIN_DOUBT: "≈"}
"""Said by shape as well as by word, so that no colour is needed."""
_UNITS: Final = {"arcmin": "′", "1/min": "a minute"}


def unit_said(unit: str) -> str:
    """Write a unit.

    >>> unit_said("arcmin"), unit_said("dB")
    ('′', 'dB')
    """
    return _UNITS.get(unit, unit)


def value_said(reading: Reading) -> str:
    """Write a reading of a pass: with its doubt, as an upper or lower limit, or as nothing.

    >>> value_said(Reading(-51.24, "dB", 0.31)), value_said(Reading(None, "dB", why_not="Noise.", interval=(-90, -55)))
    ('-51.24 ± 0.31 dB', 'under -55.0 dB')
    """
    unit = unit_said(reading.unit)
    if reading.value is not None:
        return with_doubt(reading.value, max(reading.doubt or 0.0, LEAST_DOUBT), unit)
    if reading.interval is None:
        return "-"
    low, high = reading.interval
    return f"under {_short(high)} {unit}" if high < float("inf") else f"over {_short(low)} {unit}"


def _short(end: float) -> str:
    return f"{end:.2g}" if abs(end) < 1.0 else f"{end:.1f}"


def what_said(one: Judgement) -> str:
    """Say which reading it is: its name, its track, its tone.

    >>> what_said(Judgement("crosstalk_db", Reading(-40.0, "dB"), None, 2, 1, 1000.0))
    'crosstalk, track 1 onto 2, 1000 Hz'
    """
    named = SAID.get(one.name, one.name)
    if one.from_track:
        named += f", track {one.from_track} onto {one.track}"
    elif one.track:
        named += f", track {one.track}"
    return named if one.at_hz is None else f"{named}, {one.at_hz:g} Hz"


def limit_said(verdict: Verdict) -> str:
    """Write a limit and on which side of it to stay.

    >>> limit_said(Verdict(PASS, 3.6, "arcmin", "", EITHER_WAY))
    '± 3.6 ′'
    """
    way = {EITHER_WAY: "± ", AT_MOST: "at most ", AT_LEAST: "at least "}[verdict.way]
    return f"{way}{verdict.limit:g} {unit_said(verdict.unit)}"


def verdict_said(verdict: str) -> str:
    """Write a verdict with its sign."""
    return f"{SIGNS[verdict]} {verdict}"


def judged_rows(judgements: Sequence[Judgement]) -> tuple[list[list[str]], list[str]]:
    """Give a row for each reading that was judged, by `HEADINGS`, and whose limits they are.

    Returns:
        The rows, the last cell of each a number in square brackets; the sources that these stand for, in their order.
    """
    judged = [(one, one.verdict) for one in judgements if one.verdict is not None]
    sources = list(dict.fromkeys(verdict.source for _, verdict in judged))
    rows = [
        [what_said(one), value_said(one.reading), verdict_said(verdict.verdict), limit_said(verdict),
         f"[{sources.index(verdict.source) + 1}]"]
        for one, verdict in judged
    ]  # fmt: skip
    return rows, sources


def sources_said(sources: Sequence[str]) -> list[str]:
    """Write whose limits they are, each after its number.

    >>> sources_said(["the machine's own sheet"])
    ["[1] The machine's own sheet."]
    """
    return [f"[{number}] {_capital(source)}." for number, source in enumerate(sources, 1)]


def not_read(judgements: Sequence[Judgement]) -> list[str]:
    """Say what was not read, and why; the same reason of several tracks once."""
    reasons: dict[tuple[str, str], list[int]] = {}
    for one in unread(judgements):
        key = SAID.get(one.name, one.name), one.reading.why_not or ""
        reasons.setdefault(key, []).append(one.track)
    return [f"{_capital(name)}{_on(tracks)} not read: {why}" for (name, why), tracks in reasons.items()]


def _on(tracks: Sequence[int]) -> str:
    named = sorted({str(track) for track in tracks if track})
    return f", track {' and '.join(named)}," if named else ""


def without_limit(judgements: Sequence[Judgement]) -> str:
    """Say which readings there is no limit for; nothing where there is none."""
    free = [one for one in judgements if one.verdict is None and one.reading.value is not None]
    tones = dict.fromkeys(
        SAID.get(one.name, one.name) + (f" at {one.at_hz:g} Hz" if one.at_hz is not None else "") for one in free
    )
    return f"Read, and no limit is known for: {', '.join(tones)}." if tones else ""


def notes_of(judgements: Sequence[Judgement]) -> list[str]:
    """Give what went into the judging, each sentence once."""
    return list(dict.fromkeys(note for one in judgements for note in one.notes))


def owners_rows(judgements: Sequence[Judgement]) -> list[list[str]]:
    """Give a row for each kind of reading: its name and the worst verdict on any track, in plain words."""
    kinds: dict[str, list[str]] = {}
    for one in judgements:
        if one.verdict is not None:
            kinds.setdefault(SAID.get(one.name, one.name), []).append(one.verdict.verdict)
    return [[_capital(name), verdict_said(said)] for name, each in kinds.items() if (said := worst(each)) is not None]


def acceptance_text(judgements: Sequence[Judgement], says: str = "") -> str:
    """Set out an acceptance for a terminal; nothing where there is nothing to judge.

    Arguments:
        judgements: from `acceptance`.
        says: what it comes to, a sentence.
    """
    if not judgements:
        return ""
    rows, sources = judged_rows(judgements)
    pieces = [heading("Acceptance")]
    pieces += [paragraph(says)] if says else []
    pieces += [table(list(HEADINGS), rows)] if rows else []
    pieces += [paragraph(said, "    ", "") for said in sources_said(sources)]
    more = [*not_read(judgements), *filter(None, [without_limit(judgements)]), *notes_of(judgements)]
    return "\n".join([*pieces, *([bullets(more)] if more else [])])


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
