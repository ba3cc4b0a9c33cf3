"""The commands: what the world does wrong gives a sentence with its cure and a non-zero exit."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from stories import PLAIN_TEXT, shipped

import voicecheck.shipped
from voicecheck.cli import main
from voicecheck.core.conduct_2.grammar import phrases
from voicecheck.core.diagram import state_diagram
from voicecheck.core.facts import Opened, decode_record
from voicecheck.core.inputs import Heard
from voicecheck.core.wording import CAUTION, REHEARSAL
from voicecheck.journal import read
from voicecheck.shipped import folder

ROOT = Path(__file__).parents[2]
GOLDEN = min((ROOT / "tests" / "golden").glob("*/*.log"))
SHIPPED = (folder("grammars") / "laparoscopic_cholecystectomy.toml").read_text(encoding="utf-8")


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


def refused(result: Result, *parts: str) -> None:
    assert result.exit_code != 0
    assert isinstance(result.exception, SystemExit), result.exception
    for part in parts:
        assert part in result.output


def test_check_measures_the_shipped_procedure_and_tells_what_may_be_said() -> None:
    result = run("check", "--wordings")
    assert result.exit_code == 0, result.output
    assert "64 phrases; none begins another" in result.output
    assert "Warning:" not in result.output
    closest = result.output.partition("Closest wordings of all")[2].partition("What may be said")[0]
    assert re.search(r'\d \(0\.\d\d\) +"[a-z\' ]+" \(clips on the artery\)\n +"', closest)
    said = result.output.partition("What may be said")[2].partition("The gate")[0]
    for phrase in ("clips on the artery", "not so or not yet: artery clips", "call for help"):
        assert re.search(
            rf"^{phrase}: (some 10\^)?\d+ wordings, such as\n    \"", said, re.MULTILINE
        )
    assert len(said.splitlines()) < 1000


def test_check_names_every_mistake_of_a_broken_procedure_at_once(tmp_path: Path) -> None:
    broken = SHIPPED.replace('kind = "pause"', 'kind = "rest"').replace("version = 2", "")
    (tmp_path / "mine.toml").write_text(broken, encoding="utf-8")
    refused(run("check", tmp_path / "mine.toml"), "mine.toml", "kind must be one of", "is missing")


def test_the_card_has_every_phrase_by_its_phase() -> None:
    lines = run("phrases").output.splitlines()
    bare = {phrase.removeprefix("checklist ") for phrase in phrases(shipped())}
    assert {line.strip() for line in lines if line.startswith("  ")} == bare
    assert lines.index("Pause") < lines.index("  begin the pause") < lines.index("Clip and divide")


def test_check_warns_of_other_phrases_that_sound_alike(tmp_path: Path) -> None:
    alike = PLAIN_TEXT.replace("liver bed inspected", "specimens removed")
    (tmp_path / "mine.toml").write_text(alike, encoding="utf-8")
    done = run("check", tmp_path / "mine.toml")
    assert done.exit_code == 0
    assert "Warning:" in done.output
    assert "specimens removed" in done.output.partition("Warning:")[2].partition(".")[0]


def test_check_refuses_critical_phrases_that_sound_alike(tmp_path: Path) -> None:
    alike = PLAIN_TEXT.replace("clips on the artery", "artery was divided")
    (tmp_path / "mine.toml").write_text(alike, encoding="utf-8")
    refused(run("check", tmp_path / "mine.toml"), "sound alike", "artery divided")


def test_check_refuses_wordings_that_sound_the_same_in_two_meanings(tmp_path: Path) -> None:
    same = f'{PLAIN_TEXT}\n[heard]\n"artery_clipped.clipped" = ["duct sealed"]'
    asked = f'{same}\n"event.bleeding" = ["ducked sealed"]'
    refused(run("check", _written(tmp_path, asked)), '"duct sealed" and "ducked sealed" sound the')
    assert run("check", _written(tmp_path, same)).exit_code == 0


def test_check_names_a_word_that_nobody_can_pronounce(tmp_path: Path) -> None:
    unknown = PLAIN_TEXT.replace("clips on the artery", "clips on the zxqwv")
    (tmp_path / "mine.toml").write_text(unknown, encoding="utf-8")
    refused(run("check", tmp_path / "mine.toml"), "zxqwv", "[lexicon]")


def test_check_names_all_words_that_nobody_can_pronounce(tmp_path: Path) -> None:
    unknown = PLAIN_TEXT.replace("duct transected", "zxqwv transected").replace("sulcus", "vwqxz")
    (tmp_path / "mine.toml").write_text(unknown, encoding="utf-8")
    refused(run("check", tmp_path / "mine.toml"), '"vwqxz", "zxqwv"', "[lexicon]")


def test_the_line_for_a_word_is_taken_as_the_sentence_gives_it(tmp_path: Path) -> None:
    unknown = PLAIN_TEXT.replace("duct transected", "zxqwv transected")
    told = run("check", _written(tmp_path, unknown)).output
    line = told[told.index("such as ") + 8 :].strip().rstrip(".").replace("duct", "zxqwv")
    assert run("check", _written(tmp_path, f"{unknown}\n[lexicon]\n{line}\n")).exit_code == 0
    strange = line.replace("K", "KX")
    refused(run("check", _written(tmp_path, f"{unknown}\n[lexicon]\n{strange}\n")), '"KX"')


def _written(folder: Path, text: str) -> Path:
    (folder / "mine.toml").write_text(text, encoding="utf-8")
    return folder / "mine.toml"


@pytest.mark.parametrize("command", ["listen", "serve"])
def test_what_is_no_sound_is_refused_before_a_case_is_opened(command: str, tmp_path: Path) -> None:
    (tmp_path / "noise.wav").write_bytes(b"this is no sound at all" * 50)
    options = ("--case", "invented-1", "--case-dir", tmp_path)
    refused(run(command, "--audio", tmp_path / "noise.wav", *options), "noise.wav")
    refused(run(command, "--audio", tmp_path / "none.wav", *options), "none.wav", "check its name")
    assert not list(tmp_path.glob("*.log"))


@pytest.mark.parametrize("name", ["../escaped", "a/b", "caf\udce9", "line\nbreak", "x" * 300])
def test_listen_refuses_a_name_that_no_file_should_have(name: str, tmp_path: Path) -> None:
    sound = folder("recordings_synthetic") / "clean_case" / "ked.opus"
    options = ("--case", name, "--case-dir", tmp_path / "cases")
    refused(run("listen", "--audio", sound, *options), "cannot name a case")
    assert not list(tmp_path.rglob("*.log"))


def test_serve_refuses_a_port_that_is_none(tmp_path: Path) -> None:
    refused(run("serve", "--case", "a", "--case-dir", tmp_path, "--port", "99999"), "--port")


def test_serve_takes_another_procedure(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(SHIPPED.replace("version = 2", ""), encoding="utf-8")
    options = ("--case-dir", tmp_path, "--procedure", tmp_path / "mine.toml")
    refused(run("serve", "--case", "a", *options), "mine.toml", "version is missing")


def test_serve_says_which_record_it_cannot_take_up_and_what_to_do(tmp_path: Path) -> None:
    (tmp_path / "a.log").write_bytes(b"no log\n")
    refused(run("serve", "--case", "a", "--case-dir", tmp_path), "a.log", "Line 1", "another name")


@pytest.mark.parametrize("command", [("review",), ("export", "--to", "csv")])
def test_no_log_is_ever_overwritten(command: tuple[str, ...], tmp_path: Path) -> None:
    log, other = tmp_path / "a.log", tmp_path / "b.log"
    for path in (log, other, tmp_path / "c"):
        path.write_bytes(GOLDEN.read_bytes())
    for source, target in ((log, log), (log, other), (tmp_path / "c", tmp_path / "c")):
        refused(run(*command, source, "--out", target), "nothing may overwrite")
        assert target.read_bytes() == GOLDEN.read_bytes()


def test_an_interrupted_log_is_not_exported_and_the_cure_is_told(tmp_path: Path) -> None:
    (tmp_path / "a.log").write_bytes(GOLDEN.read_bytes() + b'{"at":')
    refused(run("export", tmp_path / "a.log", "--to", "csv"), "does not hold", "voicecheck serve")
    refused(run("verify", tmp_path / "a.log"), "every line before it holds", "voicecheck review")


def test_listen_lives_a_case_on_any_sound_and_leaves_a_log_that_holds(tmp_path: Path) -> None:
    sound = folder("recordings_synthetic") / "clean_case" / "ked.opus"
    result = run("listen", "--audio", sound, "--case", "invented-7", "--case-dir", tmp_path)
    assert result.exit_code == 0, result.output
    assert "Next: table." in " ".join(result.output.split())
    assert run("verify", *tmp_path.glob("*.log")).exit_code == 0


def test_each_rehearsal_is_marked_as_invented_and_counts_its_own_sound(tmp_path: Path) -> None:
    ran = run("rehearse", "early_clip", "emergency", "--fast", "--case-dir", tmp_path)
    assert ran.exit_code == 0, ran.output
    logs = sorted(tmp_path.glob("*.log"))
    assert len(logs) == 2
    assert ran.output.count(REHEARSAL) == 2
    for path in logs:
        records = [decode_record(line) for line in read(path).lines]
        assert isinstance(records[0].fact, Opened)
        assert records[0].fact.case.startswith("invented-")
        assert records[0].fact.rehearsal
        assert records[0].fact.caution.startswith(REHEARSAL)
        first = next(r.cause for r in records if isinstance(r.cause, Heard))
        assert first.audio_from_s < 2


def test_rehearsals_have_a_folder_of_their_own_and_are_no_cases(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    room = tmp_path / "room"
    room.mkdir()
    for name in ("scenario.toml", "ked.toml"):
        shutil.copy(folder("recordings_synthetic") / "clean_case" / name, room)
    quiet = np.random.default_rng(1).normal(0, 16, 16_000).astype("<i2").tobytes()
    for name in ("ked.raw", "other.raw"):
        (room / name).write_bytes(quiet)
    monkeypatch.chdir(tmp_path)
    for sound, *practice in (("ked.raw",), ("other.raw", "--rehearsal"), ("other.raw",)):
        ran = run("listen", "--audio", room / sound, *practice)
        assert ran.exit_code == 0, ran.output
        assert (REHEARSAL in ran.output) is (sound == "ked.raw" or bool(practice))
    assert len(list(tmp_path.glob("rehearsals/*.log"))) == 2
    assert len(list(tmp_path.glob("cases/*.log"))) == 1

    for log in tmp_path.glob("*/*.log"):
        told = REHEARSAL in run("verify", log).output, REHEARSAL in run("review", log).output
        assert told == ((log.parent.name == "rehearsals"),) * 2

    summed = run("cases", tmp_path, "--out", tmp_path / "out")
    assert "         1  cases" in summed.output
    assert "Rehearsals, counted in no figure: 2" in summed.output
    asked_for = run("cases", tmp_path, "--out", tmp_path / "out", "--rehearsals")
    assert "         3  cases" in asked_for.output
    assert "         2  of the cases rehearsed" in asked_for.output


def test_listen_takes_sound_from_a_pipe_and_says_where_it_ended(tmp_path: Path) -> None:
    quiet = np.random.default_rng(1).normal(0, 16, 16_000).astype("<i2").tobytes()
    options = ["listen", "--audio", "-", "--case-dir", str(tmp_path)]
    ran = CliRunner().invoke(main, options, input=quiet)
    assert ran.exit_code == 0, ran.output
    assert "The audio ended before the record was closed" in ran.output
    (log,) = tmp_path.glob("*.log")
    assert len(read(log).lines) == 1


def test_listen_wants_one_source_of_sound() -> None:
    refused(run("listen"), "either --audio FILE")
    refused(run("listen", "--audio", "-", "--mic"), "either --audio FILE")


def test_a_rehearsal_that_goes_astray_says_so_and_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    room = tmp_path / "rooms" / "emergency"
    shutil.copytree(folder("recordings_synthetic") / "emergency", room)
    text = (room / "scenario.toml").read_text(encoding="utf-8")
    astray = text.replace('then = "Overridden"', 'then = "Refused"')
    assert astray != text
    (room / "scenario.toml").write_text(astray, encoding="utf-8")
    places = {"recordings_synthetic": tmp_path / "rooms", "grammars": folder("grammars")}
    monkeypatch.setattr(voicecheck.shipped, "folder", places.get)
    ran = run("rehearse", "emergency", "--fast", "--case-dir", tmp_path)
    refused(ran, "emergency")
    assert "The case did not go as the scenario says." in ran.output


@pytest.mark.parametrize(
    ("content", "said"), [(None, "check its name"), (b"\xff\xfe", "save it as UTF-8")]
)
def test_a_procedure_file_that_cannot_be_read_says_so(
    content: bytes | None, said: str, tmp_path: Path
) -> None:
    if content is not None:
        (tmp_path / "mine.toml").write_bytes(content)
    refused(run("check", tmp_path / "mine.toml"), "mine.toml", said)


def test_listen_names_a_model_that_is_not_there(tmp_path: Path) -> None:
    refused(run("listen", "--audio", "-", "--model", tmp_path / "none"), "none", "folder")


def test_verify_names_the_line_that_was_changed(tmp_path: Path) -> None:
    lines = GOLDEN.read_bytes().split(b"\n")
    lines[4] = lines[4].replace(b'"utc":"2', b'"utc":"3')
    (tmp_path / "forged.log").write_bytes(b"\n".join(lines))
    refused(run("verify", tmp_path / "forged.log"), "does not hold", "Line 6")


def test_verify_by_a_checkpoint_sees_that_the_end_was_cut_off(tmp_path: Path) -> None:
    whole = run("verify", GOLDEN).output
    (checkpoint,) = re.findall(r"\d+:[0-9a-f]{64}", whole)
    assert run("verify", GOLDEN, "--checkpoint", checkpoint).exit_code == 0
    cut = b"\n".join(GOLDEN.read_bytes().split(b"\n")[:-3]) + b"\n"
    (tmp_path / "cut.log").write_bytes(cut)
    assert run("verify", tmp_path / "cut.log").exit_code == 0
    refused(run("verify", tmp_path / "cut.log", "--checkpoint", checkpoint), "the log ends here")


def test_verify_says_what_is_wrong_with_a_file_that_is_not_there(tmp_path: Path) -> None:
    refused(run("verify", tmp_path / "none.log"), "none.log")


def test_an_unknown_scenario_or_voice_is_refused_with_the_ones_there_are() -> None:
    refused(run("rehearse", "heart"), "heart", "clean_case")
    refused(run("rehearse", "clean_case", "--voice", "nobody"), "nobody", "ked")


def test_the_diagram_in_the_developers_page_is_fresh() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert f"```mermaid\n{state_diagram()}\n```" in page, "paste `voicecheck diagram` there"
    assert run("diagram").output.strip() == state_diagram()


@pytest.mark.parametrize("command", sorted(main.commands))
def test_every_command_explains_itself_and_is_in_the_readme(command: str) -> None:
    assert run(command, "--help").exit_code == 0
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert f"`voicecheck {command}" in readme


def test_the_cautions_stand_on_the_first_screen_and_in_the_readme() -> None:
    shown = " ".join(run("--help").output.split())
    assert CAUTION in shown
    assert "Not a medical device" in (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_manual_has_every_command_and_option_and_how_it_ends() -> None:
    shown = run("manual").output
    for title in ("NAME", "SYNOPSIS", "DESCRIPTION", "EXIT STATUS", "ENVIRONMENT", "CAUTIONS"):
        assert f"{title}\n" in shown
    for name, command in main.commands.items():
        assert f"\nvoicecheck {name}\n" in shown
        for option in command.params:
            assert option.param_type_name == "argument" or option.opts[0] in shown
    assert "VOICECHECK_TOKEN" in shown


def test_help_tells_a_stranger_where_to_begin() -> None:
    shown = " ".join(run("--help").output.split())
    for step in ("rehearse early_clip --fast", "verify LOG", "review LOG", "doctor"):
        assert f"voicecheck {step}" in shown
