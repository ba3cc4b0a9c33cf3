"""Walk every reachable state by every input, on the real decision and the real rules.

`claims` says what must hold of each step, in terms of the procedure file alone: nothing here asks
the rules what the rules allow. Millions of steps are taken by the conduct's functions on bare
states, without Case.step and its machine; test_rules.py proves that the two agree in every state.
"""

from __future__ import annotations

import gc
import os
from collections import Counter
from collections.abc import Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass, field
from functools import cached_property
from multiprocessing import get_context

from stories import moment

from voicecheck.core import facts
from voicecheck.core.case import Case
from voicecheck.core.conduct_2.decide import _with_lapses, decide
from voicecheck.core.conduct_2.grammar import phrases
from voicecheck.core.conduct_2.procedure_file import parse
from voicecheck.core.conduct_2.rules import next_state, refusal
from voicecheck.core.conduct_2.standing import start
from voicecheck.core.facts import At, Fact
from voicecheck.core.inputs import (
    UNKNOWN,
    Answer,
    BailOut,
    CallHelp,
    CloseRecord,
    Command,
    Confirm,
    DeclareEmergency,
    Due,
    Entered,
    Heard,
    Input,
    Meaning,
    NameDifficulty,
    ReportEvent,
    Restarted,
    Said,
    Trouble,
    Unsettle,
    Withdraw,
)
from voicecheck.core.procedure import Item, Kind, Procedure
from voicecheck.core.state import Mode, NothingDue, Refusal, State

NOW, LATE, AGED = moment(0), moment(1), moment(7_200_000_001)
COURSE = (Mode.IN_COURSE, Mode.PAUSING)
ASIDE = (Mode.BAILED_OUT, Mode.EMERGENCY)
NO_COMMAND: tuple[Input, ...] = (
    Entered(text="anything else"),
    Heard(text=UNKNOWN, confidence=0.5, audio_from_s=0.0, audio_to_s=1.0),
    Said(text="anything", audio_from_s=0.0, audio_to_s=1.0),
    Trouble(part="microphone", message="unplugged"),
    Trouble(part="microphone", message="back", over=True),
)


def gaps_s(procedure: Procedure) -> tuple[float, float, float]:
    """How long nobody listened: just short enough to go on, too long, and unknown."""
    return procedure.head.restate_after_s, procedure.head.restate_after_s + 1, -0.001


def unsettling(procedure: Procedure) -> dict[str, Unsettle]:
    """Each statement that satisfies, denied and doubted."""
    address = procedure.common.listening.address
    return {
        f"{address} {word} {words.phrases[0]}": Unsettle(item=item.id, denied=denied)
        for item in procedure.items
        for words in item.answers
        if words.satisfies
        for word, denied in (("not", True), ("maybe", False))
    }


@dataclass(frozen=True)
class LongAfter:
    """Nothing was said for longer than any statement is good for."""


Meant = Meaning | Input | LongAfter


class Moment(Case):
    """A case in one state, without the facts that led there: all that `decide` may read of it.

    What it waits for is due at LATE, not yet NOW; test_case.py has the proof that a real case waits
    in the same states. All that stands was stated NOW, and is too old when AGED.
    """

    def __init__(self, procedure: Procedure, state: State) -> None:
        self.procedure = procedure
        self.state = state
        waits = state.pending is not None or state.mode is Mode.PAUSING
        self.due_us = LATE.mono_us if waits else None
        self.asked_line = 2
        self.attends_from_us = -1
        self.last_taken = None
        self.stated_at = {item.id: NOW for item in procedure.items}

    def why_not(self, fact: Fact) -> Refusal | None:
        """By the real rules."""
        return refusal(self.procedure, self.state, fact)


@dataclass(kw_only=True)
class Walk:
    """What a walk has seen."""

    states: int = 0
    transitions: int = 0
    facts: Counter[str] = field(default_factory=Counter)
    stated: set[Answer] = field(default_factory=set)
    modes: set[Mode] = field(default_factory=set)
    broken: dict[str, str] = field(default_factory=dict)
    """Claim that does not hold → the first step that breaks it."""

    def add(self, other: Walk) -> None:
        """Take in what another walk has seen."""
        self.states += other.states
        self.transitions += other.transitions
        self.facts += other.facts
        self.stated |= other.stated
        self.modes |= other.modes
        self.broken = other.broken | self.broken


