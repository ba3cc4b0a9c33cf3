"""Cases under random inputs that lead on: all that the machine ever says, and when it says it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from random import Random

from stories import COMMON_TEXT, SHIPPED_TEXT, Story, opened

from voicecheck.core.case import Case
from voicecheck.core.conduct import CURRENT
from voicecheck.core.facts import Record
from voicecheck.core.inputs import Answer, Due, Restarted, Said, Trouble
from voicecheck.core.procedure import Procedure
from voicecheck.core.state import ASIDE, Mode

SCAFFOLD_TEXT = (Path(__file__).parent / "procedures" / "scaffold.toml").read_text(encoding="utf-8")
"""A procedure of another trade."""


@cache
def scaffold() -> Procedure:
    """The same, with all wordings of a reply."""
    return CURRENT.parse(SCAFFOLD_TEXT, COMMON_TEXT)


class Prompts:
    """One case under random inputs, and all that the machine says in it."""

    def __init__(self, wording: str, seed: int, text: str = SHIPPED_TEXT) -> None:
        self.chance = Random(seed)  # noqa: S311  # no secret
        self.story = Story()
        first = self.story.records[0]
        fact = replace(opened(text, COMMON_TEXT), wording=wording, as_shipped=seed % 4 > 0)
        self.story.records[0] = replace(first, fact=fact)
        self.story.case.close()
        self.story.case = Case(self.story.records[0])
        self.phrases = CURRENT.phrases(self.story.case.procedure)
        self.answers = {p: each for p, each in self.phrases.items() if isinstance(each, Answer)}

    def live(self) -> Iterator[tuple[Record, str]]:
        """Give inputs until the record is closed or there are enough."""
        case = self.story.case
        yield case.last, CURRENT.spoken(case, case.last)
        for _ in range(120):
            if case.state.mode is Mode.CLOSED:
                break
            self._step()
            yield case.last, CURRENT.spoken(case, case.last)
        case.close()

    def _step(self) -> None:
        kind = self.chance.random()
        over = self.chance.random() < 0.5
        if kind < 0.08 and self.story.case.wakes_us is not None:
            now_us = self.story.records[-1].at.mono_us
            left_us = max(0, self.story.case.wakes_us - now_us)
            self.story.give(Due(), after_us=left_us)
        elif kind < 0.11:
            part = self.chance.choice(("microphone", "recogniser", "voice", "display", "clock"))
            self.story.give(Trouble(part=part, message="x", over=over))
        elif kind < 0.13:
            self.story.give(Restarted(gap_s=self.chance.choice((-1.0, 2.0, 70.0, 5_400.0))))
        elif kind < 0.15:
            said = CURRENT.ask(self.story.case)
            self.story.give(Said(text=said, audio_from_s=0.0, audio_to_s=1.0))
        else:
            self.story.say(self._phrase())

    def _phrase(self) -> str:
        case, kind = self.story.case, self.chance.random()
        if kind < 0.45 and case.state.pending is not None:
            return "confirm"
        if kind < 0.5 and case.state.mode in (*ASIDE, Mode.STANDING_BY):
            return CURRENT.carry_on(case)
        left = case.outstanding()
        if kind < 0.75 and left:
            return self.chance.choice(
                [p for p, each in self.answers.items() if each.item == left[0]]
            )
        return self.chance.choice(list(self.phrases) if kind < 0.9 else list(self._beside()))

    def _beside(self) -> Iterator[str]:
        """What is no phrase: the address word alone, talk, and statements denied or doubted."""
        address = self.story.case.procedure.common.listening.address
        yield from (address, f"{address} the weather is nice", "[unk]")
        for word in ("not", "maybe"):
            yield from (f"{address} {word} {p.removeprefix(address)}" for p in self.answers)


def said_in_cases(text: str = SHIPPED_TEXT, cases: int = 30) -> Iterator[tuple[Story, Record, str]]:
    """What is said in many cases, in both wordings; the story ends with the record then told."""
    for wording in ("full", "brief"):
        for seed in range(cases):
            prompts = Prompts(wording, seed, text)
            yield from ((prompts.story, record, said) for record, said in prompts.live())
