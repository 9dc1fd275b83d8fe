"""The tables of lines: alignment, its vertices and marks, pipes between joints, and gaps."""

import numpy as np
import pandas as pd
import shapely

from asbuilt import tables
from asbuilt.alignment import locate, reaches
from asbuilt.judge.evidence import evidence
from asbuilt.judge.gaps import LineEnds, find_gaps
from asbuilt.judge.unplaced import less_unplaced
from asbuilt.read.alignments import Design, Designs
from asbuilt.settings import Settings
from asbuilt.tabulate.journey import Journey, points

_ONE = 0.01  # metres: labels have two decimals


def alignment_table(designs: Designs) -> pd.DataFrame:
    """Return one row a line."""
    rows = [
        {
            "line": d.name,
            "start_chainage_m": d.start_m,
            "end_chainage_m": d.end_m,
            "start_station": d.stationing.labels(np.array([d.start_m]))[0],
            "end_station": d.stationing.labels(np.array([d.end_m]))[0],
            "length_m": d.end_m - d.start_m,
            "length_kind": d.source.length,
            "vertices_n": len(d.line.xy),
            "source_file": d.source.file,
            "geometry": shapely.linestrings(d.line.xy),
        }
        for d in designs.lines
    ]
    return tables.conform(pd.DataFrame(rows), tables.ALIGNMENT)


def vertices_table(designs: Designs) -> pd.DataFrame:
    """Return one row a vertex, with its design level."""
    parts = []
    for d in designs.lines:
        columns = {
            "line": d.name,
            "vertex": np.arange(1, len(d.z) + 1),
            "chainage_m": d.line.measure,
            "elevation_m": d.z,
        }
        parts.append(pd.DataFrame(columns | {"easting": d.line.xy[:, 0], "northing": d.line.xy[:, 1]}))
    return tables.conform(pd.concat(parts), tables.ALIGNMENT_VERTICES)


def marks_table(designs: Designs, settings: Settings) -> pd.DataFrame:
    """Return marks at round stated values (100 and 1000 m, or feet), at ends and at chainage equations."""
    step = 100.0 * settings.route.metres_per_unit
    return tables.conform(pd.concat([_marks(d, step) for d in designs.lines]), tables.CHAINAGE_MARKS)


def _marks(design: Design, step: float) -> pd.DataFrame:
    stated = design.stationing.stated_m(np.array([design.start_m, design.end_m]))
    low, high = min(stated.min(), design.start_m), max(stated.max(), design.end_m)
    count = np.arange(np.ceil(low / step), np.floor(high / step) + 1)
    rank = {c: 2 if n % 10 == 0 else 1 for n in count for c in design.stationing.chainages_m(n * step)}
    special = np.array([design.start_m, *design.stationing.breaks_m, design.end_m])
    # a round mark that falls on an end or an equation is that mark
    rank = {c: r for c, r in rank.items() if design.start_m <= c <= design.end_m and np.abs(special - c).min() > _ONE}
    rank |= dict.fromkeys(special.tolist(), 3)
    at = np.array(sorted(rank))
    columns = {"line": design.name, "chainage_m": at, "station": design.stationing.labels(at)}
    columns |= {"rank": [rank[c] for c in at], "geometry": points(locate(design.line, at))}
    return pd.DataFrame(columns)


def gaps_table(journey: Journey, settings: Settings) -> pd.DataFrame:
    """Return the gaps of every line in order of chainage."""
    rows = journey.rows[journey.in_line]
    found = []
    for design in journey.designs.lines:
        here = rows[(rows["line"] == design.name) & rows["chainage_m"].notna()]
        gaps = find_gaps(here, _ends(design, settings), stick_m=settings.pipe.stick, hiding=journey.placement.gaps)
        if len(gaps):
            low, high = gaps["from_chainage_m"].to_numpy(float), gaps["to_chainage_m"].to_numpy(float)
            found.append(gaps.assign(geometry=reaches(design.line, np.minimum(low, high), np.maximum(low, high))))
    if not found:
        return tables.empty(tables.GAPS)
    gaps = pd.concat(found, ignore_index=True)
    more = evidence(gaps, rows, stick_m=settings.pipe.stick)
    gaps["evidence"] = [f"{text}; {said}" if said else text for text, said in zip(gaps["evidence"], more, strict=True)]
    gaps = less_unplaced(gaps, rows, stick_m=settings.pipe.stick)
    for end in ("from", "to"):
        gaps[f"{end}_station"] = journey.designs.stations(gaps["line"], gaps[f"{end}_chainage_m"])
    return tables.conform(gaps.assign(closed=False), tables.GAPS)


def _ends(design: Design, settings: Settings) -> LineEnds:
    return LineEnds(
        name=design.name,
        start_m=design.start_m,
        end_m=design.end_m,
        first_joint=design.source.first_joint,
        last_joint=design.source.last_joint,
        complete=settings.route.complete,
        unit=settings.route.length_unit,
    )


def _inside(at: np.ndarray, gaps: pd.DataFrame) -> np.ndarray:
    """Whether the reach between each pair of neighbours lies in a gap, shape (n - 1,)."""
    low, high = (gaps[f"{end}_chainage_m"].to_numpy(float) for end in ("from", "to"))
    middle = (at[:-1] + at[1:]) / 2
    return ((low[:, None] < middle) & (middle < high[:, None])).any(axis=0)


def pipes_table(journey: Journey, joints: pd.DataFrame, gaps: pd.DataFrame) -> pd.DataFrame:
    """Return the reach between each pair of neighbouring joints in line."""
    parts = [tables.empty(tables.PIPES)]
    for name, design in journey.design_by_line.items():
        here = joints[joints["in_line"].astype(bool) & (joints["line"] == name) & joints["chainage_m"].notna()]
        if len(here) < 2:
            continue
        ids, at = here["joint_id"].to_numpy(object), here["chainage_m"].to_numpy(float)
        columns = {"line": name, "from_joint": ids[:-1], "to_joint": ids[1:], "from_chainage_m": at[:-1]}
        columns |= {"to_chainage_m": at[1:], "length_m": np.diff(at), "pipe_id": ids[:-1] + "--" + ids[1:]}
        columns |= {"in_gap": _inside(at, gaps[gaps["line"] == name])}
        parts.append(
            tables.conform(pd.DataFrame(columns | {"geometry": reaches(design.line, at[:-1], at[1:])}), tables.PIPES)
        )
    return pd.concat(parts[1:] or parts, ignore_index=True)
