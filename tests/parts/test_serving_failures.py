"""What fails within a served case: its recogniser and its display's server, here in this process.

That a case survives whatever fails, and goes on by itself, is the customer's list, the issue "The
live theatre". What the recogniser raises is what Vosk raises: vosk/__init__.py, AcceptWaveform.
"""

from __future__ import annotations

import errno
import json
import os
import signal
import socket
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import httpx
import numpy as np
import pytest
from speech import RATE_HZ, Samples, noise, say
from theatre import PATIENCE_S, TOKEN

from voicecheck import shipped
from voicecheck.core.conduct_2.grammar import phrases
from voicecheck.core.facts import Record, decode_record
from voicecheck.core.inputs import Heard, Trouble
from voicecheck.core.replay import replay
from voicecheck.core.wording import JOURNAL_FAILED
from voicecheck.display.screen import Barrier, View
from voicecheck.display.server import Display
from voicecheck.ears.recogniser import Recogniser
from voicecheck.ears.resilient import MOST_FAILURES, REST_S
from voicecheck.journal import read
from voicecheck.live import serving
from voicecheck.live.ending import Ending
from voicecheck.live.live_case import LogStopped, Setup
from voicecheck.sound.microphone import SILENCE

PHRASE = "checklist all four ports in place"
BY_HAND = "checklist table tilted head up"
FAILS = b"\xff" * len(SILENCE)
"""A block at which the recogniser fails."""


class Stumbling(Recogniser):
    """The recogniser itself, which now and then raises."""

    def hear(self, block: bytes) -> list[Heard]:
        if block == FAILS:
            raise Exception("Failed to process waveform")  # noqa: TRY002
        return super().hear(block)


@dataclass
class Case:
    """A case that is being served: what its log holds, and its page."""

    log: Path
    display: Display | None = None
    answers: list[tuple[int, str]] = field(default_factory=list)
    hands: list[threading.Thread] = field(default_factory=list)

    @property
    def records(self) -> list[Record]:
        return [decode_record(line) for line in read(self.log).lines]

    @property
    def troubles(self) -> list[tuple[str, bool]]:
        """What was told: the message, and whether it is over."""
        causes = [r.cause for r in self.records]
        return [(each.message, each.over) for each in causes if isinstance(each, Trouble)]

    def heard(self, after: int = 0) -> list[Heard]:
        return [r.cause for r in self.records[after:] if isinstance(r.cause, Heard)]

    @property
    def url(self) -> str:
        assert self.display is not None
        return self.display.addresses[0].rstrip("/")

    def enter(self, phrase: str, line: int = 0) -> Iterator[bytes]:
        """Silence until the entry is answered; `answers` has how."""
        known = len(self.answers)
        self.enter_beside(phrase, line)
        yield from self.until(lambda: len(self.answers) > known)

    def enter_beside(self, phrase: str, line: int = 0) -> threading.Thread:
        """Enter, and go on at once."""
        headers = {"Origin": self.url, "Authorization": f"Bearer {TOKEN}"}
        entry = {"phrase": phrase, "line": line}

        def post() -> None:
            answer = httpx.post(f"{self.url}/entry", headers=headers, json=entry, timeout=20)
            self.answers.append((answer.status_code, answer.text))

        hand = threading.Thread(target=post)
        hand.start()
        self.hands.append(hand)
        return hand

    def until_event(self, kind: str) -> None:
        """Follow the page's news until such an event comes."""
        with httpx.stream("GET", f"{self.url}/events", timeout=10) as answer:
            assert f"event: {kind}" in answer.iter_lines()

    def shown_trouble(self) -> str:
        """The trouble that the page shows now."""
        with httpx.stream("GET", f"{self.url}/events", timeout=10) as answer:
            for line in answer.iter_lines():
                if line.startswith("data: ") and '"view":' in line:
                    return str(json.loads(line[6:])["view"]["machine"]["trouble"])
        raise AssertionError("no view")

    def until(self, true: Callable[[], bool]) -> Iterator[bytes]:
        """Silence until `true()` holds."""
        until_s = time.monotonic() + PATIENCE_S
        while not true():
            assert time.monotonic() < until_s, self.troubles
            time.sleep(0.02)
            yield SILENCE


@pytest.fixture(scope="module")
def ears() -> Iterator[Recogniser]:
    with Stumbling(phrases(shipped.procedure())) as opened:
        yield opened


