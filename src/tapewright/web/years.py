"""The same machine over the years: its visits, and which way each reading goes."""

from typing import Final

from starlette.requests import Request
from starlette.responses import Response

from tapewright.jobs.hand_over import due_next
from tapewright.jobs.machine_history import trends, visits
from tapewright.show.trends import trend_chart, trend_rows
from tapewright.web import pages
from tapewright.web.asking import look_at, store_of

DRAWN: Final = ("speed_error_pct", "weighted_peak_pct")
MOST_DRAWN: Final = 4


def show(request: Request) -> Response:
    """Show what was read at each visit, the trends, and what is likely to be due."""
    look = look_at(request)
    made = visits(store_of(request), look.sheet.particulars.serial)
    found = trends(made)
    due = due_next(look.sheet, look.record)
    return pages.years_page(look, made, trend_rows(found, look.machine), due)


def charts(request: Request) -> Response:
    """Draw the main readings over the years, and the lines that grow."""
    look = look_at(request)
    found = trends(visits(store_of(request), look.sheet.particulars.serial))
    told = [one for one in found if len(one.points) > 1]
    chosen = [one for one in told if one.name in DRAWN or one.rising][:MOST_DRAWN]
    return pages.picture_fragment(*(trend_chart(one, look.machine) for one in chosen))
