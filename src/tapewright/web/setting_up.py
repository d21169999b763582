"""Setting up on the bench page: the steps in their order, one page for each, and what a capture says of one."""

from typing import Any, Final

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from tapewright.jobs.setting_up import set_up_plan, tracks_read
from tapewright.jobs.setting_up_kept import done_in, keep_left, keep_set, passes_of
from tapewright.jobs.setting_up_live import ways_to_connect
from tapewright.jobs.store.files import Incoming
from tapewright.jobs.store.nouns import Sheet
from tapewright.measure.audio import open_recording, sound_blocks
from tapewright.show.setting_up_text import READINGS, aim_said, names_said, unit_said
from tapewright.web import pages
from tapewright.web.asking import arriving, job_id_of, look_at, number, see, store_of, typed_in, who_of
from tapewright.web.live import MOST_CHANNELS, Opening
from tapewright.web.live_set_up import SetUpListening, tracks_in
from tapewright.web.uploads import MOST_RECORDING_BYTES
from tapewright.web.workbench import Look, renamed
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.reading import Reading
from tapewright.words.setting_up import LEFT_ALONE, LOOK_AGAIN, OPEN, SET, SetUpPlan, SetUpStep

LONGEST_CAPTURE_S: Final = 600.0
MARKS: Final = {OPEN: "○", SET: "●", LEFT_ALONE: "–", LOOK_AGAIN: "◆"}
"""How a step stands, by shape; the word stands beside it."""


def show(request: Request) -> Response:
    """Show the steps in their order."""
    return set_up_page(look_at(request))


def set_up_page(look: Look, refused: tuple[Problem, ...] = ()) -> Response:
    """Give the steps in their order, how each stands, what pulls against what, and what is never turned."""
    plan = None if look.machine is None else set_up_plan(look.machine)
    done = {} if plan is None else {one.id: one for one in done_in(look.sheet, plan)}
    return pages.page(
        "set_up.html.j2", pages.status_of(refused), **pages.job_told(look, "recordings", refused),
        plan=plan, done=done, marks=MARKS, aim_said=aim_said, names_said=names_said,
    )  # fmt: skip


def step(request: Request) -> Response:
    """Show one step."""
    look = look_at(request)
    plan, wanted = _wanted(look, request)
    return step_page(look, plan, wanted)


def _wanted(look: Look, request: Request) -> tuple[SetUpPlan, SetUpStep]:
    if look.machine is None:
        raise InputAtFaultError(look.problems)
    plan = set_up_plan(look.machine)
    for one in plan.steps:
        if one.id == request.path_params["step"]:
            return plan, one
    raise HTTPException(404)


def step_page(
    look: Look,
    plan: SetUpPlan,
    wanted: SetUpStep,
    refused: tuple[Problem, ...] = (),
    capture: dict[str, Any] | None = None,
) -> Response:
    """Give one step's page.

    Arguments:
        look: the job.
        plan: of its machine.
        wanted: the step.
        refused: what was wrong with what was sent.
        capture: what a capture that was put in said.
    """
    assert look.machine is not None
    at = plan.steps.index(wanted)
    done = {one.id: one for one in done_in(look.sheet, plan)}
    ways = ways_to_connect(tracks_read(look.machine, wanted.mode))
    return pages.page(
        "set_up_step.html.j2", pages.status_of(refused), **pages.job_told(look, "recordings", refused),
        plan=plan, step=wanted, number=at + 1, done=done[wanted.id], marks=MARKS,
        aim_said=aim_said, names_said=names_said, unit_said=unit_said,
        readings=READINGS, ways=ways, capture=capture, passes=passes_of(look.sheet, wanted),
        before=plan.steps[at - 1] if at else None, after=plan.steps[at + 1] if at + 1 < len(plan.steps) else None,
        undone=[one for one in plan.steps if one.id in wanted.after and done[one.id].state == OPEN],
    )  # fmt: skip


async def change(request: Request) -> Response:
    """Write down that a step was set or left alone."""
    typed = await typed_in(request)
    look = await run_in_threadpool(look_at, request)
    plan, wanted = _wanted(look, request)
    try:
        await run_in_threadpool(_kept, request, wanted, typed)
    except InputAtFaultError as error:
        return step_page(look, plan, wanted, error.problems)
    return see(f"/jobs/{job_id_of(request)}/set-up#step-{wanted.id}")


