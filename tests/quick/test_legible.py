"""What is shown of any text: one bounded line that steers no terminal and turns no sentence."""

from __future__ import annotations

import unicodedata
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from readers import TURNS

from voicecheck.core.codec import Mistakes, decode
from voicecheck.core.facts import At
from voicecheck.core.legible import LONGEST, legible, quoted
from voicecheck.core.replay import BrokenLog


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Größe – 🫀, ‍ and all words of every script: مرارة", None),
        ("\x1b[2J", r"\x1b[2J"),
        ("one\ntwo\r\n\tthree", r"one\ntwo\r\n\tthree"),
        ("\x00\x7f\x9b", r"\x00\x7f\x9b"),
        ("gate \u202eesolc", r"gate \u202eesolc"),
        ("half a \ud800 character", r"half a \ud800 character"),
        ("", ""),
    ],
)
def test_only_what_steers_is_written_out(text: str, shown: str | None) -> None:
    assert legible(text) == (text if shown is None else shown)


@given(st.text(st.characters(codec=None)))
def test_no_text_steers(text: str) -> None:
    """By Unicode's categories: Cc controls, Cs halves of characters, Zl and Zp line ends."""
    for each in legible(text):
        assert unicodedata.category(each) not in ("Cc", "Cs", "Zl", "Zp")
        assert each not in TURNS


def test_a_long_text_is_cut() -> None:
    assert legible("a" * LONGEST) == "a" * LONGEST
    assert legible("a" * 10**6) == "a" * LONGEST + "…"


def _deep(levels: int) -> list[Any]:
    deep: list[Any] = []
    for _ in range(levels):
        deep = [deep]
    return deep


def test_any_value_is_quoted_in_short() -> None:
    long = ("x" * 10**6, ["x"] * 10**5, _deep(100_000), 10**4000, HUGE, {"\x1b": 1}, b"\0")
    for value in long:
        assert len(quoted(value)) < 100
        assert quoted(value).isprintable()


HUGE = 1 << 100_000
"""Python writes no number of more than 4300 digits unless it is told to."""


# ------------------------------------------------------------------------------ where it is used


def test_a_number_that_json_cannot_carry_is_a_mistake() -> None:
    """RFC 7493 (I-JSON), 2.2: whole numbers beyond 2**53 - 1 are not exact everywhere."""
    for value in (2**53, -(2**53), 10**400, HUGE):
        with pytest.raises(Mistakes, match=r"^n is too large: "):
            decode(int, value, "n")
    for value in (10**400, HUGE):
        with pytest.raises(Mistakes, match=r"^n is too large: "):
            decode(float, value, "n")
    assert decode(int, 1 - 2**53) == 1 - 2**53
    assert decode(float, 2**70) == 2.0**70


def test_a_mistake_shows_neither_a_long_name_nor_a_long_value() -> None:
    strange = "\x1b[2J\ud800" + "x" * 10**6
    with pytest.raises(Mistakes) as refused:
        decode(At, {"utc": [strange], "mono_us": strange, strange: 1})
    assert len(str(refused.value)) < 600
    assert str(refused.value).isprintable()


def test_why_a_log_is_broken_is_one_bounded_line() -> None:
    said = str(BrokenLog(3, "\x1b[31m\n" + "x" * 10**6))
    assert said.startswith(r"Line 3: \x1b[31m\nxxx")
    assert len(said) < 600
