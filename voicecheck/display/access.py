"""Who may read the prompt display and who may enter: tokens, host names, origins."""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

from voicecheck.display.limits import NOT_ALLOWED

LEAST_TOKEN, LEAST_DISTINCT = 16, 6
"""Characters, and how many different ones. A random token has that many: of 16 hexadecimal digits,
three in a hundred thousand draws have fewer (counted by combinations)."""


def problem(token: str) -> str:
    """Why a token cannot be the token for entry, as a sentence; "" if it can."""
    if len(token) < LEAST_TOKEN:
        return f"The access token is too short; use at least {LEAST_TOKEN} characters."
    if not all("!" <= letter <= "~" for letter in token):  # VCHAR, RFC 9110, section 5.5
        return "The access token has a space or a letter beyond ASCII; use others."
    if len(set(token)) < LEAST_DISTINCT:
        return (
            f"The access token repeats itself, so it can be guessed; use at least {LEAST_DISTINCT} "
            "different characters, or let the program make one up."
        )
    return ""


class Access:
    """The two tokens of one display: one allows reading only, the other entry and reading."""

    def __init__(self, host: str, token: str) -> None:
        self.host, self._open = host, is_local(host)
        self.entry_token = token
        self.read_token = hmac.new(token.encode(), b"read", hashlib.sha256).hexdigest()[:22]

    def is_our_name(self, asked: str) -> bool:
        """Whether a request's host, with or without a port, is one that this display has.

        A foreign page may point its own host name at this machine (DNS rebinding), but its requests
        carry that name. So only IP addresses, localhost and the given host are served.
        """
        name = asked.rsplit(":", 1)[0] if asked.rpartition(":")[2].isdigit() else asked
        return name in ("localhost", self.host) or _is_address(name.strip("[]"))

    @property
    def reading_query(self) -> str:
        """The query of the reading address; "" if only this machine is served: all may read."""
        return "" if self._open else f"?token={self.read_token}"

    @property
    def entry_query(self) -> str:
        """The query of the entry address, percent-encoded (RFC 3986, section 2)."""
        return f"?token={quote(self.entry_token, safe='')}"

    def is_mistaken(self, request: Request) -> bool:
        """Whether this request has a token that is none of ours."""
        given = (_in_query(request), _bearer(request))
        known = (self.read_token, self.entry_token)
        return any(each and not any(_same(each, token) for token in known) for each in given)

    def may_read(self, request: Request) -> bool:
        """Whether this request may see the case."""
        given = _in_query(request)
        return self._open or _same(given, self.read_token) or _same(given, self.entry_token)

    def may_open_entry(self, request: Request) -> bool:
        """Whether this request may open the entry page, whose address holds the token."""
        return _same(_in_query(request), self.entry_token)

    def may_ask(self, request: Request) -> bool:
        """Whether this request has the entry token as its bearer token, as our script sends it."""
        return _same(_bearer(request), self.entry_token)

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
    return PlainTextResponse(NOT_ALLOWED, 403)


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


def _bearer(request: Request) -> str:
    scheme, _, token = request.headers.get("authorization", "").partition(" ")
    return token if scheme.lower() == "bearer" else ""


def _in_query(request: Request) -> str:
    return request.query_params.get("token", "")
