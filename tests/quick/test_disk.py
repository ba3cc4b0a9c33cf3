"""The model of a disk that loses power leaves what it must; oracle: states derived by hand.

A sector has four bytes here. What may be left follows from fsync(2) in POSIX, as disk.py says.
"""

from __future__ import annotations

from pathlib import Path

from disk import Call, Disk, Left, every

ROOT, FILE, OTHER = Path(), Path("file"), Path("folder", "file")
SYNC, FAILED = (Call(kind=kind, path=FILE) for kind in ("sync", "sync failed"))
WRITE = Call(kind="write", path=FILE, at=2, content=b"CDEFGH")

WRITTEN = {
    b"ab",
    b"ab\0\0",
    b"abCD",
    b"ab\0\0\0\0\0\0",
    b"ab\0\0EFGH",
    b"abCD\0\0\0\0",
    b"abCDEFGH",
}
"""After `WRITE` into a file that holds "ab": lost, torn, out of order, zeros, or all of it."""


def left(before: Left, *calls: Call) -> list[Left]:
    disk = Disk(4, before)
    for call in calls:
        disk.feel(call)
    return list(every(disk.left))


def contents(*calls: Call) -> set[bytes | None]:
    return {each[FILE] for each in left({ROOT: None, FILE: b"ab"}, *calls)}


def test_what_was_written_may_be_there_in_part_and_in_any_order() -> None:
    assert contents(WRITE) == WRITTEN


def test_what_was_synced_is_there() -> None:
    assert contents(WRITE, SYNC) == {b"abCDEFGH"}


def test_a_later_write_may_reach_the_disk_before_an_earlier_one() -> None:
    second = Call(kind="write", path=FILE, at=0, content=b"X")
    assert contents(WRITE, SYNC, second, Call(kind="write", path=FILE, at=7, content=b"Y")) == {
        b"abCDEFGH",
        b"XbCDEFGH",
        b"abCDEFGY",
        b"XbCDEFGY",
    }


def test_what_was_cut_off_may_still_be_there() -> None:
    cut = Call(kind="cut", path=FILE, at=1)
    assert contents(cut) == {b"a", b"ab", b"a\0"}
    assert contents(cut, SYNC) == {b"a"}


def test_after_a_failed_fsync_only_what_is_written_again_is_sure() -> None:
    assert contents(WRITE, FAILED) == WRITTEN
    assert contents(WRITE, FAILED, SYNC) == {each for each in WRITTEN if each and len(each) == 8}
    again = Call(kind="write", path=FILE, at=4, content=b"EFGH")
    assert contents(WRITE, FAILED, again, SYNC) == {b"ab\0\0EFGH", b"abCDEFGH"}


def test_a_name_is_sure_once_its_folder_is_synced_and_a_file_needs_its_folder() -> None:
    made = (Call(kind="folder", path=OTHER.parent), Call(kind="name", path=OTHER))
    neither, folder = {ROOT: None}, {ROOT: None, OTHER.parent: None}
    both = {**folder, OTHER: b""}
    assert left({ROOT: None}, *made) == [neither, folder, both]
    assert left({ROOT: None}, *made, Call(kind="sync", path=ROOT)) == [folder, both]
    assert left({ROOT: None}, *made, Call(kind="sync", path=OTHER.parent)) == [neither, both]
