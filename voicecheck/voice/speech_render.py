"""The child process that renders speech, one line of JSON per text.

Run as `python -m voicecheck.voice.speech_render`.

It first prints one JSON line: {"voice": …} or {"error": …}. Then, for every line {"text", "path"}
that it reads, it writes a WAV file to that path and prints {} or {"error": …}.

Rendering has its own process because pyttsx3 can hang for good and cannot be interrupted: then the
process is killed. Trials of pyttsx3 2.99 showed: of several texts per runAndWait only the last is
saved; runAndWait may return before the file exists; settings take effect only before the first
text; it prints to stdout.
"""

from __future__ import annotations

import contextlib
import ctypes
import importlib
import json
import os
import sys
import threading
from importlib.metadata import version
from pathlib import Path
from typing import IO, Any

WORDS_PER_MINUTE = 165
"""A synthetic voice is understood best at 150 to 180: Marics & Williges 1988, Human Factors
30(6):719-732, doi:10.1177/001872088803000608."""
FINISH_S = 5.0
"""How long an engine may take to finish after runAndWait has returned."""


def main() -> None:
    """Answer the lines on standard input until it ends."""
    answers = _own_stdout()
    try:
        engine = _engine()
    except Exception as error:  # noqa: BLE001  # whatever a foreign engine raises, tell the parent
        _answer(answers, error=str(error) or type(error).__name__)
        return
    _answer(answers, voice=_voice(engine))
    for line in sys.stdin:
        order = json.loads(line)
        try:
            _render(engine, order["text"], order["path"])
        except Exception as error:  # noqa: BLE001
            _answer(answers, error=str(error) or type(error).__name__)
        else:
            _answer(answers)


def _own_stdout() -> IO[str]:
    """Reserve standard output for answers; what engines print goes to standard error."""
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    return answers


def _answer(answers: IO[str], **content: str) -> None:
    print(json.dumps(content), file=answers, flush=True)


def _engine() -> Any:
    if sys.platform == "linux":
        _load_espeak()
    engine = importlib.import_module("pyttsx3").init()
    engine.setProperty("voice", _english(engine))
    engine.setProperty("rate", WORDS_PER_MINUTE)
    return engine


def _load_espeak() -> None:
    """Load the wheel's library for pyttsx3; without the wheel it looks for the system's own."""
    with contextlib.suppress(ImportError, OSError):
        loader = importlib.import_module("espeakng_loader")
        ctypes.CDLL(loader.get_library_path(), mode=ctypes.RTLD_GLOBAL)
        os.environ["ESPEAK_DATA_PATH"] = loader.get_data_path()


def _english(engine: Any) -> str:
    """A British voice, else another English one; each system names languages in its own way."""
    spoken = {voice.id: _languages(voice) for voice in engine.getProperty("voices")}
    for wanted in ("en-gb", "en"):
        for identifier, languages in spoken.items():
            if any(language.startswith(wanted) for language in languages):
                return str(identifier)
    raise RuntimeError("it has no English voice")


def _languages(voice: Any) -> list[str]:
    names = [n.decode(errors="ignore") if isinstance(n, bytes) else n for n in voice.languages]
    return [name.strip("\x05").lower().replace("_", "-") for name in names] or _by_name(voice)


def _by_name(voice: Any) -> list[str]:
    """On Windows only the voice's name tells its language."""
    return ["en-gb" if "Great Britain" in voice.name else "en"] if "English" in voice.name else []


def _voice(engine: Any) -> str:
    parts = [f"pyttsx3 {version('pyttsx3')}", str(engine)]
    with contextlib.suppress(ModuleNotFoundError):
        parts.append(f"espeakng-loader {version('espeakng-loader')}")
    return ", ".join([*parts, engine.getProperty("voice"), f"{WORDS_PER_MINUTE} words a minute"])


def _render(engine: Any, text: str, path: str) -> None:
    finished = threading.Event()
    token = engine.connect("finished-utterance", lambda **_: finished.set())
    try:
        engine.save_to_file(text, path)
        engine.runAndWait()
        if not finished.wait(FINISH_S) or not Path(path).is_file():
            raise RuntimeError("it did not finish")
    finally:
        engine.disconnect(token)


if __name__ == "__main__":
    main()
