"""Recorded sound arrives unchanged; oracles: the standard library's wave, and tones by formula."""

from __future__ import annotations

import contextlib
import io
import os
import threading
import tracemalloc
import wave
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from voicecheck.sound.recording import BLOCK_BYTES, AudioError, from_file, from_stream

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray


def noise(samples: int) -> NDArray[np.int16]:
    """Every value that 16 bits can have may come: full scale, both ends included."""
    values = np.random.default_rng(1).integers(-32768, 32768, samples).astype("<i2")
    values[:2] = (-32768, 32767)[:samples]
    return values


def tone(hz: float, rate_hz: int, seconds: float) -> NDArray[np.float64]:
    """Half of full scale, by formula."""
    return 0.5 * np.sin(2 * np.pi * hz * np.arange(round(rate_hz * seconds)) / rate_hz)


def wav(values: NDArray[np.int16], rate_hz: int = 16_000, channels: int = 1) -> bytes:
    """A WAV file as the standard library writes it."""
    file = io.BytesIO()
    with wave.open(file, "wb") as sound:
        sound.setparams((channels, 2, rate_hz, 0, "NONE", ""))
        sound.writeframes(values.astype("<i2").tobytes())
    return file.getvalue()


def level_db(values: NDArray[np.float64]) -> float:
    return float(20 * np.log10(np.sqrt(np.mean(values**2)) + 1e-12))


def as_float(blocks: list[bytes]) -> NDArray[np.float64]:
    return np.frombuffer(b"".join(blocks), "<i2") / 32768


def test_16_khz_mono_passes_bit_for_bit_in_blocks(tmp_path: Path) -> None:
    values = noise(16_000 * 2 + 77)
    (tmp_path / "a.wav").write_bytes(wav(values))
    soundfile.write(tmp_path / "a.flac", values, 16_000)  # lossless by RFC 9639
    (tmp_path / "wrong.name").write_bytes((tmp_path / "a.flac").read_bytes())
    for path in sorted(tmp_path.iterdir()):
        blocks = list(from_file(path))
        assert b"".join(blocks) == values.tobytes(), path.name
        assert [len(block) for block in blocks] == [BLOCK_BYTES] * 20 + [154]


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 22_050, 44_100, 48_000, 96_000])
def test_any_rate_keeps_a_tone_and_its_length(tmp_path: Path, rate_hz: int) -> None:
    soundfile.write(tmp_path / "tone.wav", tone(1000, rate_hz, 2.5), rate_hz, subtype="FLOAT")
    heard = as_float(list(from_file(tmp_path / "tone.wav")))
    assert abs(len(heard) - 40_000) <= 1
    middle = slice(1_000, 39_000)  # a filter needs both sides
    wanted = tone(1000, 16_000, 2.6)[: len(heard)]
    assert level_db(heard[middle] - wanted[middle]) < level_db(wanted) - 60


def test_what_16_khz_cannot_hold_does_not_fold_back(tmp_path: Path) -> None:
    """Nyquist–Shannon: 10 kHz sampled at 16 kHz without a filter would be heard at 6 kHz."""
    soundfile.write(tmp_path / "high.wav", tone(10_000, 48_000, 2), 48_000)
    heard = as_float(list(from_file(tmp_path / "high.wav")))
    assert level_db(heard[1_000:-1_000]) < -80


def test_channels_are_mixed_to_their_mean(tmp_path: Path) -> None:
    left, right = tone(500, 16_000, 1), np.zeros(16_000)
    soundfile.write(tmp_path / "two.wav", np.stack([left, right], axis=1), 16_000)
    heard = as_float(list(from_file(tmp_path / "two.wav")))
    assert np.max(np.abs(heard - left / 2)) < 2 / 32768


