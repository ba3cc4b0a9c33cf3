"""The display as a web application: its pages, their server-sent events, and entry by hand."""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from voicecheck.core.codec import decode, encode
from voicecheck.display.access import Access, refused
from voicecheck.display.entries import PATIENCE_S, TOO_MANY, Answer
from voicecheck.display.limits import Intake
from voicecheck.display.screen import Keys

BEAT_S = 1.0
"""Heartbeat to every reader; a page calls itself stale after three missed ones."""

STILL_S = 1.0
"""Without a beat of the live loop for this long, the machine stands still."""

_LOOK_S = 0.2
"""How often that is looked at."""

_MOST_LINES = 2**31
"""No log has as many."""

_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".woff": "font/woff",
}

_NO_ANSWER = Answer(
    503,
    "The machine stands still: look at the screen to see whether this was entered.",
)


@dataclass(frozen=True, kw_only=True, slots=True)
class _Shown:
    number: int
    view: str
    at_s: float


@dataclass(frozen=True, kw_only=True, slots=True)
class _Form:
    """What the page for entry sends: a phrase, and the line that was on its screen."""

    phrase: str
    line: int = 0


class App:
    """Sends the last View to any number of readers, and passes on the phrases that are entered."""

    def __init__(
        self,
        *,
        access: Access,
        keys: Sequence[Keys],
        started: Callable[[], object],
        say: Callable[[str, Any], bool],
    ) -> None:
        """Calls `started` once it serves. `say` passes `alive` and `entry` on, if there is room."""
        self._access, self._keys = access, tuple(keys)
        self._phrases = frozenset(key.phrase for group in keys for key in group.keys)
        self._started, self._say, self._intake = started, say, Intake()
        self._latest: _Shown | None = None
        self._beat_s: float | None = None
        self._entries: dict[int, asyncio.Future[Answer]] = {}
        self._numbers = count(1)
        self._ended = False
        self._news = asyncio.Event()
        self._loop: asyncio.AbstractEventLoop | None = None

    def hear(self, kind: str, content: str) -> None:
        """Take a message from the live loop, in any thread: `view`, `beat` or `answer`."""
        if self._loop is not None:
            with suppress(RuntimeError):  # the server has stopped: no reader is left
                self._loop.call_soon_threadsafe(self._take, kind, content)

    def end(self) -> None:
        """End every reader's event stream."""
        self.hear("end", "")

    def _take(self, kind: str, content: str) -> None:
        still = self._still_s()
        match kind:
            case "view":
                number = self._latest.number + 1 if self._latest else 1
                self._latest = _Shown(number=number, view=content, at_s=time.monotonic())
            case "beat":
                self._beat_s = time.monotonic()
            case "answer":
                number, status, sentence = json.loads(content)
                if (entry := self._entries.get(number)) and not entry.done():
                    entry.set_result(Answer(status, sentence))
            case "end":
                self._ended = True
        if kind in ("view", "end") or still:
            self._wake()

    # ----------------------------------------------------------------- events for the readers

    def _wake(self) -> None:
        news, self._news = self._news, asyncio.Event()
        news.set()

    def _still_s(self) -> float:
        """How long the live loop has been standing still, in seconds; 0 while it lives."""
        silent_s = time.monotonic() - self._beat_s if self._beat_s is not None else 0.0
        return silent_s if silent_s > STILL_S else 0.0

    async def _watch(self) -> None:
        """Tell the readers at once when the live loop stands still, and the parent that we live."""
        was_still, told_s = False, 0.0
        while True:
            still = bool(self._still_s())
            if still and not was_still:
                self._wake()
            was_still = still
            if time.monotonic() - told_s >= BEAT_S:
                told_s = time.monotonic()
                self._say("alive", True)
            await asyncio.sleep(_LOOK_S)

    async def _events(self) -> AsyncIterator[str]:
        seen = 0
        yield "retry: 1000\n\n"
        while not self._ended:
            news, shown, still = self._news, self._latest, self._still_s()
            is_new = shown is not None and shown.number != seen
            if shown is not None and is_new:
                seen = shown.number
                yield _event("view", seen, f'"age_s":{_age_s(shown)},"view":{shown.view}')
            if still or not is_new:
                yield _event("still" if still else "beat", seen, "")
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
        watching = asyncio.create_task(self._watch())
        self._started()
        yield
        watching.cancel()

    async def _follow(self, request: Request) -> Response:
        if not self._access.may_read(request):
            return refused()
        return StreamingResponse(self._events(), media_type="text/event-stream")

    async def _give_keys(self, request: Request) -> Response:
        if not self._access.may_ask(request):
            return refused()
        return Response(json.dumps(encode(self._keys)), media_type="application/json")

    async def _enter(self, request: Request) -> Response:
        """The body is {"phrase": …, "line": …}. Cookies are neither set nor read."""
        if not self._access.may_enter(request):
            return refused()
        form = _form(await self._intake.body(request))
        if form is None or form.phrase not in self._phrases:
            return PlainTextResponse("Not a phrase of this procedure: choose one shown.", 422)
        answer = await self._answered(form)
        return PlainTextResponse(answer.sentence, answer.status)

    async def _answered(self, form: _Form) -> Answer:
        """Pass an entry on, and wait until the live loop has recorded it or refuses it."""
        number = next(self._numbers)
        entry = self._entries[number] = asyncio.get_running_loop().create_future()
        said = {"number": number, "phrase": form.phrase, "line": form.line}
        try:
            if not self._say("entry", said | {"at_s": time.monotonic()}):
                return TOO_MANY
            return await asyncio.wait_for(entry, 2 * PATIENCE_S)
        except TimeoutError:
            return _NO_ANSWER
        finally:
            del self._entries[number]


def _form(body: bytes) -> _Form | None:
    """The entry in a request's body; None if it is anything else."""
    try:
        form = decode(_Form, json.loads(body))
    except (ValueError, RecursionError):
        return None
    return form if 0 <= form.line < _MOST_LINES else None


def _event(kind: str, number: int, body: str) -> str:
    return f"event: {kind}\nid: {number}\ndata: {{{body}}}\n\n"


def _age_s(shown: _Shown) -> float:
    return round(time.monotonic() - shown.at_s, 3)
