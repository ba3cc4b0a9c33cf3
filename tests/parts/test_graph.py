"""The decoding graph: what is a phrase, what is not, and how speech ends."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from viterbi import Graph

from voicecheck.core.inputs import UNKNOWN
from voicecheck.ears import hmm
from voicecheck.ears.graph import compile_graph
from voicecheck.ears.lexicon import UnknownWordError, pronunciations, variants
from voicecheck.ears.topology import PDF_COUNT, PDF_OF_PHONE
from voicecheck.ears.tuning import Costs

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

PHRASES = (
    "confirm",
    "negative",
    "checklist sulcus not seen",
    "checklist triangle free of fat",
    "checklist artery divided",
    "checklist table tilted head up",
)


@pytest.fixture(scope="module")
def graph(tmp_path_factory: pytest.TempPathFactory) -> Graph:
    folder: Path = tmp_path_factory.mktemp("graph")
    compile_graph(PHRASES, variants, folder)
    return Graph(folder / "graph" / "HCLG.fst")


def sound(phones: Sequence[str], *, sure: float = 0.97) -> NDArray[np.floating]:
    """Log-probabilities as a sure network gives them: each phone, then blank."""
    pdfs = [0, 0]
    for phone in phones:
        pdfs += [PDF_OF_PHONE[phone], PDF_OF_PHONE[phone], 0]
    rows = np.full((len(pdfs) + 3, PDF_COUNT), (1 - sure) / (PDF_COUNT - 1))
    rows[np.arange(len(rows)), [*pdfs, 0, 0, 0]] = sure
    return np.asarray(np.log(rows))


def phones_of(text: str) -> list[str]:
    return [phone for word in text.split() for phone in pronunciations(word)[0]]


@pytest.mark.parametrize("phrase", PHRASES)
def test_a_phrase_is_heard_as_itself(graph: Graph, phrase: str) -> None:
    assert graph.decode(sound(phones_of(phrase)))[0] == phrase.split()


@pytest.mark.parametrize(
    ("phrase", "phones"),
    [
        ("checklist artery divided", "CH EH K L IH S AA T AH R IY D AH V AY D AH D"),
        ("negative", "N EH G AH D IH V"),
    ],
)
def test_an_accent_is_heard_as_its_phrase(graph: Graph, phrase: str, phones: str) -> None:
    assert graph.decode(sound(phones.split()))[0] == phrase.split()


@pytest.mark.parametrize(
    "said",
    [
        "please open the window now",
        "artery divided",  # no address
        "checklist artery",  # cut off: the rest never came
        "checklist artery divided yesterday",  # gone on
        "well checklist artery divided",  # begun before
        "checklist elbow divided",  # another word within
        "checklist artery confirmed",
        "confirm negative",  # two phrases without a pause are neither
        "checklist sulcus not seen checklist artery divided",
    ],
)
def test_what_is_no_phrase_is_heard_as_something_else(graph: Graph, said: str) -> None:
    assert UNKNOWN in graph.decode(sound(phones_of(said)))[0]


def test_silence_is_nothing(graph: Graph) -> None:
    assert graph.decode(sound([]))[0] == []


def test_a_click_of_one_phone_is_not_an_utterance(graph: Graph) -> None:
    quiet, click = sound([]), sound(["T"], sure=0.3)[2:4]
    assert graph.decode(np.concatenate((quiet, click, quiet)))[0] == []


def test_a_phrase_with_a_rest_between_its_words_is_still_one(graph: Graph) -> None:
    first, second = sound(phones_of("checklist artery")), sound(phones_of("divided"))
    assert graph.decode(np.concatenate((first, second)))[0] == ["checklist", "artery", "divided"]


def test_a_doubled_phone_needs_blank_between_as_ctc_has_it(tmp_path: Path) -> None:
    """Graves et al. 2006, section 3: equal labels in a row are one unless blank parts them."""
    spoken = {"at": [("AE", "T")], "tea": [("T", "IY")]}
    compile_graph(["at tea"], spoken.__getitem__, tmp_path)
    doubled = Graph(tmp_path / "graph" / "HCLG.fst")
    parted = sound(["AE", "T", "T", "IY"])
    merged = np.delete(parted, [4, 5, 6, 7], axis=0)  # AE AE T T IY IY with no blank at all
    assert doubled.decode(parted)[2] < 1
    assert doubled.decode(merged)[2] > 3


def test_silence_after_a_phrase_belongs_to_the_silence_phone(graph: Graph) -> None:
    """Vosk counts trailing silence by phone: no phone's own blank may end a word."""
    ends = {
        hmm.transitions(phone, position).blank_to_end
        for phone in PDF_OF_PHONE
        for position in ("end", "singleton")
    }
    assert not ends & set(graph.label.tolist())
    assert hmm.SILENCE_TO_SELF in graph.label


