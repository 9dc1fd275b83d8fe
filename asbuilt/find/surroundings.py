"""What stands and lies around a joint: its neighbours, ties, points that can be told in the field, reaches; and what
is still open about it."""

from collections.abc import Hashable, Mapping
from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd

from asbuilt import tables
from asbuilt.alignment import project
from asbuilt.find.answer import Concern, Near, Neighbour, Point, Tie
from asbuilt.find.record import Line, Record
from asbuilt.outstanding import findings_of, joints_that_stand_out, open_joints
from asbuilt.quantities import LengthUnit
from asbuilt.second.layers import read_rows
from asbuilt.sentence import several

CROSSES_WELL = (30.0, 150.0)  # degrees between two ties that fix a point (common practice, no source)
_EACH_WAY = 2
_MM_PER_INCH = 25.4
_CONTENTS = tables.Table("gpkg_contents", "", (tables.Column("table_name", "text", "", ""),))
_PHOTOS = tables.Table("photos", "", tuple(tables.Column(name, "text", "", "") for name in ("joint_id", "name")))
_LOOKS_M, _BESIDE_M = 500.0, 60.0


def neighbours(of: Record, joint: pd.Series) -> tuple[Neighbour, ...]:
    """Return two joints back and two ahead, farthest back first."""
    line, at = str(joint["line"]), float(joint["chainage_m"])
    found = []
    for way, is_ahead in (("back", False), ("ahead", True)):
        rows = of.beside(line, at, count=_EACH_WAY + 1, ahead=is_ahead)
        rows = rows[rows["joint_id"] != joint["joint_id"]].head(_EACH_WAY)
        told = [
            Neighbour(
                str(r["joint_id"]),
                way,
                abs(float(r["chainage_m"]) - at),
                str(r["station"]),
                marks(r, of.title.length_unit),
            )
            for _, r in rows.iterrows()
        ]
        found += told if is_ahead else told[::-1]
    return tuple(found)


def size_text(size_mm: float, unit: LengthUnit) -> str:
    """Write a size of a pipe, in inches first where the route is in feet.

    >>> size_text(57.2, LengthUnit()), size_text(609.6, LengthUnit("ft", 0.3048))
    ('57.2 mm', '24 in (609.6 mm)')
    """
    metric = f"{size_mm:.4g} mm"
    return f"{size_mm / _MM_PER_INCH:.4g} in ({metric})" if unit.name == "ft" else metric


def marks(joint: pd.Series, unit: LengthUnit) -> str:
    """Return what tells one joint from another when it is laid bare, as recorded: kind, pipes, size, day, machine."""
    pipes = " and ".join(str(joint[name]) for name in ("pipe_a", "pipe_b") if joint[name])
    size = joint["outside_diameter_mm"]
    parts = [
        str(joint["kind"]),
        f"pipes {pipes}" if pipes else "",
        f"OD {size_text(size, unit)}" if np.isfinite(size) else "",
        f"made {str(joint['fused_local'])[:10]}" if joint["fused_local"] else "",
        f"machine {joint['machine']}" if joint["machine"] else "",
        f"operator {joint['operator']}" if joint["operator"] else "",
    ]
    return ", ".join(part for part in parts if part)


def ties(of: Record, joint: pd.Series) -> tuple[Tie, ...]:
    """Return the ties of a joint, nearest first."""
    rows = of.rows("ties", "joint_id", str(joint["joint_id"])).sort_values("distance_m", kind="stable")
    found = []
    for row in rows.to_dict("records"):
        turn, away = np.radians(row["bearing_deg"]), row["distance_m"] / of.frame.metres_per_unit
        where = joint["easting"] - away * np.sin(turn), joint["northing"] - away * np.cos(turn)
        easting, northing = (row.get(n, np.nan) for n in ("easting", "northing"))
        known = np.isfinite(easting) and np.isfinite(northing)
        true = row.get("true_bearing_deg", np.nan)
        found.append(
            Tie(
                feature=str(row["feature"]),
                description=str(row.get("description", "")),
                bearing_deg=float(row["bearing_deg"]),
                true_bearing_deg=float(true) if np.isfinite(true) else None,
                distance_m=float(row["distance_m"]),
                easting=float(easting if known else where[0]),
                northing=float(northing if known else where[1]),
            )
        )
    return tuple(found)


def crossing_deg(of: tuple[Tie, ...]) -> float | None:
    """Return the angle between two of the ties that is nearest to a right one, 0 to 180 degrees; None for less than 2.

    >>> tie = lambda bearing: Tie("", "", bearing, None, 1.0, 0.0, 0.0)
    >>> crossing_deg((tie(10.0), tie(350.0), tie(95.0)))
    85.0
    """
    angles = [abs((a.bearing_deg - b.bearing_deg + 180) % 360 - 180) for a, b in combinations(of, 2)]
    return min(angles, key=lambda angle: abs(angle - 90.0), default=None)


def points(of: Record, line: Line, joint: pd.Series) -> tuple[Point, ...]:
    """Return the nearest point back and the nearest ahead that can be told in the field: a fitting, a fixed feature
    beside the line, or its end."""
    at, ends = float(joint["chainage_m"]), line.way.measure[[0, -1]]
    found = [("start of the line", float(ends[0])), ("end of the line", float(ends[1]))]
    found += _fittings(of, line, str(joint["joint_id"])) + _features(of, line, at)
    told = []
    for way, sign in (("back", -1.0), ("ahead", 1.0)):
        there = [(sign * (c - at), what, c) for what, c in found if sign * (c - at) > 0]
        if there:
            away, what, chainage = min(there)
            told.append(Point(what, way, away, of.station(line.name, chainage)))
    return tuple(told)


