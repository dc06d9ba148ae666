"""Who may speak to the pages: this machine's browser, at this address, with the session's key.

A plain ASGI layer, since streams of events must pass it unbuffered.
"""

import hmac
import json
import secrets
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import Any

Message = MutableMapping[str, Any]
Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

#: Methods that change nothing.
SAFE = ("GET", "HEAD", "OPTIONS")
#: Path that swaps the token of the printed address for a cookie.
ENTRY = "/enter"
#: Largest body of a request that is no upload, and of an upload [bytes].
MOST_BYTES, MOST_UPLOAD_BYTES = 1_000_000, 2_000_000_000
#: Paths that take files.
UPLOADS = ("/api/files", "/api/files/preview", "/api/package/verify/upload")

#: What a person reads who comes without a key; the texts are ours, so nothing needs escaping.
PAGE = (
    '<!doctype html><html lang="en"><meta charset="utf-8"><title>No entry · lodewalk</title>'
    "<h1>No entry</h1><p>{text}</p><p>Each start of lodewalk makes a new key; an address of an "
    "earlier start opens nothing.</p></html>"
)

HEADERS = {
    "content-security-policy": (
        "default-src 'self'; img-src 'self' data: blob:; object-src 'none'; base-uri 'none'; "
        "form-action 'self'; frame-ancestors 'self'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-cache",
}


@dataclass(frozen=True)
class Keys:
    """The secrets of one process: the token in the printed address, and what the cookie holds."""

    port: int
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    session: str = field(default_factory=lambda: secrets.token_urlsafe(24))

    @property
    def cookie(self) -> str:
        """Name of the cookie: cookies aren't kept apart by port, and two surveys may be open."""
        return f"lodewalk-{self.port}"

    @property
    def hosts(self) -> tuple[str, ...]:
        """What a browser on this machine calls this server."""
        return f"127.0.0.1:{self.port}", f"localhost:{self.port}"

    @property
    def address(self) -> str:
        """The address to open, with its token."""
        return f"http://{self.hosts[0]}{ENTRY}?token={self.token}"

    def opens(self, token: str) -> bool:
        """Tell whether this is the token, in a time that doesn't depend on how much is right."""
        return hmac.compare_digest(token.encode(), self.token.encode())

    def knows(self, cookies: str) -> bool:
        """Tell whether a header of cookies holds this session's."""
        try:
            found = SimpleCookie(cookies).get(self.cookie)
        except CookieError:
            return False
        return found is not None and hmac.compare_digest(
            found.value.encode(), self.session.encode()
        )


class Guard:
    """Refuses what doesn't come from the pages themselves, and adds the headers of safety."""

    def __init__(self, app: App, keys: Keys) -> None:
        self.app = app
        self.keys = keys

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or answer why not."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = {name.decode("latin-1"): v.decode("latin-1") for name, v in scope["headers"]}
        refusal = self._refusal(scope, headers)
        if refusal:
            page = "text/html" in headers.get("accept", "") and scope["method"] == "GET"
            await _answer(_with_headers(send), *refusal, page=page)
            return
        body = Body(receive, _limit(scope))
        try:
            await self.app(scope, body.receive, body.unless_over(_with_headers(send)))
        except KeyboardInterrupt:  # the tables' library hears Ctrl-C in whichever thread it works
            await _answer(_with_headers(send), 503, "lodewalk is being stopped.")
        if body.over:
            await _answer(_with_headers(send), 413, _too_large(_limit(scope)))

    def _refusal(self, scope: Scope, headers: MutableMapping[str, str]) -> tuple[int, str] | None:
        """Return status and words where a request is refused."""
        if headers.get("host") not in self.keys.hosts:
            return 403, "This address serves 127.0.0.1 and localhost only."
        own = {f"http://{host}" for host in self.keys.hosts}
        if scope["method"] not in SAFE and headers.get("origin") not in own:
            return 403, "Changes are taken from lodewalk's own pages only."
        if scope["path"] != ENTRY and not self.keys.knows(headers.get("cookie", "")):
            return 401, "Open the address that lodewalk printed; it holds the key to these pages."
        told = headers.get("content-length", "0")
        if not told.isdigit() or int(told) > _limit(scope):
            return 413, _too_large(_limit(scope))
        return None


class TooLargeError(Exception):
    """More bytes came than may come."""


class Body:
    """The body of a request, counted as it comes; whatever is answered to one too large is lost."""

    def __init__(self, receive: Receive, limit: int) -> None:
        self._receive = receive
        self._left = limit

    @property
    def over(self) -> bool:
        """Whether more came than may come."""
        return self._left < 0

    async def receive(self) -> Message:
        """Return the next part; raise `TooLargeError` when it is one too many."""
        message = await self._receive()
        self._left -= len(message.get("body", b""))
        if self.over:
            raise TooLargeError
        return message

    def unless_over(self, send: Send) -> Send:
        """Return a sender that drops the answer to a body that was too large."""

        async def sender(message: Message) -> None:
            if not self.over:
                await send(message)

        return sender


def _limit(scope: Scope) -> int:
    """Return how many bytes a request to this path may hold."""
    return MOST_UPLOAD_BYTES if scope["path"] in UPLOADS else MOST_BYTES


def _too_large(limit: int) -> str:
    """Say how much may come."""
    return f"A request may hold {limit // 1_000_000} MB at most."


def _with_headers(send: Send) -> Send:
    """Return a sender that adds the headers of safety where an answer has no own ones."""

    async def sender(message: Message) -> None:
        if message["type"] == "http.response.start":
            given: Iterable[tuple[bytes, bytes]] = message.get("headers", ())
            names = {name.lower() for name, _ in given}
            more = [
                (name.encode(), value.encode())
                for name, value in HEADERS.items()
                if name.encode() not in names
            ]
            message = {**message, "headers": [*given, *more]}
        await send(message)

    return sender


async def _answer(send: Send, status: int, text: str, *, page: bool = False) -> None:
    """Answer a refused request in the one shape of problems, or in words for a person."""
    told = PAGE.format(text=text) if page else json.dumps({"problem": {"text": text, "rule": text}})
    kind = b"text/html; charset=utf-8" if page else b"application/json"
    body = told.encode()
    headers = [(b"content-type", kind), (b"content-length", b"%d" % len(body))]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
