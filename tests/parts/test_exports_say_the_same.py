"""Every export says what the log says: what was said, what it counts as, what was answered.

One story holds every kind of fact; what each line of it is, was written down here by hand. Each
export is read back by somebody else's reader.
"""

from __future__ import annotations

import contextlib
import io
import json
import warnings
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields, replace
from html import unescape
from pathlib import Path
from typing import Any, get_args

import pandas as pd
import pyarrow.parquet as pq
import pytest
import webvtt
from fhirclient.models.bundle import Bundle
from golden_make import KINDS
from lxml import html
from stories import PLAIN_TEXT, Story, resealed

from voicecheck.cases.collection import collect
from voicecheck.core.facts import Fact, Opened, Why
from voicecheck.core.inputs import Input, Restarted, Said, Trouble
from voicecheck.review.case_page import case_page
from voicecheck.review.examine import examine
from voicecheck.review.formats import export
from voicecheck.review.lines import REASONS


@dataclass(frozen=True, kw_only=True, slots=True)
class Told:
    """One line of the story, as everybody must tell it."""

    given: str | Input
    """What reaches the machine: words, or something else; "" is time that passes."""
    fact: str
    counts_as: str
    activity: str
    """In an event log: read-back, reply and statement are one; any other line has its own."""
    transition: str
    lapses: tuple[str, ...]
    """What falls: in an event log each is an event."""
    advice: str
    """What the machine answers beyond what was said; "" if that is not at stake."""


def told(
    given: str | Input,
    fact: str,
    counts_as: str,
    *,
    activity: str = "",
    transition: str = "complete",
    lapses: tuple[str, ...] = (),
    advice: str = "",
) -> Told:
    return Told(
        given=given,
        fact=fact,
        counts_as=counts_as + (f"; lapsed: {'; '.join(lapses)}" if lapses else ""),
        activity=activity or counts_as,
        transition=transition,
        lapses=lapses,
        advice=advice,
    )


TABLE, PORTS = "table head up, right side up", "camera port and three working ports"
FUNDUS, NECK = "fundus toward the right shoulder", "neck held down and out"
LINE, ABOVE = "safe line shown", "dissection above the line"
TRIANGLE, PLATE, TWO = (
    "triangle cleared",
    "lower third off the plate",
    "two and only two structures",
)
PAUSE, CLOSING = "five-second pause", "closing the record"
REST = (
    "artery clipped; duct clipped; artery divided; duct divided; bed inspected; specimen out; "
    "counts handed to the team's sign-out"
)
TRIANGLE_WAITS = told(
    "checklist triangle free of fat",
    "Proposed",
    f"waits for confirm: {TRIANGLE} (triangle cleared of fat)",
    activity=TRIANGLE,
    transition="start",
)
CLOSING_WAITS = told(
    "checklist close the record",
    "CloseProposed",
    f"waits for confirm: {CLOSING}",
    activity=CLOSING,
    transition="start",
)

