"""Many cases: their figures worked out in three ways that share no code.

The cases are invented and played through the real core. The three ways are DuckDB on our Parquet
tables, Dask on the same tables with two worker processes, and one pass over the logs as plain JSON
(independent.py).
"""

from __future__ import annotations

import csv
import hashlib
import json
import os
import re
from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import dataclass, replace
from html import unescape
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from statistics import fmean, median
from typing import Any

import independent
import pyarrow.parquet as pq
import pytest
from click.testing import CliRunner
from invented import Invention, invent, write_series
from stories import resealed

from voicecheck.cases.aggregates import UNLABELLED, Summary, summarise
from voicecheck.cases.charts import charts
from voicecheck.cases.collection import CollectionError, collect
from voicecheck.cases.layout import PARTITIONED, TABLES, VERSION, readme
from voicecheck.cases.measures import CHARTED, MEASURES
from voicecheck.cases.overview import cases_page
from voicecheck.cases.runchart import run_charts
from voicecheck.cases.xmr import MIN_CASES, MIN_POINTS, Series, limits
from voicecheck.cli_records import cases_command
from voicecheck.core.facts import Opened, decode_record
from voicecheck.core.wording import REHEARSAL
from voicecheck.journal import read
from voicecheck.review.case_page import case_page
from voicecheck.review.examine import examine

COUNT = 200


@dataclass(frozen=True, kw_only=True, slots=True)
class Collected:
    """The invented series, and what was worked out from it."""

    folder: Path
    home: Path
    summary: Summary
    plain: list[dict[str, Any]]


@pytest.fixture(scope="module")
def series(tmp_path_factory: pytest.TempPathFactory) -> Collected:
    folder = tmp_path_factory.mktemp("series")
    logs = write_series(folder, COUNT)
    damaged = bytearray(logs[17].read_bytes())
    damaged[-900] ^= 4
    (folder / "damaged").mkdir()
    (folder / "damaged" / "flipped.log").write_bytes(damaged)
    (folder / "damaged" / "torn.log").write_bytes(logs[18].read_bytes()[:-30])
    (folder / "damaged" / "empty.log").write_bytes(b"")
    home = collect(folder, folder / "out", folder / "labels.csv")
    contents = [log.read_bytes() for log in logs]
    plain = [{**independent.figures(each), **independent.calls(each)} for each in contents]
    return Collected(folder=folder, home=home, summary=summarise(home), plain=plain)


# ------------------------------------------------------------------------------ the same numbers


def test_every_case_has_the_figures_of_the_plain_pass(
    series: Collected, counted: list[str]
) -> None:
    rows = {row["case"]: row for row in pq.read_table(series.home / "cases").to_pylist()}
    assert len(rows) == len(series.plain) == COUNT
    for plain in series.plain:
        ours = {name: rows[plain["case"]][name] for name in plain}
        assert ours == pytest.approx(plain, abs=1e-6)
    counted.append(f"{COUNT} invented cases, {len(series.plain[0])} figures each, worked out twice")


def test_the_other_verifier_agrees_on_every_log(series: Collected) -> None:
    for row in pq.read_table(series.home / "cases").to_pylist():
        content = (series.folder / row["file"]).read_bytes()
        assert independent.verify(content, row["checkpoint"]) == ""
    for row in series.summary.damaged:
        content = (series.folder / row["file"]).read_bytes()
        assert independent.verify(content, "") != ""


def test_the_items_of_a_case_add_up_to_its_counts(series: Collected) -> None:
    stated: Counter[str] = Counter()
    standing: Counter[str] = Counter()
    for row in pq.read_table(series.home / "items").to_pylist():
        stated[row["file"]] += row["required"] and row["stated"]
        standing[row["file"]] += row["required"] and row["standing"]
    for plain in series.plain:
        file = f"invented-{int(plain['case'].removeprefix('invented-')):05}.log"
        assert (stated[file], standing[file]) == (plain["items_stated"], plain["items_standing"])


def _some(values: list[Any], how: Callable[[list[Any]], float]) -> float | None:
    known = [value for value in values if value is not None]
    return how(known) if known else None


