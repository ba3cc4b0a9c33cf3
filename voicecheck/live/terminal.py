"""Shows a case in the terminal as it happens: what was heard, how it was taken, what is said."""

from __future__ import annotations

from collections.abc import Callable
from textwrap import fill

import click

from voicecheck.core.case import Case
from voicecheck.core.facts import Opened, Record, Refused, Spoke
from voicecheck.core.inputs import UNKNOWN, Due, Entered, Heard, Restarted, Said, Trouble
from voicecheck.display import captions

COLUMNS = 80
_INDENT = " " * 10


def show(case: Case, record: Record, text: str, say: Callable[[str], None]) -> None:
    """Print one record, by `say`, once it is on disk."""
    if isinstance(record.fact, Opened):
        kind = captions.REHEARSAL if case.opened.rehearsal else "case"
        title = f"{case.procedure.head.title} · {kind} {case.opened.case}"
        say(f"\n{click.style(title, bold=True)}\n{fill(case.opened.caution, COLUMNS)}\n")
    if isinstance(record.fact, Spoke) or _is_our_own_voice(record):
        return
    items = len(case.procedure.items)
    taken = captions.taken_as(case.procedure, record.fact)
    taken = taken.upper() if isinstance(record.fact, Refused) else taken
    say(_wrapped(f"{record.at.utc[11:19]}  {_cause(record)}", _INDENT))
    say(f"{_INDENT}{taken:<30} [{items - len(case.outstanding())}/{items} stated]")
    if text:
        say(_wrapped(f"{_INDENT}» {text}", f"{_INDENT}  "))


def _is_our_own_voice(record: Record) -> bool:
    """Whether this is most likely a prompt that reached the microphone; it stays in the log."""
    return isinstance(record.cause, Heard) and record.cause.over and record.cause.text == UNKNOWN


def _wrapped(text: str, indent: str) -> str:
    return fill(text, COLUMNS, subsequent_indent=indent, drop_whitespace=True)


def _cause(record: Record) -> str:
    match record.cause:
        case Heard(text=text, confidence=confidence):
            words = "other speech" if text == UNKNOWN else f'"{text}"'
            return f"heard {words} ({confidence:.2f})"
        case Entered(text=text):
            return f'entered "{text}"'
        case Trouble(part=part, message=message):
            return f"{part}: {message}"
        case other:
            return _PLAIN[type(other)]


_PLAIN = {Due: "time has come", Said: "said", Restarted: "started again", type(None): "opening"}
