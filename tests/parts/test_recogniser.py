"""The recogniser on its shipped model: speech by espeak-ng, made here, and the ways it can fail."""

from __future__ import annotations

import re
import resource
from pathlib import Path
from tempfile import gettempdir
from typing import TYPE_CHECKING

import kaldi_native_fbank as fbank
import numpy as np
import pytest
import vosk
from speech import RATE_HZ, Samples, noise, say
from stories import shipped

import voicecheck
from voicecheck.core.inputs import UNKNOWN
from voicecheck.ears import decoder
from voicecheck.ears.decoder import ModelError
from voicecheck.ears.endpointing import Stretch
from voicecheck.ears.forward import load_weights
from voicecheck.ears.graph import Builder, compile_graph
from voicecheck.ears.kaldi_files import export
from voicecheck.ears.lexicon import UnknownWordError, variants
from voicecheck.ears.recogniser import Recogniser
from voicecheck.ears.tuning import Costs

if TYPE_CHECKING:
    from collections.abc import Iterator

    from voicecheck.core.inputs import Heard

MODEL = Path(voicecheck.__file__).parent / "model"
LEAST = shipped().common.listening.least_confidence
PHRASES = (
    "confirm",
    "negative",
    "checklist say again",
    "checklist sulcus not seen",
    "checklist triangle free of fat",
    "checklist artery divided",
    "checklist specimen removed",
)


@pytest.fixture(scope="module")
def ears() -> Iterator[Recogniser]:
    with Recogniser(PHRASES) as opened:
        yield opened


def streamed(ears: Recogniser, samples: Samples, block: int = 3200) -> list[Heard]:
    data = samples.tobytes()
    heard = [each for at in range(0, len(data), block) for each in ears.hear(data[at : at + block])]
    return heard + ears.finish()


def texts(heard: list[Heard]) -> list[str]:
    return [each.text for each in heard]


def sure(heard: list[Heard]) -> set[str]:
    """What is believed, by the shipped operating point."""
    return {each.text for each in heard if each.confidence >= LEAST}


# What is heard


@pytest.mark.parametrize("phrase", PHRASES)
def test_a_phrase_is_heard(ears: Recogniser, phrase: str) -> None:
    (heard,) = streamed(ears, say(phrase))
    assert heard.text == phrase
    assert heard.confidence >= LEAST


@pytest.mark.parametrize(
    "said",
    [
        "please move the table a little further to the left",
        "artery divided",
        "checklist artery",
        "checklist the artery was divided yesterday evening",
        "could somebody confirm the number of swabs",
    ],
)
def test_what_is_no_phrase_is_never_a_phrase(ears: Recogniser, said: str) -> None:
    heard = streamed(ears, say(said))
    assert not sure(heard) & set(PHRASES)


def test_silence_and_faint_noise_are_nothing(ears: Recogniser) -> None:
    assert streamed(ears, np.zeros(RATE_HZ * 4, np.int16)) == []
    assert streamed(ears, noise(RATE_HZ * 4, seed=1, level=30).astype(np.int16)) == []


def test_times_count_the_audio(ears: Recogniser) -> None:
    del ears
    with Recogniser(PHRASES) as fresh:
        quiet = np.zeros(RATE_HZ * 3, np.int16)
        parts = [say("confirm"), quiet, say("negative"), quiet, say("confirm")]
        heard = streamed(fresh, np.concatenate(parts))
        assert texts(heard) == ["confirm", "negative", "confirm"]
        starts = np.cumsum([0, *map(len, parts)]) / RATE_HZ
        for each, start, part in zip(heard, starts[::2], parts[::2], strict=True):
            begins, ends = start + 0.4, start + len(part) / RATE_HZ - 0.8
            assert begins - 0.1 <= each.audio_from_s < each.audio_to_s <= ends + 0.2
            assert each.audio_from_s <= begins + 0.4


