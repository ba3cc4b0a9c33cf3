"""A loss of power at any call loses no acknowledged line; disk.py has the model and its sources.

Oracle: the lines that were given to the log, byte for byte, and what people were told by then.
"""

from __future__ import annotations

import importlib
import shutil
from collections.abc import Iterator
from pathlib import Path
from random import Random
from types import ModuleType

import pytest
from disk import Left
from power import CASES, LOG, SECTORS, SHORT, Lost, PowerLoss, in_memory

from voicecheck import journal


@pytest.fixture
def root() -> Iterator[Path]:
    with in_memory() as folder:
        yield folder / "disk"


def torn(end: bytes) -> Left:
    """A disk on which a log of one line ends so."""
    folders = dict.fromkeys((Path(), LOG.parent.parent, LOG.parent))
    return {**folders, LOG: SHORT[0] + b"\n" + end}


@pytest.mark.parametrize("sector", SECTORS)
def test_two_losses_of_power_at_every_call_leave_every_line_that_was_told(
    sector: int, root: Path, counted: list[str]
) -> None:
    cuts = PowerLoss(journal=journal, root=root, lines=SHORT, sector=sector)
    cuts.everywhere(times=2)
    counted.append(f"{cuts.disks} disks with sectors of {sector} bytes: all that was told is there")


@pytest.mark.parametrize("sector", SECTORS)
@pytest.mark.parametrize(
    "end", [SHORT[1][:200], SHORT[1], SHORT[1] + b"\0" * 700, b"\0" * 900 + SHORT[1][-90:] + b"\n"]
)
def test_a_loss_of_power_while_a_torn_log_is_taken_up_loses_nothing_either(
    end: bytes, sector: int, root: Path
) -> None:
    cuts = PowerLoss(journal=journal, root=root, lines=SHORT, sector=sector, most=150)
    cuts.everywhere(times=1, left=torn(end))


@pytest.mark.parametrize("sector", SECTORS)
@pytest.mark.parametrize("case", CASES)
def test_a_whole_case_is_written_through_losses_of_power(
    case: str, sector: int, root: Path, counted: list[str]
) -> None:
    cuts = PowerLoss(journal=journal, root=root, lines=CASES[case], sector=sector, most=5000)
    for seed in range(20):
        cuts.by_chance(Random(seed))  # noqa: S311  # chance, no secret
    counted.append(f"{case}, written 20 times through {cuts.disks} losses of power: nothing lost")


# ------------------------------------------------------------------------ the model finds mistakes

MISTAKES = {
    "a line is told without its fsync": """
        os.fsync(descriptor)
        self._size += len(line)
->
        self._size += len(line)
""",
    "a line is told before its fsync": """
        files.write(descriptor, line)
        os.fsync(descriptor)
->
        os.fsync(descriptor)
        files.write(descriptor, line)
""",
    "names are not synced": """
            os.fsync(descriptor)
        finally:
->
            pass
        finally:
""",
    "only the log's own name is synced": """
    for folder in path.resolve().parents:
->
    for folder in ():
""",
    "names are not synced when a log is taken up": """
                files.sync_names(path)  # whoever made them may have been killed before
->
""",
    "the torn end is cut before it is kept": """
        _keep_beside(path, found.torn)
        os.ftruncate(descriptor, os.fstat(descriptor).st_size - len(found.torn))
->
        os.ftruncate(descriptor, os.fstat(descriptor).st_size - len(found.torn))
        _keep_beside(path, found.torn)
""",
    "the torn end is kept without fsync": """
        os.fsync(descriptor)
    finally:
->
        pass
    finally:
""",
    "the name of the torn end is not synced": """
    files.sync_folder(path.parent)
->
""",
    "the torn end stays in the log": """
        os.ftruncate(descriptor, os.fstat(descriptor).st_size - len(found.torn))
->
""",
    "the last line is not written again": """
    files.write(descriptor, last)
->
    os.lseek(descriptor, 0, os.SEEK_END)
""",
    "lost blocks are taken for a line": """
    if not torn and lines and b"\\0" in lines[-1]:
->
    if False:
""",
}
"""What the journal's source says, and what the mistake makes of it."""


def mistaken(mistake: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The journal with one mistake, as a package of its own."""
    was, becomes = MISTAKES[mistake].split("->\n")
    name = f"mistaken_{list(MISTAKES).index(mistake)}"
    shutil.copytree(Path(journal.__file__).parent, folder / name)
    sources = {path: path.read_text(encoding="utf-8") for path in (folder / name).glob("*.py")}
    assert sum(text.count(was) for text in sources.values()) == 1
    for path, text in sources.items():
        changed = text.replace(was, f"\n{becomes}").replace("voicecheck.journal", name)
        path.write_text(changed, encoding="utf-8")
    monkeypatch.syspath_prepend(folder)
    return importlib.import_module(name)


@pytest.mark.parametrize("mistake", MISTAKES)
def test_the_losses_of_power_find_a_journal_with_a_mistake(
    mistake: str, root: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    wrong = mistaken(mistake, tmp_path, monkeypatch)
    with pytest.raises(Lost):
        PowerLoss(journal=wrong, root=root, lines=SHORT, sector=512).everywhere(times=2)
