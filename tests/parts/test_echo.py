"""The machine never answers itself: its prompts come back late, loud or faint, through a room.

A sample of what `python tests/bench_echo.py` measures.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from itertools import product
from random import Random

import pytest
from echo import LATE_S, LEVELS_DB, Echo, changes, ears_for, played_back, prompts, room
from prompted import SCAFFOLD_TEXT, scaffold
from stories import SHIPPED_TEXT, shipped

from voicecheck.core.procedure import Procedure
from voicecheck.voice.speech import AnnouncerError, Speech

PLAYED = 24
"""In each procedure: every other cell of the table once."""


@pytest.fixture(scope="module")
def speech() -> Iterator[Speech]:
    try:
        opened = Speech()
    except AnnouncerError as error:
        pytest.skip(f"no speech engine: {error}")
    with closing(opened):
        yield opened


@pytest.mark.parametrize(
    ("text", "procedure"), [(SHIPPED_TEXT, shipped()), (SCAFFOLD_TEXT, scaffold())]
)
def test_no_prompt_that_comes_back_while_a_question_is_open_changes_anything(
    text: str, procedure: Procedure, speech: Speech, counted: list[str]
) -> None:
    """The customer: at any delay from 0 to 3 s, any level from -30 to +6 dB, dry and in a room."""
    chance, hall = Random(5), room()  # noqa: S311  # no secret
    cells = chance.sample(list(product(LATE_S, LEVELS_DB, (None, hall))), PLAYED)
    asking = chance.sample([each for each in prompts(text) if each.asks], PLAYED)
    with ears_for(procedure) as ears:
        for (late_s, level_db, around), prompt in zip(cells, asking, strict=True):
            echo = Echo(say_it=speech.samples, late_s=late_s, level_db=level_db, room=around)
            recorded = played_back(prompt.story, ears, echo)
            assert recorded, "it is heard at all"
            assert not changes(recorded), f"{late_s} s, {level_db} dB: {prompt.text}"
            assert echo.said == [prompt.text], "it was answered"
    counted.append(f"{PLAYED} prompts of {procedure.head.id} came back, and changed nothing")
