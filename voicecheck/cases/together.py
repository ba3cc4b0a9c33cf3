"""Many cases told together: a page with run charts, and a few lines for the terminal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from voicecheck.cases.aggregates import CHARTED, FIGURES, HEALTH, Groups, Summary
from voicecheck.cases.layout import Row
from voicecheck.cases.runchart import run_charts
from voicecheck.cases.xmr import FEW_CASES, FEWEST, Series
from voicecheck.core.wording import CAUTION
from voicecheck.review.pages import drawn, page


def cases_page(summary: Summary, title: str) -> str:
    """The summary as one self-contained page."""
    months = tuple(summary.months)
    return page(
        "voicecheck.cases:cases.html.j2",
        title=title,
        summary=summary,
        figures=FIGURES,
        course=[name for name in FIGURES if name not in HEALTH],
        health=["cases", *HEALTH],
        charted=["cases", *CHARTED],
        written=written,
        charts=charts(months, {"": summary.months}),
        label_charts={
            label: charts(months, enough(groups)) for label, groups in summary.label_months.items()
        },
        enough=enough,
        few=FEW_CASES,
        fewest=FEWEST,
        caution=CAUTION,
    )


def written(name: str, value: float | None) -> str:
    """One figure as people read it; a dash where there is nothing to work it out from."""
    return "–" if value is None else FIGURES[name].write(value)


def enough(groups: Mapping[str, Groups]) -> Mapping[str, Groups]:
    """The groups that have enough cases in one month at least; the others are not worth a chart."""
    return {
        name: months
        for name, months in groups.items()
        if any(row["cases"] >= FEW_CASES for row in months.values())
    }


@dataclass(frozen=True, kw_only=True, slots=True)
class Chart:
    """One figure's run charts, one for each group."""

    title: str
    picture: Any
    series: Sequence[Series]


def charts(months: tuple[str, ...], groups: Mapping[str, Groups]) -> list[Chart]:
    """Of every charted figure that has a value in one of the groups, over all these months."""
    found: list[Chart] = []
    for name in CHARTED:
        figure = FIGURES[name]
        title = f"{figure.name}: {figure.unit}"
        series = [_series(name, group, months, rows) for group, rows in groups.items()]
        if any(value is not None for one in series for value in one.values):
            picture = drawn(run_charts(title, series))
            found.append(Chart(title=title, picture=picture, series=series))
    return found


def _series(name: str, group: str, months: tuple[str, ...], known: Groups) -> Series:
    figure, none = FIGURES[name], {name: None, f"{name}_of": 0}
    rows: list[Row] = [known.get(month, none) for month in months]
    return Series(
        group=group,
        months=months,
        values=tuple(None if row[name] is None else row[name] * figure.scale for row in rows),
        cases=tuple(row[f"{name}_of"] for row in rows),
        most=figure.most,
    )


def cases_text(summary: Summary) -> str:
    """The summary in a few lines, for the terminal."""
    lines = [*_overall(summary.overall), "", "Required and other items, stated in the course:"]
    lines += [f"  {item['stated']:7.1%}  {item['name']}" for item in summary.items]
    if summary.damaged:
        lines += ["", f"{len(summary.damaged)} logs damaged or doubled, in no figure:"]
        lines += [f"  {row['file']}: {row['damage']}" for row in summary.damaged]
    if summary.newer:
        lines += ["", f"{len(summary.newer)} logs newer than this program, in no figure:"]
        lines += [f"  {row['file']}: {row['made_by']}" for row in summary.newer]
    return "\n".join(lines)


def _overall(row: Row) -> Iterator[str]:
    for name, figure in FIGURES.items():
        unit = f" ({figure.unit})" if figure.unit else ""
        yield f"{written(name, row[name]):>10}  {figure.name}{unit}"
