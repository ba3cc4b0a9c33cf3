"""A log as one trace of an event log for process mining: XES, IEEE 1849."""

from __future__ import annotations

from collections.abc import Iterator
from xml.etree import ElementTree as ET

from voicecheck.core import facts
from voicecheck.core.wording import in_words, took
from voicecheck.review.told import Step, Told

EXTENSIONS = {
    "concept": ("Concept", "http://www.xes-standard.org/concept.xesext"),
    "lifecycle": ("Lifecycle", "http://www.xes-standard.org/lifecycle.xesext"),
    "org": ("Organizational", "http://www.xes-standard.org/org.xesext"),
    "time": ("Time", "http://www.xes-standard.org/time.xesext"),
}
RESOURCES = {"heard": "a voice in the theatre", "entered": "entry by hand", "machine": "voicecheck"}
_STARTS = (facts.Proposed, facts.CloseProposed, facts.PauseBegun)
_ENDS_BADLY = (facts.Retracted, facts.Lapsed)


def event_log(log: Told) -> str:
    """One trace; each event has its name, time, source and whether it began or completed."""
    root = ET.Element("log", {"xes.version": "1849.2016", "xes.features": ""})
    for prefix, (name, uri) in EXTENSIONS.items():
        ET.SubElement(root, "extension", {"name": name, "prefix": prefix, "uri": uri})
    _globals(root)
    ET.SubElement(
        root, "classifier", {"name": "Activity", "keys": "concept:name lifecycle:transition"}
    )
    trace = ET.SubElement(root, "trace")
    _attribute(trace, "string", "concept:name", log.opened.case)
    _attribute(trace, "string", "procedure", log.procedure.head.id)
    _attribute(trace, "string", "caution", log.opened.caution)
    for step in log.steps:
        event = ET.SubElement(trace, "event")
        for kind, key, value in _event(log, step):
            _attribute(event, kind, key, value)
    ET.indent(root)
    text = ET.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'


def _globals(root: ET.Element) -> None:
    """What every trace and every event has (clause on global attributes)."""
    trace = ET.SubElement(root, "global", {"scope": "trace"})
    _attribute(trace, "string", "concept:name", "unknown")
    event = ET.SubElement(root, "global", {"scope": "event"})
    _attribute(event, "string", "concept:name", "unknown")
    _attribute(event, "string", "lifecycle:transition", "complete")
    _attribute(event, "date", "time:timestamp", "1970-01-01T00:00:00.000+00:00")


def _event(log: Told, step: Step) -> Iterator[tuple[str, str, str]]:
    fact = step.record.fact
    yield "string", "concept:name", _activity(log, step)
    yield "string", "lifecycle:transition", _transition(fact)
    yield "date", "time:timestamp", step.at.utc.replace("Z", "+00:00")
    yield "string", "org:resource", RESOURCES[step.cause.source]
    yield "int", "line", str(step.at.line)
    yield "string", "fact", type(fact).__name__
    if step.cause.text:
        yield "string", "said", in_words(step.cause.text)
    if step.cause.confidence is not None:
        yield "float", "confidence", repr(step.cause.confidence)


def _activity(log: Told, step: Step) -> str:
    """What is done or happens: the item where there is one, so that its read-back shares it."""
    fact = step.record.fact
    match fact:
        case facts.Refused():
            return f"refused: {step.cause.text}"
        case facts.Withdrawn(item=item):
            return f"withdrawn: {log.name(item)}"
        case facts.CloseProposed() | facts.Closed():
            return log.name("")
        case facts.Occurred(event=event):
            return f"event: {log.procedure.file.events[event].name}"
        case facts.Failed(part=part) | facts.Recovered(part=part):
            return f"trouble: {part}"
        case _:
            about: str | None = getattr(fact, "item", None)
            return took(fact) if about is None else log.name(about)


def _transition(fact: object) -> str:
    if isinstance(fact, (*_STARTS, facts.Failed)):
        return "start"
    return "ate_abort" if isinstance(fact, _ENDS_BADLY) else "complete"


def _attribute(parent: ET.Element, kind: str, key: str, value: str) -> None:
    ET.SubElement(parent, kind, {"key": key, "value": value})
