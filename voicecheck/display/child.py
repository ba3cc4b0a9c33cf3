"""The child process that serves the prompt display.

Run as `python -m voicecheck.display.child`; link.py says which lines it reads and writes. It ends
when its standard input closes: so it never outlives the program, however that ends.
"""

from __future__ import annotations

import json
import os
import signal
import socket
import sys
import threading
from typing import Any

import uvicorn

from voicecheck.core.codec import decode
from voicecheck.display.access import Access
from voicecheck.display.app import App
from voicecheck.display.connections import configured
from voicecheck.display.guard import Guard
from voicecheck.display.screen import Keys

NICENESS = 10
"""Added to its own, so that under load the ears come first; nice(2)."""


def main() -> None:
    """Serve until standard input closes."""
    for number in (signal.SIGINT, signal.SIGTERM):  # the parent handles them
        signal.signal(number, signal.SIG_IGN)
    if sys.platform != "win32":
        os.nice(NICENESS)
    setup = json.loads(sys.stdin.buffer.readline().partition(b" ")[2])
    try:
        listener = _listener(setup["host"], setup["port"])
    except OSError as error:
        _say("error", _no_address(setup["host"], setup["port"], error))
        return
    access = Access(setup["host"], setup["token"])
    app = App(
        access=access,
        keys=tuple(decode(Keys, group) for group in setup["keys"]),
        started=lambda: _say("port", listener.getsockname()[1]),
        say=_say,
    )
    server = uvicorn.Server(configured(Guard(app.asgi(), access)))
    serving = threading.Thread(target=_serve, args=(server, listener), daemon=True)
    serving.start()
    _pass_on(app)
    app.end()
    server.should_exit = True
    serving.join(2)
    os._exit(0)


def _pass_on(app: App) -> None:
    """Tell the application what the parent says, until it says no more."""
    if sys.platform != "win32":  # on Windows a full pipe blocks
        os.set_blocking(1, False)
    for line in sys.stdin.buffer:
        kind, _, content = line.rstrip(b"\n").partition(b" ")
        app.hear(kind.decode(), content.decode())


def _serve(server: uvicorn.Server, listener: socket.socket) -> None:
    """Serve; a server that ends by itself ends this process, and the parent starts another."""
    try:
        server.run([listener])
    finally:
        os._exit(0 if server.should_exit else 1)


def _say(kind: str, content: Any) -> bool:
    """Tell the parent; whether there was room for it. All or nothing: see pipe(7)."""
    try:
        os.write(1, f"{kind} {json.dumps(content)}\n".encode())
    except OSError:
        return False
    return True


def _listener(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    return socket.create_server((host, port), family=family)


def _no_address(host: str, port: int, error: OSError) -> str:
    return (
        f"The prompt display cannot use {host} port {port} ({error}); "
        "choose another port, or close the program that uses it."
    )


if __name__ == "__main__":
    main()
