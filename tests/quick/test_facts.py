"""Every fact and every input survives its line; no other bytes are taken for a line.

Canonical form is held against the package `jcs`, an independent implementation of RFC 8785.
"""

from __future__ import annotations

import hashlib
import json
import typing
from dataclasses import fields, is_dataclass, replace
from enum import Enum
from typing import Any

import jcs
import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st
from stories import UP_TO_THE_CRITERIA, Story, opening

from voicecheck.core.codec import Mistakes, encode
from voicecheck.core.facts import Fact, Record, decode_record, encode_record
from voicecheck.core.inputs import Due, Input

FACTS = typing.get_args(Fact)
INPUTS = typing.get_args(Input)
SAFE = 2**53 - 1
TEXTS = st.text(st.characters(exclude_categories=["Cs"]))


def built(kind: Any) -> st.SearchStrategy[Any]:
    """Any instance of a type, from its annotations alone."""
    if is_dataclass(kind):
        hints = typing.get_type_hints(kind)
        named = {field.name: built(hints[field.name]) for field in fields(kind)}
        return st.builds(typing.cast("Any", kind), **named)
    if args := typing.get_args(kind):
        if typing.get_origin(kind) is tuple:
            return st.lists(built(args[0]), max_size=3).map(tuple)
        return st.one_of(*(built(arg) for arg in args))
    if isinstance(kind, type) and issubclass(kind, Enum):
        return st.sampled_from(kind)
    plain: dict[Any, st.SearchStrategy[Any]] = {
        str: TEXTS,
        int: st.integers(-SAFE, SAFE),
        float: st.floats(allow_nan=False, allow_infinity=False),
        bool: st.booleans(),
        type(None): st.none(),
    }
    return plain[kind]


RECORDS = built(Record)


@pytest.mark.parametrize("kind", FACTS)
@given(data=st.data())
def test_every_fact_comes_back_from_its_line(kind: type, data: st.DataObject) -> None:
    record = replace(opening(), fact=data.draw(built(kind)))
    assert decode_record(encode_record(record)) == record


@pytest.mark.parametrize("kind", INPUTS)
@given(data=st.data())
def test_every_input_comes_back_from_its_line(kind: type, data: st.DataObject) -> None:
    record = replace(opening(), cause=data.draw(built(kind)))
    assert decode_record(encode_record(record)) == record


def test_every_input_may_be_a_cause() -> None:
    assert {*INPUTS, type(None)} == {*typing.get_args(typing.get_type_hints(Record)["cause"])}


@given(record=RECORDS)
def test_a_line_is_what_the_reference_library_writes(record: Record) -> None:
    assert encode_record(record) == jcs.canonicalize(encode(record))


@given(record=RECORDS)
def test_a_line_is_one_line(record: Record) -> None:
    assert b"\n" not in encode_record(record)
    assert b"\r" not in encode_record(record)


def test_the_sample_of_rfc_8785_is_written_as_printed_there() -> None:
    """RFC 8785, 3.2.2 and 3.2.4; the digest of the 118 bytes was recomputed with hashlib."""
    sample = {
        "numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 0.000000000000000000000000001],
        "string": '€$\x0f\nA\'B"\\\\"/',
        "literals": [None, True, False],
    }
    written = rfc8785.dumps(sample)  # type: ignore[arg-type]
    assert written.decode() == (
        '{"literals":[null,true,false],'
        '"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )
    assert len(written) == 118
    digest = "2d5e01a318d0f0879ab568c4be289c8b1f64ef8921a53c6277d5e069978baacb"
    assert hashlib.sha256(written).hexdigest() == digest


def test_keys_stand_in_the_order_of_rfc_8785() -> None:
    """RFC 8785, 3.2.3: by UTF-16 code units, so the emoji comes before U+FB33."""
    keys = ["\u20ac", "\r", "\ufb33", "1", "\U0001f600", "\u0080", "\u00f6"]
    written = json.loads(rfc8785.dumps(dict.fromkeys(keys, 0)))
    assert list(written) == ["\r", "1", "\u0080", "\u00f6", "\u20ac", "\U0001f600", "\ufb33"]


# --------------------------------------------------------------------- what is not taken for a line

LINE = encode_record(replace(opening(), cause=Due()))
PLAIN = json.loads(LINE)


def sentence(line: bytes) -> str:
    """Why the line is refused."""
    with pytest.raises(Mistakes) as refused:
        decode_record(line)
    assert str(refused.value)
    return str(refused.value)


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({"note": "x"}, "note is not known here"),
        ({"seq": "1"}, "seq must be a whole number, not '1'"),
        ({"seq": True}, "seq must be a whole number, not True"),
        ({"prev": 0}, "prev must be text, not 0"),
        ({"at": None}, "at must be a table, not None"),
        ({"at": {"utc": "x"}}, "at.mono_us is missing"),
        ({"cause": {"type": "Whispered"}}, "cause has the unknown type 'Whispered'"),
        ({"cause": {"type": "Due", "early": True}}, "cause.early is not known here"),
        ({"cause": {"type": "Entered", "text": 5}}, "cause.text must be text, not 5"),
        ({"fact": {"type": "Stated", "item": "a"}}, "fact.answer is missing"),
        ({"fact": {"type": []}}, "fact has the unknown type []"),
        ({"fact": None}, "fact has the unknown type None"),
    ],
)
def test_a_wrong_line_is_refused_with_its_sentence(
    changed: dict[str, object], expected: str
) -> None:
    assert sentence(jcs.canonicalize(PLAIN | changed)) == expected


