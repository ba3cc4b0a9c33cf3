"""Run charts of single values with natural limits (XmR), as numbers and as a picture.

Limits: mean ± 3 · (mean moving range) / 1.128, that is 2.66 mean moving ranges to either side:
NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2, individuals control charts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean
from typing import TYPE_CHECKING

from voicecheck.after.marks import BLACK, BLUE, INK, QUIET, VERMILION
from voicecheck.after.optional import library
from voicecheck.after.picture import STYLE, svg

if TYPE_CHECKING:
    from matplotlib.axes import Axes

D2 = 1.128
"""Mean range of two values from a normal distribution, in standard deviations (same source)."""

FEWEST = 6
"""Below so many values no limits are drawn: they would rest on too little (common practice, no
source)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Limits:
    """Where values lie while nothing but chance moves them."""

    mean: float
    lower: float
    upper: float


def limits(values: Sequence[float]) -> Limits:
    """Of at least two values in the order of time; raises ValueError for fewer."""
    if len(values) < 2:
        raise ValueError("limits need at least two values")
    mean = fmean(values)
    reach = 3 * fmean(abs(now - was) for was, now in pairwise(values)) / D2
    return Limits(mean=mean, lower=mean - reach, upper=mean + reach)


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


def run_chart(series: Series) -> str:
    """The chart as one <svg> element: points and line; outside the limits a large diamond."""
    with library("matplotlib").rc_context(STYLE):
        figure = library("matplotlib.figure").Figure(figsize=(5.2, 2.3))
        axes = figure.add_axes((0.09, 0.13, 0.7, 0.7))
        axes.set_title(f"{series.title}: {series.unit}", loc="left", x=-0.06, fontsize=10)
        axes.title.set_color(INK)
        places = range(len(series.months))
        axes.plot(places, series.values, "-o", color=BLUE, linewidth=1.2, ms=4, clip_on=False)
        _levels(axes, series)
        beyond = [place for place in places if series.months[place] in series.outside]
        values = [series.values[place] for place in beyond]
        axes.plot(beyond, values, "D", color=VERMILION, mec=BLACK, ms=8, zorder=4, clip_on=False)
        step = max(1, len(series.months) // 6)
        axes.set_xticks(list(places)[::step], series.months[::step], fontsize=8)
        axes.tick_params(labelsize=8, color=QUIET)
        axes.margins(y=0.12)
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        return svg(figure)


def _levels(axes: Axes, series: Series) -> None:
    """Mean and limits, named at their right end; a limit beyond what is possible is left out."""
    found = series.limits
    if found is None:
        return
    for value, name, dashes, align in (
        (found.upper, "upper limit", "--", "bottom"),
        (found.mean, "mean", "-", "center"),
        (found.lower, "lower limit", "--", "top"),
    ):
        if series.least <= value <= series.most:
            axes.axhline(value, color=QUIET, linewidth=1, linestyle=dashes, zorder=1)
            axes.annotate(
                f"{name} {value:.3g}",
                (1.02, value),
                xycoords=("axes fraction", "data"),
                fontsize=8,
                va=align,
            )
