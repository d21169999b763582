"""The recordings of a job: put in, measured beside the page, read."""

from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from tapewright.jobs.bench_job import called_plainly
from tapewright.jobs.store.files import Incoming
from tapewright.jobs.store.nouns import Attached, FileKind, Sheet, Stage
from tapewright.jobs.store.opened import Store
from tapewright.measure.audio import open_recording
from tapewright.web import pages
from tapewright.web.asking import Typed, arriving, bench_of, job_id_of, look_at, number, see, store_of, typed_in, who_of
from tapewright.web.stretch import take_stretch
from tapewright.web.uploads import MOST_RECORDING_BYTES
from tapewright.web.workbench import recordings_of, renamed
from tapewright.words.problem import InputAtFaultError, Problem

LOWEST_TONE_HZ, HIGHEST_TONE_HZ = 100.0, 20_000.0
STAGES: Final = {"before": Stage.BEFORE, "after": Stage.AFTER, "": Stage.UNSAID}


def show(request: Request) -> Response:
    """Show the recordings of a job."""
    return pages.recordings_page(look_at(request))


async def put(request: Request) -> Response:
    """Take a recording as the body of the request, written to the disk as it arrives."""
    store, asked = store_of(request), request.query_params
    job_id = job_id_of(request)
    await run_in_threadpool(store.job, job_id)
    called, tone_hz = called_plainly(asked.get("name", "")), _tone(asked.get("tone", ""))
    stage = _stage(asked.get("stage", ""))
    with store.incoming(called, MOST_RECORDING_BYTES) as coming:
        async for block in request.stream():
            coming.write(block)
        await run_in_threadpool(_arrived, store, job_id, coming, called, tone_hz, stage, who_of(request))
    return JSONResponse({"to": f"/jobs/{job_id}/recordings"}, 201)


async def post(request: Request) -> Response:
    """Take recordings from a form, for a browser that runs no scripts."""
    store, job_id = store_of(request), job_id_of(request)
    await run_in_threadpool(store.job, job_id)
    async with arriving(request, MOST_RECORDING_BYTES) as (typed, coming):
        if not coming:
            do = "Choose a sound file, or a video with sound, first."
            raise InputAtFaultError(Problem("recording", "No file was chosen.", do))
        tone_hz, stage = _tone(typed.get("tone", "")), _stage(typed.get("stage", ""))
        for one, called in coming:
            await run_in_threadpool(_arrived, store, job_id, one, called, tone_hz, stage, who_of(request))
    return see(f"/jobs/{job_id}/recordings")


def _stage(text: str) -> Stage:
    return STAGES.get(text, Stage.UNSAID)


def _tone(text: str) -> float | None:
    tone_hz = number(text, "tone on the test tape")
    if tone_hz is not None and not LOWEST_TONE_HZ <= tone_hz <= HIGHEST_TONE_HZ:
        do = f"Give {LOWEST_TONE_HZ:g} to {HIGHEST_TONE_HZ:g} Hz, or leave it empty: 3150 and 3000 Hz are found."
        raise InputAtFaultError(Problem("tone on the test tape", f"is {tone_hz:g} Hz.", do))
    return tone_hz


def _arrived(
    store: Store, job_id: str, coming: Incoming, called: str, tone_hz: float | None, stage: Stage, who: str
) -> None:
    """See that what arrived is a sound file, and add it to the job."""
    coming.flush()
    try:
        open_recording(coming.path)
    except InputAtFaultError as error:
        raise renamed(error, coming.path, called) from None
    stored = coming.keep()
    store.add(
        job_id, Attached(stored.sha256, stored.size_bytes, called, FileKind.RECORDING, tone_hz, stage), who=who
    )  # fmt: skip


async def change(request: Request) -> Response:
    """Say anew when a recording was made, measure it or a stretch of it again, stop measuring it, or take it out."""
    typed = await typed_in(request)
    file = str(request.path_params["file"])
    await run_in_threadpool(_changed, request, job_id_of(request), file, typed)
    return see(f"/jobs/{job_id_of(request)}/recordings")


def _changed(request: Request, job_id: str, file: str, typed: Typed) -> Sheet:
    bench, store = bench_of(request), store_of(request)
    sheet, do = store.job(job_id), typed.get("do", "")
    for entry in recordings_of(sheet):
        if entry.what.sha256 != file:
            continue
        if do == "remove":
            bench.forget(job_id, file)
            return store.remove(job_id, entry.id, who=who_of(request))
        if do == "again":
            bench.forget(job_id, file)
        elif do == "stop":
            bench.give_up(job_id, file, entry.what.called)
        elif do == "stage":
            return store.edit(job_id, entry.id, stage=_stage(typed.get("stage", "")), who=who_of(request))
        elif do == "stretch":
            return take_stretch(store, job_id, entry.what, typed, who_of(request))
        return sheet
    raise HTTPException(404)


def measuring(request: Request) -> Response:
    """Tell how far the recordings are."""
    return JSONResponse({"shares": bench_of(request).shares(job_id_of(request))})


def charts(request: Request) -> Response:
    """Show speed over time and the spectrum of each channel of a recording that has a tone."""
    look = look_at(request)
    for recording, state in zip(look.job.recordings, look.measured, strict=True):
        if recording.file == request.path_params["file"]:
            drawn = bench_of(request).charts(look.job.id, recording.file, state, look.machine)
            return pages.picture_fragment(*drawn)
    raise HTTPException(404)
