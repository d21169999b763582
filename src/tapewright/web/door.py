"""Who may come in: pages of this server, called by a name of its own. Others are turned away before anything is read.

A page from elsewhere could otherwise post to this address, or have its own name resolve to it and read what is here.
"""

import asyncio
import ipaddress
import re
from collections.abc import Collection, Mapping
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from tapewright.web.reach import ONLY_HERE, OWN_NAMES, Reach

READS: Final = ("GET", "HEAD")
SILENCE_S: Final = 60.0
"""Whoever sends nothing for so long in the middle of a request has gone."""
PAGE_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
REPORT_POLICY: Final = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; form-action 'none'; frame-ancestors 'none'; "
    "base-uri 'none'"
)
"""The report carries its styles inside, since it is one file; it has no script and may not get one."""
ON_EVERYTHING: Final = {
    "x-content-type-options": "nosniff",
    # With "no-referrer" a browser would say "null" for the origin of our own forms, and they would be turned away.
    "referrer-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "x-frame-options": "DENY",
    "permissions-policy": "microphone=(self), camera=(), geolocation=()",
}
ON_PAGES: Final = {"cache-control": "no-store", "content-security-policy": PAGE_POLICY}
"""What a customer said about a machine is not left in a browser's cache."""
ON_FILES: Final = {"cache-control": "no-cache"}
"""The style sheet and the script may be kept, if the browser asks each time whether they are still the same."""
_HOST: Final = re.compile(r"(\[[0-9a-fA-F:.]+\]|[^:\[\]]+)(?::(\d{1,5}))?", re.ASCII)
_TOLD_ONCE: Final = ("host", "origin", "sec-fetch-site", "sec-fetch-mode", "sec-fetch-dest", "content-type")


def refusal(
    method: str, headers: Mapping[str, str], names: Collection[str] = OWN_NAMES, scheme: str = "http"
) -> tuple[int, str] | None:
    """Say why a request is turned away: (status, sentence); None when it may come in.

    Arguments:
        method: of the request.
        headers: by lower-case name.
        names: what this bench is called, in lower case.
        scheme: how its addresses begin.

    >>> refusal("GET", {"host": "localhost:8137"}) is None
    True
    >>> refusal("POST", {"host": "localhost:8137", "origin": "http://elsewhere.invalid"})[0]
    403
    """
    host = headers.get("host", "")
    match = _HOST.fullmatch(host)
    if match is None or _called(match[1]) not in names:
        return 421, f"This bench is not called {host[:80]!r}. Open it at the address that it said when it began."
    site, origin = headers.get("sec-fetch-site"), headers.get("origin")
    if method in READS:
        if site in (None, "same-origin", "none") or _is_a_link(headers):
            return None
        return 403, "This is a page to be opened, not a part of another page."
    same = origin.lower() == f"{scheme}://{host.lower()}" if origin is not None else site == "same-origin"
    if not same or site not in (None, "same-origin"):
        return 403, "Changes are taken only from this bench's own pages. Open the job here and try again."
    return None


def _called(host: str) -> str:
    """Give a name in one way of writing it."""
    if not host.isascii():
        return ""
    if host.startswith("["):
        try:
            return f"[{ipaddress.IPv6Address(host[1:-1])}]"
        except ValueError:
            return ""
    return host.lower()


def _is_a_link(headers: Mapping[str, str]) -> bool:
    """Tell whether a page elsewhere leads here, and does not only hold a part of ours."""
    return headers.get("sec-fetch-mode") == "navigate" and headers.get("sec-fetch-dest") == "document"


def malformed(scope: Scope) -> str | None:
    """Say what no browser sends: what must be said once is said twice, a nought character in an address."""
    headers = Headers(scope=scope)
    twice = [name for name in _TOLD_ONCE if len(headers.getlist(name)) > 1]
    if twice:
        return f"The request says {twice[0]} twice."
    if "\0" in scope["path"] or "%00" in scope.get("query_string", b"").decode("latin-1"):
        return "There is a nought character in the address."
    if "content-length" in headers and "transfer-encoding" in headers:
        return "The request says in two ways how long it is."  # RFC 9112, 6.1: another request may be hidden in it
    return None


class Door:
    """Turn strangers away, and tell the browser on every answer what a page of ours may do.

    Arguments:
        app: what lies behind.
        reach: from where, and as what, the bench can be reached.
        silence_s: how long somebody may send nothing in the middle of a request, seconds.
    """

    def __init__(self, app: ASGIApp, reach: Reach = ONLY_HERE, silence_s: float = SILENCE_S) -> None:
        self.app, self._reach, self._silence_s = app, reach, silence_s

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request in or answer it here."""
        if scope["type"] == "websocket":
            # A browser lets any page open a WebSocket anywhere: like a change, it must come from our own.
            headers = dict(Headers(scope=scope)) | {"sec-fetch-site": "same-origin"}
            if "origin" in headers and malformed(scope) is None and self._refusal("POST", headers) is None:
                await self.app(scope, receive, send)
            else:
                await send({"type": "websocket.close", "code": 1008, "reason": "Only this bench's own pages."})
            return
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        wrong = malformed(scope)
        turned_away = (400, wrong) if wrong else self._refusal(scope["method"], Headers(scope=scope))
        tell = _telling(scope, send)
        if turned_away is None:
            await self.app(scope, self._while_it_comes(receive), tell)
        else:
            status, sentence = turned_away
            more = {"connection": "close"} if wrong else None  # what follows on the same line is not believed either
            await PlainTextResponse(sentence, status, more)(scope, receive, tell)

    def _refusal(self, method: str, headers: Mapping[str, str]) -> tuple[int, str] | None:
        return refusal(method, headers, self._reach.names, self._reach.scheme)

    def _while_it_comes(self, receive: Receive) -> Receive:
        """Give what comes, until all has come; whoever falls silent in the middle has gone."""
        whole = False

        async def coming() -> Message:
            nonlocal whole
            if whole:  # now it is about whether somebody still waits for the answer, however long that takes
                return await receive()
            try:
                message = await asyncio.wait_for(receive(), self._silence_s)
            except TimeoutError:
                return {"type": "http.disconnect"}
            whole = message["type"] == "http.request" and not message.get("more_body", False)
            return message

        return coming


def _telling(scope: Scope, send: Send) -> Send:
    """Give a way of answering that tells the browser what a page of ours may do."""
    also = ON_EVERYTHING | ON_PAGES | (ON_FILES if scope["path"].startswith("/static/") else {})

    async def tell(message: Message) -> None:
        if message["type"] == "http.response.start":
            said = MutableHeaders(scope=message)
            for name, value in also.items():
                said.setdefault(name, value)
        await send(message)

    return tell
