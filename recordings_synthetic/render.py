"""Speak every invented scenario with synthetic voices, and write down where each line lies.

Needs Debian's flite, festival and festvox-kdlpc16k, and from PyPI py-nanotts, numpy, soundfile and
this project. From the repository's root:

    apt-get install flite festival festvox-kdlpc16k
    pip install -e . py-nanotts==0.1.1
    python recordings_synthetic/render.py            (or only some: … own_words speaks_over)

The same seed gives the same sound, with two exceptions. Pico's sometimes differs by a thousandth of
full scale, and each Ogg file gets a random stream number.
"""

from __future__ import annotations

import json
import sys
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import soundfile

from voicecheck.acoustic.making.talkers import Sound, Talker, festival, flite, pico
from voicecheck.live.scenario import Line, Scenario, Speaker, parse_recording, parse_scenario

FOLDER = Path(__file__).parent
RATE_HZ = 16_000
SPEECH_DBFS = -23.0
FLOOR_DBFS = -60.0
COMPRESSION = 0.92
"""libsndfile's scale for Opus, 0 to 1: about 26 kb/s for one channel."""

CMU = "CMU permissive licence (free to use, modify and sell; keep the notice)"
CSTR = "CSTR permissive licence, University of Edinburgh (free to use, modify and sell; keep it)"
APACHE = "Apache-2.0"


@dataclass(frozen=True, kw_only=True, slots=True)
class Voice:
    """One synthetic voice, where it comes from, and how fast it speaks here."""

    say: Talker
    package: str
    licence: str
    room: str
    """The voice of the room when this one is the surgeon; always from another synthesiser."""
    stretch: float = 1.0


_flite = partial(Voice, package="flite 2.2-5 (Debian)", licence=CMU)
_pico = partial(Voice, package="py-nanotts 0.1.1 (PyPI), SVOX Pico", licence=APACHE)
_festival = partial(
    Voice,
    package="festival 2.5.0-9, festvox-kdlpc16k 1.4.0-6.1 (Debian)",
    licence=CSTR,
)

VOICES: Mapping[str, Voice] = {
    "awb": _flite(say=flite("awb"), room="pico_gb"),
    "rms": _flite(say=flite("rms"), room="pico_us", stretch=0.93),
    "slt": _flite(say=flite("slt"), room="pico_gb_low"),
    "pico_us": _pico(say=pico("en-US"), room="rms"),
    "pico_us_low": _pico(say=pico("en-US", 0.8), room="slt"),
    "pico_gb": _pico(say=pico("en-GB"), room="ked", stretch=1.06),
    "pico_gb_low": _pico(say=pico("en-GB", 0.85), room="slt"),
    "ked": _festival(say=festival("voice_ked_diphone"), room="pico_us", stretch=1.1),
}

CAST: Mapping[str, tuple[str, ...]] = {
    "clean_case": ("rms", "pico_gb", "ked"),
    "early_clip": ("slt", "pico_us_low", "awb"),
    "view_lost": ("awb", "pico_us", "rms"),
    "sulcus_not_seen": ("pico_gb_low", "slt", "ked"),
    "third_structure": ("pico_us", "rms", "pico_gb"),
    "emergency": ("ked", "awb", "slt"),
    "room_talk": ("pico_gb", "rms", "slt"),
    "own_words": ("slt", "rms", "pico_us"),
    "speaks_over": ("rms", "slt", "pico_us_low"),
}
"""Scenario → the voices of the surgeon, one recording each."""

# ---------------------------------------------------------------------------------- one utterance


def utterance(voice: Voice, text: str, chance: np.random.Generator) -> Sound:
    """One line, without silence around it, at `SPEECH_DBFS` give or take 2 dB."""
    sound = trimmed(voice.say(text, voice.stretch * chance.uniform(0.96, 1.04)))
    level_dbfs = SPEECH_DBFS + chance.uniform(-2, 2)
    return sound * (_gain(level_dbfs) / speech_rms(sound))


