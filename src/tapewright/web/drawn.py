"""Drawings and charts, drawn once and kept while what they show stays the same."""

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterable, Sequence
from typing import Final

from tapewright.machine.parts import Machine
from tapewright.show.charts import spectrum_chart, speed_chart
from tapewright.show.one_pass_shown import pass_pictures
from tapewright.words.findings import Check
from tapewright.words.record import Heard, Record

WORTH_NAMING: Final = 0.01
"""A part that explains less than this is put with the others."""
MOST_SUSPECTS: Final = 6
KEPT: Final = 64
"""Pictures; a chart takes some hundred kilobytes."""


class Drawn:
    """Pictures that were drawn, the latest of them."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept: OrderedDict[Hashable, tuple[tuple[object, ...], tuple[str, ...]]] = OrderedDict()

    def of(self, key: Hashable, shows: Iterable[object], draw: Callable[[], Sequence[str]]) -> tuple[str, ...]:
        """Give pictures, drawn now or before.

        Arguments:
            key: which pictures.
            shows: what they show: they are drawn anew when it is not the very same things.
            draw: draws them.
        """
        rests_on = tuple(shows)
        with self._lock:
            before, pictures = self._kept.get(key, ((), ()))
            if pictures and len(before) == len(rests_on) and all(map(_same, before, rests_on)):
                self._kept.move_to_end(key)
                return pictures
        pictures = tuple(draw())
        with self._lock:
            self._kept[key] = rests_on, pictures
            if len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        return pictures


def _same(before: object, now: object) -> bool:
    return before is now


def has_evidence(record: Record) -> bool:
    """Whether anything is there to be explained."""
    return any(one.present is not None for one in record.answered) or bool(record.evidence.readings)


def marked(record: Record) -> dict[str, float]:
    """Give the suspects that the drawing marks, with their shares; none before anything is noticed."""
    if not has_evidence(record):
        return {}
    leading = [b for b in record.beliefs if b.explains_complaint >= WORTH_NAMING][:MOST_SUSPECTS]
    return {b.part: b.explains_complaint for b in leading}


def drawn_mode(machine: Machine, asked: str, check: Check | None) -> str:
    """Choose the mode to draw: as asked, as the next check has it, or play."""
    for mode in (asked, check.mode if check else "", "play"):
        if mode in machine.modes:
            return mode
    return next(iter(machine.modes))


def recording_charts(heard: Iterable[Heard], machine: Machine | None) -> list[str]:
    """Draw speed over time and the spectrum of each channel that has a tone; and what a test sequence told."""
    shown = []
    for one in heard:
        if one.trace is not None:
            shown.append(speed_chart(one.trace, f"Channel {one.channel}: speed over time"))
            title = f"Channel {one.channel}: spectrum of the flutter"
            shown.append(spectrum_chart(one.spectrum_hz, one.spectrum_pct, one.budget, machine, title))
        if one.one_pass is not None:
            shown += [picture.svg for picture in pass_pictures(one.one_pass)]
    return shown
