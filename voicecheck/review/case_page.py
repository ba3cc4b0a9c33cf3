"""One case as one self-contained page, for surgeon, trainer and trainee."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

from voicecheck.core.wording import CAUTION, REHEARSAL
from voicecheck.review.examine import Examined
from voicecheck.review.findings import Act, Call, Report, Stretch
from voicecheck.review.lines import lines
from voicecheck.review.marks import SHAPES
from voicecheck.review.pages import drawn, page
from voicecheck.review.picture import timeline
from voicecheck.review.proof import proof

SATISFACTORY = 5
"""This many points of six or more: Sanford & Strasberg, J Am Coll Surg 2014;218:170-178."""

DOUBLET_SOURCE = (
    "Score after Sanford DE, Strasberg SM, J Am Coll Surg 2014;218:170–178: front and back view, "
    "three criteria, 0 to 2 points each; 5 or 6 points are satisfactory."
)


CRITERIA = ("Triangle cleared", "Lower third off the plate", "Two and only two structures")
"""What the doublet is scored by, in this order."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Doublet:
    """The reviewer's score of the two photographs."""

    points: tuple[int, int, int]
    """0, 1 or 2 for each of the CRITERIA."""
    reviewer: str = ""
    """A role or initials."""

    @property
    def total(self) -> int:
        """Points of six."""
        return sum(self.points)

    @property
    def satisfactory(self) -> bool:
        """Whether the score's authors call it satisfactory; the machine has no opinion."""
        return self.total >= SATISFACTORY


def case_page(examined: Examined, name: str, doublet: Doublet | None = None) -> str:
    """The page of one examined log, headed by its faults if it is not intact.

    `name` is the log's file name.
    """
    report = examined.report
    return page(
        "voicecheck.review:review.html.j2",
        examined=examined,
        report=report,
        name=name,
        picture=drawn(timeline(report)) if report else "",
        shapes=SHAPES.values(),
        moments=_moments(report) if report else [],
        fallen=[each for lapse in report.lapses for each in lapse.items] if report else [],
        restored_s=_restored_s(report) if report else None,
        stood_s=_least_stood_s(report.first_act) if report else None,
        phases=phases(report) if report else [],
        proven=tuple(proof(examined)),
        doublet=doublet,
        doublet_criteria=CRITERIA,
        doublet_source=DOUBLET_SOURCE,
        lines=tuple(lines(examined.trace)) if examined.trace else (),
        rehearsal=REHEARSAL,
        caution=CAUTION,
    )


def _moments(report: Report) -> list[tuple[str, Call | Act]]:
    """The moments at which the page tells what stood: the first call, and the first act."""
    moments: list[tuple[str, Call | Act]] = []
    if report.first_call:
        moments.append(("first called for", report.first_call))
    if report.first_act:
        moments.append(("first recorded in the course", report.first_act))
    return moments


def _least_stood_s(act: Act | None) -> float | None:
    """How long the criterion stated last had stood; None without an act."""
    stood_s = [one.stood_s for one in act.criteria if one.stood_s is not None] if act else []
    return min(stood_s, default=None)


def _restored_s(report: Report) -> float | None:
    """How long it took until what lapsed was stated again, median; None if nothing was."""
    took_s = (lapse.took_s(fallen) for lapse in report.lapses for fallen in lapse.items)
    known_s = [one for one in took_s if one is not None]
    return median(known_s) if known_s else None


@dataclass(frozen=True, kw_only=True, slots=True)
class InPhase:
    """All the time in one phase, or outside the course in one mode."""

    title: str
    number: int | None
    """Its number in the procedure; None outside the course."""
    parts: tuple[Stretch, ...]

    @property
    def total_s(self) -> int:
        """All parts together, in whole seconds, so that the parts that are shown add up to it."""
        return sum(int(part.end.since_s) - int(part.start.since_s) for part in self.parts)


def phases(report: Report) -> list[InPhase]:
    """All phases of the procedure, even if they never came, then the modes outside the course."""
    titles = dict.fromkeys(item.phase for item in report.asked)
    numbers = {(title, True): number for number, title in enumerate(titles, 1)}
    left = dict.fromkeys(
        (part.title, part.in_course) for part in report.stretches if not part.in_course
    )
    return [
        InPhase(
            title=which[0],
            number=numbers.get(which),
            parts=tuple(part for part in report.stretches if (part.title, part.in_course) == which),
        )
        for which in (*numbers, *left)
    ]
