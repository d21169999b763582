"""One pass set out for reading: for the bench with tables and pictures, for the owner in plain sentences."""

from collections.abc import Iterable, Sequence
from typing import Final

from tapewright.show.acceptance_rows import (
    HEADINGS,
    SAID,
    judged_rows,
    not_read,
    notes_of,
    owners_rows,
    sources_said,
    value_said,
    without_limit,
)
from tapewright.show.one_pass_charts import course_chart, crosstalk_chart, dropouts_chart, response_chart
from tapewright.show.sections import Picture, Section, Table
from tapewright.words import one_pass as names
from tapewright.words.one_pass import Judgement, PassReading, PassSaid, summed_up
from tapewright.words.verdict import FAIL, PASS, worst

BY_TRACK: Final = (
    names.LEVEL, names.BALANCE, names.DELAY, names.SCATTER, names.SPACING, names.GAP, names.NOISE_A, names.NOISE_468,
    names.THREE_PERCENT, names.INTERMODULATION, names.ERASURE, names.HUM, names.DROPOUTS,
)  # fmt: skip
ALL_TRACKS: Final = (names.AZIMUTH, names.WANDER)
PLAIN: Final = (
    (("speed_error_pct", "drift_pct"), "It runs at the right speed.", "It does not run at the right speed."),
    (("weighted_peak_pct", "weighted_rms_pct", "unweighted_peak_pct", "unweighted_rms_pct"),
     "Notes are held as steadily as they should be.", "Held notes waver more than they should."),
    ((names.AZIMUTH,), "The head stands straight to the tape.",
     "The head does not stand straight to the tape, which takes treble away."),
    ((names.WANDER, names.SCATTER), "The tape keeps to its line at the head.",
     "The tape does not keep to its line at the head."),
    ((names.BALANCE,), "All tracks are about equally loud.", "Some tracks are louder than others."),
    ((names.RESPONSE, "response_spread_middle_db", "response_spread_db"), "Bass and treble come as they should.",
     "Bass or treble comes weaker or stronger than it should."),
    ((names.CROSSTALK, "crosstalk_sides_db"), "Little of one track is heard on another.",
     "Too much of one track is heard on another."),
    (("signal_to_noise_a_db", names.NOISE_A, names.NOISE_468), "Hiss is as low as it should be.",
     "There is more hiss than there should be."),
    ((names.HUM,), "Hum is as low as it should be.", "There is more hum than there should be."),
    ((names.THIRD, names.THREE_PERCENT), "Loud passages stay clean.", "Loud passages are distorted."),
    ((names.ERASURE,), "Recording over a tape erases what was on it.",
     "Recording over a tape leaves something of what was on it."),
    ((names.DROPOUTS,), "The sound has few gaps.", "The sound has more gaps than it should."),
)  # fmt: skip
"""What limits are about, said to an owner: kept, and broken."""
NOTHING: Final = "-"
"""Written where a track was not read."""
TOO_NEAR: Final = "So near the limit that it cannot be told: {}."


def pass_sections(said: PassSaid, of: str, *, drawn: bool = True) -> list[Section]:
    """Set out one pass for the bench: acceptance, readings, pictures.

    Arguments:
        said: what the pass said.
        of: which recording it is, to stand in the headings.
        drawn: whether pictures are among them.
    """
    about = f"{said.sequence}; played at {said.speed_ratio:.5f} of its speed."
    missing = f"Not there: {', '.join(said.missing)}." if said.missing else ""
    if not said.tracks:
        return [Section(f"{of}: heads and levels", (about, "No channel holds a track of its own."), said.notes)]
    judged = said.acceptance
    rows, sources = judged_rows(judged)
    more = [*sources_said(sources), *not_read(judged), *filter(None, [without_limit(judged)]), *notes_of(judged)]
    caption = "What was read, and the limit it is held against; whose that is stands below"
    tables = (Table(HEADINGS, tuple(map(tuple, rows)), caption),) if rows else ()
    return [
        Section(f"{of}: acceptance", (summed_up(judged),), tuple(more), (), tables),
        Section(
            f"{of}: heads and levels", tuple(filter(None, (about, missing, _together(said)))), said.notes,
            pass_pictures(said) if drawn else (), pass_tables(said),
        ),
    ]  # fmt: skip


def _together(said: PassSaid) -> str:
    told = [one for name in ALL_TRACKS for one in said.of(name)]
    words = [f"{SAID[one.name]} {_or_why(one)}" for one in told]
    return f"{'; '.join(words)}.".capitalize() if words else ""


def _or_why(one: PassReading) -> str:
    if one.reading.value is None and one.reading.interval is None:
        return f"not read ({(one.reading.why_not or '').rstrip('.')})"
    return value_said(one.reading)