def test_a_dearer_unknown_accepts_more(tmp_path: Path) -> None:
    near = sound(
        ["CH", "EH", "K", "L", "IH", "S", "T", *phones_of("artery"), *phones_of("provided")]
    )
    for cost, expected in ((0.5, False), (20.0, True)):
        compile_graph(PHRASES, variants, tmp_path, Costs(unknown_phone=cost))
        words = Graph(tmp_path / "graph" / "HCLG.fst").decode(near)[0]
        assert (words == ["checklist", "artery", "divided"]) is expected


def test_a_phrase_that_breaks_off_is_something_else(tmp_path: Path) -> None:
    """Else a short last word that nobody said would cost less than anything else."""
    said = np.concatenate((sound(phones_of("checklist table tilted head")), sound([]), sound([])))
    for cost, expected in ((0.0, UNKNOWN), (200.0, "up")):
        compile_graph(PHRASES, variants, tmp_path, Costs(broken_off=cost))
        words = Graph(tmp_path / "graph" / "HCLG.fst").decode(said)[0]
        assert words == ["checklist", "table", "tilted", "head", expected]


def test_one_more_sound_after_a_phrase_makes_it_something_else(tmp_path: Path) -> None:
    """It may be the first of "… yet" or "… or is it"; within a phrase one slip is forgiven."""
    words, phones = ["checklist", "artery", "divided"], phones_of("checklist artery divided")
    after, within = sound([*phones, "Y"]), sound([*phones[:10], "Y", *phones[10:]])
    for cost, expected in ((2.0, False), (20.0, True)):
        compile_graph(PHRASES, variants, tmp_path, Costs(gone_on=cost))
        graph = Graph(tmp_path / "graph" / "HCLG.fst")
        assert (graph.decode(after)[0] == words) is expected
        assert graph.decode(within)[0] == words


def test_what_goes_on_after_a_whole_phrase_is_nothing_but_something_else(graph: Graph) -> None:
    """Or loud talk behind a phrase would be heard as words, which cost nothing."""
    said = ["checklist", "artery", "divided"]
    for behind in ("seen", "of fat", "head up"):
        phones = [*phones_of("checklist artery divided"), "Y", *phones_of(behind)]
        assert graph.decode(sound(phones))[0] == [*said, UNKNOWN]
    within = sound([*phones_of("checklist"), "Y", *phones_of("sulcus not seen")])
    assert graph.decode(within)[0][-3:] == ["sulcus", "not", "seen"], "as it may before and within"


def test_the_same_phrases_give_the_same_bytes(tmp_path: Path) -> None:
    for name, phrases in (("a", PHRASES), ("b", tuple(reversed(PHRASES)))):
        compile_graph(phrases, variants, tmp_path / name)
    for file in ("HCLG.fst", "words.txt", "phones/word_boundary.int"):
        one, other = ((tmp_path / name / "graph" / file).read_bytes() for name in "ab")
        assert one == other


def test_a_word_that_nobody_can_say_stops_the_graph(tmp_path: Path) -> None:
    with pytest.raises(UnknownWordError, match="flurbel"):
        compile_graph(["checklist flurbel"], variants, tmp_path)
