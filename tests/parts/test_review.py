"""The page of one case: self-contained, the same every time, honest about damage, readable."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator
from html.parser import HTMLParser
from itertools import product
from pathlib import Path

import independent
import pytest
from click.testing import CliRunner
from invented import invent
from stories import THREE_CRITERIA, UP_TO_THE_CRITERIA, Story, opening

from voicecheck.cli_after import review_command, verify_command
from voicecheck.core.case import Case, machine
from voicecheck.core.chain import Checkpoint, line_hash, parse_checkpoint
from voicecheck.core.conduct import CURRENT
from voicecheck.core.inputs import Trouble
from voicecheck.core.procedure import Event
from voicecheck.core.wording import CAUTION
from voicecheck.live.scenario import parse_scenario
from voicecheck.review import marks
from voicecheck.review.case_page import Doublet, phases, review
from voicecheck.review.examine import Examined, examine
from voicecheck.review.optional import MissingLibrary, library
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
"""The least procedure there can be: every bit of its log is flipped below."""


class Page(HTMLParser):
    """What a page is made of."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text.append(data)

    def named(self, tag: str) -> list[dict[str, str | None]]:
        return [attrs for name, attrs in self.tags if name == tag]


def eventful() -> Story:
    tale = Story()
    tale.say(*UP_TO_THE_CRITERIA, *THREE_CRITERIA, "checklist begin the pause")
    tale.wait()
    tale.say("confirm", "checklist clips on the artery", "confirm", "checklist active bleeding")
    tale.say("checklist wall too thick to grasp", "checklist duct transected", "[unk]")
    tale.give(Trouble(part="microphone", message="<b>unplugged</b>"))
    tale.say("by hand: checklist emergency", "checklist close the record", "confirm")
    return tale


@pytest.fixture(scope="module")
def examined() -> Examined:
    return examine(eventful().lines())


@pytest.fixture(scope="module")
def page(examined: Examined) -> str:
    return review(examined, "invented.log")


# ---------------------------------------------------------------------------- one file, no script


def test_a_page_takes_nothing_from_outside_and_runs_nothing(page: str) -> None:
    found = Page(page)
    tags = {tag for tag, _ in found.tags}
    assert not tags & {"script", "link", "iframe", "img", "object", "embed", "base", "form"}
    for tag, attrs in found.tags:
        for name, value in attrs.items():
            assert not name.startswith("on"), f"{tag} has {name}"
            if name in ("src", "href", "xlink:href", "action", "data"):
                assert (value or "").startswith("#"), f"{tag} {name}={value}"
    assert "@import" not in page
    assert all(target.startswith("#") for target in re.findall(r"url\(([^)]*)\)", page))


def test_a_page_forbids_the_browser_to_load_anything(page: str) -> None:
    rules = [attrs for attrs in Page(page).named("meta") if "http-equiv" in attrs]
    assert (rules[0]["content"] or "").startswith("default-src 'none'")


def test_the_same_log_gives_the_same_page_in_another_process(tmp_path: Path) -> None:
    log = tmp_path / "a.log"
    log.write_bytes(b"".join(line + b"\n" for line in eventful().lines()))
    for seed, name in (("1", "one.html"), ("2", "two.html")):
        subprocess.run(
            [
                sys.executable,
                "-c",
                "from voicecheck.cli_after import review_command as run; run()",
                str(log),
                "--out",
                str(tmp_path / name),
            ],
            check=True,
            capture_output=True,
            env={"PYTHONHASHSEED": seed, "TZ": "Asia/Tokyo" if seed == "2" else "UTC"},
        )
    assert (tmp_path / "one.html").read_bytes() == (tmp_path / "two.html").read_bytes()


def test_what_a_log_says_cannot_become_part_of_the_page(page: str) -> None:
    assert "<b>unplugged</b>" not in page
    assert "&lt;b&gt;unplugged&lt;/b&gt;" in page


# --------------------------------------------------------------------------- the rehearsal cases

SCENARIOS = Path(__file__).parents[2] / "recordings_synthetic"


@pytest.mark.parametrize(
    "name", sorted(path.parent.name for path in SCENARIOS.glob("*/scenario.toml"))
)
def test_every_rehearsal_case_is_reviewed_end_to_end(name: str) -> None:
    """Its lines as text, through the core, to a page."""
    scenario = parse_scenario((SCENARIOS / name / "scenario.toml").read_text("utf-8"), name)
    tale = Story()
    for line in scenario.lines:
        tale.say(line.heard)
        if line.later:
            tale.wait()
    examined = examine(tale.lines())
    assert examined.report is not None
    content = b"".join(line + b"\n" for line in tale.lines())
    assert independent.verify(content, examined.report.checkpoint) == ""
    page = review(examined, f"{name}.log")
    refused = sum(line.then == "Refused" for line in scenario.lines)
    assert f"<dt>refused</dt><dd>{refused}</dd>" in page
    assert "<dt>record closed</dt><dd>yes</dd>" in page
    assert "Bytes and story hold" in page


