"""One case as one self-contained page: to be read by the surgeon, the trainer, the trainee."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

from voicecheck.core.wording import CAUTION
from voicecheck.review.examine import Examined
from voicecheck.review.findings import Report, Stretch
from voicecheck.review.pages import drawn, page
from voicecheck.review.picture import timeline
from voicecheck.review.proof import proof

SATISFACTORY = 5
"""Points of six: Sanford & Strasberg, J Am Coll Surg 2014;218:170-178."""

DOUBLET_SOURCE = (
    "Score after Sanford DE, Strasberg SM, J Am Coll Surg 2014;218:170–178: front and back view, "
    "three criteria, 0 to 2 points each; 5 or 6 points are satisfactory."
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Doublet:
    """The reviewer's score of the two photographs; 0, 1 or 2 points a criterion."""

    triangle: int
    plate: int
    two: int
    reviewer: str = ""
    """A role or initials."""

    @classmethod
    def of(cls, points: tuple[int, int, int], reviewer: str = "") -> Self:
        """From the three numbers in the order of the criteria."""
        triangle, plate, two = points
        return cls(triangle=triangle, plate=plate, two=two, reviewer=reviewer)

    @property
    def total(self) -> int:
        """Points of six."""
        return self.triangle + self.plate + self.two

    @property
    def satisfactory(self) -> bool:
        """What the score's authors call so; never the machine's opinion."""
        return self.total >= SATISFACTORY

    @property
    def lines(self) -> tuple[tuple[str, int], ...]:
        """Each criterion with its points."""
        return (
            ("Triangle cleared", self.triangle),
            ("Lower third off the plate", self.plate),
            ("Two and only two structures", self.two),
        )


def review(examined: Examined, name: str, doublet: Doublet | None = None) -> str:
    """The page for one examined log; says that it is not intact wherever it is not."""
    report = examined.report
    act = report.first_act if report else None
    return page(
        "voicecheck.review:review.html.j2",
        examined=examined,
        report=report,
        name=name,
        picture=drawn(timeline(report)) if report else "",
        standing=[one for one in act.criteria if one.stood_s is not None] if act else [],
        phases=phases(report) if report else [],
        proven=tuple(proof(examined)),
        doublet=doublet,
        doublet_source=DOUBLET_SOURCE,
        caution=CAUTION,
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class InPhase:
    """All the time for which one phase was the one asked for, or the course was left one way."""

    title: str
    number: int | None
    """Its place in the operation; None outside the course."""
    parts: tuple[Stretch, ...]

    @property
    def total_s(self) -> float:
        """All parts together."""
        return sum(part.end.since_s - part.start.since_s for part in self.parts)


def phases(report: Report) -> list[InPhase]:
    """Every phase of the procedure, also one that never came, then how the course was left."""
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
