"""One log in a format that others read: CSV (RFC 4180), FHIR R4, XES (IEEE 1849)."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from voicecheck.review.examine import closing_story
from voicecheck.review.fhir import bundle
from voicecheck.review.sheet import sheet
from voicecheck.review.told import Told, told
from voicecheck.review.xes import event_log

FORMATS: Mapping[str, Callable[[Told], str]] = {"csv": sheet, "fhir": bundle, "xes": event_log}


def export(lines: Sequence[bytes], to: str) -> str:
    """The whole log as text in one of FORMATS; raises BrokenLog if it does not hold."""
    return FORMATS[to](told(closing_story(lines)))
