"""Stands before the display's pages: strict headers on every answer, and who goes no further.

A request for a foreign host name goes no further, nor one with a wrong token, nor a reader or an
entry for whom there is no place.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, MutableMapping
from contextlib import AbstractContextManager, nullcontext
from typing import Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse

from voicecheck.display import limits
from voicecheck.display.access import Access
from voicecheck.display.limits import Places, Tries, sender

_HEADERS = (
    (
        b"content-security-policy",
        b"default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; "
        b"connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cache-control", b"no-store"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
)

_Message = MutableMapping[str, Any]
_Receive = Callable[[], Awaitable[_Message]]
_Send = Callable[[_Message], Awaitable[None]]


class Guard:
    """An ASGI application around ours."""

    def __init__(self, app: Starlette, access: Access) -> None:
        screens, entries = limits.TOO_MANY_SCREENS, limits.TOO_MANY_ENTRIES
        self._app, self._access, self._tries = app, access, Tries()
        self._readers = Places(limits.MOST_READERS, limits.MOST_READERS_HERE, screens)
        self._entering = Places(limits.MOST_ENTERING, limits.MOST_ENTERING, screens)
        self._entries = Places(limits.MOST_ENTRIES, limits.MOST_ENTRIES_HERE, entries)

    async def __call__(self, scope: _Message, receive: _Receive, send: _Send) -> None:
        """Answer a request, ours or the application's way."""

        async def send_with_headers(message: _Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message["headers"], *_HEADERS]
            await send(message)

        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        try:
            with await self._let_in(Request(scope)):
                await self._app(scope, receive, send_with_headers)
        except HTTPException as error:
            answer = PlainTextResponse(error.detail, error.status_code, error.headers)
            await answer(scope, receive, send_with_headers)

    async def _let_in(self, request: Request) -> AbstractContextManager[None]:
        """A place for as long as the request lasts; raises HTTPException if it goes no further."""
        if not self._access.is_our_name(request.headers.get("host", "")):
            raise HTTPException(421, "This display has another name; use its address.")
        if self._access.is_mistaken(request):
            raise await self._tries.wrong(sender(request))
        places = self._places(request)
        return places.place(sender(request)) if places else nullcontext()

    def _places(self, request: Request) -> Places | None:
        match request.method, request.url.path:
            case "GET", "/events":
                return self._entering if self._access.may_open_entry(request) else self._readers
            case "POST", "/entry" if self._access.may_ask(request):
                return self._entries
            case _:
                return None
