"""How each layer is drawn by a general GIS program, as data: the same shapes and rings as on the map.

Sizes are in millimetres on paper or screen; `nearer` is the scale denominator up to which something is drawn, `farther`
that from which, 0: no bound. A rule draws the rows that have the stated values; of marks that overlap, the higher
level lies on top.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from asbuilt import look

INK, PAPER, FAINT = "#111111", "#FFFFFF", "#6B6B6B"
JOINT_MM = 3.0
FAR = 5000
_NAMES, _TICKS, _HUNDREDS, _OPINIONS = 1500, 60_000, 12_000, 2500


@dataclass(frozen=True)
class Mark:
    """A sign at a point. `shape` is one of look's, or a ring, broken ring, arcs, cross or struck circle."""

    shape: str
    size_mm: float
    fill: str = ""  # empty: none
    line: str = INK
    width_mm: float = 0.3
    level: int = 0
    far_mm: float = 0.0  # size where the scale is smaller than 1 : FAR; 0: the same


@dataclass(frozen=True)
class Stroke:
    """A line; `dash_mm` are drawn and left out in turn, `beside_mm` lies to the left where positive."""

    colour: str
    width_mm: float
    dash_mm: tuple[float, ...] = ()
    beside_mm: float = 0.0


@dataclass(frozen=True)
class Rule:
    """What the rows with these values are drawn by. `least_mm`: a line shorter than this on the screen is a band."""

    title: str
    draw: tuple[Mark | Stroke, ...]
    where: Mapping[str, str | bool | int]
    nearer: int = 0
    farther: int = 0
    least_mm: float = 0.0


@dataclass(frozen=True)
class Label:
    """Text beside a feature: the columns put together with ` / ` between them; those that are empty are left out."""

    columns: tuple[str, ...]
    where: Mapping[str, str | bool | int]
    nearer: int = 0
    size_pt: float = 8.0
    colour: str = INK
    bold: bool = False


@dataclass(frozen=True)
class Sheet:
    """How one layer is drawn."""

    table: str
    says: str
    rules: tuple[Rule, ...]
    labels: tuple[Label, ...] = ()


def _joint(verdict: str) -> Rule:
    is_worse = verdict in (look.OUT_OF_WINDOW, look.NOT_RECORDED)
    drawn, size = look.FUSION[verdict], JOINT_MM * (1.3 if is_worse else 1.0)
    level = 10 + 2 * (len(look.WORST_FIRST) - look.WORST_FIRST.index(verdict))
    mark = Mark(drawn.shape, size, drawn.fill, drawn.line, level=level, far_mm=size if is_worse else 0.5 * size)
    return Rule(f"fusion {verdict}", (mark,), {"in_line": True, "fusion_verdict": verdict})


def _ring(verdict: str, shape: str, *, nearer: int = 0, width_mm: float = 0.5) -> Rule:
    mark = Mark(shape, 2.1 * JOINT_MM, width_mm=width_mm, level=30)
    return Rule(f"position {verdict}", (mark,), {"in_line": True, "position_verdict": verdict}, nearer)


def _heart(placed_by: str, says: str, mark: Mark) -> Rule:
    return Rule(f"placed by {says}", (mark,), {"in_line": True, "placed_by": placed_by}, FAR)


def _gap(kind: str, colour: str, *, width_mm: float = 4.2, dash_mm: tuple[float, ...] = (0.8, 1.0)) -> Rule:
    return Rule(kind, (Stroke(colour, width_mm, dash_mm),), {"kind": kind}, least_mm=4.0)


