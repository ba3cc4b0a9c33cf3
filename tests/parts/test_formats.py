"""The exports, read back by others: a spreadsheet reader, FHIR R4 models, process mining."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import warnings
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from click.testing import CliRunner
from fhirclient.models.auditevent import AuditEvent
from fhirclient.models.bundle import Bundle
from fhirclient.models.device import Device
from fhirclient.models.procedure import Procedure
from invented import invent
from stories import THREE_CRITERIA, UP_TO_THE_CRITERIA, Story

from voicecheck.cli_records import export_command
from voicecheck.core.facts import decode_record
from voicecheck.core.inputs import Trouble
from voicecheck.core.replay import BrokenLog
from voicecheck.review.fhir import CHOLECYSTECTOMY, SUBTOTAL
from voicecheck.review.formats import export
from voicecheck.review.sheet import harmless

CLIPPING = (
    "checklist clips on the artery",
    "checklist duct clipped leaving a pair",
    "checklist artery divided",
    "checklist duct transected",
)
STATUS_CODES = {
    "preparation",
    "in-progress",
    "not-done",
    "on-hold",
    "stopped",
    "completed",
    "entered-in-error",
    "unknown",
}
"""FHIR R4, value set event-status: the codes of Procedure.status."""


@pytest.fixture(scope="module")
def log() -> list[bytes]:
    return invent(9)


def up_to_the_clip() -> Story:
    tale = Story()
    tale.say(*UP_TO_THE_CRITERIA, *THREE_CRITERIA, "checklist begin the pause")
    tale.wait()
    tale.say("confirm")
    return tale


def closed(*phrases: str, paused: bool = True) -> list[bytes]:
    """A closed case with these phrases, after the pause or (not `paused`) at the opening."""
    tale = up_to_the_clip() if paused else Story()
    for phrase in (*phrases, "checklist close the record"):
        tale.say(phrase)
        if tale.case.state.pending is not None:
            tale.say("confirm")
    return tale.lines()


# ---------------------------------------------------------------------------------------------- CSV


def test_a_sheet_has_one_row_for_each_line_and_the_line_ends_of_rfc_4180(log: list[bytes]) -> None:
    text = export(log, "csv")
    assert text.count("\n") == text.count("\r\n")
    rows = list(csv.DictReader(io.StringIO(text, newline=""), strict=True))
    assert [int(row["line"]) for row in rows] == list(range(1, len(log) + 1))
    for row, line in zip(rows, log, strict=True):
        record = decode_record(line)
        assert row["utc"] == record.at.utc
        assert row["fact"] == type(record.fact).__name__
        said = getattr(record.cause, "text", getattr(record.cause, "message", ""))
        assert row["said"] == ("(other speech)" if said == "[unk]" else said)


def test_a_sheet_is_read_by_a_table_library(log: list[bytes]) -> None:
    table = pd.read_csv(io.StringIO(export(log, "csv")))
    assert len(table) == len(log)
    heard = [json.loads(line)["cause"] for line in log[1:]]
    sure = [cause["confidence"] for cause in heard if cause["type"] == "Heard"]
    assert list(table["confidence"].dropna()) == sure
    assert table["elapsed_s"].is_monotonic_increasing


def test_quotes_commas_and_breaks_in_a_message_survive() -> None:
    tale = Story()
    message = 'cable "A", loose\r\nagain'
    tale.give(Trouble(part="microphone", message=message))
    rows = list(csv.DictReader(io.StringIO(export(tale.lines(), "csv"), newline=""), strict=True))
    assert rows[1]["said"] == message


@pytest.mark.parametrize(
    "message",
    ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "\0=1", "＝1", "＋1", "－1", "＠A"],
)
def test_no_text_is_a_formula_to_a_spreadsheet(message: str) -> None:
    """OWASP, "CSV Injection"; OWASP ASVS 5.0, 1.2.10: a single quote before the first character."""
    tale = Story()
    tale.give(Trouble(part="microphone", message=message))
    rows = list(csv.DictReader(io.StringIO(export(tale.lines(), "csv"), newline=""), strict=True))
    assert rows[1]["said"] == f"'{message}"


def test_no_cell_of_a_whole_case_begins_like_a_formula(log: list[bytes]) -> None:
    for row in csv.reader(io.StringIO(export(log, "csv"), newline=""), strict=True):
        assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n")) for cell in row)


@pytest.mark.parametrize("number", [-0.5, -3, 0, 2.25])
def test_a_number_stays_a_number_and_harmless_text_stays_as_it_is(number: float) -> None:
    assert harmless(number) is number
    for text in ("", "a=1", "'", "checklist clips on the artery"):
        assert harmless(text) == text


# --------------------------------------------------------------------------------------------- FHIR


def bundle(lines: list[bytes]) -> dict[str, Any]:
    whole: dict[str, Any] = json.loads(export(lines, "fhir"))
    return whole


def procedure(lines: list[bytes]) -> dict[str, Any]:
    first: dict[str, Any] = bundle(lines)["entry"][0]["resource"]
    return first


def test_a_bundle_is_valid_to_models_of_fhir_r4(log: list[bytes]) -> None:
    """fhirclient's models are generated from FHIR 4.0.1 and refuse anything that it lacks."""
    whole = bundle(log)
    read = Bundle(whole, strict=True)
    resources = [entry.resource for entry in read.entry]
    assert isinstance(resources[0], Procedure)
    assert isinstance(resources[1], Device)
    assert all(isinstance(resource, AuditEvent) for resource in resources[2:])
    assert len(resources) == len(log) + 2
    assert read.as_json()["entry"][0] == whole["entry"][0]


