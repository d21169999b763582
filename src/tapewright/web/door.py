"""Who may come in: pages of this server, opened on this computer. Others are turned away before anything is read.

A page from elsewhere could otherwise post to this address, or have its own name resolve to it and read what is here.
"""

import re
from collections.abc import Mapping
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

OWN_NAMES: Final = ("localhost", "127.0.0.1", "[::1]")
READS: Final = ("GET", "HEAD")
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
}
ON_PAGES: Final = {"cache-control": "no-store", "content-security-policy": PAGE_POLICY}
"""What a customer said about a machine is not left in a browser's cache."""
ON_FILES: Final = {"cache-control": "no-cache"}
"""The style sheet and the script may be kept, if the browser asks each time whether they are still the same."""
_HOST: Final = re.compile(r"(\[[0-9a-fA-F:.]+\]|[^:\[\]]+)(?::(\d{1,5}))?")


def refusal(method: str, headers: Mapping[str, str]) -> tuple[int, str] | None:
    """Say why a request is turned away: (status, sentence); None when it may come in.

    Arguments:
        method: of the request.
        headers: by lower-case name.

    >>> refusal("GET", {"host": "localhost:8137"}) is None
    True
    >>> refusal("POST", {"host": "localhost:8137", "origin": "http://elsewhere.invalid"})[0]
    403
    """
    host = headers.get("host", "")
    match = _HOST.fullmatch(host)
    if match is None or match[1].lower() not in OWN_NAMES:
        return 421, f"This is a page of this computer only. Open it at http://127.0.0.1, not at {host[:80]!r}."
    if method in READS:
        return None
    site, origin = headers.get("sec-fetch-site"), headers.get("origin")
    same = origin.lower() == f"http://{host.lower()}" if origin is not None else site == "same-origin"
    if not same or site not in (None, "same-origin"):
        return 403, "Changes are taken only from this bench's own pages. Open the job here and try again."
    return None


class Door:
    """Turn strangers away, and tell the browser on every answer what a page of ours may do."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request in or answer it here."""
        if scope["type"] == "websocket":
            # A browser lets any page open a WebSocket anywhere: like a change, it must come from our own.
            headers = dict(Headers(scope=scope)) | {"sec-fetch-site": "same-origin"}
            if "origin" in headers and refusal("POST", headers) is None:
                await self.app(scope, receive, send)
            else:
                await send({"type": "websocket.close", "code": 1008, "reason": "Only this bench's own pages."})
            return
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        also = ON_EVERYTHING | ON_PAGES | (ON_FILES if scope["path"].startswith("/static/") else {})
        turned_away = refusal(scope["method"], Headers(scope=scope))

        async def tell(message: Message) -> None:
            if message["type"] == "http.response.start":
                said = MutableHeaders(scope=message)
                for name, value in also.items():
                    said.setdefault(name, value)
            await send(message)

        if turned_away is None:
            await self.app(scope, receive, tell)
        else:
            status, sentence = turned_away
            await PlainTextResponse(sentence, status)(scope, receive, tell)
