"""The hash chain over the exact bytes of the log, and the checkpoint that pins its end.

The hash of a line is SHA-256 (FIPS 180-4) of its bytes without the newline. Every line carries the
hash of the line before it. The chain alone shows any change before the last line. Only a checkpoint
kept elsewhere shows that the end was cut off or the whole log rewritten.
"""

from __future__ import annotations

import hashlib
import re
from base64 import b32decode, b32encode
from dataclasses import dataclass

from voicecheck.core.legible import quoted

GENESIS = "0" * 64
"""What the first line carries in place of a hash."""

_WHOLE = re.compile(r"([0-9]{1,99}):([0-9a-f]{64})")
_CODE = re.compile(r"([0-9]{1,99})((?:-[A-Z2-7]{4}){2}|(?:-[A-Z2-7]{4}){4})")


@dataclass(frozen=True, kw_only=True, slots=True)
class Checkpoint:
    """How long the log was, and the hash of its last line."""

    length: int
    last: str

    def __str__(self) -> str:
        """As text that `parse_checkpoint` reads back: 12:ab34…"""
        return f"{self.length}:{self.last}"

    @property
    def code(self) -> str:
        """Short enough to read aloud: 40 bits of the hash in base 32 (RFC 4648).

        Enough against accident. Whoever can rewrite a log finds one with the same 40 bits within
        hours on a graphics card (from memory: some 10^10 hashes a second).
        """
        return self._in_letters(5)

    @property
    def long_code(self) -> str:
        """Against forgery, and still to be copied by hand: 80 bits, which no one can search."""
        return self._in_letters(10)

    def like(self, other: Checkpoint) -> str:
        """As text, in the form that the other was given in."""
        forms = {10: self.code, 20: self.long_code}
        return forms.get(len(other.last), str(self))

    def _in_letters(self, length: int) -> str:
        letters = b32encode(bytes.fromhex(self.last)[:length]).decode()
        groups = (letters[place : place + 4] for place in range(0, len(letters), 4))
        return "-".join((str(self.length), *groups))


def line_hash(line: bytes) -> str:
    """The hash of one line's bytes: 64 lower-case hexadecimal digits."""
    return hashlib.sha256(line).hexdigest()


def parse_checkpoint(text: str) -> Checkpoint:
    """Read what str(checkpoint) or one of its codes wrote; raises ValueError with a sentence.

    From a code, `last` is only the first ten or twenty digits of the hash. A handwritten 0 or 1 in
    a code is read as the letter O or I.
    """
    text = text.strip()
    length, dash, letters = text.upper().partition("-")
    written = letters.replace("0", "O").replace("1", "I")  # base 32 has neither digit
    whole, code = _WHOLE.fullmatch(text), _CODE.fullmatch(length + dash + written)
    if whole:
        return Checkpoint(length=int(whole[1]), last=whole[2])
    if code:
        return Checkpoint(length=int(code[1]), last=b32decode(code[2].replace("-", "")).hex())
    raise ValueError(
        f"{quoted(text)} is not a checkpoint: give the number of lines, a colon and the 64 "
        "hexadecimal digits of the last line's hash, or a code such as 78-K7QD-2MXA; "
        "`voicecheck verify` prints them."
    )