STORY = (
    told(Said(text="Begin.", audio_from_s=0.0, audio_to_s=0.5), "Spoke", "spoke (deaf)"),
    told("[unk]", "NotUnderstood", "other speech"),
    told("checklist", "Addressed", "listening"),
    told(
        "checklist clips on the artery",
        "Refused",
        f"refused: artery clipped; outstanding: {TABLE}; {PORTS}; {FUNDUS}; {NECK}; {LINE}; "
        f"{ABOVE}; {TRIANGLE}; {PLATE}; {TWO}; {PAUSE}",
        activity="refused: artery clipped",
    ),
    told(
        "checklist table tilted head up",
        "Stated",
        f"stated: {TABLE} (table tilted)",
        activity=TABLE,
    ),
    told(
        "checklist neck pulled the wrong way",
        "Stated",
        f"stated, not as required: {NECK} (neck pulled up)",
        advice="Pull it down and out",
    ),
    told(
        "checklist all four ports in place",
        "Stated",
        f"stated: {PORTS} (four ports in place)",
        activity=PORTS,
    ),
    told(
        "checklist fundus to the shoulder",
        "Stated",
        f"stated: {FUNDUS} (fundus to the shoulder)",
        activity=FUNDUS,
    ),
    told(
        "checklist neck held down and out",
        "Stated",
        f"stated: {NECK} (neck down and out)",
        activity=NECK,
    ),
    told(
        "checklist sulcus not seen",
        "Stated",
        f"stated: {LINE} (sulcus not seen)",
        activity=LINE,
    ),
    told(
        "checklist dissecting above the line",
        "Stated",
        f"stated: {ABOVE} (above the line)",
        activity=ABOVE,
    ),
    told("checklist withdraw the fundus", "Withdrawn", f"withdrawn: {FUNDUS}"),
    told(
        "checklist withdraw the fundus",
        "Refused",
        f"refused: {FUNDUS} (nothing to withdraw)",
    ),
    told(
        "by hand: checklist fundus to the shoulder",
        "Stated",
        f"stated: {FUNDUS} (fundus to the shoulder)",
        activity=FUNDUS,
    ),
    told(
        "checklist structures uncertain",
        "Stated",
        f"stated, not as required: {TWO} (unclear)",
        advice="Stop: image, help or bail out",
    ),
    TRIANGLE_WAITS,
    told(
        "negative",
        "Retracted",
        f"not recorded: {TRIANGLE} (denied)",
        activity=TRIANGLE,
        transition="ate_abort",
    ),
    TRIANGLE_WAITS,
    told(
        "",
        "Lapsed",
        f"not recorded: {TRIANGLE} (no reply in time)",
        activity=TRIANGLE,
        transition="ate_abort",
    ),
    TRIANGLE_WAITS,
    told("confirm", "Stated", f"stated: {TRIANGLE} (triangle cleared of fat)", activity=TRIANGLE),
    told(
        "checklist lower third off the plate",
        "Proposed",
        f"waits for confirm: {PLATE} (lower third off its plate)",
        activity=PLATE,
        transition="start",
    ),
    told("confirm", "Stated", f"stated: {PLATE} (lower third off its plate)", activity=PLATE),
    told(
        "checklist two and only two",
        "Proposed",
        f"waits for confirm: {TWO}",
        activity=TWO,
        transition="start",
    ),
    told("confirm", "Stated", f"stated: {TWO}", activity=TWO),
    told("checklist say again", "Repeated", "said again", advice="Begin."),
    told(
        "checklist begin the pause",
        "PauseBegun",
        f"pause begun: {PAUSE}",
        activity=PAUSE,
        transition="start",
        advice="Hands still",
    ),
    told(
        "",
        "Proposed",
        f"waits for confirm: {PAUSE} (pause held)",
        activity=PAUSE,
        transition="start",
    ),
    told("confirm", "Stated", f"stated: {PAUSE} (pause held)", activity=PAUSE),
    told("", "Expired", "stated too long ago", lapses=(PAUSE,)),
    told(
        "checklist what is outstanding",
        "Listed",
        f"outstanding: {PAUSE}; {REST}",
        activity="outstanding",
    ),
    told(
        "checklist wall too thick to grasp",
        "Cautioned",
        "caution given: thick or tense wall",
        advice="Decompress before grasping",
    ),
    told("checklist call for help", "HelpCalled", "help called for"),
    told(
        "checklist view is lost",
        "Occurred",
        "event noted: view lost",
        lapses=(TRIANGLE, PLATE, TWO),
        advice="Restore the view",
    ),
    told("checklist stand by", "StoodBy", "standing by"),
    told(
        "checklist table tilted head up",
        "Refused",
        f"refused: {TABLE} (standing by)",
    ),
    told("checklist carry on", "Resumed", "carrying on"),
    told(
        Trouble(part="microphone", message="unplugged"),
        "Failed",
        "trouble: microphone",
        transition="start",
        advice="Use the entry by hand",
    ),
    told(
        Trouble(part="microphone", message="back", over=True),
        "Recovered",
        "recovered: microphone",
        activity="trouble: microphone",
    ),
    told(
        Restarted(gap_s=90.0),
        "Reopened",
        "taken up again (nobody listened for 1 min 30 s)",
        activity="taken up again",
    ),
    told(
        "checklist going for subtotal",
        "BailedOut",
        "bail-out noted: subtotal cholecystectomy",
    ),
    told(
        "checklist clips on the artery",
        "Noted",
        "noted outside the course: artery clipped",
    ),
    told(
        "checklist structures uncertain",
        "Noted",
        f"noted outside the course, not as required: {TWO} (unclear)",
        advice="Stop: image, help or bail out",
    ),
    told("by hand: checklist emergency", "Overridden", "emergency noted"),
    told(
        "checklist duct clipped leaving a pair",
        "Noted",
        "noted outside the course: duct clipped (duct clipped, two stay)",
    ),
    CLOSING_WAITS,
    told(
        "negative",
        "Retracted",
        f"not recorded: {CLOSING} (denied)",
        activity=CLOSING,
        transition="ate_abort",
    ),
    CLOSING_WAITS,
    told(
        "confirm",
        "Closed",
        f"closed; outstanding: {TRIANGLE}; {PLATE}; {TWO}; {PAUSE}; {REST}",
        activity=CLOSING,
    ),
)
"""Every line after the opening."""
OPENING = told("", "Opened", "opened")
ALL = (OPENING, *STORY)


