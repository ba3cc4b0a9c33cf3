"""A log as a FHIR R4 (4.0.1) Bundle: one Procedure, one Device, one AuditEvent for each line.

The Procedure's status says no more than the record does: `completed` if the record was closed and
has every required clipping and dividing, `stopped` if it was closed after the operation was stated
as abandoned, otherwise `unknown`. Its subject is not identified. The codes are SNOMED CT's; using
them may need a licence.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import Any
from uuid import UUID, uuid5

from voicecheck.core import facts
from voicecheck.core.chain import line_hash
from voicecheck.core.facts import Fact, Record, encode_record
from voicecheck.core.procedure import Kind
from voicecheck.core.state import Mode
from voicecheck.review.characters import exchangeable
from voicecheck.review.lines import Line, lines
from voicecheck.review.trace import SPEAKERS, Trace

SNOMED = "http://snomed.info/sct"
CHOLECYSTECTOMY = {
    "system": SNOMED,
    "code": "45595009",
    "display": "Laparoscopic cholecystectomy",
}
SUBTOTAL = {
    "system": SNOMED,
    "code": "450499007",
    "display": "Laparoscopic subtotal cholecystectomy",
}
ACTIVITY = {
    "system": "http://dicom.nema.org/resources/ontology/DCM",
    "code": "110100",
    "display": "Application Activity",
}
"""From the R4 value set audit-event-type."""

TEST = {
    "system": "http://terminology.hl7.org/CodeSystem/v3-ActReason",
    "code": "HTEST",
    "display": "test health data",
}
"""The tag of every resource of a rehearsal; as in the specification's examples (from memory)."""

_SPACE = UUID("8d2b3c62-6a35-5e0e-9a5c-6f6f1f0b7a11")
"""Our name space: exported again, a log gives its resources the same ids."""

_MINOR = (facts.Refused, facts.NotUnderstood, facts.Retracted, facts.Lapsed)


def bundle(trace: Trace) -> str:
    """The Bundle as JSON text."""
    told = tuple(lines(trace))
    resources = [
        _procedure(trace, told),
        _device(trace),
        *(_audit(trace, line, step.record) for line, step in zip(told, trace.steps, strict=True)),
    ]
    whole: dict[str, Any] = {
        "resourceType": "Bundle",
        "type": "collection",
        "timestamp": trace.steps[-1].at.utc,
        "entry": [
            {"fullUrl": f"urn:uuid:{resource['id']}", "resource": resource}
            for resource in resources
        ],
    }
    if trace.opened.rehearsal:
        for resource in (whole, *resources):
            resource["meta"] = {"tag": [TEST]}
    return json.dumps(_fit(whole), indent=1, ensure_ascii=False) + "\n"


def _fit(value: Any) -> Any:
    """The same with texts that FHIR can hold: none is empty (R4, JSON Representation)."""
    if isinstance(value, dict):
        return {key: _fit(part) for key, part in value.items()}
    if isinstance(value, list):
        return [_fit(part) for part in value]
    if isinstance(value, str):
        return exchangeable(value) if value.strip() else "(empty)"
    return value


def _identity(trace: Trace, what: str) -> str:
    return str(uuid5(_SPACE, f"{_line_hash(trace.steps[0].record)}/{what}"))


@lru_cache(maxsize=1)
def _line_hash(opening: Record) -> str:
    """The opening's, which is long, and named by every resource."""
    return line_hash(encode_record(opening))


def _reference(trace: Trace, what: str, display: str) -> dict[str, str]:
    return {"reference": f"urn:uuid:{_identity(trace, what)}", "display": display}


def _procedure(trace: Trace, told: Iterable[Line]) -> dict[str, Any]:
    return {
        "resourceType": "Procedure",
        "id": _identity(trace, "procedure"),
        "identifier": [{"value": trace.opened.case}],
        "status": status(trace),
        "code": {"coding": _codes(trace), "text": trace.procedure.head.title},
        "subject": {"display": "Not identified in this record"},
        "performedPeriod": {"start": trace.steps[0].at.utc, "end": trace.steps[-1].at.utc},
        "note": [{"text": text} for text in (*_notes(told), trace.opened.caution)],
    }


