"""A microphone that fails is noticed, reported once, and opened again.

The failures were provoked and measured on a virtual sound card (PulseAudio under PortAudio): when
blocks came, when they stopped, how they came back. Here a scripted card plays back the same times.
Other tests use a sound card, where there is one.
"""

from __future__ import annotations

import importlib
import threading
from itertools import takewhile
from typing import TYPE_CHECKING

import pytest
from doubles import SOUND, Card, ScriptedClock, steady

from voicecheck.core.inputs import Trouble
from voicecheck.sound.microphone import SILENCE, AudioError, Block, from_sound_card

if TYPE_CHECKING:
    from collections.abc import Iterator


def test_the_name_of_a_device_may_be_any_bytes() -> None:
    """An argument that is no UTF-8 reaches us with halves of characters in it (PEP 383)."""
    with pytest.raises(AudioError) as raised:
        next(from_sound_card("\udcff\x1b[31m"))
    str(raised.value).encode()
    assert "\x1b" not in str(raised.value)


class _Room:
    """A clock, and the cards that are found one after another; None means no card."""

    def __init__(self) -> None:
        self.clock = ScriptedClock()
        self.cards: list[Card | None] = []
        self.opened = 0

    def open(self, _device: str | None) -> Card:
        card = self.cards[min(self.opened, len(self.cards) - 1)]
        self.opened += 1
        if card is None:
            raise AudioError("there is none")
        return card

    def listen(self, until_s: float, *, patient: bool = False) -> list[tuple[float, Block]]:
        """What comes until then, with the time when it came."""
        blocks = from_sound_card(
            patient=patient, open_stream=self.open, clock_s=self.clock, wait=self.clock.wait
        )
        timed = ((self.clock.now_s, block) for block in blocks)
        return list(takewhile(lambda entry: entry[0] <= until_s, timed))


def troubles(heard: list[tuple[float, Block]]) -> list[tuple[float, str, bool]]:
    return [(at, b.message, b.over) for at, b in heard if isinstance(b, Trouble)]


def sound_s(heard: list[tuple[float, Block]]) -> float:
    return sum(len(b) for _, b in heard if isinstance(b, bytes)) / 32_000


@pytest.mark.parametrize("drift", [-200e-6, 0, 200e-6])
def test_four_hours_on_a_clock_that_drifts_are_no_trouble(drift: float) -> None:
    room = _Room()
    room.cards = [Card(room.clock, steady(0.3, every_s=0.1 * (1 + drift)))]
    heard = room.listen(4 * 3600)
    assert troubles(heard) == []
    assert abs(sound_s(heard) - 4 * 3600) < 4


def test_a_slow_first_block_is_waited_for_in_step_with_the_clock() -> None:
    room = _Room()
    room.cards = [Card(room.clock, steady(2.0))]
    heard = room.listen(10)
    assert troubles(heard) == []
    assert abs(sound_s(heard) - 10) < 0.3


def test_a_card_that_never_begins_is_told_once_and_tried_again() -> None:
    room = _Room()
    room.cards = [Card(room.clock, iter(())) for _ in range(3)]
    heard = room.listen(9)
    [(at, message, over)] = troubles(heard)
    assert at < 3.2
    assert message.startswith("No sound comes from the microphone: check its cable")
    assert not over
    assert room.opened == 3
    assert abs(sound_s(heard) - 9) < 1, "the case goes on in step with the clock"


def test_a_killed_sound_server_is_told_at_once_and_opened_again() -> None:
    room = _Room()
    room.cards = [
        Card(room.clock, steady(0), dies_s=3.0),
        None,
        None,
        Card(room.clock, steady(6.0)),
    ]
    heard = room.listen(10)
    (gone_s, gone, _), (back_s, _, over) = troubles(heard)
    assert 3.0 <= gone_s <= 3.2
    assert gone == "The microphone is gone: plug it in again."
    assert over
    assert 6.0 <= back_s <= 6.8
    assert heard[-1][1] == SOUND
    during = [b for at, b in heard if gone_s < at < back_s and isinstance(b, bytes)]
    assert set(during) == {SILENCE}
    assert abs(sound_s(heard) - 10) < 0.5
    assert room.cards[0] is not None
    assert room.cards[0].closed


def test_a_stopped_sound_server_is_told_within_a_second_and_its_stale_sound_is_never_heard() -> (
    None
):
    room = _Room()

    def stopped_for_five_seconds() -> Iterator[float]:
        yield from steady(0, 3.0)
        yield from (8.0 + 0.001 * n for n in range(50))  # the backlog, in a burst
        yield from steady(8.0)

    room.cards = [Card(room.clock, stopped_for_five_seconds()), Card(room.clock, steady(8.0))]
    heard = room.listen(12)
    (told_s, _, _), (back_s, _, over) = troubles(heard)
    assert told_s < 3.8
    assert over
    assert back_s >= 8.0
    assert abs(sound_s(heard) - 12) < 0.8, "a backlog would make it longer"


