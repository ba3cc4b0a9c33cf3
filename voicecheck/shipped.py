"""Where the data that comes with the program lies, installed or in a checkout."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).parent


def folder(name: str) -> Path:
    """The folder `grammars` or `recordings_synthetic`; FileNotFoundError if it is not there."""
    for place in (_PACKAGE / name, _PACKAGE.parent / name):
        if place.is_dir():
            return place
    raise FileNotFoundError(f"The folder {name} did not come with this installation; reinstall it.")
