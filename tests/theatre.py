"""A served case as the theatre sees it: its own process, its page's news, its keys, its log."""

from __future__ import annotations

import fcntl
import json
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx

from voicecheck.core.facts import Record, decode_record
from voicecheck.journal import read

TOKEN = "an-invented-token-0123"  # noqa: S105
PROGRAM = Path(sys.executable).with_name("voicecheck")
PATIENCE_S = 60.0
"""For whatever must happen at all; how fast is for the benchmark to say."""


class Theatre:
    """A running `voicecheck serve`, and what its page was sent: (monotonic seconds, View)."""

    def __init__(
        self,
        folder: Path,
        *options: str,
        case: str = "invented",
        environment: Mapping[str, str] | None = None,
        wrap: tuple[str, ...] = (),
        sound: int = subprocess.DEVNULL,
        unread: bool = False,
    ) -> None:
        """`sound` is its standard input. `unread`: once it serves, nobody takes its output."""
        self.log = folder / f"{case}.log"
        self._unread = unread
        self.still = False
        self.views: list[tuple[float, dict[str, Any]]] = []
        self.output: list[str] = []
        self._news = threading.Condition()
        command = [*wrap, str(PROGRAM), "serve", "--case", case, "--case-dir", str(folder)]
        self.process = subprocess.Popen(
            [*command, "--port", "0", "--token", TOKEN, *options],
            env=environment,
            stdin=sound,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self._threads = [threading.Thread(target=self._read, daemon=True)]
        self._threads[0].start()

    # ------------------------------------------------------------------------------ what it tells

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            with self._news:
                self.output.append(line)
                self._news.notify_all()
            if line.startswith("Prompt display: "):
                self._url = line.split()[-1].rstrip("/")
                follower = threading.Thread(target=self._follow, daemon=True)
                self._threads.append(follower)
                follower.start()
                if self._unread:
                    fcntl.fcntl(self.process.stdout, fcntl.F_SETPIPE_SZ, 4096)
                    return
        with self._news:
            self._news.notify_all()

    def _follow(self) -> None:
        try:
            with httpx.stream("GET", f"{self._url}/events", timeout=10) as answer:
                for line in answer.iter_lines():
                    if line.startswith("event: "):
                        self.still = line == "event: still"
                    if line.startswith("data: ") and '"view":' in line:
                        with self._news:
                            self.views.append((time.monotonic(), json.loads(line[6:])["view"]))
                            self._news.notify_all()
        except httpx.HTTPError:
            return  # the process has ended

    @property
    def entry_address(self) -> str:
        """Of the page for entry by hand."""
        return f"{self._url}/entry?token={TOKEN}"

    def until(self, true: Callable[[], bool], what: str) -> None:
        """Wait until it is true; fails with what the program said."""
        until_s = time.monotonic() + PATIENCE_S
        while not true():
            over = time.monotonic() > until_s or self.process.poll() is not None
            assert not over or true(), f"no {what}; {self.text[-2000:]}"
            with self._news:
                self._news.wait(0.05)

    def until_view(self, true: Callable[[dict[str, Any]], bool], what: str) -> float:
        """When the first view came that is so, of those that came and come, from the last on."""
        start = max(0, len(self.views) - 1)

        def found() -> bool:
            return any(true(view) for _, view in self.views[start:])

        self.until(found, what)
        return next(at_s for at_s, view in self.views[start:] if true(view))

    @property
    def text(self) -> str:
        return "".join(self.output)

    @property
    def records(self) -> list[Record]:
        """The log so far."""
        return [decode_record(line) for line in read(self.log).lines] if self.log.exists() else []

    @property
    def facts(self) -> list[str]:
        return [type(record.fact).__name__ for record in self.records]

    def until_fact(self, name: str, after: int = 0) -> Record:
        """The first such fact beyond so many lines."""

        def found() -> Iterator[Record]:
            return (r for r in self.records[after:] if type(r.fact).__name__ == name)

        self.until(lambda: any(True for _ in found()), name)
        return next(found())

    # ------------------------------------------------------------------------------- what is done

    def ready(self) -> None:
        """Wait until the first view is shown."""
        self.until(lambda: bool(self.views), "view")

    def enter(self, phrase: str) -> float:
        """Put a phrase in by hand as the page does; when that was."""
        at_s = time.monotonic()
        self.post(phrase).raise_for_status()
        return at_s

    def post(self, phrase: str, line: int = 0) -> httpx.Response:
        """What an entry is answered, made while the page shows this line (0: unknown)."""
        headers = {"Origin": self._url, "Authorization": f"Bearer {TOKEN}"}
        entry = {"phrase": phrase, "line": line}
        return httpx.post(f"{self._url}/entry", headers=headers, json=entry, timeout=PATIENCE_S)

    def end(self, number: int = signal.SIGTERM) -> int:
        """Ask it to end; its exit code."""
        self.process.send_signal(number)
        return self.ended()

    def ended(self) -> int:
        """Wait until it has ended by itself; its exit code."""
        code = self.process.wait(PATIENCE_S)
        for thread in self._threads:
            thread.join(5)
        assert self.process.stdout is not None
        self.process.stdout.close()
        return code


@contextmanager
def theatre(
    folder: Path,
    *options: str,
    case: str = "invented",
    environment: Mapping[str, str] | None = None,
    wrap: tuple[str, ...] = (),
    sound: int = subprocess.DEVNULL,
    unread: bool = False,
) -> Iterator[Theatre]:
    """A case being served, ready for use; killed at the end if it still runs."""
    served = Theatre(
        folder,
        *options,
        case=case,
        environment=environment,
        wrap=wrap,
        sound=sound,
        unread=unread,
    )
    try:
        served.ready()
        yield served
    finally:
        if served.process.poll() is None:
            served.process.kill()
        served.ended()
