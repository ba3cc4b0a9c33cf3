"""Plays the prompts back to the machine in all delays, levels, rooms: `python tests/bench_echo.py`.

Half an hour on one idle core. Each cell of the table says how many prompts came back, and of how
many something came: a fact, an answer, or word that somebody spoke over the machine. Spoken by
espeak-ng, as it is shipped, and by flite's slt, which trained nothing. Of what is said while a
question is open, each cell draws its own; all else comes back twice, each time in another cell.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from itertools import cycle, product
from random import Random

import numpy as np
from echo import LATE_S, LEVELS_DB, Echo, changes, ears_for, played_back, prompts, room
from numpy.typing import NDArray
from prompted import SCAFFOLD_TEXT, scaffold
from stories import SHIPPED_TEXT, shipped

from voicecheck.acoustic.making.talkers import flite
from voicecheck.voice.speech import Speech

A_CELL = 10
"""Of the prompts that ask, in each cell."""
CELLS = list(product(LATE_S, LEVELS_DB, (False, True)))


def slt(text: str) -> NDArray[np.int16]:
    """The other voice."""
    return np.asarray(flite("slt")(text, 1.0) * 32767, np.int16)


def main() -> None:
    """Print what came of it, and the table."""
    speech, chance, hall = Speech(), Random(1), room()  # noqa: S311  # no secret
    voices: cycle[Callable[[str], NDArray[np.int16]]] = cycle((speech.samples, slt))
    played, came = Counter[object](), Counter[object]()
    for text, procedure in ((SHIPPED_TEXT, shipped()), (SCAFFOLD_TEXT, scaffold())):
        every = prompts(text)
        asking = [each for each in every if each.asks]
        others = [each for each in every if not each.asks]
        drawn = [(cell, each) for cell in CELLS for each in chance.sample(asking, A_CELL)]
        drawn += [(cell, each) for each in others for cell in chance.sample(CELLS, 2)]
        with ears_for(procedure) as ears:
            for cell, prompt in drawn:
                late_s, level_db, in_a_room = cell
                around = hall if in_a_room else None
                echo = Echo(say_it=next(voices), late_s=late_s, level_db=level_db, room=around)
                found = changes(played_back(prompt.story, ears, echo))
                played[cell] += 1
                came[cell] += bool(found)
                for record in found:
                    print(f"{cell} {prompt.text!r}: {record.cause}, {record.fact}", flush=True)
    speech.close()
    print("late, s  level, dB  through  played  something came of it")
    for cell in CELLS:
        late_s, level_db, in_a_room = cell
        through = "a room" if in_a_room else "dry"
        print(f"{late_s:7} {level_db:10} {through:>8} {played[cell]:7} {came[cell]:21}")
    print(f"{sum(played.values())} played, {sum(came.values())} of which something came.")


if __name__ == "__main__":
    main()
