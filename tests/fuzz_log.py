"""Fuzz every reader of logs, guided by coverage; run by hand, no part of pytest.

With `pip install atheris`: `python tests/fuzz_log.py CORPUS -max_total_time=3600`. It stops at the
first exception that a reader does not document, and writes the input that led to it.
"""

from __future__ import annotations

import sys
from pathlib import Path
from random import Random

import atheris  # type: ignore[import-not-found,import-untyped,unused-ignore]

sys.path.insert(0, str(Path(__file__).parents[1]))
with atheris.instrument_imports(include=["voicecheck"]):
    from forger import forged
    from readers import read_by_all

BYTES_TOO = 32
"""One input in this many is read as the log itself, not as the choices of a forger."""
PAGE_TOO = 8
"""One input in this many is also shown as a page, which takes the most time."""


class Chosen(Random):
    """Makes each choice by the next bytes of the fuzzer, so that it learns what a choice does."""

    def __init__(self, data: bytes) -> None:
        super().__init__(0)
        self._left = atheris.FuzzedDataProvider(data)

    def random(self) -> float:
        """From 0 up to, but not, 1, as all methods of Random expect."""
        return self.getrandbits(16) / 65_536

    def getrandbits(self, bits: int, /) -> int:
        """So many bits; zero when no bytes are left."""
        whole: int = self._left.ConsumeUInt(-(-bits // 8))
        return whole & ((1 << bits) - 1)


def read_one(data: bytes) -> None:
    """One input of the fuzzer."""
    if not data:
        return
    lines = data[1:].split(b"\n") if data[0] % BYTES_TOO == 0 else forged(Chosen(data[1:]))
    read_by_all(lines, page=data[0] % PAGE_TOO == 1)


if __name__ == "__main__":
    atheris.Setup(sys.argv, read_one)
    atheris.Fuzz()
