"""How fast a live case answers, on virtual sound cards: `python tests/bench_live.py [COMMANDS]`.

Measured from outside the program: when the last sound of a phrase has been given to the virtual
microphone, when the page is sent the answer, when the loudspeaker begins to sound; how soon a
prompt falls silent after an entry by hand; how soon a missing device is shown.
"""

from __future__ import annotations

import math
import sys
import threading
import time
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from rooms import ROOMS, spoken
from sound_card import Cards, Device, Samples, sound_cards
from theatre import Theatre, theatre

SOUND = ROOMS / "clean_case" / "rms.opus"


class Meter:
    """When a device began and ceased to sound, on the monotonic clock."""

    def __init__(self, device: Device) -> None:
        self._recorder = device.record()
        self.loud_s = self.quiet_s = 0.0
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._thread.start()

    def _watch(self) -> None:
        assert self._recorder.stdout is not None
        while data := self._recorder.stdout.read(320):
            now_s = time.monotonic()
            level = np.sqrt(np.mean(np.frombuffer(data, "<i2").astype(float) ** 2))
            if level > 100:
                self.loud_s = now_s
            else:
                self.quiet_s = now_s

    def begins(self, after_s: float, patience_s: float = 10) -> float:
        """When it first sounds after that moment."""
        while self.loud_s <= after_s:
            if time.monotonic() > after_s + patience_s:
                return float("nan")
            time.sleep(0.002)
        return self.loud_s

    def ceases(self, after_s: float) -> float:
        """When it last sounded before half a second of quiet."""
        while time.monotonic() - max(self.loud_s, after_s) < 0.5:
            time.sleep(0.002)
        return self.loud_s

    def end(self) -> None:
        self._recorder.kill()
        self._thread.join(5)
        self._recorder.communicate()


@dataclass(kw_only=True)
class Bench:
    """One case and its cards."""

    cards: Cards
    served: Theatre
    meter: Meter
    screen_s: list[float] = field(default_factory=list)
    sound_s: list[float] = field(default_factory=list)
    missed: int = 0

    def quiet(self) -> None:
        """Nothing is being said, and the microphone hears."""

        def still() -> bool:
            came_s, view = self.served.views[-1]
            hears = view["machine"]["hearing"] == "listening"
            return hears and time.monotonic() - max(came_s, self.meter.loud_s) > 1

        self.served.until(still, "quiet")

    def say(self, phrase: Samples) -> None:
        """One phrase, and how soon it is answered; the quiet that a player adds is not counted."""
        self.quiet()
        known, views = len(self.served.records), len(self.served.views)
        microphone = Meter(self.cards.microphone)
        time.sleep(0.3)
        self.cards.microphone.play(phrase)
        ended_s = microphone.loud_s
        microphone.end()
        until_s = time.monotonic() + 4
        while time.monotonic() < until_s and len(self.served.records) == known:
            time.sleep(0.005)
        if len(self.served.records) == known:
            self.missed += 1
            return
        self.served.until(lambda: len(self.served.views) > views, "view")
        self.screen_s.append(self.served.views[views][0] - ended_s)
        self.sound_s.append(self.meter.begins(ended_s) - ended_s)


def told(name: str, seconds: list[float]) -> None:
    """Median and 95th percentile."""
    known = np.array([s for s in seconds if not math.isnan(s)])
    middle, high = np.percentile(known, [50, 95]) if len(known) else (float("nan"),) * 2
    print(f"{name:<44} n={len(known):<3} median {middle:.3f} s  p95 {high:.3f} s", flush=True)


def phrases(count: int) -> list[Samples]:
    """The items of a clean case that need no confirm, over and over."""
    said = [
        np.frombuffer(sound, "<i2")
        for line, sound in spoken(SOUND)
        if line.then == ("Stated",) and line.say != "confirm"
    ]
    return [said[n % len(said)] for n in range(count)]


def silenced(bench: Bench) -> list[float]:
    """Ten long prompts, each cut short by an entry by hand."""
    taken = []
    for _ in range(10):
        bench.quiet()
        began_s = bench.served.enter("checklist what is outstanding")
        bench.meter.begins(began_s)
        time.sleep(0.7)
        cut_s = bench.served.enter("confirm")
        taken.append(bench.meter.ceases(cut_s) - cut_s)
    return taken


def noticed(bench: Bench, device: Device, part: str) -> list[float]:
    """Five times unplugged: when the page says so."""
    taken = []
    for _ in range(5):
        bench.quiet()
        gone_s = time.monotonic()
        device.unplug()
        shown_s = bench.served.until_view(
            lambda view: part in view["machine"]["trouble"].lower(), "trouble"
        )
        taken.append(shown_s - gone_s)
        device.plug_in()
        bench.served.until_view(lambda view: not view["machine"]["trouble"], "end of trouble")
    return taken


def main(count: int) -> None:
    """Print a line for each figure."""
    with ExitStack() as stack:
        place = Path(stack.enter_context(TemporaryDirectory()))
        cards = stack.enter_context(sound_cards())
        options = ("--wording", "brief")
        served = stack.enter_context(theatre(place, *options, environment=cards.environment))
        bench = Bench(cards=cards, served=served, meter=Meter(cards.loudspeaker))
        for phrase in phrases(count):
            bench.say(phrase)
        told("end of speech -> screen", bench.screen_s)
        told("end of speech -> first sound of the answer", bench.sound_s)
        print(f"not answered within 4 s: {bench.missed} of {count}")
        told("entry by hand -> prompt silent", silenced(bench))
        told("microphone unplugged -> screen", noticed(bench, cards.microphone, "microphone"))
        bench.meter.end()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 50)
