"""The checks of a job: the next one, what was noticed, and whom that makes suspect."""

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from tapewright.jobs.bench_job import machine_of
from tapewright.jobs.owner_sheet import answers_of
from tapewright.jobs.store.nouns import Answer, Sheet
from tapewright.jobs.store.opened import Store
from tapewright.jobs.store.sums import as_bench_job
from tapewright.web import pages, views
from tapewright.web.asking import (
    Typed,
    bench_of,
    changed,
    job_id_of,
    look_at,
    query,
    searched_for,
    see,
    store_of,
    typed_in,
    who_of,
)
from tapewright.web.workbench import signs_by_id
from tapewright.words.problem import InputAtFaultError, Problem


def show(request: Request) -> Response:
    """Show the checks of a job as they stand."""
    return pages.checks_page(look_at(request), _asked(request))


def _asked(request: Request) -> views.Asked:
    asked = request.query_params
    return views.Asked(searched_for(request), asked.get("mode", "")[:80], asked.get("part", "")[:80])


async def answer(request: Request) -> Response:
    """Take an answer to a check, or a sign that was noticed, or pass a check over."""
    typed = await typed_in(request)
    who = who_of(request)
    await run_in_threadpool(_answered, store_of(request), job_id_of(request), typed, who)
    return _back(request, typed)


def _answered(store: Store, job_id: str, typed: Typed, who: str) -> Sheet:
    sheet = store.job(job_id)
    sign, said = typed.get("sign", ""), typed.get("present", "")
    if sign not in signs_by_id(machine_of(as_bench_job(sheet))):
        raise InputAtFaultError(Problem("sign", f"is {sign[:80]!r}.", "Choose one of those found on this page."))
    if said != "skip" and said not in pages.ANSWERS:
        raise InputAtFaultError(Problem("answer", f"is {said[:40]!r}.", "Choose yes, no, can't tell or skip."))
    # What is noticed after a part was renewed is told of the machine as it is then.
    renewed = tuple(dict.fromkeys(entry.what.part for entry in sheet.parts if entry.what.part))
    item = Answer(sign, skipped=True) if said == "skip" else Answer(sign, pages.ANSWERS[said], after=renewed)
    last = sheet.answers[-1].what if sheet.answers else None
    if item == last:  # a button touched twice in a hurry is one answer
        return sheet
    return store.add(job_id, item, who=who, once=typed.get("once") or None)


async def undo(request: Request) -> Response:
    """Take the last answer back."""

    def do(store: Store, job_id: str, _typed: Typed) -> Sheet:
        sheet = store.job(job_id)
        if not sheet.answers:
            return sheet
        return store.undo(job_id, sheet.answers[-1].step, who=who_of(request))

    return await changed(request, do, "#now")


async def remove(request: Request) -> Response:
    """Take back all that was said about one sign."""

    def do(store: Store, job_id: str, typed: Typed) -> Sheet:
        sheet = store.job(job_id)
        ids = [entry.id for entry in sheet.answers if entry.what.sign == typed.get("sign")]
        return store.remove(job_id, *ids, who=who_of(request)) if ids else sheet

    return await changed(request, do, "#noticed")


async def owner_code(request: Request) -> Response:
    """Take the answers that an owner sent back from afar."""

    def do(store: Store, job_id: str, typed: Typed) -> Sheet:
        machine = machine_of(as_bench_job(store.job(job_id)))
        told = answers_of(machine, typed.get("code", "")[:200])
        return store.add(
            job_id, *(Answer(one.id, one.present) for one in told), who=who_of(request), how="owner's sheet"
        )

    return await changed(request, do, "#now")


def _back(request: Request, typed: Typed) -> Response:
    """Lead back to where the button was: the search with its words, the part, or the next check."""
    asked = query(q=typed.get("q", "")[:200], part=typed.get("part", "")[:80])
    place = "noticed" if typed.get("back") == "noticed" else "now"
    return see(f"/jobs/{job_id_of(request)}{asked}#{place}")


# --- pieces of the page, fetched by its script ---------------------------------------------------------------------


def found(request: Request) -> Response:
    """Show the signs that fit what is being typed."""
    job = as_bench_job(store_of(request).job(job_id_of(request)))
    words = searched_for(request)
    return pages.found_fragment(job, views.searched(job, machine_of(job), words), words)


def drawn(request: Request) -> Response:
    """Show the mechanism with the suspects marked; touching a part leads to the signs that are seen on it."""
    look = look_at(request)
    if look.machine is None or look.record is None:
        raise HTTPException(404)
    mode = request.query_params.get("mode", "")
    return pages.picture_fragment(bench_of(request).picture(look.machine, mode, look.record))
