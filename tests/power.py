"""Cuts the power of processes that write a log: what they were told to keep must still be there.

The system calls of a real journal are recorded and applied to the model in disk.py.
"""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from copy import deepcopy
from dataclasses import dataclass, field
from itertools import product
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from types import ModuleType
from typing import Any
from unittest.mock import patch

from disk import Call, Disk, Left, by_chance, every

LOG = Path("new", "cases", "case.log")

SECTORS = (512, 4096)
"""Bytes that a disk writes as one: both sizes in use (IDEMA, Advanced Format)."""

CASES = {
    log.stem: log.read_bytes().splitlines()
    for log in sorted((Path(__file__).parent / "golden").glob("*/*.log"))
}
"""Whole invented cases, from the opening to the close."""

SHORT = min(CASES.values(), key=len)[-3:]
"""The end of one; its last line closes the record."""


@contextmanager
def in_memory() -> Iterator[Path]:
    """An empty folder, in memory if there is one: what need not wait for a disk."""
    memory = Path("/dev/shm")  # noqa: S108
    with TemporaryDirectory(dir=memory if memory.is_dir() else None) as folder:
        yield Path(folder).resolve()


class Lost(Exception):
    """The log does not hold what it must: says what is lost."""


# ---------------------------------------------------------------------------------- the processes


class Killed(BaseException):
    """The process ends here; nothing in it can prevent that."""


@dataclass(kw_only=True)
class Recorder:
    """Records the calls of a process below a folder, and ends the process where it is told to."""

    root: Path
    killed_at: int = -1
    """The call, from 0, before which the process is killed."""
    fails_at: int = -1
    """The call from which on fsync fails."""
    most: int = 1 << 30
    """Bytes that one write takes; POSIX lets write(2) take fewer than it is given."""
    calls: list[Call] = field(default_factory=list)
    _open: dict[int, Path] = field(default_factory=dict)

    def note(self, kind: str, path: Path = LOG, at: int = 0, content: bytes = b"") -> None:
        if len(self.calls) == self.killed_at:
            raise Killed
        self.calls.append(Call(kind=kind, path=path, at=at, content=content))

    @contextmanager
    def recording(self) -> Iterator[None]:
        """What the process does meanwhile is recorded."""
        with patch.multiple(
            os,
            open=self._opened,
            mkdir=self._made,
            write=self._written,
            ftruncate=self._cut,
            fsync=self._synced,
        ):
            yield

    def _opened(self, path: Path, flags: int, mode: int = 0o777) -> int:
        below = path.relative_to(self.root) if path.is_relative_to(self.root) else None
        if below and flags & os.O_CREAT and not path.exists():
            self.note("name", below)
        descriptor = REAL_OPEN(path, flags, mode)
        self._open.pop(descriptor, None)
        if below:
            self._open[descriptor] = below
        return descriptor

    def _made(self, path: Path, mode: int = 0o777) -> None:
        if path.parent.exists():
            self.note("folder", path.relative_to(self.root))
        REAL_MKDIR(path, mode)

    def _written(self, descriptor: int, content: bytes) -> int:
        part, at = content[: self.most], os.lseek(descriptor, 0, os.SEEK_CUR)
        if part:
            self.note("write", self._open[descriptor], at, part)
        return REAL_WRITE(descriptor, part)

    def _cut(self, descriptor: int, size: int) -> None:
        self.note("cut", self._open[descriptor], size)
        REAL_CUT(descriptor, size)

    def _synced(self, descriptor: int) -> None:
        fails = 0 <= self.fails_at <= len(self.calls)
        if descriptor in self._open:  # not a folder above the disk
            self.note("sync failed" if fails else "sync", self._open[descriptor])
            if fails:
                raise OSError(errno.EIO, "the disk lost a block")


ENDS = ("killed_at", "fails_at")
REAL_OPEN, REAL_MKDIR, REAL_WRITE, REAL_CUT = os.open, os.mkdir, os.write, os.ftruncate


def lay(left: Left, root: Path) -> None:
    """Make the folder hold exactly what is left on the disk."""
    shutil.rmtree(root, ignore_errors=True)
    root.mkdir()
    for path, content in left.items():
        if content is None:
            (root / path).mkdir(exist_ok=True)
        else:
            (root / path).write_bytes(content)


