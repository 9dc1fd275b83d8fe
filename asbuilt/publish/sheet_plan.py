"""The plan of one strip: the line, its gaps and joints, what lies behind, the grid, the two match lines, and all words.

Ink is a list of strokes: `pen` names how they are drawn, `paths` holds x, y, x, y ... in millimetres of the plan's box.
A word is written where it lies on no other word and on no joint, the more important one first.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import shapely

from asbuilt.alignment import MeasuredLine, reaches
from asbuilt.as_built import Context
from asbuilt.publish.strips import Strip, crossways

Ink = dict[str, Any]

GAP_STROKES_MM = 1.3  # between the strokes across a gap
NORTH_MM = 16.0  # side of the box of the arrow
_ROUND = 3  # decimals of a millimetre
_SIGN_MM, _LINE_MM = 1.4, 0.2  # half of what a joint and the line take up
# Widths of a letter, measured on a sheet and rounded up: of a joint's number, a match line, a name behind, the grid.
_NUMBER, _MATCH, _NAME, _GRID = 1.3, 1.1, 1.05, 0.85
_HIGH = 2.6  # of a line of words


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


def behind_names(layers: tuple[Context, ...], strip: Strip, box: tuple[float, float]) -> list[tuple[str, np.ndarray]]:
    """Return the names of what lies behind, each with the places where it may stand along what is seen of it: the
    middle of the word, shape (n, 2), the best first."""
    out = []
    for layer in layers:
        near, seen = _seen(layer, strip, box)
        for name, shape in zip(layer.label[near], seen, strict=True):
            if name and not shapely.is_empty(shape):
                parts = shapely.get_parts(shape)
                longest = parts[np.argmax(shapely.length(parts))]
                spots = shapely.line_interpolate_point(longest, _ALONG, normalized=True) if longest.length else longest
                on = strip.on_sheet(shapely.get_coordinates(spots))
                out.append((str(name), np.vstack([on + np.array([0.0, dy]) for dy in _BESIDE])))
    return out


_ALONG = np.array([0.15, 0.3, 0.5, 0.7, 0.85, 0.05, 0.95])
_BESIDE = (0.0, -2.2, 2.2, -4.4, 4.4)


def _seen(layer: Context, strip: Strip, box: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Return which shapes of a layer the box shows, and the outlines of these as far as it does."""
    corners = np.array([[0, 0], [box[0], 0], [box[0], box[1]], [0, box[1]]], dtype=float)
    window = shapely.Polygon(strip.off_sheet(corners))
    near = np.flatnonzero(shapely.intersects(layer.geometry, window))
    shapes = layer.geometry[near]
    outlines = np.where(shapely.get_dimensions(shapes) == 2, shapely.boundary(shapes), shapes)
    return near, shapely.intersection(outlines, window)


def grid_ink(strip: Strip, box: tuple[float, float], spacing: float) -> tuple[list[Ink], list[dict[str, Any]]]:
    """Return crosses of the frame's grid, `spacing` units apart, and what each at x, y is, as a text."""
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
        {"x": round(x, _ROUND), "y": round(y, _ROUND), "says": f"E {e:.0f} N {n:.0f}"}
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


# ---- words -----------------------------------------------------------------------------------------------------------


def plan_words(
    box: tuple[float, float],
    drawn: tuple[list[Ink], list[Ink]],
    *,
    ends: tuple[str, str],
    behind: list[tuple[str, np.ndarray]],
    spots: list[dict[str, Any]],
) -> dict[str, Any]:
    """Return where each word of the plan stands, so that none lies on another, on a joint or on the line.

    `drawn` is the ink of the line and the signs of its joints, `ends` what stands at the match lines, `behind` as
    `behind_names` has it, `spots` the crosses of the grid. Arrow and match lines are always drawn; a number in the plan
    stands on the axis as well; `unnamed` are the names for which there is no room; a cross without room has no figures.
    """
    line, signs = drawn
    loud = [sign for sign in signs if sign["says"]]
    named = [(name, np.clip(at, *_within(name, box))) for name, at in behind]
    wanted = [
        _corners(np.array(box)),
        *(_at_end(text, np.array(box), is_right) for text, is_right in zip(ends, (False, True), strict=True)),
        *(_around(sign["x"], sign["y"], _wide(sign["says"], _NUMBER)) for sign in loud),
        *(_centred(at, _wide(name, _NAME)) for name, at in named),
        *(_beside(spot["x"], spot["y"], _wide(spot["says"], _GRID)) for spot in spots),
    ]
    found = with_room(wanted, _taken(line, signs), box, always=3)
    of_loud, of_named, of_spots = np.split(np.arange(3, len(found)), np.cumsum([len(loud), len(named)]))
    names = [_word(found[i], name) for i, (name, _) in zip(of_named, named, strict=True) if found[i] is not None]
    told = {name["says"] for name in names}
    return {
        "north_at": _corner(found[0]), "before_at": _corner(found[1]), "after_at": _corner(found[2]),
        "numbers": [_word(found[i], s["says"]) for i, s in zip(of_loud, loud, strict=True) if found[i] is not None],
        "names": names,
        "unnamed": list(dict.fromkeys(name for name, _ in named if name not in told)),
        "spots": [
            spot | {"at": _corner(found[i]), "says": spot["says"] if found[i] is not None else ""}
            for i, spot in zip(of_spots, spots, strict=True)
        ],
    }  # fmt: skip