# ------------------------------------------------------------------------------------ what it says


def test_a_page_says_what_was_stated_and_shows_its_cautions(page: str) -> None:
    text = " ".join(Page(page).text)
    assert CAUTION in text
    assert "checklist triangle free of fat" in text
    assert "noted outside the course" not in text
    assert "emergency" in text
    assert "Not proven" in text
    for never in ("achieved", "safe to clip", "prevents injury"):
        assert never not in text


def test_a_page_shows_the_checkpoint_and_how_to_prove_it_again(page: str) -> None:
    lines = eventful().lines()
    end = Checkpoint(length=len(lines), last=line_hash(lines[-1]))
    assert str(end) in page
    assert f"voicecheck verify invented.log --checkpoint {end.code}" in page


def test_what_a_checkpoint_proves_and_what_it_leaves_open_is_said_exactly() -> None:
    """RFC 4648: a short code has 8 letters of 5 bits; FIPS 180-4: a whole hash has 256 bits."""
    lines = eventful().lines()
    whole = Checkpoint(length=len(lines), last=line_hash(lines[-1]))
    said = dict(proof(examine(lines, b"", whole)))
    assert said["Checkpoint"].endswith("nothing up to it was changed or cut off.")
    assert "Not proven" not in said  # a closed record goes no further
    assert said["Checkpoint"] in review(examine(lines, b"", whole), "a.log")

    short = dict(proof(examine(lines, b"", parse_checkpoint(whole.code))))
    assert "names 40 bits" in short["Checkpoint"]

    early = Checkpoint(length=9, last=line_hash(lines[8]))
    assert "after line 9" in dict(proof(examine(lines, b"", early)))["Not proven"]
    still_open = dict(proof(examine(lines[:9], b"", early)))["Not proven"]
    assert still_open == "that no line after line 9 was cut off; the record is not closed."

    without = dict(proof(examine(lines)))
    assert "Checkpoint" not in without
    assert "only a checkpoint kept elsewhere" in without["Not proven"]
    assert "who said it" in without["Proven by no log"]


def test_the_time_in_each_phase_adds_up_to_the_record(examined: Examined) -> None:
    assert examined.report is not None
    found = phases(examined.report)
    assert [one.number for one in found[:8]] == list(range(1, 9))
    assert sum(one.total_s for one in found) == pytest.approx(examined.report.ended.since_s)
    assert [one.title for one in found if one.number is None] == ["Emergency"]
    assert any(not one.parts for one in found), "a phase that never came is in the table, too"


def test_the_legend_names_every_mark(page: str) -> None:
    legend = re.findall(r"<figcaption>(.*?)</figcaption>", page, re.DOTALL)[0]
    names = {"help": "help called", "interruption": "stand by", "gap": "nobody listened"}
    for kind in marks.SHAPES:
        assert names.get(kind, kind) in legend


def test_a_screen_reader_finds_language_headings_captions_and_a_name_for_the_picture(
    page: str,
) -> None:
    found = Page(page)
    assert found.named("html")[0]["lang"] == "en"
    assert len(found.named("h1")) == 1
    pictures = [attrs for attrs in found.named("div") if attrs.get("role") == "img"]
    assert all("tables below say the same" in (attrs["aria-label"] or "") for attrs in pictures)
    assert len(pictures) == 1
    assert len(found.named("table")) > 6
    assert found.named("th")


def test_everything_drawn_is_also_in_a_table(examined: Examined, page: str) -> None:
    report = examined.report
    assert report is not None
    rows = "".join(re.findall(r"<tr>.*?</tr>", page, re.DOTALL))
    drawn = (*report.refusals, *report.corrections, *report.events, *report.misunderstood)
    assert len(drawn) > 4
    for happening in drawn:
        assert f'<td class="n">{happening.at.line}</td>' in rows
    for span in report.spans:
        assert span.says in rows


