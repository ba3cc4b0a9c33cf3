"""Individuals charts (XmR): one value a month, with control limits from the average moving range.

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

MIN_MONTHS = 6
"""Fewer months get no limits: useful limits need five or six values (Wheeler, as above)."""

MIN_CASES = 5
"""A month with fewer cases is drawn hollow and moves no limit: chance would decide its value
(common practice, no source)."""


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
"""A month's place on the axis, and its value."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Series:
    """One measure of one group of cases, month by month."""

    group: str
    months: tuple[str, ...]
    values: tuple[float | None, ...]
    """None for a month without any such case."""
    cases: tuple[int, ...]
    """How many cases each value is worked out from."""
    most: float = float("inf")
    """The greatest possible value; the least is 0."""

    @property
    def counted(self) -> list[Point]:
        """The months with enough cases: only these count for the limits."""
        return self._points(few=False)

    @property
    def few(self) -> list[Point]:
        """The months with too few cases."""
        return self._points(few=True)

    def _points(self, *, few: bool) -> list[Point]:
        return [
            (place, value)
            for place, (value, cases) in enumerate(zip(self.values, self.cases, strict=True))
            if value is not None and (cases < MIN_CASES) == few
        ]

    @property
    def limits(self) -> Limits | None:
        """None for too few months. A limit may lie beyond any possible value."""
        values = [value for _, value in self.counted]
        return limits(values) if len(values) >= MIN_MONTHS else None

    @property
    def outside(self) -> list[Point]:
        """The counted months beyond a limit: worth a question."""
        found = self.limits
        if found is None:
            return []
        return [point for point in self.counted if not found.lower <= point[1] <= found.upper]

    @property
    def verdict(self) -> str:
        """What the chart shows, in words."""
        if self.limits is None:
            return "too few months for limits"
        outside = ", ".join(self.months[place] for place, _ in self.outside)
        return f"beyond the limits: {outside}" if outside else "no month beyond the limits"
