"""Who is answered at all: this page's own address, and with `--phone` who holds its cookie.

A page elsewhere may send a browser here. It is told by the Host that was asked for (a name that was
made to point here), by the Origin of what changes something, and by the token of the page, which
nobody else can read. Every refused request is one line on the terminal, without its address.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass, field
from typing import Any

from cli.printing import say

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

COOKIE = "seamtrue_lot"
JOIN = "/join/"
POLICY = (
    "default-src 'none'; img-src 'self'; style-src 'self'; script-src 'self'; connect-src 'self';"
    " form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
MOST_SESSIONS = 16


@dataclass(slots=True, kw_only=True)
class Door:
    """The one way in with `--phone`: a token in the address, exchanged once for a cookie.

    `renewed` is told the token that takes the place of one that was used.
    """

    renewed: Callable[[str], None]
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    _sessions: list[str] = field(default_factory=list)

    def exchanged(self, token: str) -> str | None:
        """The cookie for a token, which then is of no more use; None for any other."""
        if not hmac.compare_digest(token.encode(), self.token.encode()):
            return None
        session = secrets.token_urlsafe(32)
        self._sessions = [*self._sessions[1 - MOST_SESSIONS :], session]
        self.token = secrets.token_urlsafe(24)
        self.renewed(self.token)
        return session

    def knows(self, cookies: str) -> bool:
        """Whether a Cookie header holds one that was given out."""
        pairs = (each.strip().partition("=") for each in cookies.split(";"))
        given = [value for name, _, value in pairs if name == COOKIE]
        return any(
            hmac.compare_digest(value.encode(), each.encode())
            for value in given
            for each in self._sessions
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Guard:
    """Lets through what may be answered, and puts the policies on every answer."""

    app: App
    hosts: frozenset[str]
    door: Door | None = None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or refuse in one line."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        why = self._refused(scope)
        if why is not None:
            say(f"refused: {why}")
            await _answer(send, 403, why)
            return

        async def sent(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", ()), *_policies(message)]
            await send(message)

        await self.app(scope, receive, sent)

    def _refused(self, scope: Scope) -> str | None:
        """Why a request is not answered; None where it is."""
        headers = {name: value.decode("latin-1") for name, value in scope["headers"]}
        host, method = headers.get(b"host", ""), scope["method"]
        if host not in self.hosts or sum(n == b"host" for n, _ in scope["headers"]) != 1:
            return "a request to another host's name"
        if method not in ("GET", "HEAD", "POST"):
            return "a request of another kind than GET and POST"
        origin, site = headers.get(b"origin"), headers.get(b"sec-fetch-site")
        # A page that tells nobody where it is sends `null`; its token, asked for later, is its own.
        if origin not in (None, "null") and origin != f"http://{host}":
            return "a request from another page"
        if method == "POST" and site not in (None, "same-origin", "none"):
            return "a request from another page"
        if self.door is None or scope["path"].startswith(JOIN):
            return None
        if not self.door.knows(headers.get(b"cookie", "")):
            return "a request without this lot's cookie: open the address on the terminal"
        return None


def _policies(message: Message) -> list[tuple[bytes, bytes]]:
    own = {name for name, _ in message.get("headers", ())}
    every = {
        b"content-security-policy": POLICY,
        b"cache-control": "no-store",
        b"referrer-policy": "no-referrer",
        b"x-content-type-options": "nosniff",
        b"x-frame-options": "DENY",
        b"cross-origin-resource-policy": "same-origin",
        b"permissions-policy": "camera=(), microphone=(), geolocation=()",
    }
    return [(name, value.encode()) for name, value in every.items() if name not in own]


async def _answer(send: Send, status: int, text: str) -> None:
    start: Message = {
        "type": "http.response.start",
        "status": status,
        "headers": [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close")],
    }
    start["headers"] += _policies(start)
    await send(start)
    await send({"type": "http.response.body", "body": f"Refused: {text}.\n".encode()})
