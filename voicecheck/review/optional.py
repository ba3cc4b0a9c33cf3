"""Libraries of the extra [review]: imported when first used, so that a live case needs none."""

from __future__ import annotations

from importlib import import_module
from types import ModuleType


class MissingLibrary(Exception):
    """A library of the extra [review] is not installed; says how to install it."""


def library(name: str) -> ModuleType:
    """Import a module by its name; raises MissingLibrary."""
    try:
        return import_module(name)
    except ModuleNotFoundError as error:
        raise MissingLibrary(
            f"{error.name} is not installed. A live case does not need it, but this command does: "
            "pip install 'voicecheck[review]'"
        ) from error
