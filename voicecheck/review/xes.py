"""A log as an event log with one trace, for process mining: XES (IEEE 1849)."""

from __future__ import annotations

from collections.abc import Iterator
from xml.etree import ElementTree as ET

from voicecheck.core import facts
from voicecheck.core.wording import CLOSING, in_words, took
from voicecheck.review.characters import exchangeable
from voicecheck.review.trace import SPEAKERS, Step, Trace

EXTENSIONS = {
    "concept": ("Concept", "http://www.xes-standard.org/concept.xesext"),
    "lifecycle": ("Lifecycle", "http://www.xes-standard.org/lifecycle.xesext"),
    "org": ("Organizational", "http://www.xes-standard.org/org.xesext"),
    "time": ("Time", "http://www.xes-standard.org/time.xesext"),
}
_START = (facts.Proposed, facts.CloseProposed, facts.PauseBegun)
_ABORT = (facts.Retracted, facts.Lapsed)


def event_log(trace: Trace) -> str:
    """The XML text; each event has an activity, a time, a resource and a lifecycle transition."""
    root = ET.Element("log", {"xes.version": "1849.2016", "xes.features": ""})
    for prefix, (name, uri) in EXTENSIONS.items():
        ET.SubElement(root, "extension", {"name": name, "prefix": prefix, "uri": uri})
    _globals(root)
    ET.SubElement(
        root, "classifier", {"name": "Activity", "keys": "concept:name lifecycle:transition"}
    )
    whole = ET.SubElement(root, "trace")
    _attribute(whole, "string", "concept:name", trace.opened.case)
    _attribute(whole, "string", "procedure", trace.procedure.head.id)
    _attribute(whole, "string", "caution", trace.opened.caution)
    for step in trace.steps:
        event = ET.SubElement(whole, "event")
        for kind, key, value in _event(trace, step):
            _attribute(event, kind, key, value)
    ET.indent(root)
    text = ET.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'


def _globals(root: ET.Element) -> None:
    """Global attributes, which every trace or event has, with their defaults."""
    of_trace = ET.SubElement(root, "global", {"scope": "trace"})
    _attribute(of_trace, "string", "concept:name", "unknown")
    of_event = ET.SubElement(root, "global", {"scope": "event"})
    _attribute(of_event, "string", "concept:name", "unknown")
    _attribute(of_event, "string", "lifecycle:transition", "complete")
    _attribute(of_event, "date", "time:timestamp", "1970-01-01T00:00:00.000+00:00")


def _event(trace: Trace, step: Step) -> Iterator[tuple[str, str, str]]:
    fact = step.record.fact
    yield "string", "concept:name", _activity(trace, step)
    yield "string", "lifecycle:transition", _transition(fact)
    yield "date", "time:timestamp", step.at.utc.replace("Z", "+00:00")
    yield "string", "org:resource", SPEAKERS[step.cause.source]
    yield "int", "line", str(step.at.line)
    yield "string", "fact", type(fact).__name__
    if step.cause.text:
        yield "string", "said", in_words(step.cause.text)
    if step.cause.confidence is not None:
        yield "float", "confidence", repr(step.cause.confidence)


def _activity(trace: Trace, step: Step) -> str:
    """What is done or happens; a read-back and its reply share the item's name."""
    fact = step.record.fact
    match fact:
        case facts.Refused():
            return f"{took(fact)}: {step.cause.text}"
        case facts.Withdrawn(item=item):
            return f"{took(fact)}: {trace.name(item)}"
        case facts.CloseProposed() | facts.Closed():
            return CLOSING
        case facts.Occurred(event=event):
            return f"event: {trace.procedure.file.events[event].name}"
        case facts.Failed(part=part) | facts.Recovered(part=part):
            return f"trouble: {part}"
        case _:
            about: str | None = getattr(fact, "item", None)
            return took(fact) if about is None else trace.name(about)


def _transition(fact: object) -> str:
    if isinstance(fact, (*_START, facts.Failed)):
        return "start"
    return "ate_abort" if isinstance(fact, _ABORT) else "complete"


def _attribute(parent: ET.Element, kind: str, key: str, value: str) -> None:
    ET.SubElement(parent, kind, {"key": key, "value": exchangeable(value)})
