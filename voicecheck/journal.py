"""An append-only log file: durable before `append` returns, locked against a second writer.

It knows lines of bytes, not facts. One failure poisons an open journal: after a failed write or
fsync nobody knows what is on the disk. Only reopening, which reads what is there, may go on
(Rebello et al., "Can Applications Recover from fsync Failures?", USENIX ATC 2020).
"""

from __future__ import annotations

import contextlib
import errno
import os
import sys
from dataclasses import dataclass
from itertools import count
from typing import TYPE_CHECKING, Self

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl


class JournalError(Exception):
    """The log cannot be opened, read or written: a sentence with cause and cure."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Content:
    """What a log file holds."""

    lines: tuple[bytes, ...]
    """Whole lines, without their newline."""
    torn: bytes
    """What follows the last newline: a torn write, never acknowledged to anybody."""


def read(path: Path) -> Content:
    """Everything in the log at `path`, which may be open elsewhere; raises JournalError."""
    with _sentences(path):
        return _split(path.read_bytes())


class Journal:
    """A log open for appending, by one process at a time; see `create` and `reopen`."""

    def __init__(self, path: Path, descriptor: int, found: Content) -> None:
        self.path = path
        self.found = found
        """What the file held when it was opened; its torn tail has already been moved away."""
        self._descriptor: int | None = descriptor
        self._why_not = ""

    @classmethod
    def create(cls, path: Path) -> Self:
        """Create a log and the folders above it; raises JournalError if the file exists."""
        with _sentences(path):
            _make_folders(path.parent)
            descriptor = os.open(path, _FLAGS | os.O_CREAT | os.O_EXCL, 0o600)
            with _closed_on_error(descriptor):
                _lock(descriptor, path)
                _sync_folder(path.parent)
        return cls(path, descriptor, Content(lines=(), torn=b""))

    @classmethod
    def reopen(cls, path: Path) -> Self:
        """Continue a log after a stop of any kind; raises JournalError.

        A torn last line is first moved to `<name>.torn-<n>` beside the log.
        """
        with _sentences(path):
            descriptor = os.open(path, _FLAGS)
            with _closed_on_error(descriptor):
                _lock(descriptor, path)
                found = _split(path.read_bytes())
                _set_aside(path, descriptor, found)
                _write_last_again(descriptor, found)
        return cls(path, descriptor, found)

    def append(self, line: bytes) -> None:
        """Write one line; returns once it is durable. After one JournalError every call raises."""
        if b"\n" in line:
            raise ValueError("a line of the log must not contain a newline")
        if self._descriptor is None:
            raise JournalError(f"{self.path} is closed: open the case again to go on.")
        if self._why_not:
            raise JournalError(
                f"Nothing more is written to {self.path}, because an earlier line failed "
                f"({self._why_not}): mend that, then resume the case."
            )
        try:
            with _sentences(self.path):
                _write(self._descriptor, line + b"\n")
                os.fsync(self._descriptor)
        except BaseException as error:
            self._why_not = str(error) or type(error).__name__
            raise

    def close(self) -> None:
        """Release the log for another process; harmless if already closed."""
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


_FLAGS = os.O_RDWR | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)


def _split(content: bytes) -> Content:
    *lines, torn = content.split(b"\n")
    return Content(lines=tuple(lines), torn=torn)


def _write(descriptor: int, content: bytes) -> None:
    """Write all of it: the system may take only a part at a time."""
    while content:
        content = content[os.write(descriptor, content) :]


# --------------------------------------------------------------------------------- after a failure


def _set_aside(path: Path, descriptor: int, found: Content) -> None:
    """Move the torn tail beside the log; it is durable there before it is cut from the log."""
    if found.torn:
        _keep_beside(path, found.torn)
        os.ftruncate(descriptor, sum(len(line) + 1 for line in found.lines))
        os.fsync(descriptor)


def _keep_beside(path: Path, tail: bytes) -> None:
    for number in count(1):
        with contextlib.suppress(FileExistsError):
            beside = path.with_name(f"{path.name}.torn-{number}")
            descriptor = os.open(beside, _FLAGS | os.O_CREAT | os.O_EXCL, 0o600)
            break
    try:
        _write(descriptor, tail)
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
    _sync_folder(path.parent)


def _write_last_again(descriptor: int, found: Content) -> None:
    """Rewrite the last line, so that what we read is surely on the disk, and stay at the end.

    After a failed fsync the system may hold a line in memory that it will never write.
    """
    last = found.lines[-1] + b"\n" if found.lines else b""
    os.lseek(descriptor, sum(len(line) + 1 for line in found.lines) - len(last), os.SEEK_SET)
    _write(descriptor, last)
    os.fsync(descriptor)


# ------------------------------------------------------------------------------------- the system


def _make_folders(folder: Path) -> None:
    """Create the missing folders of the path, and make each new name durable."""
    missing = [part for part in (folder, *folder.parents) if not part.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    for part in missing:
        _sync_folder(part.parent)


def _sync_folder(folder: Path) -> None:
    """Make the names in a folder durable; Windows has no such call and needs none."""
    if sys.platform != "win32":
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _lock(descriptor: int, path: Path) -> None:
    """Lock the file until it is closed or this process ends in any way."""
    try:
        if sys.platform == "win32":
            os.lseek(descriptor, 1 << 40, os.SEEK_SET)  # past the end: others may still read
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
            os.lseek(descriptor, 0, os.SEEK_SET)
        else:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        if error.errno not in (errno.EAGAIN, errno.EACCES, errno.EDEADLK):
            raise
        raise JournalError(
            f"{path} is already open in another process: only one may run a case; "
            "end that one first."
        ) from error


@contextlib.contextmanager
def _closed_on_error(descriptor: int) -> Iterator[None]:
    try:
        yield
    except BaseException:
        os.close(descriptor)
        raise


@contextlib.contextmanager
def _sentences(path: Path) -> Iterator[None]:
    """Turn an error of the system into a sentence for people."""
    try:
        yield
    except OSError as error:
        cause, cure = _SENTENCES.get(error.errno or 0, (os.strerror(error.errno or 0), _CHECK))
        raise JournalError(f"The log {path} cannot be used: {cause}; {cure}.") from error


_CHECK = "check the disk and its permissions"
_SPACE = "free some space or choose another folder"
_RIGHTS = "choose a folder that you may write to"
_SENTENCES = {
    errno.EEXIST: ("it already exists", "resume that case, or give this one another name"),
    errno.ENOENT: ("there is no such file", "check the name of the case and its folder"),
    errno.ENOTDIR: ("a part of its path is a file", "choose another folder"),
    errno.EISDIR: ("it is a folder", "name a file in it"),
    errno.EACCES: ("access is denied", _RIGHTS),
    errno.EPERM: ("access is denied", _RIGHTS),
    errno.EROFS: ("the disk is read-only", _RIGHTS),
    errno.ENOSPC: ("the disk is full", _SPACE),
    errno.EDQUOT: ("the quota on this disk is used up", _SPACE),
    errno.EFBIG: ("the file has reached the largest size allowed", _SPACE),
    errno.EIO: ("the disk reports an error", "check the disk"),
}
