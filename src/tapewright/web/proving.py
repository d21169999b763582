"""The proof: the last recording from before set against the last from after."""

from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from tapewright.jobs.compare import compared, heads_compared, said_in_all
from tapewright.jobs.store.nouns import Stage
from tapewright.machine.parts import Machine
from tapewright.show.comparing import (
    PASS_HEADINGS,
    PASS_SAID,
    line_rows,
    pass_rows,
    reading_rows,
    spectra_chart,
    speeds_chart,
)
from tapewright.show.one_pass_shown import pass_sections
from tapewright.show.said import reading_name
from tapewright.show.sections import Section, Table
from tapewright.web import pages
from tapewright.web.asking import bench_of, look_at
from tapewright.web.workbench import Look
from tapewright.words.comparison import ChannelChange, PassChange
from tapewright.words.record import Heard


def show(request: Request) -> Response:
    """Show what changed, and whether it is more than doubt."""
    look = look_at(request)
    before, after = pair(look)
    changes = compared(before, after) if before and after else []
    channels = [_shown(one, look.machine) for one in changes]
    heads = heads_compared(before, after)
    says = said_in_all(changes, heads) if changes else ""
    return pages.proof_page(look, before, after, channels, says, _heads(before, after, heads))


def _heads(before: list[Heard], after: list[Heard], changes: list[PassChange]) -> list[Section]:
    """Set out the test sequence: before against after, and the acceptance of the later; of one alone, its own."""
    shown = []
    if changes:
        rows = tuple(map(tuple, pass_rows(changes)))
        table = Table(PASS_HEADINGS, rows, "Readings of the test sequence, each with its doubt")
        shown.append(Section("Heads and levels", (), (PASS_SAID,), (), (table,)))
    for when, heard in (("After", after), ("Before", before)):
        found = next((one for one in heard if one.one_pass is not None), None)
        if found is not None and found.one_pass is not None:
            return [*shown, *pass_sections(found.one_pass, f"{when} ({found.file})", drawn=False)]
    return shown


def _shown(one: ChannelChange, machine: Machine | None) -> dict[str, Any]:
    """Put one channel's changes into rows; readings that were not taken both times are only named."""
    both = [row for row in one.readings if row.change.value is not None]
    lacking = [reading_name(row.name) for row in one.readings if row.change.value is None]
    return {
        "number": one.channel,
        "why_not": one.why_not,
        "readings": reading_rows(both),
        "lacking": lacking,
        "lines": line_rows(one.lines, machine),
    }


def pair(look: Look) -> tuple[list[Heard], list[Heard]]:
    """Give the channels of the last measured recording from before, and of the last from after."""
    return _last(look, Stage.BEFORE, Stage.UNSAID), _last(look, Stage.AFTER)


def _last(look: Look, *stages: Stage) -> list[Heard]:
    measured = [list(state.heard) for _, state in look.heard_at(*stages) if state.heard]
    return measured[-1] if measured else []


def charts(request: Request) -> Response:
    """Show both on one plot, channel by channel."""
    look = look_at(request)
    before, after = pair(look)
    shown = bench_of(request).drawn.of(("proof", look.job.id), (*before, *after), lambda: _both(before, after))
    if not shown:
        raise HTTPException(404)
    return pages.picture_fragment(*shown)


def _both(before: list[Heard], after: list[Heard]) -> list[str]:
    later = {one.channel: one for one in after}
    shown: list[str] = []
    for one in before:
        mate = later.get(one.channel)
        if mate is not None and one.trace is not None and mate.trace is not None:
            shown += [
                speeds_chart(one, mate, f"Channel {one.channel}: speed before and after"),
                spectra_chart(one, mate, f"Channel {one.channel}: flutter before and after"),
            ]
    return shown
