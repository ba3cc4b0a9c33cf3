"""Make the golden logs of the present version anew: only before that version is first released.

Run as a program. It takes the invented cases that together hold every kind of fact, and writes
each log with the report that it must give for ever after.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import get_args

from invented import invent

from voicecheck.core import facts
from voicecheck.core.codec import encode
from voicecheck.core.conduct import CURRENT
from voicecheck.review.examine import examine

GOLDEN = Path(__file__).parent / "golden"
KINDS = {kind.__name__ for kind in get_args(facts.Fact)}


def home() -> Path:
    """The folder of the present version's golden logs."""
    return GOLDEN / f"format-{facts.VERSION}-rules-{CURRENT.VERSION}"


def kinds(lines: list[bytes]) -> set[str]:
    """The kinds of fact in a log."""
    return {json.loads(line)["fact"]["type"] for line in lines}


def told(lines: list[bytes]) -> str:
    """The report as text that can be compared line by line."""
    examined = examine(lines)
    assert examined.intact, examined.damage
    return json.dumps(encode(examined.report), indent=1, ensure_ascii=False) + "\n"


def make() -> None:
    """Choose the cases, most new kinds of fact first, and write them."""
    logs = {number: invent(number) for number in range(400)}
    left = set(KINDS)
    home().mkdir(parents=True, exist_ok=True)
    while left:
        number = max(logs, key=lambda number: (len(left & kinds(logs[number])), -len(logs[number])))
        chosen = logs[number]
        assert left & kinds(chosen), f"no invented case holds {left}"
        left -= kinds(chosen)
        log = home() / f"invented-{number}.log"
        log.write_bytes(b"".join(line + b"\n" for line in chosen))
        log.with_suffix(".report.json").write_text(told(chosen), encoding="utf-8")


if __name__ == "__main__":
    make()
