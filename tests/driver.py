"""A case that a test may kill: `driver.py LOG SEED`, served without pause until killed.

All is as `voicecheck serve` has it but ears and voice: display, entries by hand and log. The ears
hear a phrase in every other block. `driver.py LOG SEED early` acknowledges an entry before it is
recorded, as no program may.
"""

from __future__ import annotations

import random
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import cast

from stories import shipped
from theatre import TOKEN

from voicecheck.core.conduct import CURRENT
from voicecheck.core.inputs import Entered, Heard
from voicecheck.display.entries import Entries
from voicecheck.ears.recogniser import Recogniser
from voicecheck.live import serving
from voicecheck.live.ending import Ending
from voicecheck.live.live_case import Setup
from voicecheck.sound.pcm import BYTES_A_SECOND

BLOCK = bytes(3200)

PHRASES = [
    *[phrase for phrase in CURRENT.phrases(shipped()) if "close" not in phrase],
    *["confirm"] * 20,
]
"""All but what ends the record, and often a confirm."""


class Babble:
    """Ears that hear a phrase in every other block."""

    name = "invented"

    def __init__(self, seed: int) -> None:
        self._chance = random.Random(seed)  # noqa: S311  # phrases, no secret
        self._passed_s = 0.0

    def hear(self, block: bytes) -> list[Heard]:
        self.skip(block)
        if not block or self._chance.random() < 0.5:
            return []
        return [
            Heard(
                text=self._chance.choice(PHRASES),
                confidence=1.0,
                audio_from_s=round(self._passed_s - 0.09, 2),
                audio_to_s=round(self._passed_s, 2),
            )
        ]

    def skip(self, block: bytes) -> None:
        self._passed_s += len(block) / BYTES_A_SECOND

    def begin_anew(self) -> None:
        """An utterance is over in its block."""

    def finish(self) -> list[Heard]:
        return []


def _sound(_service: object) -> Iterator[bytes]:
    while True:
        yield BLOCK
        time.sleep(0.002)


def _acknowledge_early() -> None:
    """The mistake that the kills must find."""
    take = Entries.take

    def early(self: Entries) -> Entered | None:
        taken = take(self)
        self.recorded()
        time.sleep(0.02)
        return taken

    Entries.take = early  # type: ignore[method-assign]


def main(log: Path, seed: int, *, early: bool) -> None:
    """Open the case or take it up, as `serve` does."""
    if early:
        _acknowledge_early()
    setup = Setup(
        procedure=shipped(),
        ears=cast("Recogniser", Babble(seed)),
        wording="brief",
        case_dir=log.parent,
        wav=False,
        mute=True,
    )
    place = serving.Place(host="127.0.0.1", port=0, token=TOKEN)
    serving.serve(setup, log.stem, place, _sound, Ending())


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), early=sys.argv[3:] == ["early"])
