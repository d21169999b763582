"""The guided minute of a job: its steps, files of it put in, when each step was, and what each file says."""

import contextlib
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import av
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from tapewright.faults.cautions import cautions
from tapewright.jobs.bench_job import called_plainly
from tapewright.jobs.guided_minute_marks import (
    MOST_MARKS,
    checked_marks,
    is_film,
    is_minute,
    marks_in,
    note_of,
    usual_marks,
)
from tapewright.jobs.owner_sheet import minute_of
from tapewright.jobs.store.files import Incoming
from tapewright.jobs.store.nouns import Answer, Attached, Entry, FileKind, Measured, Sheet, Stage
from tapewright.jobs.store.opened import Store
from tapewright.machine.minute import minute_steps
from tapewright.machine.parts import Machine
from tapewright.measure.audio import open_recording
from tapewright.show.guided_minute import steps_told
from tapewright.web import pages
from tapewright.web.asking import Typed, arriving, job_id_of, look_at, number, see, store_of, typed_in, who_of
from tapewright.web.minute_desk import Finding, MinuteDesk, State, findings
from tapewright.web.uploads import MOST_RECORDING_BYTES
from tapewright.web.workbench import Look, renamed
from tapewright.words.mechanism_heard import Mark
from tapewright.words.problem import InputAtFaultError, Problem

CAMERA: Final = {"permissions-policy": "microphone=(self), camera=(self), geolocation=()"}
"""On this page alone the browser may give the camera."""


@dataclass(frozen=True, slots=True)
class MinuteView:
    """A file of a guided minute as the page shows it.

    Arguments:
        id: of its entry in the job.
        kept: the file.
        film: whether it is the film.
        marks: when each step was.
        failed: the modes of which somebody said that the machine did not do it.
        state: how far it is.
        found: what it says, each with whether it is in the job already.
    """

    id: str
    kept: Attached
    film: bool
    marks: tuple[Mark, ...]
    failed: tuple[str, ...]
    state: State
    found: tuple[tuple[Finding, bool], ...]


def desk_of(request: Request) -> MinuteDesk:
    """Give the desk at which minutes are listened to."""
    desk = request.app.state.minutes
    assert isinstance(desk, MinuteDesk)
    return desk


def minutes_of_job(sheet: Sheet) -> list[Entry[Attached]]:
    """List the files of guided minutes, the newest first."""
    return [one for one in reversed(sheet.files) if one.what.kind is FileKind.DOCUMENT and is_minute(one.what.note)]


def show(request: Request) -> Response:
    """Show the steps, the files, and what they say."""
    return minute_page(request, look_at(request))


def minute_page(request: Request, look: Look, refused: Sequence[Problem] = ()) -> Response:
    """Give the page of the guided minute.

    Arguments:
        request: for the desk.
        look: the job with its findings.
        refused: what was wrong with the last thing asked for.
    """
    steps = minute_steps(look.machine) if look.machine else ()
    views = [_view(desk_of(request), look.machine, look.sheet, one) for one in minutes_of_job(look.sheet)] \
        if look.machine else []  # fmt: skip
    told = pages.job_told(look, "recordings", refused)
    answer = pages.page(
        "minute.html.j2", pages.status_of(refused), **told, steps=steps, views=views,
        script_steps=steps_told(look.machine) if look.machine else [],
        before_it=cautions(("power", "tape", "nip", "moving")), usual=usual_marks(look.machine) if look.machine else (),
        waiting=any(one.state.share < 1.0 for one in views),
    )  # fmt: skip
    answer.headers.update(CAMERA)
    return answer


def _view(desk: MinuteDesk, machine: Machine, sheet: Sheet, entry: Entry[Attached]) -> MinuteView:
    state = desk.state(machine, entry.what)
    marks, failed = marks_in(entry.what.note)
    found = findings(machine, state.sensed, entry.what.called) if state.sensed else []
    listed = tuple((one, _is_in(sheet, one.item)) for one in found)
    did_not = tuple(marks[i].mode for i in sorted(failed))
    return MinuteView(entry.id, entry.what, is_film(entry.what.note), marks, did_not, state, listed)


