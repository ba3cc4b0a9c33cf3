"""The peer to compare with: pocketsphinx, trained on people, with the same grammar."""

from __future__ import annotations

import importlib
import os
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

import numpy as np

from voicecheck.core.inputs import Heard
from voicecheck.ears.lexicon import pronunciations

if TYPE_CHECKING:
    from collections.abc import Collection

BLOCK_BYTES = 3200  # 0.1 s; it crashes on a whole recording at once (5.1.1)
FAINT_NOISE = 30.0  # of 32768; with digital silence it loses a third of the words


class PocketSphinx:
    """Hears each recording as one utterance, with its best settings: no bestpath, live CMN."""

    def __init__(self, words: Collection[str], grammar: str) -> None:
        """Load the model that its package brings, with a JSGF grammar over these words."""
        with TemporaryDirectory(prefix="voicecheck-") as folder:
            written, lexicon = Path(folder, "phrases.gram"), Path(folder, "words.dict")
            written.write_text(grammar, encoding="utf-8")
            lexicon.write_text("".join(map(_entries, sorted(words))), encoding="utf-8")
            self._decoder: Any = importlib.import_module("pocketsphinx").Decoder(
                jsgf=str(written), dict=str(lexicon), bestpath=False, cmn="live", logfn=os.devnull
            )
        self._rng = np.random.default_rng(1)
        self._open = False

    def hear(self, block: bytes) -> list[Heard]:
        """Listen to a block; it returns nothing before the end."""
        if not self._open:
            self._decoder.start_utt()
            self._open = True
        samples = np.frombuffer(block, "<i2")
        noisy = samples + FAINT_NOISE * self._rng.standard_normal(len(samples))
        self._decoder.process_raw(np.clip(noisy, -32768, 32767).astype("<i2").tobytes())
        return []

    def hears(self, pcm: bytes) -> str:
        """Return what it understands of a whole recording."""
        for at in range(0, len(pcm), BLOCK_BYTES):
            self.hear(pcm[at : at + BLOCK_BYTES])
        return " ".join(each.text for each in self.finish())

    def finish(self) -> list[Heard]:
        """End the utterance and return what it was."""
        self._decoder.end_utt()
        self._open = False
        found = self._decoder.hyp()
        if found is None or not found.hypstr:
            return []
        return [Heard(text=found.hypstr, confidence=1.0, audio_from_s=0.0, audio_to_s=0.0)]


def jsgf(phrases: Collection[str]) -> str:
    """Return the phrases as a Java Speech Grammar."""
    listed = " |\n  ".join(sorted(phrases))
    return f"#JSGF V1.0;\ngrammar phrases;\npublic <phrase> =\n  {listed};\n"


def _entries(word: str) -> str:
    lines = [
        f"{word if rank == 1 else f'{word}({rank})'} {' '.join(spoken)}\n"
        for rank, spoken in enumerate(pronunciations(word), start=1)
    ]
    return "".join(lines)
