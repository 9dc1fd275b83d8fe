"""Curvature: of three points with its error, and of a line over a length. Arrays only; no frames, no pipes.

The circle through three points a and b apart, the middle one off the chord c by h, has the curvature 2 h / (a b). With
equal pieces that is the mid-ordinate's R = c² / (8 h) + h / 2. A curve of gentle slope through the points has just that
curvature as a weighted mean over its length, no weight being negative: somewhere it bends at least as much.
"""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class ThreePoints:
    """Of each three points, shape (n,): signed curvature (+ turns right) with its standard deviation, per metre.

    `pieces` (n, 2) are the distances from the middle point to the two others, `turn` the angle between the two legs
    (radians, 0 straight on), `off` the signed distance of the middle point from the chord, `share` where on the chord
    it stands (0 first, 1 last).
    """

    curvature: np.ndarray
    sd: np.ndarray
    pieces: np.ndarray
    turn: np.ndarray
    off: np.ndarray
    share: np.ndarray


def of_three(points: np.ndarray, sd: np.ndarray) -> ThreePoints:
    """Return the circles through triples of points, shape (n, 3, 2), whose coordinates err by `sd`, shape (n, 3).

    Errors are those of one axis, independent from point to point, and small beside the pieces. NaN where two points
    coincide. With pieces in the shares t and 1 - t of the chord the middle point stands off it with the variance
    sd2² + (1 - t)² sd1² + t² sd3²: sqrt(1.5) sd where all is equal. Errors along the chord count as well.
    """
    first, middle, last = points[:, 0], points[:, 1], points[:, 2]
    back, ahead, chord = middle - first, last - middle, last - first
    a, b, c = (np.hypot(v[:, 0], v[:, 1]) for v in (back, ahead, chord))
    doubled = back[:, 1] * ahead[:, 0] - back[:, 0] * ahead[:, 1]  # twice the triangle's area, + where it turns right
    with np.errstate(divide="ignore", invalid="ignore"):
        curvature = 2 * doubled / (a * b * c)
        per_area = 2 / (a * b * c)
        unit_back, unit_ahead, unit_chord = back / a[:, None] ** 2, ahead / b[:, None] ** 2, chord / c[:, None] ** 2
        off, share = doubled / c, (back * unit_chord).sum(axis=1)
        by_area = [_across(ahead), -_across(chord), _across(back)]
        by_length = [-unit_back - unit_chord, unit_back - unit_ahead, unit_ahead + unit_chord]
        slopes = [per_area[:, None] * s - curvature[:, None] * g for s, g in zip(by_area, by_length, strict=True)]
        spread = np.sqrt(sum((sd[:, i] * np.hypot(s[:, 0], s[:, 1])) ** 2 for i, s in enumerate(slopes)))
    turn = np.arctan2(np.abs(doubled), (back * ahead).sum(axis=1))
    return ThreePoints(curvature, np.asarray(spread), np.column_stack([a, b]), turn, off, share)


def _across(vectors: np.ndarray) -> np.ndarray:
    """Return the vectors turned a quarter to the right: how the doubled area grows with the point opposite."""
    return np.column_stack([vectors[:, 1], -vectors[:, 0]])


def turned(xy: np.ndarray, measure: np.ndarray, *, least_m: float, off_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Return how far a polyline has turned (radians, + right) at rising measures; between them it turns evenly.

    `xy` (n, 2), `measure` (n,) as of a measured line. A vertex stands for a curve: its turn is spread over a stretch
    to both sides, `least_m` long in all, or as far as a curve may leave the corner by `off_m`, and never beyond the
    middle of a leg. So a curve drawn in chords turns like the curve, however fine or coarse the chords.
    """
    legs, lengths = np.diff(xy, axis=0), np.diff(measure)
    back, ahead = legs[:-1], legs[1:]
    cross, dot = back[:, 1] * ahead[:, 0] - back[:, 0] * ahead[:, 1], (back * ahead).sum(axis=1)
    turn = np.arctan2(cross, dot)
    # A curve of radius R touches both legs at R tan(turn / 2) and leaves the corner by R (1 / cos(turn / 2) - 1).
    tangent = off_m / np.tan(np.maximum(np.abs(turn), 1e-9) / 4)
    reach = np.maximum(tangent, least_m / 2)
    before, after = np.minimum(reach, lengths[:-1] / 2), np.minimum(reach, lengths[1:] / 2)
    at = np.column_stack([measure[1:-1] - before, measure[1:-1] + after]).ravel()
    angle = np.cumsum(turn)
    return at, np.column_stack([angle - turn, angle]).ravel()