def test_the_models_refuse_what_is_not_r4(log: list[bytes]) -> None:
    whole = bundle(log)
    del whole["entry"][2]["resource"]["recorded"]
    with pytest.raises(Exception, match="recorded"):
        Bundle(whole, strict=True)


def test_every_audit_event_has_its_time_its_agent_and_its_source(log: list[bytes]) -> None:
    """FHIR R4 AuditEvent: type, recorded, agent with requestor, source with observer."""
    entries = bundle(log)["entry"]
    urls = {entry["fullUrl"] for entry in entries}
    assert len(urls) == len(entries)
    for entry, line in zip(entries[2:], log, strict=True):
        event, record = entry["resource"], decode_record(line)
        assert event["recorded"] == record.at.utc
        assert event["type"]["code"] == "110100"
        assert isinstance(event["agent"][0]["requestor"], bool)
        assert event["source"]["observer"]["reference"] in urls
        assert event["entity"][0]["what"]["reference"] in urls
        assert event["outcome"] in ("0", "4", "8", "12")


@pytest.mark.parametrize(
    ("lines", "status", "code"),
    [
        (closed(*CLIPPING), "completed", CHOLECYSTECTOMY),
        (closed(), "unknown", CHOLECYSTECTOMY),
        (
            closed(*CLIPPING, "checklist withdraw the divided artery"),
            "unknown",
            CHOLECYSTECTOMY,
        ),
        (up_to_the_clip().lines(), "unknown", CHOLECYSTECTOMY),
        (closed("checklist abandoning the operation"), "stopped", CHOLECYSTECTOMY),
        (
            closed("checklist abandoning the operation", "checklist carry on", *CLIPPING[:1]),
            "unknown",
            CHOLECYSTECTOMY,
        ),
        (closed("checklist going for subtotal", paused=False), "unknown", SUBTOTAL),
        (closed("checklist going for subtotal", *CLIPPING, paused=False), "completed", SUBTOTAL),
        (closed("checklist emergency", *CLIPPING, paused=False), "completed", CHOLECYSTECTOMY),
    ],
)
def test_the_status_says_no_more_than_the_record(
    lines: list[bytes], status: str, code: dict[str, str]
) -> None:
    found = procedure(lines)
    assert found["status"] == status
    assert found["status"] in STATUS_CODES
    assert found["code"]["coding"] == [code]


def test_no_person_is_in_the_export(log: list[bytes]) -> None:
    found = procedure(log)
    assert found["subject"] == {"display": "Not identified in this record"}
    assert "performer" not in found


def test_the_same_log_is_exported_the_same_twice(log: list[bytes]) -> None:
    assert export(log, "fhir") == export(log, "fhir")


