"""Which address leads to what. Every change is a form, answered with "see there", so that reloading is harmless."""

import contextlib
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from urllib.parse import urlencode

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from tapewright.jobs import bench_job
from tapewright.jobs.bench_job import Job, NoSuchJobError
from tapewright.jobs.evidence_file import evidence_json
from tapewright.jobs.examine import examination_json
from tapewright.measure.audio import open_recording
from tapewright.show.charts import spectrum_chart, speed_chart
from tapewright.show.report import html_report
from tapewright.web import pages, views
from tapewright.web.door import REPORT_POLICY, Door
from tapewright.web.forms import read_form
from tapewright.web.uploads import Arriving, ShortText, arriving
from tapewright.web.workbench import Look, Workbench, renamed, signs_by_id
from tapewright.words.problem import InputAtFaultError, Problem

LOWEST_TONE_HZ, HIGHEST_TONE_HZ = 100.0, 20_000.0


def application(home: Path, *, ahead: bool = True) -> ASGIApp:
    """Make the bench.

    Arguments:
        home: the folder jobs lie in.
        ahead: whether to work out the next answers while somebody is looking.
    """
    bench = Workbench(home, ahead=ahead)

    @contextlib.asynccontextmanager
    async def running(_app: Starlette) -> AsyncIterator[None]:
        await run_in_threadpool(bench_job.swept, home)
        bench.warm()
        yield
        await run_in_threadpool(bench.close)

    app = Starlette(routes=_ROUTES, lifespan=running, exception_handlers=_HANDLERS)
    app.state.bench = bench
    return Door(app)


def _bench(request: Request) -> Workbench:
    bench = request.app.state.bench
    assert isinstance(bench, Workbench)
    return bench


# --- the first page --------------------------------------------------------------------------------------------------


def start(request: Request) -> Response:
    """Show the first page."""
    return pages.start_page(bench_job.kept_jobs(_bench(request).home))


async def begin(request: Request) -> Response:
    """Begin a job, on a shipped machine or on one that the user describes."""
    described: list[ShortText] = []

    def sink(_name: str, filename: str) -> ShortText:
        described.append(ShortText(bench_job.called_plainly(filename)))
        return described[-1]

    request.state.typed = typed = await read_form(request, sink)
    job = await run_in_threadpool(_begun, typed, described)
    await run_in_threadpool(bench_job.keep_job, _bench(request).home, job)
    return _see(f"/jobs/{job.id}")


def _begun(typed: dict[str, str], described: list[ShortText]) -> Job:
    age = _number(typed.get("age", ""), "age")
    complaint = typed.get("complaint", "")
    if described:
        return bench_job.begun_on_own(described[0].text(), described[0].called, complaint, age)
    return bench_job.begun(typed.get("machine", ""), complaint, age)


def _number(text: str, where: str) -> float | None:
    """Read a number somebody typed, with a point or a comma; nothing is None."""
    try:
        return float(text.strip().replace(",", ".")) if text.strip() else None
    except ValueError:
        raise InputAtFaultError(Problem(where, f"is {text[:40]!r}.", "Give a number, or leave it empty.")) from None


# --- the job ---------------------------------------------------------------------------------------------------------


def _job_id(request: Request) -> str:
    return str(request.path_params["job_id"])


def _look(request: Request) -> Look:
    return _bench(request).look(_job_id(request))


def show_job(request: Request) -> Response:
    """Show a job as it stands."""
    asked = request.query_params
    return pages.job_page(_look(request), asked.get("q", "")[:200], asked.get("mode", ""))


async def answer(request: Request) -> Response:
    """Take an answer to a check, or a sign that was noticed, or pass a check over."""
    typed = await read_form(request)
    sign, said = typed.get("sign", ""), typed.get("present", "")

    def do(job: Job) -> Job:
        if sign not in signs_by_id(bench_job.machine_of(job)):
            raise InputAtFaultError(Problem("sign", f"is {sign[:80]!r}.", "Choose one of those found on this page."))
        if said == "skip":
            return bench_job.skipped(job, sign)
        if said not in pages.ANSWERS:
            raise InputAtFaultError(Problem("answer", f"is {said[:40]!r}.", "Choose yes, no, can't tell or skip."))
        return bench_job.answered(job, sign, pages.ANSWERS[said])

    await run_in_threadpool(_bench(request).change, _job_id(request), do)
    return _back(request, typed)


