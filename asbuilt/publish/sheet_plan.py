"""The plan of one strip in ink: the line, its gaps and joints, what lies behind, the grid, and the two match lines.

Ink is a list of strokes: `pen` names how they are drawn, `paths` holds x, y, x, y ... in millimetres of the plan's box.
"""

from typing import Any

import numpy as np
import pandas as pd
import shapely

from asbuilt.alignment import MeasuredLine, reaches
from asbuilt.as_built import Context
from asbuilt.publish.strips import Strip, crossways

Ink = dict[str, Any]

GAP_STROKES_MM = 1.3  # between the strokes across a gap
_ROUND = 3  # decimals of a millimetre


def paths(lines: np.ndarray, strip: Strip) -> list[list[float]]:
    """Return lines of the working frame as lists of x, y, x, y ... in millimetres."""
    return [strip.on_sheet(shapely.get_coordinates(one)).round(_ROUND).ravel().tolist() for one in lines]


def line_ink(line: MeasuredLine, strip: Strip) -> list[Ink]:
    """Return the stretch of the strip in full, and what runs on beyond its match lines."""
    more = strip.edge / strip.scale.mm_per_m
    first, last = float(line.measure[0]), float(line.measure[-1])
    ends = [(max(strip.low - more, first), strip.low), (strip.high, min(strip.high + more, last))]
    beyond = [end for end in ends if end[1] - end[0] > 1e-6]
    ink = [{"pen": "line", "paths": paths(_reach(line, [(strip.low, strip.high)]), strip)}]
    return [*ink, *([{"pen": "beyond", "paths": paths(_reach(line, beyond), strip)}] if beyond else [])]


def _reach(line: MeasuredLine, ends: list[tuple[float, float]]) -> np.ndarray:
    low, high = np.array(ends).T
    return reaches(line, low, high)


def match_ink(line: MeasuredLine, strip: Strip, half: float) -> list[Ink]:
    """Return a stroke across the line where the strip meets its neighbours; none at an end of the line."""
    at = np.array([end for end in (strip.low, strip.high) if line.measure[0] < end < line.measure[-1]])
    return [{"pen": "match", "paths": _strokes(crossways(line, at, strip, half))}] if len(at) else []


def _strokes(ends: np.ndarray) -> list[list[float]]:
    return [list(row) for row in ends.round(_ROUND).tolist()]


def gap_ink(line: MeasuredLine, strip: Strip, gaps: pd.DataFrame) -> list[Ink]:
    """Return strokes across the line all along each gap, as far as it lies in the strip."""
    low, high = (gaps[f"{end}_chainage_m"].clip(strip.low, strip.high).to_numpy(float) for end in ("from", "to"))
    step = GAP_STROKES_MM / strip.scale.mm_per_m
    at = [np.arange(a + step / 2, b, step) for a, b in zip(low, high, strict=True) if b - a > step]
    if not at:
        return []
    return [{"pen": "gap", "paths": _strokes(crossways(line, np.concatenate(at), strip, 1.6))}]


def mark_ink(line: MeasuredLine, strip: Strip, marks: pd.DataFrame) -> list[Ink]:
    """Return a tick across the line at each chainage mark of the strip."""
    here = marks["chainage_m"].between(strip.low, strip.high).to_numpy(bool)
    at = marks["chainage_m"].to_numpy(float)[here]
    return [{"pen": "tick", "paths": _strokes(crossways(line, at, strip, 1.2))}] if len(at) else []


def behind_ink(layers: tuple[Context, ...], strip: Strip, box: tuple[float, float]) -> list[Ink]:
    """Return what lies behind the line within the box, as thin outlines."""
    found: list[list[float]] = []
    for layer in layers:
        seen = shapely.get_parts(_seen(layer, strip, box)[1])
        found += paths(seen[shapely.get_dimensions(seen) == 1], strip)
    return [{"pen": "behind", "paths": found}] if found else []


