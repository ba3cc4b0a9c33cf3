"""Two virtual sound cards, a microphone and a loudspeaker: PulseAudio in user mode, null sinks.

Each has a sound server of its own, so that one can be unplugged, stopped or killed without the
other, and no other source is there for a stream to be moved to. ALSA joins both as "default", so
that PortAudio finds what it finds on a real machine. A recipe that was found by trying.
"""

from __future__ import annotations

import ctypes.util
import os
import shutil
import signal
import subprocess
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

import numpy as np
import pytest
from numpy.typing import NDArray

RATE_HZ = 16_000
Samples = NDArray[np.int16]

_ALSA = """
</usr/share/alsa/alsa.conf>
pcm.!default {{
  type asym
  capture.pcm {{ type pulse server "unix:{microphone}" }}
  playback.pcm {{ type pulse server "unix:{loudspeaker}" }}
  hint {{ show on description "x" }}
}}
"""
"""No names of their own: PulseAudio would offer the loudspeaker's monitor as another microphone."""


class Device:
    """One sound server with one device: it can be unplugged, stopped and killed, and come back."""

    def __init__(self, folder: Path, name: str) -> None:
        self._folder, self._name = folder, name
        self.socket = folder / f"{name}.socket"
        self._players: list[subprocess.Popen[bytes]] = []
        self.start()

    @property
    def monitor(self) -> str:
        """What sounds there, as a source."""
        return f"{self._name}.monitor"

    def start(self) -> None:
        """A sound server with the device plugged in."""
        runtime = self._folder / f"{self._name}.run"
        runtime.mkdir(exist_ok=True)
        server = f"module-native-protocol-unix auth-anonymous=1 socket={self.socket}"
        options = ("--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no")
        log = f"--log-target=file:{self._folder / self._name}.log"
        self._server = subprocess.Popen(
            ["pulseaudio", "-n", *options, log, "-L", server],
            env={**os.environ, "PULSE_RUNTIME_PATH": str(runtime), "HOME": str(self._folder)},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        until_s = time.monotonic() + 20
        while self._control("info", check=False).returncode:
            assert time.monotonic() < until_s, "the virtual sound card did not start"
            time.sleep(0.05)
        self.plug_in()

    def plug_in(self, rate_hz: int = RATE_HZ) -> None:
        """The device is there, with the faint noise of a room: no microphone gives pure zeros."""
        sink = f"rate={rate_hz} channels=1 sink_name={self._name}"
        self._control("load-module", "module-null-sink", *sink.split())
        self._control("set-default-source", self.monitor)
        self._noise()

    def unplug(self) -> None:
        """The device is gone; the sound server stays."""
        self._control("unload-module", "module-null-sink")
        self.silence()

    def change_rate(self) -> None:
        """The device is back, and runs at another rate."""
        self.plug_in(44_100)

    def take_away(self) -> None:
        """Another program holds the device: PulseAudio suspends what somebody else reserves."""
        self._control("suspend-sink", self._name, "1")

    def hand_back(self) -> None:
        """The other program has ended."""
        self._control("suspend-sink", self._name, "0")

    def kill(self) -> None:
        """The sound server is gone without a word."""
        self._server.kill()
        self._server.wait()
        self.silence()

    def stop(self) -> None:
        """The sound server hangs."""
        self._server.send_signal(signal.SIGSTOP)

    def go_on(self) -> None:
        """It hangs no more."""
        self._server.send_signal(signal.SIGCONT)

    def end(self) -> None:
        """Leave nothing behind."""
        self.go_on()
        self.kill()

    def play(self, samples: Samples) -> None:
        """Sound there, in real time; returns when it has been played."""
        player = self.player()
        assert player.stdin is not None
        player.stdin.write(samples.astype("<i2").tobytes())
        player.stdin.close()
        player.wait()
        self._players.remove(player)

    def player(self) -> subprocess.Popen[bytes]:
        """Plays there what is written to its standard input."""
        command = self._raw("pacat", "--playback", f"--device={self._name}")
        player = subprocess.Popen(command, stdin=subprocess.PIPE)
        self._players.append(player)
        return player

    def record(self, source: str = "") -> subprocess.Popen[bytes]:
        """What sounds there from now on, as raw 16 kHz mono s16 on standard output."""
        device = f"--device={source or self.monitor}"
        return subprocess.Popen(self._raw("pacat", "--record", device), stdout=subprocess.PIPE)

    def silence(self) -> None:
        """Nothing plays there any more."""
        for player in self._players:
            player.kill()
            player.communicate()
        self._players.clear()

    def _noise(self) -> None:
        """About -66 dBFS, as long as the device is there; it also keeps the null sink running."""
        noise = np.random.default_rng(3).normal(0, 16, RATE_HZ * 10).astype("<i2").tobytes()
        pipe = self.player().stdin
        threading.Thread(target=_repeat, args=(pipe, noise), daemon=True).start()

    def _raw(self, *command: str) -> list[str]:
        form = (f"--rate={RATE_HZ}", "--channels=1", "--format=s16le", "--latency-msec=60", "--raw")
        return [command[0], f"--server=unix:{self.socket}", *command[1:], *form]

    def _control(self, *command: str, check: bool = True) -> subprocess.CompletedProcess[str]:
        line = ["pactl", f"--server=unix:{self.socket}", *command]
        return subprocess.run(line, check=check, capture_output=True, text=True, timeout=20)


class Cards:
    """The microphone and the loudspeaker of one theatre."""

    def __init__(self, folder: Path) -> None:
        self.microphone, self.loudspeaker = Device(folder, "mic"), Device(folder, "speaker")
        settings = folder / "alsa.conf"
        settings.write_text(
            _ALSA.format(microphone=self.microphone.socket, loudspeaker=self.loudspeaker.socket)
        )
        self.environment = {**os.environ, "ALSA_CONFIG_PATH": str(settings)}

    @contextmanager
    def fed_back(self, gain: float) -> Iterator[None]:
        """What the loudspeaker says also reaches the microphone, at this gain."""
        heard, spoken = self.loudspeaker.record(), self.microphone.player()
        assert heard.stdout is not None
        assert spoken.stdin is not None
        carrier = threading.Thread(target=_carry, args=(heard.stdout, spoken.stdin, gain))
        carrier.start()
        try:
            yield
        finally:
            heard.kill()
            carrier.join(10)
            heard.communicate()

    def end(self) -> None:
        """Leave nothing behind."""
        self.microphone.end()
        self.loudspeaker.end()


def _repeat(pipe: IO[bytes], sound: bytes) -> None:
    with suppress(OSError, ValueError):  # the player is gone, and its pipe closed
        while True:
            pipe.write(sound)


def _carry(heard: IO[bytes], spoken: IO[bytes], gain: float) -> None:
    with suppress(BrokenPipeError):
        while data := heard.read(640):
            samples = np.frombuffer(data[: len(data) // 2 * 2], "<i2") * gain
            spoken.write(samples.astype("<i2").tobytes())
            spoken.flush()
        spoken.close()


@contextmanager
def sound_cards() -> Iterator[Cards]:
    """Plugged in until the end; skips where PulseAudio or PortAudio is missing."""
    missing = [name for name in ("pulseaudio", "pactl", "pacat") if not shutil.which(name)]
    missing += [] if ctypes.util.find_library("portaudio") else ["libportaudio2"]
    if missing:
        pytest.skip(f"no virtual sound card without {', '.join(missing)}")
    with tempfile.TemporaryDirectory(prefix="sound-") as folder:
        cards = Cards(Path(folder))
        try:
            yield cards
        finally:
            cards.end()
