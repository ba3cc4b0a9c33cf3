"""What imagined surgeons say in their own words, to choose phrases by and to measure with.

The files in wordings/ were written without sight of the grammar, each as another surgeon would
speak; nobody was recorded. Those with an odd number are for choosing. Those with an even number are
held aside: they are measured with, and never read while phrases are chosen.
"""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from stories import shipped

from voicecheck.core.conduct import CURRENT
from voicecheck.core.inputs import (
    Answer,
    AskOutstanding,
    BailOut,
    CallHelp,
    CarryOn,
    CloseRecord,
    Command,
    Confirm,
    DeclareEmergency,
    NameDifficulty,
    Negative,
    ReportEvent,
    SayAgain,
    StandBy,
    Withdraw,
)

SURGEONS = sorted((Path(__file__).parents[1] / "wordings").glob("surgeon-*.toml"))
REPLIES = ("reply.confirm", "reply.negative")


def read(path: Path) -> Any:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def is_aside(path: Path) -> bool:
    """Whether this surgeon is kept for measuring."""
    return int(path.stem[-2:]) % 2 == 0


def intent(command: Command) -> str:
    """The name of a command in these files."""
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


_OTHERS = {
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


def understood(said: Any) -> str:
    """The intent that these words have by the grammar; "" if they are no phrase."""
    phrases = CURRENT.phrases(shipped())
    address = shipped().common.listening.address
    words = said["text"] if said["intent"] in REPLIES else f"{address} {said['text']}"
    return intent(phrases[words]) if words in phrases else ""


def test_there_are_enough_of_them_and_half_are_held_aside() -> None:
    said = Counter(is_aside(path) for path in SURGEONS for _ in read(path)["said"])
    assert len(SURGEONS) >= 12
    assert min(said[True], said[False]) >= 300
    assert len({read(path)["surgeon"] for path in SURGEONS}) == len(SURGEONS)


@pytest.mark.parametrize("path", SURGEONS, ids=lambda path: path.stem)
def test_every_intent_has_words_that_can_be_spoken(path: Path) -> None:
    surgeon = read(path)
    assert "imagined" in surgeon["about"].lower()
    known = {intent(command) for command in CURRENT.phrases(shipped()).values()}
    meant = {said["intent"] for said in surgeon["said"]}
    assert {each.removeprefix("not.") for each in meant} <= known
    assert {each for each in known if not each.startswith("withdraw.")} <= meant
    for said in surgeon["said"]:
        assert re.fullmatch(r"[a-z']+( [a-z']+)*", said["text"]), said


def test_nothing_is_taken_for_what_was_denied_or_for_something_else(counted: list[str]) -> None:
    """Few are phrases yet; those that are must mean what was meant."""
    rights: Counter[bool] = Counter()
    alls: Counter[bool] = Counter()
    for path in SURGEONS:
        for said in read(path)["said"]:
            taken = understood(said)
            assert taken in ("", said["intent"]), said
            if not said["intent"].startswith("not."):
                alls[is_aside(path)] += 1
                rights[is_aside(path)] += bool(taken)
    counted.append(
        f"imagined wordings that are phrases: {rights[False]} of {alls[False]} to choose by, "
        f"{rights[True]} of {alls[True]} held aside"
    )