async def undo(request: Request) -> Response:
    """Take the last answer back."""
    return await _changed(request, lambda job, _typed: bench_job.undone(job))


async def remove(request: Request) -> Response:
    """Take back all that was said about one sign."""
    return await _changed(request, lambda job, typed: bench_job.without_sign(job, typed.get("sign", "")))


async def put_away(request: Request) -> Response:
    """Put a job away, or take it out again."""
    typed = await read_form(request)
    away = typed.get("away") == "yes"
    await run_in_threadpool(_bench(request).change, _job_id(request), lambda job: bench_job.put_away(job, away=away))
    return _see("/" if away else f"/jobs/{_job_id(request)}")


async def _changed(request: Request, do: Callable[[Job, dict[str, str]], Job]) -> Response:
    typed = await read_form(request)
    await run_in_threadpool(_bench(request).change, _job_id(request), lambda job: do(job, typed))
    return _back(request, typed)


def _back(request: Request, typed: dict[str, str]) -> Response:
    """Lead back to where the button was: the search with its words, or the next check."""
    query = "?" + urlencode({"q": typed["q"][:200]}) if typed.get("q") else ""
    place = "noticed" if typed.get("back") == "noticed" else "now"
    return _see(f"/jobs/{_job_id(request)}{query}#{place}")


def _see(address: str) -> Response:
    return RedirectResponse(address, 303)


# --- pieces of the job page, fetched by its script -------------------------------------------------------------------


def found(request: Request) -> Response:
    """Show the signs that fit what is being typed."""
    words = request.query_params.get("q", "")[:200]
    job = bench_job.read_job(_bench(request).home, _job_id(request))
    return pages.found_fragment(job, views.searched(job, bench_job.machine_of(job), words), words)


def drawn(request: Request) -> Response:
    """Show the mechanism with the suspects marked."""
    look = _look(request)
    if look.machine is None or look.record is None:
        raise HTTPException(404)
    mode = views.drawn_mode(look.machine, request.query_params.get("mode", ""), look.record.next_check)
    return pages.picture_fragment(_bench(request).picture(look.machine, mode, views.marked(look.record)))


def charts(request: Request) -> Response:
    """Show speed over time and the spectrum of each channel of a recording that has a tone."""
    look = _look(request)
    for recording, state in zip(look.job.recordings, look.measured, strict=True):
        if recording.file == request.path_params["file"]:
            shown = []
            for one in state.heard:
                if one.trace is not None:
                    shown.append(speed_chart(one.trace, f"Channel {one.channel}: speed over time"))
                    title = f"Channel {one.channel}: spectrum of the flutter"
                    shown.append(spectrum_chart(one.spectrum_hz, one.spectrum_pct, one.budget, look.machine, title))
            return pages.picture_fragment(*shown)
    raise HTTPException(404)


def measuring(request: Request) -> Response:
    """Tell how far the recordings are."""
    return JSONResponse({"shares": _bench(request).shares(_job_id(request))})


# --- recordings ------------------------------------------------------------------------------------------------------


async def put_recording(request: Request) -> Response:
    """Take a recording as the body of the request, written to the disk as it arrives."""
    bench = _bench(request)
    job = await run_in_threadpool(bench_job.read_job, bench.home, _job_id(request))
    called = bench_job.called_plainly(request.query_params.get("name", ""))
    tone_hz = _tone(request.query_params.get("tone", ""))
    with arriving(bench_job.place_for_recording(bench.home, job), called) as coming:
        async for block in request.stream():
            coming.write(block)
        await run_in_threadpool(_arrived, bench, job.id, coming, tone_hz)
    return JSONResponse({"to": f"/jobs/{job.id}#recordings"}, 201)


async def post_recording(request: Request) -> Response:
    """Take a recording from a form, for a browser that runs no scripts."""
    bench = _bench(request)
    job = await run_in_threadpool(bench_job.read_job, bench.home, _job_id(request))
    with contextlib.ExitStack() as stack:
        coming: list[Arriving] = []

        def sink(_name: str, filename: str) -> Arriving:
            called = bench_job.called_plainly(filename)
            coming.append(stack.enter_context(arriving(bench_job.place_for_recording(bench.home, job), called)))
            return coming[-1]

        typed = await read_form(request, sink)
        if not coming:
            raise InputAtFaultError(Problem("recording", "No file was chosen.", "Choose a sound file, or a video with sound, first."))
        for one in coming:
            await run_in_threadpool(_arrived, bench, job.id, one, _tone(typed.get("tone", "")))
    return _see(f"/jobs/{job.id}#recordings")


