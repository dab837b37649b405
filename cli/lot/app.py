"""What is answered at which address."""

from __future__ import annotations

import asyncio
import contextlib
import hmac
import json
import secrets
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass, field
from datetime import date
from functools import partial
from importlib.resources import files
from typing import TYPE_CHECKING

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import (
    HTMLResponse,
    JSONResponse,
    PlainTextResponse,
    RedirectResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Route

from cli.lot import taking
from cli.lot.day import Day
from cli.lot.drawn import environment
from cli.lot.guard import COOKIE, JOIN, Door
from cli.lot.limits import LIMITS
from cli.lot.uploads import Fields, TooMuchError, Upload, form_of
from cli.printing import say
from cli.trouble import bug
from vision.units.errors import BadInputError

if TYPE_CHECKING:
    from cli.lot.shown import Shown

OWN_FILES = {"page.css": "text/css", "page.js": "text/javascript", "icon.svg": "image/svg+xml"}
REPORT_POLICY = "frame-ancestors 'none'; form-action 'none'; base-uri 'none'"
"""The report's own page states what it may load."""
QUIET_S = 15.0
"""Of a stream of news, so that neither side takes the other for gone."""

Change = Callable[[Day, Fields, list[Upload]], Awaitable[bool]]
"""What a form asks for: done, and whether there is something new to be looked at."""


@dataclass(slots=True, kw_only=True, eq=False)
class Page:
    """The page of one day; `door` is there with `--phone`."""

    day: Day
    door: Door | None = None
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    _version: int = 0
    _stirred: asyncio.Event = field(default_factory=asyncio.Event)
    _listeners: set[asyncio.Event] = field(default_factory=set)
    _uploads: asyncio.Semaphore = field(default_factory=lambda: asyncio.Semaphore(LIMITS.uploads))

    def app(self) -> Starlette:
        """The application, whose one thread inspects as long as it runs."""
        changes: dict[str, Change] = {
            "/pictures": taking.pictures,
            "/beside": taking.beside,
            "/give": taking.give,
            "/back": taking.back,
            "/note": taking.note,
            "/keep": taking.keep,
        }
        return Starlette(
            routes=[
                Route("/", self.page),
                Route("/parts", self.parts),
                Route("/news", self.news),
                Route("/picture/{hash12}.jpg", self.picture),
                Route("/report", self.report),
                Route("/sheet", self.sheet),
                Route(JOIN + "{token}", self.join),
                *(Route(f"/{name}", partial(self.own_file, name)) for name in OWN_FILES),
                *(
                    Route(path, partial(self.changed, change), methods=["POST"])
                    for path, change in changes.items()
                ),
            ],
            exception_handlers={Exception: _unforeseen},
            lifespan=self._living,
        )

    @contextlib.asynccontextmanager
    async def _living(self, app: Starlette) -> AsyncIterator[None]:
        loop = asyncio.get_running_loop()

        def tell() -> None:
            with contextlib.suppress(RuntimeError):  # the loop was closed meanwhile
                loop.call_soon_threadsafe(self._told)

        self.day.tell = tell
        self.stir()
        work = asyncio.create_task(self.day.work(self._stirred))
        try:
            yield
        finally:
            work.cancel()
            self.day.tell = lambda: None

    def stir(self) -> None:
        """Have what is new inspected."""
        self.day.stir()
        self._stirred.set()

    def _told(self) -> None:
        self._version += 1
        for listener in self._listeners:
            listener.set()

    # --- read ------------------------------------------------------------------------------------

    async def page(self, request: Request) -> Response:
        """The whole page; without script it comes again by itself while something is looked at."""
        shown = self.day.shown
        html = _template("page.html.j2", shown=shown, token=self.token, limits=LIMITS)
        return HTMLResponse(html)

    async def parts(self, request: Request) -> Response:
        """The parts of the page that may change, by the ids of their elements."""
        parts = await asyncio.to_thread(_parts, self.day.shown, self.token)
        return JSONResponse({"version": self._version, "parts": parts})

    async def news(self, request: Request) -> Response:
        """A stream of events: a number that grows with every change."""
        if len(self._listeners) >= LIMITS.listeners:
            return PlainTextResponse("too many pages listen\n", 503)
        return StreamingResponse(self._events(), media_type="text/event-stream")

    async def _events(self) -> AsyncIterator[str]:
        listener = asyncio.Event()
        self._listeners.add(listener)
        try:
            while True:
                yield f"data: {json.dumps(self._version)}\n\n"
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(listener.wait(), QUIET_S)
                listener.clear()
        finally:
            self._listeners.discard(listener)

    async def picture(self, request: Request) -> Response:
        """A picture that the page shows."""
        jpeg = self.day.still(request.path_params["hash12"])
        if jpeg is None:
            return PlainTextResponse("no such picture\n", 404)
        headers = {"cache-control": "private, max-age=86400, immutable"}
        return Response(jpeg, media_type="image/jpeg", headers=headers)

    async def own_file(self, name: str, request: Request) -> Response:
        """The page's style, script and icon."""
        data = files("cli.lot").joinpath(name).read_bytes()
        return Response(data, media_type=OWN_FILES[name], headers={"cache-control": "no-cache"})

    async def report(self, request: Request) -> Response:
        """The full report of what is there."""
        html = await asyncio.to_thread(_report, self.day)
        if html is None:
            return RedirectResponse("/", 303)
        return HTMLResponse(html, headers={"content-security-policy": REPORT_POLICY})

    async def sheet(self, request: Request) -> Response:
        """The hand-over sheet when all is keep, else what is to be done."""
        on = f"{date.today():%d %B %Y}".lstrip("0")
        return HTMLResponse(_template("sheet.html.j2", shown=self.day.shown, on=on))

    async def join(self, request: Request) -> Response:
        """Exchange the token of the address for a cookie, and go on to the page.

        By a page of ours and not by a redirect: what another program opened has come from
        elsewhere, and a browser would keep the strict cookie back.
        """
        session = None if self.door is None else self.door.exchanged(request.path_params["token"])
        if session is None:
            say("refused: an address that was used before")
            said = "Refused: this address was used before. The terminal shows a new one.\n"
            return PlainTextResponse(said, 403)
        answer = HTMLResponse(_template("join.html.j2"))
        answer.set_cookie(COOKIE, session, httponly=True, samesite="strict", path="/")
        return answer

    # --- changed ---------------------------------------------------------------------------------

    async def changed(self, change: Change, request: Request) -> Response:
        """Do what a form of this page asks for; anything else is refused."""
        by_script = request.headers.get("accept") == "application/json"
        status, why = 200, ""
        try:
            if self._uploads.locked():
                raise TooMuchError("too many requests at once; send it again")
            async with self._uploads:
                fields, uploads = await form_of(request)
                if not hmac.compare_digest(fields.get("token", "").encode(), self.token.encode()):
                    say("refused: a form that is not of this page")
                    status, why = 403, "This page was open before: load it again, then send again"
                elif await change(self.day, fields, uploads):
                    self.stir()
        except TooMuchError as error:
            say(f"refused: {error}")
            status, why = 413, f"Not taken: {error}"
        except BadInputError as error:
            status, why = 507, f"Not kept: {error.faults[0]}"
        if why:
            self.day.say(why, good=False)
        if by_script:
            return JSONResponse({"said": why}, status)
        if status == 403:
            return PlainTextResponse(f"Refused: {why}.\n", 403)
        return RedirectResponse("/", 303)


async def _unforeseen(request: Request, error: Exception) -> Response:
    """Say that this is a bug, on the terminal and to who asked; the day goes on."""
    bug(error)
    return PlainTextResponse("This is a bug in seamtrue; see the terminal.\n", 500)


def _template(name: str, **values: object) -> str:
    return environment().get_template(name).render(values)


def _parts(shown: Shown, token: str) -> dict[str, str]:
    template = environment().get_template("parts.html.j2")
    module = template.make_module({"shown": shown, "token": token})
    heads = {name: str(getattr(module, name)()) for name in ("head", "came", "seams", "end")}
    return heads | {f"camera-{c.number}": str(module.card(c)) for c in shown.cards}  # type: ignore[attr-defined]


def _report(day: Day) -> str | None:
    from vision.documents.report.report import report_html
    from vision.documents.result import result_of
    from vision.documents.top_view import top_view

    inspection = day.inspection
    if inspection is None or day.shown.missing:
        return None
    on = f"{date.today():%d %B %Y}".lstrip("0")
    return report_html(inspection, result_of(inspection), top_view(inspection), made_on=on)
