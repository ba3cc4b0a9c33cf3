"""Run charts of single values and their moving ranges with natural limits (XmR), and their picture.

Limits of the values: mean ± 3 · (mean moving range) / 1.128, that is 2.66 mean moving ranges to
either side: NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2, individuals control
charts. Limit of the moving ranges: 3.267 times their mean, the same handbook's upper limit of
ranges (6.3.2.1) for two values.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean
from typing import TYPE_CHECKING, Any

from voicecheck.after.marks import BLACK, BLUE, QUIET, VERMILION
from voicecheck.after.optional import library
from voicecheck.after.picture import STYLE, svg

if TYPE_CHECKING:
    from matplotlib.axes import Axes

D2 = 1.128
"""Mean range of two values from a normal distribution, in standard deviations (same source)."""

D3 = 0.853
"""Standard deviation of that range, in the same unit (6.3.2.1)."""

FEWEST = 6
"""Below so many values no limits are drawn: they would rest on too little (common practice, no
source)."""


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


@dataclass(frozen=True, kw_only=True, slots=True)
class Series:
    """One figure, month by month."""

    title: str
    unit: str
    months: tuple[str, ...]
    values: tuple[float, ...]
    least: float = 0.0
    """No value can be below."""
    most: float = float("inf")

    @property
    def limits(self) -> Limits | None:
        """None for too few months; they may lie beyond what is possible, and then say nothing."""
        return limits(self.values) if len(self.values) >= FEWEST else None

    @property
    def outside(self) -> tuple[str, ...]:
        """Months beyond the limits: worth a question."""
        found = self.limits
        if found is None:
            return ()
        return tuple(
            month
            for month, value in zip(self.months, self.values, strict=True)
            if not found.lower <= value <= found.upper
        )

    @property
    def jumped(self) -> tuple[str, ...]:
        """Months that differ from the month before by more than the limit."""
        found = self.limits
        if found is None:
            return ()
        return tuple(
            month
            for month, jump in zip(self.months[1:], jumps(self.values), strict=True)
            if jump > found.jump_upper
        )


def run_chart(series: Series) -> str:
    """The chart as one <svg> element: values above, moving ranges below, each with its limits."""
    with library("matplotlib").rc_context(STYLE):
        figure = library("matplotlib.figure").Figure(figsize=(5.2, 3.0))
        above = figure.add_axes((0.09, 0.42, 0.7, 0.48))
        below = figure.add_axes((0.09, 0.1, 0.7, 0.21))
        above.set_title(f"{series.title}: {series.unit}", loc="left", x=-0.06, fontsize=10)
        below.set_title("change from the month before", loc="left", x=-0.06, fontsize=8, pad=3)
        found = series.limits
        _points(above, series.months, series.values, series.outside)
        _points(below, series.months, [None, *jumps(series.values)], series.jumped)
        if found is not None:
            _level(above, "upper limit", found.upper, "bottom", series)
            _level(above, "mean", found.mean, "center", series)
            _level(above, "lower limit", found.lower, "top", series)
            _level(below, "upper limit", found.jump_upper, "bottom")
            _level(below, "mean", found.jump_mean, "center")
        above.tick_params(labelbottom=False)
        return svg(figure)


def _points(
    axes: Axes, months: Sequence[str], values: Sequence[float | None], beyond: Sequence[str]
) -> None:
    """Points and a line; what lies beyond a limit is a large diamond."""
    places = range(len(months))
    axes.plot(
        [place for place in places if values[place] is not None],
        [value for value in values if value is not None],
        "-o",
        color=BLUE,
        linewidth=1.2,
        ms=3.5,
        clip_on=False,
    )
    odd = [place for place in places if months[place] in beyond]
    marked: list[Any] = [values[place] for place in odd]
    axes.plot(odd, marked, "D", color=VERMILION, mec=BLACK, ms=7.5, zorder=4, clip_on=False)
    step = max(1, len(months) // 6)
    axes.set_xlim(-0.5, len(months) - 0.5)
    axes.set_xticks(list(places)[::step], months[::step], fontsize=8)
    axes.locator_params(axis="y", nbins=5)
    axes.tick_params(labelsize=8, color=QUIET)
    axes.margins(y=0.12)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _level(axes: Axes, name: str, value: float, align: str, within: Series | None = None) -> None:
    """A mean or limit, named at its right end; one beyond what is possible is left out."""
    if within and not within.least <= value <= within.most:
        return
    axes.axhline(
        value, color=QUIET, linewidth=1, linestyle="-" if name == "mean" else "--", zorder=1
    )
    axes.annotate(
        f"{name} {value:.3g}",
        (1.02, value),
        xycoords=("axes fraction", "data"),
        fontsize=8,
        va=align,
    )
