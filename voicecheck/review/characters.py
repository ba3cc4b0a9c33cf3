"""Replaces the characters that XML and FHIR cannot hold."""

from __future__ import annotations

import re

_UNFIT = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""All but the production Char of XML 1.0 (W3C, 2.2). FHIR R4 says the same of its strings, in
"Primitive Types", string: nothing below 32 but tab, line feed and carriage return."""


def exchangeable(text: str) -> str:
    """The text, with U+FFFD for each character that another program could not read."""
    return _UNFIT.sub("\ufffd", text)
