"""A sentence in anybody's words -> the one command that it means, or none.

Content words in their order decide; fillers may stand between them. Denial and doubt are heard as
such. What is critical counts only if every word of the sentence was understood, for an unknown word
may deny it. What is harmless or urgent may have other words around it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import astuple
from functools import lru_cache
from itertools import product
from typing import cast

from voicecheck.core.codec import encode
from voicecheck.core.inputs import (
    Answer,
    AskOutstanding,
    BailOut,
    CallHelp,
    CarryOn,
    CloseRecord,
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
from voicecheck.core.procedure import Kind, Procedure
from voicecheck.core.vocabulary import Vocabulary

from .automaton import Automaton
from .matching import DENIAL, FILLER, HEDGE, STRAY, Match, matches

_KEPT = 4
"""Procedures whose automata are kept."""
_NEAR = 2
"""A denial counts for what is not critical if it stands so near, fillers apart."""
_MOST_STRAYS = 3
"""Other words within a harmless or urgent wording, at most."""
_STRAYS = 2
"""So many of them, and a doubt, are talk about it, not a report of it."""
_MOST_STRAYS_OF_ALL = 4
"""The same in the whole sentence, where it is not critical, or the safe direction."""
LEAST_CONTENT = 6
"""Letters, fillers apart, of a wording that states something critical: fewer are soon misheard. It
costs 6 of 725 sentences of imagined surgeons: "just the two", "pause now", "stop and look"."""


def meaning(procedure: Procedure, sentence: str) -> Meaning | Unclear:
    """The command that a sentence without the address word means; never a reply."""
    return _best(procedure, sentence)[0]


def without_courtesies(procedure: Procedure, sentence: str) -> str:
    """The sentence without "um" before it and "please" behind it."""
    words, listed = sentence.split(), procedure.common.words
    while words and words[0] in listed.courtesies:
        words.pop(0)
    while words and words[-1] in listed.endings:
        words.pop()
    return " ".join(words)


def strays(procedure: Procedure, sentence: str) -> int:
    """How many of its words are beside its meaning; all of them if it has none."""
    return _best(procedure, sentence)[2]


def reply(procedure: Procedure, sentence: str) -> Meaning | Unclear:
    """The reply that a whole utterance is, with nothing but hesitation before it.

    A question confirms nothing.
    """
    words, listed = list(_said_once(sentence.split())), procedure.common.words
    while len(words) > 1 and words[0] in listed.hesitations:
        words.pop(0)
    courtesies = listed.courtesies
    kinds = [FILLER if word in courtesies else STRAY for word in words]
    found = matches(replies(procedure), words, kinds)
    ways = [match for match in found.values() if match.whole[0] == 0]
    whole = [match.meaning for match in ways]
    asks = whole == [Confirm()] and _asking(procedure, words) is not None
    unsure = asks or any(match.begin for match in ways)
    return cast("Meaning", whole[0]) if len(whole) == 1 and not unsure else Unclear()


def parts(procedure: Procedure, sentence: str) -> tuple[str, ...]:
    """The sentence, or the two in it if "and" joins two that both mean something."""
    words = sentence.split()
    whole, left_over, _ = _best(procedure, sentence)
    if not isinstance(whole, Unclear) and left_over == 0:
        return (sentence,)
    for place, word in enumerate(words):
        if word in _JOINING and 0 < place < len(words) - 1:
            halves = " ".join(words[:place]), " ".join(words[place + 1 :])
            each = [_best(procedure, half) for half in halves]
            if all(not isinstance(m, Unclear) and beside == 0 for m, _, beside in each):
                return halves if each[0][0] != each[1][0] else (halves[0],)
    return (sentence,)


_JOINING = ("and", "then")


def _said_once(words: Sequence[str]) -> Sequence[str]:
    """The words without what only says the same again: "emergency emergency"."""
    whole = len(words)
    for length in range(1, whole // 2 + 1):
        if whole % length == 0 and list(words) == list(words[:length]) * (whole // length):
            return words[:length]
    return words


@lru_cache(maxsize=4096)
def _best(procedure: Procedure, sentence: str) -> tuple[Meaning | Unclear, int, int]:
    """The meaning, how many words it leaves over, and how many of these are strays."""
    words = [_stem(procedure, word) for word in _said_once(sentence.split())]
    kinds = _kinds(procedure, words)
    found = matches(statements(procedure), words, kinds)
    ranked = [
        ((sum(match.whole), _rank(procedure, match.meaning), match.whole[0]), command, match)
        for match in found.values()
        if (command := _taken(procedure, match, kinds, words)) is not None
    ]
    if not ranked:
        return Unclear(), len(words), len(words)
    best, command, match = min(ranked, key=lambda each: each[0])
    if len({each for rank, each, _ in ranked if rank == best}) > 1:
        return Unclear(), len(words), len(words)
    return command, best[0], match.whole[0]


def _rank(procedure: Procedure, meant: Hashable) -> int:
    """Of two meanings that explain a sentence alike, the lower rank is taken: the safer one."""
    match meant:
        case Withdraw():
            return 0
        case Answer() as stated if not _satisfies(procedure, stated):
            return 1
        case Unsettle():
            return 2
        case ReportEvent() | DeclareEmergency() | CallHelp():
            return 3
        case NameDifficulty() | BailOut():
            return 4
        case _:
            return 5


def _taken(
    procedure: Procedure, match: Match, kinds: Sequence[int], words: Sequence[str]
) -> Meaning | None:
    """What a match comes to, with its denials and doubts; None for nothing."""
    meant, (strays, denials, _) = cast("Meaning", match.meaning), match.inner
    if isinstance(meant, Answer) and _satisfies(procedure, meant):
        item = procedure.item(meant.item)
        if match.whole[1] or match.whole[2] or _asking(procedure, words) is not None:
            return Unsettle(item=item.id, denied=match.whole[1] > 0)
        most = 0 if item.kind in _EVERY_WORD else _MOST_STRAYS_OF_ALL
        slight = item.kind in _READ_BACK and _content(words, kinds) < LEAST_CONTENT
        return None if slight or match.whole[0] > most else meant
    if isinstance(meant, Unsettle | Withdraw):
        far = match.whole[0] > _STRAYS
        denied = any(word in procedure.common.words.denials for word in words)
        settled = Unsettle(item=meant.item, denied=denied)
        return None if far else settled if isinstance(meant, Unsettle) else meant
    told_of = isinstance(meant, Answer | NameDifficulty | ReportEvent)
    if match.whole[0] > _MOST_STRAYS_OF_ALL:
        return None
    if told_of and match.whole[0] >= _STRAYS and match.whole[2]:
        return None
    near = (*_nearest(reversed(kinds[: match.begin])), *_nearest(kinds[match.end + 1 :]))
    return None if denials or DENIAL in near or strays > _MOST_STRAYS else meant


def _content(words: Sequence[str], kinds: Sequence[int]) -> int:
    """How many letters there are in the words that are no fillers."""
    said = (word for word, kind in zip(words, kinds, strict=True) if kind != FILLER)
    return sum(map(len, said))


def _satisfies(procedure: Procedure, stated: Answer) -> bool:
    return procedure.item(stated.item).answer(stated.answer).satisfies


_EVERY_WORD = frozenset({Kind.CRITERION, Kind.ACT})
"""The kinds of item whose statement counts only if every word was understood."""
_READ_BACK = _EVERY_WORD | {Kind.PAUSE}
"""The kinds whose statement must not be slight."""


def _nearest(kinds: Iterable[int]) -> Sequence[int]:
    return [kind for kind in kinds if kind != FILLER][:_NEAR]


def _kinds(procedure: Procedure, words: Sequence[str]) -> list[int]:
    """What each word counts as where no pattern takes it."""
    single, several = _listed(procedure)
    kinds = [single.get(word, STRAY) for word in words]
    for phrase, kind in several:
        for place in range(len(words) - len(phrase) + 1):
            if tuple(words[place : place + len(phrase)]) == phrase:
                kinds[place : place + len(phrase)] = [kind] * len(phrase)
    if (asking := _asking(procedure, words)) is not None:
        kinds[asking] = HEDGE
    return kinds


def _asking(procedure: Procedure, words: Sequence[str]) -> int | None:
    """The place of the word that makes it a question, if one comes first."""
    listed = procedure.common.words
    begin = next((n for n, word in enumerate(words) if word not in listed.leads), len(words))
    rest = f"{' '.join(words[begin:])} "
    return begin if rest.startswith(tuple(f"{each} " for each in listed.questions)) else None


@lru_cache(maxsize=_KEPT)
def _listed(
    procedure: Procedure,
) -> tuple[Mapping[str, int], Sequence[tuple[tuple[str, ...], int]]]:
    """What each listed word counts as, and each listed phrase, where a later one decides."""
    listed = procedure.common.words
    single: dict[str, int] = {}
    several: list[tuple[tuple[str, ...], int]] = []
    kinds = (HEDGE, listed.hedges), (DENIAL, listed.denials), (FILLER, listed.fillers)
    for kind, phrases in kinds:
        for words in (tuple(phrase.split()) for phrase in phrases):
            if len(words) > 1:
                several.append((words, kind))  # "oh no" denies nothing
            elif kind != FILLER:
                single[words[0]] = kind
            else:
                single.setdefault(words[0], kind)
    return single, several


@lru_cache(maxsize=_KEPT)
def statements(procedure: Procedure) -> Automaton:
    """All that may follow the address word; raises PatternError."""
    automaton = Automaton({**procedure.common.pieces, **procedure.file.pieces})
    for pattern, command in _patterns(procedure):
        automaton.add(pattern, command)
    return automaton


def prepare(procedure: Procedure) -> None:
    """Make now what the first sentences would wait for: a second."""
    statements(procedure).prepare()


@lru_cache(maxsize=_KEPT)
def replies(procedure: Procedure) -> Automaton:
    """All that answers a read-back; raises PatternError."""
    automaton = Automaton({**procedure.common.pieces, **procedure.file.pieces})
    for key, command in _REPLIES.items():
        shown = getattr(procedure.common.reply, key.removeprefix("reply."))
        for pattern in (*shown, *procedure.common.heard.get(key, ())):
            automaton.add(pattern, command)
    return automaton


def _stem(procedure: Procedure, word: str) -> str:
    """The word without "'s", unless a pattern has it with it: "artery's clipped"."""
    stem, known = word.removesuffix("'s"), _known(procedure)
    return stem if stem in known and word not in known else word


@lru_cache(maxsize=_KEPT)
def _known(procedure: Procedure) -> frozenset[str]:
    """Every word that may be heard; raises PatternError."""
    listed = procedure.common.words
    return statements(procedure).words | replies(procedure).words | _words(*astuple(listed))


@lru_cache(maxsize=_KEPT)
def vocabulary(procedure: Procedure) -> Vocabulary:
    """Every word that may be heard, and every reply; raises PatternError."""
    stated, replied, listed = statements(procedure), replies(procedure), procedure.common.words
    return Vocabulary(
        words=_known(procedure),
        asides=_words(listed.fillers, listed.denials, listed.hedges, listed.questions),
        ends=stated.last | _words(listed.endings),
        beside=stated.beside,
        leads=_words(listed.leads),
        endings=_words(listed.endings),
        courtesies=_words(listed.courtesies),
        reply_first=replied.begins,
        reply_last=replied.last,
        reply_pairs=frozenset(pair for each in replied.beside for pair in product(*each)),
    )


def signature(procedure: Procedure) -> str:
    """How many patterns there are, and a digest of them and of the words beside them."""
    listed = sorted((pattern, repr(command)) for pattern, command in _patterns(procedure))
    told = json.dumps([listed, *map(encode, _beside(procedure))], sort_keys=True)
    return f"{len(listed)} wordings, sha256 {hashlib.sha256(told.encode()).hexdigest()[:16]}"


def _beside(procedure: Procedure) -> tuple[object, ...]:
    common = procedure.common
    replied = {key: common.heard.get(key, ()) for key in _REPLIES}
    return common.words, common.pieces, procedure.file.pieces, replied


def _words(*lists: Iterable[str]) -> frozenset[str]:
    return frozenset(word for each in lists for phrase in each for word in phrase.split())


def _patterns(procedure: Procedure) -> Iterator[tuple[str, Meaning]]:
    for key, (shown, command) in _sayable(procedure).items():
        heard = (*procedure.file.heard.get(key, ()), *procedure.common.heard.get(key, ()))
        yield from ((pattern, command) for pattern in (*shown, *heard))


def keys(procedure: Procedure) -> frozenset[str]:
    """All that may have other wordings, as [heard] names it."""
    return frozenset((*_sayable(procedure), *_REPLIES))


def _sayable(procedure: Procedure) -> dict[str, tuple[tuple[str, ...], Meaning]]:
    """What may be said after the address word: its key, its shown phrases and its command."""
    file, control = procedure.file, procedure.common.control
    table: dict[str, tuple[tuple[str, ...], Meaning]] = {
        f"control.{key}": (getattr(control, key), command) for key, command in _CONTROLS.items()
    }
    for item in procedure.items:
        table[f"withdraw.{item.id}"] = (item.withdraw,), Withdraw(item=item.id)
        table[f"unsettled.{item.id}"] = (), Unsettle(item=item.id, denied=False)
        for words in item.answers:
            stated = Answer(item=item.id, answer=words.id)
            table[f"{item.id}.{words.id}"] = words.phrases, stated
    for name, remark in file.events.items():
        table[f"event.{name}"] = remark.phrases, ReportEvent(event=name)
    for name, remark in file.cautions.items():
        table[f"caution.{name}"] = remark.phrases, NameDifficulty(caution=name)
    for name, remark in file.bail_outs.items():
        table[f"bail_out.{name}"] = remark.phrases, BailOut(way=name)
    return table


_REPLIES: dict[str, Meaning] = {"reply.confirm": Confirm(), "reply.negative": Negative()}
_CONTROLS: dict[str, Meaning] = {
    "say_again": SayAgain(),
    "outstanding": AskOutstanding(),
    "stand_by": StandBy(),
    "carry_on": CarryOn(),
    "help": CallHelp(),
    "emergency": DeclareEmergency(),
    "close": CloseRecord(),
}
