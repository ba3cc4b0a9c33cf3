"""What is said: why something was refused, what a confirm would confirm, and never too much."""

from __future__ import annotations

import pytest
from stories import THREE_CRITERIA, UP_TO_THE_CRITERIA, Story, shipped

from voicecheck.core.chain import Checkpoint
from voicecheck.core.conduct_2.grammar import phrases
from voicecheck.core.conduct_2.wording import spoken
from voicecheck.core.inputs import Entered, Restarted
from voicecheck.core.wording import CAUTION, checkpoint_aloud
from voicecheck.voice.speech import AnnouncerError, Speech

CLAIMS = (
    "safe to",
    "view achieved",
    "achieved",
    "prevents",
    "ensures",
    "verified",
    "identified by",
)
"""What this program must never say: words that claim more than that something was stated."""


def said(story: Story) -> str:
    return spoken(story.case, story.records[-1])


def everything_said() -> list[str]:
    """Each phrase at the start, in the middle, at the end and after leaving the course."""
    heard = []
    for before in ((), UP_TO_THE_CRITERIA, UP_TO_THE_CRITERIA + THREE_CRITERIA):
        for phrase in phrases(shipped()):
            story = Story()
            story.say(*before, phrase)
            heard.append(said(story))
            story.say("checklist emergency", phrase)
            heard.append(said(story))
    return heard


def test_a_refused_clip_names_all_that_is_not_yet_stated() -> None:
    story = Story()
    story.say(*UP_TO_THE_CRITERIA, "checklist clips on the artery")
    assert said(story) == (
        "Refused: artery clipped. Not yet stated: triangle cleared; lower third off the plate; "
        "two and only two structures; five-second pause."
    )


@pytest.mark.parametrize(
    ("gap_s", "told"), [(2.0, "less than a minute"), (70.0, "1 minute"), (600.0, "10 minutes")]
)
def test_a_record_taken_up_again_tells_how_long_nobody_listened(gap_s: float, told: str) -> None:
    story = Story()
    story.give(Restarted(gap_s=gap_s))
    assert said(story).startswith(f"Record taken up again after {told}. ")


def test_the_last_words_before_a_confirm_are_what_it_confirms() -> None:
    story = Story()
    story.say("checklist triangle free of fat", "checklist clips on the artery")
    assert said(story).startswith("Refused: artery clipped.")
    assert said(story).endswith("Triangle cleared of fat and fibrous tissue: confirm?")


def test_more_than_two_structures_never_nudges_toward_two() -> None:
    story = Story()
    story.say(*UP_TO_THE_CRITERIA, "checklist more than two structures")
    assert said(story) == (
        "More than two structures. Stop and think. Ask for help, take an image, or bail out."
    )


def test_nothing_said_claims_more_than_that_it_was_stated() -> None:
    texts = everything_said()
    assert sum(map(bool, texts)) > len(texts) / 2
    for text in [*texts, CAUTION]:
        assert not any(claim in text.lower() for claim in CLAIMS), text


def test_a_checkpoint_is_spelled_in_the_radiotelephony_alphabet() -> None:
    # ICAO Annex 10 Volume II, 5.2.1.3: Mike, Zulu, X-ray, Whiskey; RFC 4648: "fooba" = MZXW6YTB.
    checkpoint = Checkpoint(length=7, last=b"fooba".hex() + "0" * 54)
    assert checkpoint_aloud(checkpoint) == (
        "Checkpoint: 7 lines, mike zulu x-ray whiskey, 6 yankee tango bravo."
    )


def test_every_prompt_takes_at_most_six_seconds() -> None:
    """As it is really rendered; longer ones are not heard out (the customer's limit)."""
    try:
        speech = Speech()
    except AnnouncerError as error:
        pytest.skip(f"no speech engine: {error}")
    prompts = [text for item in shipped().items for text in (item.ask, item.brief)]
    lengths = {prompt: len(speech.samples(prompt)) / 16_000 for prompt in prompts}
    assert min(lengths.values()) > 0.5
    speech.close()
    assert {prompt: s for prompt, s in lengths.items() if s > 6.0} == {}


def test_a_gap_that_no_clock_could_measure_is_told_as_such() -> None:
    story = Story()
    story.give(Restarted(gap_s=-1.0))
    assert said(story).startswith("Record taken up again; nobody knows after how long. ")


@pytest.mark.parametrize(
    ("phrases_said", "last"),
    [
        (("checklist triangle free of fat", "confirm"), "triangle cleared, stated"),
        (("checklist triangle free of fat",), "triangle cleared, not confirmed"),
        (("checklist clips on the artery", "[unk]"), "artery clipped, refused"),
        (("checklist active bleeding",), "active bleeding, event noted"),
        (("checklist close the record", "negative"), "closing the record, not recorded"),
    ],
)
def test_a_record_taken_up_again_tells_what_was_last_recorded(
    phrases_said: tuple[str, ...], last: str
) -> None:
    """The machine may have stopped before it could answer, or with an answer that was wrong."""
    story = Story()
    story.say(*phrases_said)
    story.give(Restarted(gap_s=2.0))
    assert f" Last on record: {last}. " in said(story)


def test_what_is_told_of_age_and_of_a_stale_key() -> None:
    story = Story()
    story.say(*UP_TO_THE_CRITERIA, *THREE_CRITERIA[:2])
    story.wait()
    assert said(story) == "Stated too long ago. State again: triangle cleared."
    story.say("checklist triangle free of fat")
    story.give(Entered(text="confirm", line=2))
    assert said(story) == (
        "Not taken: that replied to an earlier question. "
        "Triangle cleared of fat and fibrous tissue: confirm?"
    )
