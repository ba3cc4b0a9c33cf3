"""The overview of many cases: a page with run charts, and a few lines for the terminal."""

from __future__ import annotations

from collections.abc import Iterator

from voicecheck.cases.aggregates import Summary
from voicecheck.cases.charts import charts, counts
from voicecheck.cases.choice import ALL, Choice
from voicecheck.cases.collection import REVIEWS, review_of
from voicecheck.cases.layout import Row
from voicecheck.cases.measures import CALLS, HEALTH, MEASURES
from voicecheck.cases.xmr import MIN_CASES, MIN_POINTS
from voicecheck.core.legible import legible
from voicecheck.core.wording import CAUTION, REHEARSAL
from voicecheck.review.pages import page


def cases_page(summary: Summary, title: str, *, choice: Choice = ALL, reviews: bool = False) -> str:
    """The summary as one self-contained page.

    `choice` is what was counted; with `reviews`, each case links to its review beside the page.
    """
    mark = " (with rehearsals)" if summary.rehearsed else ""
    return page(
        "voicecheck.cases:cases.html.j2",
        title=title,
        choice=str(choice),
        summary=summary,
        measures=MEASURES,
        calls=["cases", *CALLS],
        course=["cases", *(name for name in MEASURES if name not in ("cases", *CALLS, *HEALTH))],
        health=["cases", *HEALTH],
        written=written,
        counted=counted,
        charts=charts({name: {"": rows} for name, rows in summary.periods.items()}, mark),
        label_charts={
            label: charts(periods, mark) for label, periods in summary.label_periods.items()
        },
        review_of=(lambda row: f"{REVIEWS}/{review_of(row)}") if reviews else None,
        rehearsal=REHEARSAL,
        min_cases=MIN_CASES,
        min_points=MIN_POINTS,
        caution=CAUTION,
    )


def written(name: str, value: float | None) -> str:
    """A measure's value for people; a dash if there is none."""
    return "–" if value is None else MEASURES[name].write(value)


def counted(name: str, row: Row) -> str:
    """What a measure's value is worked out from: numerator/denominator, or the number of cases."""
    part, of = counts(name, row)
    return f"{part}/{of}" if part else f"n {of}"


def cases_text(summary: Summary, choice: Choice = ALL) -> str:
    """The summary in a few lines, for the terminal."""
    lines = [f"Only {choice}:"] if choice != ALL else []
    lines += _overall(summary.overall)
    if summary.rehearsed:
        lines += [f"{summary.rehearsed:>10}  of the cases rehearsed"]
    lines += ["", "Items stated in the course, % of cases:"]
    lines += [f"  {item['stated']:7.1%}  {legible(item['name'])}" for item in summary.items]
    if summary.rehearsals:
        lines += ["", f"Rehearsals, counted in no figure: {len(summary.rehearsals)}"]
    if summary.unmatched:
        names = ", ".join(legible(row["case"], 80) for row in summary.unmatched)
        lines += ["", f"Warning: labels of cases without a log that holds: {names}"]
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
        of = "" if name == "cases" else f", {counted(name, row)}"
        yield f"{written(name, row[name]):>10}  {measure.name}{unit}{of}"
