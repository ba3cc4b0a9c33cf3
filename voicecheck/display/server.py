"""Serves the prompt display: one page that shows the last View, and one page for entry by hand.

It never sees the case or the journal, and holds nothing but the last View. If it fails, the case
goes on, and it is served again at the same address. Whoever may only read cannot enter: reading
beyond this machine has a token of its own, made from the one that entry needs. Both travel
unencrypted: beyond this machine, use a network that you trust.
"""

from __future__ import annotations

import asyncio
import json
import socket
import threading
import time
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from voicecheck.core.codec import encode
from voicecheck.core.inputs import Entered
from voicecheck.display.access import LEAST_TOKEN, Access, guarded, refused
from voicecheck.display.screen import Keys, View

BEAT_S = 1.0
"""A sign of life to every reader; the page calls itself stale after three that did not come."""

RETRY_S = 1.0
"""Between the end of a server and the next one."""

MOST_READERS = 32
"""At one time; more are told to come back."""

_LARGEST_ENTRY = 1000
"""Bytes; no phrase comes near it."""

_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".woff": "font/woff",
}


class DisplayError(Exception):
    """The display cannot be served, and what to change."""


@dataclass(frozen=True, kw_only=True, slots=True)
class _Shown:
    number: int
    view: str
    at_s: float


class Display:
    """The display's server, in a thread of its own."""

    def __init__(
        self,
        *,
        host: str = "127.0.0.1",
        port: int = 8023,
        token: str,
        keys: Sequence[Keys],
        entered: Callable[[Entered], None],
    ) -> None:
        """`entered` is called from the server's thread. Raises DisplayError for a weak token."""
        if len(token) < LEAST_TOKEN:
            raise DisplayError(f"The access token is too short; use {LEAST_TOKEN} characters.")
        self.host, self.port, self._access = host, port, Access(host, token)
        self._keys, self._entered = tuple(keys), entered
        self._phrases = frozenset(key.phrase for group in keys for key in group.keys)
        self._latest: _Shown | None = None
        self._news = asyncio.Event()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._up, self._closing = threading.Event(), threading.Event()
        self._trouble = ""
        self._server: uvicorn.Server | None = None
        self._thread: threading.Thread | None = None

    @property
    def address(self) -> str:
        """Where the page is read."""
        return f"http://{_in_url(self.host)}:{self.port}/{self._access.reading_query}"

    @property
    def entry_address(self) -> str:
        """Where phrases are entered by hand; whoever knows it may enter."""
        return f"http://{_in_url(self.host)}:{self.port}/entry?token={self._access.entry_token}"

    @property
    def trouble(self) -> str:
        """What is wrong with the display; "" while it serves."""
        return self._trouble

    def start(self) -> None:
        """Serve until close(); raises DisplayError if the address cannot be had."""
        listener = self._listener()
        self.port = listener.getsockname()[1]
        self._thread = threading.Thread(
            target=self._serve, args=(listener,), name="display", daemon=True
        )
        self._thread.start()
        if not self._up.wait(10):
            raise DisplayError("The prompt display did not start; start the program again.")

    def _serve(self, listener: socket.socket) -> None:
        """One server after the other until close(): one that ends by itself has failed."""
        self._run(listener)
        while not self._closing.wait(RETRY_S):
            try:
                self._run(self._listener())
            except DisplayError as error:
                self._trouble = str(error)

    def _run(self, listener: socket.socket) -> None:
        server = self._server = uvicorn.Server(
            uvicorn.Config(
                guarded(self._routes(), self.host),
                http="h11",
                ws="none",
                log_config=None,
                access_log=False,
                server_header=False,
                limit_concurrency=MOST_READERS,
                timeout_graceful_shutdown=1,
                timeout_keep_alive=1,  # an idle connection may be dead: better none to come back to
            )
        )
        if self._closing.is_set():
            server.should_exit = True
        why = ""
        with listener:  # a server that fails leaves it open
            try:
                server.run([listener])
            except (Exception, SystemExit) as error:  # noqa: BLE001  # whatever ended it is told
                why = f" ({type(error).__name__}: {error})"
        if not self._closing.is_set():
            self._trouble = f"The display's server has stopped{why}: it is started again."

    def show(self, view: View) -> None:
        """Show this instead of whatever was shown; never waits for a reader."""
        number = self._latest.number + 1 if self._latest else 1
        text = json.dumps(encode(view), ensure_ascii=False, separators=(",", ":"))
        self._latest = _Shown(number=number, view=text, at_s=time.monotonic())
        self._tell()

    def close(self) -> None:
        """Stop serving; readers see that what they show grows stale."""
        self._closing.set()
        self._tell()
        if self._server is not None and self._thread is not None:
            self._server.should_exit = True
            self._thread.join(5)

    def _listener(self) -> socket.socket:
        try:
            return socket.create_server((self.host, self.port), family=_family(self.host))
        except OSError as error:
            raise DisplayError(
                f"The prompt display cannot use {self.host} port {self.port} ({error}); "
                "choose another port, or end the program that uses it."
            ) from error

    # ------------------------------------------------------------------- news for the readers

    def _tell(self) -> None:
        if self._loop is not None:
            with suppress(RuntimeError):  # the server has stopped: nobody is left to be told
                self._loop.call_soon_threadsafe(self._wake)

    def _wake(self) -> None:
        news, self._news = self._news, asyncio.Event()
        news.set()

    async def _events(self) -> AsyncIterator[str]:
        seen = 0
        yield "retry: 1000\n\n"
        while not self._closing.is_set():
            news, shown = self._news, self._latest
            if shown is not None and shown.number != seen:
                seen = shown.number
                yield _event("view", shown.number, f'"age_s":{_age_s(shown)},"view":{shown.view}')
            else:
                yield _event("beat", seen, "")
            with suppress(TimeoutError):
                await asyncio.wait_for(news.wait(), BEAT_S)

    # --------------------------------------------------------------------------------- routes

    def _routes(self) -> Starlette:
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
        self._trouble = ""
        self._up.set()
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
        """The body is one phrase, as plain text. Cookies are never asked for nor looked at."""
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


def _family(host: str) -> socket.AddressFamily:
    return socket.AF_INET6 if ":" in host else socket.AF_INET


def _in_url(host: str) -> str:
    return f"[{host}]" if ":" in host else host


def _event(kind: str, number: int, body: str) -> str:
    return f"event: {kind}\nid: {number}\ndata: {{{body}}}\n\n"


def _age_s(shown: _Shown) -> float:
    return round(time.monotonic() - shown.at_s, 3)