def behind_names(layers: tuple[Context, ...], strip: Strip, box: tuple[float, float]) -> list[dict[str, Any]]:
    """Return the names of what lies behind, each in the middle of what is seen of it: x, y and text."""
    out = []
    for layer in layers:
        near, seen = _seen(layer, strip, box)
        for name, shape in zip(layer.label[near], seen, strict=True):
            if name and not shapely.is_empty(shape):
                parts = shapely.get_parts(shape)
                longest = parts[np.argmax(shapely.length(parts))]
                spot = shapely.line_interpolate_point(longest, 0.15, normalized=True) if longest.length else longest
                x, y = strip.on_sheet(shapely.get_coordinates(spot)[:1]).round(_ROUND)[0].tolist()
                out.append({"x": float(np.clip(x, 8, box[0] - 8)), "y": float(np.clip(y, 3, box[1] - 3)), "says": name})
    return out


def _seen(layer: Context, strip: Strip, box: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Return which shapes of a layer the box shows, and the outlines of these as far as it does."""
    corners = np.array([[0, 0], [box[0], 0], [box[0], box[1]], [0, box[1]]], dtype=float)
    window = shapely.Polygon(strip.off_sheet(corners))
    near = np.flatnonzero(shapely.intersects(layer.geometry, window))
    shapes = layer.geometry[near]
    outlines = np.where(shapely.get_dimensions(shapes) == 2, shapely.boundary(shapes), shapes)
    return near, shapely.intersection(outlines, window)


def grid_ink(strip: Strip, box: tuple[float, float], spacing: float) -> tuple[list[Ink], list[dict[str, Any]]]:
    """Return crosses of the frame's grid, `spacing` units apart, and what each is, as texts at x, y."""
    corners = strip.off_sheet(np.array([[0, 0], [box[0], 0], [box[0], box[1]], [0, box[1]]], dtype=float))
    axes = [
        np.arange(np.ceil(low / spacing), np.floor(high / spacing) + 1) * spacing
        for low, high in zip(corners.min(axis=0), corners.max(axis=0), strict=True)
    ]
    spots = np.stack(np.meshgrid(*axes), axis=-1).reshape(-1, 2)
    at = strip.on_sheet(spots)
    inside = ((at > 3) & (at < np.array(box) - 3)).all(axis=1)
    spots, at = spots[inside], at[inside]
    arm = strip.on_sheet(np.array([[spacing, 0.0], [0.0, 0.0], [0.0, spacing]]) + strip.origin)
    east, north = ((arm[i] - arm[1]) / np.linalg.norm(arm[i] - arm[1]) * 1.5 for i in (0, 2))
    ink = [{"pen": "grid", "paths": _strokes(np.hstack([at - way, at + way]))} for way in (east, north)]
    texts = [
        {"x": round(x + 1.2, _ROUND), "y": round(y + 0.6, _ROUND), "says": f"E {e:.0f} N {n:.0f}"}
        for (x, y), (e, n) in zip(at.tolist(), spots.tolist(), strict=True)
    ]
    return (ink if len(at) else []), texts


def joint_signs(joints: pd.DataFrame, strip: Strip, box: tuple[float, float]) -> list[dict[str, Any]]:
    """Return the joints that the plan shows: x, y, both verdicts, the id of those that stand out (`loud`), and whether
    they belong to the strip or to its neighbour."""
    more = strip.edge / strip.scale.mm_per_m
    near = joints[joints["chainage_m"].between(strip.low - more, strip.high + more)]
    at = strip.on_sheet(near[["easting", "northing"]].to_numpy(float))
    inside = np.flatnonzero(((at > 1) & (at < np.array(box) - 1)).all(axis=1))
    near, at = near.iloc[inside], at[inside].round(_ROUND)
    own = near["chainage_m"].between(strip.low, strip.high)
    rows = zip(
        at.tolist(), near["fusion_verdict"], near["position_verdict"], near["joint_id"], near["loud"], own, strict=True
    )
    return [
        {
            "x": x,
            "y": y,
            "fusion": fusion,
            "position": position,
            "says": name if out and mine else "",
            "own": bool(mine),
        }
        for (x, y), fusion, position, name, out, mine in rows
    ]