@pytest.mark.parametrize("key", sorted(PLAIN))
def test_a_missing_key_is_named(key: str) -> None:
    rest = {name: part for name, part in PLAIN.items() if name != key}
    assert sentence(jcs.canonicalize(rest)) == f"{key} is missing"


@pytest.mark.parametrize(
    "line",
    [
        json.dumps(PLAIN).encode(),
        LINE + b" ",
        b" " + LINE,
        LINE + b"\n",
        LINE.replace(b'"seq":1', b'"seq":1.0'),
        LINE.replace(b'"seq":1', b'"seq":1,"seq":1'),
        LINE.replace(b'"seq":1', b'"seq":0,"seq":1'),
        LINE.replace(b"Invented", b"\\u0049nvented"),
        json.dumps(dict(reversed(PLAIN.items())), separators=(",", ":")).encode(),
        LINE.decode().encode("utf-16"),
    ],
)
def test_a_line_that_was_written_otherwise_is_refused(line: bytes) -> None:
    """The same values in other bytes: spaces, order of keys, doubled keys, escapes, encoding."""
    assert line != LINE
    said = sentence(line)
    assert "canonical form (RFC 8785)" in said or "must be a whole number" in said


@pytest.mark.parametrize(
    "line",
    [
        b"",
        b"\xff",
        b"null",
        b"[]",
        b"1",
        LINE[:-1],
        LINE + LINE,
        b"[" * 100_000,
        LINE.replace(b'"mono_us":0', b'"mono_us":' + b"9" * 30),
        LINE.replace(b'"mono_us":0', b'"mono_us":' + b"9" * 5000),
        LINE.replace(b'"mono_us":0', b'"mono_us":NaN'),
        LINE.replace(b"Invented", b"\\ud800"),
    ],
)
def test_what_is_no_line_is_refused_with_a_sentence(line: bytes) -> None:
    assert sentence(line)


@pytest.mark.parametrize("number", [b"NaN", b"Infinity", b"-Infinity", b"1e999"])
def test_a_confidence_is_a_number(number: bytes) -> None:
    story = Story()
    story.say(UP_TO_THE_CRITERIA[0])
    line = story.lines()[-1]
    assert b'"confidence":0.99' in line
    assert sentence(line.replace(b'"confidence":0.99', b'"confidence":' + number))


@given(line=st.binary() | st.text().map(str.encode))
def test_no_other_bytes_are_a_line(line: bytes) -> None:
    sentence(line)


@given(data=st.data())
def test_a_changed_byte_gives_another_record_or_a_sentence(data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(LINE) - 1))
    byte = data.draw(st.integers(0, 255).filter(lambda byte: byte != LINE[at]))
    changed = LINE[:at] + bytes([byte]) + LINE[at + 1 :]
    try:
        record = decode_record(changed)
    except Mistakes:
        return
    assert record != decode_record(LINE)