def test_opus_is_heard(tmp_path: Path) -> None:
    """Lossy, so by level only: RFC 6716 keeps a tone's level, not its samples."""
    soundfile.write(
        tmp_path / "tone.opus", tone(1000, 48_000, 2), 48_000, format="OGG", subtype="OPUS"
    )
    heard = as_float(list(from_file(tmp_path / "tone.opus")))
    assert abs(level_db(heard[3_000:-3_000]) - level_db(tone(1000, 16_000, 2))) < 0.5


def test_sound_beyond_full_scale_is_clipped_not_wrapped(tmp_path: Path) -> None:
    loud = np.array([2.0, -2.0, np.nan] * 1000)
    soundfile.write(tmp_path / "loud.wav", loud, 16_000, subtype="FLOAT")
    heard = np.frombuffer(b"".join(from_file(tmp_path / "loud.wav")), "<i2")
    assert set(heard.tolist()) == {32767, -32768, 0}


def test_numbers_that_are_no_sound_are_clipped_too(tmp_path: Path) -> None:
    """The largest of IEEE 754 binary32, and its infinities; a warning would fail this test."""
    huge = np.array([[np.inf, -np.inf], [3e38, 3e38], [-3e38, -3e38], [np.nan, 0.5]] * 1000)
    soundfile.write(tmp_path / "huge.wav", huge.astype(np.float32), 16_000, subtype="FLOAT")
    heard = np.frombuffer(b"".join(from_file(tmp_path / "huge.wav")), "<i2")
    assert heard[:4].tolist() == [0, 32767, -32768, 8192]


