"""Who may read the prompt display and who may enter: tokens, host names, origins, headers."""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

LEAST_TOKEN = 16
"""Characters; secrets.token_urlsafe(12) gives 16."""

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


class Access:
    """The two tokens of one display: one allows reading only, the other entry and reading."""

    def __init__(self, host: str, token: str) -> None:
        self._open = is_local(host)
        self.entry_token = token
        self.read_token = hmac.new(token.encode(), b"read", hashlib.sha256).hexdigest()[:22]

    @property
    def reading_query(self) -> str:
        """The query of the reading address; "" if only this machine is served: all may read."""
        return "" if self._open else f"?token={self.read_token}"

    def may_read(self, request: Request) -> bool:
        """Whether this request may see the case."""
        given = _in_query(request)
        return self._open or _same(given, self.read_token) or _same(given, self.entry_token)

    def may_open_entry(self, request: Request) -> bool:
        """Whether this request may open the entry page, whose address holds the token."""
        return _same(_in_query(request), self.entry_token)

    def may_ask(self, request: Request) -> bool:
        """Whether this request has the entry token as its bearer token, as our script sends it."""
        scheme, _, token = request.headers.get("authorization", "").partition(" ")
        return scheme.lower() == "bearer" and _same(token, self.entry_token)

    def may_enter(self, request: Request) -> bool:
        """Whether this request carries the entry token and comes from our own page.

        Browsers send a request's origin, and no script can forge it. There are no cookies that a
        foreign page's request could use.
        """
        ours = f"{request.url.scheme}://{request.headers.get('host', '')}"
        same_site = request.headers.get("sec-fetch-site", "same-origin") == "same-origin"
        return request.headers.get("origin") == ours and same_site and self.may_ask(request)


def refused() -> Response:
    """The response to a request without the right token."""
    return PlainTextResponse("Not allowed: open the address that the program printed.", 403)


def guarded(app: Starlette, host: str) -> Callable[[_Message, _Receive, _Send], Awaitable[None]]:
    """Put our headers on every response, and reject requests for a foreign host name.

    A foreign page may point its own host name at this machine (DNS rebinding), but its requests
    carry that name. So only IP addresses, localhost and the given host are served.
    """

    async def guard(scope: _Message, receive: _Receive, send: _Send) -> None:
        async def send_with_headers(message: _Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message["headers"], *_HEADERS]
            await send(message)

        if scope["type"] == "http" and not _is_ours(Request(scope).headers.get("host", ""), host):
            wrong = PlainTextResponse("This display has another name; use its address.", 421)
            await wrong(scope, receive, send_with_headers)
            return
        await app(scope, receive, send_with_headers)

    return guard


def _is_ours(asked: str, host: str) -> bool:
    name = asked.rsplit(":", 1)[0] if asked.rpartition(":")[2].isdigit() else asked
    return name in ("localhost", host) or _is_address(name.strip("[]"))


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def is_local(host: str) -> bool:
    """Whether only this machine can reach the host."""
    return host == "localhost" or (_is_address(host) and ipaddress.ip_address(host).is_loopback)


def _same(given: str, token: str) -> bool:
    return hmac.compare_digest(given.encode(), token.encode())


def _in_query(request: Request) -> str:
    return request.query_params.get("token", "")
