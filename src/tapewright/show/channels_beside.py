"""Several channels of one recording: the clearest is set out in full, the others stand beside it in one short table."""

from collections.abc import Sequence

from tapewright.show.said import reading_name, reading_said, tone_said
from tapewright.show.sections import Section, Table
from tapewright.words.record import Heard


def fullest_first(heard: Sequence[Heard]) -> list[tuple[Heard, list[Heard]]]:
    """Give of each recording the channel whose tone stands clearest, and the others in their order.

    Arguments:
        heard: channels, of as many recordings as there are.
    """
    found = []
    for file in dict.fromkeys(one.file for one in heard):
        channels = [one for one in heard if one.file == file]
        fullest = max(channels, key=_clearness)
        found.append((fullest, [one for one in channels if one is not fullest]))
    return found


def _clearness(heard: Heard) -> float:
    return float(str(heard.tone.get("snr_db") or 0.0)) if heard.tone.get("found") else -1.0


def beside(title: str, fullest: Heard, others: Sequence[Heard]) -> Section:
    """Give what channels read that are not set out in full: values and verdicts alone, taken in the same way.

    Arguments:
        title: of the section.
        fullest: the channel that is set out in full; what it notes is not said again.
        others: those beside it.
    """
    names = dict.fromkeys(name for one in others for name, reading in one.readings.items() if reading.value is not None)
    rows = tuple((reading_name(name), *(_cell(one, name) for one in others)) for name in names)
    tones = tuple(f"Channel {one.channel}: {tone_said(one)}" for one in others)
    notes = tuple(f"Channel {one.channel}: {note}" for one in others for note in one.notes if note not in fullest.notes)
    headings = ("reading", *(f"channel {one.channel}" for one in others))
    tables = (Table(headings, rows, "Readings, taken in the same way"),) if rows else ()
    return Section(title, tones, notes, (), tables)


def _cell(heard: Heard, name: str) -> str:
    if name not in heard.readings:
        return ""
    verdict = heard.verdicts.get(name)
    said = reading_said(name, heard.readings[name])
    return said if verdict is None else f"{said}: {verdict.verdict}"


__all__ = ["beside", "fullest_first"]
