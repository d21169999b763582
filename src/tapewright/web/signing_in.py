"""Sign in and out; and who is at the bench, where nobody signs in."""

import math

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from tapewright.jobs.people import Person, let_in
from tapewright.web import pages
from tapewright.web.asking import see, typed_in
from tapewright.web.guard import Gate, cookies_of
from tapewright.web.present import own_address, plain_who, present
from tapewright.words.problem import InputAtFaultError, Problem

TOO_OFTEN = 429


def gate_of(request: Request) -> Gate:
    """Give the gate of this bench."""
    gate = request.app.state.gate
    assert isinstance(gate, Gate)
    return gate


def show(request: Request) -> Response:
    """Show where to sign in."""
    return _page(own_address(request.query_params.get("to", "")))


def _page(to: str, typed: str = "", problem: Problem | None = None, status: int = pages.AT_FAULT) -> Response:
    return pages.page(
        "sign_in.html.j2", status if problem else 200, to=to, typed=typed, problems=[problem] * bool(problem)
    )


async def sign_in(request: Request) -> Response:
    """Let somebody in whose password is right; whatever id the browser had before counts no more."""
    typed, gate = await typed_in(request), gate_of(request)
    name, to = typed.get("name", ""), own_address(typed.get("to", ""))
    address = request.client.host if request.client else ""
    wait_s = gate.throttle.begin(address, name)
    if wait_s > 0.0:
        do = f"Wait {math.ceil(wait_s)} seconds, then try again."
        answer = _page(to, name, Problem("sign in", "was tried too often.", do), TOO_OFTEN)
        answer.headers["retry-after"] = str(math.ceil(wait_s))
        return answer
    person: Person | None = None
    try:
        person = await run_in_threadpool(_let_in, gate, name, typed.get("password", ""))
    finally:
        gate.throttle.end(address, name, good=person is not None)
    if person is None:
        do = "Type them again. Whoever set the passwords up can give you a new one: tapewright people add."
        return _page(to, name, Problem("name or password", "is not right.", do))
    gate.sessions.end(cookies_of(request.headers).get(gate.cookie, ""))
    answer = see(to)
    gate.let_stay(answer, gate.sessions.begin(person))
    return answer


def _let_in(gate: Gate, name: str, password: str) -> Person | None:
    return let_in(gate.people(), name, password)


async def sign_out(request: Request) -> Response:
    """Sign out: the id is good for nothing any more, and the browser keeps nothing."""
    await typed_in(request)
    gate = gate_of(request)
    gate.sessions.end(cookies_of(request.headers).get(gate.cookie, ""))
    answer = see("/")
    gate.forget(answer)
    return answer


def ask_who(request: Request) -> Response:
    """Ask who is at the bench."""
    return pages.page("who.html.j2", to=own_address(request.query_params.get("to", "")))


async def say_who(request: Request) -> Response:
    """Keep in this browser who is at the bench, where nobody signs in."""
    typed = await typed_in(request)
    if present().signed_in:
        raise InputAtFaultError(Problem("who", "is known by the password.", "Sign out, and in as somebody else."))
    answer = see(own_address(typed.get("to", "")))
    gate_of(request).remember(answer, plain_who(typed.get("who", "")))
    return answer
