"""A cut at any byte loses nothing that was acknowledged; test_kills.py kills at any moment.

Real process, real file, real fsync; only the voice and the ears are absent.
"""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

from kills import killed, state_of

from voicecheck.core.chain import line_hash
from voicecheck.journal import Journal, read

IN_MEMORY = "/dev/shm" if Path("/dev/shm").is_dir() else None  # noqa: S108
"""Twenty thousand cuts need not wait for a disk; the kills do."""


def test_a_cut_at_every_byte_leaves_the_case_as_its_whole_lines_had_it(
    tmp_path: Path, counted: list[str]
) -> None:
    log = tmp_path / "whole.log"
    states = {line: state for seed in (5, 6) for line, state in killed(log, seed, 0.03)}
    content = log.read_bytes()
    whole = read(log).lines
    assert {line_hash(line) for line in whole} >= set(states) != set()
    for number, line in enumerate(whole, 1):
        told = states.get(line_hash(line))
        assert told in (None, state_of(whole[:number]))
    with TemporaryDirectory(dir=IN_MEMORY) as folder:
        path = Path(folder) / "cut.log"
        for cut in range(len(content)):
            path.write_bytes(content[:cut])
            with Journal.reopen(path) as journal:
                assert journal.found.lines == whole[: content.count(b"\n", 0, cut)]
            beside = path.with_name("cut.log.torn-1")
            torn = beside.read_bytes() if beside.exists() else b""
            assert path.read_bytes() + torn == content[:cut]
            beside.unlink(missing_ok=True)
    counted.append(f"{len(content)} cuts: the whole lines stay, and the torn one beside them")
