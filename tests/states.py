"""Every state that the display must show, as a real case comes to it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path

import shown
from shown import ACTS, BEFORE, CRITERIA, FULL, MUTE, PAUSE, UNPLUGGED
from stories import SHIPPED_TEXT, Story

from voicecheck.core.case import Case
from voicecheck.core.inputs import Entered, Restarted, Trouble
from voicecheck.core.wording import CAUTION, OTHER_SHAPE, REHEARSAL
from voicecheck.display.screen import View
from voicecheck.display.view import stopped, view

Said = str | Trouble | Entered | Restarted

GATE_OPEN: Sequence[Said] = (*BEFORE, *CRITERIA, *PAUSE)
BLEEDING = "checklist active bleeding"
SLIPPED = "checklist retraction slipped"
HELP = "checklist call for help"

STORIES: Mapping[str, Sequence[Said]] = {
    **shown.STORIES,
    "structures_uncertain": [*BEFORE, *CRITERIA[:4], "checklist structures uncertain"],
    "neck_pulled_up": [*BEFORE[:3], "checklist neck pulled the wrong way"],
    "withdrawn": [*BEFORE, *CRITERIA[:2], "checklist withdraw the triangle"],
    "bleeding_then_speech": [*GATE_OPEN, BLEEDING, "[unk]"],
    "bleeding_then_read_back": [*GATE_OPEN, BLEEDING, CRITERIA[0]],
    "bleeding_then_refused": [*GATE_OPEN, BLEEDING, "checklist clips on the artery"],
    "bleeding_and_slipped": [*GATE_OPEN, BLEEDING, HELP, SLIPPED, BEFORE[2]],
    "bleeding_while_deaf": [*GATE_OPEN, UNPLUGGED, BLEEDING],
    "bleeding_in_the_pause": [*BEFORE, *CRITERIA, PAUSE[0], BLEEDING],
    "help_in_the_read_back": [*BEFORE, *CRITERIA[:3], HELP],
    "emergency_and_acts": [
        *GATE_OPEN,
        "checklist emergency",
        HELP,
        "checklist clips on the artery",
        "checklist duct clipped leaving a pair",
    ],
    "emergency_at_once": ["checklist emergency"],
    "emergency_while_deaf": [*GATE_OPEN, UNPLUGGED, "checklist emergency"],
    "bailed_out_then_emergency": [*BEFORE, "checklist leaving a drain", "checklist emergency"],
    "bailed_out_and_help": [*BEFORE, *CRITERIA, "checklist converting to open", HELP],
    "back_in_the_course": [*GATE_OPEN, "checklist emergency", ACTS[0], "checklist carry on"],
    "standing_by_while_deaf": [*BEFORE, "checklist stand by", UNPLUGGED],
    "pausing_while_deaf": [*BEFORE, *CRITERIA, UNPLUGGED, PAUSE[0]],
    "second_look_while_deaf": [*BEFORE, *CRITERIA, UNPLUGGED, *PAUSE[:2]],
    "to_an_earlier_question": [*BEFORE, CRITERIA[0], Entered(text="confirm", line=2)],
    "taken_up_again": [*BEFORE, *CRITERIA, Restarted(gap_s=1200.0)],
    "long_caution": [*GATE_OPEN, "checklist duct looks short"],
    "closed_early": [*BEFORE, "checklist close the record", "confirm"],
    "another_structure": [*BEFORE, *CRITERIA[:4], "checklist another structure in view"],
}


def seen(story: Story, *, listening: bool = True) -> View:
    """What the display shows of a story."""
    return view(story.case, story.records[-1], listening=listening)


def told(said: Sequence[Said], text: str = SHIPPED_TEXT, *, rehearsal: bool = False) -> Story:
    """A case to whom this was said; "…" waits for what is due."""
    story = Story(text=text)
    if rehearsal:
        story.records[0] = replace(
            story.records[0], fact=replace(story.case.opened, rehearsal=True)
        )
        story.case = Case(story.records[0])
    for each in said:
        if each == "…":
            story.wait()
        elif isinstance(each, str):
            story.say(each)
        else:
            story.give(each)
    return story


@cache
def view_of(name: str) -> View:
    """The view of a state, with the whole caution."""
    if name == "stopped":
        return stopped(view_of("read_back"), FULL)
    if name == "rehearsal":
        rehearsed = seen(told(STORIES["refused"], rehearsal=True))
        return replace(rehearsed, caution=f"{REHEARSAL} {CAUTION}")
    if name == "other_shape":
        return replace(view_of("read_back"), caution=f"{CAUTION} {OTHER_SHAPE}")
    if name == "closed_with_checkpoint":
        closed = view_of("closed")
        text = f"{closed.asked.text} Checkpoint: 1234-ABCD-EFGH-IJKL-MNOP"
        return replace(closed, asked=replace(closed.asked, text=text))
    if name.startswith("scaffold"):
        return replace(seen(told(SCAFFOLD[name], SCAFFOLD_TEXT)), caution=CAUTION)
    return replace(seen(told(STORIES[name]), listening=name != "read_back"), caution=CAUTION)


SCAFFOLD_TEXT = (Path(__file__).parent / "procedures" / "scaffold.toml").read_text(encoding="utf-8")

READY = (
    "checklist ground level and firm",
    "checklist stabilisers out and locked",
    "checklist every brace is fastened",
    "confirm",
)
SCAFFOLD: Mapping[str, Sequence[Said]] = {
    "scaffold_opened": [],
    "scaffold_wind": [*READY, "checklist wind is picking up"],
    "scaffold_given_up": [*READY, "checklist taking the scaffold down", MUTE],
}

ALL = [
    *STORIES,
    "stopped",
    "rehearsal",
    "other_shape",
    "closed_with_checkpoint",
    *SCAFFOLD,
]
SIZES = {
    "laptop": (1366, 768),
    "window": (1920, 937),
    "full-hd": (1920, 1080),
    "upright": (800, 1280),
    "4k": (3840, 2160),
}
