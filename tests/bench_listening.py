"""Memory over hours of listening, as fast as it goes: `python tests/bench_listening.py [HOURS]`.

The whole live loop but for the sound card: recogniser, rules, log with fsync, view, display without
readers. The sound is a round of silence, hiss, talk in the room and commands. Resident memory is
read from /proc (proc(5), statm) at every simulated hour, or tenth of one for short runs.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
from itertools import cycle
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from rooms import ROOMS, recording
from theatre import TOKEN

from voicecheck import shipped
from voicecheck.core.case import Case
from voicecheck.core.conduct_2.grammar import phrases
from voicecheck.core.facts import Record
from voicecheck.display.entries import Entries
from voicecheck.display.keys import keys
from voicecheck.display.server import Display
from voicecheck.display.view import view
from voicecheck.ears.recogniser import Recogniser
from voicecheck.ears.wordings import wordings
from voicecheck.journal import Journal
from voicecheck.live import clock
from voicecheck.live.live_case import Setup, opening
from voicecheck.live.service import Service
from voicecheck.sound.pcm import RATE_HZ
from voicecheck.sound.recording import BLOCK_BYTES, from_file
from voicecheck.voice.announcer import Muted
from voicecheck.voice.resilient import ResilientVoice

HOUR_S = 3600.0


def resident_mb() -> float:
    """Resident memory of this process."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def sound() -> Iterator[bytes]:
    """Some minutes, again and again: quiet, hiss, and a recording with talk and commands."""
    chance = np.random.default_rng(1)
    quiet = chance.normal(0, 16, RATE_HZ * 60).astype("<i2").tobytes()
    hiss = chance.normal(0, 800, RATE_HZ * 60).astype("<i2").tobytes()
    room = ROOMS / "room_talk" / "rms.opus"
    closing_s, _ = recording(room).cues[-2]
    talk = b"".join(from_file(room))[: 2 * int(closing_s * RATE_HZ)]
    round_trip = quiet + talk + hiss
    blocks = [round_trip[at : at + BLOCK_BYTES] for at in range(0, len(round_trip), BLOCK_BYTES)]
    return cycle(blocks[:-1])


def main(hours: float) -> None:
    """Print resident memory as simulated time goes on."""
    procedure = shipped.procedure()
    display = Display(port=0, token=TOKEN, keys=keys(procedure), entries=Entries())
    display.start()

    def show(case: Case, record: Record, _text: str) -> None:
        display.show(view(case, record, listening=True))

    step_s = HOUR_S if hours >= 2 else HOUR_S / 10
    with (
        TemporaryDirectory() as place,
        Journal.create(Path(place) / "long.log") as log,
        Recogniser(
            phrases(procedure), words=procedure.file.lexicon, wordings=wordings(procedure)
        ) as ears,
    ):
        setup = Setup(
            procedure=procedure,
            ears=ears,
            wording="full",
            case_dir=Path(place),
            wav=False,
            mute=True,
        )
        now, voice = clock.of_the_sound()[0], ResilientVoice(Muted)
        service = Service(log=log, ears=ears, voice=voice, now=now, show=show)
        service.open(opening(setup, "long", voice.voice))
        began_s = time.monotonic()

        def listened() -> Iterator[bytes]:
            due_s = 0.0
            for block in sound():
                if service.position_s >= due_s:
                    due_s += step_s
                    passed_s = time.monotonic() - began_s
                    print(
                        f"{service.position_s / HOUR_S:4.1f} h heard in {passed_s:6.0f} s, "
                        f"{service.checkpoint.length:6} lines, RSS {resident_mb():6.1f} MB",
                        flush=True,
                    )
                if service.position_s >= hours * HOUR_S:
                    return
                yield block

        service.run(listened())
    display.close()


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 8.0)