def by_hand(cases: list[dict[str, Any]]) -> dict[str, float | None]:
    """The measures of a group, in plain Python."""

    def column(name: str) -> list[Any]:
        return [case[name] for case in cases]

    def scaled(name: str) -> float | None:
        found = _some(column(name), median)
        return None if found is None else found / 60

    def mean(name: str, of: str = "") -> float | None:
        known = [case for case in cases if not of or case[of] is not None]
        return sum(case[name] for case in known) / len(known) if known else None

    lapsed = sum(column("lapsed"))
    said = sum(case["heard"] - case["other_speech"] for case in cases)
    doubted = ("not_understood", "unsure", "negatives")
    called = [case for case in cases if case["first_call_s"] is not None]
    return {
        "cases": len(cases),
        "refused_acts": mean("calls_refused"),
        "first_refused": fmean(case["first_call_became"] == "refused" for case in called)
        if called
        else None,
        "first_missing": mean("first_call_missing", "first_call_s"),
        "first_call_min": scaled("first_call_s"),
        "called_for_min": scaled("called_for_s"),
        "stood_min": scaled("criteria_stood_s"),
        "lapsed": mean("lapsed"),
        "restored": sum(column("restored")) / lapsed if lapsed else None,
        "restored_min": scaled("restored_s"),
        "refusals": mean("refusals"),
        "completion": sum(column("items_stated")) / sum(column("items_required")),
        "criteria_min": scaled("criteria_s"),
        "acts_outside": _some(column("first_act_outside"), fmean),
        "bail_outs": fmean(bailed > 0 for bailed in column("bail_outs")),
        "overrides": fmean(over > 0 for over in column("overrides")),
        "closed": fmean(column("closed")),
        "asked_again": mean("unsure"),
        "misheard": sum(sum(column(name)) for name in doubted) / said,
        "spoken_over": mean("spoken_over"),
    }


def check(row: Any, cases: list[dict[str, Any]]) -> None:
    plain = by_hand(cases)
    assert {name: row[name] for name in plain} == pytest.approx(plain, abs=1e-9)


def test_the_overall_figures_are_those_of_the_plain_pass(series: Collected) -> None:
    check(series.summary.overall, series.plain)


def test_every_months_figures_are_those_of_the_plain_pass(series: Collected) -> None:
    months = defaultdict(list)
    for case in series.plain:
        months[case["month"]].append(case)
    assert list(series.summary.months) == sorted(months)
    for month, cases in months.items():
        check(series.summary.months[month], cases)


def labels_of(series: Collected) -> dict[str, dict[str, str]]:
    """Case → label → value."""
    with (series.folder / "labels.csv").open(encoding="utf-8", newline="") as file:
        return {row["case"]: row for row in csv.DictReader(file)}


@pytest.mark.parametrize("label", ["level", "grade"])
def test_every_labels_figures_are_those_of_the_plain_pass(series: Collected, label: str) -> None:
    of = labels_of(series)
    groups = defaultdict(list)
    for case in series.plain:
        groups[of[case["case"]][label]].append(case)
    assert set(series.summary.labels[label]) == set(groups)
    for value, cases in groups.items():
        check(series.summary.labels[label][value], cases)


@pytest.mark.parametrize("by", ["month", "level", "grade"])
def test_the_completion_of_each_item_in_a_group_is_that_of_the_plain_pass(
    series: Collected, by: str
) -> None:
    of = labels_of(series)
    groups = defaultdict(list)
    for plain in series.plain:
        group = plain["month"] if by == "month" else of[plain["case"]][by]
        number = int(plain["case"].removeprefix("invented-"))
        log = (series.folder / f"invented-{number:05}.log").read_bytes()
        groups[group].append(independent.stated(log))
    found = series.summary.item_months if by == "month" else series.summary.item_labels[by]
    assert set(found) == set(groups)
    for group, cases in groups.items():
        assert len(found[group]) == 17  # the shipped procedure's items
        for item, share in found[group].items():
            assert share == pytest.approx(fmean(item in stated for stated in cases))


