"""What is worked out over many cases: each measure once, with its SQL, its name and its unit."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from voicecheck.cases.layout import PARTITIONED, TABLES, Row, schema
from voicecheck.core.facts import Doubt
from voicecheck.core.wording import DOUBTS
from voicecheck.review.optional import library


@dataclass(frozen=True, kw_only=True, slots=True)
class Measure:
    """One figure about a group of cases."""

    sql: str
    """An aggregate over the table `cases`."""
    name: str
    unit: str
    write: Callable[[Any], str]
    of: str = "count(*)"
    """SQL: how many of the group's cases it is worked out from."""

    @property
    def is_share(self) -> bool:
        """Whether it is a part of 1, written and charted in percent."""
        return self.write is _percent


def _number(value: Any) -> str:
    return f"{value:,.0f}".replace(",", " ")


def _decimal(value: Any) -> str:
    return f"{value:.2f}"


def _percent(value: Any) -> str:
    return f"{100 * value:.1f} %"


MEASURES: Mapping[str, Measure] = {
    "cases": Measure(sql="count(*)", name="cases", unit="", write=_number),
    "closed": Measure(
        sql="avg(closed::int)", name="record closed", unit="% of cases", write=_percent
    ),
    "completion": Measure(
        sql="avg(items_stated / items_required)",
        name="required items stated",
        unit="% of items, mean over cases",
        write=_percent,
    ),
    "criteria_min": Measure(
        sql="median(criteria_s) / 60",
        of="count(criteria_s)",
        name="time to all criteria",
        unit="minutes, median",
        write=_decimal,
    ),
    "stood_min": Measure(
        sql="median(criteria_stood_s) / 60",
        of="count(criteria_stood_s)",
        name="criteria stood before the first act",
        unit="minutes, median",
        write=_decimal,
    ),
    "pause": Measure(
        sql="avg((pauses_held > 0)::int)",
        name="pause held",
        unit="% of cases",
        write=_percent,
    ),
    "acts_outside": Measure(
        sql="avg(first_act_outside::int)",
        of="count(first_act_outside)",
        name="first act in an emergency or bail-out",
        unit="% of cases with an act",
        write=_percent,
    ),
    "refusals": Measure(sql="avg(refusals)", name="refusals", unit="mean per case", write=_decimal),
    "lapses": Measure(sql="avg(lapses)", name="lapses", unit="mean per case", write=_decimal),
    "withdrawals": Measure(
        sql="avg(withdrawals)",
        name="withdrawn or answered anew",
        unit="mean per case",
        write=_decimal,
    ),
    "bail_outs": Measure(
        sql="avg((bail_outs > 0)::int)", name="with a bail-out", unit="% of cases", write=_percent
    ),
    "overrides": Measure(
        sql="avg((overrides > 0)::int)", name="with an emergency", unit="% of cases", write=_percent
    ),
    "heard": Measure(
        sql="avg(heard)", name="utterances heard", unit="mean per case", write=_decimal
    ),
    "misheard": Measure(
        sql="(sum(not_a_phrase) + sum(unsure) + sum(negatives))"
        " / nullif(sum(heard) - sum(other_speech), 0)",
        name="not understood or denied",
        unit="% of what was said to the machine",
        write=_percent,
    ),
    "confidence": Measure(
        sql="median(confidence_median)",
        name="recogniser's confidence",
        unit="median of the cases' medians",
        write=_decimal,
    ),
    "no_replies": Measure(
        sql="avg(no_replies)", name="read-backs without reply", unit="mean per case", write=_decimal
    ),
    "deaf": Measure(
        sql="sum(deaf_s) / nullif(sum(length_s), 0)",
        name="deaf while speaking",
        unit="% of time",
        write=_percent,
    ),
    "trouble": Measure(
        sql="sum(trouble_s) / nullif(sum(length_s), 0)",
        name="a part in trouble",
        unit="% of time",
        write=_percent,
    ),
}

CHARTED = ("completion", "pause", "criteria_min", "refusals", "lapses", "misheard")
"""Measures that get a run chart."""

HEALTH = ("heard", "misheard", "confidence", "no_replies", "deaf", "trouble")
"""Measures of how well the machine heard and ran; the others are about the course."""

Groups = Mapping[str, Row]
"""Group → measure or item → value; None if the group has no case to work it out from.

`<measure>_of` says how many cases a measure is worked out from.
"""

UNLABELLED = "(no label)"


@dataclass(frozen=True, kw_only=True, slots=True)
class Summary:
    """Everything worked out over many cases."""

    overall: Row
    months: Groups
    labels: Mapping[str, Groups]
    label_months: Mapping[str, Mapping[str, Groups]]
    """Label → its value → month → measure → value."""
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

        def monthly(label: str) -> Mapping[str, Groups]:
            found: dict[str, dict[str, Row]] = defaultdict(dict)
            grouped = f"{_LABELLED} GROUP BY 1, 2 ORDER BY 1, 2"
            for row in rows(_aggregate(f"{_VALUE} AS grp, month, ", grouped), label):
                found[row["grp"]][row["month"]] = row
            return found

        def completion(by: str, tables: str, *values: str) -> Groups:
            found: dict[str, dict[str, float]] = defaultdict(dict)
            for row in rows(_COMPLETION.format(by=by, tables=tables), *values):
                found[row["grp"]][row["item"]] = row["stated"]
            return found

        names = [row["label"] for row in rows("SELECT DISTINCT label FROM labels ORDER BY 1")]
        return Summary(
            overall=rows(_aggregate("", "cases"))[0],
            months=groups("month", "cases"),
            labels={name: groups(_VALUE, _LABELLED, name) for name in names},
            label_months={name: monthly(name) for name in names},
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
        )


_AGGREGATES = ", ".join(
    f'{measure.sql} AS "{name}", {measure.of} AS "{name}_of"' for name, measure in MEASURES.items()
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
