"""The run charts of many cases: by month, by quarter if months are thin, or case by case."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from voicecheck.cases.aggregates import Groups
from voicecheck.cases.layout import Row
from voicecheck.cases.measures import CHARTED, MEASURES
from voicecheck.cases.runchart import WIDE, is_wide, run_charts
from voicecheck.cases.xmr import MIN_CASES, Series
from voicecheck.review.pages import drawn


@dataclass(frozen=True, kw_only=True, slots=True)
class Chart:
    """The run charts of one measure, one for each group that has enough points."""

    title: str
    period: str
    """What a point stands for: month, quarter or case."""
    picture: Any
    """None if no group has enough points."""
    series: Sequence[Series]
    """Those that are drawn."""
    left_out: Sequence[Series]
    wide: bool


def charts(periods: Mapping[str, Mapping[str, Groups]], mark: str = "") -> list[Chart]:
    """A chart for each measure in `CHARTED`; all bear `mark`.

    `periods` is kind of period → group → period → measure → value. A chart has the longest period
    in which there are enough points for each group that has enough cases at all.
    """
    found: list[Chart] = []
    for name in CHARTED:
        drawn_by = {period: _drawn(name, period, groups) for period, groups in periods.items()}
        most = max(len(one) for one in drawn_by.values())
        period = next(period for period, one in drawn_by.items() if len(one) == most)
        every = _all_series(name, period, periods[period])
        series = drawn_by[period]
        by = "case by case" if period == "case" else f"by {period}"
        title = f"{MEASURES[name].name}: {MEASURES[name].unit}, {by}{mark}"
        found.append(
            Chart(
                title=title,
                period=period,
                picture=drawn(run_charts(title, series)) if series else None,
                series=series,
                left_out=[one for one in every if one.limits is None],
                wide=bool(series) and is_wide(series),
            )
        )
    return found


def _drawn(name: str, period: str, groups: Mapping[str, Groups]) -> list[Series]:
    """The series that have enough points; none if there are more months than a chart can name."""
    found = [one for one in _all_series(name, period, groups) if one.limits is not None]
    crowded = period == "month" and any(len(one.names) > MOST_MONTHS for one in found)
    return [] if crowded else found


MOST_MONTHS = 36
"""A chart by month has room for the numbers of so many."""


def _all_series(name: str, period: str, groups: Mapping[str, Groups]) -> list[Series]:
    shared = _names(period, [point for rows in groups.values() for point in rows])
    return [
        _series(name, period, group, _names(period, rows) if period == "case" else shared, rows)
        for group, rows in groups.items()
    ]


def _names(period: str, known: Iterable[str]) -> list[str]:
    """All periods from the first to the last, also those without a case."""
    names = sorted(set(known))
    if period == "case" or not names:
        return names
    a_year = 12 if period == "month" else 4
    first, last = (
        int(name[:4]) * a_year + int(name[5:].lstrip("Q")) - 1 for name in (names[0], names[-1])
    )
    form = "{}-{:02}" if period == "month" else "{} Q{}"
    return [form.format(number // a_year, number % a_year + 1) for number in range(first, last + 1)]


def _series(name: str, period: str, group: str, names: Sequence[str], known: Groups) -> Series:
    none = {name: None, f"{name}_part": None, f"{name}_of": 0, f"{name}_cases": 0}
    rows: list[Row] = [known.get(point, none) for point in names]
    scale, most = (100, 100) if MEASURES[name].is_share else (1, float("inf"))
    each = period == "case"
    return Series(
        group=group,
        names=tuple(point[:10] if each else point for point in names),
        values=tuple(None if row[name] is None else row[name] * scale for row in rows),
        cases=tuple(row[f"{name}_cases"] for row in rows),
        counts=() if each and len(names) > WIDE else tuple(counts(name, row) for row in rows),
        most=most,
        least_cases=1 if each else MIN_CASES,
    )


def counts(name: str, row: Row) -> tuple[str, str]:
    """Numerator and denominator of a measure as they are written; "" if it has no numerator."""
    part, of = row[f"{name}_part"], row[f"{name}_of"]
    return "" if part is None else f"{part:.0f}", f"{of or 0:.0f}"