def test_a_microphone_that_is_missing_at_first_is_told_once_and_waited_for() -> None:
    room = _Room()
    room.cards = [None, None, None, None, Card(room.clock, steady(1.7))]
    with pytest.raises(AudioError, match="there is none"):
        room.listen(1)
    heard = room.listen(5, patient=True)
    (told_s, message, _), (back_s, _, over) = troubles(heard)
    assert told_s < 1
    assert message == "there is none"
    assert over
    assert 1.7 <= back_s < 2.3
    assert heard[-1][1] == SOUND
    assert abs(sound_s(heard) - 5) < 0.5, "in step with the clock"


def test_a_sound_server_that_hangs_at_the_start_is_told_and_the_case_goes_on() -> None:
    room, freed = _Room(), threading.Event()

    def hang(_device: str | None) -> Card:
        freed.wait(20)
        raise AudioError("there is none")

    room.open = hang  # type: ignore[method-assign]
    heard = room.listen(6, patient=True)
    freed.set()
    [(told_s, message, _)] = troubles(heard)
    assert told_s < 3.5
    assert message.startswith("No sound comes from the microphone")
    assert abs(sound_s(heard) - 6) < 0.1


def test_gaps_too_short_for_a_stall_are_told_when_they_add_up() -> None:
    room = _Room()

    def gaps() -> Iterator[float]:
        yield from steady(0, 3.0)
        yield from steady(3.25, 5.0)
        yield from steady(5.25, 7.0)

    room.cards = [Card(room.clock, gaps()), Card(room.clock, steady(6.2))]
    (told_s, message, _), (_, _, over) = troubles(room.listen(8))
    assert 5.25 < told_s < 5.5
    assert message.startswith("Some sound from the microphone was lost")
    assert over


def test_late_blocks_that_catch_up_are_no_trouble() -> None:
    room = _Room()

    def jitter() -> Iterator[float]:
        for at_s in steady(0):
            yield at_s + 0.065 * (round(at_s * 10) % 2)  # 165 ms was the longest seen

    room.cards = [Card(room.clock, jitter())]
    heard = room.listen(60)
    assert troubles(heard) == []
    assert abs(sound_s(heard) - 60) < 0.3


def test_our_own_delay_is_not_blamed_on_the_microphone() -> None:
    room = _Room()
    room.cards = [Card(room.clock, steady(0))]
    blocks = from_sound_card(open_stream=room.open, clock_s=room.clock, wait=room.clock.wait)
    heard = []
    for number in range(200):
        heard.append((room.clock.now_s, next(blocks)))
        if number == 50:
            room.clock.wait(2.0)
    assert troubles(heard) == []


def test_sound_lost_to_a_slow_computer_is_told_without_closing_the_microphone() -> None:
    room = _Room()
    room.cards = [Card(room.clock, steady(0), lost_s=[2.0])]
    (_, message, _), (_, _, over) = troubles(room.listen(5))
    assert message.startswith("Sound was lost because the computer is too slow")
    assert over
    assert room.opened == 1


def test_a_device_that_hangs_while_it_is_closed_does_not_stop_the_case() -> None:
    """As found on a virtual sound card: closing waits as long as the sound server is stopped."""
    room, freed = _Room(), threading.Event()

    class _Hanging(Card):
        def close(self) -> None:
            freed.wait(20)

    room.cards = [_Hanging(room.clock, steady(0, 3.0)), Card(room.clock, steady(20))]
    heard = room.listen(10)
    assert abs(sound_s(heard) - 10) < 0.8, "silence goes on in step with the clock"
    assert room.opened == 1, "nothing is opened while the old stream is being closed"
    freed.set()


def test_leaving_the_loop_lets_the_device_go() -> None:
    room = _Room()
    card = Card(room.clock, steady(0))
    room.cards = [card]
    blocks = from_sound_card(open_stream=room.open, clock_s=room.clock, wait=room.clock.wait)
    next(blocks)
    del blocks
    assert card.closed


def test_without_a_microphone_the_sentence_says_what_to_do() -> None:
    with pytest.raises(AudioError, match=f"({missing()})"):
        from_sound_card("no such microphone")


def missing() -> str:
    """What is missing on this machine: the library, or just that device."""
    try:
        importlib.import_module("sounddevice")
    except OSError:
        return "libportaudio2"
    return "no such microphone cannot be opened"