def with_room(
    wanted: Sequence[np.ndarray], taken: np.ndarray, size: tuple[float, float], *, always: int = 0
) -> list[np.ndarray | None]:
    """Return for each word the first of its places that is free, or None; the first `always` stand in any case.

    A place is a box x0, y0, x1, y1; `wanted` has those of one word each, shape (places, 4), the best first; `taken` are
    boxes that are not free, shape (n, 4). A word that has found its place takes it from those after it.
    """
    found: list[np.ndarray | None] = []
    for number, boxes in enumerate(wanted):
        low, high = boxes[:, None, :2], boxes[:, None, 2:]
        on = np.any(np.all((low < taken[:, 2:]) & (high > taken[:, :2]), axis=2), axis=1)
        free = boxes[~on & (boxes[:, :2] >= 0.0).all(axis=1) & (boxes[:, 2:] <= np.array(size)).all(axis=1)]
        place = free[0] if len(free) else boxes[0] if number < always and len(boxes) else None
        found.append(place)
        taken = taken if place is None else np.vstack([taken, place])
    return found


def _taken(line: list[Ink], signs: list[dict[str, Any]]) -> np.ndarray:
    strokes = [np.array(path).reshape(-1, 2) for ink in line for path in ink["paths"]]
    on = shapely.get_coordinates(shapely.segmentize([shapely.LineString(xy) for xy in strokes], 1.0))
    joints = np.array([[sign["x"], sign["y"]] for sign in signs]).reshape(-1, 2)
    return np.vstack([np.hstack([at - half, at + half]) for at, half in ((on, _LINE_MM), (joints, _SIGN_MM))])


def _wide(says: str, letter: float) -> float:
    """Return the width of a word; what the fonts may not have is written by its number, in eight letters."""
    return letter * sum(1 if c < "\u2e80" else 8 for c in says) + 0.6


def _centred(at: np.ndarray, wide: float) -> np.ndarray:
    half = np.array([wide / 2, _HIGH / 2])
    return np.hstack([at - half, at + half])


def _around(x: float, y: float, wide: float) -> np.ndarray:
    """Return the places of a joint's number: above, below, right, left, then aslant."""
    ways = np.array([(0, -1), (0, 1), (1, 0), (-1, 0), (1, -1), (-1, -1), (1, 1), (-1, 1)])
    return _centred(np.array([x, y]) + ways * (wide / 2 + 1.6, 3.4), wide)


def _beside(x: float, y: float, wide: float) -> np.ndarray:
    """Return the places of what a cross of the grid is: right below it, right above, left, then farther off."""
    across = np.array([1.2, 1.2, -wide - 1.2, -wide - 1.2] * 2)
    corner = np.column_stack([x + across, y + np.array([0.6, -2.4, 0.6, -2.4, 1.8, -3.8, 1.8, -3.8])])
    return np.hstack([corner, corner + np.array([wide, 1.9])])


def _corners(size: np.ndarray) -> np.ndarray:
    far = size - NORTH_MM - 1.0
    low = np.array([[far[0], 1.0], [1.0, 1.0], [far[0], far[1]], [1.0, far[1]]])
    return np.hstack([low, low + NORTH_MM])


def _at_end(says: str, size: np.ndarray, is_right: bool) -> np.ndarray:
    """Return the places of what stands at a match line: in the lower corner of its side, else in the upper one."""
    wide = _wide(says, _MATCH)
    x = size[0] - wide - 0.8 if is_right else 0.8
    low = np.array([[x, y] for y in (size[1] - _HIGH - 0.8, 0.8, NORTH_MM + 2.0) if says]).reshape(-1, 2)
    return np.hstack([low, low + np.array([wide, _HIGH])])


def _within(says: str, box: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Return the least and the most that the middle of a name may be at, so that the plan cuts none of it."""
    half = np.array([_wide(says, _NAME), _HIGH]) / 2 + 0.1
    return half, np.maximum(np.array(box) - half, half)


def _word(place: np.ndarray | None, says: str) -> dict[str, Any]:
    x, y = (0.0, 0.0) if place is None else ((place[:2] + place[2:]) / 2).round(_ROUND).tolist()
    return {"x": x, "y": y, "says": says}


def _corner(place: np.ndarray | None) -> list[float]:
    return [] if place is None else place[:2].round(_ROUND).tolist()
