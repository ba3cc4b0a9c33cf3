"""A cut at any byte loses nothing before it; test_kills.py kills at any moment.

Real process, real file, real fsync; only the voice and the ears are absent.
"""

from __future__ import annotations

from pathlib import Path

from kills import killed, shown_by
from power import in_memory

from voicecheck.journal import Journal, read

LAST = 4_000
"""Bytes that are cut off, one more each time: some ten lines."""


def test_a_cut_at_every_byte_leaves_the_case_as_its_whole_lines_had_it(
    tmp_path: Path, counted: list[str]
) -> None:
    log = tmp_path / "whole.log"
    views = {line: shown for seed in (5, 6) for line, shown in killed(log, seed, 0.3).views.items()}
    content = log.read_bytes()
    whole = read(log).lines
    assert 0 < max(views) <= len(whole)
    for number, shown in views.items():
        assert shown == shown_by(whole[:number])
    with in_memory() as folder:  # thousands of cuts need not wait for a disk
        path = folder / "cut.log"
        for cut in range(len(content) - LAST, len(content)):
            path.write_bytes(content[:cut])
            kept = cut + 1 if content[cut:].startswith(b"\n") else cut  # a lone newline comes back
            with Journal.reopen(path) as journal:
                assert journal.found.lines == whole[: content.count(b"\n", 0, kept)]
            beside = path.with_name("cut.log.torn-1")
            torn = beside.read_bytes() if beside.exists() else b""
            assert path.read_bytes() + torn == content[:kept]
            beside.unlink(missing_ok=True)
    counted.append(f"{LAST} cuts: the whole lines stay, and the torn one beside them")
