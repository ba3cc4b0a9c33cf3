"""Make training speech: synthetic voices say texts, kept as Opus files and a manifest of phones.

    python -m voicecheck.acoustic.making.corpus --out DIR --hours H --seed S --engine kokoro \
        --wordnet FOLDER --styles FOLDER --procedure FILE [--unforeseen] [--dev]

Resumable: a file already in the manifest is not made again. The same seed gives the same texts and
voices. See voices.py and text.py for the packages that are needed.
"""

from __future__ import annotations

import argparse
import importlib
import json
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

import numpy as np
import soundfile

from voicecheck.acoustic.grammar_file import phrases as known_phrases
from voicecheck.acoustic.grammar_file import wordings as known_wordings
from voicecheck.acoustic.making import text
from voicecheck.acoustic.making.voices import Espeak, Hibari, Kokoro, Spoken, Voice
from voicecheck.ears.topology import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import TypeAlias

    from numpy.typing import NDArray

    Samples: TypeAlias = NDArray[np.float32]

OPUS_LEVEL = 1 - (20 - 6) / 250
"""libsndfile's scale for Opus: 0 is 256 kb/s, 1 is 6 kb/s a channel; this is 20 kb/s."""

SILENCE_RMS = 10 ** (-50 / 20)


def sources(
    wordnet: Path, procedure: Path, *, unforeseen: bool = False
) -> tuple[list[text.Source], list[float]]:
    """Return every kind of text and its share of the utterances.

    A third are words drawn one by one, some of them invented; if `unforeseen`, three quarters. A
    network that can predict the next word hears it where nobody said it.
    """
    wordfreq = importlib.import_module("wordfreq")
    glosses, examples = text.wordnet_sentences(wordnet)
    words = [w for w in wordfreq.top_n_list("en", 12_000) if text.SPEAKABLE.fullmatch(w)]
    # The root gives rare words a chance: a hundred words make up half of all speech.
    weights = [wordfreq.word_frequency(word, "en") ** 0.35 for word in words]
    phrases = list(known_phrases(procedure))
    heard = known_wordings(procedure)
    sayable = sorted(heard.vocabulary.words) if heard else []
    shares: dict[text.Source, float] = {
        text.one_of(glosses): 0.05,
        text.one_of(examples): 0.11,
        text.word_string(words, weights): 0.36,
        text.invented_words(words, weights): 0.16,
        text.words_of_the_trade(words, weights): 0.20,
        text.statement: 0.04,
        text.reply: 0.02,
        text.order: 0.03,
        text.spelled: 0.03,
    }
    if not unforeseen:
        shares = {
            text.one_of(glosses): 0.08,
            text.one_of(examples): 0.13,
            text.word_string(words, weights): 0.11,
            text.invented_words(words, weights): 0.06,
            text.evenly(sayable or words): 0.11,
            text.words_of_the_trade(words, weights): 0.06,
            text.spontaneous(heard.sentences if heard else phrases): 0.22,
            text.statement: 0.04,
            text.phrase_near(phrases): 0.06,
            text.reply: 0.05,
            text.order: 0.03,
            text.spelled: 0.02,
            text.chatter(examples): 0.03,
        }
    return list(shares), list(shares.values())


def drawn(kinds: Sequence[text.Source], shares: Sequence[float], rng: Random, *, gpu: bool) -> str:
    """Draw one text, or two with a pause between.

    A GPU says three in the time of one, so it gets two to four.
    """
    count = rng.randint(2, 4) if gpu else rng.choice((1, 1, 2))
    return ". ".join(kind(rng) for kind in rng.choices(kinds, shares, k=count))


