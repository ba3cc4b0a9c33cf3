"""A model of a disk: every state that it may be in when the power goes.

POSIX promises no more than this: what fsync(2) returned for is on the disk, the bytes of a file or
the names in a folder. Until then each sector holds any of its versions, or zeros if it is new; the
file has any size on the way; a new name is there or not. So writes are lost, reordered or torn, and
blocks whose allocation was delayed are zeros (Pillai et al., "All File Systems Are Not Created
Equal", OSDI 2014). After a failed fsync the memory shows what the disk may never get (Rebello et
al., "Can Applications Recover from fsync Failures?", USENIX ATC 2020).

The model has no disk that loses what it had confirmed, and no sectors with bytes of other files.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any

Choose = Callable[[Sequence[Any]], Any]
"""Takes one of several possibilities."""

Left = dict[Path, bytes | None]
"""What is on a disk, by path from its root: the bytes of a file, or None for a folder."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Call:
    """A system call that changes the disk, or a word to people, who then rely on it."""

    kind: str
    path: Path
    at: int = 0
    """The offset of a write, the size of a cut; how many lines people were told of."""
    content: bytes = b""


class _File:
    """The bytes of one file: as processes see them, and as they may be on the disk."""

    def __init__(self, sector: int, content: bytes) -> None:
        self._sector, self._now = sector, content
        self._may = {number: [self._of(number)] for number in range(self._count(len(content)))}
        self._sizes = [len(content)]
        self._dirty: set[int] = set()

    def _count(self, size: int) -> int:
        return -(-size // self._sector)

    def _of(self, number: int) -> bytes:
        """A sector as processes see it, with zeros after the end of the file."""
        begin = number * self._sector
        return self._now[begin : begin + self._sector].ljust(self._sector, b"\0")

    def _changed(self, begin: int, end: int) -> None:
        for number in range(begin // self._sector, self._count(end)):
            self._dirty.add(number)
            versions = self._may.setdefault(number, [bytes(self._sector)])
            if self._of(number) not in versions:
                versions.append(self._of(number))

    def write(self, at: int, content: bytes) -> None:
        end, was = at + len(content), len(self._now)
        self._now = self._now[:at].ljust(at, b"\0") + content + self._now[end:]
        borders = range(self._count(was + 1) * self._sector, end, self._sector)
        self._sizes += [each for each in (*borders, len(self._now)) if each not in self._sizes]
        self._changed(at, end)

    def cut(self, size: int) -> None:
        was, self._now = len(self._now), self._now[:size]
        self._sizes += [size] if size not in self._sizes else []
        self._changed(size, was)

    def sync(self, *, fails: bool) -> None:
        """After a failure, too, the system takes the sectors for written, and never tries again."""
        if not fails:
            self._may |= {number: [self._of(number)] for number in self._dirty}
            self._sizes = [len(self._now)]
        self._dirty.clear()

    def left(self, choose: Choose) -> bytes:
        size = choose(self._sizes)
        return b"".join(choose(self._may[each]) for each in range(self._count(size)))[:size]


class Disk:
    """Everything that may be on the disk, and what people rely on."""

    def __init__(
        self, sector: int, left: Left, told: int = 0, kept: tuple[bytes, ...] = ()
    ) -> None:
        self.told, self.kept = told, kept
        """Lines that were acknowledged; torn ends that must be kept beside the log."""
        self._sector, self._durable = sector, dict.fromkeys(left, True)
        self._files = {
            path: _File(sector, content) for path, content in left.items() if content is not None
        }

    def feel(self, call: Call) -> None:
        """Take a call in."""
        match call.kind:
            case "told":
                self.told = max(self.told, call.at)
            case "kept":
                self.kept = (*self.kept, call.content)
            case "folder":
                self._durable[call.path] = False
            case "name":
                self._durable[call.path] = False
                self._files[call.path] = _File(self._sector, b"")
            case "write":
                self._files[call.path].write(call.at, call.content)
            case "cut":
                self._files[call.path].cut(call.at)
            case _:
                self._synced(call.path, fails=call.kind == "sync failed")

    def _synced(self, path: Path, *, fails: bool) -> None:
        if path in self._files:
            self._files[path].sync(fails=fails)
        elif not fails:
            self._durable |= {each: True for each in self._durable if each.parent == path}

    def left(self, choose: Choose) -> Left:
        """One state that a loss of power now may leave."""
        there: Left = {Path(): None}
        for path in sorted(self._durable):
            is_there = path.parent in there and (self._durable[path] or choose((False, True)))
            if is_there:
                there[path] = self._files[path].left(choose) if path in self._files else None
        return there


def every(states: Callable[[Choose], Left]) -> Iterator[Left]:
    """All states, one for each way to choose."""
    way: tuple[int, ...] | None = ()
    while way is not None:
        chooser = _Chooser(way)
        yield states(chooser)
        way = chooser.next_way()


class _Chooser:
    """Goes one way through all choices, at first as it is told, then by the first option."""

    def __init__(self, way: tuple[int, ...]) -> None:
        self._way, self._taken = way, list[tuple[int, int]]()

    def __call__(self, options: Sequence[Any]) -> Any:
        place = len(self._taken)
        number = self._way[place] if place < len(self._way) else 0
        self._taken.append((number, len(options)))
        return options[number]

    def next_way(self) -> tuple[int, ...] | None:
        """The way that differs at the last choice which has another option; None after all."""
        while self._taken:
            number, options = self._taken.pop()
            if number + 1 < options:
                return (*(each for each, _ in self._taken), number + 1)
        return None


def by_chance(chance: Random) -> Choose:
    """Choose at random: one disk mostly keeps what is new, another mostly what is old."""
    fresh = chance.choice((0.0, 0.5, 0.9))
    return lambda options: options[-1] if chance.random() < fresh else chance.choice(options)
