"""The words that no version of the conduct owns: the caution, labels, checkpoints."""

from __future__ import annotations

from collections.abc import Mapping

from voicecheck.core import facts
from voicecheck.core.chain import Checkpoint
from voicecheck.core.facts import Doubt, Fact
from voicecheck.core.inputs import UNKNOWN

CAUTION = (
    "Not a medical device. Research and training only. It records what is stated; it sees nothing, "
    "decides nothing and blocks no hand. Local protocol and licensed judgement come first."
)
"""Shown on every surface; stored in every log."""

OTHER_SHAPE = "The gate of this procedure is not the one that came with the program."
"""Shown and said at every start, until the procedure is the shipped one again."""

REHEARSAL = "Rehearsal: no operation, and no patient."
"""Shown on every surface of a record that is none of an operation; stored in its log."""

JOURNAL_FAILED = "Recording has stopped. Nothing said from now on is on record."
"""Said and shown when the log can no longer be written."""

TAKEN, REFUSED, AGAIN, LISTENS = "♪ taken", "♪ refused", "♪ again", "♪ listening"
"""Texts that are not spoken but sound as a tone (voice/tones.py)."""

HELP_CALLED = "Help called for, noted."

NOT_AS_REQUIRED = ", not as required"
"""Added to how an answer was taken that does not satisfy its item."""

CLOSING = "closing the record"
"""The name of what waits for a confirm when it is not an item."""


def checkpoint_aloud(checkpoint: Checkpoint) -> str:
    """The short code of a checkpoint, letter by letter (ICAO Annex 10 Volume II, 5.2.1.3)."""
    length, *letters = checkpoint.code.split("-")
    spelled = (" ".join(_SPELLING.get(letter, letter) for letter in part) for part in letters)
    return f"Checkpoint: {length} lines, {', '.join(spelled)}."


_SPELLING = {
    word[0].upper(): word
    for word in (
        *("alfa", "bravo", "charlie", "delta", "echo", "foxtrot", "golf", "hotel", "india"),
        *("juliett", "kilo", "lima", "mike", "november", "oscar", "papa", "quebec", "romeo"),
        *("sierra", "tango", "uniform", "victor", "whiskey", "x-ray", "yankee", "zulu"),
    )
}


def in_words(text: str) -> str:
    """What was heard, for people: the words, or that it was other speech."""
    return "(other speech)" if text == UNKNOWN else text


def took(fact: Fact) -> str:
    """How an input was taken, in a few words: on the display, in the terminal, in every export."""
    return DOUBTS[fact.why] if isinstance(fact, facts.NotUnderstood) else _TOOK[type(fact)]


DOUBTS: Mapping[Doubt, str] = {
    Doubt.UNSURE: "not heard well enough",
    Doubt.OTHER_SPEECH: "other speech",
    Doubt.NOT_A_PHRASE: "not a phrase",
    Doubt.NOT_UNDERSTOOD: "not understood",
    Doubt.NOTHING_TO_CONFIRM: "reply to nothing",
    Doubt.SPOKEN_OVER: "spoken over: say it again",
}
"""Why something heard counts for nothing, in words."""


_TOOK: Mapping[type[Fact], str] = {
    facts.Opened: "opened",
    facts.Proposed: "waits for confirm",
    facts.Stated: "stated",
    facts.Noted: "noted outside the course",
    facts.Retracted: "not recorded",
    facts.Lapsed: "not recorded",
    facts.Expired: "stated too long ago",
    facts.Withdrawn: "withdrawn",
    facts.PauseBegun: "pause begun",
    facts.Occurred: "event noted",
    facts.Cautioned: "caution given",
    facts.HelpCalled: "help called for",
    facts.BailedOut: "bail-out noted",
    facts.Overridden: "emergency noted",
    facts.StoodBy: "standing by",
    facts.Resumed: "carrying on",
    facts.Repeated: "said again",
    facts.Listed: "outstanding",
    facts.Refused: "refused",
    facts.Addressed: "listening",
    facts.Spoke: "spoke (deaf)",
    facts.Failed: "trouble",
    facts.Recovered: "recovered",
    facts.Reopened: "taken up again",
    facts.CloseProposed: "waits for confirm",
    facts.Closed: "closed",
}
