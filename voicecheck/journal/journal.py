"""An append-only log file: durable before `append` returns, locked against a second writer.

One failure poisons an open journal: after a failed write or fsync nobody knows what is on the disk.
Only reopening, which reads what is there, may go on (Rebello et al., "Can Applications Recover from
fsync Failures?", USENIX ATC 2020).
"""

from __future__ import annotations

import contextlib
import os
from itertools import count
from typing import TYPE_CHECKING, Self

from voicecheck.journal import files
from voicecheck.journal.content import LONGEST, Content, content, fault
from voicecheck.journal.files import JournalError

if TYPE_CHECKING:
    from pathlib import Path


def read(path: Path) -> Content:
    """Everything in the log at `path`, which may be open elsewhere; raises JournalError."""
    with files.sentences(path), os.fdopen(files.open_regular(path, os.O_RDONLY), "rb") as file:
        return content(file)


class Journal:
    """A log open for appending, by one process at a time; see `create` and `reopen`."""

    def __init__(self, path: Path, descriptor: int, found: Content) -> None:
        self.path = path
        self.found = found
        """What the file held when it was opened; its torn end has already been moved away."""
        self._size = _size(found.lines)
        self._descriptor: int | None = descriptor
        self._why_not = ""

    @classmethod
    def create(cls, path: Path) -> Self:
        """Create a log and the folders above it; raises JournalError if the file exists."""
        with files.sentences(path):
            path.parent.mkdir(parents=True, exist_ok=True)
            descriptor = files.open_regular(path, os.O_RDWR | os.O_CREAT | os.O_EXCL)
            with files.closed_on_error(descriptor):
                files.lock(descriptor, path)
                files.sync_names(path)
        return cls(path, descriptor, Content(lines=(), torn=b""))

    @classmethod
    def reopen(cls, path: Path) -> Self:
        """Continue a log after a stop of any kind; raises JournalError.

        A last line that lacks only its newline gets it. Any other torn end is first moved to
        `<name>.torn-<n>` beside the log.
        """
        with files.sentences(path):
            descriptor = files.open_regular(path, os.O_RDWR)
            with files.closed_on_error(descriptor):
                files.lock(descriptor, path)
                files.sync_names(path)  # whoever made them may have been killed before
                with os.fdopen(descriptor, "rb", closefd=False) as file:
                    found = content(file)
                _set_aside(path, descriptor, found)
                _write_last_again(descriptor, found)
        return cls(path, descriptor, found)

    def append(self, line: bytes) -> None:
        """Write one line; returns once it is durable. After one JournalError every call raises.

        Raises ValueError for a line with a newline or a zero byte, which no JSON text holds raw.
        """
        if b"\n" in line or b"\0" in line:
            raise ValueError("a line of the log must not contain a newline or a zero byte")
        if self._descriptor is None:
            raise JournalError(f"{self.path} is closed: open the case again to go on.")
        if self._why_not:
            raise JournalError(
                f"Nothing more is written to {self.path}, because an earlier line failed "
                f"({self._why_not}): mend that, then resume the case."
            )
        try:
            with files.sentences(self.path):
                self._append(self._descriptor, line + b"\n")
        except BaseException as error:
            self._why_not = str(error) or type(error).__name__
            raise

    def _append(self, descriptor: int, line: bytes) -> None:
        if len(line) > LONGEST:
            raise files.unusable(
                self.path,
                f"a line of it would be longer than {LONGEST} bytes",
                "make the procedure file shorter",
            )
        files.check_ours(descriptor, self.path, self._size)
        files.write(descriptor, line)
        os.fsync(descriptor)
        self._size += len(line)
        files.check_ours(descriptor, self.path, self._size)

    def close(self) -> None:
        """Release the log for another process; harmless if already closed."""
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _size(lines: tuple[bytes, ...]) -> int:
    """Bytes of the lines with their newlines."""
    return sum(len(line) + 1 for line in lines)


# --------------------------------------------------------------------------------- after a failure


def _set_aside(path: Path, descriptor: int, found: Content) -> None:
    """Move the torn end beside the log; it is durable there before it is cut from the log."""
    if len(found.torn) > LONGEST:
        raise files.unusable(
            path,
            f"line {len(found.lines) + 1}: {fault(found.torn)}",
            "nothing in it was changed; give this case another name",
        )
    if found.torn:
        _keep_beside(path, found.torn)
        os.ftruncate(descriptor, os.fstat(descriptor).st_size - len(found.torn))


def _keep_beside(path: Path, torn: bytes) -> None:
    for number in count(1):
        with contextlib.suppress(FileExistsError):
            beside = path.with_name(f"{path.name}.torn-{number}")
            descriptor = files.open_regular(beside, os.O_RDWR | os.O_CREAT | os.O_EXCL)
            break
    try:
        files.write(descriptor, torn)
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
    files.sync_folder(path.parent)


def _write_last_again(descriptor: int, found: Content) -> None:
    """Write the last line again, with its newline, and stay at the end.

    After a failed fsync the system may hold a line in memory that it will never write.
    """
    last = found.lines[-1] + b"\n" if found.lines else b""
    os.lseek(descriptor, _size(found.lines) - len(last), os.SEEK_SET)
    files.write(descriptor, last)
    os.fsync(descriptor)
