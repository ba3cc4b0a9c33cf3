"""The marks on a timeline: a shape for each kind of happening, with words if there is room.

The colours are those of Okabe & Ito, "Color Universal Design" (2008), for readers with any colour
vision. No kind is marked by its colour alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

from voicecheck.review.findings import Happening

if TYPE_CHECKING:
    from matplotlib.axes import Axes

BLACK, ORANGE, SKY, GREEN = "#000000", "#E69F00", "#56B4E9", "#009E73"
BLUE, VERMILION, PURPLE = "#0072B2", "#D55E00", "#CC79A7"
INK, QUIET, PAPER = "#22313a", "#7b8a93", "#f1f4f5"
WIDTH_IN = 10.4
"""Width of the whole picture."""


class Shape(NamedTuple):
    """How one kind of happening is drawn, and its entry in the legend."""

    marker: str
    """As Matplotlib names it."""
    colour: str
    character: str
    """Looks like the marker."""
    name: str


SHAPES: Mapping[str, Shape] = {
    "event": Shape("^", PURPLE, "▲", "event"),
    "caution": Shape("s", ORANGE, "■", "caution"),
    "help": Shape("*", BLACK, "★", "help called"),
    "interruption": Shape("d", SKY, "♦", "stand by, carry on"),
    "gap": Shape("p", BLACK, "⬟", "nobody listened"),
    "refused": Shape("X", VERMILION, "✖", "refused"),
    "lapsed": Shape("v", VERMILION, "▼", "lapsed"),
    "withdrawn": Shape("<", BLUE, "◀", "withdrawn"),
    "answered anew": Shape("o", BLUE, "●", "answered anew"),
    "course left": Shape("P", VERMILION, "✚", "course left"),
}
"""Kind of happening → its shape."""


def marks(axes: Axes, happenings: Sequence[Happening], place: int) -> None:
    """Draw each happening, with its words where they touch no other mark or words."""
    times = [happening.at.since_s / 60 for happening in happenings]
    taken_min = float("-inf")
    for happening, at_min, next_min in zip(
        happenings, times, [*times, axes.get_xlim()[1]][1:], strict=True
    ):
        shape = SHAPES[happening.kind]
        axes.plot(
            [at_min],
            [place],
            shape.marker,
            color=shape.colour,
            ms=7.5,
            mec=BLACK,
            mew=0.6,
            zorder=4,
            clip_on=False,
        )
        words = _words(happening)
        wide_min = width_min(axes, words) * 1.3
        if words and at_min + wide_min < next_min:
            _beside(axes, words, at_min, place, right=True)
            taken_min = at_min + wide_min
        elif words and at_min - wide_min > max(taken_min, 0):
            _beside(axes, words, at_min, place, right=False)
            taken_min = at_min
        else:
            taken_min = at_min


def _words(happening: Happening) -> str:
    """What is written beside a mark. A refused phrase is too long: only the table has it."""
    match happening.kind:
        case "refused":
            return ""
        case "lapsed":
            return happening.why
        case _:
            return happening.what


def _beside(axes: Axes, words: str, at_min: float, place: int, *, right: bool) -> None:
    axes.annotate(
        words,
        (at_min, place),
        (7 if right else -7, 0),
        textcoords="offset points",
        ha="left" if right else "right",
        va="center",
        fontsize=8,
    )


def width_min(axes: Axes, text: str) -> float:
    """How many minutes of the axis a text covers, roughly: 0.068 inch a letter at 8 points."""
    inches = WIDTH_IN * axes.get_position().width
    return 0.068 * (len(text) + 1) / inches * (axes.get_xlim()[1] - axes.get_xlim()[0])
