"""From a replayed log to its report, without side effects."""

from __future__ import annotations

from collections.abc import Iterable

from voicecheck.core.case import Case
from voicecheck.core.chain import Checkpoint, line_hash
from voicecheck.core.facts import Record, encode_record
from voicecheck.core.state import Mode
from voicecheck.review import hearing, notable, stated
from voicecheck.review.calls import calls
from voicecheck.review.findings import RecordedWith, Report
from voicecheck.review.lapses import lapses
from voicecheck.review.summary import in_one_sentence
from voicecheck.review.trace import Trace, trace_of


def report(story: Iterable[tuple[Case, Record]]) -> Report:
    """Report on a story from replay.story that has at least an opening; passes on BrokenLog."""
    return report_on(trace_of(story))


def report_on(trace: Trace) -> Report:
    """Report on a story that has been kept."""
    last, spans = trace.steps[-1], tuple(stated.spans(trace))
    asked, statements = tuple(stated.asked(trace)), tuple(stated.statements(trace))
    acts, called = tuple(stated.acts(trace, spans)), tuple(calls(trace, spans))
    refusals, corrections = tuple(notable.refusals(trace)), tuple(notable.corrections(trace))
    events = tuple(notable.events(trace))
    looked_for = sorted(
        (*refusals, *events, *corrections, *notable.in_doubt(trace)),
        key=lambda found: found.at.line,
    )
    end = Checkpoint(length=last.at.line, last=line_hash(encode_record(last.record)))
    departures = tuple(notable.departures(trace, looked_for))
    return Report(
        case=trace.opened.case,
        setting=_recorded_with(trace),
        opened=trace.steps[0].at,
        ended=last.at,
        closed=last.state_after.mode is Mode.CLOSED,
        summary=in_one_sentence(
            trace,
            asked=asked,
            statements=statements,
            calls=called,
            acts=acts,
            refusals=refusals,
            departures=departures,
        ),
        asked=asked,
        statements=statements,
        spans=spans,
        stretches=tuple(stated.stretches(trace)),
        acts=acts,
        pause=stated.pause(trace),
        calls=called,
        lapses=tuple(lapses(trace, spans)),
        refusals=refusals,
        corrections=corrections,
        events=events,
        departures=departures,
        misunderstood=tuple(hearing.misunderstood(trace)),
        deaf=tuple(hearing.deaf(trace)),
        troubles=tuple(hearing.troubles(trace)),
        hearing=hearing.hearing(trace),
        checkpoint=str(end),
        code=end.code,
    )


def _recorded_with(trace: Trace) -> RecordedWith:
    opened, head = trace.opened, trace.procedure.head
    return RecordedWith(
        procedure=head.id,
        title=head.title,
        version=head.version,
        program=opened.program,
        format=opened.format,
        rules=opened.rules,
        recogniser=opened.recogniser,
        voice=opened.voice,
        wording=opened.wording,
        caution=opened.caution,
        rehearsal=opened.rehearsal,
    )