def verhoeff(number: str) -> bool:
    """Check digit of SNOMED CT identifiers: Verhoeff 1969, by the dihedral group D5."""

    def times(a: int, b: int) -> int:
        flip = b // 5 if a < 5 else 1 - b // 5
        turn = (a % 5 + (b % 5 if a < 5 else -(b % 5))) % 5
        return turn + 5 * flip

    step = (1, 5, 7, 6, 2, 8, 3, 0, 9, 4)
    check = 0
    for place, digit in enumerate(reversed(number)):
        moved = int(digit)
        for _ in range(place % 8):
            moved = step[moved]
        check = times(check, moved)
    return check == 0


def test_the_check_digits_of_the_codes_hold() -> None:
    """2363 is the worked example of the algorithm (from memory)."""
    assert verhoeff("2363")
    assert verhoeff(CHOLECYSTECTOMY["code"])
    assert verhoeff(SUBTOTAL["code"])
    assert not verhoeff("45595008")
    assert (CHOLECYSTECTOMY["code"], SUBTOTAL["code"]) == ("45595009", "450499007")


# ---------------------------------------------------------------------------------------------- XES


@pytest.fixture(scope="module")
def mined(log: list[bytes], tmp_path_factory: pytest.TempPathFactory) -> pd.DataFrame:
    """The event log as a process-mining library reads it."""
    path = tmp_path_factory.mktemp("xes") / "invented.xes"
    path.write_text(export(log, "xes"), encoding="utf-8")
    with warnings.catch_warnings(), contextlib.redirect_stdout(io.StringIO()):
        warnings.simplefilter("ignore")  # the library warns when imported
        import pm4py

        read: pd.DataFrame = pm4py.convert_to_dataframe(
            pm4py.read_xes(str(path), show_progress_bar=False)
        )
    return read


def test_an_event_log_is_read_by_a_process_mining_library(
    mined: pd.DataFrame, log: list[bytes]
) -> None:
    assert set(mined["case:concept:name"]) == {"invented-9"}
    lines = mined[~mined["concept:name"].str.startswith("lapsed: ")]
    times = [decode_record(line).at.utc for line in log]
    assert list(lines["time:timestamp"]) == [pd.Timestamp(utc) for utc in times]
    assert list(lines["fact"]) == [type(decode_record(line).fact).__name__ for line in log]


def test_a_read_back_starts_and_a_confirm_completes_the_same_activity(
    mined: pd.DataFrame,
) -> None:
    triangle = mined[mined["concept:name"] == "triangle cleared"]
    assert list(triangle["lifecycle:transition"])[-2:] == ["start", "complete"]
    assert set(mined["lifecycle:transition"]) <= {"start", "complete", "ate_abort"}


def test_a_process_can_be_discovered_from_it(mined: pd.DataFrame) -> None:
    import pm4py

    graph, starts, _ = pm4py.discover_dfg(mined)
    assert starts == {"opened": 1}
    assert sum(graph.values()) == len(mined) - 1


# ------------------------------------------------------------------------------------------ damaged


@pytest.mark.parametrize("to", ["csv", "fhir", "xes"])
def test_a_damaged_log_is_not_exported(to: str, log: list[bytes], tmp_path: Path) -> None:
    damaged = [*log[:5], *log[6:]]
    with pytest.raises(BrokenLog, match="Line 6: "):
        export(damaged, to)
    path = tmp_path / "a.log"
    path.write_bytes(b"".join(line + b"\n" for line in damaged))
    ran = CliRunner().invoke(export_command, [str(path), "--to", to, "--out", str(tmp_path / "x")])
    assert ran.exit_code == 1
    assert "does not hold.\n  Line 6: " in ran.output
    assert not (tmp_path / "x").exists()


def test_an_export_goes_to_standard_output_or_to_a_file(log: list[bytes], tmp_path: Path) -> None:
    path = tmp_path / "a.log"
    path.write_bytes(b"".join(line + b"\n" for line in log))
    shown = CliRunner().invoke(export_command, [str(path), "--to", "csv"])
    CliRunner().invoke(export_command, [str(path), "--to", "csv", "--out", str(tmp_path / "a.csv")])
    assert shown.stdout_bytes == (tmp_path / "a.csv").read_bytes()
