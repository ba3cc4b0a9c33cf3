"""Any log whatever: a case, or a sentence that says why not, from every reader."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from click.testing import CliRunner
from forger import forged
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from invented import invent
from readers import read_by_all, steers
from stories import SMALL_TEXT, Story, resealed

from voicecheck.cli import main
from voicecheck.core import facts
from voicecheck.core.facts import Fact, Record
from voicecheck.core.inputs import Heard, Input, Restarted, Said, Trouble
from voicecheck.review.case_page import case_page
from voicecheck.review.examine import examine
from voicecheck.review.formats import export

CHANCE = st.randoms(use_true_random=False)


@given(CHANCE)
@settings(max_examples=150, suppress_health_check=list(HealthCheck))
def test_no_forged_log_is_more_than_a_reader_can_take(chance: Random) -> None:
    read_by_all(forged(chance), page=chance.randrange(10) == 0)


@given(st.lists(st.binary(max_size=300), max_size=4))
def test_no_bytes_are_more_than_a_reader_can_take(lines: list[bytes]) -> None:
    assert not read_by_all(lines, page=False).intact


# ------------------------------------------------------------------------------ what was found once


def broken(lines: list[bytes]) -> str:
    """Why every reader refuses a log: one sentence."""
    examined = read_by_all(lines)
    assert len(examined.faults) >= 1
    return examined.faults[0]


def closed() -> list[Record]:
    tale = Story(text=SMALL_TEXT)
    tale.say("checklist close the record", "confirm")
    return tale.records


@pytest.mark.parametrize(
    ("cause", "fact"),
    [
        (Restarted(gap_s=3.0), facts.Reopened(gap_s=3.0)),
        (Restarted(gap_s=1e308), facts.Stated(item="none such", answer="none such")),
        (Heard(text="confirm", confidence=1.0, audio_from_s=0.0, audio_to_s=1.0), facts.Spoke()),
        (Said(text="a", audio_from_s=0.0, audio_to_s=1.0), facts.Occurred(event="none such")),
        (Trouble(part="voice", message=""), facts.Cautioned(caution="none such")),
    ],
)
def test_nothing_can_be_forged_after_the_close(cause: Input, fact: Fact) -> None:
    records = closed()
    line = Record(seq=0, at=records[-1].at, cause=cause, fact=fact, prev="")
    assert broken(resealed([*records, line])).startswith(f"Line {len(records) + 1}: ")


def changed(**opening: Any) -> list[bytes]:
    """A log whose opening line says something else, as JSON writes it."""
    plain = json.loads(Story(text=SMALL_TEXT).lines()[0])
    plain["fact"] |= opening
    text = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return [text.encode("utf-8", "surrogatepass")]


def deep(levels: int) -> bytes:
    return b"[" * levels + b"]" * levels


def test_half_a_character_is_refused_wherever_it_stands() -> None:
    escaped = Story(text=SMALL_TEXT).lines()[0]
    assert "canonical" in broken([escaped.replace(b'"case":"', b'"case":"\\ud800')])
    assert "UTF-8" in broken([escaped.replace(b'"case":"', b'"case":"\xed\xa0\x80')])
    assert r"\ud800 is not known here" in broken(
        [escaped.replace(b'"fact":{', b'"fact":{"\\ud800":1,')]
    )


def test_numbers_that_no_program_can_hold_are_refused() -> None:
    line = Story(text=SMALL_TEXT).lines()[0]
    for number in (b"9" * 400, b"9" * 5000, b"1e999", b"NaN", b"-Infinity", b"9007199254740993"):
        assert broken([line.replace(b'"mono_us":0', b'"mono_us":' + number)])
    heard = Story(text=SMALL_TEXT)
    heard.say("[unk]")
    for number in (b"9" * 400, b"NaN", b"1e999"):
        first, second = heard.lines()
        assert broken([first, second.replace(b'"confidence":0.99', b'"confidence":' + number)])


@pytest.mark.parametrize("levels", [100, 990, 5_000, 200_000])
def test_deep_nesting_is_refused(levels: int) -> None:
    line = Story(text=SMALL_TEXT).lines()[0]
    assert broken([line.replace(b'"invented-1"', deep(levels))])
    assert broken([line.replace(b'"format":', b'"format":' + deep(levels) + b',"x":')])


@pytest.mark.parametrize(
    "number", ["9" * 400, "9" * 5_000, f"0x{'f' * 5_000}", "9223372036854775808"]
)
def test_a_procedure_with_endless_numbers_is_refused(number: str) -> None:
    text = SMALL_TEXT.replace("version = 1", f"version = {number}")
    assert "procedure" in broken(changed(procedure=text))


def test_a_million_mistakes_make_a_short_sentence() -> None:
    assert len(broken(changed(procedure="a = '" + "\x07" * 10**6))) < 1_000
    assert len(broken(changed(**{f"{n}\x1b": n for n in range(10_000)}))) < 1_000
    assert len(broken(changed(program=["x" * 10**6]))) < 1_000


def odd(message: str) -> list[bytes]:
    """An intact log in which every free text is this one."""
    tale = Story(text=SMALL_TEXT)
    named: dict[str, Any] = dict.fromkeys(
        ("case", "recogniser", "voice", "caution", "program"), message
    )
    tale.records[0] = replace(tale.records[0], fact=replace(tale.case.opened, **named))
    tale.give(Trouble(part=message or "voice", message=message))
    tale.give(Said(text=message, audio_from_s=-1e308, audio_to_s=1e308))
    tale.give(Said(text=message, audio_from_s=1e308, audio_to_s=-1e308))
    tale.give(Heard(text=message, confidence=-1e308, audio_from_s=5.0, audio_to_s=-5.0))
    return resealed(tale.records)


@pytest.mark.parametrize(
    "message",
    ["", "\0", "\x1b[2J\x9b", "\u202egate open\u2066", "\ufffe\uffff", "]]><&\"'", "a" * 900_000],
    ids=["none", "zero", "escape", "turned", "no characters", "markup", "long"],
)
def test_any_text_is_shown_and_exported(message: str) -> None:
    """W3C XML 1.0, 2.2: which characters XML can hold. FHIR R4, Primitive Types: likewise."""
    lines = odd(message)
    examined = read_by_all(lines)
    assert examined.intact, examined.faults
    root = ET.fromstring(export(lines, "xes"))  # noqa: S314  # our own file
    said = [each.get("value") for each in root.iter("string") if each.get("key") == "said"]
    if message == "\0":
        assert said == ["\ufffd"] * 4
    for text in texts(json.loads(export(lines, "fhir"))):
        assert text.strip()
        assert not steers(text.translate(dict.fromkeys(map(ord, "\t\n\r\u202e\u2066\x9b"))))


def texts(value: Any) -> list[str]:
    """Every text in a JSON value."""
    if isinstance(value, dict | list):
        parts = value.values() if isinstance(value, dict) else value
        return [text for part in parts for text in texts(part)]
    return [value] if isinstance(value, str) else []


def test_a_long_line_makes_no_long_page() -> None:
    short, long = (shown(odd("a" * length)) for length in (10, 900_000))
    assert len(long) < len(short) + 100_000


def shown(lines: list[bytes]) -> str:
    return case_page(examine(lines), "a.log")


# --------------------------------------------------------------------------------------- many cases


def test_bad_files_hide_no_other_case(tmp_path: Path) -> None:
    folder = tmp_path / "logs"
    folder.mkdir()
    (folder / "good.log").write_bytes(b"".join(line + b"\n" for line in invent(2)))
    bad = [
        *(odd("\0\x1b"), changed(case="\ud800"), changed(case=["\x1b" * 10**6]), [deep(100_000)]),
        [*resealed(closed()[:1]), b"\xff"],
        changed(procedure=SMALL_TEXT.replace("version = 1", f"version = {2**70}")),
    ]
    for number, lines in enumerate(bad):
        (folder / f"{number}.log").write_bytes(b"".join(line + b"\n" for line in lines))
    (folder / "strange\udcff\x1b.log").write_bytes(b"\n")
    ran = CliRunner().invoke(main, ["cases", str(folder), "--out", str(tmp_path / "out")])
    assert ran.exit_code == 0, ran.output
    assert "2  cases" in ran.output
    assert "counted in no figure: 6" in ran.output
    assert r"strange\udcff\x1b.log: Line 1: " in ran.output
    assert not any(steers(line) for line in ran.output.split("\n"))
    assert len(ran.output) < 20_000
    page = (tmp_path / "out" / "cases.html").read_text("utf-8")
    assert not any(steers(line) for line in page.split("\n"))
