"""Recorded sound as blocks, from a file or a stream: raw, or in a format that libsndfile reads.

A block is `BLOCK_S` of 16 kHz mono sound, signed 16-bit little-endian; the last may be shorter.
Time is counted in samples, so a recording is heard like a live case (see microphone.py).
"""

from __future__ import annotations

import os
import tempfile
import wave
from typing import IO, TYPE_CHECKING, Any, BinaryIO, cast

import numpy as np
import soundfile
import soxr

from voicecheck.core.legible import legible
from voicecheck.sound.pcm import RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from numpy.typing import NDArray

BLOCK_S = 0.1
BLOCK_SAMPLES = round(RATE_HZ * BLOCK_S)
BLOCK_BYTES = 2 * BLOCK_SAMPLES


class AudioError(Exception):
    """A source gives no sound: a sentence with cause and cure."""


class _NoSound(AudioError):
    """A source ends before its first sample."""


def from_file(path: Path) -> Iterator[bytes]:
    """Blocks of a WAV, FLAC, Ogg or Opus file, of raw sound (*.raw), or of a pipe with a name.

    Raises AudioError as it is read; for a file that is cut short, after the last block.
    """
    name = legible(str(path))
    try:
        if path.is_fifo():
            yield from _piped(path, name)
        elif path.exists() and not path.is_file():
            raise AudioError(f"{name} is no file: give a recording, or - for standard input.")
        else:
            with path.open("rb") as file:
                yield from _filed(file, name, raw=path.suffix.lower() == ".raw")
    except OSError as error:
        raise AudioError(f"{name} cannot be read ({error.strerror}): check its name.") from error


def _filed(file: BinaryIO, name: str, *, raw: bool) -> Iterator[bytes]:
    if raw:
        yield from _in_blocks(iter(lambda: file.read(BLOCK_BYTES), b""), name)
        return
    yield from _decoded(file, name)
    if _is_cut_short(file):
        raise AudioError(
            f"{name} is cut short; the part that is there was heard. Copy it again from where it "
            "was recorded."
        )


def _piped(path: Path, name: str) -> Iterator[bytes]:
    """A pipe with a name; opening it would wait for its writer, perhaps for ever."""
    descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    os.set_blocking(descriptor, True)
    with os.fdopen(descriptor, "rb") as pipe:
        try:
            yield from from_stream(pipe, name)
        except _NoSound:
            raise AudioError(
                f"Nobody writes sound into the pipe {name}: start its writer first."
            ) from None


def _is_cut_short(file: BinaryIO) -> bool:
    """Whether a RIFF file is shorter than it says, or an Ogg (RFC 3533) lacks its last page."""
    file.seek(0)
    head, length = file.read(8), file.seek(0, os.SEEK_END)
    if head.startswith(b"RIFF"):
        said = int.from_bytes(head[4:8], "little")
        return length - 8 < said < _RIFF_STREAM
    if head.startswith(b"OggS"):
        file.seek(max(0, length - _OGG_PAGE_BYTES))
        tail = file.read()
        flags = tail[tail.rfind(b"OggS") :][5:6]
        return not flags or not flags[0] & _OGG_END
    return False


_RIFF_STREAM = 0xFFFF_0000
"""A size from here on is a streaming writer's way to say "unknown"."""
_OGG_PAGE_BYTES = 65_307
_OGG_END = 4


def from_stream(stream: BinaryIO, name: str = "standard input") -> Iterator[bytes]:
    """Blocks of raw 16 kHz mono s16, or of a sound file, whichever comes; raises AudioError.

    Raw sound and 16-bit PCM WAV are heard as they arrive, other files once they are complete.
    """
    whole = _Rejoined(stream.read(_HEAD_BYTES), stream)
    if _is_plain_wav(whole.head):
        yield from _plain_wav(whole, name)
    elif whole.head.startswith(_SIGNATURES):
        with tempfile.TemporaryFile() as file:  # its reader needs to seek
            file.writelines(whole.pieces(1 << 16))
            file.seek(0)
            yield from _decoded(file, name)
    else:
        yield from _in_blocks(whole.pieces(BLOCK_BYTES), name)


_HEAD_BYTES = 36
_SIGNATURES = (b"RIFF", b"RIFX", b"RF64", b"fLaC", b"OggS", b"FORM", b"ID3")


def _decoded(file: IO[bytes], name: str) -> Iterator[bytes]:
    """By the file's descriptor: with a Python file, a damaged header prints tracebacks."""
    try:
        with soundfile.SoundFile(file.fileno(), closefd=False) as sound:
            _check(sound.samplerate, sound.channels, name)
            yield from _in_blocks(_resampled(_mixed_down(sound), sound.samplerate), name)
    except soundfile.LibsndfileError as error:
        raise AudioError(
            f"{name} is damaged or of an unknown format ({error.error_string.strip(' .')}): "
            "give a WAV, FLAC or Ogg file that plays elsewhere."
        ) from error


