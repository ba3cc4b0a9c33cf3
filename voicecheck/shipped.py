"""The data that comes with the program, installed or in a checkout."""

from __future__ import annotations

import csv
from pathlib import Path

from voicecheck.core.conduct import CURRENT
from voicecheck.core.procedure import Procedure, ProcedureError

PROCEDURE = "laparoscopic_cholecystectomy.toml"
COMMON = "_common.toml"
SENTENCES = "laparoscopic_cholecystectomy.sentences.tsv"

_PACKAGE = Path(__file__).parent


def folder(name: str) -> Path:
    """The folder `grammars` or `recordings_synthetic`; FileNotFoundError if it is not there."""
    for place in (_PACKAGE / name, _PACKAGE.parent / name):
        if place.is_dir():
            return place
    raise FileNotFoundError(f"The folder {name} is missing: install the program again.")


def procedure() -> Procedure:
    """The procedure that came with the program."""
    return procedure_at(folder("grammars") / PROCEDURE)


def procedure_at(path: Path) -> Procedure:
    """The procedure in a file, with the _common.toml beside it or else the shipped one.

    Raises ProcedureError, also for a file that cannot be read.
    """
    common = path.with_name(COMMON)
    if not common.exists():
        common = folder("grammars") / COMMON
    try:
        texts = _text(path), _text(common)
    except OSError as error:
        raise ProcedureError(str(path), [f"it cannot be read ({error}): check its name"]) from error
    except UnicodeDecodeError as error:
        raise ProcedureError(str(path), [f"it is not UTF-8 ({error}): save it as UTF-8"]) from error
    return CURRENT.parse(*texts, str(path))


def sentences() -> list[str]:
    """What imagined surgeons say after the address word, in their own words."""
    with (folder("grammars") / SENTENCES).open(encoding="utf-8", newline="") as file:
        rows = csv.DictReader(file, delimiter="\t")
        return [row["text"] for row in rows if not row["intent"].startswith("reply.")]


def _text(path: Path) -> str:
    """A file's text; of one that is far too long, enough for the parser to refuse it."""
    if path.exists() and not path.is_file():
        raise OSError("it is no file")
    with path.open(encoding="utf-8") as file:
        return file.read(_MOST_READ)


_MOST_READ = 1_000_000
