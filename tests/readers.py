"""Read a log with every reader: each may raise only what it documents, and write what others read.

Oracles: a strict XML parser, RFC 8259 for FHIR's JSON, and Unicode's own categories.
"""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Sequence
from xml.etree import ElementTree as ET

from voicecheck.cases.layout import TABLES, table
from voicecheck.cases.rows import rows
from voicecheck.review.case_page import case_page
from voicecheck.review.examine import Examined, examine
from voicecheck.review.formats import FORMATS, export
from voicecheck.review.proof import proof

SENTENCE = 3_000
"""Nothing that is said of a log may be longer, however long its lines are. (A character that
steers is written out with six.)"""
TURNS = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
"""The bidirectional controls of Unicode Standard Annex 9, 2."""


def read_by_all(lines: Sequence[bytes], *, page: bool = True) -> Examined:
    """Examine, review, export and collect a log; returns what the examination found."""
    examined = examine(lines)
    for said in (examined.newer, *examined.faults, *(text for _, text in proof(examined))):
        assert len(said) <= SENTENCE
        assert not steers(said), ascii(said)
    if page:
        shown = case_page(examined, "any.log")
        assert not any(steers(line) for line in shown.split("\n"))
        shown.encode()
    for name, found in rows("any.log", "0" * 64, examined).items():
        assert name in TABLES
        table(name, found)
    if examined.intact:
        exported = {form: export(lines, form) for form in FORMATS}
        exported["csv"].encode()
        ET.fromstring(exported["xes"].encode())  # noqa: S314  # our own file
        json.loads(exported["fhir"].encode())
    return examined


def steers(text: str) -> bool:
    """Whether a text holds control characters, halves of characters, or turns its direction."""
    return any(unicodedata.category(each) in ("Cc", "Cs") or each in TURNS for each in text)
