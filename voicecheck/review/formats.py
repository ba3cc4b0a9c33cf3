"""One log as a file for other programs: CSV (RFC 4180), FHIR R4 or XES (IEEE 1849)."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from voicecheck.review.examine import closing_story
from voicecheck.review.fhir import bundle
from voicecheck.review.sheet import sheet
from voicecheck.review.trace import Trace, trace_of
from voicecheck.review.xes import event_log

FORMATS: Mapping[str, Callable[[Trace], str]] = {"csv": sheet, "fhir": bundle, "xes": event_log}


def export(lines: Sequence[bytes], to: str) -> str:
    """The whole log as text; `to` is a key of FORMATS. Raises BrokenLog if the log is damaged."""
    return FORMATS[to](trace_of(closing_story(lines)))
