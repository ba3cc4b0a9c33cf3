"""The shipped rehearsal cases, as text: every line brings about the fact that it claims.

What must be shown is the customer's list: the issue "A spoken case, end to end, offline".
"""

from __future__ import annotations

import itertools

import pytest
from rooms import SCENARIOS, Told, scenario, told
from stories import opening, shipped

from voicecheck.core import facts
from voicecheck.core.case import Case
from voicecheck.core.conduct_2.grammar import interpret, phrases
from voicecheck.core.facts import Fact
from voicecheck.core.inputs import UNKNOWN
from voicecheck.core.procedure import Kind
from voicecheck.core.state import Mode
from voicecheck.live.rehearsal import understood

# ------------------------------------------------------------------------------ every scenario


@pytest.mark.parametrize("name", SCENARIOS)
def test_every_line_brings_about_its_fact_and_the_last_one_closes(name: str) -> None:
    assert told(name).case.state.mode is Mode.CLOSED


@pytest.mark.parametrize("name", SCENARIOS)
def test_a_line_means_the_shown_phrases_that_it_names_and_talk_means_nothing(name: str) -> None:
    tale = Told(case=Case(opening()))
    address = tale.case.procedure.common.listening.address
    shown = {*phrases(shipped()), address, UNKNOWN}
    for line in scenario(name).lines:
        assert set(line.heard) <= shown, line.say
        assert line.heard == (line.say,) or line.say not in shown, line.say
        assert tale.meanings(line) == [interpret(shipped(), each) for each in line.heard], line.say
        tale.hear(line)


@pytest.mark.parametrize("name", SCENARIOS)
def test_every_scenario_says_that_it_is_invented_and_can_be_followed(name: str) -> None:
    case = scenario(name)
    assert case.invented == "Invented scenario; synthetic voices; no patient, no person."
    assert 15 <= len(case.lines) <= 45
    assert len(case.title) <= 40
    assert case.about.endswith(".")


@pytest.mark.parametrize("name", SCENARIOS)
def test_no_act_stands_in_any_scenario_unless_all_criteria_stood_before(name: str) -> None:
    tale = Told(case=Case(opening()))
    procedure = tale.case.procedure
    needed = [item.id for item in procedure.items if item.kind in (Kind.CRITERION, Kind.PAUSE)]
    for line in scenario(name).lines:
        standing = tale.case.state.standing
        for fact in tale.hear(line):
            if isinstance(fact, facts.Stated) and procedure.item(fact.item).kind is Kind.ACT:
                assert all(standing[procedure.index[item]] for item in needed), line.say


# ------------------------------------------------------------------- people who speak as people do


def test_in_her_own_words_no_shown_phrase_is_said_and_the_case_is_complete() -> None:
    said = [line.say for line in scenario("own_words").lines]
    address = f"{shipped().common.listening.address} "
    shown = {phrase.removeprefix(address) for phrase in phrases(shipped())}
    assert not [(text, phrase) for text in said for phrase in shown if phrase in text]
    assert told("own_words").facts[-1] == facts.Closed(outstanding=())


def test_what_is_spoken_over_is_told_and_then_said_again() -> None:
    lines = scenario("speaks_over").lines
    over = [(line, again) for line, again in itertools.pairwise(lines) if line.over_s]
    assert all(set(line.heard) <= set(again.heard) and not again.over_s for line, again in over)
    told_so = facts.NotUnderstood(why=facts.Doubt.SPOKEN_OVER)
    assert told("speaks_over").facts.count(told_so) == len(over) >= 5


def test_who_speaks_over_it_also_hesitates_corrects_herself_and_says_two_things_at_once() -> None:
    lines, tale = scenario("speaks_over").lines, told("speaks_over").facts
    assert {"um", "okay"} <= {word for line in lines for word in line.say.split()}
    assert {facts.Retracted, facts.Withdrawn} <= {type(fact) for fact in tale}
    assert ("Stated", "Stated") in {line.then for line in lines}
    assert tale[-1] == facts.Closed(outstanding=())


def test_a_mute_machine_is_not_spoken_over_and_takes_the_same() -> None:
    tale = Told(case=Case(opening()))
    for line in scenario("speaks_over").lines:
        if not line.over_s:
            tale.hear(line)
    told_so = facts.NotUnderstood(why=facts.Doubt.SPOKEN_OVER)
    assert tale.facts == [fact for fact in told("speaks_over").facts if fact != told_so]