def _is_in(sheet: Sheet, item: Answer | Measured) -> bool:
    entries: Sequence[Entry[Any]] = sheet.answers if isinstance(item, Answer) else sheet.readings
    name = item.sign if isinstance(item, Answer) else item.name
    own = [one.what for one in entries if (one.what.sign if isinstance(item, Answer) else one.what.name) == name]
    return bool(own) and _said(own[-1]) == _said(item)


def _said(item: Any) -> tuple[object, ...]:
    return (item.present, item.sure) if isinstance(item, Answer) else (item.value, item.doubt)


def listening(request: Request) -> Response:
    """Tell how far the files are."""
    look = look_at(request)
    if look.machine is None:
        return JSONResponse({"shares": []})
    desk, machine = desk_of(request), look.machine
    return JSONResponse({"shares": [desk.state(machine, one.what).share for one in minutes_of_job(look.sheet)]})


def picture(request: Request) -> Response:
    """Show the picture of a file."""
    look = look_at(request)
    for entry in minutes_of_job(look.sheet):
        if entry.id == request.path_params["entry"] and look.machine is not None:
            state = desk_of(request).state(look.machine, entry.what)
            if state.sensed and state.sensed.pictures:
                return pages.picture_fragment(*state.sensed.pictures)
    raise HTTPException(404)


# --- files put in -----------------------------------------------------------------------------------------------------


async def put(request: Request) -> Response:
    """Take a sound or a film as the body of the request; its marks stand in the address."""
    store, job_id, asked = store_of(request), job_id_of(request), request.query_params
    look = await run_in_threadpool(look_at, request)
    called, film = called_plainly(asked.get("name", "")), asked.get("kind", "") == "film"
    marks = _marks_of_text(asked.get("marks", ""))
    with store.incoming(called, MOST_RECORDING_BYTES) as coming:
        async for block in request.stream():
            coming.write(block)
        await run_in_threadpool(_arrived, store, look, coming, called, marks, film, who_of(request))
    return JSONResponse({"to": f"/jobs/{job_id}/minute"}, 201)


async def post(request: Request) -> Response:
    """Take a sound or a film from a form, with when each step was."""
    store, job_id = store_of(request), job_id_of(request)
    look = await run_in_threadpool(look_at, request)
    async with arriving(request, MOST_RECORDING_BYTES) as (typed, coming):
        if not coming:
            do = "Choose the sound or the film of the minute first."
            raise InputAtFaultError(Problem("the minute", "No file was chosen.", do))
        film = typed.get("kind", "") == "film"
        marks, failed = await run_in_threadpool(_marks_given, look, typed)
        for one, called in coming:
            await run_in_threadpool(_arrived, store, look, one, called, marks, film, who_of(request), failed)
    return see(f"/jobs/{job_id}/minute#kept")


def _marks_of_text(text: str) -> list[tuple[str, float]]:
    """Read marks as the script sends them: off:0,play:12.5."""
    found = []
    for one in text.split(",")[: MOST_MARKS + 1] if text else []:
        mode, _, at = one.partition(":")
        try:
            found.append((mode, float(at)))
        except ValueError:
            found.append((mode, math.nan))
    return found


def _marks_typed(typed: Typed) -> list[tuple[str, float]]:
    """Read marks as a form gives them: the mode and the second of each step; a step left empty was not done."""
    found = []
    for i in range(MOST_MARKS):
        at_s = number(typed.get(f"at_{i}", ""), f"step {i + 1}, seconds")
        if at_s is not None:
            found.append((typed.get(f"mode_{i}", ""), at_s))
    return found


def _marks_given(look: Look, typed: Typed) -> tuple[list[tuple[str, float]], frozenset[int]]:
    """Give the marks of a form: of the code that an owner sent, else the times typed in; all later by the same time."""
    later_s = number(typed.get("later", ""), "all of them later by, seconds") or 0.0
    if not typed.get("code", "").strip():
        return [(mode, at_s + later_s) for mode, at_s in _marks_typed(typed)], frozenset()
    if look.machine is None:
        raise InputAtFaultError(list(look.problems))
    told = minute_of(look.machine, typed["code"][:200])
    failed = frozenset(i for i, (_, _, did_not) in enumerate(told) if did_not)
    return [(mode, at_s + later_s) for mode, at_s, _ in told], failed


