"""Who is at the page, and whether they may do what they ask: behind the door, before anything is read.

While nobody has a password, whoever sits at this computer may do everything, and says who they are only so that the
history of a job can name them. As soon as somebody has one, everybody signs in.
"""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Final
from urllib.parse import quote, unquote

from starlette.datastructures import Headers
from starlette.requests import cookie_parser
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from tapewright.jobs.people import Person, Role, people_file, read_people
from tapewright.web.present import Present, may, own_address, plain_who, with_present
from tapewright.web.reach import Reach
from tapewright.web.sessions import LONGEST_S, Sessions, Throttle
from tapewright.words.problem import InputAtFaultError

SIGN_IN: Final = "/sign-in"
OPEN_TO_ALL: Final = re.compile(r"/sign-in|/sign-out|/favicon\.ico|/static/.*")
FOR_EVERYBODY: Final = "/who"
WHO_COOKIE: Final = "tapewright-who"
A_YEAR_S: Final = 365 * 24 * 3600
BROKEN_POLICY: Final = 1008  # WebSocket close code of RFC 6455


class Gate:
    """What the guard goes by: the people, who of them is signed in, how often was tried.

    Arguments:
        home: the folder that the people are kept in.
        reach: from where the bench can be reached.
        now_s: the time, seconds, of any clock that goes on evenly.
    """

    def __init__(self, home: Path, reach: Reach, now_s: Callable[[], float] | None = None) -> None:
        self.reach = reach
        clock = {} if now_s is None else {"now_s": now_s}
        self.sessions, self.throttle = Sessions(**clock), Throttle(**clock)
        # With TLS the browser itself sees to it that no other program of this host can have set it.
        self.cookie = "tapewright-session" if reach.certificate is None else "__Host-tapewright-session"
        self._home = home
        self._read: tuple[object, tuple[Person, ...]] = (None, ())

    def people(self) -> tuple[Person, ...]:
        """Give who may come in now: the file is read again when it has changed.

        Raises:
            InputAtFaultError: when it cannot be read; then nobody comes in.
        """
        try:
            found = people_file(self._home).stat()
            state: object = (found.st_mtime_ns, found.st_size, found.st_ino)
        except FileNotFoundError:
            state = "none"
        except OSError as error:
            state = error  # reading it will say what is wrong
        if self._read[0] != state:
            self._read = (state, read_people(self._home))
        return self._read[1]

    def asks(self, people: tuple[Person, ...]) -> bool:
        """Tell whether one has to sign in; on a network always."""
        return bool(people) or self.reach.beyond

    def at_page(self, headers: Headers) -> Present | None:
        """Give who is at a page; None when they have to sign in first.

        Raises:
            InputAtFaultError: when the people cannot be read.
        """
        people, cookies = self.people(), cookies_of(headers)
        if not self.asks(people):
            return Present(plain_who(unquote(cookies.get(WHO_COOKIE, ""))))
        person = self.sessions.person(cookies.get(self.cookie, ""), people)
        return None if person is None else Present(person.name, person.role, signed_in=True)

    def let_stay(self, response: Response, token: str) -> None:
        """Give a browser its session's id: no script sees it, and no page from elsewhere makes it be sent."""
        response.set_cookie(
            self.cookie, token, max_age=int(LONGEST_S), path="/", httponly=True, samesite="strict", secure=self.secure
        )

    def forget(self, response: Response) -> None:
        """Take a browser's session id, and all that it kept of our pages, out of it."""
        response.delete_cookie(self.cookie, path="/", httponly=True, samesite="strict", secure=self.secure)
        response.headers["clear-site-data"] = '"cache", "storage"'

    def remember(self, response: Response, who: str) -> None:
        """Keep in a browser who is at it, where nobody signs in."""
        response.set_cookie(
            WHO_COOKIE, quote(who, safe=""), max_age=A_YEAR_S if who else 0, path="/", httponly=True,
            samesite="strict", secure=self.secure,
        )  # fmt: skip

    @property
    def secure(self) -> bool:
        """Whether cookies go over TLS alone."""
        return self.reach.certificate is not None


def cookies_of(headers: Headers) -> dict[str, str]:
    """Read the cookies that a browser sent."""
    return cookie_parser("; ".join(headers.getlist("cookie")))


class Guard:
    """Let through who may do what they ask."""

    def __init__(self, app: ASGIApp, gate: Gate) -> None:
        self.app, self.gate = app, gate

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it here."""
        if scope["type"] == "websocket":
            await self._socket(scope, receive, send)
            return
        if scope["type"] != "http" or OPEN_TO_ALL.fullmatch(scope["path"]):
            await self.app(scope, receive, send)
            return
        try:
            person = self.gate.at_page(Headers(scope=scope))
        except InputAtFaultError as error:
            await PlainTextResponse(f"Nobody can sign in: {error.problems[0]}", 503)(scope, receive, send)
            return
        refused = _refused(scope, person)
        if refused is not None or person is None:
            await (refused or PlainTextResponse("Sign in first.", 401))(scope, receive, send)
            return
        _say(scope, person)
        with with_present(person):
            await self.app(scope, receive, send)

    async def _socket(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a connection through that the bench may have, and end it when its session ends."""
        headers = Headers(scope=scope)
        if not self._may_listen(scope, headers):
            await send({"type": "websocket.close", "code": BROKEN_POLICY, "reason": "Sign in at the bench first."})
            return

        async def while_signed_in() -> Message:
            message = await receive()
            if message["type"] == "websocket.receive" and not self._may_listen(scope, headers):
                await send({"type": "websocket.close", "code": BROKEN_POLICY, "reason": "Signed out."})
                return {"type": "websocket.disconnect", "code": BROKEN_POLICY}
            return message

        await self.app(scope, while_signed_in, send)

    def _may_listen(self, scope: Scope, headers: Headers) -> bool:
        try:
            person = self.gate.at_page(headers)
        except InputAtFaultError:
            return False
        if person is None or person.role is not Role.BENCH:
            return False
        _say(scope, person)
        return True


def _say(scope: Scope, person: Present) -> None:
    scope.setdefault("state", {}).update(who=person.who, role=person.role)


def _refused(scope: Scope, person: Present | None) -> Response | None:
    """Give the answer to somebody who has to sign in first, or may not do this; None when they may."""
    method, path = scope["method"], scope["path"]
    if person is None:
        by_hand = Headers(scope=scope).get("sec-fetch-mode", "navigate") == "navigate"
        if method == "GET" and by_hand:
            to = own_address(path)
            return RedirectResponse(SIGN_IN if to == "/" else f"{SIGN_IN}?to={quote(to)}", 303)
        return PlainTextResponse("Sign in first, in another window; then try again here.", 401)
    if path == FOR_EVERYBODY or may(person.role, method, path):
        return None
    if method == "GET" and re.fullmatch(r"/jobs/[0-9a-f]{16}", path):
        return RedirectResponse(f"{path}/sheet", 303)  # what the counter sees of a job
    return PlainTextResponse("This is done at the bench. Ask somebody who signs in there.", 403)