def _kept(request: Request, wanted: SetUpStep, typed: dict[str, str]) -> Sheet:
    store, job_id, who, once = store_of(request), job_id_of(request), who_of(request), typed.get("once") or None
    if typed.get("do") == "left":
        return keep_left(store, job_id, wanted, typed.get("why", ""), who=who, once=once)
    value, doubt = number(typed.get("value", ""), "reading"), number(typed.get("doubt", ""), "doubt")
    if doubt is not None and doubt < 0.0:
        raise InputAtFaultError(Problem("doubt", f"is {doubt:g}.", "Give nothing, or how far it may be off."))
    if value is not None and abs(value) > 1e6:
        raise InputAtFaultError(Problem("reading", f"is {value:g}.", f"Give it in {unit_said(wanted.unit)}."))
    reading = None if value is None or not wanted.unit else Reading(value, wanted.unit, doubt)
    return keep_set(store, job_id, wanted, reading, who=who, once=once)


async def capture(request: Request) -> Response:
    """Read a capture for one step and show what it says; the file is not kept."""
    look = await run_in_threadpool(look_at, request)
    plan, wanted = _wanted(look, request)
    try:
        async with arriving(request, MOST_RECORDING_BYTES) as (typed, coming):
            if not coming or not wanted.reading:
                raise InputAtFaultError(Problem("capture", "No file was chosen.", "Choose a sound file first."))
            tracks = tracks_typed(typed.get("tracks", ""))
            said = await run_in_threadpool(read_capture, coming[0][0], coming[0][1], tracks, wanted)
    except InputAtFaultError as error:
        return step_page(look, plan, wanted, error.problems)
    return step_page(look, plan, wanted, (), said)


def tracks_typed(text: str) -> tuple[int, ...]:
    """Read which tracks a capture's channels carry.

    >>> tracks_typed("1,4")
    (1, 4)

    Raises:
        InputAtFaultError: for anything else.
    """
    pieces = [one.strip() for one in text.split(",") if one.strip()]
    if len(pieces) > MOST_CHANNELS or not all(one.isdecimal() and 0 < int(one) <= 16 for one in pieces):
        raise InputAtFaultError(Problem("tracks", f"are {text[:40]!r}.", "Choose one of the list."))
    if len(set(pieces)) < len(pieces):
        raise InputAtFaultError(Problem("tracks", f"are {text[:40]!r}.", "Name each track once."))
    return tuple(int(one) for one in pieces)


def read_capture(coming: Incoming, called: str, tracks: tuple[int, ...], wanted: SetUpStep) -> dict[str, Any]:
    """Read a capture from its beginning as if it came in live; give its last moment that had a reading.

    Arguments:
        coming: the file.
        called: what its owner calls it.
        tracks: that its channels carry, in order.
        wanted: the step it is read for.

    Raises:
        InputAtFaultError: when it cannot be read.
    """
    coming.flush()
    try:
        recording = open_recording(coming.path)
        if recording.channels > MOST_CHANNELS:
            found = f"has {recording.channels} channels."
            raise InputAtFaultError(Problem(called, found, f"Give one of at most {MOST_CHANNELS}."))
        carried = (*tracks, *[None] * recording.channels)[: recording.channels]
        opening = Opening(recording.rate_hz, recording.channels, None, (), None)
        listening = SetUpListening(opening, carried, wanted)
        last: dict[str, Any] = {}
        passed = 0
        for block in sound_blocks(recording):
            for moment in listening.hear(block):
                if moment["reading"].get("value") is not None or not last:
                    last = moment
            passed += len(block)
            if passed > LONGEST_CAPTURE_S * recording.rate_hz:
                break
    except InputAtFaultError as error:
        raise renamed(error, coming.path, called) from None
    except ValueError as error:
        raise InputAtFaultError(Problem(called, str(error), "Record it at 44100 samples a second or more.")) from None
    if not last:
        raise InputAtFaultError(Problem(called, "is too short to be read.", "Give two seconds at least."))
    return last | {"called": called, "channels": len(carried), "tracks": [one for one in carried if one is not None]}


__all__ = ["capture", "change", "set_up_page", "show", "step", "tracks_in"]
