"""All statements as one automaton, in which states that go on alike are one."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from voicecheck.core.sayable import Sayable

from .understanding import statements

if TYPE_CHECKING:
    from collections.abc import Hashable

    from voicecheck.core.inputs import Meaning
    from voicecheck.core.procedure import Procedure

    from .automaton import Following


def sayable(procedure: Procedure) -> Sayable:
    """Return every wording that may follow the address word; raises PatternError."""
    automaton = statements(procedure)
    automaton.prepare()
    merged: dict[tuple[frozenset[str], Hashable, frozenset[int]], int] = {}
    meanings: list[Hashable] = []
    became: dict[int, int] = {}
    shared: dict[Following, frozenset[int]] = {}
    for state in reversed(range(len(automaton.labels))):  # what follows a state was made after it
        for following in automaton.follow[state]:
            if following not in shared:
                shared[following] = frozenset(became[each] for each in following.states)
        after = frozenset().union(*(shared[each] for each in automaton.follow[state]))
        end = automaton.ends.get(state)
        key = automaton.labels[state], end, after
        if key not in merged:
            merged[key] = len(merged)
            meanings.append(meanings[min(after)] if end is None else end)
        became[state] = merged[key]
    begins = (state for word in automaton.begins for state in automaton.first(word))
    return Sayable(
        words=[tuple(sorted(words)) for words, _, _ in merged],
        after=[after for _, _, after in merged],
        meanings=cast("list[Meaning]", meanings),
        begins=frozenset(became[state] for state in begins),
        ends=frozenset(new for (_, end, _), new in merged.items() if end is not None),
    )
