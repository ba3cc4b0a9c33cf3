"""A log as an event log with one trace, for process mining: XES (IEEE 1849).

A read-back, its reply and the statement are one activity, named as the item: start, then complete
or abort. Whatever else a line counts as is an activity of another name, above all an answer that
does not satisfy its item, or a statement outside the course. Each item that falls has an event of
its own.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from xml.etree import ElementTree as ET

from voicecheck.core import facts
from voicecheck.core.facts import Fact
from voicecheck.core.wording import CLOSING
from voicecheck.review.characters import exchangeable
from voicecheck.review.lines import Line, lines
from voicecheck.review.trace import SPEAKERS, Trace

EXTENSIONS = {
    "concept": ("Concept", "http://www.xes-standard.org/concept.xesext"),
    "lifecycle": ("Lifecycle", "http://www.xes-standard.org/lifecycle.xesext"),
    "org": ("Organizational", "http://www.xes-standard.org/org.xesext"),
    "time": ("Time", "http://www.xes-standard.org/time.xesext"),
}
_START = (facts.Proposed, facts.PauseBegun, facts.CloseProposed, facts.Failed)
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
    _attribute(whole, "boolean", "rehearsal", str(trace.opened.rehearsal).lower())
    _attribute(whole, "string", "procedure", trace.procedure.head.id)
    _attribute(whole, "string", "caution", trace.opened.caution)
    for line in lines(trace):
        for attributes in (_event(line), *_lapses(line)):
            event = ET.SubElement(whole, "event")
            for kind, key, value in attributes:
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


_Attributes = Iterator[tuple[str, str, str]]
"""Type, key and value of each."""


def _event(line: Line) -> _Attributes:
    who = SPEAKERS[line.said.source]
    yield from _standard(line, _activity(line), _transition(line.fact), who)
    for key, value in line.cells.items():
        if key not in _STANDARD and value not in ("", None):
            yield _KINDS[type(value)], key, value if isinstance(value, str) else json.dumps(value)


_STANDARD = ("line", "utc", "source", "fact")
"""The cells that every event has as other attributes."""
_KINDS = {str: "string", bool: "boolean", int: "int", float: "float"}


def _lapses(line: Line) -> Iterator[_Attributes]:
    """An event for each item that fell."""
    for item, name in line.lapsed.items():
        standard = _standard(line, f"lapsed: {name}", "complete", SPEAKERS["machine"])
        yield iter((*standard, ("string", "item", item)))


def _standard(line: Line, activity: str, transition: str, resource: str) -> _Attributes:
    yield "string", "concept:name", activity
    yield "string", "lifecycle:transition", transition
    yield "date", "time:timestamp", line.at.utc.replace("Z", "+00:00")
    yield "string", "org:resource", resource
    yield "int", "line", str(line.at.line)
    yield "string", "fact", line.kind


def _activity(line: Line) -> str:
    """What is done or happens."""
    match line.fact:
        case facts.Proposed() | facts.PauseBegun() | facts.Retracted() | facts.Lapsed():
            return line.name
        case facts.Stated() if line.satisfies:
            return line.name
        case facts.CloseProposed() | facts.Closed():
            return CLOSING
        case facts.Failed(part=part) | facts.Recovered(part=part):
            return f"trouble: {part}"
        case facts.Reopened():
            return line.taken_as
        case _:
            return line.head


def _transition(fact: Fact) -> str:
    if isinstance(fact, _START):
        return "start"
    return "ate_abort" if isinstance(fact, _ABORT) else "complete"


def _attribute(parent: ET.Element, kind: str, key: str, value: str) -> None:
    ET.SubElement(parent, kind, {"key": key, "value": exchangeable(value)})