@pytest.fixture
def case(tmp_path: Path) -> Iterator[Case]:
    served = Case(log=tmp_path / "invented.log")
    yield served
    for hand in served.hands:
        hand.join()


@pytest.fixture
def serve(
    case: Case, tmp_path: Path, ears: Recogniser, monkeypatch: pytest.MonkeyPatch
) -> Callable[[Callable[[Case], Iterator[bytes]]], Case]:
    """Serves a case on the sound from a script, faster than real time."""

    def kept(**options: object) -> Display:
        case.display = Display(**options)  # type: ignore[arg-type]
        return case.display

    monkeypatch.setattr(serving, "Display", kept)
    setup = Setup(
        procedure=shipped.procedure(),
        ears=ears,
        wording="brief",
        case_dir=tmp_path,
        wav=False,
        mute=True,
    )

    def run(script: Callable[[Case], Iterator[bytes]]) -> Case:
        place = serving.Place(host="127.0.0.1", port=0, token=TOKEN)
        serving.serve(setup, "invented", place, lambda _service: script(case), Ending())
        replay(read(case.log).lines)
        return case

    return run


def blocks(samples: Samples) -> Iterator[bytes]:
    data, size = samples.tobytes(), len(SILENCE)
    return (data[at : at + size] for at in range(0, len(data) - size + 1, size))


def quiet(seconds: float) -> Iterator[bytes]:
    return blocks(noise(round(seconds * RATE_HZ), seed=1).astype(np.int16))


Serve = Callable[[Callable[[Case], Iterator[bytes]]], Case]


def test_a_recogniser_that_fails_is_told_and_a_fresh_one_hears_on(serve: Serve) -> None:
    phrase = list(blocks(say(PHRASE)))
    half = len(phrase) // 2

    def script(_case: Case) -> Iterator[bytes]:
        yield from phrase
        yield from quiet(2)
        yield from phrase[:half]
        yield FAILS
        yield from phrase[half:]
        yield from quiet(2)
        yield from phrase
        yield from quiet(2)

    case = serve(script)
    (failed, over), (_, over_again) = case.troubles
    assert "Failed to process waveform" in failed
    assert (over, over_again) == (False, True)
    first, *_, last = case.heard()
    assert first.text == last.text == PHRASE
    assert [heard.text for heard in case.heard()].count(PHRASE) == 2, "the broken one is dropped"
    apart_s = (2 * len(phrase) + 1) * len(SILENCE) / 2 / RATE_HZ + 4
    assert last.audio_from_s - first.audio_from_s == pytest.approx(apart_s, abs=0.2)


def test_a_recogniser_that_fails_again_and_again_rests_and_the_case_goes_on_by_hand(
    serve: Serve,
) -> None:
    known: list[int] = []

    def script(case: Case) -> Iterator[bytes]:
        for _ in range(MOST_FAILURES + 5):
            yield FAILS
        yield from case.enter(BY_HAND)
        yield from blocks(say(PHRASE))
        yield from quiet(2)
        known.append(len(case.records))
        yield from quiet(REST_S)
        yield from blocks(say(PHRASE))
        yield from quiet(2)

    case = serve(script)
    facts = [type(record.fact).__name__ for record in case.records]
    assert facts == ["Opened", "Failed", "Failed", "Stated", "Recovered", "Stated"]
    assert "again and again (Exception: Failed to process waveform)" in case.troubles[1][0]
    assert case.heard()[0].text == PHRASE
    assert known == [4], "nothing was heard while it rested"


def test_a_display_whose_server_ends_is_served_again_at_the_same_address(serve: Serve) -> None:
    def script(case: Case) -> Iterator[bytes]:
        url = case.url
        stop(case)
        yield from case.until(lambda: len(case.troubles) == 2)
        assert case.url == url
        assert case.shown_trouble() == ""
        yield from case.enter(BY_HAND)
        assert type(case.records[-1].fact).__name__ == "Stated"

    case = serve(script)
    (stopped, over), (_, over_again) = case.troubles
    assert "The display's server has stopped" in stopped
    assert (over, over_again) == (False, True)


