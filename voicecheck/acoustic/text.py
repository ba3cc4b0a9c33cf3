"""Sentences to train on: general English, invented statements of the trade, orders and chatter.

Nothing here is taken from an evaluation set. General English is WordNet 3.0's glosses and examples
(its own permissive licence); word strings are weighted by wordfreq's counts (CC BY-SA 4.0, used as
weights only). Everything else is recombined at random from the word lists below.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path
    from random import Random

    Source = Callable[[Random], str]

ALPHABET = (
    "alpha bravo charlie delta echo foxtrot golf hotel india juliett kilo lima mike november oscar "
    "papa quebec romeo sierra tango uniform victor whiskey x-ray yankee zulu"
).split()
DIGITS = "zero one two three four five six seven eight nine".split()
LETTERS = "a b c d e f g h i j k l m n o p q r s t u v w x y z".split()

REPLIES = (
    "confirm|negative|say again|stand by|carry on|affirm|affirmative|correct|cancel|repeat|wait|"
    "resume|continue|acknowledge|stop|yes|no|help|roger|go ahead|disregard|hold position"
).split("|")
STRUCTURES = (
    "fundus|neck|sulcus|triangle|plate|gallbladder|gallbladder neck|gallbladder wall|cystic plate|"
    "cystic duct|cystic artery|duct|artery|infundibulum|hepatocystic triangle|segment four|"
    "umbilical fissure|base of segment four|liver bed|lower third|body|bile duct|liver|fat|"
    "fibrous tissue|peritoneum|front|back|third structure|two structures|branch|vessel|stone|bile|"
    "clip|two clips|three clips|stump|camera|camera port|working ports|ports|table|specimen|bag|"
    "counts|needle|swab|drain|suction|hook|grasper|view|line|safe line|bed|traction|pressure|"
    "right shoulder|right hip|left side|head|wall|common duct|window|margin|omentum|adhesions|"
    "bowel|abdomen|gas|bleeding point|retraction|sutures|skin|team|surgeon|assistant"
).split("|")
STATES = (
    "cleared|clear|not clear|seen|not seen|clipped|divided|transected|retracted|exposed|free|open|"
    "closed|secure|dry|bleeding|spilled|spilling|slipped|lost|thick|tense|short|wide|bulky|torn|"
    "visible|uncertain|unclear|inspected|complete|finished|up|down|down and out|in place|out|"
    "placed|removed|aspirated|decompressed|confirmed|outstanding|withdrawn|identified|off the plate|"
    "above the line|below the line|toward the right shoulder|toward the right hip|good|tilted|"
    "right side up|head up|all round|both sides|cut|tied|checked|counted|ready|under tension|hanging|held|pulled up|"
    "held up and in|pulled the right way|looks long|looks wide|creeping|handed back|in view|remain|"
    "remain above|too thin|going well|leaking|leaving one|off the wall|free of tissue|is found"
).split("|")
DEEDS = (
    "withdraw|convert to open|call for help|start cholangiogram|subtotal cholecystectomy|"
    "fundus first|place a drain|stop here|pause|pause now|emergency|what is outstanding|bail out|"
    "say again|stand by|resume|read back|next step|begin|begin case|close case|second look|"
    "look again|second opinion|hands still|more than two structures|two and only two structures|"
    "only two structures|view lost|retraction slipped|bile spilled|bleeding|cholangiogram|"
    "intraoperative cholangiogram|take it down|undo last|status|repeat last|volume up|mute|"
    "time out|sign out|uncertain anatomy|ready to clip|ready to divide|apply clips|divide now|"
    "leaving a clip|taking an image|going for open|abandoning the line|withdraw the clip|call home|"
    "begin the case|end the pause|close the port|open the record|cannot see the duct|look up"
).split("|")
JOINS = ("", "", "", " and ", ", ", " is ", " is not ", " are ", " with ", " on the ", " from the ")
ADDRESS = "checklist"

ASKS = (
    "can i get|could i have|i'd like|i would like|give me|get me|please bring|we need|i need|"
    "may i have|i'll take|let me have|hand me|pass me|send|order|add|make it|pick up|fetch|"
    "put down|turn on|turn off|open|close|move|lift|set|find|show me|remove|cancel|change"
).split("|")
AMOUNTS = (
    "a|the|two|three|four|five|six|seven|eight|nine|ten|twelve|twenty|a small|a large|a medium|"
    "a big|some|another|one more|half a dozen|a couple of|a box of|a bag of|a little|extra|no|"
    "one|a hot|a cold|a fresh|my|your|this|that|a few"
).split("|")
GOODS = (
    "nails|screws|paint|brushes|ladder|hammer|rope|lamp|light|window|door|chair|desk|towels|soap|"
    "bread|rolls|butter|cheese|apples|oranges|lemon|sugar|salt|pepper|rice|soup|salad|sandwich|"
    "water|juice|ice|syrup|vanilla|cinnamon|chocolate|honey|cream|biscuits|cake|stamps|envelopes|"
    "tickets|paper|pencils|batteries|bottle|cup|glass|plate|spoon|napkins|bag|box|radio|music|"
    "volume|heater|fan|timer|alarm|map|book|letter|parcel|flowers|tomatoes|onions|eggs|noodles"
).split("|")
TAILS = (
    "|||please|to go|for here|thank you|thanks|with that|on the side|and that's all|right away|"
    "if you can|for the table|by monday|in the kitchen|without sugar|with ice|as well|for now|"
    "no rush|today|tomorrow|at noon|again|instead"
).split("|")
FILLERS = (
    "well|um|uh|you know|i mean|okay|right|so|look|actually|honestly|yeah|no|sure|hang on|"
    "let me see|did you see|do you think|i was saying|the thing is|to be fair|what about|"
    "how was|have you got|we should|i can't|it wasn't|they said|he told me|she asked|where is"
).split("|")

WORDNET_FILES = ("data.noun", "data.verb", "data.adj", "data.adv")
SPEAKABLE = re.compile(r"[a-z][a-z' ,-]*")


def wordnet_sentences(folder: Path) -> tuple[list[str], list[str]]:
    """Read the glosses and the quoted example sentences of a WordNet 3.0 `data.*` folder."""
    glosses: list[str] = []
    examples: list[str] = []
    for name in WORDNET_FILES:
        for line in (folder / name).read_text("ascii", "replace").splitlines():
            gloss = line.partition(" | ")[2].lower()
            examples += re.findall(r'"([^"]+)"', gloss)
            glosses += re.sub(r'"[^"]*"|\([^)]*\)', "", gloss).split(";")
    return _speakable(glosses), _speakable(examples)


def _speakable(texts: Sequence[str]) -> list[str]:
    tidy = (" ".join(text.split()).strip(" ,-") for text in texts)
    return [text for text in tidy if 2 <= len(text.split()) <= 16 and SPEAKABLE.fullmatch(text)]


def one_of(sentences: Sequence[str]) -> Source:
    """A source that draws whole sentences."""
    return lambda rng: rng.choice(sentences)


def word_string(words: Sequence[str], weights: Sequence[float]) -> Source:
    """A source of 2 to 10 words, each drawn on its own: no grammar for the network to lean on."""
    return lambda rng: " ".join(rng.choices(words, weights, k=rng.randint(2, 10)))


def statement(rng: Random) -> str:
    """A statement as a surgeon might make one, mostly with the address word."""
    kind = rng.random()
    if kind < 0.45:
        said = f"{_the(rng)}{rng.choice(STRUCTURES)}{rng.choice(JOINS) or ' '}{rng.choice(STATES)}"
    elif kind < 0.6:
        said = f"{rng.choice(STRUCTURES)} {rng.choice(STATES)} and {rng.choice(STATES)}"
    elif kind < 0.8:
        said = rng.choice(DEEDS)
    elif kind < 0.92:
        pool = (STRUCTURES, STATES, DEEDS, REPLIES)
        said = " ".join(rng.choice(rng.choice(pool)) for _ in range(rng.randint(1, 4)))
    else:
        said = f"{rng.choice(REPLIES)} {rng.choice(STRUCTURES)} {rng.choice(STATES)}"
    return _addressed(said, rng)


def _the(rng: Random) -> str:
    return "the " if rng.random() < 0.2 else ""


def _addressed(said: str, rng: Random) -> str:
    drawn = rng.random()
    if drawn < 0.6:
        return f"{ADDRESS}{rng.choice((' ', ' ', ', '))}{said}"
    return f"{said} {ADDRESS}" if drawn < 0.64 else said


def reply(rng: Random) -> str:
    """One to three short replies, as they follow a read-back."""
    return ", ".join(rng.choice(REPLIES) for _ in range(rng.choice((1, 1, 2, 3))))


def order(rng: Random) -> str:
    """An everyday request."""
    things = [f"{rng.choice(AMOUNTS)} {rng.choice(GOODS)}" for _ in range(rng.choice((1, 1, 2)))]
    return f"{rng.choice(ASKS)} {' and '.join(things)} {rng.choice(TAILS)}".strip()


def spelled(rng: Random) -> str:
    """Two to six digits, letters or radiotelephony words."""
    pool = rng.choice((DIGITS, LETTERS, ALPHABET, (*DIGITS, *ALPHABET)))
    return " ".join(rng.choice(pool).upper() for _ in range(rng.randint(2, 6)))


def chatter(sentences: Sequence[str]) -> Source:
    """Talk that means nothing to the checklist, though it may drop a word of the trade."""

    def draw(rng: Random) -> str:
        start, end = rng.choice(FILLERS), rng.choice(FILLERS)
        middle = rng.choice(sentences if rng.random() < 0.6 else STRUCTURES)
        return (
            f"{start}, {middle}, {end} {rng.choice(STATES)}"
            if rng.random() < 0.4
            else (f"{start} {middle}")
        )

    return draw


def phrase_near(phrases: Sequence[str]) -> Source:
    """A procedure's own phrases, and half as often near misses: a word dropped or swapped."""

    def draw(rng: Random) -> str:
        words = rng.choice(phrases).split()
        if rng.random() < 0.33 and len(words) > 2:
            place = rng.randrange(len(words))
            words[place : place + 1] = rng.choice(([], [rng.choice(rng.choice(phrases).split())]))
        return " ".join(words)

    return draw