def _check(rate_hz: int, channels: int, name: str) -> None:
    if rate_hz not in _RATES_HZ or channels not in _CHANNELS:
        raise AudioError(
            f"{name} says that it has {channels} channels of {rate_hz} samples a second, which no "
            "recording has: its header is damaged. Record it again."
        )


_RATES_HZ = range(1_000, 768_001)
_CHANNELS = range(1, 65)
"""What sound cards can do, and more (common practice, no source)."""


def _mixed_down(sound: Any) -> Iterator[NDArray[np.float32]]:
    while len(frames := sound.read(sound.samplerate, dtype="float32", always_2d=True)):
        bounded = np.clip(np.nan_to_num(frames), -_LOUDEST, _LOUDEST)
        yield bounded.mean(axis=1, dtype=np.float32)


_LOUDEST = 1000.0
"""Full scale is 1, but a file of floating-point numbers may hold any, even infinity."""


def _resampled(pieces: Iterable[NDArray[np.float32]], rate_hz: int) -> Iterator[bytes]:
    """To 16 kHz (band-limited, by soxr) and 16 bits; 16-bit sound at 16 kHz stays bit for bit."""
    if rate_hz == RATE_HZ:
        yield from map(_as_s16, pieces)
        return
    converter = soxr.ResampleStream(rate_hz, RATE_HZ, 1, dtype="float32", quality="HQ")
    for piece in pieces:
        yield _as_s16(converter.resample_chunk(piece))
    yield _as_s16(converter.resample_chunk(np.zeros(0, np.float32), last=True))


def _as_s16(samples: NDArray[np.float32]) -> bytes:
    return np.clip(np.rint(samples * 32768), -32768, 32767).astype("<i2").tobytes()


def _in_blocks(pieces: Iterable[bytes], name: str) -> Iterator[bytes]:
    """Cut pieces of any length into blocks; raises AudioError for no sound or half a sample."""
    waiting, blocks = bytearray(), 0
    for piece in pieces:
        waiting += piece
        while len(waiting) >= BLOCK_BYTES:
            yield bytes(waiting[:BLOCK_BYTES])
            del waiting[:BLOCK_BYTES]
            blocks += 1
    if len(waiting) % 2:
        raise AudioError(
            f"{name} ends in half a sample: raw sound must be 16 kHz, mono, signed 16-bit "
            "little-endian; anything else needs a file header."
        )
    if waiting:
        yield bytes(waiting)
    elif not blocks:
        raise _NoSound(f"{name} holds no sound: give a recording with speech in it.")


def _is_plain_wav(head: bytes) -> bool:
    """Whether this is the usual header of 16-bit PCM (RFC 2361), which can be heard as it comes."""
    return (head[:4], head[8:16], head[20:22], head[34:36]) == (
        b"RIFF",
        b"WAVEfmt ",
        b"\x01\x00",
        b"\x10\x00",
    )


def _plain_wav(stream: _Rejoined, name: str) -> Iterator[bytes]:
    try:
        with wave.open(cast("IO[bytes]", stream), "rb") as sound:
            _check(sound.getframerate(), sound.getnchannels(), name)
            yield from _in_blocks(_resampled(_wave_frames(sound), sound.getframerate()), name)
    except (wave.Error, EOFError) as error:
        raise AudioError(f"{name} is a damaged WAV file ({error}): record it again.") from error


def _wave_frames(sound: wave.Wave_read) -> Iterator[NDArray[np.float32]]:
    channels = sound.getnchannels()
    while data := sound.readframes(round(sound.getframerate() * BLOCK_S)):
        if len(data) % (2 * channels):
            raise wave.Error("it ends in half a sample")
        frames = np.frombuffer(data, "<i2").reshape(-1, channels).astype(np.float32) / 32768
        yield frames.mean(axis=1, dtype=np.float32)


class _Rejoined:
    """A stream that cannot seek, with the bytes already read put back in front."""

    def __init__(self, head: bytes, rest: BinaryIO) -> None:
        self.head, self._rest = head, rest

    def read(self, size: int) -> bytes:
        """The next `size` bytes, fewer only at the end."""
        while len(self.head) < size and (more := self._rest.read(size - len(self.head))):
            self.head += more
        piece, self.head = self.head[:size], self.head[size:]
        return piece

    def pieces(self, size: int) -> Iterator[bytes]:
        """The rest in pieces of `size` bytes; the last may be shorter."""
        return iter(lambda: self.read(size), b"")