def test_any_words_will_do_if_they_mean_the_same() -> None:
    shown = [("checklist clips on the artery", "Refused"), ("[unk]", "NotUnderstood")]
    own = [("checklist the artery is clipped", "Refused"), *2 * shown[1:]]
    other = [("checklist the duct is clipped leaving two", "Refused"), *shown[1:]]
    mumbled = [*shown[:1], ("checklist the other one", "NotUnderstood")]
    assert understood(shipped(), own) == understood(shipped(), shown)
    assert understood(shipped(), other) != understood(shipped(), shown)
    assert understood(shipped(), mumbled) != understood(shipped(), shown)


# --------------------------------------------------------------- what the set must show, from facts


def after(tale: list[Fact], first: type[Fact]) -> list[Fact]:
    """What came after the first fact of this kind; empty if there was none."""
    return list(itertools.dropwhile(lambda fact: not isinstance(fact, first), tale))[1:]


def stated(tale: list[Fact], item: str) -> bool:
    return any(isinstance(fact, facts.Stated) and fact.item == item for fact in tale)


def showing(what: str) -> list[str]:
    """The scenarios whose facts show it."""
    return [name for name in SCENARIOS if SHOWS[what](told(name).facts)]


def a_full_clean_case(tale: list[Fact]) -> bool:
    ordinary = (facts.Proposed, facts.Stated, facts.PauseBegun, facts.CloseProposed, facts.Closed)
    complete = isinstance(tale[-1], facts.Closed) and not tale[-1].outstanding
    return complete and all(isinstance(fact, ordinary) for fact in tale)


def a_premature_clip_is_refused_with_the_reason(tale: list[Fact]) -> bool:
    return any(
        isinstance(fact, facts.Refused)
        and fact.item in ("artery_clipped", "duct_clipped")
        and fact.why == "outstanding"
        and set(fact.outstanding) & {"triangle", "plate", "two"}
        for fact in tale
    )


def a_criterion_lapses_with_the_view_and_is_stated_again(tale: list[Fact]) -> bool:
    for n, fact in enumerate(tale):
        if isinstance(fact, facts.Occurred) and fact.event == "view_lost":
            return any(stated(tale[:n], item) and stated(tale[n:], item) for item in fact.lapsed)
    return False


def the_sulcus_is_not_seen(tale: list[Fact]) -> bool:
    return facts.Stated(item="line", answer="no_sulcus") in tale


def more_than_two_leads_to_help_and_bail_out(tale: list[Fact]) -> bool:
    more = facts.Stated(item="two", answer="more")
    rest = tale[tale.index(more) :] if more in tale else []
    left = any(isinstance(fact, facts.BailedOut) for fact in after(rest, facts.HelpCalled))
    return left and not any(stated(rest, act) for act in ("artery_clipped", "duct_clipped"))


def an_emergency_overrides(tale: list[Fact]) -> bool:
    aside = after(tale, facts.Overridden)
    noted = [fact.item for fact in aside if isinstance(fact, facts.Noted)]
    listed = [fact.outstanding for fact in aside if isinstance(fact, facts.Listed)]
    return bool(noted and listed) and set(noted) <= set(listed[0])


def a_statement_is_withdrawn_and_made_again(tale: list[Fact]) -> bool:
    return any(
        isinstance(fact, facts.Withdrawn) and stated(tale[n:], fact.item)
        for n, fact in enumerate(tale)
    )


def silence_and_no_are_not_believed(tale: list[Fact]) -> bool:
    needed = (facts.Lapsed, facts.Retracted, facts.NotUnderstood)
    return all(any(isinstance(fact, kind) for fact in tale) for kind in needed)


SHOWS = {
    show.__name__: show
    for show in (
        a_full_clean_case,
        a_premature_clip_is_refused_with_the_reason,
        a_criterion_lapses_with_the_view_and_is_stated_again,
        the_sulcus_is_not_seen,
        more_than_two_leads_to_help_and_bail_out,
        an_emergency_overrides,
        a_statement_is_withdrawn_and_made_again,
        silence_and_no_are_not_believed,
    )
}


@pytest.mark.parametrize("what", SHOWS)
def test_the_shipped_set_shows(what: str) -> None:
    assert showing(what)


def test_a_clean_case_shows_nothing_but_a_clean_case() -> None:
    """The detectors above can say no."""
    assert [what for what in SHOWS if "clean_case" in showing(what)] == ["a_full_clean_case"]
