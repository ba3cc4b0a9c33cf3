"""Tells systemd that the case is open, that its live loop lives and that it ends: sd_notify(3)."""

from __future__ import annotations

import os
import socket
import time
from contextlib import suppress

READY = "READY=1"
STOPPING = "STOPPING=1"

FEED_S = 1.0
"""How often the watchdog is fed; the unit's WatchdogSec is far longer."""


def notify(state: str) -> None:
    """Send a state to the service manager, if there is one; never wait for it."""
    address = os.environ.get("NOTIFY_SOCKET", "")
    if address:
        with suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
            manager.setblocking(False)
            manager.sendto(state.encode(), address.replace("@", "\0", 1))


class Watchdog:
    """systemd's watchdog, which starts the service anew if it is not fed."""

    def __init__(self) -> None:
        self._fed_s = float("-inf")

    def feed(self) -> None:
        """Say that the live loop lives; at most once a second."""
        if time.monotonic() - self._fed_s >= FEED_S:
            self._fed_s = time.monotonic()
            notify("WATCHDOG=1")
