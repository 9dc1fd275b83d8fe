"""The measured line: project, locate, side. Arrays in, arrays out; no frames and no files.

A line is its vertices and a measure at each of them, so that grid, ground, geodesic and slope lengths are one thing
here. Within a leg the measure grows evenly. Positions are in the working frame's unit, measures in metres.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

_HAIR = 1e-12  # of a leg: a foot so near to a vertex is at it


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
    feet = _minima(line, points, *line.tree.query(boxes))
    found = _candidates(line, feet)
    near = found.distance <= reach[found.point]
    found = Candidates(*(getattr(found, f)[near] for f in Candidates.__dataclass_fields__))
    order = _in_order(found.point, found.measure)
    order = order[_in_order(found.point[order], found.distance[order])]
    return Candidates(*(getattr(found, f)[order] for f in Candidates.__dataclass_fields__))


def _in_order(point: np.ndarray, value: np.ndarray) -> np.ndarray:
    """Sort by point, then by value, as complex numbers do: where points are in order ten times as fast as lexsort."""
    return np.argsort(point + 1j * value, kind="stable")


@dataclass(frozen=True)
class _Feet:
    """Points seen from legs, shapes (k,): which point, which leg, and the way from its start to the point.

    `way` is complex, in leg lengths: the real part runs along the leg, the imaginary one to its left. So the foot of
    the perpendicular lies at the real part, and a product does for the pair of coordinates.
    """

    point: np.ndarray
    leg: np.ndarray
    way: np.ndarray


def _complex(xy: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(xy, dtype=float).view(complex)[:, 0]


def _ways(line: MeasuredLine, points: np.ndarray, point: np.ndarray, leg: np.ndarray) -> np.ndarray:
    """Return the ways of points from the starts of legs; see `_Feet`."""
    legs = _complex(line.legs)
    way = _complex(points)[point] - _complex(line.xy)[leg]
    way *= legs.conj()[leg]
    way /= (legs * legs.conj()).real[leg]
    return way


def _minima(line: MeasuredLine, points: np.ndarray, point: np.ndarray, leg: np.ndarray) -> _Feet:
    """Return the feet that are local minima: inside their leg, or at a vertex where both legs have their foot.

    A vertex counts once, for the leg that starts there.
    """
    way, last = _ways(line, points, point, leg), len(line.legs) - 1
    begins, ends = way.real <= _HAIR, way.real >= 1.0 - _HAIR
    minimum = ~(begins | ends) | (begins & (leg == 0)) | (ends & (leg == last))
    (starts,) = (begins & (leg > 0)).nonzero()
    minimum[starts] = _ways(line, points, point[starts], leg[starts] - 1).real >= 1.0 - _HAIR
    return _Feet(point[minimum], leg[minimum], way[minimum])


def _candidates(line: MeasuredLine, feet: _Feet) -> Candidates:
    legs, along, last = _complex(line.legs), feet.way.real, len(line.legs) - 1
    at, size = np.clip(along, 0.0, 1.0), np.abs(legs)[feet.leg]
    runs_on = ((feet.leg == 0) & (along < 0)) | ((feet.leg == last) & (along > 1))  # past an end along the last leg
    on = np.where(runs_on, along, at)
    growth = np.diff(line.measure)[feet.leg]
    # At a vertex both legs have a say in which side the point lies on: at a sharp corner one alone can be wrong.
    lead, before = (legs[of] / np.abs(legs[of]) for of in (feet.leg, np.maximum(feet.leg - 1, 0)))
    turned = 1 + np.where((at <= _HAIR) & (feet.leg > 0), before / lead, 0.0)
    side = -np.sign(((feet.way - on) * turned.conj()).imag)
    return Candidates(
        point=feet.point,
        measure=line.measure[feet.leg] + on * growth,
        offset=side * np.abs(feet.way - on) * size,
        distance=np.abs(feet.way - at) * size,
        beyond=(on - at) * growth,
    )


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
