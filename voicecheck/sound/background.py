"""Runs in a background thread what may hang: PortAudio does while the sound server is stopped."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable


def in_background(work: Callable[[], None]) -> threading.Thread:
    """Start it. The thread does not keep the program alive."""
    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    return thread
