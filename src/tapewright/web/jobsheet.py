"""The job sheet: what was agreed, used and done, the soak test, the hand-over, and every step with its undo."""

from typing import Any, Final

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response

from tapewright.jobs.store.files import Incoming
from tapewright.jobs.store.nouns import (
    Attached,
    Cost,
    FileKind,
    Item,
    Note,
    PartUsed,
    Sheet,
    SoakTest,
    Status,
    Work,
)
from tapewright.jobs.store.opened import Store
from tapewright.web import pages
from tapewright.web.asking import (
    Typed,
    arriving,
    changed,
    day,
    job_id_of,
    look_at,
    money,
    number,
    see,
    store_of,
    typed_in,
    who_of,
    yes_or_no,
)
from tapewright.web.moving import zip_of
from tapewright.web.pictures import picture_of
from tapewright.web.present import beyond, present
from tapewright.words.problem import InputAtFaultError, Problem

MOST_PHOTO_BYTES: Final = 30_000_000


def show(request: Request) -> Response:
    """Show all that is kept of a job, and its history."""
    look = look_at(request)
    return pages.sheet_page(look, store_of(request).history(look.job.id))


async def set_particulars(request: Request) -> Response:
    """Say anew what is said once of a job; what is not in the form stays."""

    def do(store: Store, job_id: str, typed: Typed) -> Sheet:
        if too_much := beyond(present().role, typed):
            raise HTTPException(403, f"The counter does not say: {', '.join(too_much)[:200]}.")
        fields = _fields(typed, store.job(job_id))
        owner = {
            key: typed[key].strip() for key in ("name", "phone", "email", "address", "collected_by") if key in typed
        }
        with store.changing(job_id, who=who_of(request), once=typed.get("once") or None) as step:
            if fields:
                step.set(**fields)
            if owner:
                step.set_owner(**owner)
        return store.job(job_id)

    return await changed(request, do, "/sheet")


def _fields(typed: Typed, sheet: Sheet) -> dict[str, Any]:
    """Read those fields that the form holds."""
    currency = typed.get("currency", "") or _currency(sheet)
    found: dict[str, Any] = {key: typed[key].strip() for key in _PLAIN if key in typed}
    found |= {key: money(typed[key], currency, _MONEY[key]) for key in _MONEY if key in typed}
    if "due" in typed:
        found["due"] = day(typed["due"], "promised for")
    if "tape" in typed:
        found["tape_inside"] = yes_or_no(typed["tape"])
    if "age" in typed:
        found["age_years"] = number(typed["age"], "age")
    if "approved" in typed:
        found["approved"] = yes_or_no(typed["approved"])
    if "accessories" in typed:
        found["accessories"] = tuple(one.strip() for one in typed["accessories"].split(",") if one.strip())
    if "status" in typed:
        if typed["status"] not in [one.value for one in Status]:
            do = "Choose one of the list."
            raise InputAtFaultError(Problem("status", f"is {typed['status'][:40]!r}.", do))
        found["status"] = Status(typed["status"])
    return found


_PLAIN: Final = ("serial", "condition", "complaint", "approved_how", "hand_over_note")
_MONEY: Final = {
    "estimate_low": "estimate, from", "estimate_high": "estimate, to", "approved_limit": "agreed limit", "paid": "paid",
}  # fmt: skip


def _currency(sheet: Sheet) -> str:
    said = sheet.particulars
    given = (said.estimate_low, said.estimate_high, said.approved_limit, said.paid)
    costs = [entry.what.cost for entry in sheet.parts] + [entry.what.cost for entry in sheet.work]
    amounts = [*given, *costs, *(entry.what.cost for entry in sheet.costs)]
    return next((amount.currency for amount in amounts if amount is not None), "EUR")


async def add(request: Request) -> Response:
    """Add a part used, work, a cost, a soak test or a note."""

    def do(store: Store, job_id: str, typed: Typed) -> Sheet:
        item = _item(typed, typed.get("currency") or _currency(store.job(job_id)))
        return store.add(job_id, item, who=who_of(request), once=typed.get("once") or None)

    return await changed(request, do, "/sheet#used")


