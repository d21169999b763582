"""What every page needs: whose bench, which job, what was typed, and where to lead next."""

import contextlib
import math
import secrets
from collections.abc import AsyncIterator, Callable
from datetime import date
from typing import Final
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from tapewright.jobs.bench_job import called_plainly
from tapewright.jobs.store.files import Incoming
from tapewright.jobs.store.nouns import DECIMALS, Money, Sheet
from tapewright.jobs.store.opened import Store
from tapewright.web.forms import Sink, read_form
from tapewright.web.workbench import Look, Workbench
from tapewright.words.problem import InputAtFaultError, Problem

Typed = dict[str, str]
LONGEST_SEARCH: Final = 200


def bench_of(request: Request) -> Workbench:
    """Give the bench that serves this page."""
    bench = request.app.state.bench
    assert isinstance(bench, Workbench)
    return bench


def store_of(request: Request) -> Store:
    """Give the store that the bench keeps jobs in."""
    return bench_of(request).store


def job_id_of(request: Request) -> str:
    """Give the job that the address names."""
    return str(request.path_params["job_id"])


def look_at(request: Request) -> Look:
    """Give the job that the address names, with its findings."""
    return bench_of(request).look(job_id_of(request))


def who_of(request: Request) -> str:
    """Give the person who is at this page; "" while nobody said."""
    return str(getattr(request.state, "who", ""))


def searched_for(request: Request) -> str:
    """Give what was typed into the search of a page."""
    return request.query_params.get("q", "")[:LONGEST_SEARCH]


async def typed_in(request: Request, sink: Callable[[str, str], Sink] | None = None) -> Typed:
    """Read the form of a page, and remember it for a page that has to be shown again.

    Raises:
        InputAtFaultError: when it cannot be read.
    """
    request.state.typed = typed = await read_form(request, sink)
    return typed


@contextlib.asynccontextmanager
async def arriving(request: Request, most_bytes: int) -> AsyncIterator[tuple[Typed, list[tuple[Incoming, str]]]]:
    """Read a form with files: what was typed, and each file on its way with what it is called.

    A file that was not kept when the block ends, however it ends, is deleted.

    Arguments:
        request: with the form as its body.
        most_bytes: how long a file may be.

    Raises:
        InputAtFaultError: when it cannot be read, or a file is too long.
    """
    with contextlib.ExitStack() as stack:
        coming: list[tuple[Incoming, str]] = []

        def sink(_name: str, filename: str) -> Incoming:
            called = called_plainly(filename)
            coming.append((stack.enter_context(store_of(request).incoming(called, most_bytes)), called))
            return coming[-1][0]

        yield await typed_in(request, sink), coming


async def changed(request: Request, do: Callable[[Store, str, Typed], Sheet], to: str = "") -> Response:
    """Read a form, change the job by it, and lead to a page of that job.

    Arguments:
        request: with the form as its body.
        do: is given the store, the job's id and what was typed.
        to: what follows on the job's address.
    """
    typed = await typed_in(request)
    job_id = job_id_of(request)
    await run_in_threadpool(do, store_of(request), job_id, typed)
    return see(f"/jobs/{job_id}{to}")


def see(address: str) -> Response:
    """Answer a change with "see there", so that reloading is harmless."""
    return RedirectResponse(address, 303)


def query(**said: str) -> str:
    """Write what follows a question mark; nothing where nothing is said."""
    given = {name: value for name, value in said.items() if value}
    return "?" + urlencode(given) if given else ""


def new_token() -> str:
    """Draw what a form carries so that it counts once, however often it is sent."""
    return secrets.token_hex(8)


# --- what people type ------------------------------------------------------------------------------------------------


def number(text: str, where: str) -> float | None:
    """Read a number, with a point or a comma; nothing is None.

    >>> number("38,5", "age")
    38.5

    Raises:
        InputAtFaultError: for anything else.
    """
    if not text.strip():
        return None
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputAtFaultError(Problem(where, f"is {text[:40]!r}.", "Give a number, or leave it empty."))
    return value


def money(text: str, currency: str, where: str) -> Money | None:
    """Read an amount; nothing is None.

    >>> str(money("12,5", "EUR", "cost"))
    '12.50 EUR'

    Raises:
        InputAtFaultError: for what is no amount, or finer than the currency.
    """
    amount = number(text, where)
    if amount is None:
        return None
    currency = currency.strip().upper()
    scaled = amount * 10 ** DECIMALS.get(currency, 2)
    if abs(scaled - round(scaled)) > 1e-6 or abs(scaled) > 2**53:
        raise InputAtFaultError(Problem(where, f"is {text[:40]!r}.", f"Give an amount that {currency} has."))
    return Money(round(scaled), currency)


def day(text: str, where: str) -> date | None:
    """Read a day as a browser's date field gives it; nothing is None.

    Raises:
        InputAtFaultError: for what is no day.
    """
    if not text.strip():
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        do = "Give year, month and day: 2031-05-24."
        raise InputAtFaultError(Problem(where, f"is {text[:40]!r}.", do)) from None


def yes_or_no(text: str) -> bool | None:
    """Read a choice of yes, no and not known."""
    return {"yes": True, "no": False}.get(text)
