"""Which fixed features a joint is tied to: the nearest ones, and among them two whose directions cross well.

Two distances fix a place well where their arcs cross at a good angle: from 30 to 150 degrees is an old rule of
surveying with tapes (common practice, no source). Folded at 90 degrees that is 30 and more.
"""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

MOST, ENOUGH = 5, 3
GOOD_DEG = 30.0
_LOOKED_AT = 24  # of the features within reach, the nearest: behind a row along one fence stands something else


@dataclass(frozen=True)
class Ties:
    """Pairs of joint and feature as positions in what was asked, sorted by joint and distance; shapes (k,).

    `crossing_deg` is the angle at which the best two ties of the joint cross there, folded to 0 to 90; NaN: one tie.
    """

    joint: np.ndarray
    feature: np.ndarray
    crossing_deg: np.ndarray


def nearest_ties(joints: np.ndarray, features: np.ndarray, *, reach: float) -> Ties:
    """Return up to five ties of each joint; `joints` (n, 2), `features` (m, 2) and `reach` are in one plane and unit.

    The nearest five are taken. Where no two of them cross at 30 degrees or more, the fifth gives way to the nearest
    further feature that crosses one of the other four so, if there is one within reach.
    """
    many = min(_LOOKED_AT, len(features))
    if not many or not len(joints):
        none = np.array([], dtype=np.int64)
        return Ties(none, none, np.array([], dtype=float))
    within = np.nextafter(reach, np.inf)  # the tree leaves out what lies at the bound itself
    apart, which = cKDTree(features).query(joints, k=np.arange(1, many + 1), distance_upper_bound=within)
    there = np.isfinite(apart)
    way = features[np.where(there, which, 0)] - joints[:, None]
    way[~there] = 0.0
    chosen = _chosen(way, there)
    best = np.where(chosen.sum(axis=1) > 1, _best_of(way, chosen), np.nan)
    joint, column = np.nonzero(chosen)
    return Ties(joint, np.asarray(which)[joint, column], best[joint])


def folded_deg(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Return the angle at which two directions (..., 2) cross, 0 to 90 degrees; 0 where one has no length.

    >>> folded_deg(np.array([[1.0, 0.0]]), np.array([[-1.0, 1.0]])).round(6).tolist()
    [45.0]
    """
    cross = np.abs(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])
    return np.asarray(np.degrees(np.arctan2(cross, np.abs((a * b).sum(axis=-1)))))


def _chosen(way: np.ndarray, there: np.ndarray) -> np.ndarray:
    """Return which of the features looked at are ties, shape (n, k)."""
    chosen = there.copy()
    chosen[:, MOST:] = False
    (poor,) = np.nonzero(there[:, MOST:].any(axis=1) & (_best_of(way, chosen) < GOOD_DEG))
    if len(poor):
        further, kept = way[poor, MOST:, None], way[poor, None, : MOST - 1]
        crosses = there[poor, MOST:] & (folded_deg(further, kept).max(axis=2) >= GOOD_DEG)
        swaps = poor[crosses.any(axis=1)]
        chosen[swaps, MOST - 1] = False
        chosen[swaps, MOST + crosses[crosses.any(axis=1)].argmax(axis=1)] = True
    return chosen


def _best_of(way: np.ndarray, chosen: np.ndarray) -> np.ndarray:
    """Return the best angle at which two of the chosen cross, shape (n,); 0 where there are no two."""
    best = np.zeros(len(way))
    columns = np.flatnonzero(chosen.any(axis=0))
    for place, i in enumerate(columns):
        for j in columns[place + 1 :]:
            both = chosen[:, i] & chosen[:, j]
            best[both] = np.maximum(best[both], folded_deg(way[both, i], way[both, j]))
    return best
