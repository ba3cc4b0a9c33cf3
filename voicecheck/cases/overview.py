"""The overview of many cases: a page with run charts, and a few lines for the terminal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from voicecheck.cases.aggregates import CHARTED, HEALTH, MEASURES, Groups, Summary
from voicecheck.cases.layout import Row
from voicecheck.cases.runchart import run_charts
from voicecheck.cases.xmr import MIN_CASES, MIN_MONTHS, Series
from voicecheck.core.legible import legible
from voicecheck.core.wording import CAUTION, REHEARSAL
from voicecheck.review.pages import drawn, page


def cases_page(summary: Summary, title: str) -> str:
    """The summary as one self-contained page."""
    months, mark = tuple(summary.months), " (with rehearsals)" if summary.rehearsed else ""
    return page(
        "voicecheck.cases:cases.html.j2",
        title=title,
        summary=summary,
        measures=MEASURES,
        course=[name for name in MEASURES if name not in HEALTH],
        health=["cases", *HEALTH],
        charted=["cases", *CHARTED],
        written=written,
        charts=charts(months, {"": summary.months}, mark),
        label_charts={
            label: charts(months, enough(groups), mark)
            for label, groups in summary.label_months.items()
        },
        rehearsal=REHEARSAL,
        enough=enough,
        min_cases=MIN_CASES,
        min_months=MIN_MONTHS,
        caution=CAUTION,
    )


def written(name: str, value: float | None) -> str:
    """A measure's value for people; a dash if there is none."""
    return "–" if value is None else MEASURES[name].write(value)


def enough(groups: Mapping[str, Groups]) -> Mapping[str, Groups]:
    """The groups that have enough cases for a chart in at least one month."""
    return {
        name: months
        for name, months in groups.items()
        if any(row["cases"] >= MIN_CASES for row in months.values())
    }


@dataclass(frozen=True, kw_only=True, slots=True)
class Chart:
    """The run charts of one measure, one for each group."""

    title: str
    picture: Any
    series: Sequence[Series]


def charts(months: tuple[str, ...], groups: Mapping[str, Groups], mark: str = "") -> list[Chart]:
    """A run chart for each measure in `CHARTED` that has a value in any group; all bear `mark`."""
    found: list[Chart] = []
    for name in CHARTED:
        title = f"{MEASURES[name].name}: {MEASURES[name].unit}{mark}"
        series = [_series(name, group, months, rows) for group, rows in groups.items()]
        if any(value is not None for one in series for value in one.values):
            picture = drawn(run_charts(title, series))
            found.append(Chart(title=title, picture=picture, series=series))
    return found


def _series(name: str, group: str, months: tuple[str, ...], known: Groups) -> Series:
    none = {name: None, f"{name}_of": 0}
    rows: list[Row] = [known.get(month, none) for month in months]
    scale, most = (100, 100) if MEASURES[name].is_share else (1, float("inf"))
    return Series(
        group=group,
        months=months,
        values=tuple(None if row[name] is None else row[name] * scale for row in rows),
        cases=tuple(row[f"{name}_of"] for row in rows),
        most=most,
    )


def cases_text(summary: Summary) -> str:
    """The summary in a few lines, for the terminal."""
    lines = [*_overall(summary.overall)]
    if summary.rehearsed:
        lines += [f"{summary.rehearsed:>10}  of the cases rehearsed"]
    lines += ["", "Items stated in the course, % of cases:"]
    lines += [f"  {item['stated']:7.1%}  {legible(item['name'])}" for item in summary.items]
    if summary.rehearsals:
        lines += ["", f"Rehearsals, counted in no figure: {len(summary.rehearsals)}"]
    if summary.damaged:
        lines += ["", f"Damaged or doubled logs, counted in no figure: {len(summary.damaged)}"]
        lines += [f"  {row['file']}: {legible(row['damage'], 2000)}" for row in summary.damaged]
    if summary.newer:
        lines += ["", f"Logs newer than this program, counted in no figure: {len(summary.newer)}"]
        lines += [f"  {row['file']}: {row['made_by']}" for row in summary.newer]
    return "\n".join(lines)


def _overall(row: Row) -> Iterator[str]:
    for name, measure in MEASURES.items():
        unit = f" ({measure.unit})" if measure.unit else ""
        yield f"{written(name, row[name]):>10}  {measure.name}{unit}"
