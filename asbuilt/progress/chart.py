"""The time-chainage chart as SVG: each crew's line, gaps left open, the plan dashed, the length covered beside it."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from asbuilt.look import CREWS
from asbuilt.progress.calendar import date_text
from asbuilt.progress.figures import Figures
from asbuilt.progress.frame import LEFT, TOP, WIDTH, Frame, drawn_frame, frame_of, hatch
from asbuilt.progress.svg import INK, PAPER, QUIET, element, escaped, line, path, text

_STYLE = (
    "text{font:14px system-ui,'Segoe UI',Roboto,'Liberation Sans','Libertinus Serif',sans-serif;fill:#1A1A1A}"
    ".small{font-size:13px}.strong{font-weight:700}.title{font-size:20px;font-weight:700}"
    ".end{text-anchor:end}.middle{text-anchor:middle}"
    ".halo{paint-order:stroke;stroke:#FFFFFF;stroke-width:4px;stroke-linejoin:round}"
)
_LARGE = "text{font-size:19px}.small{font-size:17px}"  # 8 points where the drawing is as wide as a sheet of A4
_FORMS = ("plain", "double", "beads", "ticks")  # told apart in grey; beyond four the colour changes, too
_ORIENTATION = "Chainage runs to the right, time runs down: the flatter a line, the faster the crew. Gaps stay open."


def chart(found: Figures, title: str) -> str:
    """Return the chart as one SVG element with a title and a description, in pixels; it asks for nothing else."""
    head = text(LEFT, 34, title, class_="title") + text(LEFT, 60, _ORIENTATION)
    head += text(LEFT, 82, f"As of the evening of {date_text(found.work.evening)}.")
    named = element("title", escaped(title)) + element("desc", escaped(described(found)))
    return _drawn(found, frame_of(found), named + element("style", _STYLE), head=head, in_row=4)


def chart_on_paper(found: Figures) -> str:
    """Return the chart for a page that has its own words about it: no head, and letters for the width of a sheet."""
    return _drawn(found, frame_of(found), element("style", _STYLE + _LARGE), top=TOP - 84, in_row=3)


def _drawn(found: Figures, frame: Frame, inner: str, *, head: str = "", top: float = 0.0, in_row: int) -> str:
    """Return the drawing below `top`: `inner` is what stands before it, `head` what stands above the plot."""
    marks = [
        drawn_frame(found, frame),
        *(_planned(found, frame, crew) for crew in found.crews),
        *(_actual(found, frame, crew) for crew in found.crews),
        _without_place(found, frame),
        _tie_ins(found, frame),
        _covered(found, frame),
        _as_of(found, frame),
        _key(found, frame.bottom + 46, in_row),
    ]
    height = frame.bottom + 60 + 26 * -(-len(_entries(found)) // in_row) - top
    paper = element("rect", y=top, width=WIDTH, height=height, fill=PAPER)
    return element(
        "svg", inner + element("defs", hatch()) + paper + head + "".join(marks), xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 {top:.0f} {WIDTH:.0f} {height:.0f}", width=WIDTH, height=height, role="img",
    )  # fmt: skip


def described(found: Figures) -> str:
    """Return the chart in words, for whoever does not see it."""
    said = [f"Time-chainage chart. {_ORIENTATION}"]
    for crew, own in found.days.groupby("crew"):
        days, metres = own["day"].to_numpy(float), own["new_m"].sum()
        said.append(
            f"{crew}: {found.work.unit.text(metres, 0)} from {date_text(days.min())} to {date_text(days.max())}."
        )
    return " ".join(said)


def _form(found: Figures, crew: str) -> tuple[str, str]:
    """Return the form and the colour of a crew's line."""
    at = found.crews.index(crew)
    return _FORMS[at % len(_FORMS)], CREWS[(at + at // len(_FORMS)) % len(CREWS)]


def _stroke(d: str, form: str, colour: str) -> str:
    """Return a path in the form of a crew: a plain line, a double one, one with beads, or one with ticks."""

    def drawn(width: float, stroke: str = colour, **more: object) -> str:
        return element("path", d=d, fill="none", stroke=stroke, stroke_width=width, stroke_linejoin="round", **more)

    if form == "double":
        return drawn(5.0) + drawn(2.0, PAPER)
    if form == "beads":
        return drawn(1.6) + drawn(6.0, stroke_dasharray="0 10", stroke_linecap="round")
    if form == "ticks":
        return drawn(1.6) + drawn(9.0, stroke_dasharray="2 8")
    return drawn(3.0)


# ---- lines of crews --------------------------------------------------------------------------------------------------


def _actual(found: Figures, frame: Frame, crew: str) -> str:
    """Return the line of a crew: from joint to joint where it made both and no record is missing between them.

    A tie-in, made days later between two ends, is a cross and no part of a line.
    """
    form, colour = _form(found, crew)
    pieces = [piece for name in frame.spans for piece in _pieces(found, frame, crew, name)]
    d = path(pieces)
    return _stroke(d, form, colour) + _name(pieces, crew, frame.right) if d else ""


def _pieces(found: Figures, frame: Frame, crew: str, name: str) -> Iterator[np.ndarray]:
    work = found.work
    joints = work.joints
    closed = work.closed
    closed = closed[(closed["line"] == name).to_numpy() & (closed["a"] >= 0).to_numpy() & (closed["b"] >= 0).to_numpy()]
    a, b = (joints.loc[closed[side].astype(int)] for side in ("a", "b"))
    span = (closed["high"] - closed["low"]).to_numpy(float)
    shown = (a["moment"].to_numpy(float) >= frame.first) & (b["moment"].to_numpy(float) >= frame.first)
    mine = shown & (a["crew"].to_numpy(object) == crew) & (b["crew"].to_numpy(object) == crew)
    mine &= a["machine"].to_numpy(object) == b["machine"].to_numpy(object)
    mine &= (a["kind"].to_numpy(object) != "tie-in") & (b["kind"].to_numpy(object) != "tie-in")  # those are crosses
    mine &= closed["covered_m"].to_numpy(float) > 0.5 * span
    ends = np.stack([_points(frame, name, a), _points(frame, name, b)], axis=1)[mine]
    follows = np.append(False, closed["a"].to_numpy()[mine][1:] == closed["b"].to_numpy()[mine][:-1])
    for run in np.split(np.arange(len(ends)), np.flatnonzero(~follows)[1:]):
        if len(run):
            yield np.vstack([ends[run, 0], ends[run[-1], 1]])


def _points(frame: Frame, name: str, joints: pd.DataFrame) -> np.ndarray:
    return np.column_stack(
        [frame.x(name, joints["chainage_m"].to_numpy(float)), frame.y(joints["moment"].to_numpy(float))]
    )


def _name(pieces: list[np.ndarray], crew: str, right: float) -> str:
    """Return the name of a crew beside the first point of its longest line, on the side that has room."""
    longest = max(pieces, key=lambda piece: float(np.ptp(piece[:, 0])))
    x, y = longest[np.argmin(longest[:, 1])]
    if x > right - 160:
        return text(x - 8, y - 6, crew, class_="halo strong end")
    return text(x + 8, y - 6, crew, class_="halo strong")


def _planned(found: Figures, frame: Frame, crew: str) -> str:
    """Return the planned line of a crew, dashed: within each day from its begin to its end."""
    own = found.plan.of(crew).pieces
    lines = [own[(own["line"] == name).to_numpy()] for name in frame.spans]
    pieces = [p for name, rows in zip(frame.spans, lines, strict=True) for p in _plan_pieces(frame, name, rows)]
    d = path(pieces)
    colour = _form(found, crew)[1]
    return element("path", d=d, fill="none", stroke=colour, stroke_width=1.6, stroke_dasharray="7 5") if d else ""


def _plan_pieces(frame: Frame, name: str, rows: pd.DataFrame) -> Iterator[np.ndarray]:
    rows = rows.sort_values("day", kind="stable")
    begin, end = (rows[side].to_numpy(float) for side in ("begin", "end"))
    day = rows["day"].to_numpy(float)
    ends = np.stack(
        [np.column_stack([frame.x(name, at), frame.y(day + part)]) for at, part in ((begin, 0.3), (end, 0.7))], axis=1
    )
    meets = np.append(False, np.abs(begin[1:] - end[:-1]) < 0.01)
    for run in np.split(np.arange(len(ends)), np.flatnonzero(~meets)[1:]):
        if len(run):
            yield ends[run].reshape(-1, 2)


# ---- marks -----------------------------------------------------------------------------------------------------------


def _cross(x: float, y: float, colour: str = INK) -> str:
    d = f"M{x - 6:.1f} {y - 6:.1f}L{x + 6:.1f} {y + 6:.1f}M{x - 6:.1f} {y + 6:.1f}L{x + 6:.1f} {y - 6:.1f}"
    return element("path", d=d, stroke=PAPER, stroke_width=6) + element("path", d=d, stroke=colour, stroke_width=2.5)


def _ring(x: float, y: float) -> str:
    return element(
        "circle", cx=float(x), cy=float(y), r=6, fill="none", stroke=INK, stroke_width=1.5, stroke_dasharray="3 2"
    )


def _tie_ins(found: Figures, frame: Frame) -> str:
    """Return tie-ins that were made as crosses, and planned ones as broken rings on their planned day."""
    work = found.work
    made = work.made[(work.made["kind"] == "tie-in").to_numpy() & work.made["chainage_m"].notna().to_numpy()]
    parts = []
    for name in frame.spans:
        planned = found.tie_ins[(found.tie_ins["line"] == name).to_numpy()]
        y = frame.y(planned["planned"].to_numpy(float) + 0.5)
        parts += [_ring(*at) for at in zip(frame.x(name, planned["at_m"].to_numpy(float)), y, strict=True)]
        parts += [_cross(*at) for at in _points(frame, name, made[(made["line"] == name).to_numpy()])]
    return "".join(parts)


def _without_place(found: Figures, frame: Frame) -> str:
    """Return joints without a place as ticks in a lane of their own, right of the plot: on no chainage."""
    loose = found.work.made[found.work.made["chainage_m"].isna().to_numpy()]
    if loose.empty:
        return ""
    x = frame.right + 8
    ticks = path(np.array([[x, y], [x + 14, y]]) for y in frame.y(loose["moment"].to_numpy(float)))
    label = text(x + 7, TOP - 34, "no place", class_="small middle")
    return label + element("path", d=ticks, stroke=INK, stroke_width=1.5, fill="none")


def _covered(found: Figures, frame: Frame) -> str:
    """Return the length covered by each evening, solid, the planned one, dashed, and the forecast as a bar."""
    days = np.arange(frame.first, found.work.evening + 1)
    by_day = found.days.groupby("day")["new_m"].sum()
    daily = by_day.reindex(days, fill_value=0.0).to_numpy(float, copy=True)
    daily[0] += by_day[by_day.index < frame.first].sum()
    every, plan = np.arange(frame.first, frame.last), found.plan
    parts = []
    if len(plan.pieces):
        d = _curve(frame, every, plan.length_by(every))
        parts.append(element("path", d=d, fill="none", stroke=QUIET, stroke_width=1.6, stroke_dasharray="7 5"))
    parts.append(element("path", d=_curve(frame, days, daily.cumsum()), fill="none", stroke=INK, stroke_width=3.0))
    x = float(frame.beside(np.array([frame.whole_m]))[0])
    for f in found.forecasts:
        if f.what == "line" and not f.crew and np.isfinite(f.p80):
            low, high = frame.y(np.array([f.p50 + 0.5, f.p80 + 1.0]))
            parts.append(line(x - 6, low, x - 6, high, stroke=INK, stroke_width=5.0))
            words = "P50, P80" if f.p50 == f.p80 else "P50 to P80"
            parts.append(text(x - 14, (low + high) / 2 + 5, words, class_="end halo"))
    return "".join(parts)


def _curve(frame: Frame, days: np.ndarray, total: np.ndarray) -> str:
    at = np.column_stack([frame.beside(np.append(0.0, total)), frame.y(np.append(days[0], days + 1))])
    return path([at])


def _as_of(found: Figures, frame: Frame) -> str:
    y = float(frame.y(np.array([found.work.evening + 1]))[0])
    beside = frame.beside(np.array([0.0, frame.whole_m]))
    ruled = line(LEFT, y, frame.right, y, stroke=INK, stroke_width=2.0)
    ruled += line(beside[0], y, beside[1], y, stroke=INK, stroke_width=2.0)
    return ruled + text(frame.right + 6, y + 5, "as of", class_="strong")


# ---- key -------------------------------------------------------------------------------------------------------------


def _entries(found: Figures) -> list[tuple[str, str]]:
    """Return what the key explains: the drawing of each mark, about (0, 0), and its words."""
    d = "M0 0L46 0"
    crews = [(_stroke(d, *_form(found, crew)), crew) for crew in found.crews]
    dashed = element("path", d=d, stroke=QUIET, stroke_width=1.6, stroke_dasharray="7 5")
    planned = [(dashed, "planned, in its crew's colour")] if len(found.plan.pieces) else []
    ties = [(_cross(23.0, 0.0), "tie-in made")]
    ties += [(_ring(23.0, 0.0), "tie-in planned")] if len(found.tie_ins) else []
    shaded = element("rect", x=0, y=-8, width=46, height=16, fill="#E4E0D4")
    return [*crews, *planned, *ties, (shaded, "no working day")]


def _key(found: Figures, top: float, in_row: int) -> str:
    parts = []
    for i, (mark, words) in enumerate(_entries(found)):
        x, y = LEFT + (i % in_row) * (1020 / in_row), top + (i // in_row) * 26
        parts.append(element("g", mark + text(56, 5, words), transform=f"translate({x:.0f} {y:.0f})"))
    return "".join(parts)