def _fittings(of: Record, line: Line, own: str) -> list[tuple[str, float]]:
    rows = of.fittings(line.name)
    rows = rows[rows["joint_id"] != own]
    return [(f"fitting {name}", float(at)) for name, at in zip(rows["joint_id"], rows["chainage_m"], strict=True)]


def _features(of: Record, line: Line, at: float) -> list[tuple[str, float]]:
    """Features that joints nearby are tied to, each at the foot of its perpendicular, where that is near."""
    within = 'SELECT joint_id FROM joints WHERE "line" = ? AND "chainage_m" BETWEEN ? AND ?'
    values = (line.name, at - _LOOKS_M, at + _LOOKS_M)
    rows = read_rows(of.folder, tables.TIES, where=f"joint_id IN ({within})", values=values)
    if "easting" not in rows or rows.empty:
        return []
    rows = rows.drop_duplicates("feature")
    unit = of.frame.metres_per_unit
    reach = np.full(len(rows), _BESIDE_M / unit)
    feet = project(line.way, rows[["easting", "northing"]].to_numpy(float), reach=reach)
    names = rows["feature"].to_numpy(object)
    return [
        (f"{names[i]}, {side(off * unit, of.title.length_unit)} of the line", float(measure))
        for i, measure, off, beyond in zip(feet.point, feet.measure, feet.offset, feet.beyond, strict=True)
        if not beyond and abs(measure - at) <= _LOOKS_M
    ]


def side(offset_m: float, unit: LengthUnit) -> str:
    """Write an offset with its side, looking towards increasing chainage.

    >>> side(-0.31, LengthUnit()), side(0.001, LengthUnit()), side(float("nan"), LengthUnit())
    ('0.31 m L', '0.00 m', 'not known')
    """
    if not np.isfinite(offset_m):
        return "not known"
    text = unit.text(abs(offset_m))
    return text if float(text.split()[0]) == 0 else f"{text} {'R' if offset_m > 0 else 'L'}"


def reaches(of: Record, joint: pd.Series) -> tuple[str, ...]:
    """Say in which string, bore and test sections a joint lies, and which gaps are beside it."""
    line, at, own = str(joint["line"]), float(joint["chainage_m"]), str(joint["joint_id"])
    strings, sections, gaps = (of.rows(name, "line", line) for name in ("strings", "test_sections", "gaps"))
    told = [f"string {joint['string']}"] if joint["string"] else []
    told += [
        f"{s['method'] or 'reach'} {s['string']}, {s['from_station']} to {s['to_station']}"
        for s in _over(strings, at).to_dict("records")
        if s["string"] != joint["string"]
    ]
    told += [_section(s) for s in _over(sections, at).to_dict("records")] or ["in no test section of this record"]
    beside = gaps[(gaps["from_joint"] == own) | (gaps["to_joint"] == own)].index.union(_over(gaps, at).index)
    return (*told, *(f"records are missing beside it: gap {gaps.loc[i, 'gap_id']}" for i in beside))


def _section(section: Mapping[Hashable, Any]) -> str:
    when = f" on {section['tested_on']}" if section["tested_on"] else ""
    result = section["result"] or "no result stated"
    reach = f"{section['from_station']} to {section['to_station']}"
    return f"test section {section['section']}, {reach}: {result}{when}, as recorded"


def _over(reach: pd.DataFrame, at: float) -> pd.DataFrame:
    return reach[(reach["from_chainage_m"] <= at) & (at <= reach["to_chainage_m"])]


def concerns(of: Record, joint_id: str) -> tuple[Concern, ...]:
    """Return the findings that concern a joint, those that a decision closes too."""
    (rows,) = findings_of(of.findings, [joint_id])
    return tuple(
        Concern(
            finding_id=str(row["finding_id"]),
            joints_n=int(row["joints_n"]),
            statement=str(row["statement"]),
            decision=str(row["decision"]),
            closed=bool(row["closed"]),
        )
        for row in of.findings.iloc[rows].fillna({"closed": False}).to_dict("records")
    )


def outstanding_by(joint: pd.Series, findings: tuple[Concern, ...]) -> str:
    """Say whether something about a joint is outstanding: the joint itself, a finding that concerns it, or both."""
    own = joint.to_frame().T
    decided = joints_that_stand_out(own)[0]  # of what is not open
    names = [f"finding {finding.finding_id}" for finding in findings if not finding.closed]
    if open_joints(own)[0]:
        return " and ".join(["yes: the joint itself", *names])
    if names:
        return f"yes, by {' and '.join(names)}; the joint itself is {'closed by a decision' if decided else 'not'}"
    return "no: a decision closes it" if decided else "no"


def photos(of: Record, joint_id: str) -> tuple[str, ...]:
    """Return the names of the photos of a joint that the GeoPackage has copies of: those of the map, too."""
    if read_rows(of.folder, _CONTENTS, where="table_name = 'photos'").empty:
        return ()
    return tuple(str(name) for name in read_rows(of.folder, _PHOTOS, where="joint_id = ?", values=(joint_id,))["name"])


def told_apart(of: Record, near: Near, joint: pd.Series) -> Near:
    """Return one of several joints that the place may be, with what tells it from the others."""
    around = points(of, of.line(near.line), joint)
    return replace(near, marks=marks(joint, of.title.length_unit), points=around)


def finding_text(finding: Concern) -> str:
    """Name a finding that concerns a joint, with whether a decision closes it."""
    state = "closed by a decision" if finding.closed else "open"
    decided = f" Decision: {finding.decision}." if finding.decision else ""
    return f"{finding.finding_id}, {state}, of {several(finding.joints_n, 'joint')}: {finding.statement}{decided}"
