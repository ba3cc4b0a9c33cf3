"""The state diagram of the conduct as Mermaid text, drawn from its table."""

from __future__ import annotations

from collections import defaultdict

from voicecheck.core.conduct import CURRENT
from voicecheck.core.state import Mode


def state_diagram() -> str:
    """One arrow for each pair of modes; a star marks a guarded fact."""
    arrows: dict[tuple[Mode, Mode], list[str]] = defaultdict(list)
    for fact, moves in CURRENT.TABLE.items():
        star = "*" if fact in CURRENT.GUARDS else ""
        for before, then in moves.items():
            arrows[before, then].append(f"{fact.__name__}{star}")
    lines = [
        f"    {before} --> {then}: {', '.join(names)}" for (before, then), names in arrows.items()
    ]
    return "\n".join(
        [
            "stateDiagram-v2",
            f"    [*] --> {Mode.IN_COURSE}: Opened",
            *lines,
            f"    {Mode.CLOSED} --> [*]",
        ]
    )
