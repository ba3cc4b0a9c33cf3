"""The order of things: on disk first, then believed, then shown, then said; deaf while speaking."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from doubles import Disk, ScriptedEars, Speaker
from stories import opened

from voicecheck.core import facts
from voicecheck.core.case import Case
from voicecheck.core.chain import line_hash
from voicecheck.core.facts import At, Record, decode_record
from voicecheck.core.inputs import Entered, Heard, Input, Restarted, Said, Trouble
from voicecheck.core.replay import replay
from voicecheck.journal import JournalError
from voicecheck.live.service import Service
from voicecheck.sound.pcm import BYTES_A_SECOND

BLOCK = bytes(BYTES_A_SECOND // 10)


def service(
    script: dict[int, str] | None = None,
    takes_s: float = 0.0,
    broken: str = "",
    from_s: float = 0.0,
    rendering_s: float = 0.0,
) -> tuple[Service, Disk, ScriptedEars]:
    disk, ears = Disk(), ScriptedEars(script or {})
    voice = Speaker(takes_s, disk.order, broken, rendering_s)

    def now(audio_s: float) -> At:
        """Never earlier than when the last prompt was rendered, while sound waited."""
        passed_s = from_s + max(audio_s, voice.ready_s)
        return At(utc="2026-01-01T00:00:00.000Z", mono_us=round(passed_s * 1_000_000))

    def show(case: Case, record: Record, _text: str) -> None:
        assert case.last == record, "shown before it was believed"
        disk.order.append("shown")

    built = Service(log=disk, ears=ears, voice=voice, now=now, show=show)
    built.open(opened())
    return built, disk, ears


def facts_of(disk: Disk) -> list[str]:
    return [type(decode_record(line).fact).__name__ for line in disk.lines]


def cause_of(line: bytes) -> Input | None:
    return decode_record(line).cause


def blocks(count: int) -> Iterator[bytes]:
    return (BLOCK for _ in range(count))


def test_recorded_then_shown_then_said() -> None:
    live, disk, _ = service()
    disk.order.clear()
    live.step(Entered(text="checklist table tilted head up"))
    assert disk.order == ["recorded", "shown", "said"]


def test_nothing_is_believed_or_told_when_the_disk_is_full() -> None:
    live, disk, _ = service()
    state, disk.full = live.case.state, True
    disk.order.clear()
    with pytest.raises(JournalError, match="No space left"):
        live.step(Entered(text="checklist table tilted head up"))
    assert live.case.state == state
    assert disk.order == []


@pytest.mark.parametrize("text", ["checklist table tilted head up", "confirm", "[unk]"])
def test_deaf_while_speaking_and_the_log_says_when(text: str) -> None:
    live, disk, ears = service(dict.fromkeys(range(1, 14), text), takes_s=1.0)
    live.run(blocks(13))  # 1.0 s of speech and 0.25 s of echo, in whole blocks
    over = [decode_record(line).cause for line in disk.lines[1:9]]
    assert [each.over for each in over if isinstance(each, Heard)][:7] == [True] * 7
    assert any(isinstance(each, Heard) and not each.over for each in map(cause_of, disk.lines))
    assert ears.blocks == 13, "all is listened to"
    assert ears.begun_anew >= 1
    said = next(each for each in map(cause_of, disk.lines) if isinstance(each, Said))
    assert (said.audio_from_s, said.audio_to_s) == (0.0, 0.8), "what counts silences it"


def test_whoever_speaks_over_it_is_told_and_hears_a_tone_when_it_listens_again() -> None:
    live, disk, _ = service({4: "checklist table tilted head up"}, takes_s=1.0)
    voice = live._voice
    assert isinstance(voice, Speaker)
    live.run(blocks(12))
    over = [decode_record(line).fact for line in disk.lines[1:2]]
    assert over == [facts.NotUnderstood(why=facts.Doubt.SPOKEN_OVER)]
    assert disk.order.count("said") == 1, "no tone while it still speaks"
    live.run(blocks(2))
    assert disk.order.count("said") == 2


@pytest.mark.parametrize(("after_s", "kept"), [(3, "nice weather today"), (30, "[unk]")])
def test_the_words_of_talk_are_kept_only_while_the_machine_attends(after_s: int, kept: str) -> None:
    live, disk, _ = service({1: "checklist", 1 + 10 * after_s: "nice weather today"})
    live.run(blocks(1 + 10 * after_s))
    heard = cause_of(disk.lines[-1])
    assert isinstance(heard, Heard)
    assert heard.text == kept


def test_talk_under_a_prompt_is_no_reason_for_a_tone() -> None:
    live, disk, _ = service({4: "[unk]"}, takes_s=1.0)
    live.run(blocks(14))
    assert decode_record(disk.lines[1]).fact == facts.NotUnderstood(why=facts.Doubt.OTHER_SPEECH)
    assert disk.order.count("said") == 1


@pytest.mark.parametrize(("text", "deaf_s"), [("[unk]", 0.7), ("checklist emergency", 0.5)])
def test_it_counts_how_long_what_is_said_does_not_count(text: str, deaf_s: float) -> None:
    """The last 0.3 s of a prompt count; what breaks in cuts it short."""
    live, _, _ = service({5: text}, takes_s=1.0)
    live.run(blocks(5 if text != "[unk]" else 14))
    assert live.deaf_s == pytest.approx(deaf_s, abs=0.05)


@pytest.mark.parametrize("began_s", [0.8, 1.0, 1.2, 1.3])
def test_a_reply_counts_from_shortly_before_the_end_of_the_question(began_s: float) -> None:
    """People answer within 0.2 s (Stivers et al., PNAS 2009;106:10587, from memory)."""
    live, disk, ears = service(takes_s=0.0)
    voice = live._voice
    assert isinstance(voice, Speaker)
    live.step(Entered(text="checklist triangle free of fat"))
    voice.takes_s = 1.0
    start_s = live.position_s
    live.step(Entered(text="checklist triangle free of fat"))
    last = round((began_s + 0.5) * 10)
    ears.script, ears.lasts_s = {ears.blocks + last: "confirm"}, 0.5
    live.run(blocks(last))
    assert start_s == 0.0
    assert facts_of(disk)[-1] == "Stated"


@pytest.mark.parametrize(
    ("text", "fact"),
    [("checklist emergency", "Overridden"), ("checklist converting to open", "BailedOut")],
)
def test_an_emergency_and_a_bail_out_are_accepted_at_once_also_while_speaking(
    text: str, fact: str
) -> None:
    """The customer: accepted from everywhere, at once. The prompt falls silent for it."""
    live, disk, _ = service({5: text}, takes_s=3.0)
    live.run(blocks(5))
    assert facts_of(disk) == ["Opened", "Spoke", fact]
    assert getattr(decode_record(disk.lines[1]).cause, "audio_to_s", None) == 0.5
    assert disk.order.index("stopped") < disk.order.index("recorded", 3)
    assert replay(disk.lines).state == live.case.state


def test_an_emergency_that_was_hardly_heard_while_speaking_was_the_machine() -> None:
    live, disk, ears = service({5: "checklist emergency"}, takes_s=1.0)
    ears.sure = 0.4
    live.run(blocks(13))
    assert facts_of(disk) == ["Opened", "NotUnderstood", "Spoke"]


@pytest.mark.parametrize(
    ("text", "fact"),
    [
        ("checklist emergency", "Overridden"),
        ("checklist converting to open", "BailedOut"),
        ("checklist table tilted head up", "NotUnderstood"),
        ("[unk]", "NotUnderstood"),
    ],
)
def test_what_began_under_a_prompt_and_ended_after_it_is_one_line(text: str, fact: str) -> None:
    live, disk, ears = service({15: text}, takes_s=1.0)
    ears.lasts_s = 0.9  # from 0.6 s, when the machine was still speaking, to 1.5 s
    live.run(blocks(15))
    assert facts_of(disk) == ["Opened", "Spoke", fact]
    heard = decode_record(disk.lines[2]).cause
    assert isinstance(heard, Heard)
    assert heard.over


def test_what_began_before_the_machine_spoke_counts_although_it_ended_under_it() -> None:
    live, disk, ears = service({6: "checklist table tilted head up"}, takes_s=0.0)
    ears.lasts_s = 0.3
    live.run(blocks(4))
    assert live.listening
    speaker = live._voice
    assert isinstance(speaker, Speaker)
    speaker.takes_s = 2.0
    live.run([Entered(text="checklist what is outstanding"), *blocks(2)])
    assert facts_of(disk) == ["Opened", "Listed", "Spoke", "Stated"]


@pytest.mark.parametrize(("lasts_s", "fact"), [(0.4, "NotUnderstood"), (0.2, "Stated")])
def test_a_reply_counts_for_the_words_that_were_out_when_it_began(
    lasts_s: float, fact: str
) -> None:
    """The read-back of an entry comes while somebody says "confirm" to something else."""
    live, disk, ears = service({5: "confirm"})
    ears.lasts_s = lasts_s
    live.run([*blocks(2), Entered(text="checklist triangle free of fat"), *blocks(3)])
    assert facts_of(disk) == ["Opened", "Proposed", fact]


def test_a_reply_still_counts_while_somebody_enters_something_else() -> None:
    """The question was out when the reply began, and it is the same one."""
    live, disk, ears = service({6: "confirm"})
    ears.lasts_s = 0.3
    entry = Entered(text="checklist wall too thick to grasp")
    live.run([Entered(text="checklist triangle free of fat"), *blocks(4), entry, *blocks(2)])
    assert facts_of(disk) == ["Opened", "Proposed", "Cautioned", "Stated"]


def test_a_question_that_was_cut_short_is_not_out() -> None:
    live, disk, _ = service({3: "confirm", 60: "confirm"}, takes_s=2.0)
    again = Entered(text="checklist say again")
    live.run([Entered(text="checklist triangle free of fat"), *blocks(2), again, *blocks(58)])
    assert facts_of(disk)[-2:] == ["Spoke", "Stated"]
    assert facts_of(disk).count("Stated") == 1


def test_a_reply_to_a_question_that_is_being_asked_counts_for_nothing() -> None:
    live, disk, _ = service({3: "confirm", 30: "confirm"}, takes_s=1.0)
    live.run([Entered(text="checklist triangle free of fat"), *blocks(30)])
    assert facts_of(disk) == ["Opened", "Spoke", "Proposed", "NotUnderstood", "Spoke", "Stated"]


TWO = {5: "checklist triangle free of fat", 6: "checklist lower third off the plate"}
"""Heard one block apart; each lasted three, so that the second was begun before the read-back."""


def in_one_breath(
    then: dict[int, str], lasts: int, first: dict[int, str] = TWO
) -> tuple[list[str], Service]:
    live, disk, ears = service({**first, **then}, takes_s=0.0)
    voice = live._voice
    assert isinstance(voice, Speaker)
    voice.takes_s, ears.lasts_s = 1.0, 0.3
    live.run(blocks(lasts))
    taken = [type(r.fact).__name__ for r in map(decode_record, disk.lines)]
    return [name for name in taken[1:] if name != "Spoke"], live


def test_of_two_critical_statements_in_one_breath_each_is_read_back_in_turn() -> None:
    """The customer: each taken in turn, or the second asked for, never lost in silence."""
    taken, live = in_one_breath({25: "confirm", 60: "confirm"}, 65)
    assert taken == ["Proposed", "Stated", "Proposed", "Stated"]
    assert [live.case.state.standing[live.case.procedure.index[i]] for i in ("triangle", "plate")]


@pytest.mark.parametrize(
    ("reply", "then"),
    [({25: "negative"}, ["Retracted", "Proposed"]), ({}, ["Lapsed", "Proposed"])],
)
def test_the_second_is_read_back_whatever_became_of_the_first(
    reply: dict[int, str], then: list[str]
) -> None:
    assert in_one_breath(reply, 150)[0] == ["Proposed", *then]


def test_the_same_said_twice_in_one_breath_is_read_back_once() -> None:
    same = {5: "checklist triangle free of fat", 6: "checklist triangle free of fat"}
    taken, live = in_one_breath({25: "confirm"}, 60, same)
    assert taken == ["Proposed", "Proposed", "Stated"]
    assert live.case.state.pending is None


def test_a_refusal_is_heard_out_before_the_next_statement_of_the_breath() -> None:
    clip = {5: "checklist clips on the artery", 6: "checklist table tilted head up"}
    live, disk, ears = service(clip)
    voice = live._voice
    assert isinstance(voice, Speaker)
    voice.takes_s, ears.lasts_s = 1.0, 0.3
    live.run(blocks(30))
    assert facts_of(disk)[:4] == ["Opened", "Refused", "Spoke", "Stated"]
    spoke = decode_record(disk.lines[2]).cause
    assert isinstance(spoke, Said)
    assert spoke.audio_to_s - spoke.audio_from_s >= 1.0


@pytest.mark.parametrize(
    ("second", "fact"),
    [
        ("checklist more than two structures", "Stated"),
        ("checklist active bleeding", "Occurred"),
        ("checklist emergency", "Overridden"),
    ],
)
def test_what_is_urgent_or_in_the_safe_direction_waits_for_no_reply(second: str, fact: str) -> None:
    assert in_one_breath({}, 7, {**TWO, 6: second})[0] == ["Proposed", fact]


def test_what_still_waits_when_the_sound_ends_is_on_record() -> None:
    assert in_one_breath({}, 8)[0] == ["Proposed", "Proposed"]


def test_what_was_said_after_the_question_was_begun_replaces_it_as_before() -> None:
    later = {5: "checklist triangle free of fat", 30: "checklist lower third off the plate"}
    assert in_one_breath({}, 32, later)[0] == ["Proposed", "Proposed"]


def test_a_new_prompt_cuts_the_old_one_short_and_both_are_on_record() -> None:
    live, disk, _ = service(takes_s=3.0)
    live.run(blocks(5))
    live.step(Entered(text="checklist emergency"))
    live.run(blocks(40))
    assert facts_of(disk) == ["Opened", "Overridden", "Spoke", "Spoke"]
    cut = decode_record(disk.lines[2]).cause
    assert getattr(cut, "audio_to_s", None) == 0.5


def test_an_entry_by_hand_ends_the_prompt_first_so_that_say_again_repeats_it() -> None:
    live, disk, _ = service(takes_s=3.0)
    live.run([BLOCK, Entered(text="checklist say again")])
    assert facts_of(disk) == ["Opened", "Spoke", "Repeated"]
    assert live.case.last_said.startswith("Laparoscopic cholecystectomy.")
    assert disk.order[-6:] == ["stopped", "recorded", "shown", "recorded", "shown", "said"]


def test_sound_that_waited_while_a_prompt_was_made_does_not_end_its_deafness_early() -> None:
    """Rendering took 0.5 s: five blocks are waiting, and are older than the prompt."""
    live, disk, _ = service(takes_s=1.0, rendering_s=0.5)
    live.run(blocks(17))
    assert facts_of(disk) == ["Opened"]
    live.run(blocks(1))
    assert facts_of(disk) == ["Opened", "Spoke"]


def test_the_read_back_waits_for_its_time_and_then_nothing_is_believed() -> None:
    live, disk, _ = service({3: "checklist triangle free of fat"})
    live.run(blocks(120))
    assert facts_of(disk) == ["Opened", "Proposed", "Lapsed"]
    assert not any(live.case.state.standing)


def test_trouble_goes_on_record_and_the_case_goes_on() -> None:
    live, disk, _ = service(broken="no loudspeaker")
    live.run([Trouble(part="microphone", message="unplugged"), BLOCK])
    live.step(Entered(text="checklist table tilted head up"))
    assert facts_of(disk) == ["Opened", "Failed", "Failed", "Stated"]


def test_what_was_still_being_said_when_the_sound_ended_counts() -> None:
    live, disk, ears = service()
    ears.unfinished = "checklist table tilted head up"
    live.run(blocks(2))
    assert facts_of(disk) == ["Opened", "Stated"]


def test_what_was_being_said_when_the_sound_ended_under_a_prompt_does_not() -> None:
    """The machine speaks and is deaf; its own voice may be in it."""
    live, disk, ears = service(takes_s=5.0)
    ears.unfinished = "checklist table tilted head up"
    live.run(blocks(2))
    assert facts_of(disk) == ["Opened", "NotUnderstood"]
    ears.unfinished = "checklist emergency"
    live.run(blocks(2))
    assert facts_of(disk) == ["Opened", "NotUnderstood", "Spoke", "Overridden"]


@pytest.mark.parametrize(
    ("interrupts", "then"),
    [
        (Trouble(part="display", message="its server has stopped"), ["Failed", "Stated"]),
        (Trouble(part="clock", message="set by 3 s"), ["Failed", "Stated"]),
        (Trouble(part="microphone", message="unplugged"), ["Stated", "Failed"]),
        (Entered(text="checklist say again"), ["Repeated", "Stated"]),
    ],
)
def test_what_is_being_said_is_finished_whatever_else_comes(
    interrupts: Trouble | Entered, then: list[str]
) -> None:
    """Only a gap in the sound ends it early; nothing loses it."""
    live, disk, ears = service()
    ears.unfinished = "checklist table tilted head up"
    live.run([BLOCK, interrupts])
    assert facts_of(disk) == ["Opened", *then]


def test_what_was_still_being_said_when_the_record_was_closed_does_not() -> None:
    live, disk, ears = service()
    live.step(Entered(text="checklist close the record"))
    live.step(Entered(text="confirm"))
    ears.unfinished = "checklist table tilted head up"
    live.run([])
    assert facts_of(disk) == ["Opened", "CloseProposed", "Closed"]


def test_the_log_of_a_live_case_replays_to_the_same_state() -> None:
    live, disk, _ = service(
        {2: "checklist triangle free of fat", 4: "confirm", 6: "[unk]", 8: "checklist view is lost"}
    )
    live.run(blocks(10))
    again = replay(disk.lines)
    assert again.state == live.case.state
    assert live.checkpoint.last == line_hash(disk.lines[-1])
    assert facts_of(disk) == ["Opened", "Proposed", "Stated", "NotUnderstood", "Occurred"]


def test_a_record_taken_up_again_goes_on_where_its_lines_end() -> None:
    first, disk, _ = service({2: "checklist triangle free of fat", 4: "confirm"})
    first.run(blocks(5))
    again, kept, _ = service(from_s=60.0)
    kept.lines[:] = disk.lines
    again.take_up(disk.lines, Restarted(gap_s=20.0))
    assert again.case.state.standing == first.case.state.standing
    assert replay(kept.lines).state == again.case.state


@pytest.mark.parametrize("gap_s", [301.0, -1.0])
def test_after_a_long_or_unknown_gap_the_criteria_must_be_stated_again(gap_s: float) -> None:
    first, disk, _ = service({2: "checklist triangle free of fat", 4: "confirm"})
    first.run(blocks(5))
    again, kept, _ = service(from_s=60.0)
    again.take_up(disk.lines, Restarted(gap_s=gap_s))
    assert not any(again.case.state.standing)
    assert decode_record(kept.lines[-1]).fact == facts.Reopened(gap_s=gap_s, lapsed=("triangle",))
