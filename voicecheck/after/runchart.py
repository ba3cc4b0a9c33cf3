"""Run charts of single values and their moving ranges with natural limits (XmR), and their picture.

Limits of the values: mean ± 3 · (mean moving range) / 1.128, that is 2.66 mean moving ranges to
either side: NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2, individuals control
charts. Limit of the moving ranges: 3.267 times their mean, the same handbook's upper limit of
ranges (6.3.2.1) for two values. The same factors, 2.66 and 3.27, are in Wheeler, Understanding
Variation.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean
from typing import TYPE_CHECKING

from voicecheck.after.marks import BLACK, BLUE, QUIET, VERMILION, WIDTH_IN
from voicecheck.after.optional import library
from voicecheck.after.picture import STYLE, svg

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

D2 = 1.128
"""Mean range of two values from a normal distribution, in standard deviations (same source)."""

D3 = 0.853
"""Standard deviation of that range, in the same unit (6.3.2.1)."""

FEWEST = 6
"""Below so many values no limits are drawn: useful ones need five or six (Wheeler, the same)."""

FEW_CASES = 5
"""A month with fewer cases is drawn hollow and has no part in limits or changes: it would swing by
its cases, not by the course (common practice, no source)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Limits:
    """Where values lie while nothing but chance moves them."""

    mean: float
    lower: float
    upper: float
    jump_mean: float
    """Mean moving range: from one value to the next."""
    jump_upper: float


def limits(values: Sequence[float]) -> Limits:
    """Of at least two values in the order of time; raises ValueError for fewer."""
    if len(values) < 2:
        raise ValueError("limits need at least two values")
    mean = fmean(values)
    jump = fmean(jumps(values))
    reach = 3 * jump / D2
    return Limits(
        mean=mean,
        lower=mean - reach,
        upper=mean + reach,
        jump_mean=jump,
        jump_upper=jump * (1 + 3 * D3 / D2),
    )


def jumps(values: Sequence[float]) -> list[float]:
    """The moving ranges: one fewer than there are values."""
    return [abs(now - was) for was, now in pairwise(values)]


Point = tuple[int, float]
"""A month's place on the axis, and what it has there."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Series:
    """One figure of one group of cases, month by month."""

    group: str
    months: tuple[str, ...]
    values: tuple[float | None, ...]
    """None for a month that has nothing to work it out from."""
    cases: tuple[int, ...]
    """How many cases each value is worked out from."""
    least: float = 0.0
    """No value can be below."""
    most: float = float("inf")

    def points(self, *, few: bool = False) -> list[Point]:
        """The values that count, being of enough cases; or those that are of too few."""
        return [
            (place, value)
            for place, (value, cases) in enumerate(zip(self.values, self.cases, strict=True))
            if value is not None and (cases < FEW_CASES) == few
        ]

    def changes(self) -> list[Point]:
        """The moving ranges, each at the later of its two months."""
        return [(place, abs(now - was)) for (_, was), (place, now) in pairwise(self.points())]

    @property
    def limits(self) -> Limits | None:
        """None for too few months; they may lie beyond what is possible, and then say nothing."""
        values = [value for _, value in self.points()]
        return limits(values) if len(values) >= FEWEST else None

    @property
    def outside(self) -> list[Point]:
        """Values beyond the limits: worth a question."""
        found = self.limits
        return [] if found is None else beyond(self.points(), found.lower, found.upper)

    @property
    def jumped(self) -> list[Point]:
        """Changes from one value that counts to the next by more than the limit."""
        found = self.limits
        return [] if found is None else beyond(self.changes(), 0, found.jump_upper)

    @property
    def verdict(self) -> str:
        """What the chart shows, in words."""
        if self.limits is None:
            return "too few months for limits"
        return "; ".join(self._beyond()) or "no month beyond the limits"

    def _beyond(self) -> Iterator[str]:
        for said, points in (
            ("beyond the limits", self.outside),
            ("changed by more than the limit", self.jumped),
        ):
            if points:
                yield f"{said}: {', '.join(self.months[place] for place, _ in points)}"


def beyond(points: Sequence[Point], lower: float, upper: float) -> list[Point]:
    """Those that do not lie from one to the other."""
    return [(place, value) for place, value in points if not lower <= value <= upper]


# ------------------------------------------------------------------------------------- the picture

ACROSS = 3
"""Charts in a row where there are several groups."""
ALONE_IN = WIDTH_IN / 2
"""Width of a chart alone."""
TITLE_IN, PANEL_IN = 0.3, 2.7
LEFT_IN, RIGHT_IN = 0.5, 1.08
"""Room for the scale and for the names of the limits."""
BELOW_IN, ABOVE_IN = (0.3, 0.63), (1.22, 1.28)
"""From the panel's foot, and how high: the moving ranges and the values."""
MONTH_IN, LINE_IN = 0.62, 0.13
"""Room that the name of a month and a line of small print take."""


