"""People's recorded single words -> a corpus to train on, in the form that corpus.py makes.

    python -m voicecheck.acoustic.making.volunteers MANIFEST.csv --out DIR

The manifest has the columns path, kind ("speech"), text, speaker and seconds. One speaker in seven
is held out, by name. Words by one speaker are joined, one to four at a time, so that they teach
voices, rooms and microphones rather than a few single words. All pass through one codec, for the
originals' codecs differ by word.
"""

from __future__ import annotations

import argparse
import csv
import hashlib
import json
from itertools import chain, groupby
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any

import numpy as np
import soundfile

from voicecheck.acoustic.making.corpus import OPUS_LEVEL
from voicecheck.ears.lexicon import UnknownWordError, pronunciations
from voicecheck.ears.topology import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from numpy.typing import NDArray

MOST_JOINED = 4


def is_held_out(speaker: str) -> bool:
    """Whether a speaker is kept for measuring: one in seven, told by a hash of the name."""
    return hashlib.sha256(speaker.encode()).digest()[0] % 7 == 0


def spoken_as(text: str) -> list[str] | None:
    """Return a text's phones, as the dictionary has each word first; None if it lacks one."""
    try:
        return list(chain.from_iterable(pronunciations(word)[0] for word in text.split()))
    except UnknownWordError:
        return None


def joined(rows: Sequence[Mapping[str, str]], rng: Random) -> Iterator[list[Mapping[str, str]]]:
    """Yield each speaker's rows, one to four at a time, in an order drawn anew."""
    by_speaker = sorted(rows, key=lambda row: row["speaker"])
    for _, group in groupby(by_speaker, key=lambda row: row["speaker"]):
        left = list(group)
        rng.shuffle(left)
        while left:
            count = rng.randint(1, MOST_JOINED)
            yield left[:count]
            left = left[count:]


def make(manifest: Path, out: Path) -> int:
    """Write the recordings and their manifest; return how many there are."""
    with manifest.open(encoding="utf-8", newline="") as file:
        spoken = [row for row in csv.DictReader(file) if row["kind"] == "speech"]
    rows = [row for row in spoken if not is_held_out(row["speaker"]) and spoken_as(row["text"])]
    rng = Random(17)  # noqa: S311
    folder = out / "volunteers"
    folder.mkdir(parents=True, exist_ok=True)
    lines = []
    for number, group in enumerate(joined(rows, rng)):
        samples = np.concatenate([_with_pause(manifest.parent / row["path"], rng) for row in group])
        file_name = f"volunteers/{number:06d}.opus"
        soundfile.write(
            out / file_name,
            samples,
            SAMPLE_RATE_HZ,
            format="OGG",
            subtype="OPUS",
            compression_level=OPUS_LEVEL,
        )
        lines.append(_line(number, file_name, samples, group))
    (out / "volunteers.jsonl").write_text(
        "".join(json.dumps(line) + "\n" for line in lines), encoding="utf-8"
    )
    return len(lines)


def _with_pause(path: Path, rng: Random) -> NDArray[np.float32]:
    samples, _ = soundfile.read(path, dtype="float32")
    level = 0.7 / max(float(np.abs(samples).max()), 1e-3)
    pause = np.zeros(int(rng.uniform(0.0, 0.25) * SAMPLE_RATE_HZ), np.float32)
    return np.concatenate((samples * level, pause))


def _line(
    number: int, file: str, samples: NDArray[np.float32], group: Sequence[Mapping[str, str]]
) -> dict[str, Any]:
    text = " ".join(row["text"] for row in group)
    return {
        "number": number,
        "file": file,
        "seconds": round(len(samples) / SAMPLE_RATE_HZ, 3),
        "voice": group[0]["speaker"],
        "text": text,
        "phones": " ".join(spoken_as(text) or []),
    }


def main() -> None:
    """Read the command line and make the corpus."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("manifest", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    print(make(options.manifest, options.out), "recordings")


if __name__ == "__main__":
    main()