def written(*, rehearsal: bool) -> list[bytes]:
    """The log of the story."""
    tale = Story(text=PLAIN_TEXT)
    for line in STORY:
        if line.given == "":
            tale.wait()
        elif isinstance(line.given, str):
            tale.say(line.given)
        else:
            tale.give(line.given)
    first = tale.records[0]
    assert isinstance(first.fact, Opened)
    opened = replace(first.fact, caution="Not a medical device: invented.", rehearsal=rehearsal)
    return resealed([replace(first, fact=opened), *tale.records[1:]])


@pytest.fixture(scope="module")
def log() -> list[bytes]:
    return written(rehearsal=True)


# ----------------------------------------------------------------------------------- the readers

ReadBack = list[dict[str, str]]
"""Each line as text: line, said, fact, counts_as, answered; case, caution and rehearsal if the
export is one table; and what else it has."""


def from_csv(log: list[bytes], _at: Path) -> ReadBack:
    """pandas."""
    table = pd.read_csv(io.StringIO(export(log, "csv")), dtype=str, keep_default_na=False)
    return [_texts(row) for row in table.to_dict("records")]


def from_xes(log: list[bytes], at: Path) -> ReadBack:
    """pm4py; without the events of what lapsed."""
    return [each for each in _mined(log, at) if not each["activity"].startswith("lapsed: ")]


def _mined(log: list[bytes], at: Path) -> ReadBack:
    (at / "a.xes").write_text(export(log, "xes"), encoding="utf-8")
    with warnings.catch_warnings(), contextlib.redirect_stdout(io.StringIO()):
        warnings.simplefilter("ignore")  # the library warns when imported
        import pm4py

        table: pd.DataFrame = pm4py.convert_to_dataframe(
            pm4py.read_xes(str(at / "a.xes"), show_progress_bar=False)
        )
    names = {
        "concept:name": "activity",
        "lifecycle:transition": "transition",
        "case:concept:name": "case",
        "case:rehearsal": "rehearsal",
        "case:caution": "caution",
    }
    return [_texts(row) for row in table.rename(columns=names).to_dict("records")]


def _texts(row: Mapping[Any, Any]) -> dict[str, str]:
    """Each cell that is not empty, as text."""
    return {
        str(key): str(value).lower() if isinstance(value, bool) else str(value)
        for key, value in row.items()
        if not pd.isna(value)
    }


def from_fhir(log: list[bytes], _at: Path) -> ReadBack:
    """fhirclient, whose models are generated from FHIR 4.0.1."""
    resources = [entry.resource for entry in Bundle(json.loads(export(log, "fhir"))).entry]
    procedure, events = resources[0], resources[2:]
    whole = {"caution": procedure.note[-1].text, "case": procedure.identifier[0].value}
    return [{**whole, **_audited(event)} for event in events]


def _audited(event: Any) -> dict[str, str]:
    details = {each.type: each.valueString for each in event.entity[0].detail}
    tags = [(tag.system, tag.code) for tag in event.meta.tag] if event.meta else []
    return {
        **details,
        "fact": event.subtype[0].code,
        "counts_as": event.outcomeDesc,
        "rehearsal": str(
            ("http://terminology.hl7.org/CodeSystem/v3-ActReason", "HTEST") in tags
        ).lower(),
    }


