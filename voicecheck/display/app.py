"""The display as a web application: its pages, their server-sent events, and entry by hand."""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from voicecheck.core.codec import encode
from voicecheck.core.inputs import Entered
from voicecheck.display.access import Access, refused
from voicecheck.display.screen import Keys, View

BEAT_S = 1.0
"""Heartbeat to every reader; a page calls itself stale after three missed ones."""

_LARGEST_ENTRY = 1000
"""Bytes; every phrase is far shorter."""

_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".woff": "font/woff",
}


@dataclass(frozen=True, kw_only=True, slots=True)
class _Shown:
    number: int
    view: str
    at_s: float


class App:
    """Sends the last View to any number of readers, and takes the phrases that are entered."""

    def __init__(
        self,
        *,
        access: Access,
        keys: Sequence[Keys],
        entered: Callable[[Entered], None],
        started: Callable[[], None],
    ) -> None:
        """The server's thread calls `started` once it serves, and `entered` for each phrase."""
        self._access, self._keys = access, tuple(keys)
        self._phrases = frozenset(key.phrase for group in keys for key in group.keys)
        self._entered, self._started = entered, started
        self._latest: _Shown | None = None
        self._ended = False
        self._news = asyncio.Event()
        self._loop: asyncio.AbstractEventLoop | None = None

    def show(self, view: View) -> None:
        """Replace what is shown; never waits for a reader."""
        number = self._latest.number + 1 if self._latest else 1
        text = json.dumps(encode(view), ensure_ascii=False, separators=(",", ":"))
        self._latest = _Shown(number=number, view=text, at_s=time.monotonic())
        self._tell()

    def end(self) -> None:
        """End every reader's event stream."""
        self._ended = True
        self._tell()

    # ----------------------------------------------------------------- events for the readers

    def _tell(self) -> None:
        if self._loop is not None:
            with suppress(RuntimeError):  # the server has stopped: no reader is left
                self._loop.call_soon_threadsafe(self._wake)

    def _wake(self) -> None:
        news, self._news = self._news, asyncio.Event()
        news.set()

    async def _events(self) -> AsyncIterator[str]:
        seen = 0
        yield "retry: 1000\n\n"
        while not self._ended:
            news, shown = self._news, self._latest
            if shown is not None and shown.number != seen:
                seen = shown.number
                yield _event("view", shown.number, f'"age_s":{_age_s(shown)},"view":{shown.view}')
            else:
                yield _event("beat", seen, "")
            with suppress(TimeoutError):
                await asyncio.wait_for(news.wait(), BEAT_S)

    # --------------------------------------------------------------------------------- routes

    def asgi(self) -> Starlette:
        """A new ASGI application; each server gets its own."""
        folder = Path(__file__).parent / "pages"
        pages = {path.name: path.read_bytes() for path in folder.iterdir() if path.suffix in _TYPES}

        def page(name: str) -> Response:
            return Response(pages[name], media_type=_TYPES[Path(name).suffix])

        async def read(request: Request) -> Response:
            return page("display.html") if self._access.may_read(request) else refused()

        async def entry(request: Request) -> Response:
            return page("entry.html") if self._access.may_open_entry(request) else refused()

        async def part(request: Request) -> Response:
            name = request.path_params["name"]
            known = name in pages and not name.endswith(".html")
            return page(name) if known else PlainTextResponse("No such page.", 404)

        routes = [
            Route("/", read),
            Route("/events", self._follow),
            Route("/entry", entry),
            Route("/entry", self._enter, methods=["POST"]),
            Route("/keys", self._give_keys),
            Route("/pages/{name}", part),
        ]
        return Starlette(routes=routes, lifespan=self._lifespan)

    @asynccontextmanager
    async def _lifespan(self, _app: Starlette) -> AsyncIterator[None]:
        self._loop, self._news = asyncio.get_running_loop(), asyncio.Event()
        self._started()
        yield

    async def _follow(self, request: Request) -> Response:
        if not self._access.may_read(request):
            return refused()
        return StreamingResponse(self._events(), media_type="text/event-stream")

    async def _give_keys(self, request: Request) -> Response:
        if not self._access.may_ask(request):
            return refused()
        return Response(json.dumps(encode(self._keys)), media_type="application/json")

    async def _enter(self, request: Request) -> Response:
        """The body is one phrase, as plain text. Cookies are neither set nor read."""
        if not self._access.may_enter(request):
            return refused()
        body = b""
        async for part in request.stream():
            body += part
            if len(body) > _LARGEST_ENTRY:
                return PlainTextResponse("Too long for a phrase.", 413)
        phrase = body.decode("utf-8", errors="replace")
        if phrase not in self._phrases:
            return PlainTextResponse("Not a phrase of this procedure: choose one shown.", 422)
        self._entered(Entered(text=phrase))
        return Response(status_code=204)


def _event(kind: str, number: int, body: str) -> str:
    return f"event: {kind}\nid: {number}\ndata: {{{body}}}\n\n"


def _age_s(shown: _Shown) -> float:
    return round(time.monotonic() - shown.at_s, 3)
