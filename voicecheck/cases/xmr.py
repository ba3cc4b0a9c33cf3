"""Individuals charts (XmR): a value for each period, with limits from the average moving range.

Limits: mean ± 3 · (average moving range) / 1.128, which is mean ± 2.66 average moving ranges.
Sources: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, individuals control charts;
Wheeler, Understanding Variation.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean

D2 = 1.128
"""Mean range of two values from a normal distribution, in standard deviations (NIST, as above)."""

MIN_POINTS = 6
"""Fewer points get no chart: useful limits need five or six values (Wheeler, as above)."""

MIN_CASES = 5
"""A month or quarter with fewer cases is drawn hollow and moves no limit: chance would decide its
value (common practice, no source)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Limits:
    """Between them lie the values as long as only chance moves them."""

    mean: float
    lower: float
    upper: float


def limits(values: Sequence[float]) -> Limits:
    """Control limits of two values or more, in the order of time; raises ValueError for fewer."""
    if len(values) < 2:
        raise ValueError("limits need at least two values")
    mean = fmean(values)
    moving_range = fmean(abs(now - was) for was, now in pairwise(values))
    reach = 3 * moving_range / D2
    return Limits(mean=mean, lower=mean - reach, upper=mean + reach)


Point = tuple[int, float]
"""A period's place on the axis, and its value."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Series:
    """One measure of one group of cases, period by period, or case by case."""

    group: str
    names: tuple[str, ...]
    """Of the periods, in the order of time, also of those without a case."""
    values: tuple[float | None, ...]
    """None for a period without any such case."""
    cases: tuple[int, ...]
    """How many cases each value is worked out from."""
    counts: tuple[tuple[str, str], ...] = ()
    """Numerator and denominator of each value as they are written; "" if it has none."""
    most: float = float("inf")
    """The greatest possible value; the least is 0."""
    least_cases: int = MIN_CASES
    """A point of fewer cases moves no limit."""

    @property
    def counted(self) -> list[Point]:
        """The points of enough cases: only these count for the limits."""
        return self._points(few=False)

    @property
    def few(self) -> list[Point]:
        """The points of too few cases."""
        return self._points(few=True)

    def _points(self, *, few: bool) -> list[Point]:
        return [
            (place, value)
            for place, (value, cases) in enumerate(zip(self.values, self.cases, strict=True))
            if value is not None and (cases < self.least_cases) == few
        ]

    @property
    def runs(self) -> list[list[Point]]:
        """The counted points in runs without a gap: only these are joined by a line."""
        found: list[list[Point]] = []
        for point in self.counted:
            if found and found[-1][-1][0] == point[0] - 1:
                found[-1].append(point)
            else:
                found.append([point])
        return found

    @property
    def limits(self) -> Limits | None:
        """None for too few points. A limit may lie beyond any possible value."""
        values = [value for _, value in self.counted]
        return limits(values) if len(values) >= MIN_POINTS else None

    @property
    def outside(self) -> list[Point]:
        """The counted points beyond a limit: worth a question."""
        found = self.limits
        if found is None:
            return []
        return [point for point in self.counted if not found.lower <= point[1] <= found.upper]

    @property
    def verdict(self) -> str:
        """What the chart shows, in words."""
        if self.limits is None:
            return f"only {len(self.counted)} points of enough cases, too few for a chart"
        outside = ", ".join(self.names[place] for place, _ in self.outside)
        return f"beyond the limits: {outside}" if outside else "no point beyond the limits"
