"""The list of jobs, and the counter: a machine comes in, and its ticket is printed."""

import math
from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from tapewright.jobs import bench_job
from tapewright.jobs.store.nouns import Owner, Page, Particulars, Sheet, Status
from tapewright.jobs.store.opened import Store
from tapewright.jobs.store.sums import ticket_of
from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.load import read_machine_text
from tapewright.web import pages, views
from tapewright.web.asking import (
    Typed,
    day,
    job_id_of,
    number,
    searched_for,
    see,
    store_of,
    typed_in,
    who_of,
    yes_or_no,
)
from tapewright.web.uploads import ShortText
from tapewright.words.problem import InputAtFaultError, Problem

OPEN: Final = tuple(one for one in Status if one not in (Status.HANDED_OVER, Status.RETURNED, Status.AWAY))
"""What still stands in the shop."""
PER_PAGE: Final = 30
FIELDS: Final = ("name", "reach", "machine", "serial", "complaint", "tape", "accessories", "due", "age")


def job_list(request: Request) -> Response:
    """Show the jobs: those in the shop, or those that fit some words."""
    asked = request.query_params
    statuses, chosen = _statuses(asked.get("status", ""))
    at = asked.get("page", "1")
    page = int(at) if at.isdecimal() and len(at) < 9 else 1
    words = searched_for(request)
    found = store_of(request).jobs(words, statuses, page=max(page, 1), per_page=PER_PAGE)
    return list_page(store_of(request), found, words, chosen)


def _statuses(asked: str) -> tuple[tuple[Status, ...], str]:
    """Give the statuses that are wanted, and the choice that stands for them."""
    if asked == "all":
        return (), asked
    if asked in [one.value for one in Status]:
        return (Status(asked),), asked
    return OPEN, "open"


def list_page(store: Store, found: Page, words: str, chosen: str) -> Response:
    """Give the list of jobs."""
    counts = store.counts()
    return pages.page(
        "list.html.j2",
        found=found,
        words=words,
        chosen=chosen,
        in_shop=sum(counts.get(one, 0) for one in OPEN),
        counts=counts,
        statuses=list(Status),
        titles=titles(),
        remarks=store.remarks,
    )


def titles() -> dict[str, str]:
    """Give the titles of the machines that ship, by id."""
    return {machine_id: shipped(machine_id).title for machine_id in shipped_ids()}


def arrive(request: Request) -> Response:
    """Show the counter's sheet, empty; or with the owner of an earlier job."""
    known = {}
    before = request.query_params.get("again", "")
    if before:
        sheet = store_of(request).job(before)
        said = sheet.particulars
        known = {"name": sheet.owner.name, "reach": sheet.owner.phone or sheet.owner.email, "serial": said.serial,
                 "machine": said.machine_id, "owner_id": sheet.owner.owner_id}  # fmt: skip
    return arrive_page(known)


def arrive_page(typed: Typed, problems: tuple[Problem, ...] = ()) -> Response:
    """Give the counter's sheet.

    Arguments:
        typed: what stands in it already.
        problems: what was wrong with it.
    """
    return pages.page(
        "arrive.html.j2",
        pages.AT_FAULT if problems else 200,
        typed=dict.fromkeys((*FIELDS, "owner_id"), "") | typed,
        problems=problems,
        groups=views.machine_choices(),
    )


async def begin(request: Request) -> Response:
    """Take a machine in, on a shipped layout or on one that the shop describes."""
    described: list[ShortText] = []

    def sink(_name: str, filename: str) -> ShortText:
        described.append(ShortText(bench_job.called_plainly(filename)))
        return described[-1]

    typed = await typed_in(request, sink)
    sheet = await run_in_threadpool(_begun, store_of(request), typed, described, who_of(request))
    return see(f"/jobs/{sheet.id}/ticket" if typed.get("then") != "bench" else f"/jobs/{sheet.id}")


def _begun(store: Store, typed: Typed, described: list[ShortText], who: str) -> Sheet:
    age = number(typed.get("age", ""), "age")
    if age is not None and not (math.isfinite(age) and 0.0 <= age <= bench_job.OLDEST_YEARS):
        do = f"Give 0 to {bench_job.OLDEST_YEARS:g}, or leave it empty."
        raise InputAtFaultError(Problem("age", f"is {age:g} years.", do))
    machine_id = typed.get("machine", "")
    text, called = ("", "") if not described else (described[0].text(), described[0].called)
    if described:
        read_machine_text(text, called)
    elif machine_id not in shipped_ids():
        do = f"Choose one of: {', '.join(shipped_ids())}; or give a description of your own."
        raise InputAtFaultError(Problem("machine", f"is {machine_id[:80]!r}, which does not ship.", do))
    reach = typed.get("reach", "").strip()
    things = tuple(one.strip() for one in typed.get("accessories", "").split(",") if one.strip())
    particulars = Particulars(
        machine_id="" if described else machine_id,
        description=text,
        described_in=called,
        serial=typed.get("serial", "").strip(),
        accessories=things,
        condition=typed.get("condition", "").strip(),
        complaint=typed.get("complaint", "").strip(),
        tape_inside=yes_or_no(typed.get("tape", "")),
        age_years=age,
        due=day(typed.get("due", ""), "promised for"),
    )
    owner = Owner(
        owner_id=typed.get("owner_id", ""),
        name=typed.get("name", "").strip(),
        phone="" if "@" in reach else reach,
        email=reach if "@" in reach else "",
    )
    return store.begin(particulars, owner, who=who, how="counter", once=typed.get("once") or None)


def ticket(request: Request) -> Response:
    """Show the ticket, to be printed."""
    sheet = store_of(request).job(job_id_of(request))
    return pages.page("ticket.html.j2", sheet=sheet, ticket=ticket_of(sheet), titles=titles())
