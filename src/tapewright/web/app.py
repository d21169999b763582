"""Which address leads to what. Every change is a form, answered with "see there", so that reloading is harmless."""

import contextlib
from collections.abc import AsyncIterator
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response
from starlette.routing import Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from tapewright.jobs.store.nouns import NoSuchJobError
from tapewright.jobs.store.opened import open_store
from tapewright.web import (
    checks,
    counter,
    findings,
    jobsheet,
    live,
    live_set_up,
    minute,
    minute_live,
    moving,
    pages,
    proving,
    recordings,
    setting_up,
    signing_in,
    years,
)
from tapewright.web.asking import look_at
from tapewright.web.door import Door
from tapewright.web.guard import Gate, Guard
from tapewright.web.minute_desk import MinuteDesk
from tapewright.web.minute_senses import listen, watch
from tapewright.web.reach import ONLY_HERE, Reach
from tapewright.web.workbench import Workbench
from tapewright.words.problem import InputAtFaultError


def application(home: Path, *, ahead: bool = True, database: str | None = None, reach: Reach = ONLY_HERE) -> ASGIApp:
    """Make the bench.

    Arguments:
        home: the folder jobs lie in.
        ahead: whether to work out the next answers while somebody is looking.
        database: address of a PostgreSQL database; None for the setting, or a file in `home`.
        reach: from where, and as what, the bench can be reached.

    Raises:
        InputAtFaultError: when jobs cannot be kept there.
    """
    store = open_store(home, database)
    bench = Workbench(store, ahead=ahead)
    minutes = MinuteDesk(store, listen, watch)

    @contextlib.asynccontextmanager
    async def running(_app: Starlette) -> AsyncIterator[None]:
        await run_in_threadpool(store.sweep)
        bench.warm()
        yield
        await run_in_threadpool(bench.close)
        await run_in_threadpool(minutes.close)
        await run_in_threadpool(store.close)

    gate = Gate(home, reach)
    guard = Middleware(Guard, gate=gate)
    app = Starlette(routes=_ROUTES, lifespan=running, exception_handlers=_HANDLERS, middleware=[guard])
    app.state.bench, app.state.gate, app.state.minutes = bench, gate, minutes
    return Door(app, reach)


# --- what goes wrong -------------------------------------------------------------------------------------------------


def _at_fault(request: Request, error: Exception) -> Response:
    """Show what was wrong on the page it was typed into, with what was typed."""
    assert isinstance(error, InputAtFaultError)
    if request.method == "PUT":
        return pages.problems_json(error.problems)
    if request.url.path in ("/sign-in", "/sign-out", "/who"):
        return pages.message_page("Not like this", [], pages.AT_FAULT, error.problems)
    if "job_id" not in request.path_params:
        return counter.arrive_page(getattr(request.state, "typed", {}), error.problems)
    try:
        look = look_at(request)
    except InputAtFaultError as unreadable:
        sentences = ["Other jobs are not touched by this."]
        return pages.message_page("This job cannot be read", sentences, pages.AT_FAULT, unreadable.problems)
    if "/minute" in request.url.path:
        return minute.minute_page(request, look, error.problems)
    if "/set-up" in request.url.path:
        return setting_up.set_up_page(look, error.problems)
    return pages.refused_page(look, request.url.path, error.problems)


def no_icon(_request: Request) -> Response:
    """Say that there is no icon, to a browser that asks for one by itself."""
    return Response(status_code=204)


def _missing(_request: Request, _error: Exception) -> Response:
    sentences = ["There is nothing at this address. The job may have been kept in another folder."]
    return pages.message_page("Not here", sentences, 404)


def _by_http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    if error.status_code == 404:
        return _missing(request, error)
    return pages.message_page("Not like this", [str(error.detail)], error.status_code)


def _gone(_request: Request, _error: Exception) -> Response:
    return Response(status_code=400)  # nobody is there to read it; what had arrived is deleted already


def _broken(_request: Request, _error: Exception) -> Response:
    sentences = [
        "This is a fault of the program, and none of yours. What it was stands in the window that the bench was "
        "started from; please report it.",
        "Nothing that was kept is lost: the jobs are on the first page.",
    ]
    return pages.message_page("Something broke", sentences, 500)


