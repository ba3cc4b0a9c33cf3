"""Makes any text fit to be shown: on one line, of bounded length, steering no terminal.

Logs, file names and messages of the system may hold any text. Shown as it is, a control character
can clear or rewrite the screen (ECMA-48), and a bidirectional control can turn a sentence round
(Unicode Standard Annex 9).
"""

from __future__ import annotations

import re
import reprlib

LONGEST = 500
"""Characters of one text that are shown, unless a caller asks for more or fewer."""

_STEERS = re.compile(
    "[\x00-\x1f\x7f-\x9f"  # C0, DEL, C1
    "\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069"  # bidirectional controls
    "\u2028\u2029\ufeff\ufffe\uffff\ud800-\udfff]"  # line ends, no characters, halves of one
)


def legible(text: str, longest: int = LONGEST) -> str:
    """The text, cut, with each steering character written out, such as \\x1b."""
    shown = _STEERS.sub(lambda found: repr(found[0])[1:-1], text[:longest])
    return f"{shown}…" if len(text) > longest else shown


def quoted(value: object) -> str:
    """Any value as Python writes it, cut to one short piece of a sentence."""
    try:
        return legible(_BRIEF.repr(value), _QUOTED)
    except ValueError:  # more than 4300 digits
        return "a number of too many digits"


_QUOTED = 80
_BRIEF = reprlib.Repr()
_BRIEF.maxstring = _BRIEF.maxother = _BRIEF.maxlong = _QUOTED
