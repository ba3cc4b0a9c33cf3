"""What is said of damaged logs, logs of a later version, and checkpoints that do not fit."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import comb
from pathlib import Path

import independent
import pyarrow.parquet as pq
import pytest
from click.testing import CliRunner, Result
from invented import invent
from stories import THREE_CRITERIA, UP_TO_THE_CRITERIA, Story, opening, resealed

from voicecheck.cases.layout import VERSION
from voicecheck.cli import main
from voicecheck.core.case import Case, machine
from voicecheck.core.chain import Checkpoint, line_hash, parse_checkpoint
from voicecheck.core.conduct import CURRENT
from voicecheck.core.facts import Opened, Record
from voicecheck.core.procedure import Event
from voicecheck.review.case_page import case_page
from voicecheck.review.examine import examine
from voicecheck.review.misfit import MISTYPED
from voicecheck.review.proof import proof

_ANSWER = 'answers=[{id="y",phrases=["%s"],says="y"}]'
_ITEM = '{id="%s",kind="%s",name="n",ask="?",brief="?",withdraw="no %s",%s}'
LEAST_TEXT = (
    'procedure={id="l",title="L",version=1,read_back_s=9,pause_s=5}\nphases=['
    + ",".join(
        f'{{id="{name}",title="T",items=[{_ITEM % (name, kind, name, _ANSWER % name)}]}}'
        for name, kind in (("c", "criterion"), ("p", "pause"), ("k", "act"))
    )
    + "]\ncautions={}\nbail_outs={}\n[events]\n"
    + "\n".join(
        f'{event.value}={{name="e",phrases=["e{letter}"],says="e"}}'
        for letter, event in zip("abcd", Event, strict=True)
    )
)
LEAST_COMMON = (
    'listening={address="x"}\nreply={confirm=["yes"],negative=["nay"]}\n[control]\n'
    'say_again=["a"]\noutstanding=["o"]\nstand_by=["s"]\ncarry_on=["g"]\nhelp=["h"]\n'
    'emergency=["m"]\nclose=["z"]'
)
"""The smallest possible procedure, by rules 1: below, every bit of its log is flipped."""


def records(case: str = "invented-1") -> list[Record]:
    """A closed case of 15 lines."""
    tale = Story()
    tale.say(*UP_TO_THE_CRITERIA, *THREE_CRITERIA, "checklist close the record", "confirm")
    return reopened(tale.records, case=case)


def reopened(found: list[Record], **named: object) -> list[Record]:
    """The same records with another opening."""
    first = found[0].fact
    assert isinstance(first, Opened)
    return [replace(found[0], fact=replace(first, **named)), *found[1:]]  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def lines() -> list[bytes]:
    return resealed(records())


def end_of(lines: Sequence[bytes]) -> Checkpoint:
    return Checkpoint(length=len(lines), last=line_hash(lines[-1]))


def written(lines: Sequence[bytes], folder: Path) -> Path:
    """The lines as a log in a folder."""
    log = folder / "a.log"
    log.write_bytes(b"".join(line + b"\n" for line in lines))
    return log


def run(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


def fails(*words: object) -> str:
    """What a command prints that must exit with 1."""
    ran = run(*words)
    assert ran.exit_code == 1, ran.output
    return ran.output


# ------------------------------------------------------------------------------------- damaged logs


def flipped(whole: bytes) -> Iterator[tuple[int, bytes]]:
    """The log with each of its bits flipped in turn, and the line of that bit."""
    line = 1
    for at, byte in enumerate(whole):
        for bit in range(8):
            yield line, whole[:at] + bytes([byte ^ 1 << bit]) + whole[at + 1 :]
        line += byte == 0x0A


def test_no_flipped_bit_is_called_intact_and_its_line_is_named(
    counted: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    tale = Story()
    tale.records = reopened(
        [opening()], procedure=LEAST_TEXT, common=LEAST_COMMON, rules=1, format=1, shape=""
    )
    tale.case = Case(tale.records[0])
    tale.say("x c", "yes")
    whole = b"".join(line + b"\n" for line in tale.lines())
    kept = end_of(tale.lines())
    flips = pages = 0
    monkeypatch.setattr("voicecheck.review.case_page.timeline", lambda _: "")  # takes most time
    for line, damaged in flipped(whole):
        *found, torn = damaged.split(b"\n")
        examined = examine(found, torn, kept)
        assert not examined.intact
        named = re.match(r"Line (\d+): ", examined.faults[0])
        assert named is not None
        assert int(named[1]) in (line, line + 1), examined.faults
        assert independent.verify(damaged, str(kept))
        if flips % 13 == 0:  # every place in turn and, 13 being odd, every bit of a byte
            page = case_page(examined, "a.log")
            assert "This log is not intact." in page
            assert "Bytes and story hold" not in page
            pages += 1
        flips += 1
    counted.append(f"{flips} flipped bits named by line, {pages} pages, none called intact")


@pytest.mark.parametrize("at", [400, -700, -300])
def test_verify_and_review_name_the_line_of_a_flipped_bit(
    at: int, lines: list[bytes], tmp_path: Path
) -> None:
    log = written(lines, tmp_path)
    content = bytearray(log.read_bytes())
    line = content[: at % len(content)].count(b"\n") + 1
    content[at] ^= 1
    log.write_bytes(content)
    said = fails("verify", log)
    assert re.search(rf"does not hold.\n  Line ({line}|{line + 1}): ", said)
    assert "has the hash of the line before it" not in said
    assert "is not intact, and the page says so" in fails("review", log)
    page = log.with_suffix(".html").read_text("utf-8")
    assert "This log is not intact." in page
    assert "Bytes and story hold" not in page
    assert re.search(rf"Line ({line}|{line + 1}): ", page)


def test_what_survives_is_what_the_next_line_vouches_for(lines: list[bytes]) -> None:
    changed = [*lines[:9], lines[9].replace(b"0.99", b"0.98"), *lines[10:]]
    examined = examine(changed)
    assert examined.damage[0].startswith("Line 11: ")
    assert examined.report is not None
    assert examined.report.ended.line == 9
    page = case_page(examined, "a.log")
    assert "By lines 1 to 9 only: " in page
    assert "lines 1 to 9 of 15, the beginning that still holds" in page


def test_a_false_story_with_sound_hashes_is_reported_up_to_the_lie() -> None:
    found = records()
    forged = resealed([*found[:7], *found[8:]])  # the first criterion stands without a read-back
    examined = examine(forged)
    assert examined.damage[0].startswith("Line 8: ")
    assert examined.report is not None
    assert examined.report.ended.line == 7


def test_a_torn_line_and_a_missing_end_are_not_intact(lines: list[bytes]) -> None:
    torn = examine(lines[:-1], lines[-1][:40], end_of(lines[:-1]))
    assert torn.faults == (
        "Line 15: it was cut off after 40 bytes, before it was acknowledged; every line before it "
        "holds. `voicecheck serve` continues the record there",
    )
    both = examine(lines[:-1], lines[-1][:40], end_of(lines))
    assert len(both.faults) == 2
    cut = examine(lines[:-1], b"", end_of(lines))
    assert not cut.intact
    assert cut.faults == (cut.misfit,)


def test_an_empty_log_has_a_page_that_says_that_nothing_can_be_told() -> None:
    examined = examine([])
    assert examined.report is None
    assert "Nothing in it can be told." in case_page(examined, "a.log")


def test_examining_a_log_leaves_no_case_behind() -> None:
    log = invent(2)
    before = len(machine(CURRENT.VERSION).models)
    for length in (1, 5, len(log)):
        examine(log[:length])
    examine([*log[:6], *log[7:]])
    assert len(machine(CURRENT.VERSION).models) == before


# ------------------------------------------------------------------------- logs of a later version

LATER = [{"rules": 99}, {"format": 99}, {"rules": 99, "format": 99}]
DAMAGED = ("damaged", "does not hold", "not intact", "Keep the file")


@pytest.mark.parametrize("named", LATER)
@pytest.mark.parametrize("command", [("verify",), ("review",), ("export", "--to", "csv")])
def test_a_log_of_a_later_version_is_called_newer_and_never_damaged(
    command: tuple[str, ...], named: dict[str, int], tmp_path: Path
) -> None:
    log = written(resealed(reopened(records(), program="9.1", **named)), tmp_path)
    said = fails(*command, log)
    assert "newer than this program" in said
    assert "9.1" in said
    assert not any(word in said for word in DAMAGED)
    assert list(tmp_path.iterdir()) == [log], "no page and no export of it"


def test_a_later_version_is_recognised_by_the_opening_alone(tmp_path: Path) -> None:
    """A later format may have what no reader of today accepts."""
    first = b'{"at":1,"fact":{"format":99,"new":[{}],"program":"9.1","rules":99},"prev":"?"}'
    second = b'{"new":1.50,"prev":"%s"}' % line_hash(first).encode()
    assert "newer than this program" in fails("verify", written([first, second], tmp_path))


@pytest.mark.parametrize("named", LATER)
def test_cases_lists_a_log_of_a_later_version_apart(
    named: dict[str, int], lines: list[bytes], tmp_path: Path
) -> None:
    written(lines, tmp_path).rename(tmp_path / "present.log")
    written(resealed(reopened(records("invented-2"), **named)), tmp_path).rename(
        tmp_path / "later.log"
    )
    ran = run("cases", tmp_path, "--out", tmp_path / "out")
    assert ran.exit_code == 0, ran.output
    assert "         1  cases" in ran.output
    assert re.search("later.log: .*newer than this program", ran.output)
    assert not any(word in ran.output.lower() for word in DAMAGED)
    page = (tmp_path / "out" / "cases.html").read_text("utf-8")
    assert "no log damaged or doubled; <b>1 log newer than this program" in page
    tables = tmp_path / "out" / f"layout-{VERSION}"
    rows = {name: pq.read_table(tables / name).to_pylist() for name in ("newer", "damaged")}
    assert [row["file"] for row in rows["newer"]] == ["later.log"]
    assert rows["damaged"] == []


def test_a_flipped_digit_in_the_rules_of_a_log_is_still_damage(
    lines: list[bytes], tmp_path: Path
) -> None:
    digit = b'"rules":%d' % CURRENT.VERSION
    assert digit in lines[0]
    log = written([lines[0].replace(digit, b'"rules":9'), *lines[1:]], tmp_path)
    said = [fails("verify", log), fails("export", log, "--to", "xes")]
    for one in said:
        assert "does not hold.\n  Line 2: " in one
        assert "newer" not in one
    ran = run("cases", tmp_path, "--out", tmp_path / "out")
    assert "Damaged or doubled logs, counted in no figure: 1" in ran.output
    assert "newer" not in ran.output


# -------------------------------------------------------------------------------------- checkpoints


def test_verify_prints_a_checkpoint_that_it_takes_back_in_every_form(
    lines: list[bytes], tmp_path: Path
) -> None:
    log = written(lines, tmp_path)
    printed = run("verify", log).output
    assert "Proven by no log" in printed
    forms = re.findall(r": (\d+[:-]\S{9,})\n", printed)
    end = end_of(lines)
    assert forms == [str(end), end.code, end.long_code]
    for kept in forms:
        ran = run("verify", log, "--checkpoint", kept)
        assert ran.exit_code == 0, ran.output
        assert "Checkpoint: holds; line 15" in ran.output


def test_what_a_checkpoint_proves_and_what_it_leaves_open_is_said_exactly(
    lines: list[bytes],
) -> None:
    """RFC 4648: a short code has 8 letters of 5 bits; FIPS 180-4: a whole hash has 256 bits."""
    whole = end_of(lines)
    said = dict(proof(examine(lines, b"", whole)))
    assert said["Checkpoint"].endswith("nothing up to it was changed or cut off.")
    assert "Not proven" not in said  # a closed record goes no further
    assert said["Checkpoint"] in case_page(examine(lines, b"", whole), "a.log")

    short = dict(proof(examine(lines, b"", parse_checkpoint(whole.code))))
    assert "has 40 of the hash's 256 bits: enough against accident" in short["Checkpoint"]
    long = dict(proof(examine(lines, b"", parse_checkpoint(whole.long_code))))
    assert "has 80 of the hash's 256 bits: nobody can search" in long["Checkpoint"]

    early = end_of(lines[:9])
    assert "after line 9" in dict(proof(examine(lines, b"", early)))["Not proven"]
    still_open = dict(proof(examine(lines[:9], b"", early)))["Not proven"]
    assert still_open == "that no line after line 9 was cut off; the record is not closed."

    without = dict(proof(examine(lines)))
    assert "Checkpoint" not in without
    assert "only a checkpoint kept elsewhere" in without["Not proven"]
    assert "who said it" in without["Proven by no log"]


def with_slips(text: str, *places: int) -> str:
    """Another character at each of these places; both alphabets have a and b."""
    characters = list(text)
    for place in places:
        characters[place] = "b" if characters[place] in "aA" else "a"
    return "".join(characters)


def test_one_or_two_wrong_letters_look_mistyped(lines: list[bytes], tmp_path: Path) -> None:
    log, code = written(lines, tmp_path), end_of(lines).code
    first, last = code.index("-") + 1, len(code) - 1
    one = with_slips(code, last).upper()
    assert fails("verify", log, "--checkpoint", one) == (
        f"Error: {log} holds by itself, but the checkpoint does not fit it.\n"
        f"  Line 15: the log has {code} here, but the checkpoint given is {one}. Probably a slip: "
        "only character 8 differs. Compare it with the one that was kept. If that is the same, "
        "this is another log, or it was rewritten.\n"
    )
    two = with_slips(code, first, last)
    assert "only characters 1 and 8 differ. " in fails("verify", log, "--checkpoint", two)
    three = with_slips(code, first, first + 1, last)
    assert "a slip" not in fails("verify", log, "--checkpoint", three)


def test_one_wrong_digit_of_the_whole_hash_looks_mistyped(
    lines: list[bytes], tmp_path: Path
) -> None:
    log, whole = written(lines, tmp_path), str(end_of(lines))
    wrong = with_slips(whole, whole.index(":") + 20)
    said = fails("verify", log, "--checkpoint", wrong)
    assert f"the log has {whole} here, but the checkpoint given is {wrong}. " in said
    assert "only character 20 differs. " in said


def test_another_code_does_not_look_mistyped(lines: list[bytes], tmp_path: Path) -> None:
    other = end_of(resealed(records("invented-2"))).code
    said = fails("verify", written(lines, tmp_path), "--checkpoint", other)
    assert "a slip" not in said
    assert "If that is the same, this is another log, or it was rewritten." in said


def test_a_wrong_number_of_lines_looks_mistyped(lines: list[bytes], tmp_path: Path) -> None:
    log = written(lines, tmp_path)
    for wrong in (51, 5, 0):
        given = replace(end_of(lines), length=wrong).code
        said = fails("verify", log, "--checkpoint", given)
        assert (
            f"Line 15: this line has the hash that the checkpoint gives for line {wrong}. " in said
        )
        assert "The number of lines was probably mistyped." in said


def test_a_log_without_its_end_does_not_fit_its_checkpoint(
    lines: list[bytes], tmp_path: Path
) -> None:
    said = fails("verify", written(lines[:12], tmp_path), "--checkpoint", end_of(lines).code)
    assert "Line 12: the log ends here, but the checkpoint counts 15 lines. " in said
    assert "The end was cut off, or that number was mistyped." in said


def test_review_says_that_the_checkpoint_does_not_fit(lines: list[bytes], tmp_path: Path) -> None:
    log = written(lines, tmp_path)
    said = fails("review", log, "--checkpoint", with_slips(end_of(lines).code, 4))
    assert "Probably a slip" in said
    page = log.with_suffix(".html").read_text("utf-8")
    assert "This page covers all 15 whole lines, which hold by themselves." in page
    assert "Probably a slip" in page
    assert "Bytes and story hold" not in page


def test_a_code_may_be_typed_with_0_for_o_and_1_for_i(tmp_path: Path) -> None:
    """RFC 4648: base 32 has the letters O and I and neither 0 nor 1; the number has both."""
    logs = (resealed(records(f"invented-{number}"))[:10] for number in range(1000))
    log = next(log for log in logs if {"O", "I"} <= set(end_of(log).code))
    typed = end_of(log).code.replace("O", "0").replace("I", "1").lower()
    assert typed.startswith("10-")
    ran = run("verify", written(log, tmp_path), "--checkpoint", typed)
    assert ran.exit_code == 0, ran.output
    assert "Checkpoint: holds; line 10" in ran.output


def test_another_lines_code_looks_mistyped_once_in_40_million() -> None:
    """Codes of 8 letters out of 32 that differ in at most so many places, of all codes."""
    near = sum(comb(8, wrong) * 31**wrong for wrong in range(MISTYPED + 1))
    assert 32**8 / near == pytest.approx(40e6, rel=0.02)
