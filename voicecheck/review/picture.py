"""The timeline of one case as an SVG picture: the same report gives the same bytes.

Nothing depends on colour alone: each kind has its own row, shape or hatching. The page says the
same in tables.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from voicecheck.core.legible import legible
from voicecheck.core.procedure import Kind
from voicecheck.core.wording import REHEARSAL
from voicecheck.review.findings import Report
from voicecheck.review.marks import (
    BLACK,
    BLUE,
    GREEN,
    INK,
    ORANGE,
    PAPER,
    QUIET,
    SKY,
    VERMILION,
    WIDTH_IN,
    marks,
    width_min,
)
from voicecheck.review.optional import library
from voicecheck.review.pages import elapsed

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ROW_IN = 0.33
STYLE = {
    "svg.fonttype": "none",
    "text.parse_math": False,
    "svg.hashsalt": "voicecheck",
    "font.family": "sans-serif",
    "font.size": 9,
    "hatch.linewidth": 0.7,
    "axes.edgecolor": QUIET,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
}
"""Keeps pictures small, readable as text, and the same every time."""


def timeline(report: Report) -> str:
    """The picture as one <svg> element."""
    with library("matplotlib").rc_context(STYLE):
        rows = [item.name for item in report.asked if item.kind in BARS]
        names = ["phase asked for", *rows, *_ROWS]
        figure = library("matplotlib.figure").Figure(figsize=(WIDTH_IN, ROW_IN * len(names) + 0.85))
        axes = figure.add_axes((0.205, 0.5 / figure.get_figheight(), 0.785, _room(figure)))
        _axes(axes, names, report.ended.since_s / 60)
        places = {name: place for place, name in enumerate(names)}
        _phases(axes, report)
        _spans(axes, report, places)
        _acts(axes, report, places)
        marks(axes, report.events, places["events and cautions"])
        marks(axes, report.refusals, places["refused"])
        marks(axes, report.corrections, places["withdrawn or lapsed"])
        _departures(axes, report, places["course left"])
        _hearing(axes, report, places)
        if report.setting.rehearsal:
            figure.text(0.005, 0.99, REHEARSAL, va="top", weight="bold")
        return svg(figure)


BARS: dict[Kind, tuple[float, dict[str, Any]]] = {
    Kind.HOLD: (0.22, {"facecolor": SKY, "edgecolor": BLUE}),
    Kind.CRITERION: (0.56, {"facecolor": BLUE, "edgecolor": BLUE}),
    Kind.PAUSE: (0.56, {"facecolor": ORANGE, "edgecolor": BLACK, "hatch": "...."}),
}
"""Height and style of the bars: thin for a hold, full for a criterion, dotted for the pause."""

KEEPS_CLOSED: dict[str, Any] = {"facecolor": "white", "edgecolor": VERMILION, "hatch": "xxxx"}
_ROWS = (
    "clipped and divided",
    "events and cautions",
    "refused",
    "withdrawn or lapsed",
    "course left",
    "not understood",
    "deaf while speaking",
    "in trouble",
)


def svg(figure: Figure) -> str:
    """A figure as one <svg> element for use inside a page."""
    memory = io.StringIO()
    for words in figure.findobj(library("matplotlib.text").Text):
        words.set_text(legible(words.get_text(), 100))
    with warnings.catch_warnings():  # what our font lacks, the reader's font will have
        warnings.filterwarnings("ignore", "Glyph")
        figure.savefig(memory, format="svg", metadata={"Date": None, "Creator": None})
    text: str = memory.getvalue()
    return text[text.index("<svg") :].replace(
        "<svg ", '<svg aria-hidden="true" focusable="false" ', 1
    )


def _room(figure: Figure) -> float:
    return 1 - 0.74 / figure.get_figheight()


def _axes(axes: Axes, names: Sequence[str], minutes: float) -> None:
    axes.set_xlim(0, max(minutes, 1 / 60))
    axes.set_ylim(len(names) - 0.5, -0.5)
    axes.set_yticks(range(len(names)), [legible(name, 60) for name in names])
    axes.tick_params(length=0, pad=6)
    axes.xaxis.set_major_locator(library("matplotlib.ticker").MultipleLocator(_step(minutes)))
    axes.xaxis.set_major_formatter(lambda at_min, _place: elapsed(round(at_min * 60)))
    axes.set_xlabel("since the record was opened, in minutes and seconds (m:ss)")
    for side in ("top", "left", "right"):
        axes.spines[side].set_visible(False)
    for place in range(0, len(names), 2):
        axes.axhspan(place - 0.5, place + 0.5, color=PAPER, zorder=0, linewidth=0)
    axes.grid(axis="x", color="#d7dee2", linewidth=0.6, zorder=0.5)


def _step(minutes: float) -> float:
    """Minutes between two marks of the axis: at most twelve, at round times."""
    steps_s = (5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600)
    step_s = next((step_s for step_s in steps_s if minutes * 60 / step_s <= 12), None)
    return (step_s or -(-minutes // 720) * 3600) / 60


def _phases(axes: Axes, report: Report) -> None:
    titles = list(dict.fromkeys(item.phase for item in report.asked))
    for stretch in report.stretches:
        from_min, long_min = _minutes(stretch.start.since_s, stretch.end.since_s)
        style: dict[str, Any] = {"facecolor": "white", "hatch": "////"}
        names = [stretch.title]
        if stretch.in_course:
            number = titles.index(stretch.title)
            style = {"facecolor": ("#cfd9de", "#e6ecee")[number % 2]}
            names = [f"{number + 1} {stretch.title}", f"{number + 1}"]
        axes.barh(0, long_min, 0.86, from_min, edgecolor=QUIET, linewidth=0.6, zorder=2, **style)
        _inside(axes, from_min, long_min, names)


def _inside(axes: Axes, from_min: float, long_min: float, names: Sequence[str]) -> None:
    """Write the first of the names that fits into the bar; if none fits, only the table has it."""
    for name in names:
        if width_min(axes, name) < long_min:
            axes.text(
                from_min + long_min / 2,
                0.03,
                name,
                ha="center",
                va="center",
                fontsize=8,
                zorder=5,
                bbox={"facecolor": "white", "alpha": 0.7, "linewidth": 0, "pad": 0.6},
            )
            return


def _spans(axes: Axes, report: Report, places: dict[str, int]) -> None:
    kinds = {item.item: item.kind for item in report.asked}
    for span in report.spans:
        if kinds[span.item] not in BARS:
            continue
        height, style = BARS[kinds[span.item]] if span.satisfies else (0.5, KEEPS_CLOSED)
        from_min, long_min = _minutes(span.start.since_s, (span.end or report.ended).since_s)
        place = places[span.name]
        axes.barh(place, long_min, height, from_min, linewidth=1, zorder=3, **style)
        if span.end is not None:
            axes.plot([from_min + long_min], [place], "|", color=BLACK, ms=14, mew=2, zorder=4)


def _acts(axes: Axes, report: Report, places: dict[str, int]) -> None:
    if report.first_act is not None:
        at_min = report.first_act.at.since_s / 60
        axes.axvline(at_min, color=BLACK, linewidth=1, linestyle=(0, (1, 2)), zorder=2.5)
        axes.text(at_min, -0.72, "first act", ha="center", va="bottom", fontsize=8)
    acts = {item.item for item in report.asked if item.kind is Kind.ACT}
    for statement in report.statements:
        if statement.item in acts:
            axes.plot(
                [statement.at.since_s / 60],
                [places["clipped and divided"]],
                "D",
                color=GREEN if not statement.outside else "white",
                markeredgecolor=BLACK,
                ms=7,
                zorder=4,
            )


def _departures(axes: Axes, report: Report, place: int) -> None:
    for departure in report.departures:
        at_min = departure.at.since_s / 60
        axes.axvline(at_min, color=VERMILION, linewidth=1.2, linestyle=(0, (4, 2)), zorder=1.5)
    marks(axes, [departure.as_happening() for departure in report.departures], place)


def _hearing(axes: Axes, report: Report, places: dict[str, int]) -> None:
    axes.plot(
        [happening.at.since_s / 60 for happening in report.misunderstood],
        [places["not understood"]] * len(report.misunderstood),
        "|",
        color=BLACK,
        ms=9,
        mew=1.1,
        zorder=4,
    )
    axes.broken_barh(
        [_minutes(deaf.start_s, deaf.end_s) for deaf in report.deaf],
        (places["deaf while speaking"] - 0.2, 0.4),
        facecolor=SKY,
        edgecolor=BLUE,
        linewidth=0.7,
        zorder=3,
    )
    axes.broken_barh(
        [
            _minutes(span.start.since_s, (span.end or report.ended).since_s)
            for span in report.troubles
        ],
        (places["in trouble"] - 0.25, 0.5),
        facecolor="white",
        edgecolor=VERMILION,
        hatch="////",
        zorder=3,
    )


def _minutes(from_s: float, to_s: float) -> tuple[float, float]:
    return from_s / 60, (to_s - from_s) / 60
