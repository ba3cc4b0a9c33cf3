"""A case beside the film of its operation: a page that plays the film and jumps to each line."""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from voicecheck.core import facts
from voicecheck.core.facts import Fact
from voicecheck.core.wording import CAUTION, REHEARSAL
from voicecheck.review.film import Scene, scenes
from voicecheck.review.optional import library
from voicecheck.review.pages import page
from voicecheck.review.report import report_on
from voicecheck.review.trace import Trace

LANES = (
    "clips and divisions",
    "stated",
    "refused",
    "lapsed or withdrawn",
    "happened",
    "course left",
)
"""The rows of the page's timeline."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Part:
    """A phase, or a time outside the course, in seconds of the film."""

    title: str
    start_s: float
    end_s: float


def film_page(trace: Trace, starts_s: float, film: str, review: str) -> str:
    """The page; `film` and `review` are where it finds these two, as relative URLs.

    `starts_s` is when the film starts, in seconds since the opening.
    """
    shown = tuple(scenes(trace, starts_s))
    script, fingerprint = _script()
    report = report_on(trace)
    return page(
        "voicecheck.review:film.html.j2",
        report=report,
        film=film,
        review=review,
        starts_s=starts_s,
        scenes=shown,
        before=len(trace.steps) - len(shown),
        parts=[
            Part(title=part.title, start_s=max(0.0, start_s), end_s=end_s)
            for part in report.stretches
            for start_s, end_s in [(part.start.since_s - starts_s, part.end.since_s - starts_s)]
            if end_s > max(0.0, start_s)
        ],
        lanes={name: [one for one in shown if name in lanes(trace, one)] for name in LANES},
        length_s=max([report.ended.since_s - starts_s, *(one.end_s for one in shown), 1.0]),
        script=library("markupsafe").Markup(script),
        fingerprint=fingerprint,
        rehearsal=REHEARSAL,
        caution=CAUTION,
    )


def lanes(trace: Trace, scene: Scene) -> set[str]:
    """The rows of the timeline in which a line is marked."""
    found = {lane for kinds, lane in _LANES.items() if isinstance(scene.line.fact, kinds)}
    if scene.line.lapsed:
        found.add("lapsed or withdrawn")
    item = scene.line.item
    if item and trace.procedure.item(item).kind == "act" and found & {"stated", "refused"}:
        found.add("clips and divisions")
    return found


_LANES: dict[tuple[type[Fact], ...], str] = {
    (facts.Stated, facts.Noted): "stated",
    (facts.Refused,): "refused",
    (facts.Withdrawn,): "lapsed or withdrawn",
    (facts.Occurred, facts.Cautioned, facts.HelpCalled, facts.StoodBy, facts.Reopened): "happened",
    (facts.BailedOut, facts.Overridden): "course left",
}


@cache
def _script() -> tuple[str, str]:
    """The page's script, and its fingerprint, by which alone the browser lets it run."""
    text = (files("voicecheck.review") / "templates" / "film.js").read_text(encoding="utf-8")
    digest = hashlib.sha256(text.encode()).digest()
    return text, f"sha256-{base64.b64encode(digest).decode()}"
