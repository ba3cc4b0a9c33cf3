"""Tells where the display is: an address with a token goes to a terminal or a private file only.

A service's output goes to the system journal, which others may read and which is kept. So there the
addresses with a token are in a file beside the log, which only its owner can read (mode 0600).
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from voicecheck.display.server import Display


@contextmanager
def told(display: Display, log: Path, say: Callable[[str], None]) -> Iterator[None]:
    """`say` the addresses, a line each; a file of them goes when the display does."""
    lines = [
        *(f"Prompt display: {url}" for url in display.addresses),
        *(f"Entry by hand:  {url}" for url in display.entry_addresses),
    ]
    if sys.stdout.isatty():
        _say_each(lines, say)
        yield
        return
    path = log.with_suffix(".addresses")
    _say_each([line for line in lines if "?token=" not in line], say)
    try:
        _write(path, "\n".join(lines) + "\n")
        say(f"The addresses with a token are in {path}, for its owner only.")
    except OSError as error:  # the case goes on: voices need no address
        say(f"The addresses with a token cannot be kept ({error}): make {path} writable.")
    try:
        yield
    finally:
        with suppress(OSError):  # a folder that is gone must not hide how the case ended
            path.unlink()


def _say_each(lines: Sequence[str], say: Callable[[str], None]) -> None:
    for line in lines:
        say(line)


def _write(path: Path, text: str) -> None:
    """A new file each time: its mode holds from its first byte on, and no link is followed."""
    path.unlink(missing_ok=True)
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with open(descriptor, "w", encoding="utf-8") as file:  # noqa: PTH123  # it has no path
        file.write(text)