_HANDLERS = {
    InputAtFaultError: _at_fault,
    NoSuchJobError: _missing,
    HTTPException: _by_http,
    ClientDisconnect: _gone,
    Exception: _broken,
}
_JOB = "/jobs/{job_id}"
_POST = ["POST"]
_ROUTES = [
    Route("/", counter.job_list),
    Route("/arrive", counter.arrive),
    Route("/jobs", counter.begin, methods=_POST),
    Route("/jobs/in-and-out", moving.show),
    Route("/jobs/in-and-out", moving.bring_in, methods=_POST),
    Route("/jobs/in-and-out/jobs.zip", moving.everything),
    Route(f"{_JOB}/ticket", counter.ticket),
    Route(_JOB, checks.show),
    Route(f"{_JOB}/answer", checks.answer, methods=_POST),
    Route(f"{_JOB}/undo", checks.undo, methods=_POST),
    Route(f"{_JOB}/remove", checks.remove, methods=_POST),
    Route(f"{_JOB}/code", checks.owner_code, methods=_POST),
    Route(f"{_JOB}/found", checks.found),
    Route(f"{_JOB}/drawing", checks.drawn),
    Route(f"{_JOB}/recordings", recordings.show),
    Route(f"{_JOB}/recordings", recordings.put, methods=["PUT"]),
    Route(f"{_JOB}/recordings", recordings.post, methods=_POST),
    Route(f"{_JOB}/recordings/{{file}}", recordings.change, methods=_POST),
    WebSocketRoute(f"{_JOB}/live", live.live),
    Route(f"{_JOB}/minute", minute.show),
    Route(f"{_JOB}/minute/files", minute.put, methods=["PUT"]),
    Route(f"{_JOB}/minute/files", minute.post, methods=_POST),
    Route(f"{_JOB}/minute/listening", minute.listening),
    WebSocketRoute(f"{_JOB}/minute/live", minute_live.minute_live),
    Route(f"{_JOB}/minute/{{entry}}", minute.change, methods=_POST),
    Route(f"{_JOB}/minute/{{entry}}/picture", minute.picture),
    Route(f"{_JOB}/set-up", setting_up.show),
    Route(f"{_JOB}/set-up/{{step}}", setting_up.step),
    Route(f"{_JOB}/set-up/{{step}}", setting_up.change, methods=_POST),
    Route(f"{_JOB}/set-up/{{step}}/capture", setting_up.capture, methods=_POST),
    WebSocketRoute(f"{_JOB}/set-up/{{step}}/live", live_set_up.live_set_up),
    Route(f"{_JOB}/charts/{{file}}", recordings.charts),
    Route(f"{_JOB}/measuring", recordings.measuring),
    Route(f"{_JOB}/findings", findings.show),
    Route(f"{_JOB}/chain/{{part}}", findings.chain),
    Route(f"{_JOB}/plan", findings.plan),
    Route(f"{_JOB}/report", findings.report),
    Route(f"{_JOB}/hand-over/{{whose}}.{{form}}", findings.hand_over_page),
    Route(f"{_JOB}/evidence.json", findings.evidence),
    Route(f"{_JOB}/findings.json", findings.findings),
    Route(f"{_JOB}/proof", proving.show),
    Route(f"{_JOB}/proof/charts", proving.charts),
    Route(f"{_JOB}/years", years.show),
    Route(f"{_JOB}/years/charts", years.charts),
    Route(f"{_JOB}/sheet", jobsheet.show),
    Route(f"{_JOB}/sheet", jobsheet.set_particulars, methods=_POST),
    Route(f"{_JOB}/add", jobsheet.add, methods=_POST),
    Route(f"{_JOB}/take-out", jobsheet.remove, methods=_POST),
    Route(f"{_JOB}/step", jobsheet.step, methods=_POST),
    Route(f"{_JOB}/photos", jobsheet.photo, methods=_POST),
    Route(f"{_JOB}/photos/{{file}}", jobsheet.picture),
    Route(f"{_JOB}/export.zip", jobsheet.export),
    Route(f"{_JOB}/erase", jobsheet.erase, methods=_POST),
    Route("/sign-in", signing_in.show),
    Route("/sign-in", signing_in.sign_in, methods=_POST),
    Route("/sign-out", signing_in.sign_out, methods=_POST),
    Route("/who", signing_in.ask_who),
    Route("/who", signing_in.say_who, methods=_POST),
    Route("/favicon.ico", no_icon),
    Mount("/static", StaticFiles(packages=[("tapewright.web", "static")])),
]
