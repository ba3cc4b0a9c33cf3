"""Run charts as an SVG picture: one individuals chart for each group, with its control limits."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from voicecheck.cases.xmr import Point, Series
from voicecheck.review.marks import BLACK, BLUE, QUIET, VERMILION, WIDTH_IN
from voicecheck.review.optional import library
from voicecheck.review.picture import STYLE, svg

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

NARROW, WIDE = 12, 24
"""With up to so many points, three charts or two have room in a row."""
TITLE_IN, CHART_IN = 0.3, 2.65
FOOT_IN, AXIS_IN = 0.85, 1.5
"""Room for the periods, numerators and numbers of cases, and height of the value axis."""
LEFT_IN, RIGHT_IN = 0.5, 1.08
"""Room for the scale, and for the names of the limits."""
LINE_IN, LETTER_IN = 0.13, 0.055
"""Height of a line of small print, and width of a letter, roughly."""


def is_wide(groups: Sequence[Series]) -> bool:
    """Whether the charts take the whole width of a page."""
    return len(groups) > 1 or len(groups[0].names) > WIDE


def run_charts(title: str, groups: Sequence[Series]) -> str:
    """The groups' charts as one <svg> element; all have one scale, each has its own limits."""
    points = max(len(series.names) for series in groups)
    room = 3 if points <= NARROW else 2 if points <= WIDE else 1
    across = min(room, len(groups))
    rows = -(-len(groups) // across)
    wide_in = WIDTH_IN if is_wide(groups) else WIDTH_IN / 2
    high_in = TITLE_IN + CHART_IN * rows
    with library("matplotlib").rc_context(STYLE):
        figure = library("matplotlib.figure").Figure(figsize=(wide_in, high_in))
        figure.text(0.1 / wide_in, 1 - 0.08 / high_in, title, fontsize=10, va="top")
        drawn: list[Axes] = []
        for number, series in enumerate(groups):
            row, column = divmod(number, across)
            at_in = (column * wide_in / across, high_in - TITLE_IN - (row + 1) * CHART_IN)
            axes = _axes(figure, at_in, wide_in / across)
            if drawn:
                axes.sharey(drawn[0])
            _draw(axes, series)
            drawn.append(axes)
        for axes, series in zip(drawn, groups, strict=True):
            _name_levels(axes, series)  # once their common scale is known
        return svg(figure)


def _axes(figure: Figure, at_in: tuple[float, float], wide_in: float) -> Axes:
    whole_wide_in, whole_high_in = figure.get_size_inches()
    return figure.add_axes(
        (
            (at_in[0] + LEFT_IN) / whole_wide_in,
            (at_in[1] + FOOT_IN) / whole_high_in,
            (wide_in - LEFT_IN - RIGHT_IN) / whole_wide_in,
            AXIS_IN / whole_high_in,
        )
    )


def _draw(axes: Axes, series: Series) -> None:
    """The values and levels; a point of too few cases is hollow, one beyond a limit a diamond."""
    name = series.group if len(series.group) <= 30 else f"{series.group[:29]}…"
    axes.set_title(name, loc="left", fontsize=9, fontweight="bold", pad=8)
    styles: Sequence[tuple[Sequence[Point], dict[str, Any]]] = (
        *((run, {"marker": "o", "ms": 3.5, "color": BLUE, "lw": 1.2}) for run in series.runs),
        (series.few, {"marker": "o", "ms": 3.5, "color": BLUE, "lw": 0, "mfc": "white"}),
        (series.outside, {"marker": "D", "ms": 7.5, "color": VERMILION, "lw": 0, "mec": BLACK}),
    )
    for points, style in styles:
        places, values = [place for place, _ in points], [value for _, value in points]
        axes.plot(places, values, clip_on=False, zorder=3, **style)
    for level, value in _levels(series):
        stroke = "-" if level == "mean" else "--"
        axes.axhline(value, color=QUIET, linewidth=1, linestyle=stroke, zorder=1)
    axes.set_xlim(-0.5, len(series.names) - 0.5)
    _name_points(axes, series)
    axes.locator_params(axis="y", nbins=5)
    axes.margins(y=0.12)
    axes.tick_params(labelsize=8, color=QUIET)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _name_points(axes: Axes, series: Series) -> None:
    """The periods where they fit; below them each point's numerator and denominator, or n."""
    each_in = axes.bbox.width / axes.figure.dpi / len(series.names)
    longest = max(len(name) for name in series.names)
    step = -(-(longest + 1.5) * LETTER_IN * 1.15 // each_in)
    places = range(0, len(series.names), max(1, int(step)))
    axes.set_xticks(places, [series.names[place] for place in places])
    if not series.counts:
        return
    letters = max(len(text) for pair in series.counts for text in pair)
    turned = (letters + 0.6) * LETTER_IN > each_in
    line_in = letters * LETTER_IN if turned else LINE_IN
    parts, wholes = zip(*series.counts, strict=True)
    rows = [("counted", parts), ("of", wholes)] if any(parts) else [("n", wholes)]
    for row, (what, texts) in enumerate(rows):
        down = -(0.24 + row * (line_in + 0.03)) / AXIS_IN
        for place, text in [*enumerate(texts), (len(texts) - 0.45, what)]:
            named = isinstance(place, float)
            axes.text(
                place,
                down,
                text,
                transform=axes.get_xaxis_transform(),
                ha="left" if named else "center",
                va="top",
                fontsize=6,
                rotation=90 if turned and not named else 0,
            )


def _levels(series: Series) -> Iterator[tuple[str, float]]:
    """The mean, then the limits that are possible values."""
    found = series.limits
    if found is not None:
        yield "mean", found.mean
        if found.lower >= 0:
            yield "lower limit", found.lower
        if found.upper <= series.most:
            yield "upper limit", found.upper


def _name_levels(axes: Axes, series: Series) -> None:
    """Name each level at its right end, the limits at least one line away from the mean."""
    least, most = axes.get_ylim()
    line = LINE_IN / AXIS_IN
    levels = dict(_levels(series))
    for name, value in levels.items():
        at, mean = ((each - least) / (most - least) for each in (value, levels["mean"]))
        apart = {"lower limit": min(at, mean - line), "upper limit": max(at, mean + line)}
        axes.annotate(
            f"{name} {value:.3g}",
            (1.02, apart.get(name, at)),
            xycoords="axes fraction",
            fontsize=8,
            va="center",
        )
