"""How much of the display one address can take: readers, entries, wrong tokens.

The numbers are ours: common practice, no source.
"""

from __future__ import annotations

import asyncio
import math
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager

from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request

MOST_READERS, MOST_READERS_HERE = 32, 16
"""Event streams at one time without the entry token, in all and to one address."""

MOST_ENTERING = 8
"""Event streams beside them for those who may enter; readers cannot take their places."""

MOST_ENTRIES, MOST_ENTRIES_HERE = 8, 3
"""Entries on their way at one time, in all and from one address; a person needs one."""

LARGEST_ENTRY = 1000
"""Bytes; every phrase is far shorter."""

ENTRIES_A_SECOND, ENTRIES_AT_ONCE = 5, 30
"""From one address. Nobody needs more than a few a second by hand."""

_FREE_TRIES = 3
"""Wrong tokens from one address that are answered at once."""

SLOWEST_S = 2.0
"""The longest that the answer to a wrong token is held back."""

FORGIVEN_S = 60.0
"""Without a wrong token, an address begins anew."""

_MOST_SLOWED = 16
"""Answers held back at one time; more are refused unseen."""

_MOST_ADDRESSES = 1024
"""Remembered; then the one longest unheard of is forgotten."""


TOO_MANY_SCREENS = "Too many screens are open: close one, then open this again."
TOO_MANY_ENTRIES = "Not entered: others are still being recorded. Enter it again in a moment."


def sender(request: Request) -> str:
    """The address that a request comes from."""
    return request.client.host if request.client else ""


class Places:
    """Places for requests that last, in all and for one address."""

    def __init__(self, most: int, most_here: int, why: str) -> None:
        """`why` is told to whoever finds none."""
        self._most, self._most_here, self._why = most, most_here, why
        self._taken: Counter[str] = Counter()

    @contextmanager
    def place(self, address: str) -> Iterator[None]:
        """Hold a place; raises HTTPException 503 if all are taken."""
        if self._taken.total() >= self._most or self._taken[address] >= self._most_here:
            raise HTTPException(503, self._why)
        self._taken[address] += 1
        try:
            yield
        finally:
            self._taken[address] -= 1
            self._taken += Counter()  # forgets addresses that hold none


class Intake:
    """Takes in what is entered by hand: so fast and so large, and no more."""

    def __init__(self) -> None:
        self._free_from_s = _Memory()

    async def body(self, request: Request) -> bytes:
        """The whole body; raises HTTPException 429, 413 or 408."""
        self._keep_pace(sender(request), time.monotonic())
        body = b""
        try:
            async for part in request.stream():
                body += part
                if len(body) > LARGEST_ENTRY:
                    raise HTTPException(413, "Too long for a phrase.")
        except ClientDisconnect:
            raise HTTPException(408, "Cut off: enter it again.") from None
        return body

    def _keep_pace(self, address: str, now_s: float) -> None:
        """A virtual schedule (ITU-T I.371, GCRA): each entry uses up its share of the time."""
        share_s = 1 / ENTRIES_A_SECOND
        used_s = max(self._free_from_s.get(address, 0.0), now_s)
        over_s = used_s + share_s - now_s - share_s * ENTRIES_AT_ONCE
        if over_s > share_s / 2:  # half a share for the rounding of sums
            headers = {"Retry-After": str(math.ceil(over_s))}
            raise HTTPException(429, "Too many entries: wait, then enter it again.", headers)
        self._free_from_s.put(address, used_s + share_s)


class Tries:
    """Wrong tokens: the more of them an address has sent, the later the next is answered.

    The right token is never slowed, not even from the same address. So this keeps guessing from
    using up the machine; that a guess fails is the length of the token.
    """

    def __init__(self) -> None:
        self._wrong, self._last_s = _Memory(), _Memory()
        self._slowed = 0

    async def wrong(self, address: str) -> HTTPException:
        """Wait; then what to answer: 403, or at once 429 if too many are waiting."""
        wait_s = self._wait_s(address, time.monotonic())
        if self._slowed >= _MOST_SLOWED:
            headers = {"Retry-After": str(math.ceil(SLOWEST_S))}
            return HTTPException(429, "Too many wrong tokens: wait, then try again.", headers)
        self._slowed += 1
        try:
            await asyncio.sleep(wait_s)
        finally:
            self._slowed -= 1
        return HTTPException(403, NOT_ALLOWED)

    def _wait_s(self, address: str, now_s: float) -> float:
        forgiven = now_s - self._last_s.get(address, now_s) > FORGIVEN_S
        wrong = 1 if forgiven else self._wrong.get(address, 0) + 1
        self._wrong.put(address, wrong)
        self._last_s.put(address, now_s)
        return min(SLOWEST_S, 0.1 * 2 ** min(wrong - _FREE_TRIES, 9)) if wrong > _FREE_TRIES else 0


NOT_ALLOWED = "Not allowed: open the address that the program printed."


class _Memory:
    """A number for each address, of the addresses heard of last."""

    def __init__(self) -> None:
        self._known: dict[str, float] = {}

    def get(self, address: str, default: float) -> float:
        return self._known.get(address, default)

    def put(self, address: str, number: float) -> None:
        self._known.pop(address, None)
        self._known[address] = number
        if len(self._known) > _MOST_ADDRESSES:
            del self._known[next(iter(self._known))]