def from_parquet(log: list[bytes], at: Path) -> ReadBack:
    """pyarrow."""
    folder = at / "logs"
    folder.mkdir()
    (folder / "a.log").write_bytes(b"".join(line + b"\n" for line in log))
    home = collect(folder, at / "out", rehearsals=True)
    (case,) = pq.read_table(home / "cases").to_pylist()
    whole = {key: case[key] for key in ("case", "caution", "rehearsal")}
    return [_texts({**row, **whole}) for row in pq.read_table(home / "lines").to_pylist()]


def from_webvtt(log: list[bytes], _at: Path) -> ReadBack:
    """webvtt-py; facts are named in words only."""
    text = export(log, "webvtt")
    captions: list[Any] = webvtt.from_string(text).captions
    first, *cues = captions
    head = text.partition("\n\nNOTE ")[0]
    whole = {
        "case": head.removeprefix("WEBVTT - case ").split(" · ")[0],
        "caution": first.text.split("\n")[-1],
        "rehearsal": str(
            "Rehearsal: no operation" in head and "no operation" in first.text
        ).lower(),
    }
    return [
        {**whole, **_subtitled(cue)}
        for cue in sorted(cues, key=lambda cue: int(cue.identifier[5:]))
    ]


def _subtitled(cue: Any) -> dict[str, str]:
    """What a cue says: words of its speakers around the row that no speaker has."""
    rows = [unescape(row) for row in cue.raw_text.split("\n")]
    (middle,) = (place for place, row in enumerate(rows) if not row.startswith("<v "))
    spoken = [row.partition(">")[2].removesuffix("</v>") for row in rows]
    return {
        "line": cue.identifier.removeprefix("line "),
        "said": " ".join(spoken[:middle]),
        "counts_as": rows[middle],
        "answered": " ".join(spoken[middle + 1 :]),
    }


def from_page(log: list[bytes], _at: Path) -> ReadBack:
    """lxml; the page names facts in words only."""
    page = html.fromstring(case_page(examine(log), "a.log"))
    (table,) = page.xpath("//h2[.='Line by line']/following::table[1]")
    text = page.text_content()
    rows = [[" ".join(cell.text_content().split()) for cell in row] for row in table[2]]
    return [
        {
            "line": line,
            "said": said.partition("“")[2].partition("”")[0],
            "counts_as": counts_as,
            "answered": answered.removeprefix("–"),
            "case": text.partition("Case record · ")[2].partition(" · ")[0],
            "caution": "Not a medical device: invented." * ("device: invented." in text),
            "rehearsal": str("Rehearsal: no operation" in text).lower(),
        }
        for line, _, said, counts_as, answered in rows
    ]


READERS: Mapping[str, Callable[[list[bytes], Path], ReadBack]] = {
    "csv": from_csv,
    "xes": from_xes,
    "fhir": from_fhir,
    "parquet": from_parquet,
    "webvtt": from_webvtt,
    "page": from_page,
}


@pytest.fixture(scope="module", params=READERS)
def read_back(
    request: pytest.FixtureRequest, log: list[bytes], tmp_path_factory: pytest.TempPathFactory
) -> ReadBack:
    return READERS[request.param](log, tmp_path_factory.mktemp(request.param))


# ------------------------------------------------------------------------------- export × fact


def test_the_story_holds_every_kind_of_fact_there_is(log: list[bytes]) -> None:
    """A kind or a field that is added later needs a line here before any export may pass."""
    assert {line.fact for line in ALL} == KINDS
    held = [json.loads(line)["fact"] for line in log]
    assert [fact["type"] for fact in held] == [line.fact for line in ALL]
    known = {each.name for kind in get_args(Fact) if kind is not Opened for each in fields(kind)}
    assert known == {key for fact in held[1:] for key, value in fact.items() if value} - {"type"}


def test_every_reason_of_a_refusal_has_words() -> None:
    assert set(REASONS) == set(Why)


