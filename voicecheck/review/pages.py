"""Templates into self-contained HTML pages, and how times and figures are written on them."""

from __future__ import annotations

from functools import cache
from typing import Any

from voicecheck.core.wording import in_words
from voicecheck.review.findings import Moment
from voicecheck.review.optional import library
from voicecheck.review.summary import duration


def page(template: str, **content: object) -> str:
    """Fill a template; everything is escaped unless it is an SVG made here.

    `template` is package:name, such as voicecheck.review:review.html.j2.
    """
    text: str = _templates().get_template(template).render(**content)
    return text


@cache
def _templates() -> Any:
    jinja2 = library("jinja2")
    packages = ("voicecheck.review", "voicecheck.cases")
    rooms = jinja2.Environment(
        loader=jinja2.PrefixLoader({each: jinja2.PackageLoader(each) for each in packages}, ":"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    rooms.filters |= {
        "duration": duration,
        "elapsed": elapsed,
        "clock": clock,
        "sure": sure,
        "in_words": in_words,
    }
    return rooms


def drawn(svg: str) -> Any:
    """Mark a picture that we drew ourselves as safe to stand in a page as it is."""
    return library("markupsafe").Markup(svg)  # its words were escaped where they were drawn


def elapsed(seconds: float) -> str:
    """h:mm:ss since the opening."""
    minutes, rest = divmod(int(seconds), 60)
    return f"{minutes // 60}:{minutes % 60:02}:{rest:02}"


def clock(at: Moment) -> str:
    """The wall clock's time of day, in UTC."""
    return at.utc[11:19]


def sure(confidence: float) -> str:
    """A confidence with two decimals."""
    return f"{confidence:.2f}"
