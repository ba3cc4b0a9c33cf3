"""The page of one case: self-contained, the same every time, accessible, true to its log."""

from __future__ import annotations

import re
import subprocess
import sys
from html.parser import HTMLParser
from itertools import product
from pathlib import Path

import independent
import pytest
from click.testing import CliRunner
from rooms import SCENARIOS, inputs, scenario
from stories import THREE_CRITERIA, UP_TO_THE_CRITERIA, Story

from voicecheck.cli_records import review_command
from voicecheck.core.chain import Checkpoint, line_hash
from voicecheck.core.inputs import Trouble
from voicecheck.core.wording import CAUTION
from voicecheck.review import marks
from voicecheck.review.case_page import Doublet, case_page, phases
from voicecheck.review.examine import Examined, examine
from voicecheck.review.optional import MissingLibrary, library


class Page(HTMLParser):
    """The tags and texts of a page."""

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
    return case_page(examined, "invented.log")


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
                "from voicecheck.cli_records import review_command as run; run()",
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


@pytest.mark.parametrize("name", SCENARIOS)
def test_every_rehearsal_case_is_reviewed_end_to_end(name: str) -> None:
    """From its lines as text, through the core, to a page."""
    tale, lines = Story(), scenario(name).lines
    for line in lines:
        for heard in inputs(line):
            tale.give(heard)
        if line.later:
            tale.wait()
    examined = examine(tale.lines())
    assert examined.report is not None
    content = b"".join(line + b"\n" for line in tale.lines())
    assert independent.verify(content, examined.report.checkpoint) == ""
    page = case_page(examined, f"{name}.log")
    refused = sum(line.then.count("Refused") for line in lines)
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
    assert f"voicecheck verify invented.log --checkpoint {end.long_code}" in page


def test_the_time_in_each_phase_adds_up_to_the_record(examined: Examined) -> None:
    assert examined.report is not None
    found = phases(examined.report)
    assert [one.number for one in found[:8]] == list(range(1, 9))
    assert sum(one.total_s for one in found) == pytest.approx(examined.report.ended.since_s)
    assert [one.title for one in found if one.number is None] == ["Emergency"]
    assert any(not one.parts for one in found), "a phase that never came is in the table, too"


def test_every_time_is_minutes_and_seconds_in_tables_and_picture_alike(page: str) -> None:
    cells = re.findall(r'<td class="n">([\d:]+)</td>', page)
    times = [cell for cell in cells if ":" in cell]
    assert len(times) > 20
    assert all(re.fullmatch(r"\d+:[0-5]\d", time) for time in times)
    (picture,) = re.findall(r"<svg.*?</svg>", page, re.DOTALL)
    ticks = re.findall(r">(\d+:\d\d)</text>", picture)
    assert len(ticks) > 3
    assert all(re.fullmatch(r"\d+:[0-5]\d", tick) for tick in ticks)


def test_the_times_of_the_phases_add_up_as_they_are_shown(page: str) -> None:
    table = page.partition("<h2>Time in each phase</h2>")[2].partition("</table>")[0]
    shown = re.findall(r'<td class="n">(?:<b>)?(\d+):(\d\d)', table)
    *parts, whole = [int(minutes) * 60 + int(seconds) for minutes, seconds in shown]
    assert len(parts) == 9
    assert sum(parts) == whole