def _item(typed: Typed, currency: str) -> Item:
    kind, what = typed.get("kind", ""), typed.get("what", "").strip()
    cost, minutes = money(typed.get("cost", ""), currency, "cost"), number(typed.get("minutes", ""), "minutes") or 0.0
    if kind in ("part", "work", "cost", "note") and not what:
        raise InputAtFaultError(Problem("what", "is empty.", "Say in a few words what it was."))
    if kind == "part":
        return PartUsed(what, typed.get("part", ""), typed.get("size", "").strip(), cost=cost)
    if kind == "work":
        return Work(what, minutes, cost)
    if kind == "cost":
        if cost is None:
            raise InputAtFaultError(Problem("cost", "is empty.", "Give the amount."))
        return Cost(what, cost)
    if kind == "soak":
        return SoakTest(minutes, passed=yes_or_no(typed.get("passed", "")), note=what)
    if kind == "note":
        return Note(what)
    raise InputAtFaultError(Problem("kind", f"is {kind[:40]!r}.", "Use one of the forms on this page."))


async def remove(request: Request) -> Response:
    """Take out something that was added."""

    def do(store: Store, job_id: str, typed: Typed) -> Sheet:
        return store.remove(job_id, typed.get("item", ""), who=who_of(request))

    return await changed(request, do, "/sheet#used")


async def step(request: Request) -> Response:
    """Undo a step, or do it again."""

    def do(store: Store, job_id: str, typed: Typed) -> Sheet:
        at = typed.get("step", "")
        if not at.isdecimal() or len(at) > 9:
            raise InputAtFaultError(Problem("step", f"is {at[:40]!r}.", "Choose one of the list."))
        act = store.redo if typed.get("do") == "redo" else store.undo
        return act(job_id, int(at), who=who_of(request))

    return await changed(request, do, "/sheet#history")


# --- photos ----------------------------------------------------------------------------------------------------------


async def photo(request: Request) -> Response:
    """Take a photo."""
    store, job_id = store_of(request), job_id_of(request)
    await run_in_threadpool(store.job, job_id)
    async with arriving(request, MOST_PHOTO_BYTES) as (typed, coming):
        if not coming:
            raise InputAtFaultError(Problem("photo", "No file was chosen.", "Choose a picture first."))
        for one, called in coming:
            await run_in_threadpool(_photo_arrived, store, job_id, one, called, typed, who_of(request))
    return see(f"/jobs/{job_id}/sheet#photos")


def _photo_arrived(store: Store, job_id: str, coming: Incoming, called: str, typed: Typed, who: str) -> None:
    coming.flush()
    found = picture_of(coming.path)
    if found is None:
        raise InputAtFaultError(Problem(called, "is no JPEG, PNG or WebP picture.", "Choose a photo."))
    if not found.fits:
        said = f"says that it is {found.width_px} by {found.height_px} points."
        raise InputAtFaultError(Problem(called, said, "Make it smaller first."))
    stored = coming.keep()
    note = typed.get("note", "").strip()
    kept = Attached(stored.sha256, stored.size_bytes, called, FileKind.PHOTO, note=note)
    store.add(job_id, kept, who=who, once=typed.get("once") or None)


def picture(request: Request) -> Response:
    """Give a photo of this job."""
    store = store_of(request)
    wanted = str(request.path_params["file"])
    for entry in store.job(job_id_of(request)).files:
        if entry.what.sha256 == wanted and entry.what.kind is FileKind.PHOTO:
            path = store.file_path(wanted)
            found = picture_of(path)  # a browser is never left to guess
            return FileResponse(path, media_type=found.kind if found else "application/octet-stream")
    return pages.message_page("Not here", ["There is no such photo in this job."], 404)


# --- for good --------------------------------------------------------------------------------------------------------


def export(request: Request) -> Response:
    """Give the job as a zip that a person can read."""
    store, job_id = store_of(request), job_id_of(request)
    return zip_of(store, [job_id], f"job-{store.job(job_id).ticket}.zip")


async def erase(request: Request) -> Response:
    """Erase the owner's data for good, once that was confirmed by the ticket's number."""
    typed = await typed_in(request)
    store, job_id = store_of(request), job_id_of(request)
    sheet = await run_in_threadpool(store.job, job_id)
    if typed.get("ticket", "").strip() != sheet.ticket:
        do = f"Type {sheet.ticket} to confirm: this cannot be undone."
        raise InputAtFaultError(Problem("ticket", f"is {typed.get('ticket', '')[:40]!r}.", do))

    def gone() -> tuple[str, ...]:
        return store.erase_owner(job_id, words=typed.get("words") == "yes", who=who_of(request)).look_at

    look_at_these = await run_in_threadpool(gone)
    said = ["Name, telephone, e-mail and address are gone from the job, its history and the backups of this program."]
    return pages.message_page("The owner's data are erased", [*said, *look_at_these], 200)
