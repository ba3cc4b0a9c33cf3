"""What is said while a prompt ends, or while somebody enters by hand, with the real recogniser.

Each phrase is said at sixty moments, 50 ms apart, across the end of a prompt or across an entry.
The customer: "Emergency and bail-out are accepted from everywhere, at once", and everything heard
is one line. The microphone hears no loudspeaker here; test_live.py has rooms in which it does.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from doubles import Disk, Speaker
from speech import RATE_HZ, noise, say
from stories import moment, opened, shipped

from voicecheck.core import facts
from voicecheck.core.conduct_2.grammar import phrases
from voicecheck.core.facts import Record, decode_record
from voicecheck.core.inputs import Entered, Heard
from voicecheck.ears.recogniser import Recogniser
from voicecheck.ears.wordings import wordings
from voicecheck.live.service import ECHO_S, Service

STARTS = 60
STEP_S = 0.05
SPEAKS_S = 2.0
BLOCK = RATE_HZ // 50


@pytest.fixture(scope="module")
def ears() -> Iterator[Recogniser]:
    with Recogniser(phrases(shipped()), wordings=wordings(shipped())) as opened_once:
        yield opened_once


def service(ears: Recogniser, speaks_s: float) -> tuple[Service, Disk]:
    disk = Disk()
    start_s = ears._passed_bytes / (2 * RATE_HZ)
    live = Service(
        log=disk,
        ears=ears,
        voice=Speaker(speaks_s),
        now=lambda audio_s: moment(round((audio_s - start_s) * 1_000_000)),
        show=lambda _case, _record, _text: None,
    )
    live.position_s = start_s  # the recogniser counts on
    live.open(opened())
    return live, disk


def with_phrase(phrase: str, at_s: float) -> list[bytes]:
    """A quiet room in blocks of 20 ms; the phrase begins at this second, to half a block."""
    spoken = say(phrase)[RATE_HZ * 2 // 5 :]
    sound = noise(RATE_HZ * 8, seed=2).astype(np.float64)
    begin = round(at_s * RATE_HZ)
    sound[begin : begin + len(spoken)] += spoken
    whole = sound.clip(-32768, 32767).astype("<i2")
    return [whole[n : n + BLOCK].tobytes() for n in range(0, len(whole), BLOCK)]


def records(disk: Disk) -> list[Record]:
    return [decode_record(line) for line in disk.lines]


@pytest.mark.parametrize("phrase", ["checklist emergency", "checklist converting to open"])
def test_no_emergency_and_no_bail_out_is_lost_while_a_prompt_ends(
    phrase: str, ears: Recogniser, counted: list[str]
) -> None:
    lost = []
    for step in range(STARTS):
        at_s = SPEAKS_S + ECHO_S - STARTS * STEP_S / 2 + step * STEP_S
        live, disk = service(ears, SPEAKS_S)
        live.run(with_phrase(phrase, at_s))
        taken = [type(record.fact) for record in records(disk)]
        if not {facts.Overridden, facts.BailedOut} & set(taken):
            lost.append(round(at_s, 2))
    counted.append(f'"{phrase}" lost while a prompt ended: {len(lost)} of {STARTS}')
    assert lost == []


def test_what_is_said_across_the_end_of_a_prompt_is_a_line(ears: Recogniser) -> None:
    for step in range(0, STARTS, 4):
        at_s = SPEAKS_S + ECHO_S - STARTS * STEP_S / 2 + step * STEP_S
        live, disk = service(ears, SPEAKS_S)
        live.run(with_phrase("checklist active bleeding", at_s))
        heard = [record for record in records(disk) if isinstance(record.cause, Heard)]
        assert heard, f"said at {at_s:.2f} s, and no line"


def test_nothing_is_lost_that_is_being_said_while_somebody_enters(
    ears: Recogniser, counted: list[str]
) -> None:
    """The entry comes while the phrase is being said; the machine answers it on the display."""
    lost = []
    for step in range(STARTS):
        live, disk = service(ears, 0.0)
        blocks = with_phrase("checklist active bleeding", 1.0)
        entry = round((0.5 + step * STEP_S) * RATE_HZ / BLOCK)
        live.run([*blocks[:entry], Entered(text="checklist say again"), *blocks[entry:]])
        if not any(isinstance(record.fact, facts.Occurred) for record in records(disk)):
            lost.append(round(0.5 + step * STEP_S, 2))
    counted.append(f"lost while somebody entered: {len(lost)} of {STARTS}")
    assert lost == []


@pytest.mark.parametrize("joint", [" and ", " checklist "])
def test_of_two_critical_statements_in_one_breath_none_is_lost(
    joint: str, ears: Recogniser
) -> None:
    """Nobody replies to the first read-back: it lapses, and then the second is read back.

    Or whoever said it was cut off by a breath and then by the read-back, and is told so.
    """
    live, disk = service(ears, SPEAKS_S)
    breath = with_phrase(f"checklist triangle free of fat{joint}lower third off the plate", 3.0)
    live.run([*breath, *with_phrase("", 0.0), *with_phrase("", 0.0)])
    told = [record.fact for record in records(disk)]
    first = facts.Proposed(item="triangle", answer="cleared"), facts.Lapsed(item="triangle")
    second = facts.Proposed(item="plate", answer="off")
    asked = [fact for fact in told if isinstance(fact, facts.Proposed | facts.Lapsed)]
    cut_off = facts.NotUnderstood(why=facts.Doubt.SPOKEN_OVER) in told
    assert asked == [*first, second] or (asked == [*first] and cut_off), told
