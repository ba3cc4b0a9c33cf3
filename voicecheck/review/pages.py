"""Self-contained HTML pages from templates, and how they show times and numbers."""

from __future__ import annotations

from functools import cache
from typing import Any

from voicecheck.core.legible import legible
from voicecheck.core.wording import in_words
from voicecheck.review.findings import Moment
from voicecheck.review.optional import library
from voicecheck.review.summary import duration


def page(template: str, **content: object) -> str:
    """Fill a template, named as package:file; everything is escaped but our own pictures."""
    text: str = _templates().get_template(template).render(**content)
    return text


@cache
def _templates() -> Any:
    jinja2 = library("jinja2")
    packages = ("voicecheck.review", "voicecheck.cases")
    environment = jinja2.Environment(
        loader=jinja2.PrefixLoader({each: jinja2.PackageLoader(each) for each in packages}, ":"),
        autoescape=True,
        finalize=_shown,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {
        "duration": duration,
        "elapsed": elapsed,
        "clock": clock,
        "css_text": lambda text: library("markupsafe").Markup(css_text(text)),
        "sure": sure,
        "in_words": in_words,
    }
    return environment


def _shown(value: object) -> object:
    """Texts from a log are cut, and steer nothing; our own pictures and tables stay whole."""
    return legible(value, 2000) if type(value) is str else value


def drawn(svg: str) -> Any:
    """Mark a picture that we drew as safe to put into a page as it is."""
    return library("markupsafe").Markup(svg)  # drawing it escaped its words


def elapsed(seconds: float) -> str:
    """A time since the opening, or a length of time, as m:ss, rounded down."""
    minutes, rest = divmod(int(seconds), 60)
    return f"{minutes}:{rest:02}"


def css_text(text: str) -> str:
    """A text as a string of CSS, for what is printed on each page; it steers nothing."""
    shown = legible(text, 300)
    escaped = "".join(each if each.isalnum() else f"\\{ord(each):x} " for each in shown)
    return f'"{escaped}"'


def clock(at: Moment) -> str:
    """Time of day in UTC, as hh:mm:ss."""
    return at.utc[11:19]


def sure(confidence: float) -> str:
    """A confidence, with two decimals."""
    return f"{confidence:.2f}"
