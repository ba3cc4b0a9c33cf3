"""A network cable between a page and the display: it can be pulled and plugged in again."""

from __future__ import annotations

import contextlib
import socket
import threading
from types import TracebackType


class Cable:
    """Hands bytes on between its own port and another; pulled, it swallows them without a word.

    Connections that were open when it was pulled stay dead for ever, as after a switched router.
    """

    def __init__(self, port: int) -> None:
        self._to = port
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self._dead: set[socket.socket] = set()
        self._open: list[socket.socket] = []
        self._pulled = False
        self._threads = [threading.Thread(target=self._accept, daemon=True)]

    def pull(self) -> None:
        """Let no more bytes through."""
        self._pulled = True
        self._dead.update(self._open)

    def plug_in(self) -> None:
        """Let new connections through."""
        self._pulled = False

    def __enter__(self) -> Cable:
        self._threads[0].start()
        return self

    def __exit__(
        self,
        _kind: type[BaseException] | None,
        _error: BaseException | None,
        _trace: TracebackType | None,
    ) -> None:
        for one in (self._listener, *self._open):
            with contextlib.suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
            one.close()
        for thread in self._threads:
            thread.join(5)

    def _accept(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                near, _ = self._listener.accept()
                far = socket.create_connection(("127.0.0.1", self._to))
                self._open += (near, far)
                if self._pulled:
                    self._dead.update((near, far))
                for ends in ((near, far), (far, near)):
                    thread = threading.Thread(target=self._carry, args=ends, daemon=True)
                    self._threads.append(thread)
                    thread.start()

    def _carry(self, here: socket.socket, there: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := here.recv(65536):
                if here not in self._dead:
                    there.sendall(data)
            if here not in self._dead:
                there.shutdown(socket.SHUT_WR)