def test_dask_on_two_worker_processes_gives_the_same_numbers(
    series: Collected, counted: list[str]
) -> None:
    import dask.dataframe as dd
    from distributed import Client, LocalCluster

    connect: Any = Client  # the library has no types
    start: Any = LocalCluster
    with (
        start(
            n_workers=2,
            threads_per_worker=1,
            processes=True,
            dashboard_address=None,
            silence_logs=40,
        ) as cluster,
        connect(cluster) as client,
    ):
        workers = set(client.run(os.getpid).values())
        cases = dd.read_parquet(series.home / "cases")
        items = dd.read_parquet(series.home / "items")
        numbers = cases[["closed", "refusals", "lapsed"]].astype("float64")
        numbers = numbers.assign(refused_acts=cases["calls_refused"].astype("float64"))
        labels = dd.read_parquet(series.home / "labels")
        labelled = numbers.assign(case=cases["case"], month=cases["month"].astype("str")).merge(
            labels[labels["label"] == "level"][["case", "value"]], on="case"
        )
        means, by_month, by_level, stated = client.compute(
            [
                numbers.mean(),
                numbers.assign(month=cases["month"]).groupby("month", observed=True).mean(),
                labelled.drop(columns="case").groupby(["value", "month"]).mean(),
                items.assign(stated=items["stated"].astype("float64"))
                .groupby("item")["stated"]
                .mean(),
            ],
            sync=True,
        )
    assert len(workers | {os.getpid()}) == 3
    for name in ("closed", "refusals", "lapsed", "refused_acts"):
        assert means[name] == pytest.approx(series.summary.overall[name])
        for month, row in series.summary.months.items():
            assert by_month[name][month] == pytest.approx(row[name])
        for level, months in series.summary.label_periods["level"]["month"].items():
            for month, row in months.items():
                assert by_level[name][level, month] == pytest.approx(row[name])
    assert sorted(stated) == pytest.approx(sorted(row["stated"] for row in series.summary.items))
    counted.append("DuckDB, Dask on two processes and a plain pass agree")


# -------------------------------------------------------------------------------------- the layout


def test_the_files_are_the_documented_layout_and_nothing_else(series: Collected) -> None:
    assert series.home.name == f"layout-{VERSION}"
    for name, columns in TABLES.items():
        files = list((series.home / name).rglob("*.parquet"))
        assert files
        for file in files:
            schema = pq.read_schema(file)
            assert schema.names == list(columns)
            assert schema.metadata[b"voicecheck.layout"] == str(VERSION).encode()
            assert all(schema.field(column).metadata[b"meaning"] for column in columns)
            depth = len(file.relative_to(series.home).parts)
            assert depth == (3 if name in PARTITIONED else 2)


def test_the_layout_of_a_released_version_never_changes() -> None:
    """A changed column or table needs a new version. Add its digest here and keep the old ones."""
    digests = {
        1: "782de9b69bc72c1c452aa0f0fdc88903613324c4c7bf466d366a6f5327adba6a",
        2: "c381a8d2fae08d5332aaa0c867b66d4538c627d6f24d94d35d057ab24a425dfa",
    }
    assert hashlib.sha256(readme().encode()).hexdigest() == digests[VERSION]


def test_the_readme_beside_the_tables_names_every_column(series: Collected) -> None:
    text = (series.home / "README.txt").read_text("utf-8")
    for name, columns in TABLES.items():
        assert f"\n{name}" in text
        assert all(f"  {column} " in text for column in columns)


def test_collecting_again_replaces_what_was_there(tmp_path: Path) -> None:
    folder = tmp_path / "logs"
    write_some(folder, 2)
    collect(folder, tmp_path / "out")
    (folder / "0.log").unlink()
    home = collect(folder, tmp_path / "out")
    assert pq.read_table(home / "cases").num_rows == 1


def write_some(folder: Path, count: int) -> None:
    folder.mkdir()
    for number in range(count):
        lines = invent(number)
        (folder / f"{number}.log").write_bytes(b"".join(line + b"\n" for line in lines))


# ------------------------------------------------------------------------------------ damaged logs


def test_damaged_logs_are_listed_with_their_line_and_counted_nowhere(series: Collected) -> None:
    damaged = {row["file"]: row["damage"] for row in series.summary.damaged}
    assert set(damaged) == {"damaged/flipped.log", "damaged/torn.log", "damaged/empty.log"}
    assert all(damage.startswith("Line ") for damage in damaged.values())
    assert series.summary.overall["cases"] == COUNT
    page = cases_page(series.summary, "series")
    assert "3 logs damaged or doubled, listed below, counted in no figure" in page
    assert "damaged/torn.log" in page


def test_a_folder_of_nothing_but_damage_still_gives_a_page(tmp_path: Path) -> None:
    (tmp_path / "a.log").write_bytes(b"no log\n")
    summary = summarise(collect(tmp_path, tmp_path / "out"))
    assert summary.overall["cases"] == 0
    assert "0 cases" in cases_page(summary, "nothing")