def trimmed(samples: Samples) -> Samples:
    """Cut off both ends what is more than 50 dB below the peak, except 60 ms."""
    block = SAMPLE_RATE_HZ // 100
    whole = samples[: len(samples) // block * block].reshape(-1, block)
    loud = np.flatnonzero(np.sqrt((whole**2).mean(1)) > SILENCE_RMS * np.abs(samples).max())
    if not len(loud):
        return samples[:0]
    return samples[max(0, (loud[0] - 6) * block) : (loud[-1] + 7) * block]


def make(
    voice: Voice, draw: Callable[[Random], str], out: Path, *, name: str, seed: int, hours: float
) -> None:
    """Say texts until there are so many hours, and add a line to the manifest for each."""
    folder = out / name
    folder.mkdir(parents=True, exist_ok=True)
    manifest = out / f"{name}.jsonl"
    lines_before = manifest.read_text("utf-8").splitlines() if manifest.exists() else []
    done = [json.loads(line) for line in lines_before]
    seconds = sum(line["seconds"] for line in done)
    number = done[-1]["number"] + 1 if done else 0
    with manifest.open("a", encoding="utf-8") as lines:
        while seconds < hours * 3600:
            rng = Random(f"{seed}/{name}/{number}")  # noqa: S311
            said = draw(rng)
            spoken = voice.say(said, rng)
            stored_s = _store(spoken, folder / f"{number:06d}.opus")
            if stored_s:
                seconds += stored_s
                line = {
                    "number": number,
                    "file": f"{name}/{number:06d}.opus",
                    "seconds": round(stored_s, 3),
                    "voice": spoken.voice,
                    "text": said,
                    "phones": " ".join(spoken.phones),
                }
                lines.write(json.dumps(line) + "\n")
                lines.flush()
            number += 1


def _store(spoken: Spoken, path: Path) -> float:
    """Write it and return its seconds; 0 if it is too short, too long or too fast to be right."""
    samples = trimmed(spoken.samples) if len(spoken.samples) else spoken.samples
    seconds = len(samples) / SAMPLE_RATE_HZ
    # A synthesiser that mumbles or rushes would teach wrong labels; 25 phones a second is too many.
    if len(spoken.phones) < 2 or not len(spoken.phones) / 25 < seconds < 20:
        return 0.0
    soundfile.write(
        path,
        samples * (0.7 / max(float(np.abs(samples).max()), 1e-3)),
        SAMPLE_RATE_HZ,
        format="OGG",
        subtype="OPUS",
        compression_level=OPUS_LEVEL,
    )
    return seconds


def main() -> None:
    """Read the command line and make one engine's share of the corpus."""
    parser = argparse.ArgumentParser(description="Make synthetic training speech.")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--hours", type=float, required=True)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--engine", choices=("kokoro", "hibari", "espeak"), required=True)
    parser.add_argument("--part", default="0", help="names one of several processes")
    parser.add_argument("--wordnet", type=Path, required=True, help="folder with data.noun …")
    parser.add_argument("--styles", type=Path, help="folder of Kokoro's *.bin styles")
    parser.add_argument(
        "--procedure", type=Path, required=True, help="its file, or its phrases, one a line"
    )
    parser.add_argument("--unforeseen", action="store_true", help="words that nothing leads to")
    parser.add_argument("--gpu", action="store_true", help="Kokoro on a GPU, through torch")
    parser.add_argument("--dev", action="store_true", help="the reserved Kokoro identities")
    options = parser.parse_args()
    kinds, shares = sources(options.wordnet, options.procedure, unforeseen=options.unforeseen)
    voices: dict[str, Callable[[], Voice]] = {
        "kokoro": lambda: Kokoro(options.styles, dev=options.dev, gpu=options.gpu),
        "hibari": Hibari,
        "espeak": Espeak,
    }
    make(
        voices[options.engine](),
        lambda rng: drawn(kinds, shares, rng, gpu=options.gpu),
        options.out,
        name=f"{'dev-' if options.dev else ''}{options.engine}-{options.part}",
        seed=options.seed,
        hours=options.hours,
    )


if __name__ == "__main__":
    main()
