"""What a port promises, asked of whatever stands there: the real part or its stand-in."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import Any

from speech import RATE_HZ, noise, say
from theatre import PATIENCE_S

from voicecheck.core.inputs import Heard
from voicecheck.live.service import Ears, Voice
from voicecheck.sound.microphone import Stream

PHRASE = "checklist table tilted head up"
_BYTES = 2 * RATE_HZ // 10
_SAID = say(PHRASE).astype("<i2").tobytes()
SAID = [_SAID[at : at + _BYTES] for at in range(0, len(_SAID), _BYTES)]
"""The phrase in blocks of 0.1 s, with 0.4 s of quiet before it and 0.8 s after it."""

UNENDED = SAID[:-9]
"""Its quiet is still too short to end it."""

QUIET = [noise(_BYTES // 2, seed=1).astype("<i2").tobytes()] * 10
"""A second of a quiet room, in blocks of 0.1 s."""

# -------------------------------------------------------------------------------------------- ears


def ears_place_what_they_hear(ears: Ears) -> None:
    """By the time of the sound since the first block; what was skipped counts, too."""
    nothing = _heard(ears, QUIET)
    for block in QUIET[:5]:
        ears.skip(block)
    (heard,) = _heard(ears, SAID + QUIET)
    assert nothing == []
    assert (heard.text, heard.confidence > 0.5) == (PHRASE, True)
    assert 1.5 < heard.audio_from_s < heard.audio_to_s <= 1.5 + len(SAID) / 10
    assert ears.finish() == []


def ears_finish_what_they_were_hearing(ears: Ears) -> None:
    """The sound ended in the middle of it."""
    assert _heard(ears, UNENDED) == []
    (heard,) = ears.finish()
    assert isinstance(heard, Heard)
    assert heard.text == PHRASE
    assert ears.finish() == [], "once"


def ears_drop_what_is_skipped_into(ears: Ears) -> None:
    """Nothing is joined across a gap."""
    assert _heard(ears, UNENDED) == []
    ears.skip(b"")
    assert ears.finish() == []


def ears_hear_on_what_was_open_when_they_begin_anew(ears: Ears) -> None:
    """It is one utterance, that began before; what is said afterwards is heard as well."""
    half = len(SAID) // 2
    assert _heard(ears, SAID[:half]) == []
    ears.begin_anew()
    whole = [each for each in _heard(ears, SAID[half:] + QUIET) if each.text == PHRASE]
    assert [each.audio_from_s < half / 10 < each.audio_to_s for each in whole] == [True]
    assert PHRASE in [each.text for each in _heard(ears, SAID + QUIET)]


def _heard(ears: Ears, blocks: Sequence[bytes]) -> list[Heard]:
    heard = [each for block in blocks for each in ears.hear(block)]
    assert all(isinstance(each, Heard) for each in heard)
    return heard  # type: ignore[return-value]


# ------------------------------------------------------------------------------------------- voice

PROMPT = "Shall I record: triangle cleared of fat?"


def a_voice_takes_its_time_and_stops(voice: Voice, *, silent: bool = False) -> None:
    """Nothing takes no time; to stop is always allowed; as long as all is well there is no news."""
    voice.stop()
    assert voice.say("") == 0
    length_s = voice.say(PROMPT)
    assert length_s == 0 if silent else 1 < length_s < 6
    assert len(voice.sound(PROMPT)) == round(length_s * RATE_HZ)
    voice.stop()
    voice.stop()
    assert voice.news() is None


def a_voice_tells_that_it_fails_and_recovers(voice: Voice, mend: Callable[[], object]) -> None:
    """Each once; while it fails it takes no time and raises nothing. It fails already."""
    assert voice.say(PROMPT) == 0
    voice.stop()
    failed = voice.news()
    assert failed is not None
    assert (failed.part, failed.over, bool(failed.message)) == ("voice", False, True)
    assert voice.news() is None
    mend()
    until_s = time.monotonic() + PATIENCE_S
    while (mended := voice.news()) is None:
        assert time.monotonic() < until_s
        time.sleep(0.02)
    assert (mended.part, mended.over) == ("voice", True)
    assert voice.news() is None
    assert voice.say(PROMPT) > 0


# --------------------------------------------------------------------------------------- announcer


def an_announcer_speaks_while_it_works(announcer: Any, *, silent: bool = False) -> None:
    """The shape is voice/resilient.py's; seconds of speech come back at once."""
    assert announcer.works
    assert announcer.voice
    announcer.prepare([PROMPT])
    assert announcer.say("") == 0
    length_s = announcer.say(PROMPT)
    assert length_s == 0 if silent else 1 < length_s < 6
    assert announcer.say(PROMPT) == length_s, "instead of what is being said"
    announcer.stop()
    announcer.stop()
    assert announcer.works
    announcer.close()


# ------------------------------------------------------------------------------------- microphone


def a_stream_gives_its_blocks_in_order(stream: Stream) -> None:
    """Whole samples, each block with the moment when it came."""
    came: list[tuple[bytes, float]] = []
    while len(came) < 5:
        if (block := stream.read(PATIENCE_S)) is not None:
            came.append(block)
    assert all(sound and len(sound) % 2 == 0 for sound, _ in came)
    moments = [at_s for _, at_s in came]
    assert moments == sorted(moments)
    assert stream.alive()
    assert not stream.lost()
    stream.close()
