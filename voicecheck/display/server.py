"""Serves the prompt display: one page that shows the last View, and one page for entry by hand.

It never sees the case or the journal; it holds only the last View. If it fails, the case goes on,
and it starts again at the same address. Entry needs the entry token. Reading from another machine
needs the read token, which is derived from it and does not allow entry. Both travel unencrypted:
beyond this machine, use a network that you trust.
"""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable, Sequence

import uvicorn

from voicecheck.core.inputs import Entered
from voicecheck.display.access import LEAST_TOKEN, Access, guarded
from voicecheck.display.app import App
from voicecheck.display.screen import Keys, View

RETRY_S = 1.0
"""Between the failure of a server and the start of the next."""

MOST_READERS = 32
"""At one time; more get "503 Service Unavailable"."""


class DisplayError(Exception):
    """The display cannot be served: a sentence with cause and cure."""


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
            raise DisplayError(
                f"The access token is too short; use at least {LEAST_TOKEN} characters."
            )
        self.host, self.port, self._access = host, port, Access(host, token)
        self._app = App(access=self._access, keys=keys, entered=entered, started=self._started)
        self._up, self._closing = threading.Event(), threading.Event()
        self._trouble = ""
        self._server: uvicorn.Server | None = None
        self._thread: threading.Thread | None = None

    @property
    def address(self) -> str:
        """The URL for reading."""
        return f"http://{_in_url(self.host)}:{self.port}/{self._access.reading_query}"

    @property
    def entry_address(self) -> str:
        """The URL for entry by hand; whoever knows it may enter."""
        return f"http://{_in_url(self.host)}:{self.port}/entry?token={self._access.entry_token}"

    @property
    def trouble(self) -> str:
        """What is wrong with the display; "" while it serves."""
        return self._trouble

    def start(self) -> None:
        """Serve until close(); raises DisplayError if the address cannot be used."""
        listener = self._listener()
        self.port = listener.getsockname()[1]
        self._thread = threading.Thread(
            target=self._serve, args=(listener,), name="display", daemon=True
        )
        self._thread.start()
        if not self._up.wait(10):
            raise DisplayError("The prompt display did not start; start the program again.")

    def _started(self) -> None:
        self._trouble = ""
        self._up.set()

    def _serve(self, listener: socket.socket) -> None:
        """Run one server after another until close(): one that ends by itself has failed."""
        self._run(listener)
        while not self._closing.wait(RETRY_S):
            try:
                self._run(self._listener())
            except DisplayError as error:
                self._trouble = str(error)

    def _run(self, listener: socket.socket) -> None:
        server = self._server = uvicorn.Server(
            uvicorn.Config(
                guarded(self._app.asgi(), self.host),
                http="h11",
                ws="none",
                log_config=None,
                access_log=False,
                server_header=False,
                limit_concurrency=MOST_READERS,
                timeout_graceful_shutdown=1,
                timeout_keep_alive=1,  # an idle connection may be dead: nobody should reuse it
            )
        )
        if self._closing.is_set():
            server.should_exit = True
        why = ""
        with listener:  # a server that fails leaves its socket open
            try:
                server.run([listener])
            except (Exception, SystemExit) as error:  # noqa: BLE001  # whatever it is, report it
                why = f" ({type(error).__name__}: {error})"
        if not self._closing.is_set():
            self._trouble = f"The display's server has stopped{why}: it is being restarted."

    def show(self, view: View) -> None:
        """Replace what is shown; never waits for a reader."""
        self._app.show(view)

    def close(self) -> None:
        """Stop serving; pages that are still open call themselves stale."""
        self._closing.set()
        self._app.end()
        if self._server is not None and self._thread is not None:
            self._server.should_exit = True
            self._thread.join(5)

    def _listener(self) -> socket.socket:
        try:
            return socket.create_server((self.host, self.port), family=_family(self.host))
        except OSError as error:
            raise DisplayError(
                f"The prompt display cannot use {self.host} port {self.port} ({error}); "
                "choose another port, or close the program that uses it."
            ) from error


def _family(host: str) -> socket.AddressFamily:
    return socket.AF_INET6 if ":" in host else socket.AF_INET


def _in_url(host: str) -> str:
    return f"[{host}]" if ":" in host else host