def test_a_second_copy_of_a_record_is_listed_and_its_longest_log_counted(tmp_path: Path) -> None:
    folder = tmp_path / "logs"
    write_some(folder, 2)
    whole = (folder / "1.log").read_bytes()
    (folder / "kept-early.log").write_bytes(b"".join(whole.splitlines(keepends=True)[:5]))
    (folder / "second.log").write_bytes(whole)
    summary = summarise(collect(folder, tmp_path / "out"))
    assert summary.overall["cases"] == 2
    assert sum(row["cases"] for row in summary.items) == 2 * 17
    damaged = {row["file"]: row["damage"] for row in summary.damaged}
    assert set(damaged) == {"kept-early.log", "second.log"}
    assert all("the same record as 1.log" in damage for damage in damaged.values())


def test_rehearsals_are_counted_only_if_they_are_asked_for_and_then_every_picture_says_so(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "logs"
    write_some(folder, 6)
    records = [decode_record(line) for line in invent(6)]
    assert isinstance(records[0].fact, Opened)
    opened = replace(records[0].fact, rehearsal=True)
    lines = resealed([replace(records[0], fact=opened), *records[1:]])
    (folder / "practice.log").write_bytes(b"".join(line + b"\n" for line in lines))

    home = collect(folder, tmp_path / "out")
    summary, page = summarise(home), cases_page(summarise(home), "some")
    assert (summary.overall["cases"], summary.rehearsed) == (6, 0)
    assert [row["file"] for row in summary.rehearsals] == ["practice.log"]
    assert "practice.log" not in pq.read_table(home / "lines")["file"].to_pylist()
    assert "1 rehearsal, counted in no figure" in page
    assert REHEARSAL not in page
    assert "with rehearsals" not in page

    home = collect(folder, tmp_path / "out", rehearsals=True)
    summary, page = summarise(home), cases_page(summarise(home), "some")
    assert (summary.overall["cases"], summary.rehearsed) == (7, 1)
    assert REHEARSAL in page
    pictures = re.findall(r"<svg.*?</svg>", page, re.DOTALL)
    assert pictures
    assert all("(with rehearsals)" in picture for picture in pictures)


def test_a_case_without_a_label_has_a_group_of_its_own(tmp_path: Path) -> None:
    folder = tmp_path / "logs"
    write_some(folder, 3)
    table = tmp_path / "labels.csv"
    table.write_text("case,level\ninvented-0,senior\ninvented-1,\n", encoding="utf-8")
    summary = summarise(collect(folder, tmp_path / "out", table))
    counts = {name: row["cases"] for name, row in summary.labels["level"].items()}
    assert counts == {"senior": 1, UNLABELLED: 2}
    assert set(summary.item_labels["level"]) == {"senior", UNLABELLED}


# ----------------------------------------------------------------------------------- the run charts

FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
"""NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: ten batches' flow rate."""


def test_limits_are_those_of_the_handbooks_worked_example() -> None:
    """Its results: mean 50.81, limits 55.8041 and 45.8159."""
    found = limits(FLOW)
    assert found.mean == pytest.approx(50.81)
    assert found.upper == pytest.approx(55.8041, abs=5e-5)
    assert found.lower == pytest.approx(45.8159, abs=5e-5)
    assert (found.upper - found.mean) == pytest.approx(2.66 * 1.8778, abs=2e-3)


def test_limits_need_two_values_and_are_drawn_from_six_on() -> None:
    with pytest.raises(ValueError, match="at least two"):
        limits([1.0])
    few = flow(FLOW[: MIN_POINTS - 1])
    assert few.limits is None
    assert few.outside == []
    assert few.verdict == "only 5 points of enough cases, too few for a chart"


def test_a_month_beyond_the_limits_is_named_and_drawn_the_same_every_time() -> None:
    odd = flow([*FLOW, 75.0])
    assert odd.outside == [(10, 75.0)]
    assert odd.verdict == "beyond the limits: 2031-11"
    assert run_charts("flow", [odd]) == run_charts("flow", [odd])
    assert "upper limit" in run_charts("flow", [odd])


def test_a_month_of_too_few_cases_is_shown_and_moves_no_limit() -> None:
    thin = flow([*FLOW[:4], 500.0, None, *FLOW[4:]], thin=4)
    assert thin.limits == limits(FLOW)
    assert thin.few == [(4, 500.0)]
    assert thin.verdict == "no point beyond the limits"


def test_several_charts_share_one_scale_and_each_has_its_own_limits() -> None:
    """Each chart has the same tick of the scale."""
    ten = flow([10 * value for value in FLOW], group="ten")
    picture = run_charts("flow", [flow(FLOW, group="one"), ten])
    ticks = re.findall(r">(\d+)</text>", picture)
    assert ticks.count("400") == 2
    assert "upper limit 55.8<" in picture
    assert "upper limit 558<" in picture


def flow(values: list[Any], *, thin: int = -1, group: str = "") -> Series:
    """A series of these values, each from enough cases except the one at `thin`."""
    cases = (MIN_CASES - (place == thin) for place in range(len(values)))
    names = (f"2031-{place + 1:02}" for place in range(len(values)))
    return Series(group=group, names=tuple(names), values=tuple(values), cases=tuple(cases))


HAS = {
    "first_missing": "first_call_s",
    "called_for_min": "called_for_s",
    "stood_min": "criteria_stood_s",
}
"""Measure → what a case must have to count for it; for the others, nothing."""


def month_of(case: dict[str, Any]) -> str:
    return str(case["month"])


def quarter_of(case: dict[str, Any]) -> str:
    return f"{case['month'][:4]} Q{(int(case['month'][5:]) + 2) // 3}"


def opening_of(case: dict[str, Any]) -> str:
    return str(case["opened_utc"])


POINT = {"month": month_of, "quarter": quarter_of, "case": opening_of}


@pytest.mark.parametrize("label", ["", "level", "grade"])
def test_the_run_charts_are_worked_out_anew(series: Collected, label: str) -> None:
    """Wheeler, Understanding Variation: mean ± 2.66 average moving ranges."""
    of = labels_of(series)
    periods: Any = {name: {"": rows} for name, rows in series.summary.periods.items()}
    drawn = charts(series.summary.label_periods[label] if label else periods)
    assert len(drawn) == len(CHARTED)
    limited = 0
    for name, chart in zip(CHARTED, drawn, strict=True):
        assert chart.series
        for one in chart.series:
            own = [
                case for case in series.plain if not label or of[case["case"]][label] == one.group
            ]
            points: dict[str, list[dict[str, Any]]] = defaultdict(list)
            for case in own:
                points[POINT[chart.period](case)].append(case)
            values: list[float] = []
            for place, point in enumerate(sorted(points) if chart.period == "case" else one.names):
                cases = [
                    case for case in points[point] if name not in HAS or case[HAS[name]] is not None
                ]
                assert one.cases[place] == len(cases)
                value = by_hand(points[point])[name] if cases else None
                if value is None:
                    assert one.values[place] is None
                    continue
                scaled = value * (100 if name == "misheard" else 1)
                assert one.values[place] == pytest.approx(scaled)
                if len(cases) >= (1 if chart.period == "case" else MIN_CASES):
                    values.append(scaled)
                if one.counts and one.counts[place][0]:
                    part, whole = map(float, one.counts[place])
                    assert part / whole == pytest.approx(value, abs=1e-6)
            moved = [abs(b - a) for a, b in pairwise(values)]
            mean, reach = fmean(values), 2.66 * fmean(moved)
            ours = one.limits
            assert ours is not None
            assert ours.mean == pytest.approx(mean)
            assert ours.upper - mean == pytest.approx(reach, rel=1e-3)
            assert mean - ours.lower == pytest.approx(reach, rel=1e-3)
            limited += 1
    assert limited >= len(CHARTED)


def test_an_empty_month_is_a_gap_and_a_thin_month_moves_no_limit(tmp_path: Path) -> None:
    """Eight months of six cases each; then none in the fourth, and only two in the sixth."""
    folder = tmp_path / "logs"
    folder.mkdir()
    number = 0
    for month in range(8):
        for day in range({3: 0, 5: 2}.get(month, 6)):
            log = Invention(seed=number, day=31 * month + day).live()
            (folder / f"{number}.log").write_bytes(b"".join(line + b"\n" for line in log))
            number += 1
    summary = summarise(collect(folder, tmp_path / "out"))
    assert len(summary.months) == 7
    drawn = charts({name: {"": rows} for name, rows in summary.periods.items()})
    chart = drawn[CHARTED.index("refused_acts")]
    assert chart.period == "month"
    (one,) = chart.series
    assert one.names[2:6] == ("2031-03", "2031-04", "2031-05", "2031-06")
    assert (one.values[3], one.counts[3]) == (None, ("", "0"))
    assert [place for place, _ in one.few] == [5]
    assert [[place for place, _ in run] for run in one.runs] == [[0, 1, 2], [4], [6, 7]]
    without = [value for place, value in enumerate(one.values) if place not in (3, 5)]
    assert one.limits == limits([value for value in without if value is not None])
    assert 'points="' not in chart.picture  # lines are paths, one for each run
    assert "No line crosses a period without enough cases" in cases_page(summary, "thin")


@pytest.mark.parametrize(
    ("days", "period"),
    [
        ([92 * quarter + 13 * case for quarter in range(6) for case in range(6)], "quarter"),
        ([200 * case for case in range(7)], "case"),
        ([200 * case for case in range(5)], ""),
    ],
)
def test_when_months_are_thin_a_point_is_a_quarter_and_then_a_case(
    tmp_path: Path, days: list[int], period: str
) -> None:
    folder = tmp_path / "logs"
    folder.mkdir()
    for number, day in enumerate(days):
        log = Invention(seed=number, day=day).live()
        (folder / f"{number}.log").write_bytes(b"".join(line + b"\n" for line in log))
    summary = summarise(collect(folder, tmp_path / "out"))
    drawn = charts({name: {"": rows} for name, rows in summary.periods.items()})
    chart = drawn[CHARTED.index("refused_acts")]
    if not period:
        assert chart.picture is None
        assert "too few for a chart" in chart.left_out[0].verdict
        assert "<svg" not in cases_page(summary, "few")
        return
    assert chart.period == period
    (one,) = chart.series
    assert one.cases == ((1,) * 7 if period == "case" else (6,) * 6)
    assert "case by case" in chart.title if period == "case" else one.names[0] == "2031 Q1"


def test_a_label_is_shown_as_it_is_written(tmp_path: Path) -> None:
    """In Matplotlib a dollar begins a formula; in HTML a bracket begins a tag."""
    hostile = "<b>$\\frac$ 1</b>"
    folder = tmp_path / "logs"
    folder.mkdir()
    for number in range(MIN_CASES):
        log = b"".join(line + b"\n" for line in Invention(seed=number).live())
        (folder / f"{number}.log").write_bytes(log)
    table = tmp_path / "labels.csv"
    lines = ["case,level", *(f"invented-{number},{hostile}" for number in range(MIN_CASES))]
    table.write_text("\n".join(lines), encoding="utf-8")
    page = cases_page(summarise(collect(folder, tmp_path / "out", table)), "hostile")
    assert hostile not in page
    assert unescape(page).count(hostile) > 6


# -------------------------------------------------------------------------------- the page, the end


REVIEW = r"reviews/[0-9a-f]{16}\.html"


class Tags(HTMLParser):
    """The names of a page's tags; fails at what could load or run anything."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.add(tag)
        assert not any(name.startswith("on") for name, _ in attrs)
        for key in ("href", "src", "xlink:href"):
            target = dict(attrs).get(key) or "#"
            assert target[0] == "#" or (tag == "a" and re.fullmatch(REVIEW, target))


def test_the_page_takes_nothing_from_outside_and_shows_every_figure(series: Collected) -> None:
    page = cases_page(series.summary, "series")
    assert not Tags(page).found & {"script", "link", "img", "iframe"}
    for name, measure in MEASURES.items():
        assert measure.name in unescape(page)
        assert measure.write(series.summary.overall[name]) in page
    assert page.count("<svg") == 3 * len(CHARTED), "all cases, by level, by grade"
    assert measure.unit in unescape(page)
    assert "By level" in page
    assert "By grade" in page


def m_ss(seconds: float) -> str:
    return f"{int(seconds) // 60}:{int(seconds) % 60:02}"


def test_the_series_is_reviewed_end_to_end(
    series: Collected, counted: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every page says what the plain pass found; every 25th has its picture drawn."""
    logs = {f"invented-{int(log.stem[9:])}": log for log in series.folder.glob("*.log")}
    sorts: Counter[tuple[bool, bool]] = Counter()
    for number, plain in enumerate(series.plain):
        log = logs[plain["case"]]
        kept = read(log)
        with monkeypatch.context() as without:
            if number % 25:
                without.setattr("voicecheck.review.case_page.timeline", lambda _: "")
            page = case_page(examine(kept.lines, kept.torn), log.name)
        shown = dict(re.findall(r"<dt>([^<]*)</dt><dd>([^<]*)</dd>", page))
        assert "Bytes and story hold" in page
        assert page.count("<svg") == (number % 25 == 0)
        assert shown["Bytes"].startswith(f"each of {plain['lines']} lines ")
        assert shown["length of the record"] == m_ss(plain["length_s"])
        assert int(shown["calls for a clip or division"]) == plain["calls"]
        assert f'<dd class="note">{plain["calls_refused"]} refused</dd>' in page
        first = plain["first_call_s"]
        assert shown["clip or division first called for"] == (
            "never" if first is None else m_ss(first)
        )
        assert int(shown["statements that lapsed"]) == plain["lapsed"]
        unclear = [plain[name] for name in ("unsure", "not_understood", "spoken_over")]
        assert shown["asked again, not understood, spoken over"] == ", ".join(map(str, unclear))
        assert int(shown["refused"]) == plain["refusals"]
        assert int(shown["course left"]) == plain["bail_outs"] + plain["overrides"]
        assert shown["record closed"] == ("yes" if plain["closed"] else "no")
        first_s, outside = independent.acts(log.read_bytes())
        within = " in the course" if outside else ""
        sorts[first_s is not None, outside > 0] += 1
        if outside:
            assert int(shown["clipped or divided outside the course"]) == outside
        between = shown[f"from the first call to the first act recorded{within}"]
        if first_s is None:
            assert between == "–"
            assert f"No clipping or dividing was stated{within}." in page
        else:
            assert between == m_ss(plain["called_for_s"])
            assert f" at {m_ss(first_s)}</th>" in page
        if plain["first_act_outside"] is False:
            stood = shown["all criteria had stood before that act for"]
            assert stood == m_ss(plain["criteria_stood_s"])
    assert len(sorts) == 4, "with and without acts in the course, and outside it"
    counted.append(f"{len(series.plain)} invented cases reviewed, each page as the plain pass")


def test_the_command_prints_the_figures_and_writes_the_page(tmp_path: Path) -> None:
    folder = tmp_path / "logs"
    write_some(folder, 3)
    (folder / "labels.csv").write_text("case,level\ninvented-0,senior\n", encoding="utf-8")
    out = tmp_path / "out"
    ran = CliRunner().invoke(
        cases_command, [str(folder), "--out", str(out), "--labels", str(folder / "labels.csv")]
    )
    assert ran.exit_code == 0, ran.output
    assert "         3  cases" in ran.output
    assert (out / "cases.html").exists()
    page = (out / "cases.html").read_text("utf-8")
    assert "senior" in page
    Tags(page)
    targets = re.findall(rf'<a href="({REVIEW})">(invented-\d+)</a>', page)
    assert sorted(case for _, case in targets) == ["invented-0", "invented-1", "invented-2"]
    for target, case in targets:
        assert f"Case record · {case} · " in (out / target).read_text("utf-8")


def test_a_review_of_a_case_that_is_gone_is_gone(tmp_path: Path) -> None:
    folder, out = tmp_path / "logs", tmp_path / "out"
    write_some(folder, 2)
    collect(folder, out, reviews=True)
    (out / "reviews" / "mine.html").write_text("kept", encoding="utf-8")
    (folder / "0.log").unlink()
    collect(folder, out, reviews=True)
    left = {path.name for path in (out / "reviews").iterdir()}
    assert len(left) == 2
    assert "mine.html" in left


def choose(folder: Path, *options: str) -> tuple[int, str, str]:
    """Exit code, output and page of `cases` with these options."""
    out = folder.parent / "out"
    ran = CliRunner().invoke(
        cases_command,
        [str(folder), "--out", str(out), "--no-reviews", *options],
    )
    page = out / "cases.html"
    return ran.exit_code, ran.output, page.read_text("utf-8") if page.exists() else ""


def test_cases_are_chosen_by_label_column_and_date(tmp_path: Path) -> None:
    folder = tmp_path / "logs"
    write_some(folder, 12)
    table = folder / "labels.csv"
    table.write_text(
        "case,level\n"
        + "".join(f"invented-{n},{'senior' if n % 3 else 'junior'}\n" for n in range(11)),
        encoding="utf-8",
    )
    plain = [independent.figures(log.read_bytes()) for log in folder.glob("*.log")]
    labelled = ["--labels", str(table)]

    def cases(*options: str) -> int:
        code, output, page = choose(folder, *labelled, *options)
        assert code == 0, output
        assert "Only " in output
        assert "only " in page
        return int(output.split("cases")[0].split()[-1])

    assert cases("--only", "level=junior") == 4
    assert cases("--only", "level=") == 1
    assert cases("--only", "case=invented-1*") == 3
    assert cases("--only", "case=invented-1*", "--only", "level=senior") == 2
    months = sorted(case["month"] for case in plain)
    for month in months:
        assert cases("--since", month) == sum(one >= month for one in months)
        assert cases("--until", month) == sum(one <= month for one in months)
    assert cases("--since", months[0][:4], "--until", months[0][:4]) == sum(
        one[:4] == months[0][:4] for one in months
    )


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        (["--only", "grade=easy"], "There is no label or column grade to choose by."),
        (["--only", "junior"], "junior is no choice. Write a name and a value: level=junior."),
        (["--since", "2031-13"], "2031-13 is no date."),
        (["--until", "20310401"], "20310401 is no date."),
        (["--since", "2099"], "None of 2 cases is left (since 2099). Choose more widely."),
    ],
)
def test_a_choice_that_cannot_be_made_gets_one_sentence(
    tmp_path: Path, options: list[str], sentence: str
) -> None:
    folder = tmp_path / "logs"
    write_some(folder, 2)
    code, output, page = choose(folder, *options)
    assert code == 1
    assert sentence in output
    assert page == ""


