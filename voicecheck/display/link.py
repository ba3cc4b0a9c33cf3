"""The parent's end of one child process of the display: starts it, feeds it, listens, ends it.

A message is one line: its kind, a space, and JSON or nothing. To the child, after its setup:
`view`, `beat` and `answer`. From the child: first `port` or `error`, then `alive` every second and
`entry`.
"""

from __future__ import annotations

import asyncio
import json
import sys
from contextlib import suppress
from typing import Any, Self

from voicecheck.core.inputs import Entered
from voicecheck.display.entries import Answer, Entries

OPENING_S = 20.0
"""Timeout for the child's first word; a busy machine took 0.5 to 2 s (measured)."""

SILENT_S = 10.0
"""A child that has not said for this long that it lives stands still."""


class DisplayError(Exception):
    """The display cannot be served: a sentence with cause and cure."""


class ChildFailed(Exception):
    """The display's process has ended or stands still."""


class Link:
    """One running child; used from one asyncio loop, except that entries are answered anywhere."""

    def __init__(self, process: asyncio.subprocess.Process, entries: Entries) -> None:
        assert process.stdin is not None  # noqa: S101
        assert process.stdout is not None  # noqa: S101
        self._process, self._entries = process, entries
        self._in, self._out = process.stdin, process.stdout
        self._loop = asyncio.get_running_loop()
        self.port = 0

    @classmethod
    async def open(cls, setup: dict[str, Any], entries: Entries) -> Self:
        """Start a child; raises DisplayError with its sentence if it cannot serve."""
        try:
            process = await asyncio.create_subprocess_exec(
                *(sys.executable, "-m", "voicecheck.display.child"),
                stdin=asyncio.subprocess.PIPE,
                stdout=asyncio.subprocess.PIPE,
                stderr=asyncio.subprocess.DEVNULL,
            )
        except OSError as error:
            raise DisplayError(
                f"The display's process does not start ({error}): free some memory, then try again."
            ) from error
        link = cls(process, entries)
        try:
            link.port = await link._opened(setup)
        except BaseException:
            await link.close()
            raise
        return link

    @property
    def process(self) -> int:
        """The child's process id."""
        return self._process.pid

    async def _opened(self, setup: dict[str, Any]) -> int:
        with suppress(ChildFailed, TimeoutError):
            await self.tell("setup", json.dumps(setup).encode())
            kind, said = await asyncio.wait_for(self._next(), OPENING_S)
            if kind == "error":
                raise DisplayError(said)
            return int(said)
        raise DisplayError("The prompt display did not start; start the program again.")

    async def tell(self, kind: str, content: bytes = b"") -> None:
        """Send a message; raises ChildFailed if the child is gone."""
        try:
            self._in.write(kind.encode() + b" " + content + b"\n")
            await self._in.drain()
        except (OSError, RuntimeError) as error:
            raise ChildFailed(_gone(self._process.returncode)) from error

    async def listen(self) -> None:
        """Take entries until the child fails; then raise ChildFailed."""
        while True:
            try:
                kind, said = await asyncio.wait_for(self._next(), SILENT_S)
            except TimeoutError as error:
                raise ChildFailed(_STANDS_STILL) from error
            if kind == "entry":
                self._offer(**said)

    async def _next(self) -> tuple[str, Any]:
        line = await self._out.readline()
        if not line.endswith(b"\n"):
            with suppress(TimeoutError):
                await asyncio.wait_for(self._process.wait(), 1)
            raise ChildFailed(_gone(self._process.returncode))
        kind, _, content = line.decode().partition(" ")
        return kind, json.loads(content)

    def _offer(self, *, number: int, phrase: str, line: int, at_s: float) -> None:
        def answer(given: Answer) -> None:
            content = json.dumps([number, given.status, given.sentence]).encode()
            with suppress(RuntimeError):  # the display has ended
                self._loop.call_soon_threadsafe(self._in.write, b"answer " + content + b"\n")

        self._entries.offer(Entered(text=phrase, line=line), at_s, answer)

    async def close(self) -> None:
        """End the child: first by closing its input, then by force."""
        self._in.close()
        try:
            await asyncio.wait_for(self._process.wait(), 3)
        except TimeoutError:
            with suppress(ProcessLookupError):
                self._process.kill()
            await self._process.wait()


def _gone(code: int | None) -> str:
    how = "" if code is None else f" (signal {-code})" if code < 0 else f" (exit code {code})"
    return f"The display's server has stopped{how}: it is being restarted."


_STANDS_STILL = "The display's server stands still: it is being restarted."
