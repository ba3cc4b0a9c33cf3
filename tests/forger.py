"""Forge logs: change an invented one in any way, so that its hashes, or even its story, hold.

Chance is a `Random`: hypothesis and a coverage-guided fuzzer drive one by their own choices.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import fields, replace
from functools import cache
from pathlib import Path
from random import Random
from typing import Any, get_args

from invented import invent

from voicecheck.core.case import Case, IllegalFact
from voicecheck.core.chain import GENESIS, line_hash
from voicecheck.core.codec import Mistakes, decode
from voicecheck.core.conduct import conduct_of
from voicecheck.core.facts import At, Fact, Opened, Record, encode_record
from voicecheck.core.inputs import Input
from voicecheck.core.replay import story
from voicecheck.core.state import NothingDue

SEEDS = (2, 9)
NUMBERS = (
    0,
    -1,
    1,
    59,
    2**31,
    2**53 - 1,
    -(2**53),
    2**63,
    10**400,
    0.5,
    -0.0,
    1e308,
    -1e308,
    1e-320,
)
SECONDS = (0.0, -1.0, 0.5, 2.0, 1e308, -1e308, 5e-324)
TEXTS = (
    *("", " ", "\0", "\x1b[2J", "\x7f\x9b31m", "\u202egate open", "\ud800", "\udfff", "\ufffe"),
    *(
        "a\nBytes: hold",
        "\r\n",
        "=1+1",
        "<script>",
        "]]>",
        "&#0;",
        "🫀",
        "é" * 70_000,
        "a" * 9_000,
    ),
    *("confirm", "[unk]", "nan", "../x", "$x^2$", "%s{}", "9999-12-31T23:59:59.999Z"),
    *("0001-01-01T00:00:00.000Z", "2031-02-30T00:00:00.000Z", "２０31-01-01T00:00:00.000Z"),
)


GOLDEN = sorted((Path(__file__).parent / "golden").glob("*/*.log"))


@cache
def seeds() -> tuple[tuple[bytes, ...], ...]:
    """Invented logs by the present rules, and by every released version of them."""
    golden = (tuple(path.read_bytes().splitlines()) for path in GOLDEN)
    return (*(tuple(invent(number)) for number in SEEDS), *golden)


def forged(chance: Random) -> list[bytes]:
    """A log that a forger may hand in, in one of three degrees of care."""
    lines = list(chance.choice(seeds()))[: chance.choice((1, 2, 5, 12, 30, 70))]
    forge = chance.choice((_bytes_changed, _values_changed, _lived_otherwise))
    return forge(chance, lines)


# ------------------------------------------------------------------------------- bytes and values


def _bytes_changed(chance: Random, lines: list[bytes]) -> list[bytes]:
    """Bytes changed anywhere, hashes left as they are."""
    content = bytearray(b"\n".join(lines[:6]))
    for _ in range(chance.randrange(1, 5)):
        at = chance.randrange(len(content))
        content[at : at + chance.randrange(4)] = chance.randbytes(chance.randrange(5))
    return bytes(content).split(b"\n")


def _values_changed(chance: Random, lines: list[bytes]) -> list[bytes]:
    """Values, kinds and order of lines changed, then numbered and linked again."""
    plain = [json.loads(line) for line in lines]
    for _ in range(chance.randrange(1, 4)):
        _OF_ORDER[chance.randrange(len(_OF_ORDER))](chance, plain)
    prev, sealed = GENESIS, []
    for number, each in enumerate(plain, 1):
        if isinstance(each, dict) and chance.randrange(50):
            each |= {"seq": number, "prev": prev}
        sealed.append(_canonical(each))
        prev = line_hash(sealed[-1])
    return sealed


def _canonical(plain: Any) -> bytes:
    """As JSON, canonical wherever that is possible."""
    try:
        return encode_record(decode(Record, plain))
    except (Mistakes, ValueError):
        text = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        return text.encode("utf-8", "surrogatepass")


def _one_value(chance: Random, plain: list[Any]) -> None:
    places = list(_places(chance.choice(plain)))
    if places:
        holder, key = chance.choice(places)
        holder[key] = _anything(chance)


def _one_key(chance: Random, plain: list[Any]) -> None:
    line = chance.choice(plain)
    if isinstance(line, dict):
        line[chance.choice(TEXTS)] = _anything(chance)


def _a_fact(chance: Random, plain: list[Any]) -> None:
    line, other = chance.choice(plain), chance.choice(plain)
    if isinstance(line, dict) and isinstance(other, dict):
        part = chance.choice(("fact", "cause"))
        line[part] = json.loads(json.dumps(other.get(part)))


def _order(chance: Random, plain: list[Any]) -> None:
    one, two = chance.randrange(len(plain)), chance.randrange(len(plain))
    plain[one], plain[two] = plain[two], plain[one]


def _twice(chance: Random, plain: list[Any]) -> None:
    plain.append(json.loads(json.dumps(chance.choice(plain))))


def _one_less(chance: Random, plain: list[Any]) -> None:
    if len(plain) > 1:
        del plain[chance.randrange(len(plain))]


_OF_ORDER: Sequence[Callable[[Random, list[Any]], None]] = (
    *(_one_value, _one_value, _one_value, _one_key, _a_fact),
    *(_order, _twice, _one_less),
)


def _places(value: Any) -> Iterator[tuple[Any, Any]]:
    """Every value within a value, as the container and the key."""
    keys = value if isinstance(value, dict) else range(len(value) if isinstance(value, list) else 0)
    for key in keys:
        yield value, key
        yield from _places(value[key])


def _anything(chance: Random) -> Any:
    deep: Any = []
    for _ in range(chance.choice((1, 100, 400))):
        deep = [deep]
    return chance.choice((*NUMBERS, *TEXTS, None, True, {}, deep, float("nan"), {"type": "Heard"}))


# ----------------------------------------------------------------------------- a story that holds


def _lived_otherwise(chance: Random, lines: list[bytes]) -> list[bytes]:
    """Inputs, times and opening changed, each fact decided anew: only a checkpoint can tell."""
    try:
        opening, *rest = [record for _, record in story(lines)]
        first = replace(
            opening, at=_time(chance, opening.at), fact=_otherwise_opened(chance, opening)
        )
        case = Case(first)
        sealed = [encode_record(first)]
    except ValueError:  # a procedure that does not parse, a text that is none
        return lines
    for record in rest:
        assert record.cause is not None
        given = _input(chance, record.cause) if chance.randrange(4) == 0 else record.cause
        at = _time(chance, record.at)
        kept: list[Record] = []
        try:
            case.step(given, at, prev=line_hash(sealed[-1]), keep=kept.append)
            sealed.append(encode_record(kept[0]))
        except (IllegalFact, NothingDue):
            continue
        except ValueError:  # a lone surrogate: believed, but cannot be written
            break
    case.close()
    return sealed


def _otherwise_opened(chance: Random, opening: Record) -> Fact:
    assert isinstance(opening.fact, Opened)
    change: dict[str, Any] = {
        "case": f"invented-{chance.randrange(10**6)}",
        chance.choice(("case", "program", "recogniser", "voice", "caution", "wording")): _text(
            chance
        ),
    }
    if chance.randrange(2):
        change["procedure"] = _reworded(chance, opening.fact.procedure)
    fact = replace(opening.fact, **change)
    rules = conduct_of(fact.rules)
    return replace(fact, shape=rules.shape(rules.parse(fact.procedure, fact.common)))


def _reworded(chance: Random, toml: str) -> str:
    """One quoted text or number of a TOML file replaced, escapes and all."""
    lines = toml.split("\n")
    at = chance.randrange(len(lines))
    head, equals, _ = lines[at].partition(" = ")
    value = chance.choice((chance.choice(NUMBERS), "0x" + "f" * 5000, "9" * 5000))
    written = json.dumps(_text(chance)) if chance.randrange(2) else str(value)[:6000]
    lines[at] = f"{head}{equals}{written}" if equals else lines[at]
    return "\n".join(lines)


def _time(chance: Random, at: At) -> At:
    """The same moment, or any other by the wall clock; the steady clock may leap."""
    if chance.randrange(6):
        return at
    leap_us = chance.choice((0, 1, 10**9, 2**52))
    utc = chance.choice(
        (at.utc, *(text for text in TEXTS if text.endswith("999Z") or ".000Z" in text))
    )
    return At(utc=utc, mono_us=min(at.mono_us + leap_us, 2**53 - 1))


INPUTS: tuple[type[Input], ...] = get_args(Input)


def _input(chance: Random, given: Input) -> Input:
    """One field changed, or another input altogether."""
    if chance.randrange(2):
        kind = chance.choice(INPUTS)
        return kind(**{each.name: _of(chance, each.type) for each in fields(kind)})
    names = fields(given)
    if not names:
        return given
    changed = chance.choice(names)
    return replace(given, **{changed.name: _of(chance, changed.type)})


def _of(chance: Random, kind: object) -> Any:
    """Any value of a field, of the kind that its annotation names."""
    match kind:
        case "str":
            return _text(chance)
        case "float":
            return chance.choice(SECONDS)
        case "bool":
            return chance.random() < 0.5
        case _:
            return chance.choice(
                [each for each in NUMBERS if type(each) is int and abs(each) < 2**53]
            )


def _text(chance: Random) -> str:
    return chance.choice((*TEXTS, *_PHRASES))


_PHRASES = (
    *("confirm", "negative", "checklist emergency", "checklist carry on", "checklist stand by"),
    *("checklist active bleeding", "checklist converting to open", "checklist close the record"),
    *("checklist clips on the artery", "checklist two and only two", "microphone", "clock"),
)