def _tone(text: str) -> float | None:
    tone_hz = _number(text, "tone on the test tape")
    if tone_hz is not None and not LOWEST_TONE_HZ <= tone_hz <= HIGHEST_TONE_HZ:
        do = f"Give {LOWEST_TONE_HZ:g} to {HIGHEST_TONE_HZ:g} Hz, or leave it empty: 3150 and 3000 Hz are found."
        raise InputAtFaultError(Problem("tone on the test tape", f"is {tone_hz:g} Hz.", do))
    return tone_hz


def _arrived(bench: Workbench, job_id: str, coming: Arriving, tone_hz: float | None) -> None:
    """See that what arrived is a sound file, and add it to the job."""
    path = coming.whole()
    try:
        open_recording(path)
    except InputAtFaultError as error:
        raise renamed(error, path, coming.called) from None
    bench.change_files(job_id, lambda home, job: bench_job.with_recording(home, job, path, coming.called, tone_hz))


async def remove_recording(request: Request) -> Response:
    """Take a recording out of the job."""
    bench, file = _bench(request), str(request.path_params["file"])
    await run_in_threadpool(
        bench.change_files, _job_id(request), lambda home, job: bench_job.without_recording(home, job, file)
    )
    bench.forget(_job_id(request), file)
    return _see(f"/jobs/{_job_id(request)}#recordings")


# --- what leaves the bench -------------------------------------------------------------------------------------------


def report(request: Request) -> Response:
    """Give the report, one file that prints and can be sent."""
    look = _look(request)
    if look.machine is None or look.record is None:
        raise InputAtFaultError(look.problems)
    return HTMLResponse(html_report(look.record, look.machine), headers={"content-security-policy": REPORT_POLICY})


def evidence(request: Request) -> Response:
    """Give what was noticed, as the file that the commands read."""
    job = bench_job.read_job(_bench(request).home, _job_id(request))
    return pages.download(evidence_json(bench_job.evidence_of(job)), f"evidence-{job.id}.json")


def findings(request: Request) -> Response:
    """Give the findings as `tapewright examine --json` prints them."""
    look = _look(request)
    if look.record is None:
        raise InputAtFaultError(look.problems)
    return pages.download(examination_json(look.record), f"findings-{look.job.id}.json")


# --- what goes wrong -------------------------------------------------------------------------------------------------


def _at_fault(request: Request, error: Exception) -> Response:
    """Show what was wrong on the page it was typed into, with what was typed."""
    assert isinstance(error, InputAtFaultError)
    if request.method == "PUT":
        return pages.problems_json(error.problems)
    if "job_id" not in request.path_params:
        typed = getattr(request.state, "typed", None)
        return pages.start_page(bench_job.kept_jobs(_bench(request).home), error.problems, typed)
    try:
        look = _look(request)
    except InputAtFaultError as unreadable:
        sentences = ["Other jobs are not touched by this."]
        return pages.message_page("This job cannot be read", sentences, pages.AT_FAULT, unreadable.problems)
    return pages.job_page(look, refused=error.problems)


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
_ROUTES = [
    Route("/", start),
    Route("/jobs", begin, methods=["POST"]),
    Route(_JOB, show_job),
    Route(f"{_JOB}/answer", answer, methods=["POST"]),
    Route(f"{_JOB}/undo", undo, methods=["POST"]),
    Route(f"{_JOB}/remove", remove, methods=["POST"]),
    Route(f"{_JOB}/away", put_away, methods=["POST"]),
    Route(f"{_JOB}/found", found),
    Route(f"{_JOB}/drawing", drawn),
    Route(f"{_JOB}/charts/{{file}}", charts),
    Route(f"{_JOB}/measuring", measuring),
    Route(f"{_JOB}/recordings", put_recording, methods=["PUT"]),
    Route(f"{_JOB}/recordings", post_recording, methods=["POST"]),
    Route(f"{_JOB}/recordings/{{file}}/remove", remove_recording, methods=["POST"]),
    Route(f"{_JOB}/report", report),
    Route(f"{_JOB}/evidence.json", evidence),
    Route(f"{_JOB}/findings.json", findings),
    Route("/favicon.ico", no_icon),
    Mount("/static", StaticFiles(packages=[("tapewright.web", "static")])),
]
