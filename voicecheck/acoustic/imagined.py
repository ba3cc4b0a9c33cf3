"""Imagined wordings, spoken by synthetic voices: how often what was meant is taken.

    python -m voicecheck.acoustic.imagined WORDINGS.toml… --speak DIR [--voices dev] [--one-in N]
    python -m voicecheck.acoustic.imagined DIR/imagined.csv [--noise suction:10 …] [--rows FILE]

The first command speaks each wording in one voice, in turn. The second plays them to the program as
it ships, and judges by the intent that was imagined (intents.py), at the shipped operating points.
Noises are those of evaluate.py. Never quote the figures as accuracy on people.
"""

from __future__ import annotations

import argparse
import csv
import zlib
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from voicecheck import shipped
from voicecheck.acoustic.evaluate import BLOCK_SAMPLES, disturbed, read, samples
from voicecheck.acoustic.grammar_file import phrases, wordings, words
from voicecheck.acoustic.intents import DENIAL, REPLIES, is_denied_statement, is_right
from voicecheck.acoustic.intents import addressed as whole
from voicecheck.acoustic.intents import read as imagined
from voicecheck.acoustic.making.talkers import development, held_out
from voicecheck.acoustic.trials import make
from voicecheck.core.conduct import CURRENT
from voicecheck.core.inputs import Address, Unclear
from voicecheck.ears.recogniser import Recogniser

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from voicecheck.acoustic.evaluate import Ears
    from voicecheck.acoustic.figures import Clip
    from voicecheck.acoustic.making.talkers import Talker
    from voicecheck.acoustic.noises import Samples
    from voicecheck.core.inputs import Heard
    from voicecheck.core.procedure import Procedure

RIGHT, WRONG, AGAIN, SILENT = "right", "something else", "asked again", "silent"
TAKEN, ANSWERED = "denial taken for it", "denial answered"
VERDICTS = (RIGHT, WRONG, AGAIN, SILENT, TAKEN, ANSWERED)


def speak(files: Sequence[Path], out: Path, talkers: Mapping[str, Talker], one_in: int) -> None:
    """Speak one in so many wordings, into `out` and its imagined.csv; the condition is the intent.

    Replies are left out: without an open read-back they mean nothing.
    """
    address = shipped.procedure().common.listening.address
    said = [each for file in files for each in imagined(file) if each.intent not in REPLIES]
    chosen, voices = said[::one_in], [*talkers]
    each_voice = [voices[place % len(voices)] for place in range(len(chosen))]
    spoken = [(each.intent, whole(each, address)) for each in chosen]
    make(out, "imagined", zip(each_voice, spoken, strict=True), talkers)


def judge(procedure: Procedure, meant: str, heard: Sequence[Heard]) -> str:
    """Return the verdict on what was heard, at the operating points of the procedure."""
    listening = procedure.common.listening
    commands = [(CURRENT.interpret(procedure, each.text), each) for each in heard]
    taken = [
        command
        for command, each in commands
        if not isinstance(command, Unclear | Address)
        and each.confidence >= CURRENT.least_confidence(procedure, command)
    ]
    if meant.startswith(DENIAL) and (taken or heard):
        return TAKEN if any(is_denied_statement(meant, each) for each in taken) else ANSWERED
    if taken:
        return RIGHT if all(is_right(meant, each) for each in taken) else WRONG
    asked = any(
        max(each.confidence, each.addressed) >= listening.least_asked for _, each in commands
    )
    return AGAIN if asked else SILENT


def heard(ears: Ears, sound: Samples) -> list[Heard]:
    """Stream a recording, ±1 at 16 kHz, in blocks of 100 ms."""
    pcm = (np.clip(sound, -1, 1) * 32767).astype("<i2")
    blocks = (pcm[at : at + BLOCK_SAMPLES] for at in range(0, len(pcm), BLOCK_SAMPLES))
    return [each for block in blocks for each in ears.hear(block.tobytes())] + ears.finish()


def measure(
    manifest: Path, grammar: Path, noise: str, seed: int
) -> list[tuple[Clip, str, list[Heard]]]:
    """Return every recording, its verdict and what was heard."""
    procedure = shipped.procedure_at(grammar)
    ears = Recogniser(
        phrases(grammar),
        words=words(grammar),
        wordings=wordings(grammar),
        listening=procedure.common.listening,
    )
    done = []
    for clip in read(manifest):
        rng = np.random.default_rng((seed, zlib.crc32(clip.path.name.encode())))
        told = heard(ears, disturbed(samples(clip.path), noise, rng, []))
        done.append((clip, judge(procedure, clip.condition, told), told))
    ears.close()
    return done


def report(done: Sequence[tuple[Clip, str, list[Heard]]]) -> None:
    """Print how many of each voice, of each intent and of all came out how."""
    keys: tuple[Callable[[Clip], str], ...] = (
        lambda clip: clip.voice,
        lambda clip: clip.condition,
        lambda _: "all",
    )
    for key in keys:
        groups: dict[str, Counter[str]] = {}
        for clip, verdict, _ in done:
            groups.setdefault(key(clip), Counter())[verdict] += 1
        for name, counts in sorted(groups.items()):
            told = ", ".join(f"{counts[each]} {each}" for each in VERDICTS if counts[each])
            print(f"{name}: {counts.total()} said: {told}")


def main() -> None:
    """Read the command line; speak or measure."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    default = shipped.folder("grammars") / shipped.PROCEDURE
    parser.add_argument("files", nargs="+", type=Path)
    parser.add_argument("--speak", type=Path, metavar="DIR")
    parser.add_argument("--voices", choices=("heldout", "dev"), default="heldout")
    parser.add_argument("--styles", type=Path, help="Kokoro's *.bin styles, for the dev voices")
    parser.add_argument("--one-in", type=int, default=1)
    parser.add_argument("--noise", nargs="*", default=["none"])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--grammar", type=Path, default=default)
    parser.add_argument("--rows", type=Path, help="write what became of each recording, as CSV")
    options = parser.parse_args()
    if options.speak:
        of_dev = options.voices == "dev"
        talkers = development(options.styles) if of_dev else held_out()
        speak(options.files, options.speak, talkers, options.one_in)
        return
    rows = [("noise", "voice", "intent", "verdict", "heard", "confidence", "path")]
    for noise in options.noise:
        for manifest in options.files:
            print(f"\n== {manifest}, noise {noise}, seed {options.seed}", flush=True)
            done = measure(manifest, options.grammar, noise, options.seed)
            report(done)
            for clip, verdict, told in done:
                text = " | ".join(each.text for each in told)
                sure = " | ".join(f"{each.confidence:.3f}" for each in told)
                said = (noise, clip.voice, clip.condition, verdict)
                rows.append((*said, text, sure, clip.path.name))
    if options.rows:
        with options.rows.open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows(rows)


if __name__ == "__main__":
    main()