# ------------------------------------------------------------------------------ seen by everybody


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.1 defines it."""
    channels = (int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5))
    r, g, b = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_contrast_formula_gives_its_known_extreme() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)  # WCAG 2.1, 1.4.3 and definition


@pytest.mark.parametrize("name", ["--ink", "--quiet", "--alarm"])
def test_text_has_the_contrast_that_wcag_asks_for_at_most(page: str, name: str) -> None:
    colour = re.search(rf"{name}: (#[0-9a-f]{{6}})", page)
    assert colour is not None
    for paper in ("#ffffff", "#f4f7f8"):
        assert contrast(colour[1], paper) >= 7  # WCAG 2.2, success criterion 1.4.6 (AAA)


def test_the_colours_are_those_of_okabe_and_ito() -> None:
    """Okabe & Ito 2008, "Color Universal Design"; values as the R help page palette.colors has."""
    known = {
        marks.ORANGE: "#E69F00",
        marks.SKY: "#56B4E9",
        marks.GREEN: "#009E73",
        marks.BLUE: "#0072B2",
        marks.VERMILION: "#D55E00",
        marks.PURPLE: "#CC79A7",
    }
    assert all(ours == theirs for ours, theirs in known.items())


def test_no_two_kinds_of_mark_share_a_shape() -> None:
    shapes = [shape for shape, _ in marks.SHAPES.values()]
    assert len(set(shapes)) == len(shapes)


# ------------------------------------------------------------------------------------- the doublet


def test_four_of_twenty_seven_scores_are_satisfactory_and_none_has_a_nought() -> None:
    """Sanford & Strasberg, J Am Coll Surg 2014;218:170-178: at least 5 of 6; 0 to 2 a criterion."""
    every = ((a, b, c) for a, b, c in product(range(3), repeat=3))
    good = [points for points in every if Doublet.of(points).satisfactory]
    assert sorted(good) == [(1, 2, 2), (2, 1, 2), (2, 2, 1), (2, 2, 2)]


def test_the_score_is_the_reviewers_line(examined: Examined) -> None:
    scored = review(examined, "a.log", Doublet.of((2, 1, 1), "trainer"))
    text = " ".join(" ".join(Page(scored).text).split())
    assert "scored by the reviewer (trainer), not by the machine, which sees nothing" in text
    assert "4 of 6: unsatisfactory" in text


# ------------------------------------------------------------------------------------- damaged logs


def flipped(whole: bytes) -> Iterator[tuple[int, bytes]]:
    """Every bit of the log flipped in turn, with the line that it is in."""
    line = 1
    for at, byte in enumerate(whole):
        for bit in range(8):
            yield line, whole[:at] + bytes([byte ^ 1 << bit]) + whole[at + 1 :]
        line += byte == 0x0A


def test_no_flipped_bit_is_called_intact_and_its_line_is_named(
    counted: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    tale = Story()
    tale.records = [opening(LEAST_TEXT, LEAST_COMMON)]
    tale.case = Case(tale.records[0])
    tale.say("x c", "yes")
    whole = b"".join(line + b"\n" for line in tale.lines())
    kept = Checkpoint(length=3, last=line_hash(tale.lines()[-1]))
    flips = pages = 0
    monkeypatch.setattr(
        "voicecheck.review.case_page.timeline", lambda _: ""
    )  # says nothing of damage
    for line, damaged in flipped(whole):
        *lines, torn = damaged.split(b"\n")
        found = examine(lines, torn, kept)
        assert not found.intact
        named = re.match(r"Line (\d+): ", found.damage[0])
        assert named is not None
        assert int(named[1]) in (line, line + 1), found.damage
        assert independent.verify(damaged, str(kept))
        if flips % 13 == 0:  # in turn every place and, 13 being odd, every bit of a byte
            page = review(found, "a.log")
            assert "This log is not intact." in page
            assert "Bytes and story hold" not in page
            pages += 1
        flips += 1
    counted.append(f"{flips} flipped bits named by line, {pages} pages, none called intact")


@pytest.mark.parametrize("at", [400, -700, -300])
def test_verify_names_the_line_of_a_flipped_bit(at: int, tmp_path: Path) -> None:
    whole = b"".join(line + b"\n" for line in eventful().lines())
    line = whole[: at % len(whole)].count(b"\n") + 1
    content = bytearray(whole)
    content[at] ^= 1
    log = tmp_path / "a.log"
    log.write_bytes(content)
    ran = CliRunner().invoke(verify_command, [str(log)])
    assert ran.exit_code == 1
    assert re.search(rf"does not hold.\n  Line ({line}|{line + 1}): ", ran.output)
    assert "carries the hash" not in ran.output


def test_verify_prints_a_checkpoint_that_it_takes_back_in_both_forms(tmp_path: Path) -> None:
    log = tmp_path / "a.log"
    log.write_bytes(b"".join(line + b"\n" for line in eventful().lines()))
    printed = CliRunner().invoke(verify_command, [str(log)]).output
    assert "Proven by no log" in printed
    whole, short = re.findall(r": (\d+[:-]\S{9,})\n", printed)
    for kept in (whole, short):
        ran = CliRunner().invoke(verify_command, [str(log), "--checkpoint", kept])
        assert ran.exit_code == 0, ran.output
        assert "Checkpoint: holds; line 26" in ran.output


@pytest.mark.parametrize("at", [400, -700, -300])
def test_the_page_of_a_damaged_log_says_so_first(at: int, tmp_path: Path) -> None:
    content = bytearray(b"".join(line + b"\n" for line in eventful().lines()))
    content[at] ^= 1
    log = tmp_path / "a.log"
    log.write_bytes(content)
    ran = CliRunner().invoke(review_command, [str(log)])
    text = " ".join(" ".join(Page((tmp_path / "a.html").read_text("utf-8")).text).split())
    assert ran.exit_code == 1
    assert "is not intact; the page says so" in ran.output
    assert "This log is not intact." in text
    assert "Bytes and story hold" not in text
    assert re.search(r"Line \d+: ", text)


def test_what_survives_is_what_the_next_line_vouches_for() -> None:
    lines = eventful().lines()
    changed = [*lines[:9], lines[9].replace(b"0.99", b"0.98"), *lines[10:]]
    found = examine(changed)
    assert found.damage[0].startswith("Line 11: ")
    assert found.report is not None
    assert found.report.ended.line == 9
    page = review(found, "a.log")
    assert "Told by lines 1 to 9 alone" in page
    assert "lines 1 to 9 of" in page


def test_a_false_story_under_sound_hashes_is_told_up_to_the_lie() -> None:
    lines = eventful().lines()
    other = Story(text=eventful().text).lines()
    assert lines[0] == other[0]
    cut = [*lines[:3], *lines[4:]]
    found = examine(cut)
    assert found.damage[0].startswith("Line 4: ")
    assert found.report is not None


def test_an_interrupted_line_and_a_missing_end_are_damage() -> None:
    lines = eventful().lines()
    end = Checkpoint(length=len(lines), last=line_hash(lines[-1]))
    torn = examine(lines[:-1], lines[-1][:40])
    assert torn.damage == (
        f"Line {len(lines)}: it was cut short after 40 bytes and was never acknowledged to "
        "anybody; every line before it holds, and `voicecheck serve` takes the record up from "
        "there",
    )
    cut = examine(lines[:-1], b"", end)
    assert not cut.intact
    assert "the checkpoint counts" in cut.damage[0]


def test_an_empty_log_has_a_page_that_says_that_nothing_can_be_told() -> None:
    found = examine([])
    assert found.report is None
    assert "Nothing of it can be told." in review(found, "a.log")


def test_a_case_can_be_examined_many_times_without_leaving_anything_behind() -> None:
    log = invent(2)
    before = len(machine(CURRENT.VERSION).models)
    for length in (1, 5, len(log)):
        examine(log[:length])
    examine([*log[:6], *log[7:]])
    assert len(machine(CURRENT.VERSION).models) == before


# -------------------------------------------------------------------------------------- the command


def test_bad_input_gets_one_sentence(tmp_path: Path) -> None:
    missing = CliRunner().invoke(review_command, [str(tmp_path / "none.log")])
    assert missing.exit_code == 1
    assert "there is no such file" in missing.output
    log = tmp_path / "a.log"
    log.write_bytes(b"".join(line + b"\n" for line in eventful().lines()))
    wrong = CliRunner().invoke(review_command, [str(log), "--checkpoint", "12:zz"])
    assert wrong.exit_code == 1
    assert "is no checkpoint" in wrong.output
    score = CliRunner().invoke(review_command, [str(log), "--doublet", "3", "1", "1"])
    assert score.exit_code == 2
    assert "3 is not in the range" in score.output


def test_a_missing_library_is_named_with_its_cure() -> None:
    with pytest.raises(MissingLibrary, match=r"pip install 'voicecheck\[review\]'"):
        library("no_such_library_here")


def test_a_live_case_needs_none_of_the_heavy_libraries() -> None:
    code = (
        "import sys, voicecheck.cli_after; "
        "print(sorted({'matplotlib', 'jinja2', 'duckdb', 'pyarrow'} & set(sys.modules)))"
    )
    ran = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert ran.stdout.strip() == "[]"
