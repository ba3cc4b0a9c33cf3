"""A recorded case in real time while strangers crowd: what was heard, and how late."""

from __future__ import annotations

import os
import time
from collections import Counter
from contextlib import nullcontext
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

from rooms import ROOMS, scenario
from strangers import strangers
from theatre import TOKEN, Theatre, theatre

from voicecheck.core.inputs import Entered, Heard

SOUND = ROOMS / "clean_case" / "rms.opus"
BY_HAND = "checklist what is outstanding"
_EVERY_S = 4.0
_PATIENCE_S = 400.0
_LEAST_TALK_S = 60.0
"""The recording is longer than a minute: strangers who come in turn divide it among them."""


@dataclass
class Siege:
    """What became of one case."""

    heard: list[str]
    """The words; what became of them depends on the time, and that on the machine."""
    late_s: list[float]
    """From the end of each utterance in the sound to the moment of its line. The sound begins a few
    hundredths of a second after the record's first line; that is not taken off."""
    entered: Counter[int] = field(default_factory=Counter)
    """How often which status answered the nurse."""
    enter_s: list[float] = field(default_factory=list)
    lines_by_hand: int = 0
    busy_s: float = 0.0
    """Processor time of the ears' process; other programs change it less than lateness."""
    strangers_told: Counter[str] = field(default_factory=Counter)


def as_written() -> list[str]:
    """What the scenario says must be heard."""
    return [text for line in scenario(SOUND.parent.name).lines for text in line.heard]


def siege(folder: Path, *loads: str) -> Siege:
    """Run the case, each load in turn; a nurse enters by hand every few seconds."""
    entered: Counter[int] = Counter()
    told: Counter[str] = Counter()
    enter_s: list[float] = []
    with theatre(folder, "--audio", str(SOUND), "--mute") as served:
        until_s = time.monotonic() + _PATIENCE_S
        for n, load in enumerate(loads or ("",)):
            port = urlsplit(served._url).port or 0
            with strangers(load, port, TOKEN) if load else nullcontext(told) as answers:
                ends_s = time.monotonic() + _LEAST_TALK_S / max(1, len(loads))
                last = n == max(1, len(loads)) - 1
                while not _over(served, ends_s, last=last):
                    assert time.monotonic() < until_s, f"no end; {served.text[-2000:]}"
                    if served.views[-1][1]["asked"]["kind"] == "read_back":
                        time.sleep(0.1)  # a nurse lets a reply be given
                        continue
                    began_s = time.monotonic()
                    entered[served.post(BY_HAND).status_code] += 1
                    enter_s.append(time.monotonic() - began_s)
                    time.sleep(_EVERY_S)
            told.update(answers if load else {})
        records, busy_s = served.records, _busy_s(served.process.pid)
    spoken = [(r.at.mono_us / 1e6, r.cause) for r in records if isinstance(r.cause, Heard)]
    return Siege(
        heard=[cause.text for _, cause in spoken],
        late_s=[at_s - cause.audio_to_s for at_s, cause in spoken],
        entered=entered,
        enter_s=enter_s,
        lines_by_hand=sum(isinstance(record.cause, Entered) for record in records),
        busy_s=busy_s,
        strangers_told=told,
    )


def _busy_s(pid: int) -> float:
    """User and system time, without children's: fields 14 and 15 of proc_pid_stat(5)."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _over(served: Theatre, ends_s: float, *, last: bool) -> bool:
    """The last load stays until the record is closed."""
    return "Closed" in served.facts if last else time.monotonic() > ends_s