def _arrived(
    store: Store,
    look: Look,
    coming: Incoming,
    called: str,
    given: list[tuple[str, float]],
    film: bool,
    who: str,
    failed: frozenset[int] = frozenset(),
) -> None:
    """See that what arrived is a sound or a film, and that its marks fit, and add it to the job."""
    if look.machine is None:
        raise InputAtFaultError(list(look.problems))
    coming.flush()
    try:
        duration_s = _film_s(coming, called) if film else open_recording(coming.path).duration_s
    except InputAtFaultError as error:
        raise renamed(error, coming.path, called) from None
    marks = checked_marks(look.machine, given, duration_s)
    stored = coming.keep()
    stage = Stage.AFTER if look.sheet.parts else Stage.BEFORE
    kept = Attached(
        stored.sha256, stored.size_bytes, called, FileKind.DOCUMENT, stage=stage,
        note=note_of(marks, failed, film=film), personal=True,
    )  # fmt: skip
    store.add(look.job.id, kept, who=who, how="guided minute")


def _film_s(coming: Incoming, called: str) -> float:
    """Give how long a film is.

    Raises:
        InputAtFaultError: when it is none.
    """
    with contextlib.suppress(av.FFmpegError, OSError, ValueError), av.open(str(coming.path)) as film:
        if film.streams.video:
            stream = film.streams.video[0]
            if stream.duration is not None and stream.time_base is not None:
                return float(stream.duration * stream.time_base)
            # What a browser recorded says only at its end how long it is.
            return film.duration / 1e6 if film.duration else math.inf
    do = "Choose an MP4, MOV, MKV or WebM file, as a telephone or the browser makes it."
    raise InputAtFaultError(Problem(called, "holds no film that can be read.", do))


# --- what is done with them -------------------------------------------------------------------------------------------


async def change(request: Request) -> Response:
    """Say anew when each step was, take a finding into the job, listen again, or take the file out."""
    typed = await typed_in(request)
    place = await run_in_threadpool(_changed, request, typed)
    return see(f"/jobs/{job_id_of(request)}/minute{place}")


def _changed(request: Request, typed: Typed) -> str:
    store, job_id, who = store_of(request), job_id_of(request), who_of(request)
    look = look_at(request)
    entry = next(
        (one for one in minutes_of_job(look.sheet) if one.id == request.path_params["entry"]), None
    )  # fmt: skip
    if entry is None or look.machine is None:
        raise HTTPException(404)
    do, place = typed.get("do", ""), f"#minute-{entry.id}"
    if do == "remove":
        store.remove(job_id, entry.id, who=who)
        return "#kept"
    if do == "again":
        desk_of(request).forget(entry.what)
    elif do == "marks":
        film = is_film(entry.what.note)
        path = store.file_path(entry.what.sha256)
        duration_s = math.inf if film else open_recording(path).duration_s
        failed = marks_in(entry.what.note)[1]
        given = _marks_given(look, {**typed, "code": ""})[0]
        note = note_of(checked_marks(look.machine, given, duration_s), failed, film=film)
        store.edit(job_id, entry.id, note=note, who=who)
    elif do == "take":
        _take(store, job_id, look, entry, desk_of(request), typed, who)
    return place


def _take(
    store: Store, job_id: str, look: Look, entry: Entry[Attached], desk: MinuteDesk, typed: Typed, who: str
) -> None:
    """Take one finding, or all of a file, into the job as one step of its history."""
    assert look.machine is not None
    view = _view(desk, look.machine, look.sheet, entry)
    wanted = typed.get("name", "")
    items = [one.item for one, is_in in view.found if not is_in and wanted in ("", one.name)]
    if not items:
        if wanted and wanted not in [one.name for one, _ in view.found]:
            do = "Choose one of those that this page lists."
            raise InputAtFaultError(Problem("finding", f"is {wanted[:80]!r}.", do))
        return
    renewed = tuple(dict.fromkeys(one.what.part for one in look.sheet.parts if one.what.part))
    ready = [
        Answer(one.sign, one.present, one.sure, after=renewed) if isinstance(one, Answer) else _staged(one, entry)
        for one in items
    ]
    store.add(job_id, *ready, who=who, how="guided minute", once=typed.get("once") or None)


def _staged(one: Measured, entry: Entry[Attached]) -> Measured:
    return replace(one, stage=entry.what.stage)
