"""What is said: why something was refused, what a confirm would confirm, and never too much."""

from __future__ import annotations

from dataclasses import replace

import pytest
from stories import THREE_CRITERIA, UP_TO_THE_CRITERIA, Story, shipped

from voicecheck.core.case import Case
from voicecheck.core.chain import Checkpoint
from voicecheck.core.conduct_2.grammar import phrases
from voicecheck.core.conduct_2.wording import spoken
from voicecheck.core.facts import Opened
from voicecheck.core.inputs import Entered, Restarted
from voicecheck.core.wording import CAUTION, TAKEN, checkpoint_aloud
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


def test_a_refused_clip_tells_how_much_is_missing_and_what_comes_next() -> None:
    story = Story()
    story.say(*UP_TO_THE_CRITERIA, "checklist clips on the artery")
    assert said(story) == "Refused: artery clips. 4 missing. Next: triangle."


def test_what_is_outstanding_is_told_three_names_at_a_time() -> None:
    story, told = Story(), []
    for _ in range(4):
        story.say("checklist what is outstanding")
        told.append(said(story))
    assert told[:2] == [
        "10 outstanding before any clip: table; ports; fundus.",
        "10 outstanding: neck; safe line; dissection.",
    ]
    names = [name for text in told for name in text.partition(": ")[2].rstrip(".").split("; ")]
    items = shipped().items
    assert names == [item.called for item in items[: len(names)]]
    assert len(names) == 10
    story.say("checklist table tilted head up", "checklist what is outstanding")
    assert said(story) == "9 outstanding before any clip: ports; fundus; neck."


def test_the_second_time_in_a_row_it_tells_what_may_be_said() -> None:
    story = Story()
    story.say("checklist the weather is nice")
    assert said(story) == "Not understood."
    story.say("checklist the weather is nice")
    assert said(story) == "Not understood. Say table tilted head up."
    story.say("checklist table tilted head up", "checklist the weather is nice")
    assert said(story) == "Not understood."


def test_what_is_not_so_or_not_yet_so_is_not_recorded() -> None:
    story = Story()
    story.say("checklist maybe triangle free of fat")
    assert said(story) == "Not recorded: triangle. State it once done."
    story.say("checklist triangle free of fat", "checklist triangle not free of fat")
    assert said(story) == "Not recorded: triangle."
    story.say("checklist triangle free of fat", "confirm", "checklist triangle not free of fat")
    assert said(story) == "Withdrawn: triangle."
    story.say("checklist going to clip the artery")
    assert said(story) == "Refused: artery clips. 10 missing. Next: table."


@pytest.mark.parametrize(
    ("gap_s", "told"),
    [(2.0, "within a minute"), (70.0, "after 1 minute"), (600.0, "after 10 minutes")],
)
def test_a_record_taken_up_again_tells_how_long_nobody_listened(gap_s: float, told: str) -> None:
    story = Story()
    story.give(Restarted(gap_s=gap_s))
    assert said(story).startswith(f"Back {told}.")


def test_the_last_words_before_a_confirm_are_what_it_confirms() -> None:
    story = Story()
    story.say("checklist triangle free of fat", "checklist clips on the artery")
    assert said(story).startswith("Refused, ")
    assert said(story).endswith("Shall I record triangle cleared of fat?")


def test_with_tones_a_confirm_and_what_is_harmless_are_answered_by_a_tone_and_no_more() -> None:
    """Read-backs, refusals and what falls stay words."""
    story = Story()
    first = story.records[0]
    assert isinstance(first.fact, Opened)
    story.records[0] = replace(first, fact=replace(first.fact, wording="tones"))
    story.case = Case(story.records[0])
    told = []
    for phrase in (
        "checklist table tilted head up",
        "checklist triangle free of fat",
        "confirm",
        "checklist clips on the artery",
        "checklist more than two structures",
        "checklist view is lost",
    ):
        story.say(phrase)
        told.append(said(story))
    assert told[:3] == [TAKEN, "Shall I record: triangle cleared of fat?", TAKEN]
    assert told[3].startswith("Refused: artery clips.")
    assert told[4] == "More than two. Stop: image, help or bail out."
    assert told[5] == "Stop. Restore the view. State again: triangle and 1 more."


def test_more_than_two_structures_never_nudges_toward_two() -> None:
    story = Story()
    story.say(*UP_TO_THE_CRITERIA, "checklist more than two structures")
    assert said(story) == "More than two. Stop: image, help or bail out."


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
    assert said(story).startswith("Gap unknown.")


@pytest.mark.parametrize(
    ("phrases_said", "last"),
    [
        (("checklist triangle free of fat", "confirm"), "triangle stated"),
        (("checklist triangle free of fat",), "triangle not recorded"),
        (("checklist clips on the artery", "[unk]"), "artery clips refused"),
        (("checklist active bleeding",), "bleeding event noted"),
        (("checklist close the record", "negative"), "closing the record not recorded"),
    ],
)
def test_a_record_taken_up_again_tells_what_was_last_recorded(
    phrases_said: tuple[str, ...], last: str
) -> None:
    """The machine may have stopped before it could answer, or with an answer that was wrong."""
    story = Story()
    story.say(*phrases_said)
    story.give(Restarted(gap_s=2.0))
    assert f" Last: {last}." in said(story)


def test_what_is_told_of_age_and_of_a_stale_key() -> None:
    story = Story()
    story.say(*UP_TO_THE_CRITERIA, *THREE_CRITERIA[:2])
    story.wait()
    assert said(story) == "Stated too long ago. State again: triangle."
    story.say("checklist triangle free of fat")
    story.give(Entered(text="confirm", line=2))
    assert said(story) == (
        "Not taken: that replied to an earlier question. Shall I record triangle cleared of fat?"
    )