class Walker:
    """Takes steps from states of one procedure."""

    def __init__(self, procedure: Procedure) -> None:
        self.procedure = procedure
        spoken: dict[Command, str] = {}
        for phrase, command in phrases(procedure).items():
            spoken.setdefault(command, phrase)
        one_of_each = {type(command): command for command in spoken}
        self.inputs: list[tuple[Input, At, Meant]] = [
            *((Entered(text=phrase), NOW, command) for command, phrase in spoken.items()),
            *((Entered(text=text), NOW, meant) for text, meant in unsettling(procedure).items()),
            (Entered(text=procedure.common.listening.address), NOW, Due()),
            *((given, NOW, given) for given in NO_COMMAND),
            *((Restarted(gap_s=gap_s), NOW, Restarted(gap_s=gap_s)) for gap_s in gaps_s(procedure)),
            (Due(), LATE, Due()),
            (Entered(text=spoken[Confirm()]), LATE, Due()),
            (Due(), AGED, LongAfter()),
            (Entered(text=spoken[Confirm()]), AGED, Due()),
            (Entered(text=spoken[Confirm()], line=1), NOW, Due()),
            *((_over(spoken[each]), NOW, _meant_over(each)) for each in one_of_each.values()),
        ]
        """What is given, when, and what it may do: a confirm that comes late, no more than Due."""
        self.claims = Claims(procedure)
        self.forgeries = tuple(_every_fact(procedure))

    def steps(self, states: Iterable[State], walk: Walk) -> Iterator[State]:
        """Give every input to each state; yields each state that follows, also known ones."""
        for state in states:
            walk.states += 1
            walk.modes.add(state.mode)
            self._note(walk, self.claims.of_state(state), state, None, None)
            if state.mode is not Mode.CLOSED:
                yield from self._from(state, walk)

    def _from(self, state: State, walk: Walk) -> Iterator[State]:
        here = Moment(self.procedure, state)
        for given, at, command in self.inputs:
            try:
                fact = decide(here, given, at)
            except NothingDue:
                if here.due_us is not None:
                    self._note(walk, ["what is due is always answered"], state, given, None)
                continue
            walk.transitions += 1
            if refusal(self.procedure, state, fact) is not None:
                self._note(walk, ["every decided fact is allowed"], state, given, fact)
                continue
            then = next_state(self.procedure, state, fact)
            walk.facts[type(fact).__name__] += 1
            if isinstance(fact, facts.Stated):
                walk.stated.add(Answer(item=fact.item, answer=fact.answer))
            self._note(walk, self.claims.of_step(state, command, fact, then), state, given, fact)
            if then is not state:
                yield then

    def forged_steps(self, states: Iterable[State], walk: Walk) -> Iterator[State]:
        """Let every fact happen that the rules alone allow, whatever was said."""
        for state in states:
            walk.states += 1
            self._note(walk, self.claims.of_state(state), state, None, None)
            here = Moment(self.procedure, state)
            for fact in self.forgeries:
                if refusal(self.procedure, state, fact) is None:
                    yield self._forged(state, _with_lapses(here, fact), walk)

    def _forged(self, state: State, fact: Fact, walk: Walk) -> State:
        walk.transitions += 1
        then = next_state(self.procedure, state, fact)
        if state.mode is Mode.CLOSED:
            self._note(walk, ["a closed record takes no more facts"], state, None, fact)
        excuse = self.claims.best_excuse(fact)
        self._note(walk, self.claims.of_step(state, excuse, fact, then), state, None, fact)
        return then

    def _note(
        self,
        walk: Walk,
        broken: Iterable[str],
        state: State,
        given: Input | None,
        fact: Fact | None,
    ) -> None:
        for claim in broken:
            walk.broken.setdefault(claim, f"{state} × {given} → {fact}")


