"""`voicecheck serve` as a process: by hand, on a recording, ended, taken up, and with a full disk.

What must hold is the customer's list, the issue "The live theatre". What a process that is ended
by a signal or by an error returns: POSIX.1-2017, "Exit Status for Commands".
"""

from __future__ import annotations

import os
import resource
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from rooms import ROOMS
from theatre import PATIENCE_S, PROGRAM, Theatre, theatre

from voicecheck.core.chain import parse_checkpoint
from voicecheck.core.replay import check_checkpoint, replay
from voicecheck.core.wording import JOURNAL_FAILED
from voicecheck.journal import read
from voicecheck.live.rehearsal import turns_in

STATED = "checklist table tilted head up"


@pytest.fixture(scope="module")
def quiet(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Ten minutes of a quiet room."""
    path = tmp_path_factory.mktemp("sound") / "quiet.wav"
    noise = np.random.default_rng(1).normal(0, 16, 16_000 * 600)
    soundfile.write(path, noise.astype(np.int16), 16_000)
    return str(path)


@pytest.fixture
def by_hand(tmp_path: Path, quiet: str) -> Iterator[Theatre]:
    with theatre(tmp_path, "--audio", quiet, "--mute") as served:
        yield served


def test_a_case_by_hand_from_opening_to_a_checkpoint_that_holds(by_hand: Theatre) -> None:
    by_hand.enter(STATED)
    by_hand.until_fact("Stated")
    by_hand.enter("checklist close the record")
    by_hand.until_fact("CloseProposed")
    by_hand.enter("confirm")
    by_hand.until(lambda: "Checkpoint to copy" in by_hand.text, "checkpoint")
    code = by_hand.text.split("Checkpoint to copy: ")[1].split()[0]
    by_hand.until_view(lambda view: code in view["asked"]["text"], "checkpoint on the display")
    assert by_hand.end() == 0
    lines = read(by_hand.log).lines
    check_checkpoint(lines, parse_checkpoint(code))
    assert replay(lines).state.mode == "closed"
    verified = subprocess.run(
        [str(PROGRAM), "verify", str(by_hand.log), "--checkpoint", code], check=False
    )
    assert verified.returncode == 0


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_asked_to_end_it_ends_in_order_and_the_record_can_be_taken_up(
    tmp_path: Path, quiet: str, number: int
) -> None:
    options = ("--audio", quiet, "--mute")
    with theatre(tmp_path, *options) as first:
        first.enter(STATED)
        first.until_fact("Stated")
        assert first.end(number) == 0
        assert "serve --case invented takes it up again" in first.text
        assert "Traceback" not in first.text
    with theatre(tmp_path, *options) as again:
        again.until_fact("Reopened")
        assert again.facts == ["Opened", "Stated", "Reopened"]


def test_a_killed_case_is_taken_up_with_its_own_procedure_and_a_line_for_the_gap(
    tmp_path: Path, quiet: str
) -> None:
    with theatre(tmp_path, "--audio", quiet, "--mute") as first:
        first.enter(STATED)
        first.until_fact("Stated")
        first.end(signal.SIGKILL)
    lines = read(first.log).lines
    first.log.write_bytes(b"".join(line + b"\n" for line in lines) + b'{"at":{"mono')
    _record_with_another_procedure(first.log)
    with theatre(tmp_path, "--audio", quiet, "--mute") as again:
        again.until_fact("Reopened")
        assert "12 bytes are kept beside the log" in again.text
        assert (tmp_path / "invented.log.torn-1").read_bytes() == b'{"at":{"mono'
        assert again.views[-1][1]["title"] == "An invented course"
        known = len(again.records)
        again.enter("checklist all four ports in place")
        again.until_fact("Stated", after=known)


def _record_with_another_procedure(log: Path) -> None:
    """The same lines, as if the procedure's file had been another one then; chained anew."""
    from dataclasses import replace

    from voicecheck.core.chain import GENESIS, line_hash
    from voicecheck.core.facts import Opened, decode_record, encode_record

    content = log.read_bytes()
    torn, prev, lines = content.rsplit(b"\n", 1)[1], GENESIS, []
    for line in content.split(b"\n")[:-1]:
        record = replace(decode_record(line), prev=prev)
        if isinstance(record.fact, Opened):
            text = record.fact.procedure.replace(
                'title = "Laparoscopic cholecystectomy"', 'title = "An invented course"'
            )
            assert text != record.fact.procedure
            record = replace(record, fact=replace(record.fact, procedure=text))
        lines.append(encode_record(record))
        prev = line_hash(lines[-1])
    log.write_bytes(b"".join(line + b"\n" for line in lines) + torn)


def test_a_second_process_on_the_same_case_is_refused(by_hand: Theatre, quiet: str) -> None:
    command = [str(PROGRAM), "serve", "--case", "invented", "--case-dir", str(by_hand.log.parent)]
    options = ["--port", "0", "--audio", quiet, "--mute"]
    second = subprocess.run([*command, *options], check=False, capture_output=True, text=True)
    assert second.returncode == 1
    assert "already open in another process" in second.stderr
    assert JOURNAL_FAILED not in second.stderr, "the first one's record goes on"
    by_hand.enter(STATED)
    by_hand.until_fact("Stated")


def test_a_closed_record_is_not_taken_up(by_hand: Theatre, quiet: str) -> None:
    by_hand.enter("checklist close the record")
    by_hand.until_fact("CloseProposed")
    by_hand.enter("confirm")
    by_hand.until_fact("Closed")
    assert by_hand.end() == 0
    command = [str(PROGRAM), "serve", "--case", "invented", "--case-dir", str(by_hand.log.parent)]
    options = ["--port", "0", "--audio", quiet, "--mute"]
    again = subprocess.run([*command, *options], check=False, capture_output=True, text=True)
    assert again.returncode == 1
    assert "That record is closed" in again.stderr


def test_a_full_disk_stops_the_case_says_so_and_loses_nothing(tmp_path: Path, quiet: str) -> None:
    """The limit on a file's size stands for the disk's: both refuse the write (POSIX, write)."""
    options = ("--audio", quiet, "--mute")
    with theatre(tmp_path, *options) as full:
        full.enter(STATED)
        full.until_fact("Stated")
        room = full.log.stat().st_size + 300
        resource.prlimit(full.process.pid, resource.RLIMIT_FSIZE, (room, room))
        assert full.post("checklist what is outstanding").status_code == 503
        full.until_view(lambda view: view["gate"]["barrier"] == "stopped", "red screen")
        shown = full.views[-1][1]
        assert shown["asked"]["text"] == JOURNAL_FAILED
        assert full.ended() == 1
        assert JOURNAL_FAILED in full.text
        assert "free some space" in full.text
        assert read(full.log).torn, "the disk took a part of the line"
        assert full.facts == ["Opened", "Stated"]
    with theatre(tmp_path, *options) as after:
        after.until_fact("Reopened")
        after.enter("checklist all four ports in place")
        after.until_fact("Stated", after=3)


def test_a_recording_is_heard_at_its_own_pace(tmp_path: Path) -> None:
    played = turns_in(ROOMS / "clean_case" / "rms.opus")
    assert played is not None
    sound = b"".join(played(lambda: True))
    short = np.frombuffer(sound, np.int16)[: 16_000 * 8]
    soundfile.write(tmp_path / "case.wav", short, 16_000)
    began_s = time.monotonic()
    with theatre(tmp_path, "--audio", str(tmp_path / "case.wav"), "--mute") as served:
        assert served.ended() == 0
        assert time.monotonic() - began_s >= 8
        assert served.facts[:3] == ["Opened", "Stated", "Stated"]
        assert "takes it up again" in served.text


# --------------------------------------------------------------------------- what stands still


def test_a_program_that_is_stopped_is_told_on_the_page_and_takes_nothing_afterwards(
    by_hand: Theatre,
) -> None:
    by_hand.process.send_signal(signal.SIGSTOP)
    by_hand.until(lambda: by_hand.still, "sign that it stands still")
    answer = by_hand.post(STATED)
    assert answer.status_code == 503
    assert "stands still" in answer.text
    by_hand.process.send_signal(signal.SIGCONT)
    by_hand.until(lambda: not by_hand.still, "sign that it goes on")
    by_hand.enter("checklist what is outstanding")
    assert by_hand.facts == ["Opened", "Listed"]


def test_output_that_nobody_takes_holds_up_nothing_and_it_still_ends_in_order(
    tmp_path: Path, quiet: str
) -> None:
    """As with a paused terminal. The pipe holds 4096 bytes: fcntl(2), F_SETPIPE_SZ."""
    with theatre(tmp_path, "--audio", quiet, "--mute", unread=True) as served:
        for _ in range(20):
            served.enter("checklist what is outstanding")
        assert served.facts == ["Opened", *["Listed"] * 20]
        assert not served.still
        assert served.end() == 0


def test_sound_on_a_pipe_that_stalls_holds_up_no_entry_and_no_end(tmp_path: Path) -> None:
    reading, writing = os.pipe()
    noise = np.random.default_rng(1).normal(0, 16, 16_000).astype(np.int16).tobytes()
    try:
        os.write(writing, noise)
        with theatre(tmp_path, "--audio", "-", "--mute", sound=reading) as served:
            served.until_fact("Failed")
            served.enter("checklist emergency")
            os.write(writing, noise)
            served.until_fact("Recovered")
            assert served.facts[:4] == ["Opened", "Failed", "Overridden", "Recovered"]
            served.until_fact("Failed", after=4)
            assert served.end() == 0
    finally:
        os.close(reading)
        os.close(writing)


STALLED_DISK = """
import os, time
sync = os.fsync
def stalled(descriptor):
    while os.path.exists(os.environ["STALLED"]):
        time.sleep(0.02)
    sync(descriptor)
os.fsync = stalled
"""
"""The disk as a process sees it that stalls: fsync does not return. site(3): sitecustomize."""


def test_one_signal_ends_a_case_whose_disk_stands_still_and_the_checkpoint_is_told(
    tmp_path: Path, quiet: str
) -> None:
    (tmp_path / "sitecustomize.py").write_text(STALLED_DISK)
    stalls = tmp_path / "stalled"
    environment = {**os.environ, "PYTHONPATH": str(tmp_path), "STALLED": str(stalls)}
    options = ("--audio", quiet, "--mute")
    with theatre(tmp_path, *options, environment=environment) as served:
        served.enter(STATED)
        kept = read(served.log).lines
        stalls.touch()
        assert served.post("checklist emergency").status_code == 503
        served.until(lambda: served.still, "sign that it stands still")
        assert served.end() == 1
        code = served.text.split("Checkpoint to copy: ")[1].split()[0]
        check_checkpoint(kept, parse_checkpoint(code))


def test_the_service_manager_is_told_that_it_is_open_lives_and_ends(
    tmp_path: Path, quiet: str
) -> None:
    """sd_notify(3): a datagram for each state."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        environment = {**os.environ, "NOTIFY_SOCKET": str(tmp_path / "notify")}
        manager.settimeout(PATIENCE_S)
        with theatre(tmp_path, "--audio", quiet, "--mute", environment=environment) as served:
            assert manager.recv(100) == b"READY=1"
            assert served.facts == ["Opened"]
            assert [manager.recv(100) for _ in range(3)] == [b"WATCHDOG=1"] * 3
            served.process.send_signal(signal.SIGSTOP)
            served.until(lambda: served.still, "sign that it stands still")
            manager.settimeout(0.1)
            while True:
                try:
                    manager.recv(100)
                except TimeoutError:
                    break
            manager.settimeout(2)
            with pytest.raises(TimeoutError):
                manager.recv(100)
            manager.settimeout(PATIENCE_S)
            served.process.send_signal(signal.SIGCONT)
            assert manager.recv(100) == b"WATCHDOG=1"
            assert served.end() == 0
            told = [manager.recv(100)]
            while told[-1] == b"WATCHDOG=1":
                told.append(manager.recv(100))
            assert told[-1] == b"STOPPING=1"
