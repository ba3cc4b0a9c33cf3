"""Make a film in which every frame shows its number, and read that number from a picture of it.

WebM (a subset of Matroska, RFC 9559) with VP8: each frame is a key frame, taken from a lossy WebP
picture, whose chunk "VP8 " is one (RFC 9649, 2.5).
"""

from __future__ import annotations

import io
import struct
from pathlib import Path

from PIL import Image, ImageDraw

FRAMES_A_S = 10
BITS, BLOCK = 12, 16
"""A frame's number is a row of this many black or white blocks of so many pixels."""


def make(path: Path, seconds: int) -> None:
    """Write a film of this length; its first frame has the number 0."""
    frames = [_frame(number) for number in range(seconds * FRAMES_A_S)]
    clusters = [
        _cluster(second, frames[second * FRAMES_A_S :][:FRAMES_A_S]) for second in range(seconds)
    ]
    before = _info(seconds) + _TRACKS
    cues_size = len(_cues([0] * seconds))
    places, at = [], len(before) + cues_size
    for cluster in clusters:
        places.append(at)
        at += len(cluster)
    body = before + _cues(places) + b"".join(clusters)
    path.write_bytes(_HEAD + _element(0x18538067, body))


def number_in(picture: bytes) -> int:
    """The number of the frame that a PNG of the film's place on the screen shows."""
    image = Image.open(io.BytesIO(picture)).convert("L")
    middle = image.height // 3
    dots = (image.getpixel((int((bit + 0.5) * image.width / BITS), middle)) for bit in range(BITS))
    return sum((isinstance(dot, int) and dot > 127) << bit for bit, dot in enumerate(dots))


def _frame(number: int) -> bytes:
    image = Image.new("RGB", (BITS * BLOCK, 2 * BLOCK))
    draw = ImageDraw.Draw(image)
    for bit in range(BITS):
        if number >> bit & 1:
            draw.rectangle((bit * BLOCK, 0, (bit + 1) * BLOCK - 1, 2 * BLOCK), fill="white")
    memory = io.BytesIO()
    image.save(memory, "WEBP", quality=80, method=0)
    content = memory.getvalue()
    kind, size = struct.unpack_from("<4sI", content, 12)
    assert kind == b"VP8 "
    return content[20 : 20 + size]


def _element(number: int, content: bytes) -> bytes:
    """An EBML element: its number, its size in eight bytes, its content (RFC 8794)."""
    name = number.to_bytes((number.bit_length() + 7) // 8, "big")
    return name + (len(content) | 1 << 56).to_bytes(8, "big") + content


def _number(number: int, value: int) -> bytes:
    return _element(number, value.to_bytes(8, "big"))


_HEAD = _element(
    0x1A45DFA3,
    _number(0x4286, 1)
    + _number(0x42F7, 1)
    + _number(0x42F2, 4)
    + _number(0x42F3, 8)
    + _element(0x4282, b"webm")
    + _number(0x4287, 4)
    + _number(0x4285, 2),
)
_TRACKS = _element(
    0x1654AE6B,
    _element(
        0xAE,
        _number(0xD7, 1)
        + _number(0x73C5, 1)
        + _number(0x83, 1)
        + _element(0x86, b"V_VP8")
        + _element(0xE0, _number(0xB0, BITS * BLOCK) + _number(0xBA, 2 * BLOCK)),
    ),
)


def _info(seconds: int) -> bytes:
    """Times are in milliseconds."""
    length = _element(0x4489, struct.pack(">d", seconds * 1000.0))
    names = _element(0x4D80, b"tests") + _element(0x5741, b"tests")
    return _element(0x1549A966, _number(0x2AD7B1, 1_000_000) + length + names)


def _cluster(second: int, frames: list[bytes]) -> bytes:
    blocks = b"".join(
        _element(0xA3, b"\x81" + struct.pack(">hB", place * 1000 // FRAMES_A_S, 0x80) + frame)
        for place, frame in enumerate(frames)
    )
    return _element(0x1F43B675, _number(0xE7, second * 1000) + blocks)


def _cues(places: list[int]) -> bytes:
    """Where the part of each second begins."""
    return _element(
        0x1C53BB6B,
        b"".join(
            _element(
                0xBB,
                _number(0xB3, second * 1000)
                + _element(0xB7, _number(0xF7, 1) + _number(0xF1, place)),
            )
            for second, place in enumerate(places)
        ),
    )
