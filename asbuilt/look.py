"""One colour, one shape and one word for each verdict: map, log and GeoPackage cannot disagree.

The colours are steps of ColorBrewer's BrBG scheme, which its authors list as safe for colour-blind readers
(values from memory), and differ in lightness too, so that they stay apart in grey. Browns and teals are not paint
that the trade sprays on the ground to mark a service. A verdict is always a shape and a word as well.
"""

from dataclasses import dataclass

IN_WINDOW = "in window"
OUT_OF_WINDOW = "out of window"
CANNOT_TELL = "cannot tell"
NOT_RECORDED = "not recorded"
NO_WINDOW = "no window"

# From worst to best: a joint takes the first that any of its required checks has.
WORST_FIRST = (OUT_OF_WINDOW, NOT_RECORDED, CANNOT_TELL, IN_WINDOW, NO_WINDOW)

# As counts are said; the first four always, also where there is none.
IN_ORDER = (IN_WINDOW, OUT_OF_WINDOW, CANNOT_TELL, NOT_RECORDED, NO_WINDOW)


@dataclass(frozen=True)
class Look:
    """How one verdict is drawn: fill colour, outline colour, and a shape's name."""

    fill: str
    line: str
    shape: str


FUSION: dict[str, Look] = {
    IN_WINDOW: Look("#5AB4AC", "#01463E", "disc"),
    OUT_OF_WINDOW: Look("#8C510A", "#2E1A02", "diamond"),
    CANNOT_TELL: Look("#DFC27D", "#5B4410", "triangle"),
    NOT_RECORDED: Look("#F5F5F5", "#111111", "square"),
    NO_WINDOW: Look("#BBBBBB", "#444444", "bar"),
}

# The shapes as characters, where a verdict stands in a line of text: filled for fusion, hollow for position.
SIGNS: dict[str, tuple[str, str]] = {
    IN_WINDOW: ("●", "○"),
    OUT_OF_WINDOW: ("◆", "◇"),
    CANNOT_TELL: ("▲", "△"),
    NOT_RECORDED: ("■", "□"),
    NO_WINDOW: ("▬", "▭"),
}

LINE = "#3A3A3A"
GAP = "#543005"

# Crews on a chart are told apart by the form of their line and by their name; these colours, of the same scheme, come
# on top.
CREWS = ("#01463E", "#A6611A", "#35978F", "#543005")
