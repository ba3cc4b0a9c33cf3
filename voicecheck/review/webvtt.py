"""A log beside the film of its operation: subtitles and chapters (W3C WebVTT)."""

from __future__ import annotations

from collections.abc import Iterator

from voicecheck.core.legible import legible
from voicecheck.core.wording import REHEARSAL, in_words
from voicecheck.review.film import MOST_S, Scene, scenes
from voicecheck.review.stated import stretches
from voicecheck.review.trace import SPEAKERS, Trace


def subtitles(trace: Trace, starts_s: float = 0.0) -> str:
    """A cue for each line in the film: what was said, what it counts as, what was answered.

    Each of the three has a row of its own; the first and the last name their speaker. `starts_s` is
    when the film starts, in seconds since the opening.
    """
    cues = (cue for scene in scenes(trace, starts_s) for cue in (*_cue(scene), ""))
    return "\n".join((*_head(trace), *_caution(trace), "", *cues))


def chapters(trace: Trace, starts_s: float = 0.0) -> str:
    """A cue for each phase, and for each time outside the course."""
    rows = _head(trace)
    for number, part in enumerate(stretches(trace), 1):
        start_s, end_s = part.start.since_s - starts_s, part.end.since_s - starts_s
        if end_s > max(0.0, start_s):
            rows += [f"part {number}", _span(max(0.0, start_s), end_s), _row(part.title), ""]
    return "\n".join(rows)


def _head(trace: Trace) -> list[str]:
    told = [f"case {trace.opened.case}", *([REHEARSAL] if trace.opened.rehearsal else [])]
    return [
        f"WEBVTT - {_note(' · '.join(told))}",
        "",
        f"NOTE {_note(trace.opened.caution)}",
        "",
    ]


def _caution(trace: Trace) -> list[str]:
    """The cue that opens the film: whose record it is, and its cautions."""
    mark = [_row(REHEARSAL)] if trace.opened.rehearsal else []
    whose = _row(f"Case {trace.opened.case}. What was stated, and when:")
    return ["caution", _span(0.0, MOST_S), whose, *mark, _row(trace.opened.caution)]


def _cue(scene: Scene) -> Iterator[str]:
    line = scene.line
    yield f"line {line.at.line}"
    yield _span(scene.start_s, scene.end_s)
    if line.said.text:
        yield f"<v {SPEAKERS[line.said.source]}>{_row(in_words(line.said.text))}</v>"
    yield _row(line.counts_as)
    if line.answered:
        yield f"<v {SPEAKERS['machine']}>{_row(line.answered)}</v>"


def _span(start_s: float, end_s: float) -> str:
    return f"{stamp(start_s)} --> {stamp(end_s)}"


def stamp(seconds: float) -> str:
    """A time of the film as WebVTT writes it: hh:mm:ss.ttt."""
    whole, thousandths = divmod(round(seconds * 1000), 1000)
    return f"{whole // 3600:02}:{whole // 60 % 60:02}:{whole % 60:02}.{thousandths:03}"


def _row(text: str) -> str:
    """A text as one row of a cue, which it cannot end and in which it is no mark-up."""
    shown = " ".join(legible(text, 2000).split())
    return shown.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _note(text: str) -> str:
    return _row(text).replace("--&gt;", "→")