class Claims:
    """What must hold, from the procedure's own data."""

    def __init__(self, procedure: Procedure) -> None:
        self.procedure = procedure
        self.items = procedure.items
        self.place = {item.id: place for place, item in enumerate(self.items)}
        self.criteria = self._places(Kind.CRITERION)
        self.acts = self._places(Kind.ACT)
        (self.pause,) = self._places(Kind.PAUSE)
        self.before_pause = self._gate("pause")
        self.before_acts = self._gate("act")
        self.open_gate = {**self.before_acts, **self.before_pause}

    def _places(self, kind: Kind) -> tuple[int, ...]:
        return tuple(place for place, item in enumerate(self.items) if item.kind is kind)

    def _gate(self, kind: str) -> dict[str, tuple[int, ...]]:
        """Item → places of every criterion and of all that is required in an earlier phase."""
        gates: dict[str, tuple[int, ...]] = {}
        earlier: list[int] = []
        for phase in self.procedure.phases:
            for item in phase.items:
                if item.kind == kind:
                    gates[item.id] = tuple(sorted({*earlier, *self.criteria}))
            earlier += [self.place[item.id] for item in phase.items if item.required]
        return gates

    @cached_property
    def good(self) -> tuple[frozenset[str], ...]:
        """For each item the answers that satisfy it."""
        return tuple(frozenset(a.id for a in item.answers if a.satisfies) for item in self.items)

    def all_satisfied(self, standing: tuple[str, ...], places: Iterable[int]) -> bool:
        """Whether each of these items stands with an answer that satisfies it."""
        return all(standing[place] in self.good[place] for place in places)

    def is_critical(self, item: Item, answer: str) -> bool:
        """Criterion, pause or act, stated in the direction that opens the gate."""
        critical = item.kind in (Kind.CRITERION, Kind.PAUSE, Kind.ACT)
        return critical and answer in self.good[self.place[item.id]]

    def of_state(self, state: State) -> Iterator[str]:
        """The claims that this state breaks."""
        pause = self.items[self.pause].id
        before = self.all_satisfied(state.standing, self.before_pause[pause])
        if not before and (state.standing[self.pause] or state.mode is Mode.PAUSING):
            yield "a pause stands or runs only while all before it stands satisfied"
        if isinstance(state.pending, Answer):
            item = self.items[self.place[state.pending.item]]
            gate = self.open_gate.get(item.id, ())
            if not self.is_critical(item, state.pending.answer) or state.mode not in COURSE:
                yield "only a critical statement in the course waits for its confirm"
            if not self.all_satisfied(state.standing, gate):
                yield "no act or pause waits for its confirm while the gate is closed"
        if state.mode in ASIDE and any(state.standing[place] for place in self.criteria):
            yield "outside the standard course no criterion stands"

    def of_step(self, state: State, command: Meant, fact: Fact, then: State) -> Iterator[str]:
        """The claims that this step breaks; `command` is what was meant by what was said."""
        yield from self._of_fact(state, command, fact, then)
        yield from self._of_command(state, command, fact, then)
        yield from self._of_what_fell_and_rose(state, fact, then)
        if state.mode not in COURSE and then.mode in COURSE and not isinstance(fact, facts.Resumed):
            yield "only carrying on leads back to the standard course"

    def _of_fact(  # noqa: C901, PLR0912 - a line or two a fact
        self, state: State, command: Meant, fact: Fact, then: State
    ) -> Iterator[str]:
        match fact:
            case facts.Refused() | facts.NotUnderstood():
                if then != state:
                    yield "what is refused or not understood changes nothing"
            case facts.Stated():
                yield from self._stated(state, command, fact, then)
            case facts.Noted():
                if state.mode not in ASIDE:
                    yield "a statement is merely noted only outside the standard course"
            case facts.PauseBegun():
                if then.mode is not Mode.PAUSING or state.mode is Mode.STANDING_BY:
                    yield "a pause that has begun runs"
            case facts.Retracted() | facts.Lapsed():
                if state.pending is None:
                    yield "only what waits is retracted or lapses"
            case facts.Withdrawn(item=item):
                if not state.standing[self.place[item]]:
                    yield "only what stands is withdrawn"
            case facts.Closed():
                if not (isinstance(command, Confirm) and state.pending == CloseRecord()):
                    yield "the record is closed only by a confirm"

    def _of_command(  # noqa: C901 - a line or two a command
        self, state: State, command: Meant, fact: Fact, then: State
    ) -> Iterator[str]:
        match command:
            case DeclareEmergency():
                if not isinstance(fact, facts.Overridden) or then.mode is not Mode.EMERGENCY:
                    yield "an emergency is accepted in every open state"
            case BailOut():
                if not isinstance(fact, facts.BailedOut) or then.mode is not Mode.BAILED_OUT:
                    yield "a bail-out is accepted in every open state"
            case ReportEvent(event=event):
                yield from self._happened(event, fact, then)
            case Withdraw(item=item):
                yield from self._withdrawn(state, item, fact, then)
            case Unsettle(item=item, denied=denied):
                yield from self._unsettled(state, item, denied=denied, then=then)
            case CallHelp():
                yield from self._doubted(frozenset({Kind.PAUSE}), fact, then)
            case NameDifficulty(caution=caution):
                lapses = self.procedure.file.cautions[caution].lapses
                yield from self._doubted(frozenset(lapses), fact, then)
            case LongAfter():
                yield from self._aged(then)
            case Restarted(gap_s=gap_s):
                yield from self._taken_up_again(gap_s, fact, then)

    def best_excuse(self, fact: Fact) -> Command | Input:
        """What should have been said for the fact to be in order; the weakest word otherwise."""
        match fact:
            case facts.Stated(item=item, answer=answer):
                if not self.is_critical(self.items[self.place[item]], answer):
                    return Answer(item=item, answer=answer)
        return Confirm()

    def _stated(
        self, state: State, command: Meant, fact: facts.Stated, then: State
    ) -> Iterator[str]:
        item = self.items[self.place[fact.item]]
        said = Answer(item=fact.item, answer=fact.answer)
        if not self.all_satisfied(state.standing, self.open_gate.get(item.id, ())):
            yield "an act or a pause is stated only while all before it stands satisfied"
        if self.is_critical(item, fact.answer):
            if not (isinstance(command, Confirm) and state.pending == said):
                yield "a critical statement is stated only by the confirm of its read-back"
        elif command != said:
            yield "nothing is stated that was not said"
        if not self.all_satisfied(state.standing, (self.place[other] for other in item.after)):
            yield "nothing is stated before what it comes after"
        if state.mode not in COURSE:
            yield "only the standard course makes a statement stand"
        if then.standing[self.place[fact.item]] != fact.answer:
            yield "what is stated stands"

    def _happened(self, event: str, fact: Fact, then: State) -> Iterator[str]:
        if not isinstance(fact, facts.Occurred):
            yield "an event is accepted in every open state"
        kinds = self.procedure.file.events[event].lapses
        stand = zip(self.items, then.standing, strict=True)
        if any(answer and item.kind in kinds for item, answer in stand):
            yield "an event lapses what the file says"

    def _doubted(self, kinds: frozenset[Kind], fact: Fact, then: State) -> Iterator[str]:
        if not isinstance(fact, facts.HelpCalled | facts.Cautioned):
            yield "help and cautions are given in every open state"
        stand = zip(self.items, then.standing, strict=True)
        if any(answer and item.kind in kinds for item, answer in stand):
            yield "a call for help lapses the pause, a caution what the file says"

    def _aged(self, then: State) -> Iterator[str]:
        old = any(then.standing[place] for place in (*self.criteria, self.pause))
        if old and not self.all_satisfied(then.standing, self.acts):
            yield "criteria and pause stand for long only once every act stands"

    def _taken_up_again(self, gap_s: float, fact: Fact, then: State) -> Iterator[str]:
        if not isinstance(fact, facts.Reopened) or then.pending or then.mode is Mode.PAUSING:
            yield "a restart is recorded in every open state, and drops what waited"
        too_long = not 0 <= gap_s <= self.procedure.head.restate_after_s
        if too_long and any(then.standing[place] for place in (*self.criteria, self.pause)):
            yield "after a long gap the criteria and the pause are stated again"

    def _withdrawn(self, state: State, item: str, fact: Fact, then: State) -> Iterator[str]:
        refused = isinstance(fact, facts.Refused)
        if not refused and then.standing[self.place[item]]:
            yield "what is withdrawn does not stand"
        waits = isinstance(state.pending, Answer) and state.pending.item == item
        if refused and (state.standing[self.place[item]] or waits) and state.mode in COURSE:
            yield "what stands or waits can be withdrawn in the course"

    def _unsettled(self, state: State, item: str, *, denied: bool, then: State) -> Iterator[str]:
        waits = isinstance(then.pending, Answer) and then.pending.item == item
        stands = self.all_satisfied(then.standing, [self.place[item]])
        if denied and state.mode in COURSE and (stands or waits):
            yield "what is denied in the course neither stands satisfied nor waits"
        if not denied and then != state:
            yield "what is only doubted, asked or announced changes nothing"

    def _of_what_fell_and_rose(self, state: State, fact: Fact, then: State) -> Iterator[str]:
        if then.standing == state.standing:
            if getattr(fact, "lapsed", ()):
                yield "what lapsed is named, and nothing else"
            return
        named = getattr(fact, "item", "")
        fell, rose = set(), set()
        for item, was, now in zip(self.items, state.standing, then.standing, strict=True):
            if was and not now and item.id != named:
                fell.add(item.id)
            if now and now != was:
                rose.add(item.id)
        if fell != set(getattr(fact, "lapsed", ())):
            yield "what lapsed is named, and nothing else"
        if rose - {named} or (rose and not isinstance(fact, facts.Stated)):
            yield "only a statement makes its own item stand"
        if not isinstance(fact, facts.Withdrawn) and any(
            state.standing[place] and not then.standing[place] for place in self.acts
        ):
            yield "an act done stays done until it is withdrawn"


