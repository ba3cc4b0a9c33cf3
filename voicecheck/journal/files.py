"""The system calls of a log: their errors as sentences, and whether the file is still ours.

The lock is on the file, not on its name. If another process takes the name for a new file, the
first one notices before its next line and writes no more. Windows lets nobody rename or delete an
open file. On NFS the lock holds between machines only if the mount shares locks, and a change by
another machine may be noticed seconds late (nfs(5)): keep the logs on a disk of this machine.
"""

from __future__ import annotations

import contextlib
import errno
import os
import stat
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl


class JournalError(Exception):
    """The log cannot be opened, read or written: a sentence with cause and cure."""


def open_regular(path: Path, flags: int) -> int:
    """Open a regular file. Refuse anything else at once: opening a pipe would wait."""
    flags |= sum(getattr(os, f"O_{name}", 0) for name in ("BINARY", "CLOEXEC", "NONBLOCK"))
    descriptor = os.open(path, flags, 0o600)
    with closed_on_error(descriptor):
        mode = os.fstat(descriptor).st_mode
        if not stat.S_ISREG(mode):
            raise OSError(errno.EISDIR if stat.S_ISDIR(mode) else errno.ENXIO, "not a file")
    return descriptor


def write(descriptor: int, content: bytes) -> None:
    """Write all of it: the system may take only a part at a time."""
    while content:
        content = content[os.write(descriptor, content) :]


def sync_names(path: Path) -> None:
    """Make durable the log's name and those of the folders above it, up to the disk's root."""
    sync_folder(path.parent)
    for folder in path.resolve().parents:
        with contextlib.suppress(PermissionError):  # we cannot have made it
            sync_folder(folder)
        if os.path.ismount(folder):
            break


def sync_folder(folder: Path) -> None:
    """Make the names in a folder durable; Windows has no such call and needs none."""
    if sys.platform != "win32":
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def lock(descriptor: int, path: Path) -> None:
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
    check_ours(descriptor, path, os.fstat(descriptor).st_size)


def check_ours(descriptor: int, path: Path, size: int) -> None:
    """Raise JournalError unless the path names the open file and the file has this size."""
    ours, back = os.fstat(descriptor), "put it back under this name, then resume the case"
    try:
        named = path.stat()
    except (FileNotFoundError, NotADirectoryError):
        if not ours.st_nlink:
            raise unusable(path, "it was deleted while it was open", _DELETED) from None
        raise unusable(path, "it was moved or renamed while it was open", back) from None
    if not os.path.samestat(named, ours):
        raise unusable(path, "another file took its place while it was open", back)
    if ours.st_size != size:
        raise unusable(
            path,
            f"another program changed it: it has {ours.st_size} bytes instead of {size}",
            "end that program, prove the log with `voicecheck verify`, then resume the case",
        )


@contextlib.contextmanager
def closed_on_error(descriptor: int) -> Iterator[None]:
    """Close the file if what is done with it fails."""
    try:
        yield
    except BaseException:
        os.close(descriptor)
        raise


@contextlib.contextmanager
def sentences(path: Path) -> Iterator[None]:
    """Turn an error of the system into a sentence for people."""
    try:
        yield
    except OSError as error:
        cause, cure = _SENTENCES.get(error.errno or 0, (os.strerror(error.errno or 0), _CHECK))
        raise unusable(path, cause, cure) from error


def unusable(path: Path, cause: str, cure: str) -> JournalError:
    """Return the error as a sentence, still to be raised."""
    return JournalError(f"The log {path} cannot be used: {cause}; {cure}.")


_DELETED = "get a copy back under this name and resume the case, or give the case another name"
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
    errno.ENXIO: ("it is a pipe, a socket or a device", "name a log file"),
    errno.ENOLCK: ("its disk cannot lock files", "choose a folder on a disk of this machine"),
    errno.EIO: ("the disk reports an error", "check the disk"),
}