def opened(journal: ModuleType, root: Path, lines: Sequence[bytes], disk: Disk) -> Any:
    """The log, taken up or begun; raises Lost if people were told of more than it holds."""
    path = root / LOG
    if not path.exists() and (disk.told or disk.kept):
        raise Lost("the log is gone")
    log = (journal.Journal.reopen if path.exists() else journal.Journal.create)(path)
    found, beside = log.found.lines, [each.read_bytes() for each in path.parent.glob("*.torn-*")]
    if found != tuple(lines[: len(found)]):
        raise Lost("the log holds what nobody wrote")
    if len(found) < disk.told:
        raise Lost(f"{disk.told} lines were told, {len(found)} are kept")
    if any(torn not in beside for torn in disk.kept):
        raise Lost("a torn end is gone")
    return log


def run(journal: ModuleType, recorder: Recorder, lines: Sequence[bytes], disk: Disk) -> bool:
    """One process takes the log up and writes what is missing; returns whether it came to the end.

    If it is killed or the log fails, what it did until then counts. Raises Lost.
    """
    ended = False
    with suppress(Killed, journal.JournalError), recorder.recording():
        with opened(journal, recorder.root, lines, disk) as log:
            if log.found.torn:
                recorder.note("kept", content=log.found.torn)
            recorder.note("told", at=len(log.found.lines))
            for number in range(len(log.found.lines), len(lines)):
                log.append(lines[number])
                recorder.note("told", at=number + 1)
        ended = True
    for call in recorder.calls:
        disk.feel(call)
    return ended


# ---------------------------------------------------------------------------- the losses of power


@dataclass(kw_only=True)
class PowerLoss:
    """Cuts the power of processes that write a case; its methods raise Lost."""

    journal: ModuleType
    root: Path
    lines: Sequence[bytes]
    sector: int
    most: int = 1 << 30
    """Bytes that one write takes."""
    disks: int = 0
    """How many were taken up after a loss of power."""
    _seen: set[Any] = field(default_factory=set)

    def everywhere(self, times: int, left: Left | None = None) -> None:
        """Cut it before and after each call, as many times, and take up each possible disk.

        Before each cut, do so also after a first process that was killed, or whose fsync failed, at
        each call.
        """
        self._after(left or {Path(): None}, 0, (), times)

    def by_chance(self, chance: Random) -> None:
        """Write the whole case through kills, failed fsyncs and losses of power."""
        disk, ended = self._disk({Path(): None}, 0, ()), False
        while not ended:
            how = chance.choice(ENDS)
            recorder = self._recorder(how, round(chance.expovariate(1 / 25)))
            ended = run(self.journal, recorder, self.lines, disk)
            if ended or chance.random() < 0.7:
                disk = self._disk(disk.left(by_chance(chance)), disk.told, disk.kept)
        self._whole(self._recorder(), disk)

    def _after(self, left: Left, told: int, kept: tuple[bytes, ...], times: int) -> None:
        state = (tuple(sorted(left.items())), told, kept, times)
        if state in self._seen:
            return
        self._seen.add(state)
        whole = self._recorder()
        self._whole(whole, self._disk(left, told, kept))
        if not times:
            return
        self._each_end(self._disk(left, told, kept), whole.calls, times - 1)
        for number, how in product(range(len(whole.calls)), ENDS):
            disk, again = self._disk(left, told, kept), self._recorder()
            if not run(self.journal, self._recorder(how, number), self.lines, disk):
                after = deepcopy(disk)
                self._whole(again, disk)
                self._each_end(after, again.calls, times - 1)

    def _whole(self, recorder: Recorder, disk: Disk) -> None:
        """Run a process that nothing interrupts."""
        if not run(self.journal, recorder, self.lines, disk):
            raise Lost("the log takes no more lines")

    def _each_end(self, disk: Disk, calls: Sequence[Call], times: int) -> None:
        """Lose the power before, between and after the calls."""
        for count in range(len(calls) + 1):
            for left in every(disk.left):
                self._after(left, disk.told, disk.kept, times)
            if count < len(calls):
                disk.feel(calls[count])

    def _disk(self, left: Left, told: int, kept: tuple[bytes, ...]) -> Disk:
        """The disk when the power is back; what is torn on it must not vanish."""
        self.disks += 1
        lay(left, self.root)
        path = self.root / LOG
        torn = self.journal.read(path).torn if path.exists() else b""
        return Disk(self.sector, left, told, (*kept, torn) if torn else kept)

    def _recorder(self, how: str = "", number: int = 0) -> Recorder:
        recorder = Recorder(root=self.root, most=self.most)
        if how:
            setattr(recorder, how, number)
        return recorder
