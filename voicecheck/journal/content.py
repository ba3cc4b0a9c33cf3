"""What the bytes of a log file are: whole lines, and at the end perhaps what is none.

A line is a JSON object on one line. So it holds no newline and no zero byte, and one that was cut
off anywhere is none (RFC 8259).
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import IO

LONGEST = 1 << 20
"""Bytes of the longest line, as long as fifty openings. Common practice, no source."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Content:
    """What a log file holds."""

    lines: tuple[bytes, ...]
    """Whole lines, without their newline. In the file, the last one's newline may be missing."""
    torn: bytes
    """What follows them and is no line: at most LONGEST + 1 bytes of it; see `fault`."""


def fault(torn: bytes) -> str:
    """Say what is wrong with the torn end of a log: a clause about its last line."""
    if len(torn) > LONGEST:
        return f"it is longer than {LONGEST} bytes, as no line is; nothing after it was read"
    if zeros := torn.count(0):
        return f"{zeros} of its {len(torn)} bytes are zeros: the disk lost what was written there"
    return f"it was cut off after {len(torn)} bytes, before it was acknowledged"


def content(file: IO[bytes]) -> Content:
    """Read a log from its beginning, up to a line that is too long."""
    lines: list[bytes] = []
    while (line := file.readline(LONGEST + 1)).endswith(b"\n"):
        lines.append(line[:-1])
    return Content(lines=tuple(lines), torn=line) if len(line) > LONGEST else _ended(lines, line)


def _ended(lines: list[bytes], torn: bytes) -> Content:
    """Find where the whole lines end.

    The power can fail when a newline is on the disk and what stands before it is not. Then that is
    zeros.
    """
    if not torn and lines and b"\0" in lines[-1]:
        torn = lines.pop() + b"\n"
    last = torn.rstrip(b"\0")
    if _is_whole(last):
        return Content(lines=(*lines, last), torn=torn[len(last) :])
    return Content(lines=tuple(lines), torn=torn)


def _is_whole(line: bytes) -> bool:
    """Whether a line without its newline is a JSON object."""
    try:
        return line.endswith(b"}") and isinstance(json.loads(line.decode()), dict)
    except (ValueError, RecursionError):
        return False
