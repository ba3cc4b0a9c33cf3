"""A case in the terminal as it happens: what was heard, how it was taken, what is said."""

from __future__ import annotations

import click

from voicecheck.core.case import Case
from voicecheck.core.facts import Opened, Record, Refused, Spoke
from voicecheck.core.inputs import UNKNOWN, Due, Entered, Heard, Restarted, Said, Trouble
from voicecheck.core.wording import CAUTION, took

_INDENT = " " * 14


def show(case: Case, record: Record, text: str) -> None:
    """Print one record once it is on disk."""
    if isinstance(record.fact, Opened):
        click.secho(f"\n{case.procedure.head.title} · case {case.opened.case}", bold=True)
        click.echo(f"{CAUTION}\n")
    if isinstance(record.fact, Spoke):
        return
    clock = record.at.utc[11:19]
    stands = len(case.procedure.items) - len(case.outstanding())
    tally = f"[{stands}/{len(case.procedure.items)} stated]"
    taken = took(record.fact).upper() if isinstance(record.fact, Refused) else took(record.fact)
    click.echo(f"{clock}  {_cause(record):<52} {taken:<24} {tally}")
    if text:
        click.echo(f"{_INDENT}» {text}")


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
