"""What is rendered ahead is what a smooth case really says."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest
from stories import SMALL_TEXT, THREE_CRITERIA, UP_TO_THE_CRITERIA, Story, opened, shipped

from voicecheck.core.conduct_2.grammar import phrases
from voicecheck.core.conduct_2.listening import breaks_in
from voicecheck.core.conduct_2.wording import spoken
from voicecheck.core.foreseen import foreseen
from voicecheck.ears.recogniser import Recogniser
from voicecheck.ears.wordings import wordings
from voicecheck.sound.pcm import BYTES_A_SECOND
from voicecheck.voice.announcer import WavFile
from voicecheck.voice.resilient import ResilientVoice
from voicecheck.voice.speech import AnnouncerError, Speech


def test_all_that_a_smooth_course_says_is_foreseen_word_for_word() -> None:
    story = Story()
    ahead = set(foreseen(story.case.opened))
    assert spoken(story.case, story.records[-1]) in ahead
    for phrase in (*UP_TO_THE_CRITERIA, *THREE_CRITERIA, "checklist begin the pause"):
        story.say(phrase)
        assert spoken(story.case, story.records[-1]) in ahead, phrase
    story.wait()
    assert spoken(story.case, story.records[-1]) in ahead
    for phrase in ("confirm", "checklist clips on the artery", "confirm"):
        story.say(phrase)
        assert spoken(story.case, story.records[-1]) in ahead, phrase


def test_warnings_are_foreseen_and_a_refusal_is_not() -> None:
    story = Story()
    ahead = set(foreseen(story.case.opened))
    for phrase in ("checklist active bleeding", "checklist duct looks short"):
        story.say(phrase)
        assert spoken(story.case, story.records[-1]) in ahead, phrase
    story.say("checklist clips on the artery")
    assert spoken(story.case, story.records[-1]) not in ahead


def test_any_procedure_can_be_foreseen() -> None:
    assert "Shall I record: two?" in foreseen(opened(SMALL_TEXT))


def test_no_prompt_breaks_into_itself() -> None:
    """Its own echo, as loud as a person, is heard by the real recogniser: nothing of it counts."""
    try:
        speech = Speech()
    except AnnouncerError as error:
        pytest.skip(f"no speech engine: {error}")
    quiet = bytes(BYTES_A_SECOND)
    echoes = 0
    heard_as_live = Recogniser(phrases(shipped()), wordings=wordings(shipped()))
    with closing(speech), heard_as_live as ears:
        for text in foreseen(Story().case.opened):
            ears.skip(b"")
            heard = ears.hear(speech.samples(text).astype("<i2").tobytes() + quiet)
            heard += ears.finish()
            echoes += len(heard)
            assert not any(breaks_in(shipped(), each) for each in heard), text
    assert echoes, "it does hear them"


def test_a_steady_voice_has_its_prompts_in_the_cache_before_they_are_said(tmp_path: Path) -> None:
    try:
        speech = Speech(tmp_path / "cache")
    except AnnouncerError as error:
        pytest.skip(f"no speech engine: {error}")
    voice = ResilientVoice(lambda: WavFile(tmp_path / "said.wav", lambda: 0.0, speech))
    voice.prepare(["Triangle cleared.", "Hands still."])
    kept = [path for path in (tmp_path / "cache").iterdir() if path.is_file()]
    assert len(kept) == 2
    voice.close()