def test_a_display_whose_port_was_taken_meanwhile_is_served_again_once_it_is_free(
    serve: Serve,
) -> None:
    def script(case: Case) -> Iterator[bytes]:
        assert case.display is not None
        stop(case)
        yield from case.until(lambda: len(case.troubles) == 1)
        with socket.create_server(("127.0.0.1", case.display.port)):
            yield from case.until(
                lambda: "cannot use" in str(case.display and case.display.trouble)
            )
            assert len(case.troubles) == 1
        yield from case.until(lambda: len(case.troubles) == 2)
        yield from case.enter(BY_HAND)
        assert type(case.records[-1].fact).__name__ == "Stated"

    assert [over for _, over in serve(script).troubles] == [False, True]


def stop(case: Case) -> None:
    """Kill the process that serves the pages."""
    assert case.display is not None
    os.kill(case.display.process, signal.SIGKILL)


def test_a_log_that_fails_is_shown_and_said_and_nothing_more_is_believed(
    serve: Serve, case: Case, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_descriptor: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def script(case: Case) -> Iterator[bytes]:
        yield SILENCE
        monkeypatch.setattr(os, "fsync", full)
        yield from case.enter(BY_HAND)

    shown: list[View] = []
    monkeypatch.setattr(Display, "show", lambda _self, view: shown.append(view))
    monkeypatch.setattr(serving, "_STOPPED_S", 0.0)
    with pytest.raises(LogStopped, match="the disk is full"):
        serve(script)
    case.hands[0].join()
    assert case.answers == [(503, "Not entered: recording has stopped.")]
    assert (shown[-1].gate.barrier, shown[-1].asked.text) == (Barrier.STOPPED, JOURNAL_FAILED)
    assert "the disk is full" in " ".join(shown[-1].machine.messages)
    assert not any(line.since_utc for stage in shown[-1].phases for line in stage.lines)


def test_while_the_log_stands_still_the_page_says_so_and_nothing_is_acknowledged(
    serve: Serve, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk that stalls: fsync returns late. What was taken by then is acknowledged after it."""
    sync = os.fsync

    def script(case: Case) -> Iterator[bytes]:
        def stalled(descriptor: int) -> None:
            monkeypatch.setattr(os, "fsync", sync)
            case.until_event("still")
            assert case.answers == []
            case.enter_beside("checklist emergency").join()
            assert case.answers == [(503, "Not entered: the machine stands still.")]
            sync(descriptor)

        yield SILENCE
        monkeypatch.setattr(os, "fsync", stalled)
        hand = case.enter_beside(BY_HAND)
        yield from case.until(lambda: not hand.is_alive())
        case.until_event("beat")

    case = serve(script)
    assert case.answers[1:] == [(204, "")]
    assert [type(record.fact).__name__ for record in case.records] == ["Opened", "Stated"]


def test_after_the_end_of_a_record_nothing_is_entered_and_the_page_says_why(
    serve: Serve, monkeypatch: pytest.MonkeyPatch
) -> None:
    def script(case: Case) -> Iterator[bytes]:
        yield from case.enter("checklist close the record")
        monkeypatch.setattr(Ending, "wait", lambda *_: case.enter_beside("confirm").join())
        yield from case.enter("confirm", line=len(case.records))

    case = serve(script)
    assert sorted(case.answers[:2]) == [(204, ""), (204, "")]
    assert set(case.answers[2:]) == {(409, "Not entered: the record is closed.")}
    assert [type(record.fact).__name__ for record in case.records][1:] == [
        "CloseProposed",
        "Closed",
    ]


def test_a_reply_by_hand_counts_only_for_the_question_that_was_on_the_screen(serve: Serve) -> None:
    def script(case: Case) -> Iterator[bytes]:
        seen = len(case.records)
        yield from case.enter("checklist close the record")
        yield from case.enter("confirm", line=seen)
        assert case.answers[-1] == (204, ""), "it is on record, as refused"
        yield from case.enter("confirm", line=len(case.records))

    facts = [type(record.fact).__name__ for record in serve(script).records]
    assert facts == ["Opened", "CloseProposed", "Refused", "Closed"]


def test_a_line_that_was_cut_off_is_told_when_the_record_is_taken_up(
    serve: Serve, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    serve(lambda _case: iter((SILENCE,)))
    with (tmp_path / "invented.log").open("ab") as log:
        log.write(b'{"at":')
    case = serve(lambda _case: iter((SILENCE,)))
    assert [type(record.fact).__name__ for record in case.records] == ["Opened", "Reopened"]
    assert "6 bytes are kept beside the log, in invented.log.torn-" in capsys.readouterr().out
