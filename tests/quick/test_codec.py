"""Strict both ways: what was written comes back, and nothing else comes in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

import pytest

from voicecheck.core.codec import Mistakes, decode, encode


class Colour(StrEnum):
    """Invented."""

    RED = "red"
    BLUE = "blue"


@dataclass(frozen=True, kw_only=True, slots=True)
class Small:
    """Invented."""

    n: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Other:
    """Invented; the same shape as Small, so that only the tag tells them apart."""

    n: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Whole:
    """One field of every shape that the project uses."""

    text: str
    colour: Colour
    smalls: tuple[Small, ...]
    table: Mapping[str, tuple[str, ...]]
    either: Small | Other
    perhaps: Small | None
    share: float = 0.5
    yes: bool = True
    notes: tuple[str, ...] = ()
    more: Mapping[str, Small] = field(default_factory=dict)


WHOLE = Whole(
    text="€ and \n",
    colour=Colour.BLUE,
    smalls=(Small(n=1), Small(n=2)),
    table={"a": ("x", "y")},
    either=Other(n=3),
    perhaps=None,
    share=12.0,
    yes=False,
    more={"b": Small(n=4)},
)
PLAIN = {
    "text": "€ and \n",
    "colour": "blue",
    "smalls": [{"n": 1}, {"n": 2}],
    "table": {"a": ["x", "y"]},
    "either": {"type": "Other", "n": 3},
    "perhaps": None,
    "share": 12.0,
    "yes": False,
    "notes": [],
    "more": {"b": {"n": 4}},
}


def test_every_shape_is_written_plainly() -> None:
    assert encode(WHOLE) == PLAIN


def test_every_shape_comes_back() -> None:
    assert decode(Whole, PLAIN) == WHOLE


def test_what_has_a_default_may_be_left_out() -> None:
    needed = {key: PLAIN[key] for key in ("text", "colour", "smalls", "table", "either", "perhaps")}
    built = decode(Whole, needed)
    assert (built.share, built.yes, built.notes, built.more) == (0.5, True, (), {})


def test_a_whole_number_is_also_a_number_but_not_the_other_way_round() -> None:
    share = decode(Whole, PLAIN | {"share": 12}).share
    assert isinstance(share, float)
    with pytest.raises(Mistakes, match=r"n must be a whole number, not 1.0"):
        decode(Small, {"n": 1.0})


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"text": 3}, "text must be text, not 3"),
        ({"text": None}, "text must be text, not None"),
        ({"yes": 1}, "yes must be true or false, not 1"),
        ({"yes": "true"}, "yes must be true or false, not 'true'"),
        ({"share": "x"}, "share must be a number, not 'x'"),
        ({"share": True}, "share must be a number, not True"),
        ({"colour": "green"}, "colour must be one of red, blue, not 'green'"),
        ({"colour": ["red"]}, "colour must be one of red, blue, not ['red']"),
        ({"smalls": {"n": 1}}, "smalls must be a list, not {'n': 1}"),
        ({"smalls": "ab"}, "smalls must be a list, not 'ab'"),
        ({"smalls": [{"n": 1}, {"n": True}]}, "smalls[2].n must be a whole number, not True"),
        ({"smalls": [{}]}, "smalls[1].n is missing"),
        ({"smalls": [7]}, "smalls[1] must be a table, not 7"),
        ({"table": []}, "table must be a table, not []"),
        ({"table": {"a": "x"}}, "table.a must be a list, not 'x'"),
        ({"table": {"a": [1]}}, "table.a[1] must be text, not 1"),
        ({"either": {"n": 1}}, "either has the unknown type None"),
        ({"either": {"type": "Whole", "n": 1}}, "either has the unknown type 'Whole'"),
        ({"either": {"type": ["Small"], "n": 1}}, "either has the unknown type ['Small']"),
        ({"either": None}, "either has the unknown type None"),
        ({"either": {"type": "Small"}}, "either.n is missing"),
        ({"perhaps": {"type": "Other", "n": 1}}, "perhaps has the unknown type 'Other'"),
        ({"unheard": 1}, "unheard is not known here"),
        ({"more": {"b": {"n": 1, "m": 2}}}, "more.b.m is not known here"),
    ],
)
def test_each_mistake_has_its_sentence(changed: dict[str, object], sentence: str) -> None:
    with pytest.raises(Mistakes) as refused:
        decode(Whole, PLAIN | changed)
    assert refused.value.found == [sentence]


@pytest.mark.parametrize("missing", ["text", "colour", "smalls", "table", "either", "perhaps"])
def test_what_is_missing_is_named(missing: str) -> None:
    with pytest.raises(Mistakes) as refused:
        decode(Whole, {key: part for key, part in PLAIN.items() if key != missing})
    assert refused.value.found == [f"{missing} is missing"]


def test_all_mistakes_come_at_once() -> None:
    with pytest.raises(Mistakes) as refused:
        decode(Whole, PLAIN | {"text": 1, "colour": 2, "unheard": 3, "smalls": [4, {"n": ""}]})
    assert len(refused.value.found) == 5
    assert str(refused.value) == "; ".join(refused.value.found)


@pytest.mark.parametrize("value", [[], 1, "x", None, True])
def test_what_is_no_table_is_refused(value: object) -> None:
    with pytest.raises(Mistakes, match="value must be a table"):
        decode(Small, value)


def test_a_place_can_be_named() -> None:
    with pytest.raises(Mistakes, match=r"^line\.n is missing$"):
        decode(Small, {}, "line")
