"""Strangers at the display's door: `strangers.py LOAD PORT TOKEN`, until standard input closes.

They come in a process of their own, at the lowest priority: as from another machine, they must not
take the processor from what is tested. At the end it prints how often each status was answered.
Sources of the loads: the issue, point 12; slow headers are known as slowloris (R. Hansen, 2009).
"""

from __future__ import annotations

import asyncio
import json
import os
import subprocess
import sys
from collections import Counter
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

ELSEWHERE = "127.0.0.2"
"""Another address of this machine: all of 127.0.0.0/8 is (RFC 1122, 3.2.1.3)."""


@dataclass
class Door:
    """What is attacked, and what it answered."""

    port: int
    token: str
    answers: Counter[str] = field(default_factory=Counter)
    come_from: str = "127.0.0.1"

    async def open(self) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        return await asyncio.open_connection("127.0.0.1", self.port, local_addr=(self.come_from, 0))

    def head(self, first: str, *lines: str) -> bytes:
        """A request's header."""
        ours = f"Host: 127.0.0.1:{self.port}", f"Origin: http://127.0.0.1:{self.port}"
        return "\r\n".join((f"{first} HTTP/1.1", *ours, *lines, "", "")).encode()

    async def ask(self, request: bytes, times: int = 1) -> None:
        """Send a request so many times on one connection, and read the answers."""
        reader, writer = await self.open()
        try:
            for _ in range(times):
                writer.write(request)
                await self.read(reader)
        finally:
            writer.close()

    async def read(self, reader: asyncio.StreamReader) -> None:
        """Read one answer and count its status."""
        head = await reader.readuntil(b"\r\n\r\n")
        self.answers[head.split()[1].decode()] += 1
        length = head.lower().partition(b"content-length: ")[2].split(b"\r\n")[0]
        await reader.readexactly(int(length or 0))


# ------------------------------------------------------------------------------------- the loads


async def _idle(door: Door) -> None:
    """A connection that says nothing; closed, it comes again."""
    reader, writer = await door.open()
    await reader.read()
    writer.close()


async def _slow_header(door: Door) -> None:
    """A header that grows by a letter at a time and never ends."""
    _, writer = await door.open()
    writer.write(b"GET / HTTP/1.1\r\nX: ")
    try:
        while not writer.is_closing():
            writer.write(b"x")
            await writer.drain()
            await asyncio.sleep(0.2)
    finally:
        writer.close()


async def _endless(door: Door, *lines: str) -> None:
    reader, writer = await door.open()
    writer.write(door.head("POST /entry", "Transfer-Encoding: chunked", *lines))

    async def pour() -> None:
        while True:
            writer.write(b"10000\r\n" + bytes(65536) + b"\r\n")
            await writer.drain()

    try:
        await asyncio.gather(door.read(reader), pour(), return_exceptions=True)
    finally:
        writer.close()


async def _endless_body(door: Door) -> None:
    """A body that never ends, without a token."""
    await _endless(door)


async def _endless_entry(door: Door) -> None:
    """The same with the token, from another address than the nurse's."""
    door.come_from = ELSEWHERE
    await _endless(door, f"Authorization: Bearer {door.token}")


async def _pages(door: Door) -> None:
    """Pages, one after another."""
    await door.ask(door.head("GET /"), times=100)


async def _readers(door: Door) -> None:
    """A stream that is read on and on."""
    reader, writer = await door.open()
    writer.write(door.head("GET /events"))
    head = await reader.readuntil(b"\r\n\r\n")
    door.answers[head.split()[1].decode()] += 1
    while await reader.read(65536):
        pass
    writer.close()


async def _entries(door: Door) -> None:
    """Entries with the right token, from another address than the nurse's."""
    body = json.dumps({"phrase": "checklist what is outstanding"}).encode()
    lines = f"Authorization: Bearer {door.token}", f"Content-Length: {len(body)}"
    door.come_from = ELSEWHERE
    await door.ask(door.head("POST /entry", *lines) + body, times=100)


async def _wrong_tokens(door: Door) -> None:
    """Guesses."""
    await door.ask(door.head("GET /keys", f"Authorization: Bearer {os.urandom(12).hex()}"))


LOADS: dict[str, tuple[Callable[[Door], Awaitable[None]], int]] = {
    "31 idle": (_idle, 31),
    "500 idle": (_idle, 500),
    "slow headers": (_slow_header, 500),
    "endless body": (_endless_body, 8),
    "endless entry": (_endless_entry, 8),
    "pages": (_pages, 32),
    "readers": (_readers, 500),
    "entries": (_entries, 16),
    "wrong tokens": (_wrong_tokens, 64),
}
"""What each stranger does, and how many there are at one time."""


async def _again_and_again(door: Door, act: Callable[[Door], Awaitable[None]]) -> None:
    while True:
        with suppress(OSError, asyncio.IncompleteReadError):
            await act(door)
        await asyncio.sleep(0.01)


async def _main(load: str, port: int, token: str) -> None:
    os.nice(19)
    door, (act, count) = Door(port, token), LOADS[load]
    loads = [asyncio.create_task(_again_and_again(door, act)) for _ in range(count)]
    await asyncio.to_thread(sys.stdin.read)
    print(json.dumps(door.answers), flush=True)
    for each in loads:
        each.cancel()
    os._exit(0)


@contextmanager
def strangers(load: str, port: int, token: str) -> Iterator[Counter[str]]:
    """The load on that port meanwhile; afterwards how often each status was answered."""
    answers: Counter[str] = Counter()
    command = [sys.executable, str(Path(__file__)), load, str(port), token]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as crowd:
        try:
            yield answers
        finally:
            told, _ = crowd.communicate(timeout=60)
            answers.update(json.loads(told))


if __name__ == "__main__":
    asyncio.run(_main(sys.argv[1], int(sys.argv[2]), sys.argv[3]))
