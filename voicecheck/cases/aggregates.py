"""What is worked out over many cases, with DuckDB."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from voicecheck.cases.layout import PARTITIONED, TABLES, Row, schema
from voicecheck.cases.measures import MEASURES, PERIODS
from voicecheck.core.facts import Doubt
from voicecheck.core.wording import DOUBTS
from voicecheck.review.optional import library

Groups = Mapping[str, Row]
"""Group → measure or item → value; None if the group has no case to work it out from.

`<measure>_part` and `<measure>_of` are numerator and denominator, `<measure>_cases` the number of
cases that it is worked out from.
"""

UNLABELLED = "(no label)"


@dataclass(frozen=True, kw_only=True, slots=True)
class Summary:
    """Everything worked out over many cases."""

    overall: Row
    periods: Mapping[str, Groups]
    """Kind of period → period → measure → value."""
    labels: Mapping[str, Groups]
    label_periods: Mapping[str, Mapping[str, Mapping[str, Groups]]]
    """Label → kind of period → the label's value → period → measure → value."""
    cases: Sequence[Row]
    """All cases, in the order of time."""
    missing: Sequence[Row]
    """What was missing when a clip or a division was called for, by item."""
    refused_calls: Row
    """How many calls for a clip or a division were refused, and in how many cases."""
    items: Sequence[Row]
    item_months: Groups
    """Month → item → share of the month's cases in which it was stated in the course."""
    item_labels: Mapping[str, Groups]
    happenings: Sequence[Row]
    rehearsed: int
    """How many of the cases are rehearsals."""
    rehearsals: Sequence[Row]
    """Those that are counted in no figure."""
    damaged: Sequence[Row]
    newer: Sequence[Row]
    unmatched: Sequence[Row]
    """Cases with labels of which no log was found."""

    @property
    def months(self) -> Groups:
        """The months in which there was a case."""
        return self.periods["month"]


def summarise(home: Path) -> Summary:
    """Work out everything with DuckDB, from the folder that layout.write returned."""
    with library("duckdb").connect() as store:
        for name in TABLES:
            _load(store, home, name)

        def rows(sql: str, *values: str) -> list[Row]:
            found = store.execute(sql, values)
            names = [column[0] for column in found.description]
            return [dict(zip(names, row, strict=True)) for row in found.fetchall()]

        def groups(by: str, tables: str, *values: str) -> Groups:
            found = rows(_aggregate(f"{by} AS grp, ", f"{tables} GROUP BY 1 ORDER BY 1"), *values)
            return {row["grp"]: row for row in found}

        def by_period(label: str, period: str) -> Mapping[str, Groups]:
            found: dict[str, dict[str, Row]] = defaultdict(dict)
            grouped = f"{_LABELLED} GROUP BY 1, 2 ORDER BY 1, 2"
            for row in rows(_aggregate(f"{_VALUE} AS grp, {period} AS point, ", grouped), label):
                found[row["grp"]][row["point"]] = row
            return found

        def completion(by: str, tables: str, *values: str) -> Groups:
            found: dict[str, dict[str, float]] = defaultdict(dict)
            for row in rows(_COMPLETION.format(by=by, tables=tables), *values):
                found[row["grp"]][row["item"]] = row["stated"]
            return found

        names = [row["label"] for row in rows("SELECT DISTINCT label FROM labels ORDER BY 1")]
        return Summary(
            overall=rows(_aggregate("", "cases"))[0],
            periods={name: groups(period, "cases") for name, period in PERIODS.items()},
            labels={name: groups(_VALUE, _LABELLED, name) for name in names},
            label_periods={
                label: {name: by_period(label, period) for name, period in PERIODS.items()}
                for label in names
            },
            cases=rows("SELECT * FROM cases ORDER BY opened_utc, file"),
            missing=rows(_MISSING),
            refused_calls=rows(_REFUSED_CALLS)[0],
            items=rows(_ITEMS),
            item_months=completion("month", "items"),
            item_labels={
                name: completion(_VALUE, f"items JOIN ({_OF_CASE}) USING (file)", name)
                for name in names
            },
            happenings=rows(_HAPPENINGS, DOUBTS[Doubt.OTHER_SPEECH]),
            rehearsed=rows("SELECT count(*) AS cases FROM cases WHERE rehearsal")[0]["cases"],
            rehearsals=rows("SELECT * FROM rehearsals ORDER BY file"),
            damaged=rows("SELECT * FROM damaged ORDER BY file"),
            newer=rows("SELECT * FROM newer ORDER BY file"),
            unmatched=rows('SELECT * FROM unmatched ORDER BY "case"'),
        )


