"""The names of intents in files of imagined wordings, and whether what was taken is what was meant.

A file is TOML: tables `[[said]]`, each with an `intent` and a `text` without the address word. An
intent is "item.answer", "event.name", "caution.name", "bail_out.name", "withdraw.item",
"control.word", "reply.confirm" or "reply.negative". "not.item.answer" is a denial: it sounds near
that statement and must not be taken for it.
"""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, NamedTuple

from voicecheck.core.inputs import (
    Address,
    Answer,
    AskOutstanding,
    BailOut,
    CallHelp,
    CarryOn,
    CloseRecord,
    Command,
    Confirm,
    DeclareEmergency,
    Meaning,
    NameDifficulty,
    Negative,
    ReportEvent,
    SayAgain,
    StandBy,
    Unclear,
    Unsettle,
    Withdraw,
)

if TYPE_CHECKING:
    from pathlib import Path

DENIAL = "not."
REPLIES = ("reply.confirm", "reply.negative")
"""Said without the address word."""


class Wording(NamedTuple):
    """What somebody might say, and what they mean by it."""

    intent: str
    text: str


def read(path: Path) -> list[Wording]:
    """Read a file of imagined wordings; raises OSError, tomllib.TOMLDecodeError or KeyError."""
    said = tomllib.loads(path.read_text(encoding="utf-8"))["said"]
    return [Wording(each["intent"], each["text"]) for each in said]


def addressed(wording: Wording, address: str) -> str:
    """Return the whole sentence: a reply as it is, all else after the address word."""
    return wording.text if wording.intent in REPLIES else f"{address} {wording.text}"


def intent(command: Command) -> str:
    """Return the name of a command in these files."""
    match command:
        case Answer(item=item, answer=answer):
            return f"{item}.{answer}"
        case Withdraw(item=item):
            return f"withdraw.{item}"
        case ReportEvent(event=name):
            return f"event.{name}"
        case NameDifficulty(caution=name):
            return f"caution.{name}"
        case BailOut(way=name):
            return f"bail_out.{name}"
        case _:
            return _OTHERS[type(command)]


_OTHERS: dict[type[Command], str] = {
    Confirm: "reply.confirm",
    Negative: "reply.negative",
    SayAgain: "control.say_again",
    AskOutstanding: "control.outstanding",
    StandBy: "control.stand_by",
    CarryOn: "control.carry_on",
    CallHelp: "control.help",
    DeclareEmergency: "control.emergency",
    CloseRecord: "control.close",
}


def is_right(meant: str, taken: Meaning | Unclear) -> bool:
    """Whether that is the intent; to say that it is not so also takes a statement back."""
    match taken:
        case Unclear() | Address():
            return False
        case Unsettle(item=item):
            return meant == f"withdraw.{item}" or meant.startswith(f"{DENIAL}{item}.")
        case _:
            return intent(taken) == meant


def is_denied_statement(meant: str, taken: Meaning | Unclear) -> bool:
    """Whether a denial of a statement was taken for the statement."""
    return isinstance(taken, Answer) and meant == f"{DENIAL}{intent(taken)}"
