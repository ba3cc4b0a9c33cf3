"""The prompt display as the case sees it: shows the newest View, keeps the display's process going.

The web server runs in a child process (child.py), so no reader and no stranger can take time from
the ears. The child never sees the case or the journal; it holds only the last View. If it dies or
stands still, the case goes on, and another child serves at the same address. Entry needs the entry
token. Reading from another machine needs the read token, which is derived from it and does not
allow entry. Both travel unencrypted: beyond this machine, use a network that you trust.
"""

from __future__ import annotations

import asyncio
import json
import threading
import time
from collections.abc import Sequence
from concurrent.futures import Future
from contextlib import suppress

from voicecheck.core.codec import encode
from voicecheck.display.access import Access, problem
from voicecheck.display.addresses import urls
from voicecheck.display.entries import Entries
from voicecheck.display.link import DisplayError, Link
from voicecheck.display.screen import Keys, View

__all__ = ["Display", "DisplayError"]

RETRY_S = 1.0
"""Between the failure of a child and the start of the next."""

TICK_S = 0.2
"""How often the child is told that the live loop lives."""


class Display:
    """The display in a process of its own, fed by a thread: no call here waits for either."""

    def __init__(
        self,
        *,
        host: str = "127.0.0.1",
        port: int = 8023,
        token: str,
        keys: Sequence[Keys],
        entries: Entries,
    ) -> None:
        """What is entered by hand goes to `entries`. Raises DisplayError for a weak token."""
        if why := problem(token):
            raise DisplayError(why)
        self.host, self.port, self._access = host, port, Access(host, token)
        self._keys, self._entries = keys, entries
        self._view: bytes = b""
        self._beat_s = 0.0
        self._process = 0
        self._trouble = ""
        self._up: Future[None] = Future()
        self._closing = False
        self._loop: asyncio.AbstractEventLoop | None = None
        self._thread = threading.Thread(target=self._run, name="display", daemon=True)

    @property
    def addresses(self) -> tuple[str, ...]:
        """The URLs for reading, one for each address of this machine that is served."""
        return urls(self.host, self.port, self._access.reading_query)

    @property
    def entry_addresses(self) -> tuple[str, ...]:
        """The URLs for entry by hand; whoever knows one may enter."""
        return urls(self.host, self.port, f"entry{self._access.entry_query}")

    @property
    def process(self) -> int:
        """The id of the child process that serves, or served last; 0 before the first."""
        return self._process

    @property
    def trouble(self) -> str:
        """What is wrong with the display; "" while it serves."""
        return self._trouble

    def start(self) -> None:
        """Serve until close(); raises DisplayError if the address cannot be used."""
        self._thread.start()
        self._up.result()

    def show(self, view: View) -> None:
        """Replace what is shown; a view that was not sent yet is never sent. Counts as a beat."""
        self._view = json.dumps(encode(view), ensure_ascii=False, separators=(",", ":")).encode()
        self.beat()
        self._wake()

    def beat(self) -> None:
        """Say that the live loop lives. After a second without it, the pages say so in red."""
        self._beat_s = time.monotonic()

    def close(self) -> None:
        """Stop serving; pages that are still open call themselves stale."""
        self._closing = True
        self._wake()
        if self._thread.is_alive():
            self._thread.join(5)

    # --------------------------------------------------------------------------- in its own thread

    def _wake(self) -> None:
        if self._loop is not None:
            with suppress(RuntimeError):  # the thread has ended
                self._loop.call_soon_threadsafe(self._news.set)

    def _run(self) -> None:
        asyncio.run(self._keep_serving())

    async def _keep_serving(self) -> None:
        """Start one child after another until close(): one that ends by itself has failed."""
        self._loop, self._news = asyncio.get_running_loop(), asyncio.Event()
        while not self._closing:
            try:
                await self._serve()
            except Exception as error:  # noqa: BLE001  # whatever it is, report it and go on
                self._trouble = str(error) or type(error).__name__
                if not self._up.done():
                    self._up.set_exception(error)
                    return
            await self._pause(0 if self._closing else RETRY_S)

    async def _serve(self) -> None:
        """Serve through one child until close(); raises ChildFailed if it fails before."""
        link = await Link.open(
            {
                "host": self.host,
                "port": self.port,
                "token": self._access.entry_token,
                "keys": encode(tuple(self._keys)),
            },
            self._entries,
        )
        self.port, self._process, self._trouble = link.port, link.process, ""
        if not self._up.done():
            self._up.set_result(None)
        listening = asyncio.create_task(link.listen())
        feeding = asyncio.create_task(self._feed(link))
        try:
            await asyncio.wait((listening, feeding), return_when=asyncio.FIRST_COMPLETED)
            if not self._closing:
                await listening
        finally:
            feeding.cancel()
            await link.close()
            await asyncio.gather(listening, feeding, return_exceptions=True)

    async def _feed(self, link: Link) -> None:
        """Tell the child each newest view, and that the live loop lives."""
        view, beat_s = b"", 0.0
        while not self._closing:
            self._entries.withdraw_overdue()
            if self._view is not view:
                view = self._view
                await link.tell("view", view)
            if self._beat_s != beat_s:
                beat_s = self._beat_s
                await link.tell("beat")
            await self._pause(TICK_S)

    async def _pause(self, seconds: float) -> None:
        """Wait this long or until something is to be told."""
        with suppress(TimeoutError):
            await asyncio.wait_for(self._news.wait(), seconds)
        self._news.clear()
