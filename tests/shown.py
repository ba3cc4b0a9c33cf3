"""Stories of a real case whose last view is a state that the display must show."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from voicecheck.core.inputs import Trouble

BEFORE = [
    f"checklist {phrase}"
    for phrase in (
        "table tilted head up",
        "all four ports in place",
        "fundus to the shoulder",
        "neck held down and out",
        "sulcus identified",
        "dissecting above the line",
    )
]
CRITERIA = [
    said
    for phrase in ("triangle free of fat", "lower third off the plate", "two and only two")
    for said in (f"checklist {phrase}", "confirm")
]
PAUSE = ["checklist begin the pause", "…", "confirm"]
ACTS = [
    said
    for phrase in (
        "clips on the artery",
        "duct clipped leaving a pair",
        "artery divided",
        "duct transected",
    )
    for said in (f"checklist {phrase}", "confirm")
]
CLOSING = ["liver bed inspected", "specimen removed", "counts handed over", "close the record"]
UNPLUGGED = Trouble(part="microphone", message="The microphone was unplugged; plug it in again.")
MUTE = Trouble(part="voice", message="The loudspeaker is gone; prompts are only shown.")

FULL = (
    "/var/lib/voicecheck/invented-1.log could not be written (No space left on device): free some "
    "space, then serve the case again."
)


STORIES: Mapping[str, Sequence[str | Trouble]] = {
    "opened": [],
    "early": BEFORE[:3],
    "first_criterion": [*BEFORE],
    "read_back": [*BEFORE, *CRITERIA[:3]],
    "refused": [*BEFORE, *CRITERIA[:2], "checklist clips on the artery"],
    "more_than_two": [*BEFORE, *CRITERIA[:4], "checklist more than two structures"],
    "last_criterion": [*BEFORE, *CRITERIA[:4]],
    "pausing": [*BEFORE, *CRITERIA, PAUSE[0]],
    "second_look": [*BEFORE, *CRITERIA, *PAUSE[:2]],
    "gate_open": [*BEFORE, *CRITERIA, *PAUSE],
    "bleeding": [*BEFORE, *CRITERIA, *PAUSE, *ACTS[:2], "checklist active bleeding"],
    "slipped": [*BEFORE, *CRITERIA, "checklist retraction slipped"],
    "difficulty": [*BEFORE, *CRITERIA, "checklist duct looks short"],
    "standing_by": [*BEFORE, *CRITERIA[:2], "checklist stand by"],
    "bailed_out": [*BEFORE, *CRITERIA[:4], "checklist dome down approach"],
    "emergency": [*BEFORE, *CRITERIA, "checklist emergency"],
    "no_reply": [*BEFORE, CRITERIA[0], "…"],
    "expired": [*BEFORE, *CRITERIA, *PAUSE, "…"],
    "help_called": [*BEFORE, *CRITERIA, *PAUSE, "checklist call for help"],
    "other_speech": [*BEFORE, "[unk]"],
    "deaf": [*BEFORE, *CRITERIA[:3], UNPLUGGED],
    "deaf_and_mute": [*BEFORE, *CRITERIA[:3], UNPLUGGED, MUTE],
    "mute": [*BEFORE, *CRITERIA[:3], MUTE],
    "divided": [*BEFORE, *CRITERIA, *PAUSE, *ACTS],
    "safe_line": BEFORE[:4],
    "refused_at_once": ["checklist clips on the artery"],
    "refused_beyond_the_gate": [*BEFORE, *CRITERIA, *PAUSE, "checklist duct transected"],
    "listed": [*BEFORE[:4], "checklist what is outstanding"],
    "closing_early": [*BEFORE, "checklist close the record"],
    "closed": [
        *BEFORE,
        *CRITERIA,
        *PAUSE,
        *ACTS,
        *(f"checklist {phrase}" for phrase in CLOSING),
        "confirm",
    ],
}
