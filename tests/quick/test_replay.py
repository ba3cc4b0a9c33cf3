"""Whatever is done to a log shows: in its bytes, in its story or at a checkpoint kept elsewhere."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import pytest
from stories import (
    COMMON_TEXT,
    SMALL_TEXT,
    THREE_CRITERIA,
    UP_TO_THE_CRITERIA,
    Story,
    opened,
    opening,
    resealed,
)

from voicecheck.core import facts
from voicecheck.core.chain import GENESIS, Checkpoint, line_hash
from voicecheck.core.facts import At, Fact, Record
from voicecheck.core.inputs import Due, Entered, Heard, Restarted, Said, Trouble
from voicecheck.core.replay import BrokenLog, check_chain, check_checkpoint, replay, story

Forgery = Callable[[list[Record]], list[Record]]


def _live(*, small: bool) -> Story:
    """A case with a refusal, a lapse, a late word, an event and a full gate."""
    if small:
        live = Story(text=SMALL_TEXT)
        live.say("checklist clips on", "checklist only two")
        live.wait()
        live.say("confirm", "[unk]", "checklist table up", "checklist neck down")
        live.say("checklist only two", "confirm", "checklist pause")
        live.wait()
        live.say("confirm", "checklist clips on", "confirm", "checklist slipped")
    else:
        live = Story()
        live.say(*UP_TO_THE_CRITERIA, *THREE_CRITERIA, "checklist begin the pause")
        live.wait()
        live.say("confirm", "checklist clips on the artery", "confirm")
    live.give(Said(text="anything", audio_from_s=1.0, audio_to_s=2.5))
    live.say("by hand: checklist close the record", "confirm")
    return live


@cache
def live() -> tuple[Record, ...]:
    """The records of the small case, closed."""
    return tuple(_live(small=True).records)


@cache
def log() -> tuple[bytes, ...]:
    """Its lines."""
    return tuple(resealed(list(live())))


def checkpoint() -> Checkpoint:
    """Its checkpoint, as somebody wrote it down."""
    return Checkpoint(length=len(log()), last=line_hash(log()[-1]))


def broken(lines: list[bytes]) -> BrokenLog:
    """How the replay breaks."""
    with pytest.raises(BrokenLog) as found:
        replay(lines)
    assert str(found.value).startswith(f"Line {found.value.line}: ")
    return found.value


# ----------------------------------------------------------------------------- what was not touched


@pytest.mark.parametrize("small", [True, False])
def test_a_log_as_written_holds_and_lives_the_case_again(small: bool) -> None:
    lived = _live(small=small)
    again = replay(lived.lines())
    assert again.state == lived.case.state
    assert again.last == lived.records[-1]
    assert again.stated_at == lived.case.stated_at
    assert check_chain(lived.lines()).length == len(lived.records)


def test_the_story_is_told_line_by_line() -> None:
    assert [record for _, record in story(log())] == list(live())


def test_a_log_may_end_anywhere_and_still_hold() -> None:
    """After a crash: every beginning of a log is a log."""
    for end in range(1, len(log()) + 1):
        assert replay(log()[:end]).last == live()[end - 1]


def test_the_checkpoint_of_a_log_fits_it_and_what_was_added_later() -> None:
    for end in range(1, len(log()) + 1):
        check_checkpoint(log(), check_chain(log()[:end]))


# ---------------------------------------------------------------------------------------- the bytes


def test_every_flipped_bit_shows(counted: list[str]) -> None:
    """By the chain; in the last line, which no later line pins, by the checkpoint.

    This log leaves out the procedure's text: the chain is over bytes, whatever they say.
    """
    begun = replace(live()[0], fact=opening(text="text", common="text").fact)
    lines = resealed([begun, *live()[1:6]])
    end = check_chain(lines)
    flips, only_by_checkpoint = 0, 0
    for number, line in enumerate(lines):
        for bit in range(8 * len(line)):
            flipped = [*lines[:number], _flipped(line, bit), *lines[number + 1 : number + 2]]
            flips += 1
            try:
                check_chain(flipped)
            except BrokenLog:
                continue
            only_by_checkpoint += 1
            with pytest.raises(BrokenLog):
                check_checkpoint(flipped, end)
    counted.append(
        f"flipped bits: {flips:,} in {len(lines)} lines, all seen; {only_by_checkpoint} of them, "
        "in the last line, only by the checkpoint"
    )


def _flipped(line: bytes, bit: int) -> bytes:
    changed = bytearray(line)
    changed[bit // 8] ^= 1 << bit % 8
    return bytes(changed)


@pytest.mark.parametrize("number", range(len(log()) - 1))
def test_a_deleted_line_shows(number: int) -> None:
    lines = [*log()[:number], *log()[number + 1 :]]
    assert broken(lines).line == number + 1


@pytest.mark.parametrize("number", range(len(log())))
def test_a_doubled_line_shows(number: int) -> None:
    lines = [*log()[: number + 1], *log()[number:]]
    assert broken(lines).line == number + 2


@pytest.mark.parametrize("number", range(len(log()) - 1))
def test_swapped_lines_show(number: int) -> None:
    lines = [*log()]
    lines[number], lines[number + 1] = lines[number + 1], lines[number]
    assert broken(lines).line == number + 1


@pytest.mark.parametrize("number", range(len(log())))
@pytest.mark.parametrize("strange", [b"", b"{}", b"\xff", b"x" * 10])
def test_an_inserted_line_shows(number: int, strange: bytes) -> None:
    assert broken([*log()[:number], strange, *log()[number:]]).line == number + 1


def test_a_line_of_another_case_shows() -> None:
    other = Story(text=SMALL_TEXT)
    other.say("checklist table up")
    assert broken([log()[0], other.lines()[1], *log()[2:]]).line in (2, 3)


def test_an_empty_log_is_no_log() -> None:
    assert broken([]).line == 1


# ---------------------------------------------------------------------------------- the end cut off


@pytest.mark.parametrize("end", range(1, len(log())))
def test_a_chain_alone_cannot_show_that_its_end_was_cut_off(end: int) -> None:
    """The honest claim: tamper-evident back to the last checkpoint held elsewhere."""
    check_chain(log()[:end])
    replay(log()[:end])
    with pytest.raises(BrokenLog, match=f"the checkpoint counts {len(log())} lines"):
        check_checkpoint(log()[:end], checkpoint())


def test_a_whole_log_told_anew_shows_only_at_the_checkpoint() -> None:
    forged = [replace(record, at=_later(record.at)) for record in live()]
    lines = resealed(forged)
    replay(lines)
    with pytest.raises(BrokenLog, match="not the one that the checkpoint names"):
        check_checkpoint(lines, checkpoint())


def test_a_checkpoint_of_nothing_holds_no_line_to_account() -> None:
    check_checkpoint([], Checkpoint(length=0, last=GENESIS))
    check_checkpoint(log(), Checkpoint(length=0, last=GENESIS))


@pytest.mark.parametrize(
    "utc",
    [
        "2026-99-99T99:99:99.000Z",
        "2026-02-29T10:00:00.000Z",
        "2031-05-06T24:00:00.000Z",
        "0000-05-06T10:00:00.000Z",
        "２０３１-05-06T10:00:00.000Z",
        "2031-05-06 10:00:00.000Z",
    ],
)
def test_a_time_that_no_clock_shows_does_not_hold(utc: str) -> None:
    """RFC 3339, 5.6 and 5.7: the days of each month; the digits of ASCII."""
    records = [*live()]
    records[1] = replace(records[1], at=replace(records[1].at, utc=utc))
    assert "is not a UTC time" in str(broken(resealed(records)))


def test_leap_days_are_days() -> None:
    records = [replace(r, at=replace(r.at, utc="2028-02-29T23:59:59.999Z")) for r in live()]
    assert list(story(resealed(records)))


def _later(at: At) -> At:
    return replace(at, utc=at.utc.replace("2031", "2032"))


# ------------------------------------------------------------------------ every hash computed again


def place_of(kind: type[Fact], *, last: bool = False) -> int:
    """Where the first or last fact of a kind stands."""
    places = [place for place, record in enumerate(live()) if isinstance(record.fact, kind)]
    return places[-1 if last else 0]


def but(place: int, **changes: object) -> Forgery:
    """Change one record."""

    def forge(records: list[Record]) -> list[Record]:
        changed = replace(records[place], **changes)  # type: ignore[arg-type]
        return [*records[:place], changed, *records[place + 1 :]]

    return forge


def without(*places: int) -> Forgery:
    """Leave records out."""
    return lambda records: [r for place, r in enumerate(records) if place not in places]


OPENED = opened(SMALL_TEXT)
REFUSED = place_of(facts.Refused)
LAPSED = place_of(facts.Lapsed)
STATED = place_of(facts.Stated, last=True)
CLOSED = place_of(facts.Closed)
OCCURRED = place_of(facts.Occurred)
PAUSED = place_of(facts.PauseBegun)
SPOKE = place_of(facts.Spoke)


@pytest.mark.parametrize(
    "forge",
    [
        pytest.param(
            but(REFUSED, fact=facts.Stated(item="clipped", answer="yes")), id="refused clip stated"
        ),
        pytest.param(
            but(REFUSED, fact=facts.Proposed(item="clipped", answer="yes")), id="refused, read back"
        ),
        pytest.param(but(REFUSED, fact=facts.HelpCalled()), id="refusal hidden"),
        pytest.param(
            but(REFUSED, cause=Entered(text="checklist emergency")), id="another word was said"
        ),
        pytest.param(
            but(LAPSED, fact=facts.Stated(item="two", answer="two")), id="silence believed"
        ),
        pytest.param(without(LAPSED), id="lapse left out"),
        pytest.param(
            lambda records: without(LAPSED)(
                but(LAPSED + 1, fact=facts.Stated(item="two", answer="two"))(records)
            ),
            id="lapse left out and the late confirm believed",
        ),
        pytest.param(but(LAPSED, at=live()[LAPSED - 1].at), id="lapse before its time"),
        pytest.param(
            but(STATED, fact=facts.Stated(item="divided", answer="yes")), id="another item"
        ),
        pytest.param(but(STATED, fact=facts.Stated(item="clipped", answer="no")), id="an answer"),
        pytest.param(
            but(STATED, fact=facts.Stated(item="clipped", answer="yes", lapsed=("bed",))),
            id="a lapse too many",
        ),
        pytest.param(
            but(OCCURRED, fact=facts.Occurred(event="retraction_slipped")), id="lapses hidden"
        ),
        pytest.param(
            but(OCCURRED, fact=facts.Occurred(event="flood")), id="an event that nobody knows"
        ),
        pytest.param(without(STATED - 1), id="read-back left out"),
        pytest.param(without(PAUSED), id="pause left out"),
        pytest.param(without(PAUSED, PAUSED + 1, PAUSED + 2), id="whole pause left out"),
        pytest.param(
            but(PAUSED + 1, at=replace(live()[PAUSED].at, mono_us=live()[PAUSED].at.mono_us + 1)),
            id="pause cut short",
        ),
        pytest.param(but(CLOSED, fact=facts.Closed(outstanding=())), id="all stated at the close"),
        pytest.param(
            lambda records: [*records, replace(records[1], at=records[-1].at)],
            id="a line after the close",
        ),
        pytest.param(
            lambda records: [
                *records,
                replace(records[1], at=records[-1].at, fact=facts.HelpCalled(), cause=Due()),
            ],
            id="something due after the close",
        ),
        *(
            pytest.param(
                lambda records, late=late, fact=fact: [
                    *records,
                    replace(records[1], at=records[-1].at, cause=late, fact=fact),
                ],
                id=f"{type(late).__name__} after the close",
            )
            for late, fact in (
                (Restarted(gap_s=1.0), facts.Reopened(gap_s=1.0)),
                (Said(text="x", audio_from_s=0, audio_to_s=1), facts.Spoke()),
                (Trouble(part="clock", message="m"), facts.Failed(part="clock")),
                (Entered(text="checklist emergency"), facts.Overridden()),
                (live()[REFUSED].cause, live()[REFUSED].fact),
            )
        ),
        pytest.param(but(SPOKE, at=live()[0].at), id="back in time"),
        pytest.param(but(SPOKE, cause=None), id="no cause"),
        pytest.param(
            but(SPOKE, at=replace(live()[SPOKE].at, utc="2031-05-06T00:00:00Z")), id="no time"
        ),
        pytest.param(
            but(SPOKE, at=replace(live()[SPOKE].at, utc="2031-05-06T00:00:00.000+02:00")),
            id="a time elsewhere",
        ),
        pytest.param(but(SPOKE, fact=opening().fact), id="opened twice"),
        pytest.param(but(0, fact=facts.HelpCalled()), id="never opened"),
        pytest.param(
            but(0, fact=replace(OPENED, rules=0)),
            id="other rules",
        ),
        pytest.param(
            but(0, fact=replace(OPENED, format=0)),
            id="another format",
        ),
        pytest.param(
            but(0, fact=opening(SMALL_TEXT.replace('"criterion"', '"step"')).fact),
            id="a procedure without criteria",
        ),
        pytest.param(
            but(0, fact=opening(SMALL_TEXT.replace('"only two"', '"two only"')).fact),
            id="other words in the procedure",
        ),
        pytest.param(
            but(0, fact=opening(SMALL_TEXT.replace("pause_s = 5", "pause_s = 50")).fact),
            id="a longer pause asked than held",
        ),
        pytest.param(
            but(
                0,
                fact=opening(
                    SMALL_TEXT, COMMON_TEXT.replace('["negative"]', '["confirm not"]')
                ).fact,
            ),
            id="phrases that can be taken for one another",
        ),
    ],
)
def test_a_forged_story_fails_with_every_hash_computed_again(forge: Forgery) -> None:
    lines = resealed(forge([*live()]))
    check_chain(lines)
    broken(lines)


HEARD = live()[STATED].cause
assert isinstance(HEARD, Heard)


@pytest.mark.parametrize(
    "forge",
    [
        pytest.param(but(STATED, cause=replace(HEARD, confidence=0.97)), id="another confidence"),
        pytest.param(but(STATED, cause=replace(HEARD, audio_from_s=0.5)), id="another span"),
        pytest.param(but(STATED, cause=Entered(text=HEARD.text)), id="by hand, not heard"),
        pytest.param(but(SPOKE, cause=Said(text="x", audio_from_s=0, audio_to_s=1)), id="prompt"),
        pytest.param(but(LAPSED, cause=Entered(text="confirm")), id="late, not silent"),
        pytest.param(without(SPOKE), id="the machine's own words left out"),
        pytest.param(
            but(0, fact=replace(OPENED, case="invented-2")),
            id="another case",
        ),
    ],
)
def test_what_could_also_have_happened_shows_only_at_the_checkpoint(forge: Forgery) -> None:
    """A story that conduct allows is told from the true one only by what was kept elsewhere."""
    lines = resealed(forge([*live()]))
    replay(lines)
    with pytest.raises(BrokenLog):
        check_checkpoint(lines, checkpoint())