@pytest.mark.parametrize("kind", ["AIFF", "RF64", "WAV", "FLAC"])
def test_a_damaged_header_prints_no_traceback(
    kind: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """libsndfile may look for a place before the beginning; a callback of ours cannot raise."""
    file = io.BytesIO()
    soundfile.write(file, noise(3_000), 16_000, format=kind, subtype="PCM_16")
    content = file.getvalue()
    for place in range(4, 60):
        for byte in (0x00, 0x7F, 0xFF):
            damaged = content[:place] + bytes([byte]) + content[place + 1 :]
            (tmp_path / "a.wav").write_bytes(damaged)
            with contextlib.suppress(AudioError):
                list(from_file(tmp_path / "a.wav"))
    assert "Traceback" not in capfd.readouterr().err


def test_half_an_hour_is_never_in_memory(tmp_path: Path) -> None:
    path = tmp_path / "hour.flac"
    with soundfile.SoundFile(path, "w", samplerate=8_000, channels=1) as file:
        for _ in range(180):
            file.write(np.zeros(80_000, np.int16))
    tracemalloc.start()
    samples = sum(len(block) // 2 for block in from_file(path))
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert samples == 1800 * 16_000
    assert most < 3_000_000, "as samples it would be 58 MB"


# ----------------------------------------------------------------------------------------- streams


@pytest.mark.parametrize("container", ["raw", "wav", "flac", "float wav", "opus"])
def test_a_pipe_is_recognised_by_its_first_bytes(tmp_path: Path, container: str) -> None:
    values = noise(16_000 + 33)
    file = io.BytesIO()
    if container == "raw":
        file.write(values.tobytes())
    elif container == "opus":
        soundfile.write(file, values / 40_000, 16_000, format="OGG", subtype="OPUS")
    else:
        kind, as_floats = container.upper().split()[-1], " " in container
        written = (values / 32768).astype(np.float32) if as_floats else values
        subtype = "FLOAT" if as_floats else "PCM_16"
        soundfile.write(file, written, 16_000, format=kind, subtype=subtype)
    (tmp_path / "same").write_bytes(file.getvalue())
    reading, writing = os.pipe()  # cannot seek, as standard input cannot
    feeder = threading.Thread(target=feed, args=(writing, file.getvalue()))
    feeder.start()
    with open(reading, "rb") as pipe:  # noqa: PTH123  # a descriptor has no path
        heard = list(from_stream(pipe))
    feeder.join()
    if container == "opus":
        assert heard == list(from_file(tmp_path / "same"))
    else:
        assert b"".join(heard) == values.tobytes()


def feed(descriptor: int, content: bytes) -> None:
    with open(descriptor, "wb") as pipe:
        pipe.write(content)


@pytest.mark.parametrize("container", ["raw", "wav"])
def test_a_live_pipe_is_heard_as_it_comes(container: str) -> None:
    values = noise(16_000)
    content = values.tobytes() if container == "raw" else wav(values)
    reading, writing = os.pipe()
    with open(reading, "rb") as pipe:  # noqa: PTH123
        blocks = from_stream(pipe)
        os.write(writing, content[:10_000])
        assert b"".join(next(blocks) for _ in range(3)) == values.tobytes()[: 3 * BLOCK_BYTES]
        os.close(writing)
        rest = list(blocks)
    assert len(rest) == 1, "what came before the end is heard, although the header promised more"


@pytest.mark.parametrize("size", [0x7FFF_FFFF, 0xFFFF_FFFF])
def test_a_live_wav_does_not_know_its_length(size: int) -> None:
    """What recording programs write as the length when they cannot go back (from memory)."""
    values = noise(16_000)
    content = bytearray(wav(values))
    content[40:44] = size.to_bytes(4, "little")
    assert b"".join(from_stream(io.BytesIO(content))) == values.tobytes()


def test_a_wav_in_stereo_at_another_rate_comes_through_a_pipe_as_through_a_file(
    tmp_path: Path,
) -> None:
    stereo = np.stack([tone(700, 44_100, 1), tone(700, 44_100, 1)], axis=1) * 32767
    content = wav(stereo.astype(np.int16), 44_100, 2)
    (tmp_path / "a.wav").write_bytes(content)
    piped = as_float(list(from_stream(io.BytesIO(content))))
    assert np.max(np.abs(piped - as_float(list(from_file(tmp_path / "a.wav"))))) <= 1 / 32768


# ---------------------------------------------------------------------------------------- mistakes


@pytest.mark.parametrize(
    ("name", "content", "sentence"),
    [
        ("text.wav", b"this is no sound at all", "of an unknown format"),
        ("empty.wav", b"", "of an unknown format"),
        ("nothing.wav", wav(noise(0)), "holds no sound"),
        ("header.wav", wav(noise(9))[:20], "is damaged"),
        ("missing.wav", None, "check its name"),
    ],
)
def test_a_file_without_sound_says_so(
    tmp_path: Path, name: str, content: bytes | None, sentence: str
) -> None:
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(AudioError, match=sentence) as raised:
        list(from_file(path))
    assert str(path) in str(raised.value)


def with_form(channels: int, rate_hz: int, *, kind: int = 1) -> bytes:
    """A WAV file whose header says something else than it holds (RFC 2361)."""
    content = bytearray(wav(noise(5_000)))
    content[20:24] = kind.to_bytes(2, "little") + channels.to_bytes(2, "little")
    content[24:28] = rate_hz.to_bytes(4, "little")
    return bytes(content)


@pytest.mark.parametrize("kind", [1, 3, 0xFFFE])
@pytest.mark.parametrize(
    ("channels", "rate_hz"),
    [(0, 16_000), (1, 0), (1, 1), (1, 2**31), (1, 2**32 - 1), (65_535, 16_000), (1_000, 48_000)],
)
def test_a_header_that_no_recording_has_is_told(
    tmp_path: Path, channels: int, rate_hz: int, kind: int
) -> None:
    content = with_form(channels, rate_hz, kind=kind)
    (tmp_path / "odd.wav").write_bytes(content)
    for source in (from_file(tmp_path / "odd.wav"), from_stream(io.BytesIO(content))):
        with pytest.raises(AudioError, match=r"damaged"):
            list(source)


@pytest.mark.parametrize("name", ["a.raw", "a.RAW"])
def test_a_raw_file_is_heard_by_its_name(tmp_path: Path, name: str) -> None:
    values = noise(16_000 + 33)
    (tmp_path / name).write_bytes(values.tobytes())
    assert b"".join(from_file(tmp_path / name)) == values.tobytes()
    (tmp_path / name).write_bytes(b"")
    with pytest.raises(AudioError, match="holds no sound"):
        list(from_file(tmp_path / name))
    (tmp_path / name).write_bytes(bytes(33))
    with pytest.raises(AudioError, match="half a sample"):
        list(from_file(tmp_path / name))


@pytest.mark.parametrize("container", ["raw", "wav"])
def test_a_pipe_with_a_name_is_heard_as_it_comes(tmp_path: Path, container: str) -> None:
    values, path = noise(16_000), tmp_path / f"pipe.{container}"
    os.mkfifo(path)
    keeper = os.open(path, os.O_RDWR)  # it has a writer from now on
    blocks = from_file(path)
    content = values.tobytes() if container == "raw" else wav(values)
    os.write(keeper, content[:10])  # less than a header: the rest is waited for
    later = threading.Timer(0.2, os.write, (keeper, content[10:5_000]))
    later.start()
    first = next(blocks)
    later.join()
    feeder = threading.Thread(target=feed, args=(keeper, content[5_000:]))
    feeder.start()
    assert first + b"".join(blocks) == values.tobytes()
    feeder.join()


def test_a_pipe_without_a_writer_is_told_and_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(AudioError, match="start its writer first"):
        list(from_file(tmp_path / "pipe"))


def test_what_is_no_file_is_told(tmp_path: Path) -> None:
    for place in (tmp_path, "/dev/zero"):
        with pytest.raises(AudioError, match="is no file"):
            list(from_file(type(tmp_path)(place)))


def test_a_name_that_is_no_text_is_told_legibly(tmp_path: Path) -> None:
    strange = tmp_path / "\udcff\x1b[31m.wav"
    with pytest.raises(AudioError) as raised:
        list(from_file(strange))
    assert r"\udcff\x1b[31m.wav cannot be read" in str(raised.value)


def test_a_damaged_flac_is_told_after_what_could_be_heard(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "whole.flac", noise(80_000), 16_000)
    content = (tmp_path / "whole.flac").read_bytes()
    (tmp_path / "cut.flac").write_bytes(content[: len(content) // 2])
    blocks = from_file(tmp_path / "cut.flac")
    assert next(blocks)
    with pytest.raises(AudioError, match="damaged"):
        list(blocks)


@pytest.mark.parametrize("kind", ["wav", "opus"])
def test_a_file_that_was_cut_short_is_told_after_what_could_be_heard(
    tmp_path: Path, kind: str
) -> None:
    """RIFF says its size in its header; the last page of an Ogg stream says so (RFC 3533)."""
    whole, cut = tmp_path / f"whole.{kind}", tmp_path / f"cut.{kind}"
    form = {"wav": ("WAV", "PCM_16"), "opus": ("OGG", "OPUS")}[kind]
    soundfile.write(whole, tone(440, 16_000, 20), 16_000, format=form[0], subtype=form[1])
    cut.write_bytes(whole.read_bytes()[: whole.stat().st_size * 2 // 3])
    assert list(from_file(whole))
    blocks = from_file(cut)
    assert next(blocks)
    with pytest.raises(AudioError, match="cut short"):
        list(blocks)


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "standard input holds no sound"),
        (noise(5_000).tobytes() + b"\x01", "half a sample: raw sound must be 16 kHz, mono"),
        (wav(noise(5_000))[:-1], "half a sample"),
        (b"fLaC" + bytes(100), "damaged"),
    ],
)
def test_a_stream_without_sound_says_so(content: bytes, sentence: str) -> None:
    with pytest.raises(AudioError, match=sentence):
        list(from_stream(io.BytesIO(content)))
