"""The hash chain over the exact bytes of the log, and the checkpoint that pins its end.

The hash of a line is SHA-256 (FIPS 180-4) of its bytes without the newline; every line carries
the hash of the line before it. A chain proves that nothing before its last line was changed; only
a checkpoint kept elsewhere proves that the end was not cut off or the whole rewritten.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

GENESIS = "0" * 64
"""What the first line carries in place of a hash."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Checkpoint:
    """How long the log was, and the hash of its last line."""

    length: int
    last: str

    def __str__(self) -> str:
        """Printable and readable back by `parse_checkpoint`: 12:ab34…"""
        return f"{self.length}:{self.last}"


def line_hash(line: bytes) -> str:
    """Hash of one line's bytes, 64 lower-case hexadecimal digits."""
    return hashlib.sha256(line).hexdigest()


def parse_checkpoint(text: str) -> Checkpoint:
    """Read what str(checkpoint) wrote; raises ValueError with a sentence."""
    length, colon, last = text.strip().partition(":")
    if not (colon and length.isdecimal() and len(last) == len(GENESIS) and _is_hex(last)):
        raise ValueError(
            f"{text!r} is no checkpoint: it is written as the number of lines, a colon and the "
            "64 hexadecimal digits of the last line's hash, as `voicecheck verify` prints it."
        )
    return Checkpoint(length=int(length), last=last)


def _is_hex(text: str) -> bool:
    return all(digit in "0123456789abcdef" for digit in text)