def pass_tables(said: PassSaid) -> tuple[Table, ...]:
    """Give the readings of a pass as tables, a column for each track."""
    heads = tuple(f"track {track}" for track in said.tracks)
    rows = [_row(said, name) for name in BY_TRACK if said.of(name)]
    tables = [Table(("reading", *heads), tuple(rows), "Readings of each track")]
    tones = sorted({one.at_hz for one in said.of(names.RESPONSE) if one.at_hz is not None})
    many = sorted({one.at_hz for one in said.of(names.BETWEEN) if one.at_hz is not None})
    levels = sorted({one.at_db for one in said.of(names.THIRD) if one.at_db is not None})
    for first, caption, each in (
        ("tone", "Response against 315 Hz", [_row(said, names.RESPONSE, hz=hz) for hz in tones]),
        ("tone", "Response of many tones at once, against the one nearest to 315 Hz",
         [_row(said, names.BETWEEN, hz=hz) for hz in many]),
        ("level", "Third harmonic at each level over the reference", [_row(said, names.THIRD, db=db) for db in levels]),
    ):  # fmt: skip
        body = _read(each)
        if body:
            tables.append(Table((first, *heads), body, caption))
    crossing = [row for source in said.tracks for row in _crossing(said, source)]
    if crossing:
        onto = tuple(f"onto {track}" for track in said.tracks)
        tables.append(Table(("track that plays", *onto), tuple(crossing), "Crosstalk"))
    return tuple(tables)


def _row(said: PassSaid, name: str, hz: float | None = None, db: float | None = None) -> tuple[str, ...]:
    found = {one.track: one.reading for one in said.of(name) if one.at_hz == hz and one.at_db == db}
    label = f"{hz:g} Hz" if hz is not None else f"{db:+g} dB" if db is not None else SAID[name]
    return label, *(value_said(found[track]) if track in found else NOTHING for track in said.tracks)


def _read(rows: Iterable[tuple[str, ...]]) -> tuple[tuple[str, ...], ...]:
    """Leave out the tones and levels that no track was read at."""
    return tuple(row for row in rows if set(row[1:]) != {NOTHING})


def _crossing(said: PassSaid, source: int) -> list[tuple[str, ...]]:
    mine = [one for one in said.of(names.CROSSTALK) if one.from_track == source]
    rows = []
    for hz in sorted({one.at_hz or 0.0 for one in mine}):
        onto = {one.track: value_said(one.reading) for one in mine if one.at_hz == hz}
        rows.append((f"track {source}, {hz:g} Hz", *(onto.get(track, "plays") for track in said.tracks)))
    return rows


def pass_pictures(said: PassSaid) -> tuple[Picture, ...]:
    """Draw a pass: response, azimuth over time, crosstalk, dropouts; what was not read is not drawn."""
    field = " Grey: the field that the limit leaves" if said.response_fields else ""
    moved = ", moved up or down to fit." if any(one.floats for one in said.response_fields) else "."
    drawn = []
    if any(one.reading.value is not None for one in said.of(names.RESPONSE)):
        drawn.append(Picture(response_chart(said), f"Response of each track.{field}{moved if field else ''}"))
    if said.course is not None:
        drawn.append(Picture(course_chart(said), "Azimuth over the finest section, and its mean."))
    tones = sorted({one.at_hz for one in said.of(names.CROSSTALK) if one.at_hz is not None})
    if tones:
        words = "Crosstalk: a larger square is louder, its figure in decibels in it."
        drawn.append(Picture(crosstalk_chart(said, tones[0]), words))
    if said.dropouts:
        words = f"Dropouts by length and depth, a mark of its own for each track; counted from {said.dropout_settings}."
        drawn.append(Picture(dropouts_chart(said), words))
    return tuple(drawn)


def owners_section(said: PassSaid, when: str) -> Section | None:
    """Say in plain words what a pass told; None where nothing could be judged.

    Arguments:
        said: what the pass said.
        when: "after the repair" or "before the repair".
    """
    rows = owners_rows(said.acceptance)
    if not rows:
        return None
    texts = (f"A test tape was played {when} and every track was listened to at once.",)
    table = Table(("what was measured", "result"), tuple(map(tuple, rows)), "Each against its limit")
    return Section("How it sounds", texts, tuple(plainly(said.acceptance)), (), (table,))


def plainly(judged: Sequence[Judgement]) -> list[str]:
    """Say for an owner what is as it should be, what is not, and what cannot be told."""
    good, bad, near = [], [], []
    for about, kept, broken in PLAIN:
        verdicts = [one.verdict.verdict for one in judged if one.name in about and one.verdict is not None]
        found = worst(verdicts)
        if found == FAIL:
            bad.append(broken)
        elif found == PASS:
            good.append(kept)
        elif found is not None:
            near.append(f"{kept[:1].lower()}{kept[1:].rstrip('.')}")
    return [*bad, *good, *([TOO_NEAR.format("; ".join(f"whether {one}" for one in near))] if near else [])]
