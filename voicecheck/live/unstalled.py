"""Keeps a live case going on sound that may stall, such as a pipe: the loop never waits for it."""

from __future__ import annotations

import os
import queue
import sys
import time
from collections.abc import Iterator
from typing import BinaryIO

from voicecheck.core.inputs import Trouble
from voicecheck.sound.background import in_background
from voicecheck.sound.microphone import Block
from voicecheck.sound.recording import BLOCK_S, BLOCK_SAMPLES, AudioError
from voicecheck.sound.watchdog import STALLED_AFTER_S

STALLED = "No sound comes: check what plays it."

_SILENCE = bytes(2 * BLOCK_SAMPLES)


def unstalled(sound: Iterator[bytes]) -> Iterator[Block]:
    """The blocks as they come; while none comes, empty ones, and then silence and a Trouble.

    `sound` is read in a thread, one block ahead. Whatever it raises is raised here.
    """
    blocks: queue.Queue[bytes | BaseException | None] = queue.Queue(1)
    in_background(lambda: _read(sound, blocks))
    last_s, stalled = time.monotonic(), False
    while True:
        try:
            block = blocks.get(timeout=BLOCK_S)
        except queue.Empty:
            if not stalled and time.monotonic() - last_s > STALLED_AFTER_S:
                stalled = True
                yield Trouble(part="microphone", message=STALLED)
            yield _SILENCE if stalled else b""
            continue
        if isinstance(block, BaseException):
            raise block
        if stalled:
            yield Trouble(part="microphone", message=STALLED, over=True)
        if block is None:
            return
        last_s, stalled = time.monotonic(), False
        yield block


def standard_input() -> BinaryIO:
    """Standard input with a buffer of its own.

    Python ends in an abort if a thread still waits in the usual buffer. Raises AudioError if it is
    closed.
    """
    if sys.stdin is None:
        raise AudioError("Standard input is closed: send sound into it, or name a file.")
    try:
        descriptor = os.dup(sys.stdin.fileno())
    except (OSError, ValueError):  # no file of the system, as in a test
        return sys.stdin.buffer
    return os.fdopen(descriptor, "rb")


def _read(sound: Iterator[bytes], blocks: queue.Queue[bytes | BaseException | None]) -> None:
    try:
        for block in sound:
            blocks.put(block)
    except BaseException as error:  # noqa: BLE001  # raised again where the blocks are taken
        blocks.put(error)
    else:
        blocks.put(None)
