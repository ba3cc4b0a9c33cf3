"""The rules of a case: those that its opening line names, or the current ones.

A released version of the conduct is a folder (conduct_1, …) that never changes again. So a record
replays years later by the rules under which it was made.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import ModuleType, SimpleNamespace
from typing import Any, Protocol

from voicecheck.core import conduct_1, conduct_2
from voicecheck.core.facts import At, Fact, Record
from voicecheck.core.inputs import Command, Entered, Heard, Input, Meaning, Unclear
from voicecheck.core.procedure import Item, Procedure
from voicecheck.core.sayable import NOTHING, Sayable
from voicecheck.core.state import Mode, Refusal, Situation, State
from voicecheck.core.vocabulary import Vocabulary


class Conduct(Protocol):
    """What each version offers: the names that its package exports."""

    @property
    def VERSION(self) -> int:  # noqa: N802 (a constant of the package)
        """The number in the opening line."""

    @property
    def TABLE(self) -> Mapping[type[Fact], Mapping[Mode, Mode]]:  # noqa: N802
        """Fact -> mode before -> mode after. A mode that is not named refuses the fact."""

    @property
    def GUARDS(self) -> Mapping[type[Fact], Callable[..., Any]]:  # noqa: N802
        """Fact -> its guard, for each fact that not only the mode can refuse."""

    def parse(self, text: str, common_text: str, name: str = ...) -> Procedure:
        """Read a procedure file; raises ProcedureError, which names every mistake."""

    def phrases(self, procedure: Procedure) -> Mapping[str, Command]:
        """Every phrase that is shown, and its command."""

    def interpret(self, procedure: Procedure, text: str) -> Meaning | Unclear:
        """What a whole utterance means, in whatever words."""

    def parts(self, procedure: Procedure, text: str) -> tuple[str, ...]:
        """The utterance, or each statement in it, as an utterance of its own."""

    def strays(self, procedure: Procedure, text: str) -> int:
        """How many words of an utterance are beside its meaning."""

    def vocabulary(self, procedure: Procedure) -> Vocabulary:
        """The words to listen for besides the phrases."""

    def prepare(self, procedure: Procedure) -> None:
        """Make now what the first sentences would otherwise wait for."""

    def sayable(self, procedure: Procedure) -> Sayable:
        """Every wording of every statement."""

    def decide(self, case: Situation, given: Input, at: At) -> Fact:
        """The one fact that an input leads to now; raises NothingDue."""

    def attended(self, case: Situation, given: Heard | Entered, at: At) -> str:
        """The text, with the address word if that was said before and holds for it too."""

    def refusal(self, procedure: Procedure, state: State, fact: Fact) -> Refusal | None:
        """Why the fact may not happen now, or None; KeyError if it names something unknown."""

    def start(self, procedure: Procedure) -> State:
        """The state before anything is stated."""

    def next_state(self, procedure: Procedure, state: State, fact: Fact) -> State:
        """The state after an allowed fact."""

    def next_due_us(
        self, procedure: Procedure, state: State, due_us: int | None, record: Record
    ) -> int | None:
        """When the case stops waiting, after this record; None if it waits for nothing."""

    def expires_us(self, case: Situation) -> int | None:
        """When what was stated expires next, by the monotonic clock; None if nothing does."""

    def shape(self, procedure: Procedure) -> str:
        """What gates what, what is read back, what lapses what: one page of text."""

    def satisfied(self, procedure: Procedure, standing: tuple[str, ...], place: int) -> bool:
        """Whether the item at this place stands with an answer that satisfies it."""

    def outstanding(self, procedure: Procedure, state: State) -> tuple[str, ...]:
        """Required items that do not stand with a satisfying answer, in order."""

    def gate_missing(self, procedure: Procedure, state: State) -> tuple[str, ...]:
        """What keeps the gate closed."""

    def is_critical(self, item: Item) -> bool:
        """Whether a statement of this item is read back before it counts."""

    def least_confidence(self, procedure: Procedure, command: Meaning) -> float:
        """The least confidence, 0 to 1, with which this command counts."""

    def spoken(self, case: Situation, record: Record) -> str:
        """What the machine says once this record is believed; "" for silence."""

    def ask(self, case: Situation) -> str:
        """What is asked now."""

    def read_back(self, case: Situation) -> str:
        """The question that waits for confirm or negative; "" when none does."""

    def carry_on(self, case: Situation) -> str:
        """The phrase that returns to the course."""

    def breaks_in(self, procedure: Procedure, heard: Heard) -> bool:
        """Whether the utterance counts even while the machine speaks (barge-in)."""


def _before(conduct: ModuleType, **added: Callable[..., Any]) -> Any:
    """A conduct that was released before these functions came, with what it did instead."""
    return SimpleNamespace(**{name: getattr(conduct, name) for name in conduct.__all__}, **added)


RELEASED: Mapping[int, Conduct] = {
    1: _before(
        conduct_1,
        expires_us=lambda _case: None,
        shape=lambda _procedure: "",
        interpret=lambda procedure, text: conduct_1.phrases(procedure).get(text) or Unclear(),
        parts=lambda _procedure, text: (text,),
        strays=lambda _procedure, _text: 0,
        vocabulary=lambda _procedure: Vocabulary(),
        prepare=lambda _procedure: None,
        sayable=lambda _procedure: NOTHING,
        attended=lambda _case, given, _at: given.text,
    ),
    2: conduct_2,
}
"""Every version that a record may name. Entries are only ever added."""

CURRENT: Conduct = conduct_2
"""The rules of every new case."""


class UnknownConduct(Exception):
    """A record names rules that this program does not have."""


def conduct_of(version: int) -> Conduct:
    """The rules with this number; raises UnknownConduct."""
    if version not in RELEASED:
        raise UnknownConduct(f"it names rules {version}, which never existed")
    return RELEASED[version]
