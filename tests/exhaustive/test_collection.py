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

from voicecheck.cases.aggregates import CHARTED, MEASURES, UNLABELLED, Summary, summarise
from voicecheck.cases.collection import CollectionError, collect
from voicecheck.cases.layout import PARTITIONED, TABLES, VERSION, readme
from voicecheck.cases.overview import cases_page, charts
from voicecheck.cases.runchart import run_charts
from voicecheck.cases.xmr import MIN_CASES, MIN_MONTHS, Series, limits
from voicecheck.cli_records import cases_command
from voicecheck.core.facts import Opened, decode_record
from voicecheck.core.wording import REHEARSAL
from voicecheck.journal import read
from voicecheck.review.case_page import case_page
from voicecheck.review.examine import examine
from voicecheck.review.summary import duration

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
    plain = [independent.figures(log.read_bytes()) for log in logs]
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

    return {
        "cases": len(cases),
        "closed": fmean(column("closed")),
        "completion": fmean(case["items_stated"] / case["items_required"] for case in cases),
        "criteria_min": scaled("criteria_s"),
        "stood_min": scaled("criteria_stood_s"),
        "pause": fmean(held > 0 for held in column("pauses_held")),
        "acts_outside": _some(column("first_act_outside"), fmean),
        "refusals": fmean(column("refusals")),
        "lapses": fmean(column("lapses")),
        "bail_outs": fmean(bailed > 0 for bailed in column("bail_outs")),
        "overrides": fmean(over > 0 for over in column("overrides")),
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
        numbers = cases[["closed", "refusals", "lapses"]].astype("float64")
        numbers = numbers.assign(pause=(cases["pauses_held"] > 0).astype("float64"))
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
    for name in ("closed", "refusals", "lapses", "pause"):
        assert means[name] == pytest.approx(series.summary.overall[name])
        for month, row in series.summary.months.items():
            assert by_month[name][month] == pytest.approx(row[name])
        for level, months in series.summary.label_months["level"].items():
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
        2: "c42a9758c2ffe1d833831d9f0873cd1f384bf7e82489efa2ef367f01238c86db",
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
    write_some(folder, 2)
    records = [decode_record(line) for line in invent(2)]
    assert isinstance(records[0].fact, Opened)
    opened = replace(records[0].fact, rehearsal=True)
    lines = resealed([replace(records[0], fact=opened), *records[1:]])
    (folder / "practice.log").write_bytes(b"".join(line + b"\n" for line in lines))

    home = collect(folder, tmp_path / "out")
    summary, page = summarise(home), cases_page(summarise(home), "some")
    assert (summary.overall["cases"], summary.rehearsed) == (2, 0)
    assert [row["file"] for row in summary.rehearsals] == ["practice.log"]
    assert "practice.log" not in pq.read_table(home / "lines")["file"].to_pylist()
    assert "1 rehearsal, counted in no figure" in page
    assert REHEARSAL not in page
    assert "with rehearsals" not in page

    home = collect(folder, tmp_path / "out", rehearsals=True)
    summary, page = summarise(home), cases_page(summarise(home), "some")
    assert (summary.overall["cases"], summary.rehearsed) == (3, 1)
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
    few = flow(FLOW[: MIN_MONTHS - 1])
    assert few.limits is None
    assert few.outside == []
    assert few.verdict == "too few months for limits"
    assert "upper limit" not in run_charts("flow", [few])


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
    assert thin.verdict == "no month beyond the limits"


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
    months = (f"2031-{place + 1:02}" for place in range(len(values)))
    return Series(group=group, months=tuple(months), values=tuple(values), cases=tuple(cases))


def known(case: dict[str, Any], name: str) -> bool:
    """Whether a case has what a measure is worked out from."""
    return name != "criteria_min" or case["criteria_s"] is not None


@pytest.mark.parametrize("label", ["level", "grade"])
def test_the_run_charts_of_a_label_are_worked_out_anew(series: Collected, label: str) -> None:
    """Wheeler, Understanding Variation: mean ± 2.66 average moving ranges."""
    of, months = labels_of(series), sorted({case["month"] for case in series.plain})
    drawn = charts(tuple(months), series.summary.label_months[label])
    limited = 0
    for name, chart in zip(CHARTED, drawn, strict=True):
        if name == "misheard":
            continue  # the plain pass has no such figure
        for one in chart.series:
            own = [case for case in series.plain if of[case["case"]][label] == one.group]
            found = {month: [c for c in own if c["month"] == month] for month in months}
            sizes = {m: sum(known(case, name) for case in found[m]) for m in months}
            values = {m: by_hand(found[m])[name] if sizes[m] else None for m in months}
            scale = 100 if name in ("completion", "pause") else 1
            assert one.cases == tuple(sizes.values())
            assert one.values == pytest.approx(
                tuple(None if value is None else scale * value for value in values.values())
            )
            kept = {m: scale * (values[m] or 0) for m in months if sizes[m] >= MIN_CASES}
            if len(kept) < 6:
                assert one.limits is None
                continue
            moved = [abs(b - a) for a, b in pairwise(kept.values())]
            mean, reach = fmean(kept.values()), 2.66 * fmean(moved)
            ours = one.limits
            assert ours is not None
            assert ours.mean == pytest.approx(mean)
            assert ours.upper - mean == pytest.approx(reach, rel=1e-3)
            assert mean - ours.lower == pytest.approx(reach, rel=1e-3)
            beyond = [m for m, value in kept.items() if abs(value - mean) > reach]
            assert [months[place] for place, _ in one.outside] == beyond
            limited += 1
    assert limited > 3


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


class Tags(HTMLParser):
    """The names of a page's tags; fails at what could load or run anything."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.add(tag)
        assert not any(name.startswith("on") for name, _ in attrs)
        assert all((dict(attrs).get(key) or "#")[0] == "#" for key in ("href", "src", "xlink:href"))


def test_the_page_takes_nothing_from_outside_and_shows_every_figure(series: Collected) -> None:
    page = cases_page(series.summary, "series")
    assert not Tags(page).found & {"script", "link", "img", "iframe"}
    for name, measure in MEASURES.items():
        assert measure.name in unescape(page)
        assert measure.write(series.summary.overall[name]) in page
    assert page.count("<svg") == 3 * 6, "all cases, by level, by grade"
    assert "By level" in page
    assert "By grade" in page


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
        assert shown["length of the record"] == duration(plain["length_s"])
        assert int(shown["refused"]) == plain["refusals"]
        assert int(shown["course left"]) == plain["bail_outs"] + plain["overrides"]
        assert shown["record closed"] == ("yes" if plain["closed"] else "no")
        first_s, outside = independent.acts(log.read_bytes())
        within = " in the course" if outside else ""
        sorts[first_s is not None, outside > 0] += 1
        if outside:
            assert int(shown["clipped or divided outside the course"]) == outside
        if first_s is None:
            assert shown[f"clipping or dividing{within}"] == "none stated"
        else:
            assert f" UTC, {duration(first_s)} after the opening" in page
            assert shown[f"criteria standing at the first act{within}"] == "3 of 3"
        if plain["first_act_outside"] is False:
            assert shown["all had stood before it for"] == duration(plain["criteria_stood_s"])
            assert (shown["pause taken before it"] == "yes") == plain["pause_before_act"]
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
    assert "senior" in (out / "cases.html").read_text("utf-8")


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
