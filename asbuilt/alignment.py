"""The measured line: project, locate, side. Arrays in, arrays out; no frames and no files.

A line is its vertices and a measure at each of them, so that grid, ground, geodesic and slope lengths are one thing
here. Within a leg the measure grows evenly. Positions are in the working frame's unit, measures in metres.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely


@dataclass(frozen=True)
class MeasuredLine:
    """One line: `xy` of shape (n, 2) without repeated points, `measure` of shape (n,) that rises, in metres."""

    xy: np.ndarray
    measure: np.ndarray

    def __post_init__(self) -> None:
        if self.xy.ndim != 2 or self.xy.shape[0] < 2 or self.measure.shape != (self.xy.shape[0],):
            raise ValueError("a measured line needs two vertices at least, and a measure for each")
        if not (np.isfinite(self.xy).all() and np.isfinite(self.measure).all() and (np.diff(self.measure) > 0).all()):
            raise ValueError("a measured line needs finite vertices and measures that rise")

    @cached_property
    def legs(self) -> np.ndarray:
        """Vectors from vertex to vertex, shape (n - 1, 2)."""
        return np.diff(self.xy, axis=0)

    @cached_property
    def tree(self) -> shapely.STRtree:
        """The legs, to be asked which of them are near."""
        return shapely.STRtree(shapely.linestrings(np.stack([self.xy[:-1], self.xy[1:]], axis=1)))


@dataclass(frozen=True)
class Candidates:
    """Places on a line that are nearest to a point among their neighbours. All arrays have shape (k,).

    `point` is the index of the point; sorted by it, then by distance. `measure` is not clamped: past an end it runs
    on along the last leg, and `beyond` says how far (- before the start, + after the end). `offset` is signed,
    + right / - left looking along the line. `distance` is from the point to the line itself.
    """

    point: np.ndarray
    measure: np.ndarray
    offset: np.ndarray
    distance: np.ndarray
    beyond: np.ndarray


def distance(line: MeasuredLine, points: np.ndarray) -> np.ndarray:
    """Return the distance of each point to the line, shape (p,), in the unit of the frame."""
    (point, _), apart = line.tree.query_nearest(shapely.points(points), all_matches=False, return_distance=True)
    out = np.empty(len(points))
    out[point] = apart
    return out


def project(line: MeasuredLine, points: np.ndarray, *, reach: np.ndarray) -> Candidates:
    """Return all local minima of the distance from each point to the line within its reach.

    `points` has shape (p, 2), `reach` (p,). Where the line passes a point twice there are two candidates; where
    nothing is in reach there is none.
    """
    boxes = shapely.box(*(points - reach[:, None]).T, *(points + reach[:, None]).T)
    point, leg = line.tree.query(boxes)
    along = np.einsum("ij,ij->i", points[point] - line.xy[leg], line.legs[leg]) / (line.legs**2).sum(axis=1)[leg]
    at = np.clip(along, 0.0, 1.0)
    distance = np.hypot(*(points[point] - line.xy[leg] - at[:, None] * line.legs[leg]).T)
    keep = _is_minimum(point, leg, at, n_legs=len(line.legs)) & (distance <= reach[point])
    found = _candidates(line, points, _Feet(point[keep], leg[keep], along[keep], at[keep], distance[keep]))
    order = np.lexsort((found.measure, found.distance, found.point))
    return Candidates(*(getattr(found, f)[order] for f in Candidates.__dataclass_fields__))


@dataclass(frozen=True)
class _Feet:
    """Feet of perpendiculars: which point, which leg, how far along it (unclamped and clamped), how far away."""

    point: np.ndarray
    leg: np.ndarray
    along: np.ndarray
    at: np.ndarray
    distance: np.ndarray


def _is_minimum(point: np.ndarray, leg: np.ndarray, at: np.ndarray, *, n_legs: int) -> np.ndarray:
    """Whether a foot is a local minimum: inside its leg, or at a vertex where both legs have their foot.

    A vertex counts once, for the leg that starts there. Both its legs are in reach whenever the vertex is.
    """
    key = point.astype(np.int64) * (n_legs + 1) + leg
    ends_here = key[at == 1.0]
    starts_at_vertex = at == 0.0
    shared = starts_at_vertex & np.isin(key - 1, ends_here) & (leg > 0)
    at_ends = (starts_at_vertex & (leg == 0)) | ((at == 1.0) & (leg == n_legs - 1))
    return ((at > 0.0) & (at < 1.0)) | shared | at_ends


def _candidates(line: MeasuredLine, points: np.ndarray, feet: _Feet) -> Candidates:
    lengths = np.hypot(*line.legs.T)
    before, after = (feet.leg == 0) & (feet.along < 0), (feet.leg == len(lengths) - 1) & (feet.along > 1)
    run_on = np.where(before | after, feet.along, feet.at)  # past an end the last leg is extended
    growth = np.diff(line.measure)[feet.leg]
    beyond = np.where(before, feet.along, np.where(after, feet.along - 1.0, 0.0)) * growth
    leg, start = line.legs[feet.leg], line.xy[feet.leg]
    apart = points[feet.point] - start - run_on[:, None] * leg
    # At a vertex both legs have a say in which side the point lies on: at a sharp corner one alone can be wrong.
    lead = line.legs / lengths[:, None]
    turned = lead[feet.leg] + np.where((feet.at == 0.0) & (feet.leg > 0), lead[feet.leg - 1].T, 0.0).T
    side = np.sign(turned[:, 1] * apart[:, 0] - turned[:, 0] * apart[:, 1])
    offset = side * np.hypot(*apart.T)
    return Candidates(feet.point, line.measure[feet.leg] + run_on * growth, offset, feet.distance, beyond)


def locate(line: MeasuredLine, measure: np.ndarray) -> np.ndarray:
    """Return the positions at the given measures, shape (m, 2); past an end the last leg runs on; NaN gives NaN."""
    leg = np.clip(np.searchsorted(line.measure, measure, side="right") - 1, 0, len(line.measure) - 2)
    share = (measure - line.measure[leg]) / np.diff(line.measure)[leg]
    return np.asarray(line.xy[leg] + share[:, None] * line.legs[leg])


def bearing_deg(line: MeasuredLine, measure: np.ndarray) -> np.ndarray:
    """Return the grid bearing of the line at the given measures, degrees clockwise from grid north, shape (m,)."""
    leg = np.clip(np.searchsorted(line.measure, measure, side="right") - 1, 0, len(line.measure) - 2)
    return np.asarray(np.degrees(np.arctan2(*line.legs[leg].T)) % 360.0)


def reaches(line: MeasuredLine, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Return the line between each pair of measures as an array of LineStrings, shape (r,).

    low <= high for each pair. A reach without length is a line of two equal points.
    """
    first, last = np.searchsorted(line.measure, low, side="right"), np.searchsorted(line.measure, high, side="left")
    inner = np.maximum(last - first, 0)
    index = np.repeat(np.arange(len(low)), inner + 2)
    start = np.concatenate([[0], np.cumsum(inner + 2)])[:-1]
    place = np.arange(len(index)) - start[index]  # 0 is the low end, inner + 1 the high end
    xy = line.xy[np.clip(first[index] + place - 1, 0, len(line.xy) - 1)]
    xy[start] = locate(line, low)
    xy[start + inner + 1] = locate(line, high)
    return np.asarray(shapely.linestrings(xy, indices=index))
