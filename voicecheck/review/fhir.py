"""A log as FHIR R4 (4.0.1): a Bundle of one Procedure, one Device, and an AuditEvent a line.

The Procedure's status says only what the record can: `completed` when the record was closed and
every clipping and dividing is on it, `stopped` when it was closed after stopping was stated, and
`unknown` otherwise. Its subject is not identified. SNOMED CT codes: laparoscopic cholecystectomy
45595009 and laparoscopic subtotal cholecystectomy 450499007; use of SNOMED CT outside the free
set may need a licence.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any
from uuid import UUID, uuid5

from voicecheck.core import facts
from voicecheck.core.chain import line_hash
from voicecheck.core.facts import Fact, encode_record
from voicecheck.core.procedure import Kind
from voicecheck.core.state import Mode
from voicecheck.core.wording import in_words, took
from voicecheck.review.told import Step, Told

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

_SPACE = UUID("8d2b3c62-6a35-5e0e-9a5c-6f6f1f0b7a11")
"""Our own name space: resources get the same identity whenever a log is exported again."""

AGENTS = {
    "heard": ("A voice in the theatre; the speaker is not identified", True),
    "entered": ("Entry by hand at the prompt display; the person is not identified", True),
    "machine": ("voicecheck itself", False),
}
"""Who an AuditEvent's agent is, and whether it asked for what was done."""

_MINOR = (facts.Refused, facts.NotUnderstood, facts.Retracted, facts.Lapsed)


def bundle(log: Told) -> str:
    """The Bundle as JSON text."""
    resources = [_procedure(log), _device(log), *(_audit(log, step) for step in log.steps)]
    whole = {
        "resourceType": "Bundle",
        "type": "collection",
        "timestamp": log.steps[-1].at.utc,
        "entry": [
            {"fullUrl": f"urn:uuid:{resource['id']}", "resource": resource}
            for resource in resources
        ],
    }
    return json.dumps(whole, indent=1, ensure_ascii=False) + "\n"


def _identity(log: Told, what: str) -> str:
    opening = line_hash(encode_record(log.steps[0].record))
    return str(uuid5(_SPACE, f"{opening}/{what}"))


def _reference(log: Told, what: str, display: str) -> dict[str, str]:
    return {"reference": f"urn:uuid:{_identity(log, what)}", "display": display}


def _procedure(log: Told) -> dict[str, Any]:
    return {
        "resourceType": "Procedure",
        "id": _identity(log, "procedure"),
        "identifier": [{"value": log.opened.case}],
        "status": status(log),
        "code": {"coding": _codes(log), "text": log.procedure.head.title},
        "subject": {"display": "Not identified in this record"},
        "performedPeriod": {"start": log.steps[0].at.utc, "end": log.steps[-1].at.utc},
        "note": [{"text": text} for text in (*_stated(log), log.opened.caution)],
    }


def status(log: Told) -> str:
    """One of the eight codes of FHIR R4's EventStatus; see the module's first lines."""
    facts_told = [step.record.fact for step in log.steps]
    noted = {fact.item for fact in facts_told if isinstance(fact, facts.Noted)}
    stands = zip(log.procedure.items, log.steps[-1].after.standing, strict=True)
    done = noted | {item.id for item, answer in stands if answer}
    acts = {item.id for item in log.procedure.items if item.kind is Kind.ACT and item.required}
    last = log.steps[-1]
    if last.after.mode is not Mode.CLOSED:
        return "unknown"
    if _left_by(log) == "stop":
        return "stopped"
    return "completed" if acts <= done else "unknown"


def _left_by(log: Told) -> str:
    """The way of the bail-out that the record ended in; "" if it ended in the course."""
    way = ""
    for step in log.steps:
        match step.record.fact:
            case facts.BailedOut(way=last):
                way = last
            case facts.Resumed() | facts.Overridden():
                way = ""
            case _:
                pass
    return way


def _codes(log: Told) -> list[dict[str, str]]:
    if log.procedure.head.id != "laparoscopic_cholecystectomy":
        return []
    return [SUBTOTAL if _left_by(log) == "subtotal" else CHOLECYSTECTOMY]


def _stated(log: Told) -> Iterator[str]:
    for step in log.steps:
        match step.record.fact:
            case facts.Stated(item=item, answer=answer):
                yield f"{step.at.utc} stated: {log.says(item, answer)}"
            case facts.Noted(item=item, answer=answer):
                yield f"{step.at.utc} noted outside the standard course: {log.says(item, answer)}"
            case facts.Withdrawn(item=item):
                yield f"{step.at.utc} withdrawn: {log.name(item)}"
            case facts.Occurred() | facts.BailedOut() | facts.Overridden():
                yield f"{step.at.utc} {step.told}"
            case _:
                pass


def _device(log: Told) -> dict[str, Any]:
    return {
        "resourceType": "Device",
        "id": _identity(log, "device"),
        "deviceName": [{"name": "voicecheck", "type": "user-friendly-name"}],
        "version": [
            {"value": f"voicecheck {log.opened.program}"},
            {"value": f"log format {log.opened.format}, rules {log.opened.rules}"},
            {"value": f"recogniser {log.opened.recogniser}"},
        ],
        "note": [{"text": log.opened.caution}],
    }


def _audit(log: Told, step: Step) -> dict[str, Any]:
    fact = step.record.fact
    who, asked = AGENTS[step.cause.source]
    return {
        "resourceType": "AuditEvent",
        "id": _identity(log, f"line {step.at.line}"),
        "type": ACTIVITY,
        "subtype": [{"code": type(fact).__name__, "display": took(fact)}],
        "action": "E",
        "recorded": step.at.utc,
        "outcome": _outcome(fact),
        "outcomeDesc": step.told or took(fact),
        "agent": [{"who": {"display": who}, "requestor": asked}],
        "source": {"observer": _reference(log, "device", "voicecheck")},
        "entity": [
            {
                "what": _reference(log, "procedure", log.opened.case),
                "detail": [
                    {"type": key, "valueString": value} for key, value in _details(step).items()
                ],
            }
        ],
    }


def _outcome(fact: Fact) -> str:
    """0 success, 4 minor failure, 8 serious failure."""
    if isinstance(fact, facts.Failed):
        return "8"
    return "4" if isinstance(fact, _MINOR) else "0"


def _details(step: Step) -> Mapping[str, str]:
    cause, fact = step.cause, step.record.fact
    found = {
        "line": str(step.at.line),
        "said": in_words(cause.text),
        "confidence": "" if cause.confidence is None else f"{cause.confidence:.2f}",
        "item": getattr(fact, "item", ""),
        "answer": getattr(fact, "answer", ""),
        "lapsed": " ".join(getattr(fact, "lapsed", ())),
        "line hash": line_hash(encode_record(step.record)),
        "hash of the line before": step.record.prev,
    }
    return {key: value for key, value in found.items() if value}
