"""Ask a recogniser from outside this project whether each recorded line can be understood.

Needs PocketSphinx 5.1.1 and its English model (both in the PyPI package), numpy, soundfile and this
project. From the repository's root:

    pip install -e . pocketsphinx==5.1.1
    python recordings_synthetic/intelligible.py

It knows every phrase of the procedure and the scenarios' talk, nothing else, and its answer must be
the whole line. This checks the recordings, not voicecheck's own recogniser. It says nothing about
people.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pocketsphinx  # type: ignore[import-not-found,import-untyped,unused-ignore]
import soundfile

from voicecheck import shipped
from voicecheck.core.conduct_2.grammar import phrases
from voicecheck.live.scenario import Scenario, parse_recording, parse_scenario

FOLDER = Path(__file__).parent
RATE_HZ = 16_000
MARGIN_S = 0.25
"""How much of the quiet before and after a line is given to the recogniser."""

SOUNDS = {
    "cholangiogram": "K AH L AE N JH IY AH G R AE M",
    "fundus": "F AH N D AH S",
    "subtotal": "S AH B T OW T AH L",
    "sulcus": "S AH L K AH S",
}
"""Words that PocketSphinx's dictionary lacks: from parts in CMUdict, or Latin as spoken."""


def scenario(path: Path) -> Scenario:
    """The scenario in this file."""
    return parse_scenario(path.read_text("utf-8"), path.parent.name)


def listener() -> pocketsphinx.Decoder:
    """A recogniser that knows the phrases and the lines of the scenarios, and nothing else."""
    decoder = pocketsphinx.Decoder(
        lm=None, bestpath=False, samprate=RATE_HZ, loglevel="FATAL", remove_noise=False
    )
    talk = {line.say for path in FOLDER.glob("*/scenario.toml") for line in scenario(path).lines}
    known = sorted(talk | set(phrases(shipped.procedure())))
    for word in sorted({word for phrase in known for word in phrase.split()}):
        if decoder.lookup_word(word) is None:
            decoder.add_word(word, SOUNDS[word], True)
    decoder.add_jsgf_string("phrases", _jsgf(known))
    decoder.activate_search("phrases")
    return decoder


def _jsgf(known: list[str]) -> str:
    return f"#JSGF V1.0;\ngrammar phrases;\npublic <phrase> = {' | '.join(known)};\n"


def understood(decoder: pocketsphinx.Decoder, samples: np.ndarray) -> str:
    """What the recogniser understands in one line; "" for nothing."""
    decoder.start_utt()
    decoder.process_raw((samples * 32767).astype("<i2").tobytes(), full_utt=True)
    decoder.end_utt()
    best = decoder.hyp()
    return best.hypstr if best else ""


def heard(decoder: pocketsphinx.Decoder) -> Iterator[tuple[str, str, str, str]]:
    """(scenario, voice, what was said, what was understood) for each line of each recording."""
    for sound in sorted(FOLDER.glob("*/*.opus")):
        recording = parse_recording(sound.with_suffix(".toml").read_text("utf-8"))
        lines = scenario(sound.parent / "scenario.toml").lines
        samples, _ = soundfile.read(sound)
        for line, (from_s, to_s) in zip(lines, recording.cues, strict=True):
            begin, end = (from_s - MARGIN_S) * RATE_HZ, (to_s + MARGIN_S) * RATE_HZ
            answer = understood(decoder, samples[round(begin) : round(end)])
            yield sound.parent.name, recording.voices[line.speaker].name, line.say, answer


def main() -> None:
    """Print every line that was not understood, and the rate for each voice."""
    right, total = Counter[str](), Counter[str]()
    for case, voice, said, answer in heard(listener()):
        total[voice] += 1
        right[voice] += answer == said
        if answer != said:
            print(f"{case} {voice}: {said!r} was understood as {answer!r}")
    for voice, lines in sorted(total.items()):
        print(f"{voice:20} {right[voice]:4} of {lines:4}  {right[voice] / lines:.3f}")
    print(f"{'all':20} {right.total():4} of {total.total():4}")


if __name__ == "__main__":
    main()