_AGE = (Kind.CRITERION, Kind.PAUSE)


def _over(phrase: str) -> Heard:
    return Heard(text=phrase, confidence=0.99, audio_from_s=0.0, audio_to_s=1.0, over=True)


def _meant_over(command: Command) -> Command | Due:
    """What a phrase may do that was said while the machine spoke: mostly no more than Due."""
    return command if isinstance(command, DeclareEmergency | BailOut) else Due()


def _every_fact(procedure: Procedure) -> Iterator[Fact]:
    """Every fact that can change a state, with every word of the procedure in it."""
    for item in procedure.items:
        for words in item.answers:
            for said in (facts.Proposed, facts.Stated, facts.Noted):
                yield said(item=item.id, answer=words.id)
        for named in (facts.Retracted, facts.Lapsed, facts.Withdrawn, facts.PauseBegun):
            yield named(item=item.id)
    yield from (facts.Occurred(event=event) for event in procedure.file.events)
    yield from (facts.BailedOut(way=way) for way in procedure.file.bail_outs)
    yield from (facts.Reopened(gap_s=gap_s) for gap_s in gaps_s(procedure))
    yield from (facts.Cautioned(caution=caution) for caution in procedure.file.cautions)
    yield facts.Expired(lapsed=tuple(item.id for item in procedure.items if item.kind in _AGE))
    yield facts.HelpCalled()
    yield from (facts.Retracted(item=""), facts.Lapsed(item=""), facts.Overridden())
    yield from (facts.StoodBy(), facts.Resumed(), facts.CloseProposed())
    yield from (
        facts.Closed(outstanding=()),
        facts.Refused(why=facts.Why.NOT_NOW),
        facts.NotUnderstood(why=facts.Doubt.UNSURE),
    )


