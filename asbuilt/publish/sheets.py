"""alignment_sheets.pdf: strip maps along the route at a true scale, plan above and bands of one axis below."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyproj

from asbuilt.alignment import MeasuredLine
from asbuilt.as_built import AsBuilt, Context
from asbuilt.crs import Frame
from asbuilt.outstanding import joints_that_stand_out
from asbuilt.publish.report_data import on_every_page
from asbuilt.publish.sheet_bands import (
    AXIS_MM,
    LABELS_MM,
    LANE_MM,
    SIGNS_MM,
    Bands,
    axis_marks,
    bands,
    gap_bars,
    numbered,
    section_bars,
    string_bars,
)
from asbuilt.publish.sheet_plan import (
    behind_ink,
    behind_names,
    gap_ink,
    grid_ink,
    joint_signs,
    line_ink,
    mark_ink,
    match_ink,
    plan_words,
)
from asbuilt.publish.strips import Scale, Strip, strips
from asbuilt.publish.typeset import typeset
from asbuilt.quantities import LengthUnit
from asbuilt.sentence import several, some

NAME = "alignment_sheets.pdf"

# Width and height of a sheet laid across, in millimetres (ISO 216; 11 x 17 inches).
PAPERS = {"A3": (420.0, 297.0), "Tabloid": (431.8, 279.4)}
BORDER_MM, FOOT_MM, HEAD_MM, EDGE_MM = 10.0, 27.0, 6.0, 14.0
_LEAST_PLAN, _MOST_PLAN = 34.0, 150.0
_LONGEST = 40  # letters of a name that is said above its strip
_NICE = np.outer(10.0 ** np.arange(-1, 6), (1, 2, 5)).ravel()


def write_sheets(as_built: AsBuilt, path: Path) -> None:
    """Write the alignment sheets to `path`, on the paper and at the scale of `as_built.form`. The same record gives the
    same bytes."""
    path.write_bytes(typeset("sheets.typ", sheets_data(as_built), moment=as_built.title.as_of))


@dataclass(frozen=True)
class _Line:
    """One line: its name and way, and what lies on it, each frame in order of chainage or as the tables have it."""

    name: str
    way: MeasuredLine
    joints: pd.DataFrame
    gaps: pd.DataFrame
    strings: pd.DataFrame
    test_sections: pd.DataFrame
    chainage_marks: pd.DataFrame


@dataclass(frozen=True)
class _Panel:
    """One strip of one line, with its number and the sheet it is on, both from 1."""

    line: _Line
    strip: Strip
    number: int
    sheet: int = 1


@dataclass(frozen=True)
class _Layout:
    """The boxes of a sheet in millimetres: plan and bands of each strip, and how many strips there are on a sheet."""

    width: float
    plan: float
    bands: Bands
    each: int


def sheets_data(as_built: AsBuilt) -> dict[str, Any]:
    """Return what the template draws: paper, boxes, key figures of the scale, and one list of strips a sheet."""
    form, unit = as_built.form, as_built.title.length_unit
    layout = _layout(PAPERS[form.sheets], bands(as_built.tables))
    panels = _panels(as_built, layout)
    drawn = [_drawn(panel, panels, as_built, layout) for panel in panels]
    bar = _nice(80.0 * form.scale / 1000.0 / unit.metres)
    bar_mm = bar * unit.metres * 1000.0 / form.scale
    return {
        **on_every_page(as_built),
        "paper": dict(zip(("width", "height"), PAPERS[form.sheets], strict=True)),
        "boxes": {
            "border": BORDER_MM, "foot": FOOT_MM, "head": HEAD_MM, "width": layout.width, "plan": layout.plan,
            "bands": layout.bands.height, "labels": layout.bands.labels, "strings": layout.bands.strings,
            "tests": layout.bands.tests, "axis": AXIS_MM, "signs": SIGNS_MM,
            "labels_from": LABELS_MM, "lane": LANE_MM, "edge": EDGE_MM,
        },
        "scale": {"says": _scale_says(form.scale, unit, form.sheets), "bar_mm": bar_mm, "bar": f"{bar:g} {unit.name}"},
        "crs": as_built.title.crs,
        "lengths": f"Chainage is a {as_built.title.length_kind} length; the plan is drawn in grid lengths.",
        "sheets": [drawn[i : i + layout.each] for i in range(0, len(drawn), layout.each)],
    }  # fmt: skip


def _layout(paper: tuple[float, float], of: Bands) -> _Layout:
    width, height = paper[0] - 2 * BORDER_MM, paper[1] - 2 * BORDER_MM - FOOT_MM
    for each in (3, 2, 1):
        plan = height / each - of.height - HEAD_MM - 5.0
        if plan >= _LEAST_PLAN * (1.5 if each > 2 else 1.0):
            break
    return _Layout(width, float(np.clip(plan, _LEAST_PLAN, _MOST_PLAN)), of, each)


def _nice(most: float) -> float:
    """Return the largest of 1, 2, 5, 10, 20 ... that is no more than `most`.

    >>> _nice(80.0), _nice(333.0)
    (50.0, 200.0)
    """
    return float(_NICE[np.searchsorted(_NICE, most, side="right") - 1])


def _scale_says(scale: int, unit: LengthUnit, paper: str) -> str:
    inch = scale * 0.0254 / unit.metres
    feet = f", 1 in = {inch:.0f} ft" if unit.name == "ft" and abs(inch - round(inch)) < 0.001 * inch else ""
    return f"1:{scale}{feet} on {paper}"


def _panels(as_built: AsBuilt, layout: _Layout) -> list[_Panel]:
    metres = Frame("", pyproj.CRS.from_wkt(as_built.crs_wkt)).metres_per_unit
    mm_per_m = 1000.0 / as_built.form.scale
    scale = Scale(mm_per_m * metres, mm_per_m)
    room = {"width": layout.width, "height": layout.plan - 12.0, "edge": EDGE_MM}
    found = [(line, strip) for line in _lines(as_built.tables) for strip in strips(line.way, scale, **room)]
    # the room above and below the line is not the strip's own
    lowered = ((line, replace(strip, at=strip.at + np.array([0.0, 6.0]))) for line, strip in found)
    return [_Panel(*row, number=i + 1, sheet=i // layout.each + 1) for i, row in enumerate(lowered)]


_OF_LINE = ("gaps", "strings", "test_sections", "chainage_marks")
_OF_JOINT = ["line", "joint_id", "chainage_m", "easting", "northing", "fusion_verdict", "position_verdict"]


def _lines(frames: Mapping[str, pd.DataFrame]) -> Iterator[_Line]:
    joints = frames["joints"]
    loud = joints_that_stand_out(joints)
    drawn = joints["in_line"].astype(bool) & joints["chainage_m"].notna()
    joints = joints[_OF_JOINT].assign(loud=loud)[drawn].sort_values("chainage_m", kind="stable")
    for name, of in frames["alignment_vertices"].groupby("line", sort=False):
        way = MeasuredLine(of[["easting", "northing"]].to_numpy(float), of["chainage_m"].to_numpy(float))
        yield _Line(str(name), way, _of(joints, name), **{frame: _of(frames[frame], name) for frame in _OF_LINE})


def _of(frame: pd.DataFrame, line: object) -> pd.DataFrame:
    return frame[frame["line"] == line].reset_index(drop=True)


# ---- one strip -------------------------------------------------------------------------------------------------------


def _drawn(panel: _Panel, panels: list[_Panel], as_built: AsBuilt, layout: _Layout) -> dict[str, Any]:
    line, strip = panel.line, panel.strip
    stationing = as_built.stationing[line.name]
    low, high = stationing.labels(np.array([strip.low, strip.high]))
    joints = numbered(line.joints, strip)
    gaps = gap_bars(line.gaps, strip)
    head = f"Strip {panel.number}: line {line.name}, {low} to {high}"
    ends = {"before": _match(panel, panels, -1, low), "after": _match(panel, panels, 1, high)}
    plan = _plan(line, strip, as_built.context, (layout.width, layout.plan), ends=tuple(ends.values()))
    strings, sections = string_bars(line.strings, strip), section_bars(line.test_sections, strip)
    bars = {"gap": gaps, "string": strings, "test section": sections}
    unnamed = [*plan.pop("unnamed"), *(f"{kind} {b['unsaid']}" for kind, of in bars.items() for b in of if b["unsaid"])]
    return {
        "head": head,
        "alt": f"{head}: {several(len(joints), 'joint')}, {several(len(gaps), 'gap')}",
        "north": round(strip.north_deg, 3),
        **ends,
        **plan,
        "no_room": f"No room here to name: {some([_short(name) for name in unnamed])}" if unnamed else "",
        "marks": axis_marks(line.chainage_marks, strip, stationing),
        "joints": joints,
        "gap_bars": gaps,
        "string_bars": strings,
        "section_bars": sections,
        "to": round(float(strip.along(np.array(strip.high))), 3),
    }


def _short(name: str) -> str:
    return name if len(name) <= _LONGEST else f"{name[: _LONGEST - 1].rstrip()}…"


def _match(panel: _Panel, panels: list[_Panel], way: int, station: str) -> str:
    """Say which strip goes on there; nothing at an end of the line."""
    other = panel.number - 1 + way
    if not 0 <= other < len(panels) or panels[other].line.name != panel.line.name:
        return ""
    return f"match line {station}: strip {panels[other].number}, sheet {panels[other].sheet}"


def _plan(
    line: _Line, strip: Strip, behind: tuple[Context, ...], box: tuple[float, float], *, ends: tuple[str, ...]
) -> dict[str, Any]:
    grid, spots = grid_ink(strip, box, _nice(110.0 / strip.scale.mm_per_unit))
    way, signs = line_ink(line.way, strip), joint_signs(line.joints, strip, box)
    ink = [
        *grid,
        *behind_ink(behind, strip, box),
        *way,
        *mark_ink(line.way, strip, line.chainage_marks),
        *gap_ink(line.way, strip, line.gaps),
        *match_ink(line.way, strip, box[1]),
    ]
    names = behind_names(behind, strip, box)
    words = plan_words(box, (way, signs), ends=(ends[0], ends[1]), behind=names, spots=spots)
    return {"ink": ink, "signs": signs, **words}
