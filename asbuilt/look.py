"""One colour, one shape and one word for each verdict: map, log and GeoPackage cannot disagree.

The colours are from the colour-blind-safe set of Okabe and Ito (2008, "Color Universal Design", from memory)
and differ in lightness too, so that they stay apart in grey. None is used as the trade uses paint on the ground:
a verdict is always a shape and a word as well.
"""

from dataclasses import dataclass

IN_WINDOW = "in window"
OUT_OF_WINDOW = "out of window"
CANNOT_TELL = "cannot tell"
NOT_RECORDED = "not recorded"
NO_WINDOW = "no window"

# From worst to best: a joint takes the first that any of its required checks has.
WORST_FIRST = (OUT_OF_WINDOW, NOT_RECORDED, CANNOT_TELL, IN_WINDOW, NO_WINDOW)


@dataclass(frozen=True)
class Look:
    """How one verdict is drawn: fill colour, outline colour, and a shape's name."""

    fill: str
    line: str
    shape: str


FUSION: dict[str, Look] = {
    IN_WINDOW: Look("#56B4E9", "#1B4F72", "disc"),
    OUT_OF_WINDOW: Look("#D55E00", "#5A2800", "diamond"),
    CANNOT_TELL: Look("#F0E442", "#5C5600", "triangle"),
    NOT_RECORDED: Look("#FFFFFF", "#111111", "square"),
    NO_WINDOW: Look("#BBBBBB", "#444444", "bar"),
}

LINE = "#3A3A3A"
GAP = "#8E3B6E"
