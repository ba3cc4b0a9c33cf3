"""One log as a file for other programs: CSV (RFC 4180), FHIR R4, XES (IEEE 1849), W3C WebVTT."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from voicecheck.review.examine import closing_story
from voicecheck.review.fhir import bundle
from voicecheck.review.sheet import sheet
from voicecheck.review.trace import Trace, trace_of
from voicecheck.review.webvtt import chapters, subtitles
from voicecheck.review.xes import event_log

BESIDE_FILM: Mapping[str, Callable[[Trace, float], str]] = {
    "webvtt": subtitles,
    "webvtt-chapters": chapters,
}
"""Format → how it is written, from when the film starts, in seconds since the opening."""

_WHOLE: Mapping[str, Callable[[Trace], str]] = {"csv": sheet, "fhir": bundle, "xes": event_log}

FORMATS = (*_WHOLE, *BESIDE_FILM)
"""The names of all formats."""


def export(lines: Sequence[bytes], to: str) -> str:
    """The whole log as text; `to` is one of FORMATS. Raises BrokenLog if the log is damaged."""
    return told(trace_of(closing_story(lines)), to)


def told(trace: Trace, to: str, starts_s: float = 0.0) -> str:
    """A story that has been kept as text; beside a film, from when that starts."""
    return BESIDE_FILM[to](trace, starts_s) if to in BESIDE_FILM else _WHOLE[to](trace)
