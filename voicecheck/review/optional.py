"""Libraries that only the work after a case needs: loaded when used, missed in one sentence."""

from __future__ import annotations

from importlib import import_module
from types import ModuleType


class MissingLibrary(Exception):
    """A library of the extra [review] is not installed; says how to get it."""


def library(name: str) -> ModuleType:
    """The module of that name; raises MissingLibrary with the cure."""
    try:
        return import_module(name)
    except ModuleNotFoundError as error:
        raise MissingLibrary(
            f"{error.name} is not installed; a live case does not need it, but this does: "
            "pip install 'voicecheck[review]'"
        ) from error