def test_labels_that_match_no_log_are_named(tmp_path: Path) -> None:
    folder = tmp_path / "logs"
    write_some(folder, 2)
    table = tmp_path / "labels.csv"
    table.write_text("case,level\ninvented-0,senior\ninvent-1,junior\n", encoding="utf-8")
    _, output, page = choose(folder, "--labels", str(table))
    assert "Warning: labels of cases without a log that holds: invent-1" in output
    assert "Labels of 1 case match no log that holds:</b> invent-1." in page
    _, output, page = choose(folder, "--labels", str(table), "--only", "level=senior")
    assert "invent-1" in output, "a choice hides no warning"
    _, output, page = choose(folder)
    assert "Warning" not in output
    assert "match no log" not in page


def test_what_was_missing_is_counted_as_in_the_plain_pass(series: Collected) -> None:
    first: Counter[str] = Counter()
    refused: Counter[str] = Counter()
    for log in series.folder.glob("*.log"):
        found = [json.loads(line)["fact"] for line in log.read_bytes().splitlines()]
        calls = [
            fact
            for fact in found
            if fact["type"] == "Refused" and fact["why"] == "outstanding" and fact["item"] in ACTS
        ]
        refused.update(each for fact in calls for each in fact["outstanding"])
        early = [
            f
            for f in found
            if f["type"] in ("Proposed", "Noted", "Refused") and f.get("item") in ACTS
        ]
        if early and early[0] in calls[:1]:
            first.update(early[0]["outstanding"])
    ours = {row["item"]: row for row in series.summary.missing}
    assert {item: row["refused"] for item, row in ours.items() if row["refused"]} == dict(refused)
    for item, row in ours.items():
        assert row["first"] >= first[item], "outside the course, what was missing was not refused"