def test_a_skipped_block_takes_time_but_is_not_heard(ears: Recogniser) -> None:
    del ears
    with Recogniser(PHRASES) as fresh:
        said = say("confirm")
        fresh.hear(say("negative")[: RATE_HZ * 3 // 5].tobytes())  # half-heard, then dropped
        fresh.skip(said.tobytes())
        (heard,) = streamed(fresh, said)
        passed_s = RATE_HZ * 3 // 5 / RATE_HZ + len(said) / RATE_HZ
        assert heard.text == "confirm"
        assert passed_s + 0.3 <= heard.audio_from_s <= passed_s + 0.8


@pytest.mark.parametrize("block", [7, 333, 1600, 9999, 10**6])
def test_blocks_of_any_length_are_heard_alike(ears: Recogniser, block: int) -> None:
    (heard,) = streamed(ears, say("checklist sulcus not seen"), block)
    assert heard.text == "checklist sulcus not seen"


def test_vosk_is_asked_a_sixth_as_often_and_nothing_is_heard_later(
    ears: Recogniser, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By Vosk itself, asked every 20 ms: the same is heard, with the same block."""
    del ears
    talk = [say(text) for text in (*PHRASES, "please move the table", "checklist artery")]
    sound = np.concatenate([part[: len(part) - 1000 * n] for n, part in enumerate(talk)])
    sound = (sound + noise(len(sound), seed=5, level=200)).astype(np.int16)
    asked = {}
    for often in (False, True):
        calls = 0

        class Counting(vosk.KaldiRecognizer):  # type: ignore[misc]
            def AcceptWaveform(self, data: bytes) -> int:  # noqa: N802
                nonlocal calls
                calls += 1
                return int(super().AcceptWaveform(data))

        with monkeypatch.context() as patch, Recogniser(PHRASES) as fresh:
            patch.setattr(vosk, "KaldiRecognizer", Counting)
            if often:
                patch.setattr(Stretch, "_is_due", lambda _: True)
            blocks = [sound[at : at + 320].tobytes() for at in range(0, len(sound), 320)]
            heard = [(n, each) for n, block in enumerate(blocks) for each in fresh.hear(block)]
            asked[often] = heard, calls
    assert asked[False][0] == asked[True][0]
    assert len(asked[False][0]) > len(PHRASES)
    assert asked[False][1] < asked[True][1] / 4


def test_the_decision_comes_before_the_audio_ends(ears: Recogniser) -> None:
    said = say("checklist artery divided")
    (heard,) = ears.hear(said.tobytes())  # 0.8 s of quiet follow the words: enough to end by itself
    assert heard.text == "checklist artery divided"
    assert ears.finish() == []


@pytest.mark.parametrize("phrase", PHRASES)
def test_where_it_is_quiet_the_decision_comes_a_quarter_of_a_second_after_the_words(
    ears: Recogniser, phrase: str
) -> None:
    said = say(phrase)
    loud = np.flatnonzero(np.abs(said) > 0.03 * np.abs(said).max())[-1]
    heard = ears.hear(said[: loud + RATE_HZ * 3 // 10].tobytes())
    assert texts(heard) == [phrase]
    assert ears.hear(said[loud + RATE_HZ * 3 // 10 :].tobytes()) + ears.finish() == []


def test_noise_cannot_hold_an_utterance_open(ears: Recogniser) -> None:
    loud = noise(RATE_HZ * 30, seed=3, level=6000).clip(-32767, 32767).astype(np.int16)
    heard = streamed(ears, np.concatenate((loud, say("confirm"))))
    assert texts(heard)[-1:] == ["confirm"]
    assert not sure(heard[:-1]) & set(PHRASES)


def test_a_taught_word_is_heard() -> None:
    words = {"flurbel": ["F L ER B AH L"]}
    with Recogniser(["checklist flurbel removed", "confirm"], words=words) as ears:
        assert texts(streamed(ears, say("checklist flurbel removed"))) == [
            "checklist flurbel removed"
        ]


def test_the_name_tells_the_model_and_its_libraries(ears: Recogniser) -> None:
    """Each library's version as the library itself tells it."""
    libraries = f"kaldi-native-fbank {fbank.__version__}, numpy {np.__version__}"
    form = rf"voicecheck model, sha256 [0-9a-f]{{12}}; vosk [0-9.]+, {re.escape(libraries)}"
    assert re.fullmatch(form, ears.name)


# What is refused


def test_a_word_that_nobody_can_say_is_refused() -> None:
    with pytest.raises(UnknownWordError, match=r"flurbel.*\[lexicon\]"):
        Recogniser(["checklist flurbel"])


def test_no_phrase_at_all_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one phrase"):
        Recogniser([])


def test_a_missing_model_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ModelError, match="no model folder"):
        Recogniser(PHRASES, model=tmp_path / "nowhere")
    with pytest.raises(ModelError, match="missing or broken"):
        Recogniser(PHRASES, model=tmp_path)


def test_a_broken_model_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(decoder, "_OURS", tmp_path)
    for network in ("hearing.npz", "second-look.npz"):
        whole = (MODEL / network).read_bytes()
        with pytest.raises(ModelError, match="missing or broken"):
            Recogniser(PHRASES)
        for content in (b"", b"no weights", whole[:100], whole[: len(whole) // 2]):
            (tmp_path / network).write_bytes(content)
            with pytest.raises(ModelError, match="missing or broken"):
                Recogniser(PHRASES)
        (tmp_path / network).write_bytes(whole)


def test_a_place_without_room_for_the_model_is_named() -> None:
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, before[1]))  # no file may grow past 1 MB
    try:
        with pytest.raises(
            ModelError, match=f"8 MB in {re.escape(gettempdir())}.*File too large.*TMPDIR"
        ):
            Recogniser(PHRASES)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_a_model_with_a_fixed_graph_is_refused(tmp_path: Path) -> None:
    export(load_weights(MODEL / "hearing.npz"), tmp_path)
    compile_graph(PHRASES, variants, tmp_path)
    with pytest.raises(ModelError, match="fixed graph"):
        Recogniser(PHRASES, model=tmp_path)


# Another Vosk model: ours with its graph in the form that takes phrases at run time


@pytest.fixture(scope="module")
def dynamic(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder: Path = tmp_path_factory.mktemp("dynamic")
    words = sorted({word for phrase in PHRASES for word in phrase.split()})
    numbers = {word: number for number, word in enumerate(("<eps>", UNKNOWN, *words))}
    loop, any_word = Builder(numbers, variants, Costs()), Builder(numbers, variants, Costs())
    root, inside, last = loop.node(), loop.state(), loop.node()
    loop.rest(root)
    for state, _ in root.sources:
        list(loop.any_phone(state, "begin", inside, numbers[UNKNOWN]))
    list(loop.any_phone(inside, "internal", inside))
    last.sources = list(loop.any_phone(inside, "end", None))
    loop.rest(last)
    for after in (last, *[loop.word(root, word) for word in words]):
        for state, _ in after.sources:
            loop.arc(state, root.entry)
    loop.end(root)
    only = any_word.node()
    for number in list(numbers.values())[1:]:
        any_word.arc(only.entry, only.entry, number, number)
    any_word.end(only)
    export(load_weights(MODEL / "hearing.npz"), folder)
    conf = folder / "conf" / "model.conf"  # such graphs may end after any word: wait as others do
    rule = "--endpoint.rule2.min-trailing-silence"
    conf.write_text(re.sub(f"{rule}=.*", f"{rule}=0.5", conf.read_text()))
    (folder / "graph").mkdir()
    (folder / "graph" / "HCLr.fst").write_bytes(loop.fst())
    (folder / "graph" / "Gr.fst").write_bytes(any_word.fst())
    (folder / "graph" / "disambig_tid.int").write_text("")
    listed = "".join(f"{word} {number}\n" for word, number in numbers.items())
    (folder / "graph" / "words.txt").write_text(listed)
    return folder


def test_another_model_hears_the_phrases(dynamic: Path) -> None:
    with Recogniser(PHRASES, model=dynamic) as ears:
        for phrase in ("confirm", "checklist artery divided"):
            assert phrase in texts(streamed(ears, say(phrase)))
        form = rf"Vosk model {dynamic.name}, sha256 [0-9a-f]{{12}}; vosk [0-9.]+"
        assert re.fullmatch(form, ears.name), "numpy and the features are not asked"


def test_words_that_another_model_lacks_are_all_named(dynamic: Path) -> None:
    with pytest.raises(ModelError, match="does not know camera, port:"):
        Recogniser(["checklist camera port", "confirm"], model=dynamic)
