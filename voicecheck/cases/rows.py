"""One examined log as rows of the collection's tables."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict
from statistics import median

from voicecheck.cases.layout import PACKED, Row, Rows, packed
from voicecheck.core.procedure import Kind
from voicecheck.review.examine import Examined
from voicecheck.review.findings import Act, Asked, Call, Report, Span
from voicecheck.review.lines import lines


def rows(file: str, sha256: str, examined: Examined, *, rehearsals: bool = False) -> Rows:
    """Table → rows; a damaged log is only in `damaged`, one of a later version only in `newer`.

    A rehearsal is only in `rehearsals`, unless `rehearsals` count as cases.
    """
    report, trace = examined.report, examined.trace
    if examined.newer:
        return {"newer": [{"file": file, "made_by": examined.newer}]}
    if report is None or trace is None or not examined.intact:
        return {"damaged": [{"file": file, "damage": "; ".join(examined.faults)}]}
    if report.setting.rehearsal and not rehearsals:
        return {"rehearsals": [{"file": file, "case": report.case}]}
    shared = {"file": file, "month": report.opened.utc[:7]}
    return {
        "cases": [
            {
                **shared,
                "sha256": sha256,
                **_case(report),
                **_called(report),
                **_act(report),
                **_lapsed(report),
                **asdict(report.hearing),
            }
        ],
        "items": [{**shared, **row} for row in _items(report)],
        "calls": [{**shared, **row} for row in _calls(report)],
        "lapses": [{**shared, **row} for row in _lapses(report)],
        "lines": [
            {
                **shared,
                PACKED: packed("lines", [{"file": file, **line.cells} for line in lines(trace)]),
            }
        ],
    }


def _case(report: Report) -> Row:
    made, stated = report.setting, _first_stated(report)
    required = [one for one in report.asked if one.required]
    kinds = Counter(one.kind for one in report.corrections)
    emergencies = sum(departure.is_emergency for departure in report.departures)
    return {
        "case": report.case,
        "rehearsal": made.rehearsal,
        "caution": made.caution,
        "opened_utc": report.opened.utc,
        "length_s": report.ended.since_s,
        "lines": report.ended.line,
        "checkpoint": report.checkpoint,
        "closed": report.closed,
        "procedure": made.procedure,
        "procedure_version": made.version,
        "program": made.program,
        "log_format": made.format,
        "rules": made.rules,
        "recogniser": made.recogniser,
        "items_required": len(required),
        "items_stated": sum(one.item in stated for one in required),
        "items_standing": sum(one.stands for one in required),
        "criteria_s": _together_s(report),
        "pauses_begun": report.pause.begun,
        "pauses_held": report.pause.held,
        "refusals": len(report.refusals),
        "withdrawals": kinds["withdrawn"] + kinds["answered anew"],
        "lapses": kinds["lapsed"],
        "bail_outs": len(report.departures) - emergencies,
        "overrides": emergencies,
    }


def _called(report: Report) -> Row:
    first, counts = report.first_call, {"calls": len(report.calls)}
    if first is None:
        return {**counts, "calls_refused": 0}
    return {
        **counts,
        "calls_refused": len(report.refused_calls),
        "first_call_s": first.at.since_s,
        "first_call": first.item,
        "first_call_became": first.became,
        "first_call_missing": len(first.missing),
        "first_call_criteria": first.criteria_standing,
        "called_for_s": report.called_for_s,
    }


def _calls(report: Report) -> Iterator[Row]:
    for one in report.calls:
        yield {
            "line": one.at.line,
            "elapsed_s": one.at.since_s,
            "item": one.item,
            "name": one.name,
            "became": one.became,
            "during": one.during,
            "criteria": one.criteria_standing,
            "criteria_stood_s": _all_stood_s(one),
            "missing": " ".join(one.missing),
        }


def _lapsed(report: Report) -> Row:
    took_s = [row["restored_s"] for row in _lapses(report)]
    again_s = [one for one in took_s if one is not None]
    return {
        "lapsed": len(took_s),
        "restored": len(again_s),
        "restored_s": median(again_s) if again_s else None,
    }


def _lapses(report: Report) -> Iterator[Row]:
    for one in report.lapses:
        for fallen in one.items:
            yield {
                "line": one.at.line,
                "elapsed_s": one.at.since_s,
                "why": one.why,
                "item": fallen.item,
                "name": fallen.name,
                "restored_s": one.took_s(fallen),
            }


def _all_stood_s(moment: Act | Call) -> float | None:
    """How long all criteria had stood; None if any did not."""
    stood_s = [one.stood_s for one in moment.criteria if one.stood_s is not None]
    return min(stood_s) if len(stood_s) == len(moment.criteria) else None


def _act(report: Report) -> Row:
    if not report.acts:
        return {}
    act = report.acts[0]
    return {
        "first_act_s": act.at.since_s,
        "first_act_outside": bool(act.during),
        "criteria_stood_s": _all_stood_s(act),
        "pause_before_act": act.pause.stood_s is not None,
    }


def _items(report: Report) -> Iterator[Row]:
    first = _first_stated(report)
    for place, one in enumerate(report.asked, 1):
        yield {
            "item": one.item,
            "name": one.name,
            "kind": one.kind.value,
            "phase": one.phase,
            "place": place,
            "required": one.required,
            "stated": one.item in first,
            "standing": one.stands,
            "first_s": first.get(one.item),
            "fell": sum(_fell(span, one) for span in report.spans),
        }


def _fell(span: Span, item: Asked) -> bool:
    return span.item == item.item and span.satisfies and span.end is not None


def _first_stated(report: Report) -> dict[str, float]:
    """Item → when it was first stated and satisfied in the course, in seconds since the opening."""
    found: dict[str, float] = {}
    for statement in report.statements:
        if statement.satisfies and not statement.outside:
            found.setdefault(statement.item, statement.at.since_s)
    return found


def _together_s(report: Report) -> float | None:
    """When all criteria first stood together, in seconds since the opening; None if never."""
    criteria = {one.item for one in report.asked if one.kind is Kind.CRITERION}
    spans = [span for span in report.spans if span.item in criteria and span.satisfies]
    for start in sorted(spans, key=lambda span: span.start.line):
        line = start.start.line
        stood = {
            span.item
            for span in spans
            if span.start.line <= line and (span.end is None or span.end.line > line)
        }
        if stood == criteria:
            return start.start.since_s
    return None
