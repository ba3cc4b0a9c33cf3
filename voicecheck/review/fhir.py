"""A log as a FHIR R4 (4.0.1) Bundle: one Procedure, one Device, one AuditEvent for each line.

The Procedure's status says no more than the record does: `completed` if the record was closed and
has every required clipping and dividing, `stopped` if it was closed after the operation was stated
as abandoned, otherwise `unknown`. Its subject is not identified. The codes are SNOMED CT's; using
them may need a licence.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Any
from uuid import UUID, uuid5

from voicecheck.core import facts
from voicecheck.core.chain import line_hash
from voicecheck.core.facts import Fact, Record, encode_record
from voicecheck.core.procedure import Kind
from voicecheck.core.state import Mode
from voicecheck.core.wording import in_words, took
from voicecheck.review.characters import exchangeable
from voicecheck.review.trace import SPEAKERS, Step, Trace

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
"""Our name space: exported again, a log gives its resources the same ids."""

_MINOR = (facts.Refused, facts.NotUnderstood, facts.Retracted, facts.Lapsed)


def bundle(trace: Trace) -> str:
    """The Bundle as JSON text."""
    resources = [_procedure(trace), _device(trace), *(_audit(trace, step) for step in trace.steps)]
    whole = {
        "resourceType": "Bundle",
        "type": "collection",
        "timestamp": trace.steps[-1].at.utc,
        "entry": [
            {"fullUrl": f"urn:uuid:{resource['id']}", "resource": resource}
            for resource in resources
        ],
    }
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


def _procedure(trace: Trace) -> dict[str, Any]:
    return {
        "resourceType": "Procedure",
        "id": _identity(trace, "procedure"),
        "identifier": [{"value": trace.opened.case}],
        "status": status(trace),
        "code": {"coding": _codes(trace), "text": trace.procedure.head.title},
        "subject": {"display": "Not identified in this record"},
        "performedPeriod": {"start": trace.steps[0].at.utc, "end": trace.steps[-1].at.utc},
        "note": [{"text": text} for text in (*_stated(trace), trace.opened.caution)],
    }


def status(trace: Trace) -> str:
    """One of the codes of FHIR R4's EventStatus; the module's docstring says which, and when."""
    end = trace.steps[-1].state_after
    if end.mode is not Mode.CLOSED:
        return "unknown"
    if _left_by(trace) == "stop":
        return "stopped"
    happened = [step.record.fact for step in trace.steps]
    noted = {fact.item for fact in happened if isinstance(fact, facts.Noted)}
    items = zip(trace.procedure.items, end.standing, strict=True)
    acts = ((item.id, answer) for item, answer in items if item.kind is Kind.ACT and item.required)
    return "completed" if all(answer or act in noted for act, answer in acts) else "unknown"


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


def _stated(trace: Trace) -> Iterator[str]:
    for step in trace.steps:
        match step.record.fact:
            case facts.Stated(item=item, answer=answer) | facts.Noted(item=item, answer=answer):
                yield f"{step.at.utc} {took(step.record.fact)}: {trace.says(item, answer)}"
            case facts.Withdrawn(item=item):
                yield f"{step.at.utc} {took(step.record.fact)}: {trace.name(item)}"
            case facts.Occurred() | facts.BailedOut() | facts.Overridden():
                yield f"{step.at.utc} {step.answered}"
            case _:
                pass


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


def _audit(trace: Trace, step: Step) -> dict[str, Any]:
    fact = step.record.fact
    person = step.cause.source != "machine"
    who = f"{SPEAKERS[step.cause.source]}{'; the person is not identified' if person else ''}"
    return {
        "resourceType": "AuditEvent",
        "id": _identity(trace, f"line {step.at.line}"),
        "type": ACTIVITY,
        "subtype": [{"code": type(fact).__name__, "display": took(fact)}],
        "action": "E",
        "recorded": step.at.utc,
        "outcome": _outcome(fact),
        "outcomeDesc": step.answered or took(fact),
        "agent": [{"who": {"display": who}, "requestor": person}],
        "source": {"observer": _reference(trace, "device", "voicecheck")},
        "entity": [
            {
                "what": _reference(trace, "procedure", trace.opened.case),
                "detail": [
                    {"type": key, "valueString": value} for key, value in _details(step).items()
                ],
            }
        ],
    }


def _outcome(fact: Fact) -> str:
    """FHIR R4's audit-event-outcome: 0 success, 4 minor failure, 8 serious failure."""
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
