"""A log that is deleted, moved, replaced or changed while it is open takes no more lines.

Oracle: after that no line is acknowledged, and no file but the open one ever gets a byte.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from voicecheck.journal import Journal, JournalError, read

pytestmark = pytest.mark.skipif(
    sys.platform == "win32", reason="Windows lets nobody rename or delete an open file"
)

LINE = b'{"seq":1}'


def _delete(log: Path) -> None:
    log.unlink()


def _delete_folder(log: Path) -> None:
    shutil.rmtree(log.parent)


def _rename(log: Path) -> None:
    log.rename(log.with_name("other.log"))


def _rename_folder(log: Path) -> None:
    log.parent.rename(log.parent.with_name("other"))


def _folder_becomes_a_file(log: Path) -> None:
    _rename_folder(log)
    log.parent.write_bytes(b"")


def _copy_over(log: Path) -> None:
    """As an editor saves: a new file under the same name, with the same bytes."""
    shutil.copy(log, log.with_name("new"))
    log.with_name("new").replace(log)


def _link_elsewhere(log: Path) -> None:
    _copy_over(log)
    log.rename(log.with_name("other"))
    log.symlink_to("other")


def _truncate(log: Path) -> None:
    os.truncate(log, 0)


def _cut_a_byte(log: Path) -> None:
    os.truncate(log, log.stat().st_size - 1)


def _grow(log: Path) -> None:
    with log.open("ab") as file:
        file.write(b"a line from elsewhere\n")


TAKEN: dict[Callable[[Path], None], str] = {
    _delete: "was deleted while it was open; get a copy back",
    _delete_folder: "was deleted while it was open; get a copy back",
    _rename: "was moved or renamed while it was open; put it back",
    _rename_folder: "was moved or renamed while it was open; put it back",
    _folder_becomes_a_file: "was moved or renamed while it was open; put it back",
    _copy_over: "another file took its place while it was open; put it back",
    _link_elsewhere: "another file took its place while it was open; put it back",
    _truncate: "has 0 bytes instead of 10; end that program",
    _cut_a_byte: "has 9 bytes instead of 10; end that program",
    _grow: "has 32 bytes instead of 10; end that program",
}


def then(call: Callable[..., None], take: Callable[[Path], None], log: Path) -> Callable[..., None]:
    """The system call, and what another process does to the log right after it."""

    def both(*arguments: int) -> None:
        call(*arguments)
        take(log)

    return both


def everything(folder: Path) -> dict[Path, bytes]:
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("take", TAKEN, ids=lambda take: take.__name__.strip("_"))
def test_the_next_line_finds_out_before_it_is_written(
    take: Callable[[Path], None], tmp_path: Path
) -> None:
    log = tmp_path / "cases" / "case.log"
    with Journal.create(log) as journal:
        journal.append(LINE)
        take(log)
        left = everything(tmp_path)
        with pytest.raises(JournalError, match=TAKEN[take]):
            journal.append(LINE)
        with pytest.raises(JournalError, match="Nothing more is written"):
            journal.append(LINE)
        assert everything(tmp_path) == left


@pytest.mark.parametrize("take", TAKEN, ids=lambda take: take.__name__.strip("_"))
def test_a_line_is_not_acknowledged_if_the_log_goes_while_it_is_written(
    take: Callable[[Path], None], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = tmp_path / "cases" / "case.log"
    with Journal.create(log) as journal:
        journal.append(LINE)
        monkeypatch.setattr(os, "fsync", then(os.fsync, take, log))
        with pytest.raises(JournalError, match=r"while it was open|another program changed it"):
            journal.append(LINE)


def test_a_log_that_is_back_in_its_place_can_be_taken_up(tmp_path: Path) -> None:
    log = tmp_path / "case.log"
    with Journal.create(log) as journal:
        journal.append(LINE)
        _rename(log)
        with pytest.raises(JournalError, match="put it back under this name, then resume the case"):
            journal.append(LINE)
    log.with_name("other.log").rename(log)
    with Journal.reopen(log) as journal:
        journal.append(LINE)
    assert read(log).lines == (LINE, LINE)


def test_links_to_the_same_file_share_its_lock_and_do_no_harm(tmp_path: Path) -> None:
    log, hard, soft = (tmp_path / name for name in ("case.log", "hard.log", "soft.log"))
    with Journal.create(log) as journal:
        journal.append(LINE)
        hard.hardlink_to(log)
        soft.symlink_to(log)
        for other in (hard, soft):
            with pytest.raises(JournalError, match="already open in another process"):
                Journal.reopen(other)
        journal.append(LINE)
    with Journal.reopen(soft) as journal:
        journal.append(LINE)
    assert read(log).lines == (LINE,) * 3


# ------------------------------------------------------------------------------- one writer a case


def test_of_two_writers_of_one_name_only_the_later_one_goes_on(tmp_path: Path) -> None:
    log = tmp_path / "case.log"
    with Journal.create(log) as first:
        first.append(LINE)
        _rename(log)
        with Journal.create(log) as second:
            second.append(LINE)
            with pytest.raises(JournalError, match="another file took its place"):
                first.append(LINE)
            second.append(LINE)
            with pytest.raises(JournalError, match="already open in another process"):
                Journal.reopen(log.with_name("other.log"))
    assert read(log).lines == (LINE, LINE)
    assert read(log.with_name("other.log")).lines == (LINE,)


@pytest.mark.parametrize("take", [_rename, _delete, _copy_over])
def test_a_log_that_goes_between_opening_and_locking_is_not_opened(
    take: Callable[[Path], None], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import fcntl

    log = tmp_path / "case.log"
    Journal.create(log).close()
    monkeypatch.setattr(fcntl, "flock", then(fcntl.flock, take, log))
    with pytest.raises(JournalError, match="while it was open"):
        Journal.reopen(log)
