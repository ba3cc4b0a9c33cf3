"""Single values and their moving ranges, month by month, with natural limits (XmR).

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
    most: float = float("inf")
    """No value can be above; none can be below nought."""

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