def trimmed(sound: Sound) -> Sound:
    """Cut both ends where they are below −45 dB of the peak; leave 20 ms, and fade 5 ms of it."""
    loud = np.flatnonzero(np.abs(sound) > np.abs(sound).max() * _gain(-45))
    margin = RATE_HZ // 50
    cut = sound[max(0, loud[0] - margin) : loud[-1] + margin].copy()
    fade = np.linspace(0, 1, RATE_HZ // 200)
    cut[: fade.size] *= fade
    cut[-fade.size :] *= fade[::-1]
    return cut


def speech_rms(sound: Sound) -> float:
    """Root mean square over the 20 ms frames within 30 dB of the loudest."""
    frame = RATE_HZ // 50
    power = np.square(sound[: sound.size // frame * frame]).reshape(-1, frame).mean(axis=1)
    return float(np.sqrt(power[power > power.max() / 1000].mean()))


def _gain(level_db: float) -> float:
    return float(10 ** (level_db / 20))


# --------------------------------------------------------------------------------- one recording


def recording(
    scenario: Scenario, voice: str, chance: np.random.Generator
) -> tuple[Sound, list[list[float]]]:
    """All lines with quiet between them over one noise floor, and each line's from and to (s)."""
    parts, cues, at = [_quiet(chance)], [], 0
    at = parts[0].size
    for line in scenario.lines:
        sound = utterance(VOICES[_speaking(line, voice)], line.say, chance)
        cues.append([round(at / RATE_HZ, 3), round((at + sound.size) / RATE_HZ, 3)])
        parts += [sound, _quiet(chance)]
        at += sound.size + parts[-1].size
    whole = np.concatenate(parts)
    return whole + _room_tone(whole.size, chance), cues


def _speaking(line: Line, voice: str) -> str:
    return voice if line.speaker is Speaker.SURGEON else VOICES[voice].room


def _quiet(chance: np.random.Generator) -> Sound:
    return np.zeros(round(chance.uniform(0.75, 1.0) * RATE_HZ))


def _room_tone(size: int, chance: np.random.Generator) -> Sound:
    """Noise that falls with frequency, as in a ventilated room."""
    white = chance.standard_normal(size + 7)
    tone: Sound = np.convolve(white, 0.75 ** np.arange(8), "valid")
    return tone * (_gain(FLOOR_DBFS) / float(np.sqrt(np.square(tone).mean())))


def described(scenario: Scenario, voice: str, cues: list[list[float]]) -> str:
    """The recording's .toml: who speaks, under which licence, and the cues."""
    roles = {line.speaker: _speaking(line, voice) for line in scenario.lines}
    rows = "".join(f"    {json.dumps(cue)},\n" for cue in cues)
    text = f'invented = "Synthetic speech; no person."\ncues = [\n{rows}]\n'
    for role, name in sorted(roles.items()):
        pairs = {"name": name, "package": VOICES[name].package, "licence": VOICES[name].licence}
        text += f"\n[voices.{role}]\n"
        text += "".join(f"{key} = {json.dumps(value)}\n" for key, value in pairs.items())
    parse_recording(text, voice)
    return text


def render(folder: Path, voice: str) -> None:
    """Write one scenario in one voice: <voice>.opus and <voice>.toml."""
    scenario = parse_scenario((folder / "scenario.toml").read_text("utf-8"), folder.name)
    chance = np.random.default_rng(zlib.crc32(f"{folder.name} {voice}".encode()))
    sound, cues = recording(scenario, voice, chance)
    assert np.abs(sound).max() < 1, f"{folder.name} {voice} clips"  # noqa: S101
    soundfile.write(
        folder / f"{voice}.opus",
        sound,
        RATE_HZ,
        format="OGG",
        subtype="OPUS",
        compression_level=COMPRESSION,
    )
    (folder / f"{voice}.toml").write_text(described(scenario, voice, cues), "utf-8")


if __name__ == "__main__":
    for name in sys.argv[1:] or CAST:
        for each in CAST[name]:
            print(f"{name} {each}")
            render(FOLDER / name, each)