ACTS = ("artery_clipped", "duct_clipped", "artery_divided", "duct_divided")


@pytest.mark.parametrize(
    ("labels", "sentence"),
    [
        (None, "There is no log"),
        ("name,level\na,b\n", "has no column named case"),
        ("case,level\na,b\na,c\n", "two lines for the case a"),
    ],
)
def test_bad_input_gets_one_sentence(tmp_path: Path, labels: str | None, sentence: str) -> None:
    folder = tmp_path / "logs"
    write_some(folder, 1 if labels else 0)
    table = tmp_path / "labels.csv"
    table.write_text(labels or "", encoding="utf-8")
    with pytest.raises(CollectionError, match=sentence):
        collect(folder, tmp_path / "out", table if labels else None)


@pytest.mark.parametrize("name", ["nowhere", "labels.csv"])
def test_a_folder_that_is_none_is_named_with_the_cure(tmp_path: Path, name: str) -> None:
    (tmp_path / "labels.csv").write_text("case,level\n", encoding="utf-8")
    ran = CliRunner().invoke(cases_command, [str(tmp_path / name), "--out", str(tmp_path / "out")])
    assert ran.exit_code == 1
    assert ran.output == (
        f"Error: There is no folder {tmp_path / name}. Name the folder that holds the logs.\n"
    )
    assert not (tmp_path / "out").exists()


def test_the_plain_pass_uses_nothing_of_ours(series: Collected) -> None:
    assert json.dumps(series.plain[0])
    assert "voicecheck" not in Path(independent.__file__).read_text("utf-8")
