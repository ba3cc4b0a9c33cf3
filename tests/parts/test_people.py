"""Measuring on people: a grammar read, a recording understood by its slots, ours and the peer's.

The people themselves are no part of the project; here a synthetic voice speaks.
"""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import pytest
import soundfile
from speech import RATE_HZ, say

from voicecheck.acoustic import people

GRAMMAR = """#JSGF V1.0;
grammar window;
<object> = window | large file | menu;
<action> = open | (close | shut) [down];
public <command> = [please] <action> [the | a] <object> [and <action> it];
"""
"""After the examples of the JSpeech Grammar Format (W3C Note, 5 June 2000, sections 3 and 4)."""


def test_a_text_fills_the_slots_that_the_grammar_gives_it() -> None:
    grammar = people.parse_jsgf(GRAMMAR)
    meaning = people.Meaning(grammar)
    assert meaning.of("please open the window") == {"action": "open", "object": "window"}
    assert meaning.of("shut down a large file") == {"action": "shut down", "object": "large file"}
    assert meaning.of("close menu and open it")["action"] == "open"
    assert meaning.of("the window") == {}
    assert meaning.of("open windows") == {}
    assert people.words_of(grammar) >= {"please", "shut", "down", "large", "it"}


@pytest.mark.parametrize(
    ("grammar", "sentence"),
    [
        ("#JSGF V1.0; grammar g; <a> = b;", "0 public rules"),
        ("#JSGF V1.0; grammar g; public <a> = <b>;", "rule <b> that it has not"),
        ("#JSGF V1.0; grammar g; public <a> = <b>; <b> = c <a>;", "names itself"),
        ("#JSGF V1.0; grammar g; public <a> = (b;", "bracket open"),
        ("#JSGF V1.0; grammar g; public <a> = (b];", "bracket open"),
        ("#JSGF V1.0; grammar g; public <a> = b);", "bracket too many"),
    ],
)
def test_a_grammar_that_is_none_is_refused(grammar: str, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        people.parse_jsgf(grammar)


def test_recordings_are_measured_beside_the_peer(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("pocketsphinx")
    (tmp_path / "window.jsgf").write_text(GRAMMAR)
    said = {
        "please open the window": {"action": "open", "object": "window"},
        "shut down the large file": {"action": " shut down", "object": "large file"},
        "close the menu": {"action": "open", "object": "menu"},  # wrong on purpose
    }
    with (tmp_path / "manifest.csv").open("w", newline="") as file:
        table = csv.writer(file)
        table.writerow(("path", "slots"))
        for number, (text, slots) in enumerate(said.items()):
            soundfile.write(tmp_path / f"{number}.flac", say(text), RATE_HZ)
            table.writerow((f"{number}.flac", json.dumps(slots)))
    monkeypatch.setattr("sys.argv", ["people", str(tmp_path), "--noise", "none", "white:20"])
    people.main()
    ours, noisy, *peer = capsys.readouterr().out.splitlines()
    assert ours == "Ours, none: 2 of 3 right, 66.7%"
    assert noisy == "Ours, white:20: 2 of 3 right, 66.7%"
    for line, noise in zip(peer, ("none", "white:20"), strict=True):
        assert re.fullmatch(rf"PocketSphinx, {noise}: [12] of 3 right, .*", line)
