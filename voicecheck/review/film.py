"""Where a case lies in a film of its operation: the film's time of each line."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from voicecheck.core.legible import legible
from voicecheck.review.lines import Line, lines
from voicecheck.review.pages import elapsed
from voicecheck.review.trace import Trace


class FilmError(Exception):
    """The film cannot be laid beside the record; says why, and what to do."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Scene:
    """One line of the log in the film; times in seconds of the film, never before its start."""

    line: Line
    start_s: float
    """When the words began, or when the line was written if nothing was said."""
    end_s: float
    """When the words had been read, or the next line began."""


LEAST_S, MOST_S = 1.5, 7.0
"""How long a line is shown at least and at most (common practice of subtitles, no source)."""


def scenes(trace: Trace, starts_s: float) -> Iterator[Scene]:
    """All lines that are in the film, in the order of their starts.

    `starts_s` is when the film starts, in seconds since the opening; negative if it was before.
    """
    told = sorted((began_s(line) - starts_s, line.at.line, line) for line in lines(trace))
    inside = [(start_s, line) for start_s, _, line in told if start_s >= 0]
    nexts_s = [start_s for start_s, _ in inside[1:]] + [float("inf")]
    for (start_s, line), next_s in zip(inside, nexts_s, strict=True):
        yield Scene(
            line=line,
            start_s=round(start_s, 3),
            end_s=round(min(start_s + MOST_S, max(start_s + LEAST_S, next_s)), 3),
        )


def began_s(line: Line) -> float:
    """When the words of a line began, in seconds since the opening."""
    said = line.said
    if said.audio_from_s is None or said.audio_to_s is None:
        return line.at.since_s
    return max(0.0, line.at.since_s - max(0.0, said.audio_to_s - said.audio_from_s))


def starts_at(trace: Trace, clock: str) -> float:
    """When a film starts that began at this time of day, in seconds since the opening.

    `clock` is UTC: 08:12:31, then the one nearest to the opening, or 2031-05-06T08:12:31Z. Raises
    FilmError.
    """
    opened = _moment(trace.steps[0].at.utc)
    if re.fullmatch(r"\d\d:\d\d(:\d\d(\.\d+)?)?", clock):
        days = (opened + timedelta(days=more) for more in (-1, 0, 1))
        moments = [_moment(f"{day:%Y-%m-%d}T{clock}Z") for day in days]
        return min(((at - opened).total_seconds() for at in moments), key=abs)
    return (_moment(clock) - opened).total_seconds()


def _moment(text: str) -> datetime:
    try:
        found = datetime.fromisoformat(text)
        if found.tzinfo is None:
            raise ValueError(text)  # noqa: TRY301 - told with the other mistakes
    except ValueError:
        raise FilmError(
            f"{legible(text, 80)} is no time. Write when the film starts as a time of day in UTC, "
            "08:12:31, or with its date, 2031-05-06T08:12:31Z."
        ) from None
    return found


def aligned(trace: Trace, pair: str) -> float:
    """When a film starts in which a phrase is heard at a known time, in seconds since the opening.

    `pair` is "phrase=h:mm:ss" or "line 12=h:mm:ss". Raises FilmError.
    """
    phrase, _, at = (part.strip() for part in pair.rpartition("="))
    read = re.fullmatch(r"(?:(\d+):)?(\d+):(\d\d(?:\.\d+)?)", at)
    if not phrase or not read:
        raise FilmError(
            f"{legible(pair, 80)} does not say where a phrase is in the film. Write the phrase and "
            'its time in the film: "checklist stand by=0:12:31".'
        )
    hours, minutes, seconds = read.groups()
    film_s = int(hours or 0) * 3600 + int(minutes) * 60 + float(seconds)
    return began_s(_line(trace, phrase)) - film_s


def _line(trace: Trace, phrase: str) -> Line:
    """The one line with these words, or with this number."""
    address = trace.procedure.common.listening.address
    wanted = (phrase, f"{address} {phrase}")

    def is_meant(line: Line) -> bool:
        said = line.said.source != "machine" and line.said.text in wanted
        return said or phrase == f"line {line.at.line}"

    found = list(filter(is_meant, lines(trace)))
    if len(found) == 1:
        return found[0]
    shown = legible(phrase, 80)
    if not found:
        raise FilmError(f"Nobody said “{shown}” in this record. Choose words from its review.")
    times = ", ".join(f"line {one.at.line} at {elapsed(one.at.since_s)}" for one in found[:5])
    raise FilmError(
        f"“{shown}” was said {len(found)} times ({times}). Name its line: --align "
        f'"line {found[0].at.line}=…".'
    )
