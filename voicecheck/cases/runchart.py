"""Run charts as an SVG picture: values above, moving ranges below, each with its natural limits."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from voicecheck.cases.xmr import Point, Series
from voicecheck.review.marks import BLACK, BLUE, QUIET, VERMILION, WIDTH_IN
from voicecheck.review.optional import library
from voicecheck.review.picture import STYLE, svg

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ACROSS = 3
"""Charts in a row where there are several groups."""
ALONE_IN = WIDTH_IN / 2
"""Width of a chart alone."""
TITLE_IN, PANEL_IN = 0.3, 2.7
LEFT_IN, RIGHT_IN = 0.5, 1.08
"""Room for the scale and for the names of the limits."""
MONTH_IN, LINE_IN = 0.62, 0.13
"""Room that the name of a month and a line of small print take."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Band:
    """What one pair of axes shows."""

    title: str
    bold: bool
    foot_in: float
    """Above the foot of the chart."""
    high_in: float
    points: Sequence[Point]
    hollow: Sequence[Point]
    odd: Sequence[Point]
    """Beyond a limit."""
    levels: Sequence[tuple[str, float]]
    """The mean, then its limits."""


def run_charts(title: str, groups: Sequence[Series]) -> str:
    """The groups' charts as one <svg> element, all on one scale, each with its own limits."""
    across = min(ACROSS, len(groups))
    rows = -(-len(groups) // across)
    wide_in = ALONE_IN if across == 1 else WIDTH_IN
    high_in = TITLE_IN + PANEL_IN * rows
    with library("matplotlib").rc_context(STYLE):
        figure = library("matplotlib.figure").Figure(figsize=(wide_in, high_in))
        figure.text(0.1 / wide_in, 1 - 0.08 / high_in, title, fontsize=10, va="top")
        drawn: list[tuple[Axes, Band]] = []
        for number, series in enumerate(groups):
            row, column = divmod(number, across)
            at_in = (column * wide_in / across, high_in - TITLE_IN - (row + 1) * PANEL_IN)
            for place, band in enumerate(_bands(series)):
                axes = _axes(figure, at_in, wide_in / across, band)
                if number:
                    axes.sharey(drawn[place][0])
                _draw(axes, band, series.months)
                drawn.append((axes, band))
        for axes, band in drawn:
            _name_levels(axes, band)  # once their common scale is known
        return svg(figure)


def _bands(series: Series) -> Iterator[Band]:
    """The values, then the moving ranges; a limit beyond what is possible is left out."""
    found = series.limits
    named = (
        {}
        if found is None
        else {"mean": found.mean, "lower limit": found.lower, "upper limit": found.upper}
    )
    yield Band(
        title=series.group if len(series.group) <= 30 else f"{series.group[:29]}…",
        bold=True,
        foot_in=1.22,
        high_in=1.28,
        points=series.points(),
        hollow=series.points(few=True),
        odd=series.outside,
        levels=[(name, value) for name, value in named.items() if 0 <= value <= series.most],
    )
    yield Band(
        title="change between filled points",
        bold=False,
        foot_in=0.3,
        high_in=0.63,
        points=series.changes(),
        hollow=(),
        odd=series.jumped,
        levels=[("mean", found.jump_mean), ("upper limit", found.jump_upper)] if found else [],
    )


def _axes(figure: Figure, at_in: tuple[float, float], wide_in: float, band: Band) -> Axes:
    whole_wide_in, whole_high_in = figure.get_size_inches()
    return figure.add_axes(
        (
            (at_in[0] + LEFT_IN) / whole_wide_in,
            (at_in[1] + band.foot_in) / whole_high_in,
            (wide_in - LEFT_IN - RIGHT_IN) / whole_wide_in,
            band.high_in / whole_high_in,
        )
    )


def _draw(axes: Axes, band: Band, months: Sequence[str]) -> None:
    """Points and a line; beyond a limit a large diamond, hollow what does not count."""
    axes.set_title(
        band.title,
        loc="left",
        fontsize=9 if band.bold else 8,
        fontweight="bold" if band.bold else "normal",
        pad=8 if band.bold else 3,
    )
    styles: Sequence[tuple[Sequence[Point], dict[str, Any]]] = (
        (band.points, {"marker": "o", "ms": 3.5, "color": BLUE, "lw": 1.2}),
        (band.hollow, {"marker": "o", "ms": 3.5, "color": BLUE, "lw": 0, "mfc": "white"}),
        (band.odd, {"marker": "D", "ms": 7.5, "color": VERMILION, "lw": 0, "mec": BLACK}),
    )
    for points, style in styles:
        places, values = [place for place, _ in points], [value for _, value in points]
        axes.plot(places, values, clip_on=False, zorder=3, **style)
    for name, value in band.levels:
        stroke = "-" if name == "mean" else "--"
        axes.axhline(value, color=QUIET, linewidth=1, linestyle=stroke, zorder=1)
    room = max(1, int(axes.bbox.width / axes.figure.dpi / MONTH_IN))
    step = -(-len(months) // room)
    axes.set_xlim(-0.5, len(months) - 0.5)
    axes.set_xticks(range(0, len(months), step), months[::step])
    axes.locator_params(axis="y", nbins=5)
    axes.margins(y=0.12)
    axes.tick_params(labelsize=8, color=QUIET, labelbottom=not band.bold)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _name_levels(axes: Axes, band: Band) -> None:
    """Each at its right end, the limits' names a line away from the mean's at least."""
    least, most = axes.get_ylim()
    line = LINE_IN / band.high_in
    for name, value in band.levels:
        at, mean = ((each - least) / (most - least) for each in (value, band.levels[0][1]))
        apart = {"lower limit": min(at, mean - line), "upper limit": max(at, mean + line)}
        axes.annotate(
            f"{name} {value:.3g}",
            (1.02, apart.get(name, at)),
            xycoords="axes fraction",
            fontsize=8,
            va="center",
        )
