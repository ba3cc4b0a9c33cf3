"""The figures about many cases: each once, with its SQL, its name, its unit and what it counts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, kw_only=True, slots=True)
class Measure:
    """One figure about a group of cases."""

    sql: str
    """An aggregate over the table `cases`."""
    name: str
    unit: str
    write: Callable[[Any], str]
    part: str = ""
    """SQL: its numerator; "" if it is no quotient."""
    of: str = "count(*)"
    """SQL: its denominator, or how many cases it is the median of."""
    cases: str = "count(*)"
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


def _share(
    name: str, unit: str, part: str, of: str = "count(*)", *, cases: str = "count(*)"
) -> Measure:
    sql = f"{part} / nullif({of}, 0)"
    return Measure(sql=sql, name=name, unit=unit, write=_percent, part=part, of=of, cases=cases)


def _mean(name: str, part: str, unit: str = "per case", of: str = "count(*)") -> Measure:
    sql = f"{part} / nullif({of}, 0)"
    return Measure(sql=sql, name=name, unit=unit, write=_decimal, part=part, of=of, cases=of)


def _minutes(name: str, column: str, unit: str = "minutes, median") -> Measure:
    number = f"count({column})"
    sql = f"median({column}) / 60"
    return Measure(sql=sql, name=name, unit=unit, write=_decimal, of=number, cases=number)


MEASURES: Mapping[str, Measure] = {
    "cases": Measure(sql="count(*)", name="cases", unit="", write=_number),
    "refused_acts": _mean("clips and divisions refused", "sum(calls_refused)"),
    "first_refused": _share(
        "first clip or division refused",
        "% of cases with a call",
        "sum((first_call_became = 'refused')::int)",
        "count(first_call_s)",
        cases="count(first_call_s)",
    ),
    "first_missing": _mean(
        "missing at the first call",
        "sum(first_call_missing)",
        "items per case with a call",
        "count(first_call_s)",
    ),
    "first_call_min": _minutes("clip or division first called for", "first_call_s"),
    "called_for_min": _minutes("from the first call to the first act", "called_for_s"),
    "stood_min": _minutes("criteria stood before the first act", "criteria_stood_s"),
    "lapsed": _mean("statements lapsed", "sum(lapsed)"),
    "restored": _share(
        "of these, stated again",
        "% of those that lapsed",
        "sum(restored)",
        "sum(lapsed)",
        cases="count(*) FILTER (lapsed > 0)",
    ),
    "restored_min": _minutes(
        "until they were stated again", "restored_s", "minutes, median of the cases' medians"
    ),
    "withdrawals": _mean("withdrawn or answered anew", "sum(withdrawals)"),
    "refusals": _mean("refusals of any kind", "sum(refusals)"),
    "completion": _share(
        "required items stated", "% of items", "sum(items_stated)", "sum(items_required)"
    ),
    "criteria_min": _minutes("time to all criteria", "criteria_s"),
    "acts_outside": _share(
        "first act in an emergency or bail-out",
        "% of cases with an act",
        "sum(first_act_outside::int)",
        "count(first_act_outside)",
        cases="count(first_act_outside)",
    ),
    "bail_outs": _share("with a bail-out", "% of cases", "sum((bail_outs > 0)::int)"),
    "overrides": _share("with an emergency", "% of cases", "sum((overrides > 0)::int)"),
    "closed": _share("record closed", "% of cases", "sum(closed::int)"),
    "heard": _mean("utterances heard", "sum(heard)"),
    "asked_again": _mean("had to be said again", "sum(unsure)"),
    "misheard": _share(
        "not understood or denied",
        "% of what was said to the machine",
        "(sum(not_understood) + sum(unsure) + sum(negatives))",
        "(sum(heard) - sum(other_speech))",
    ),
    "spoken_over": _mean("said while the machine spoke", "sum(spoken_over)"),
    "no_replies": _mean("read-backs without reply", "sum(no_replies)"),
    "confidence": Measure(
        sql="median(confidence_median)",
        name="recogniser's confidence",
        unit="median of the cases' medians",
        write=_decimal,
        of="count(confidence_median)",
        cases="count(confidence_median)",
    ),
    "deaf": _share("deaf while speaking", "% of time", "sum(deaf_s)", "sum(length_s)"),
    "trouble": _share("a part in trouble", "% of time", "sum(trouble_s)", "sum(length_s)"),
}

CHARTED = ("refused_acts", "first_missing", "called_for_min", "stood_min", "lapsed", "misheard")
"""Measures that get a run chart."""

CALLS = (
    *("refused_acts", "first_refused", "first_missing", "first_call_min", "called_for_min"),
    *("stood_min", "lapsed", "restored", "restored_min"),
)
"""Measures of when clips and divisions were called for, and of what lapsed: what varies most."""

HEALTH = (
    *("heard", "asked_again", "misheard", "spoken_over", "no_replies", "confidence", "deaf"),
    "trouble",
)
"""Measures of how well the machine heard and ran; the rest is about the course."""

PERIODS: Mapping[str, str] = {
    "month": "month",
    "quarter": "month[:4] || ' Q' || ((month[6:]::int + 2) // 3)",
    "case": "opened_utc || ' ' || file",
}
"""What a point of a chart may stand for, finest last → SQL: its name, in the order of time."""
