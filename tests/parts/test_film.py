"""A case beside the film of its operation: subtitles and chapters, read by another's reader."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
import webvtt
from click.testing import CliRunner
from stories import THREE_CRITERIA, UP_TO_THE_CRITERIA, Story

from voicecheck.cli_records import export_command, review_command


def told() -> Story:
    """A case of a line a second; one item is stated by hand, and one line has mark-up in it."""
    tale = Story()
    tale.say(*UP_TO_THE_CRITERIA[:-1], f"by hand: {UP_TO_THE_CRITERIA[-1]}")
    tale.say(*THREE_CRITERIA, "checklist clips on the artery", "checklist view is lost")
    tale.say(
        "by hand: 1 < 2 & 3 --> 4",
        "checklist emergency",
        "checklist carry on",
        "checklist say again",
    )
    return tale


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "a.log"
    path.write_bytes(b"".join(line + b"\n" for line in told().lines()))
    return path


def exported(log: Path, *options: str) -> tuple[int, str]:
    out = log.with_suffix(".vtt")
    ran = CliRunner().invoke(export_command, [str(log), "--out", str(out), *options])
    return ran.exit_code, out.read_text("utf-8") if ran.exit_code == 0 else ran.output


def cues(log: Path, *options: str, to: str = "webvtt") -> list[Any]:
    """As webvtt-py reads them."""
    code, text = exported(log, "--to", to, *options)
    assert code == 0, text
    found: list[Any] = webvtt.from_string(text).captions
    return found


def seconds(stamp: str) -> float:
    """hh:mm:ss.ttt (W3C WebVTT, 3.3)."""
    hours, minutes, rest = stamp.split(":")
    return int(hours) * 3600 + int(minutes) * 60 + float(rest)


def began(log: Path) -> dict[str, tuple[float, str]]:
    """Line → when its words began, in seconds since the opening, and the words; from plain JSON."""
    lines = [json.loads(line) for line in log.read_bytes().splitlines()]
    zero_us = lines[0]["at"]["mono_us"]
    found: dict[str, tuple[float, str]] = {}
    for line in lines:
        cause = line["cause"] or {}
        lasted_s = cause.get("audio_to_s", 0.0) - cause.get("audio_from_s", 0.0)
        at_s = max(0.0, (line["at"]["mono_us"] - zero_us) / 1e6 - lasted_s)
        found[f"line {line['seq']}"] = (at_s, cause.get("text", ""))
    return found


def test_each_line_is_where_its_words_are_in_the_film(log: Path) -> None:
    """The film starts half a minute before the record."""
    found = {cue.identifier: cue for cue in cues(log, "--film-starts", "2031-05-05T23:59:30Z")}
    lines = began(log)
    assert list(found) == [
        "caution",
        *sorted(lines, key=lambda name: (lines[name][0], int(name[5:]))),
    ]
    for name, (at_s, text) in lines.items():
        assert seconds(found[name].start) == pytest.approx(at_s + 30, abs=0.0011)
        assert seconds(found[name].end) > seconds(found[name].start)
        assert (
            text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
            in found[name].raw_text
        )
    starts = [seconds(cue.start) for cue in found.values()]
    assert starts == sorted(starts)  # W3C WebVTT, 4.1: no cue starts before the one above it


def test_what_was_said_counts_and_was_answered_are_three_rows_with_their_speakers(
    log: Path,
) -> None:
    by_line = {cue.identifier: cue for cue in cues(log)}
    refused = next(cue for cue in by_line.values() if "refused: artery clipped" in cue.text)
    said, counts_as, answered = refused.raw_text.split("\n")
    assert said == "<v a voice in the theatre>checklist clips on the artery</v>"
    assert counts_as == "refused: artery clipped; outstanding: five-second pause"
    assert answered.startswith("<v voicecheck>Refused")
    assert answered.endswith("</v>")


def test_a_film_opens_with_the_case_and_its_cautions(log: Path) -> None:
    first = cues(log)[0]
    assert first.start == "00:00:00.000"
    assert "Case invented-1." in first.text
    _, text = exported(log, "--to", "webvtt")
    assert text.startswith("WEBVTT - case invented-1\n\nNOTE ")
    assert first.text.endswith("\nInvented.")
    assert "NOTE Invented." in text


@pytest.mark.parametrize(
    ("options", "starts_s"),
    [
        (("--film-starts", "00:00:05"), 5.0),
        (("--film-starts", "23:59:00"), -60.0),
        (("--align", "checklist view is lost=0:00:10.5"), None),
        (("--align", "view is lost=0:10.5"), None),
        (("--align", "line 15=0:00:10.5"), None),
    ],
)
def test_a_film_is_laid_beside_the_record_by_clock_or_by_words(
    log: Path, options: tuple[str, str], starts_s: float | None
) -> None:
    lost = next(name for name, (_, text) in began(log).items() if "view is lost" in text)
    options = (options[0], options[1].replace("line 15", lost))
    found = {cue.identifier: seconds(cue.start) for cue in cues(log, *options)}
    expected = 10.5 if starts_s is None else began(log)[lost][0] - starts_s
    assert found[lost] == pytest.approx(expected, abs=0.0011)


def test_lines_before_the_film_are_not_in_it(log: Path) -> None:
    names = [cue.identifier for cue in cues(log, "--film-starts", "00:00:05")]
    inside = [name for name, (at_s, _) in began(log).items() if at_s >= 5]
    assert sorted(names[1:]) == sorted(inside)


def test_the_chapters_are_the_phases_and_the_times_outside_the_course(log: Path) -> None:
    found = cues(log, "--align", "view is lost=0:00:20", to="webvtt-chapters")
    assert [cue.text for cue in found] == [
        "Positioning",
        "Access",
        "Retraction",
        "Safe line",
        "Three criteria",
        "Pause",
        "Three criteria",
        "Emergency",
        "Three criteria",
    ]
    assert all(a.end == b.start for a, b in pairwise(found))


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        (("--film-starts", "noon"), "noon is no time."),
        (("--film-starts", "2031-05-06T00:00:00"), "is no time."),
        (("--film-starts", "25:00:00"), "is no time."),
        (("--align", "view is lost"), "does not say where a phrase is in the film"),
        (("--align", "view is lost=soon"), "does not say where a phrase is in the film"),
        (("--align", "never said=0:10"), "Nobody said “never said” in this record."),
        (("--align", "confirm=0:10"), "“confirm” was said 3 times (line 9 at 0:08, line 11 at"),
        (("--align", "view is lost=0:10", "--film-starts", "08:00"), "not both"),
    ],
)
def test_bad_input_gets_one_sentence(log: Path, options: tuple[str, ...], sentence: str) -> None:
    code, output = exported(log, "--to", "webvtt", *options)
    assert code == 1
    assert sentence in output


def test_a_film_is_for_subtitles_only(log: Path) -> None:
    code, output = exported(log, "--to", "csv", "--film-starts", "00:00:05")
    assert code == 1
    assert "are for a film" in output


# -------------------------------------------------------------------------- the page with the film


def test_a_folder_holds_page_review_subtitles_and_chapters_and_not_the_film(
    log: Path, tmp_path: Path
) -> None:
    film = tmp_path / "my film.webm"
    film.write_bytes(b"film")
    options = [str(log), "--film", str(film), "--film-starts", "00:00:05"]
    ran = CliRunner().invoke(review_command, options)
    assert ran.exit_code == 0, ran.output
    folder = tmp_path / "a-film"
    names = {path.name for path in folder.iterdir()}
    assert names == {"film.html", "review.html", "subtitles.vtt", "chapters.vtt"}
    page = (folder / "film.html").read_text("utf-8")
    assert 'src="../my%20film.webm"' in page
    assert 'href="review.html"' in page
    ran = CliRunner().invoke(review_command, [*options, "--copy-film"])
    assert (folder / "film.webm").read_bytes() == b"film"
    assert 'src="film.webm"' in (folder / "film.html").read_text("utf-8")


def test_a_damaged_log_is_played_beside_no_film(log: Path, tmp_path: Path) -> None:
    (tmp_path / "f.webm").write_bytes(b"film")
    lines = log.read_bytes().splitlines(keepends=True)
    log.write_bytes(b"".join([*lines[:9], *lines[10:]]))
    ran = CliRunner().invoke(review_command, [str(log), "--film", str(tmp_path / "f.webm")])
    assert ran.exit_code == 1
    assert "is not intact, and the page says so" in ran.output
    assert [path.name for path in (tmp_path / "a-film").iterdir()] == ["review.html"]
    assert "This log is not intact." in (tmp_path / "a-film" / "review.html").read_text("utf-8")


def test_a_missing_film_is_named(log: Path, tmp_path: Path) -> None:
    ran = CliRunner().invoke(review_command, [str(log), "--film", str(tmp_path / "none.webm")])
    assert ran.exit_code == 2
    assert "does not exist" in ran.output
    assert not (tmp_path / "a-film").exists()


def test_without_a_start_the_film_is_taken_to_start_with_the_record_and_that_is_told(
    log: Path,
) -> None:
    ran = CliRunner().invoke(export_command, [str(log), "--to", "webvtt"])
    assert ran.exit_code == 0
    assert "taken to start when the record was opened, at 00:00:00 UTC" in ran.stderr
    assert ran.stdout.startswith("WEBVTT")