def run_charts(title: str, groups: Sequence[Series]) -> str:
    """The groups' charts as one <svg> element, all on one scale, each with its own limits.

    Values above, moving ranges below.
    """
    across = min(ACROSS, len(groups))
    rows = -(-len(groups) // across)
    wide_in = ALONE_IN if across == 1 else WIDTH_IN
    high_in = TITLE_IN + PANEL_IN * rows
    with library("matplotlib").rc_context(STYLE):
        figure = library("matplotlib.figure").Figure(figsize=(wide_in, high_in))
        figure.text(0.1 / wide_in, 1 - 0.08 / high_in, title, fontsize=10, va="top")
        above: list[Axes] = []
        below: list[Axes] = []
        for number, series in enumerate(groups):
            row, column = divmod(number, across)
            at_in = (column * wide_in / across, high_in - TITLE_IN - (row + 1) * PANEL_IN)
            for drawn, band_in in ((above, ABOVE_IN), (below, BELOW_IN)):
                drawn.append(_axes(figure, at_in, wide_in / across, band_in, drawn[:1]))
            _values(above[-1], series)
            _changes(below[-1], series)
        for series, upper, lower in zip(groups, above, below, strict=True):
            _name_levels(upper, lower, series)  # once their common scale is known
        return svg(figure)


def _axes(
    figure: Figure,
    at_in: tuple[float, float],
    wide_in: float,
    band_in: tuple[float, float],
    first: Sequence[Axes],
) -> Axes:
    whole_wide_in, whole_high_in = figure.get_size_inches()
    axes = figure.add_axes(
        (
            (at_in[0] + LEFT_IN) / whole_wide_in,
            (at_in[1] + band_in[0]) / whole_high_in,
            (wide_in - LEFT_IN - RIGHT_IN) / whole_wide_in,
            band_in[1] / whole_high_in,
        ),
        sharey=first[0] if first else None,
    )
    axes.tick_params(labelsize=8, color=QUIET)
    axes.margins(y=0.12)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return axes


def _values(axes: Axes, series: Series) -> None:
    axes.set_title(_short(series.group), loc="left", fontsize=9, fontweight="bold", pad=8)
    _line(axes, series, series.points(), series.outside)
    axes.plot(*_apart(series.points(few=True)), "o", color=BLUE, mfc="white", ms=3.5, clip_on=False)
    axes.tick_params(labelbottom=False)
    for name, value in _levels(series):
        _level(axes, name, value)


def _changes(axes: Axes, series: Series) -> None:
    axes.set_title("change from filled point to filled point", loc="left", fontsize=8, pad=3)
    _line(axes, series, series.changes(), series.jumped)
    for name, value in _jump_levels(series):
        _level(axes, name, value)


def _line(axes: Axes, series: Series, points: Sequence[Point], odd: Sequence[Point]) -> None:
    """Points and a line; what lies beyond a limit is a large diamond."""
    axes.plot(*_apart(points), "-o", color=BLUE, linewidth=1.2, ms=3.5, clip_on=False)
    axes.plot(*_apart(odd), "D", color=VERMILION, mec=BLACK, ms=7.5, zorder=4, clip_on=False)
    months = len(series.months)
    room_in = axes.bbox.width / axes.figure.dpi
    step = max(1, -(-months // max(1, int(room_in / MONTH_IN))))
    axes.set_xlim(-0.5, months - 0.5)
    axes.set_xticks(range(0, months, step), series.months[::step], fontsize=8)
    axes.locator_params(axis="y", nbins=5)


def _apart(points: Sequence[Point]) -> tuple[list[int], list[float]]:
    return [place for place, _ in points], [value for _, value in points]


def _short(name: str) -> str:
    return name if len(name) <= 30 else f"{name[:29]}…"


Level = tuple[str, float]


def _levels(series: Series) -> list[Level]:
    """The mean, then the limits; one beyond what is possible is left out."""
    found = series.limits
    if found is None:
        return []
    named = (("mean", found.mean), ("lower limit", found.lower), ("upper limit", found.upper))
    return [(name, value) for name, value in named if series.least <= value <= series.most]


def _jump_levels(series: Series) -> list[Level]:
    found = series.limits
    return [] if found is None else [("mean", found.jump_mean), ("upper limit", found.jump_upper)]


def _level(axes: Axes, name: str, value: float) -> None:
    style = "-" if name == "mean" else "--"
    axes.axhline(value, color=QUIET, linewidth=1, linestyle=style, zorder=1)


def _name_levels(above: Axes, below: Axes, series: Series) -> None:
    """Each at its right end, the limits' names a line away from the mean's at least."""
    for axes, levels, (_, high_in) in (
        (above, _levels(series), ABOVE_IN),
        (below, _jump_levels(series), BELOW_IN),
    ):
        least, most = axes.get_ylim()
        line = LINE_IN / high_in
        for name, value in levels:
            at, mean = ((each - least) / (most - least) for each in (value, levels[0][1]))
            place = {"lower limit": min(at, mean - line), "upper limit": max(at, mean + line)}
            axes.annotate(
                f"{name} {value:.3g}",
                (1.02, place.get(name, at)),
                xycoords="axes fraction",
                fontsize=8,
                va="center",
            )
