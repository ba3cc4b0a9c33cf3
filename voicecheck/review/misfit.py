"""Why a checkpoint does not fit a log: it was mistyped, or it belongs to another log."""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress

from voicecheck.core.chain import GENESIS, Checkpoint, line_hash
from voicecheck.core.replay import BrokenLog, check_chain, check_checkpoint

MISTYPED = 2
"""Up to this many wrong characters pass for a slip. The short code of any other line comes so close
once in 40 million times: (1 + 8 · 31 + 28 · 31²) of 32⁸ codes."""


def misfit(lines: Sequence[bytes], given: Checkpoint) -> str:
    """How the checkpoint differs from an undamaged log, in sentences; "" if it fits."""
    with suppress(BrokenLog):
        check_checkpoint(lines, given)
        return ""
    for number, line in enumerate(lines, 1):
        if line_hash(line).startswith(given.last):
            return (
                f"Line {number}: this line has the hash that the checkpoint gives for line "
                f"{given.length}. The number of lines was probably mistyped"
            )
    if given.length > len(lines):
        return (
            f"Line {len(lines)}: the log ends here, but the checkpoint counts {given.length} "
            "lines. The end was cut off, or that number was mistyped"
        )
    return _another_hash(check_chain(lines[: given.length]), given)


def _another_hash(kept: Checkpoint, given: Checkpoint) -> str:
    here, typed = kept.like(given), given.like(given)
    pairs = enumerate(zip(_hash_of(here), _hash_of(typed), strict=True), 1)
    wrong = [str(place) for place, (ours, theirs) in pairs if ours != theirs]
    slip = ""
    if len(wrong) <= MISTYPED:
        differ = "character {} differs" if len(wrong) == 1 else "characters {} and {} differ"
        slip = f"Probably a slip: only {differ.format(*wrong)}. "
    return (
        f"Line {given.length}: the log has {here} here, but the checkpoint given is {typed}. {slip}"
        "Compare it with the one that was kept. If that is the same, this is another log, or it "
        "was rewritten"
    )


def is_short(checkpoint: Checkpoint) -> bool:
    """Whether it comes from a code, which has only part of the hash."""
    return len(checkpoint.last) < len(GENESIS)


def _hash_of(written: str) -> str:
    """The characters that stand for the hash: "35-BKQ4-FWPG" gives "BKQ4FWPG"."""
    return "".join(re.split("[-:]", written)[1:])
