"""Which cases of a folder count: chosen by label, by column and by date."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from fnmatch import fnmatchcase

from voicecheck.cases.layout import TABLES, Row

COLUMNS = tuple(name for name, (kind, _) in TABLES["cases"].items() if kind == "string")
"""The columns of `cases` that may be chosen by."""


class ChoiceError(Exception):
    """The choice cannot be made; says why, and what to do."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Choice:
    """The cases that count; all of them by default."""

    only: tuple[tuple[str, str], ...] = ()
    """Label or column, and the value that it must have; * in it stands for anything."""
    since: str = ""
    until: str = ""
    """First and last day, month or year of the opening in UTC, such as 2031-04; "" for none."""

    def __str__(self) -> str:
        """In words; "" if all cases count."""
        return ", ".join(self._parts())

    def _parts(self) -> Iterator[str]:
        yield from (f"{name} {value or 'not labelled'}" for name, value in self.only)
        if self.since:
            yield f"since {self.since}"
        if self.until:
            yield f"until {self.until}"

    def of(self, cases: Sequence[Row], labels: Sequence[Row]) -> list[Row]:
        """The rows of `cases` that count; raises ChoiceError for what nothing can be chosen by."""
        known: dict[str, dict[str, str]] = {}
        for row in labels:
            known.setdefault(row["label"], {})[row["case"]] = row["value"]
        for name, _ in self.only:
            if name not in known and name not in COLUMNS:
                raise ChoiceError(
                    f"There is no label or column {name} to choose by. Choose one of: "
                    f"{', '.join((*known, *COLUMNS))}."
                )
        kept = [row for row in cases if self._takes(row, known)]
        if cases and not kept:
            raise ChoiceError(f"None of {len(cases)} cases is left ({self}). Choose more widely.")
        return kept

    def _takes(self, row: Row, known: Mapping[str, Mapping[str, str]]) -> bool:
        opened = row["opened_utc"]
        return (
            self.since <= opened[: len(self.since)]
            and (not self.until or opened[: len(self.until)] <= self.until)
            and all(
                fnmatchcase(known[name].get(row["case"], "") if name in known else row[name], value)
                for name, value in self.only
            )
        )


ALL = Choice()
"""All cases count."""


def day_month_or_year(text: str) -> str:
    """The text, if it is a day, a month or a year; raises ChoiceError for anything else."""
    if re.fullmatch(r"\d{4}(-\d\d(-\d\d)?)?", text):
        with suppress(ValueError):
            date.fromisoformat(text + "-01-01"[len(text) - 4 :])
            return text
    raise ChoiceError(
        f"{text} is no date. Write a day, a month or a year: 2031-04-30, 2031-04 or 2031."
    )
