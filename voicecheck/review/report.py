"""What a log says afterwards: a pure function from the replayed story to a Report."""

from __future__ import annotations

from collections.abc import Iterable

from voicecheck.core.case import Case
from voicecheck.core.chain import Checkpoint, line_hash
from voicecheck.core.facts import Record, encode_record
from voicecheck.core.state import Mode
from voicecheck.review import hearing, notable, stated
from voicecheck.review.findings import Report, Setting
from voicecheck.review.summary import in_one_sentence
from voicecheck.review.told import Told, told


def report(story: Iterable[tuple[Case, Record]]) -> Report:
    """Report on a story as replay.story yields it, at least its opening; passes on BrokenLog."""
    log = told(story)
    last, spans = log.steps[-1], tuple(stated.spans(log))
    asked, statements = tuple(stated.asked(log)), tuple(stated.statements(log))
    acts = tuple(stated.acts(log, spans))
    refusals, corrections = tuple(notable.refusals(log)), tuple(notable.corrections(log))
    events = tuple(notable.events(log))
    to_look_at = sorted(
        (*refusals, *events, *corrections, *notable.in_doubt(log)), key=lambda found: found.at.line
    )
    end = Checkpoint(length=last.at.line, last=line_hash(encode_record(last.record)))
    departures = tuple(notable.departures(log, to_look_at))
    return Report(
        case=log.opened.case,
        setting=_setting(log),
        opened=log.steps[0].at,
        ended=last.at,
        closed=last.after.mode is Mode.CLOSED,
        summary=in_one_sentence(
            log,
            asked=asked,
            statements=statements,
            acts=acts,
            refusals=refusals,
            departures=departures,
        ),
        asked=asked,
        statements=statements,
        spans=spans,
        stretches=tuple(stated.stretches(log)),
        acts=acts,
        pause=stated.pause(log),
        refusals=refusals,
        corrections=corrections,
        events=events,
        departures=departures,
        misunderstood=tuple(hearing.misunderstood(log)),
        deaf=tuple(hearing.deaf(log)),
        troubles=tuple(hearing.troubles(log)),
        hearing=hearing.hearing(log),
        checkpoint=str(end),
        code=end.code,
    )


def _setting(log: Told) -> Setting:
    opened, head = log.opened, log.procedure.head
    return Setting(
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
    )