# ------------------------------------------------------------------------------ one or many cores


def explore(procedure: Procedure, *, forged: bool = False) -> Walk:
    """Walk all of a small procedure in this process, by every input or by every allowed fact."""
    walker, walk = Walker(procedure), Walk()
    step = walker.forged_steps if forged else walker.steps
    seen = {start(procedure)}
    todo = list(seen)
    while todo:
        for state in step([todo.pop()], walk):
            if state not in seen:
                seen.add(state)
                todo.append(state)
    return walk


def explore_on_all_cores(text: str, common: str) -> Walk:
    """Walk all of a large procedure: this process keeps the states, the others take the steps."""
    first = start(parse(text, common))
    walk, seen, todo = Walk(), {first}, [first]
    workers = os.cpu_count() or 1
    running: set[Future[tuple[Walk, list[State]]]] = set()
    with ProcessPoolExecutor(
        workers, mp_context=get_context("spawn"), initializer=_begin, initargs=(text, common)
    ) as pool:
        while todo or running:
            while todo and len(running) < 2 * workers:
                running.add(pool.submit(_walked, todo[-_CHUNK:]))
                del todo[-_CHUNK:]
            done, running = wait(running, return_when=FIRST_COMPLETED)
            for part, found in (future.result() for future in done):
                walk.add(part)
                new = [state for state in found if state not in seen]
                seen.update(new)
                todo += new
    return walk


_CHUNK = 2000
_walker: Walker
_sent: set[State] = set()
"""What this process has already reported; the same state is seen from many others."""


def _begin(text: str, common: str) -> None:
    global _walker  # noqa: PLW0603 - the only way a pool's process remembers
    os.nice(10)  # whatever runs in real time beside it comes first
    gc.disable()  # nothing here refers to itself, and looking for what does costs a sixth
    _walker = Walker(parse(text, common))


def _walked(states: list[State]) -> tuple[Walk, list[State]]:
    walk, found = Walk(), []
    for state in _walker.steps(states, walk):
        if state not in _sent:
            _sent.add(state)
            found.append(state)
    return walk, found
