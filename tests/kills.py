"""Serves a case and kills it, again and again: what it had told, and what its log then holds.

`python tests/kills.py KILLS` prints the figures. A line is told when a page is sent a view of it,
and an entry when it is answered with 204. Voice and several hands overlap: see driver.py.
"""

from __future__ import annotations

import json
import random
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import driver
import httpx
from theatre import TOKEN

from voicecheck.core.codec import encode
from voicecheck.core.facts import decode_record
from voicecheck.core.inputs import Entered
from voicecheck.core.replay import replay
from voicecheck.display.view import view
from voicecheck.journal import read

DRIVER = Path(driver.__file__)
CASES = 8
HANDS = 3
_NUMBERS = count(1_000_000)
"""Each entry has its own in the place of the line shown. No log is as long, so none is stale."""


@dataclass
class Told:
    """What a case told before it was killed."""

    views: dict[int, Any] = field(default_factory=dict)
    """The views that a page was sent, by the line that each shows."""
    acknowledged: list[Entered] = field(default_factory=list)


def killed(log: Path, seed: int, after_s: float, *how: str) -> Told:
    """Serve the case, and kill it some time after its page was first sent a view."""
    told, first = Told(), threading.Event()
    command = [sys.executable, str(DRIVER), str(log), str(seed), *how]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        url = next(
            line.split()[-1].rstrip("/") for line in process.stdout if "Prompt display" in line
        )
        threads = [threading.Thread(target=_read_on, args=(process.stdout,))]
        threads += [threading.Thread(target=_follow, args=(url, told, first))]
        threads += [
            threading.Thread(target=_enter, args=(url, told, hand, random.Random(seed + hand)))  # noqa: S311
            for hand in range(HANDS)
        ]
        for thread in threads:
            thread.start()
        assert first.wait(60)
        time.sleep(after_s)
        process.kill()
        for thread in threads:
            thread.join()
    return told


def _read_on(output: Any) -> None:
    for _ in output:
        pass


def _follow(url: str, told: Told, first: threading.Event) -> None:
    with _until_it_is_gone(), httpx.stream("GET", f"{url}/events", timeout=20) as answer:
        for line in answer.iter_lines():
            if line.startswith("data: ") and '"view":' in line:
                shown = json.loads(line[6:])["view"]
                told.views[shown["line"]] = _lasting(shown)
                first.set()


def _enter(url: str, told: Told, hand: int, chance: random.Random) -> None:
    """One after another, from an address of its own (RFC 1122, 3.2.1.3: all of 127.0.0.0/8)."""
    headers = {"Origin": url, "Authorization": f"Bearer {TOKEN}"}
    transport = httpx.HTTPTransport(local_address=f"127.0.0.{2 + hand}")
    with _until_it_is_gone(), httpx.Client(headers=headers, transport=transport) as client:
        while True:
            entered = Entered(text=chance.choice(driver.PHRASES), line=next(_NUMBERS))
            entry = {"phrase": entered.text, "line": entered.line}
            answer = client.post(f"{url}/entry", json=entry, timeout=20)
            if answer.status_code == 204:
                told.acknowledged.append(entered)
            elif answer.status_code == 429:
                time.sleep(0.2)


@contextmanager
def _until_it_is_gone() -> Iterator[None]:
    try:
        yield
    except httpx.TransportError:
        return


def shown_by(lines: tuple[bytes, ...]) -> Any:
    """What a page shows of a log with these lines."""
    case = replay(lines)
    shown = _lasting(encode(view(case, case.last, listening=True)))
    case.close()
    return shown


def _lasting(shown: Any) -> Any:
    """A view without what may change between two lines: whether the machine speaks."""
    return {**shown, "machine": {**shown["machine"], "hearing": "", "word": ""}}


def lost(log: Path, told: Told) -> list[object]:
    """What was told and is not in the log, or not as it was told."""
    lines = read(log).lines
    causes = [decode_record(line).cause for line in lines]
    entered = [cause for cause in causes if isinstance(cause, Entered)]
    missing: list[object] = [each for each in told.acknowledged if entered.count(each) != 1]
    missing += [number for number in told.views if number > len(lines)]
    last = max(told.views)
    if last <= len(lines) and shown_by(lines[:last]) != told.views[last]:
        missing.append(told.views[last])
    return missing


@dataclass
class Figures:
    """What many kills came to."""

    kills: int = 0
    acknowledged: int = 0
    shown: int = 0
    lines: int = 0
    lost: list[object] = field(default_factory=list)

    def __str__(self) -> str:
        return (
            f"{self.kills} kills: {self.acknowledged} entries acknowledged, {self.shown} lines "
            f"shown, {len(self.lost)} lost; {self.lines} lines kept"
        )


def series(log: Path, kills: int, seed: int) -> Figures:
    """Kill one case and take it up again so many times."""
    chance, figures = random.Random(seed), Figures(kills=kills)  # noqa: S311  # moments
    everything = Told()
    for kill in range(kills):
        told = killed(log, 1000 * seed + kill, chance.expovariate(1 / 0.3))
        everything.acknowledged += told.acknowledged
        figures.lost += lost(log, told)
        figures.shown += len(told.views)
    figures.lost += lost(log, Told(views=told.views, acknowledged=everything.acknowledged))
    figures.acknowledged, figures.lines = len(everything.acknowledged), len(read(log).lines)
    return figures


def run(folder: Path, kills: int) -> Figures:
    """So many kills, spread over several cases, four at a time."""

    def one_of(number: int) -> Figures:
        share = kills // CASES + (number < kills % CASES)
        return series(folder / f"{number}.log", share, number)

    with ThreadPoolExecutor(4) as pool:
        done = list(pool.map(one_of, range(min(CASES, kills))))
    return Figures(
        kills=sum(one.kills for one in done),
        acknowledged=sum(one.acknowledged for one in done),
        shown=sum(one.shown for one in done),
        lines=sum(one.lines for one in done),
        lost=[what for one in done for what in one.lost],
    )


if __name__ == "__main__":
    with TemporaryDirectory() as place:
        print(run(Path(place), int(sys.argv[1])))