def test_the_page_leads_with_the_first_call_for_a_clip() -> None:
    """Called for at 9 s with one criterion of three, and again when all stood."""
    tale = Story()
    tale.say(*UP_TO_THE_CRITERIA, *THREE_CRITERIA[:2], "checklist clips on the artery")
    tale.say(*THREE_CRITERIA[2:], "checklist begin the pause")
    tale.wait()
    tale.say("confirm", "checklist clips on the artery", "confirm", "checklist view is lost")
    tale.say(*THREE_CRITERIA[:2])
    shown = case_page(examine(tale.lines()), "a.log")
    figures = re.findall(
        r'<dt>([^<]*)</dt><dd>([^<]*)</dd>(?:<dd class="note">([^<]*)</dd>)?', shown
    )
    assert figures[:5] == [
        ("clip or division first called for", "0:09", "artery clipped: refused, 3 missing"),
        ("calls for a clip or division", "2", "1 refused"),
        ("from the first call to the first act recorded", "0:13", ""),
        ("all criteria had stood before that act for", "0:09", ""),
        ("statements that lapsed", "4", "1 stated again, after 0:02 (median)"),
    ]
    assert "Missing then: lower third off the plate; two and only two structures;" in shown
    assert "First called for: artery clipped at 0:09" in shown
    assert "First recorded in the course: artery clipped at 0:22" in shown


def test_the_legend_names_every_mark(page: str) -> None:
    legend = re.findall(r"<figcaption>(.*?)</figcaption>", page, re.DOTALL)[0]
    for shape in marks.SHAPES.values():
        assert f" · {shape.character} {shape.name}" in legend


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
    """Relative luminance, as WCAG 2.1 defines it."""
    channels = (int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5))
    r, g, b = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_contrast_formula_gives_its_known_extreme() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)  # WCAG 2.1, 1.4.3 and definition


@pytest.mark.parametrize("name", ["--ink", "--quiet", "--alarm"])
def test_text_has_the_greatest_contrast_that_wcag_asks_for(page: str, name: str) -> None:
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
    shapes = marks.SHAPES.values()
    assert len({shape.marker for shape in shapes}) == len(shapes)
    assert len({shape.character for shape in shapes}) == len(shapes)


# ------------------------------------------------------------------------------------- the doublet


def test_four_of_twenty_seven_scores_are_satisfactory_and_none_has_a_zero() -> None:
    """Sanford & Strasberg, J Am Coll Surg 2014;218:170-178: at least 5 of 6; 0 to 2 a criterion."""
    every = ((a, b, c) for a, b, c in product(range(3), repeat=3))
    good = [points for points in every if Doublet(points=points).satisfactory]
    assert sorted(good) == [(1, 2, 2), (2, 1, 2), (2, 2, 1), (2, 2, 2)]


def test_the_score_is_the_reviewers_line(examined: Examined) -> None:
    scored = case_page(examined, "a.log", Doublet(points=(2, 1, 1), reviewer="trainer"))
    text = " ".join(" ".join(Page(scored).text).split())
    assert "scored by the reviewer (trainer), not by the machine, which sees nothing" in text
    assert "4 of 6: unsatisfactory" in text


# -------------------------------------------------------------------------------------- the command


def test_bad_input_gets_one_sentence(tmp_path: Path) -> None:
    missing = CliRunner().invoke(review_command, [str(tmp_path / "none.log")])
    assert missing.exit_code == 1
    assert "there is no such file" in missing.output
    log = tmp_path / "a.log"
    log.write_bytes(b"".join(line + b"\n" for line in eventful().lines()))
    wrong = CliRunner().invoke(review_command, [str(log), "--checkpoint", "12:zz"])
    assert wrong.exit_code == 1
    assert "is not a checkpoint" in wrong.output
    score = CliRunner().invoke(review_command, [str(log), "--doublet", "3", "1", "1"])
    assert score.exit_code == 2
    assert "3 is not in the range" in score.output


def test_a_missing_library_is_named_with_its_cure() -> None:
    with pytest.raises(MissingLibrary, match=r"pip install 'voicecheck\[review\]'"):
        library("no_such_library_here")


def test_a_live_case_needs_none_of_the_heavy_libraries() -> None:
    code = (
        "import sys, voicecheck.cli_records; "
        "print(sorted({'matplotlib', 'jinja2', 'duckdb', 'pyarrow'} & set(sys.modules)))"
    )
    ran = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert ran.stdout.strip() == "[]"
