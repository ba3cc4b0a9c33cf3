"""Turn frozen dataclasses into plain JSON values and back, strictly."""

from __future__ import annotations

import types
import typing
from collections.abc import Hashable, Mapping
from dataclasses import MISSING, field, fields, is_dataclass
from enum import Enum
from functools import cache
from typing import Any, TypeVar, cast

from voicecheck.core.legible import legible, quoted

T = TypeVar("T")


class Mistakes(ValueError):
    """All mistakes in one value, each a sentence that says where."""

    def __init__(self, found: list[str]) -> None:
        super().__init__("; ".join(found))
        self.found = found


def later(default: Any) -> Any:
    """A field that a later format added: it is not written while it has this default.

    So lines of every format are read, and written again, byte for byte.
    """
    return field(default=default, metadata=LEFT_OUT)


_LATER = "later"
LEFT_OUT = {_LATER: True}
"""What `later` marks a field with."""


def encode(value: Any, *, tagged: bool = False) -> Any:
    """As dicts, lists, strings, numbers and booleans; a member of a union carries its "type"."""
    if is_dataclass(value):
        cls: Any = type(value)
        plain = {
            name: encode(getattr(value, name), tagged=_is_union(kind))
            for name, kind in _hints(cls).items()
            if (name, getattr(value, name)) not in _unwritten(cls)
        }
        return {"type": cls.__name__, **plain} if tagged else plain
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, (tuple, list)):
        return [encode(part) for part in value]
    if isinstance(value, Mapping):
        return {key: encode(part) for key, part in value.items()}
    return value


def decode(kind: type[T], value: Any, where: str = "") -> T:
    """Build `kind` from a plain value; raises Mistakes, which lists all of them."""
    found: list[str] = []
    built = _decode(kind, value, where, found)
    if found:
        raise Mistakes(found)
    return cast("T", built)


@cache
def _unwritten(kind: Any) -> tuple[tuple[str, Any], ...]:
    """The fields that are left out of a line, each with the value that leaves it out."""
    return tuple((each.name, each.default) for each in fields(kind) if _LATER in each.metadata)


@cache
def _hints(kind: Hashable) -> dict[str, Any]:
    return typing.get_type_hints(cast("type", kind))


def _is_union(kind: Any) -> bool:
    return typing.get_origin(kind) in (typing.Union, types.UnionType)


def _decode(kind: Any, value: Any, where: str, found: list[str]) -> Any:
    origin, args = typing.get_origin(kind), typing.get_args(kind)
    if _is_union(kind):
        return _decode_union(args, value, where, found)
    if origin is tuple:
        return _decode_tuple(args[0], value, where, found)
    if origin is Mapping:
        return _decode_mapping(args[1], value, where, found)
    if is_dataclass(kind):
        return _decode_dataclass(cast("type", kind), value, where, found)
    if isinstance(kind, type) and issubclass(kind, Enum):
        return _decode_enum(kind, value, where, found)
    return _decode_scalar(kind, value, where, found)


def _decode_scalar(kind: type, value: Any, where: str, found: list[str]) -> Any:
    if kind is float and type(value) is int:
        return _as_float(value, where, found)  # canonical JSON writes 12.0 as 12
    if type(value) is not kind:
        name = _NAMES.get(kind, kind.__name__)
        found.append(f"{where or 'value'} must be {name}, not {quoted(value)}")
    elif type(value) is int and abs(value) > _LARGEST:
        found.append(f"{where or 'value'} is too large: {quoted(value)}")
    return value


_LARGEST = 2**53 - 1
"""Other programs may read a larger whole number inexactly (RFC 7493, 2.2)."""


def _as_float(value: int, where: str, found: list[str]) -> float:
    try:
        return float(value)
    except OverflowError:
        found.append(f"{where or 'value'} is too large: {quoted(value)}")
        return 0.0


def _decode_enum(kind: type[Enum], value: Any, where: str, found: list[str]) -> Any:
    try:
        return kind(value)
    except ValueError:
        choices = ", ".join(str(member.value) for member in kind)
        found.append(f"{where} must be one of {choices}, not {quoted(value)}")
        return value


def _decode_tuple(kind: Any, value: Any, where: str, found: list[str]) -> Any:
    if not isinstance(value, list):
        found.append(f"{where} must be a list, not {quoted(value)}")
        return ()
    return tuple(_decode(kind, part, f"{where}[{n}]", found) for n, part in enumerate(value, 1))


def _decode_mapping(kind: Any, value: Any, where: str, found: list[str]) -> Any:
    if not isinstance(value, dict):
        found.append(f"{where} must be a table, not {quoted(value)}")
        return {}
    return {key: _decode(kind, part, _join(where, key), found) for key, part in value.items()}


def _decode_union(kinds: tuple[Any, ...], value: Any, where: str, found: list[str]) -> Any:
    if value is None and type(None) in kinds:
        return None
    by_name = {kind.__name__: kind for kind in kinds if kind is not type(None)}
    tag = value.get("type") if isinstance(value, dict) else None
    if not isinstance(tag, str) or tag not in by_name:
        found.append(f"{where} has the unknown type {quoted(tag)}")
        return None
    rest = {key: part for key, part in value.items() if key != "type"}
    return _decode_dataclass(by_name[tag], rest, where, found)


def _decode_dataclass(kind: type, value: Any, where: str, found: list[str]) -> Any:
    if not isinstance(value, dict):
        found.append(f"{where or 'value'} must be a table, not {quoted(value)}")
        return None
    hints, before, known = _hints(kind), len(found), {f.name: f for f in fields(kind)}
    found += [f"{_join(where, key)} is not known here" for key in value if key not in known]
    built = {}
    for name, declared in known.items():
        if name in value:
            built[name] = _decode(hints[name], value[name], _join(where, name), found)
        elif declared.default is MISSING and declared.default_factory is MISSING:
            found.append(f"{_join(where, name)} is missing")
    return kind(**built) if len(found) == before else None


def _join(where: str, key: str) -> str:
    return f"{where}.{legible(key, 80)}" if where else legible(key, 80)


_NAMES = {str: "text", int: "a whole number", float: "a number", bool: "true or false"}