def test_every_export_tells_each_line_as_the_log_has_it(
    read_back: ReadBack, log: list[bytes]
) -> None:
    assert [row["line"] for row in read_back] == [str(json.loads(line)["seq"]) for line in log]
    for row, line, expected in zip(read_back, log, ALL, strict=True):
        cause = json.loads(line)["cause"] or {}
        said = cause.get("text", cause.get("message", ""))
        assert row.get("said", "") == ("(other speech)" if said == "[unk]" else said)
        assert row["counts_as"] == expected.counts_as
        assert row.get("fact", expected.fact) == expected.fact


def test_what_the_machine_answered_is_in_nobody_elses_mouth(read_back: ReadBack) -> None:
    for row, expected in zip(read_back, ALL, strict=True):
        if expected.advice:
            assert expected.advice in row["answered"]
            elsewhere = {key: cell for key, cell in row.items() if key != "answered"}
            assert not any(expected.advice in cell for cell in elsewhere.values()), elsewhere


def test_every_export_bears_its_case_its_caution_and_that_it_is_a_rehearsal(
    read_back: ReadBack,
) -> None:
    for row in read_back:
        assert row["case"] == "invented-1"
        assert row["caution"] == "Not a medical device: invented."
        assert row["rehearsal"] == "true"


@pytest.mark.parametrize("name", READERS)
def test_no_export_calls_a_case_a_rehearsal(name: str, tmp_path: Path) -> None:
    assert {row["rehearsal"] for row in READERS[name](written(rehearsal=False), tmp_path)} == {
        "false"
    }


@pytest.mark.parametrize("name", ["csv", "xes", "fhir", "parquet"])
def test_every_field_of_every_fact_is_a_cell_of_its_line(
    name: str, log: list[bytes], tmp_path: Path
) -> None:
    """The page has names instead of ids. The opening's fields are those of the case."""
    for row, line in zip(READERS[name](log, tmp_path), log, strict=True):
        fact = json.loads(line)["fact"]
        if fact["type"] != "Opened":
            assert set(_cells(fact)) <= set(row.values()), (fact, row)


def _cells(fact: Mapping[str, Any]) -> Iterator[str]:
    for key, value in fact.items():
        text = " ".join(value) if isinstance(value, list) else str(value)
        if key == "gap_s":
            text = str(float(text))
        if text:
            yield text


# -------------------------------------------------------------- what only one of the exports has


def test_an_event_log_has_the_activity_of_each_line_and_of_all_that_lapsed(
    log: list[bytes], tmp_path: Path
) -> None:
    expected: list[tuple[str, str, str]] = []
    for number, line in enumerate(ALL, 1):
        expected.append((str(number), line.activity, line.transition))
        expected += [(str(number), f"lapsed: {name}", "complete") for name in line.lapses]
    found = _mined(log, tmp_path)
    assert [(row["line"], row["activity"], row["transition"]) for row in found] == expected


def test_what_was_not_stated_as_required_never_completes_the_item_in_an_event_log(
    log: list[bytes], tmp_path: Path
) -> None:
    for row in from_xes(log, tmp_path):
        if row.get("satisfies") == "false" or row["fact"] == "Noted":
            assert row["activity"] not in (NECK, TWO, "artery clipped", "duct clipped")


def test_the_notes_of_a_procedure_say_what_counts_and_never_what_was_answered(
    log: list[bytes],
) -> None:
    procedure = Bundle(json.loads(export(log, "fhir"))).entry[0].resource
    notes = [note.text.partition(" ")[2] for note in procedure.note[:-1]]
    clinical = ("Stated", "Noted", "Withdrawn", "Occurred", "Cautioned", "HelpCalled")
    left = ("BailedOut", "Overridden", "Resumed", "Expired")
    assert notes == [line.counts_as for line in ALL if line.fact in (*clinical, *left)]


def test_every_resource_of_a_rehearsal_has_the_tag_of_test_data(log: list[bytes]) -> None:
    whole = Bundle(json.loads(export(log, "fhir")))
    for resource in (whole, *(entry.resource for entry in whole.entry)):
        assert [tag.code for tag in resource.meta.tag] == ["HTEST"]


def test_the_picture_of_a_rehearsal_says_so(log: list[bytes]) -> None:
    (picture,) = html.fromstring(case_page(examine(log), "a.log")).xpath("//*[local-name()='svg']")
    assert "Rehearsal: no operation" in picture.text_content()