JOINTS = Sheet(
    "joints",
    "Shape and colour by fusion_verdict, ring by position_verdict, heart by placed_by. Unplaced joints have no point.",
    (
        Rule("not in line: cut out or trial", (Mark("struck circle", JOINT_MM, line=FAINT),), {"in_line": False}),
        *(_joint(verdict) for verdict in reversed(look.WORST_FIRST)),
        _heart("tally", "pipe lengths alone", Mark("disc", 0.5 * JOINT_MM, PAPER, "#444444", 0.2, level=29)),
        _heart("survey", "a measurement on the pipe", Mark("disc", 0.3 * JOINT_MM, INK, INK, 0.1, level=29)),
        _ring(look.OUT_OF_WINDOW, "ring"),
        _ring(look.NOT_RECORDED, "broken ring"),
        _ring(look.CANNOT_TELL, "arcs", nearer=_OPINIONS, width_mm=0.35),
    ),
    (Label(("joint_id",), {"in_line": True}, _NAMES),),
)

GAPS = Sheet(
    "gaps",
    "A hatched band: records are missing here, which does not say that joints are.",
    (
        _gap("between joints", look.GAP),
        _gap("before the first joint", look.GAP),
        _gap("after the last joint", look.GAP),
        _gap("records not placed", look.GAP, width_mm=2.4),
        _gap("not yet recorded", FAINT, width_mm=2.1, dash_mm=(0.4, 1.9)),
    ),
    (Label(("gap_id",), {}, FAR, 8.0, look.GAP, bold=True),),
)

MARKS = Sheet(
    "chainage_marks",
    "Stations along the line: every thousand, every hundred, ends and chainage equations.",
    (
        Rule("every hundred", (Mark("disc", 1.0, PAPER, INK, 0.2),), {"rank": 1}, _HUNDREDS),
        Rule("every thousand", (Mark("disc", 1.6, PAPER, INK, 0.3),), {"rank": 2}),
        Rule("end or equation", (Mark("square", 1.8, INK, INK, 0.2),), {"rank": 3}),
    ),
    (
        Label(("station",), {"rank": 1}, FAR, 7.0, FAINT),
        Label(("station",), {"rank": 2}, _TICKS, 8.0),
        Label(("station",), {"rank": 3}, _TICKS, 8.0, bold=True),
    ),
)

POSITIONS = Sheet(
    "positions",
    "Every opinion of where a joint is; drawn when near.",
    (
        Rule("fix, as recorded", (Mark("cross", 2.4, line=INK, width_mm=0.4),), {"method": "fix"}, _OPINIONS),
        Rule("foot of the fix", (Mark("disc", 0.8, INK, INK, 0.1),), {"method": "projection"}, _OPINIONS),
        Rule("adjusted", (Mark("disc", 1.4, "", INK, 0.25),), {"method": "adjusted"}, _OPINIONS),
        Rule("second likeliest", (Mark("square", 1.6, "", FAINT, 0.25),), {"method": "alternative leg"}, _OPINIONS),
        Rule("as-laid shot", (Mark("square", 1.2, INK, INK, 0.1),), {"method": "as-laid shot"}, _OPINIONS),
        Rule("as found", (Mark("square", 1.9, PAPER, INK, 0.5),), {"method": "as found"}, _OPINIONS),
    ),
)


def _line(table: str, says: str, *draw: Stroke, label: str = "") -> Sheet:
    labels = (Label((label,), {}, 15_000, 8.0, FAINT),) if label else ()
    return Sheet(table, says, (Rule(table.replace("_", " "), draw, {}),), labels)


SHEETS = (
    JOINTS,
    POSITIONS,
    GAPS,
    _line("pipes", "Reaches between neighbouring joints.", Stroke(look.LINE, 0.25)),
    _line("strings", "Strings, drawn beside the line.", Stroke(FAINT, 0.8, (), -2.6), label="string"),
    _line("test_sections", "Tested reaches, beside the line.", Stroke(FAINT, 0.5, (2.0, 1.0), 2.6), label="section"),
    MARKS,
    _line("alignment", "The design centreline.", Stroke(look.LINE, 0.7)),
    _line("ties", "From a joint to a fixed feature.", Stroke(INK, 0.2, (1.0, 0.6))),
)
