"""The display's connections: limits of time, size and number, on top of uvicorn's HTTP/1.1.

A connection waits until its client has sent a whole request, and again after the answer. Waiting
costs nothing, so a stranger could wait on every place there is. So whoever comes last is served
first: if too many wait, the one that has waited longest is closed. A client that sends its request
at once is never refused, however many others say nothing. One that has been answered shuts out
nobody: if too many wait, it is closed itself.

Sources: RFC 9112 (HTTP/1.1), sections 2.2 and 9.5 to 9.6; RFC 9110, section 15.5.9 (408); RFC 6585,
section 5 (431). The numbers are ours: common practice, no source.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from http import HTTPStatus
from typing import Any, ClassVar

import h11
import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

REQUEST_S = 5.0
"""For a whole request, from the connection, or the answer before it, to the body's last byte."""

UNREAD_S = 10.0
"""How long a client may take nothing of what it is sent."""

LARGEST_HEADER = 16_384
"""Bytes, request line included; a browser sends about 1000."""

MOST_WAITING, MOST_WAITING_HERE = 512, 256
"""Connections that wait, in all and from one address. Together with those that are being answered
they stay below 1024, the usual limit on a process's open files."""

_ACCEPTED = 32
"""Connections in one round of asyncio's loop. A client's request is read three rounds after it has
come: by then far fewer others have come than may wait."""


class Crowd:
    """The connections of one server that wait, the longest first."""

    def __init__(self) -> None:
        self._all: dict[Bounded, None] = {}
        self._here: dict[str, dict[Bounded, None]] = {}

    def join(self, one: Bounded, *, is_new: bool) -> None:
        """One more waits; if too many do, the first one is closed, or this one if it is not new."""
        here = self._here.setdefault(one.address, {})
        here[one] = self._all[one] = None
        for crowd, most in ((here, MOST_WAITING_HERE), (self._all, MOST_WAITING)):
            if len(crowd) > most:
                done = not is_new and not one.transport.get_write_buffer_size()
                leaves = one if done else next(iter(crowd))
                self.leave(leaves)
                leaves.transport.abort()

    def leave(self, one: Bounded) -> None:
        """This one waits no longer."""
        self._all.pop(one, None)
        here = self._here.get(one.address, {})
        here.pop(one, None)
        if not here:
            self._here.pop(one.address, None)


class Bounded(H11Protocol):
    """One connection. Uses the attributes `conn`, `cycle`, `transport` and `loop` of uvicorn's."""

    crowd: ClassVar[Crowd]
    address = ""
    _overdue: asyncio.TimerHandle | None = None
    _unread: asyncio.TimerHandle | None = None

    # ------------------------------------------------------------------------- what asyncio calls

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """A client has come."""
        super().connection_made(transport)
        self.address = self.client[0] if self.client else ""
        self._settle()

    def data_received(self, data: bytes) -> None:
        """A piece of a request has come."""
        super().data_received(data)
        self._settle()

    def pause_writing(self) -> None:
        """The client takes nothing."""
        super().pause_writing()
        self._unread = self.loop.call_later(UNREAD_S, self.transport.abort)

    def resume_writing(self) -> None:
        """It does again."""
        super().resume_writing()
        _cancel(self._unread)

    def connection_lost(self, exc: Exception | None) -> None:
        """The client has gone, or was closed."""
        self.crowd.leave(self)
        _cancel(self._overdue)
        _cancel(self._unread)
        super().connection_lost(exc)

    # ------------------------------------------------------------------------- what uvicorn calls

    def on_response_complete(self) -> None:
        """An answer has been given; if the body was not wanted, the rest of it is never read."""
        super().on_response_complete()
        if self.conn.their_state is h11.SEND_BODY and not self.transport.is_closing():
            self.flow.pause_reading()
            self.transport.write_eof()  # the client may read the answer: RFC 9112, section 9.6
        self._settle()

    def send_400_response(self, msg: str) -> None:
        """What came is no HTTP, or its header is too large."""
        if len(self.conn.trailing_data[0]) > LARGEST_HEADER:
            self._refuse(HTTPStatus.REQUEST_HEADER_FIELDS_TOO_LARGE, "The header is too large.")
        else:
            self._refuse(HTTPStatus.BAD_REQUEST, msg)

    # -------------------------------------------------------------------------------------- waiting

    @property
    def _waits(self) -> bool:
        asked = self.conn.their_state not in (h11.IDLE, h11.SEND_BODY)
        return not asked or self.transport.is_closing()

    def _settle(self) -> None:
        """Start to wait for the client, or cease."""
        if self._waits and self._overdue is None:
            self._overdue = self.loop.call_later(REQUEST_S, self._end_waiting)
            self.crowd.join(self, is_new=self.cycle is None)
        elif not self._waits and self._overdue is not None:
            _cancel(self._overdue)
            self._overdue = None
            self.crowd.leave(self)

    def _end_waiting(self) -> None:
        begun = self.conn.their_state is h11.SEND_BODY or self.conn.trailing_data[0]
        answered = self.conn.our_state not in (h11.IDLE, h11.SEND_RESPONSE)
        if begun and not answered and not self.transport.is_closing():
            self._refuse(HTTPStatus.REQUEST_TIMEOUT, "The request took too long.")
        self.transport.abort()

    def _refuse(self, status: HTTPStatus, sentence: str) -> None:
        """Answer at once, outside the application, and close."""
        headers = [("content-type", "text/plain; charset=utf-8"), ("connection", "close")]
        events = (
            h11.Response(status_code=status, headers=headers, reason=status.phrase.encode()),
            h11.Data(data=sentence.encode()),
            h11.EndOfMessage(),
        )
        self.transport.write(b"".join(self.conn.send(event) or b"" for event in events))
        self.transport.close()


def _cancel(timer: asyncio.TimerHandle | None) -> None:
    if timer is not None:
        timer.cancel()


def configured(app: Callable[..., Any]) -> uvicorn.Config:
    """A server of this ASGI application, with these limits; what strangers send is not logged."""

    class Connection(Bounded):
        crowd = Crowd()

    return uvicorn.Config(
        app,
        http=Connection,
        ws="none",
        log_config=None,
        log_level="error",
        access_log=False,
        server_header=False,
        backlog=_ACCEPTED,
        h11_max_incomplete_event_size=LARGEST_HEADER,
        timeout_graceful_shutdown=1,
        timeout_keep_alive=1,  # an idle connection may be dead: nobody should reuse it
    )