def status(trace: Trace) -> str:
    """One of the codes of FHIR R4's EventStatus; the module's docstring says which, and when."""
    end = trace.steps[-1].state_after
    if end.mode is not Mode.CLOSED:
        return "unknown"
    if _left_by(trace) == "stop":
        return "stopped"
    noted = {
        line.item for line in lines(trace) if isinstance(line.fact, facts.Noted) and line.satisfies
    }
    acts = (
        item.id in noted or trace.conduct.satisfied(trace.procedure, end.standing, place)
        for place, item in enumerate(trace.procedure.items)
        if item.kind is Kind.ACT and item.required
    )
    return "completed" if all(acts) else "unknown"


def _left_by(trace: Trace) -> str:
    """The kind of bail-out in which the record ended; "" if it ended in the course."""
    way = ""
    for step in trace.steps:
        match step.record.fact:
            case facts.BailedOut(way=last):
                way = last
            case facts.Resumed() | facts.Overridden():
                way = ""
            case _:
                pass
    return way


def _codes(trace: Trace) -> list[dict[str, str]]:
    if trace.procedure.head.id != "laparoscopic_cholecystectomy":
        return []
    return [SUBTOTAL if _left_by(trace) == "subtotal" else CHOLECYSTECTOMY]


def _notes(told: Iterable[Line]) -> Iterator[str]:
    """What was said of the operation, and what fell; nothing that the machine answered."""
    for line in told:
        if isinstance(line.fact, _NOTED) or line.lapsed:
            yield f"{line.at.utc} {line.counts_as}"


_NOTED = (
    facts.Stated,
    facts.Noted,
    facts.Withdrawn,
    facts.Occurred,
    facts.Cautioned,
    facts.HelpCalled,
    facts.BailedOut,
    facts.Overridden,
    facts.Resumed,
)


def _device(trace: Trace) -> dict[str, Any]:
    return {
        "resourceType": "Device",
        "id": _identity(trace, "device"),
        "deviceName": [{"name": "voicecheck", "type": "user-friendly-name"}],
        "version": [
            {"value": f"voicecheck {trace.opened.program}"},
            {"value": f"log format {trace.opened.format}, rules {trace.opened.rules}"},
            {"value": f"recogniser {trace.opened.recogniser}"},
        ],
        "note": [{"text": trace.opened.caution}],
    }


def _audit(trace: Trace, line: Line, record: Record) -> dict[str, Any]:
    person = line.said.source != "machine"
    who = f"{SPEAKERS[line.said.source]}{'; the person is not identified' if person else ''}"
    return {
        "resourceType": "AuditEvent",
        "id": _identity(trace, f"line {line.at.line}"),
        "type": ACTIVITY,
        "subtype": [{"code": line.kind, "display": line.taken_as}],
        "action": "E",
        "recorded": line.at.utc,
        "outcome": _outcome(line.fact),
        "outcomeDesc": line.counts_as,
        "agent": [{"who": {"display": who}, "requestor": person}],
        "source": {"observer": _reference(trace, "device", "voicecheck")},
        "entity": [
            {
                "what": _reference(trace, "procedure", trace.opened.case),
                "detail": [
                    {"type": key, "valueString": value} for key, value in _details(line, record)
                ],
            }
        ],
    }


def _outcome(fact: Fact) -> str:
    """FHIR R4's audit-event-outcome: 0 success, 4 minor failure, 8 serious failure."""
    if isinstance(fact, facts.Failed):
        return "8"
    return "4" if isinstance(fact, _MINOR) else "0"


def _details(line: Line, record: Record) -> Iterator[tuple[str, str]]:
    for key, value in line.cells.items():
        if key not in _ELSEWHERE and value not in ("", None):
            yield key, value if isinstance(value, str) else json.dumps(value)
    yield "line hash", line_hash(encode_record(record))
    yield "hash of the line before", record.prev


_ELSEWHERE = ("utc", "source", "fact", "taken_as", "counts_as")
"""The cells that an AuditEvent has as other elements."""