_AGGREGATES = ", ".join(
    f'{measure.sql} AS "{name}", {measure.part or "NULL"} AS "{name}_part", '
    f'{measure.of} AS "{name}_of", {measure.cases} AS "{name}_cases"'
    for name, measure in MEASURES.items()
)


def _aggregate(group: str, tables: str) -> str:
    return f"SELECT {group}{_AGGREGATES} FROM {tables}"  # noqa: S608 - all names are our own


_LABELLED = 'cases LEFT JOIN (SELECT * FROM labels WHERE label = ?) USING ("case")'
_VALUE = f"coalesce(value, '{UNLABELLED}')"
_OF_CASE = f"SELECT file, value FROM {_LABELLED}"  # noqa: S608 - likewise
_COMPLETION = """
SELECT {by} AS grp, item, avg(stated::int) AS stated FROM {tables} GROUP BY 1, 2 ORDER BY 1
"""
_ITEMS = """
SELECT item, place, any_value(name) AS name, any_value(phase) AS phase, count(*) AS cases,
       avg(stated::int) AS stated, median(first_s) / 60 AS first_min, avg(fell) AS fell
FROM items GROUP BY place, item ORDER BY place, item
"""
_REFUSED_CALLS = """
SELECT count(*) AS calls, count(DISTINCT file) AS cases FROM calls WHERE became = 'refused'
"""
_MISSING = """
WITH gone AS (
    SELECT file, unnest(string_split(missing, ' ')) AS item, became = 'refused' AS refused,
           line = min(line) OVER (PARTITION BY file) AS first
    FROM calls
)
SELECT item, place, any_value(name) AS name, any_value(phase) AS phase,
       sum(first::int) AS first, sum(refused::int) AS refused,
       count(DISTINCT file) FILTER (refused) AS cases
FROM gone JOIN items USING (file, item) GROUP BY place, item ORDER BY place, item
"""
_HAPPENINGS = """
WITH told AS (
    SELECT file, taken_as AS kind,
           CASE WHEN fact = 'NotUnderstood' THEN said
                WHEN name = '' OR means IN ('', name) THEN name
                ELSE name || ' (' || means || ')' END AS what
    FROM lines
    WHERE fact NOT IN ('Opened', 'Proposed', 'PauseBegun', 'Addressed', 'Spoke', 'Listed', 'Failed',
                       'Recovered', 'CloseProposed', 'Closed')
      AND NOT (fact = 'Stated' AND satisfies) AND taken_as != ?
    UNION ALL
    SELECT file, 'lapsed', items.name
    FROM (SELECT file, unnest(string_split(lapsed, ' ')) AS item FROM lines WHERE lapsed != '')
    JOIN items USING (file, item)
)
SELECT kind, what, count(*) AS times, count(DISTINCT file) AS cases FROM told GROUP BY kind, what
QUALIFY row_number() OVER (PARTITION BY kind ORDER BY times DESC, what) <= 8
ORDER BY kind, times DESC, what
"""


_READ = "SELECT * FROM read_parquet(?, hive_types_autocast = false)"


def _load(store: Any, home: Path, name: str) -> None:
    """Make a view of a table's files; a partitioned table without rows has no file."""
    if any(home.glob(f"{name}/**/*.parquet")):
        files = str(home / name / ("*/*.parquet" if name in PARTITIONED else "*.parquet"))
        store.sql(_READ, params=[files]).create_view(name)
    else:
        month = library("pyarrow").field("month", "string")
        store.register(name, schema(name).append(month).empty_table())
