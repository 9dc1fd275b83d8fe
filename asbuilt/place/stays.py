"""Joints that were fused at one place while the string was pulled away: their fixes say where the machine stood.

Decided by likelihood: along a path, fixes of neighbours lie a pipe length apart where the machine walks along the
line, and on one spot where it stays. Three joints in a row are enough if the fixes are good enough to tell; two, if
the length of the pipe between them is stated, for else it may have been a short one.
"""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from asbuilt.place.links import Paths

_CREEP_M = 0.5  # how far a machine that stays moves between joints
_RELATED = 1.86  # (1 + r) / (1 - r) for errors of neighbours that correlate by 0.3
_SURE = 8.0  # log of the odds, for what a stay would change
_ONE = 6.0  # one step has no more say than this, log of the odds
_LOOSE = 2.5  # standard deviations that fixes of one spot scatter by at most (root mean square)
_NEAR = 3.5  # standard deviations, or times the usual distance, that a joint made on the spot may lie from its middle
_AMID = 3  # joints of a string that a lone record stands amid
_CLOSE = 0.25  # or: they spread over less than this share of the tally


@dataclass(frozen=True)
class Stands:
    """Where machines stood, by row: `xy_m` (rows, 2) in metres of the plane (NaN: no fix), its `sd_m`, the `machine`

    as a code (-1: not recorded). `in_place` marks joints whose position is where they lie: as-laid shots, tie-ins, and
    those at fittings, which are close together by nature. They do not make a run of a stand, and may stand in one.
    """

    xy_m: np.ndarray
    sd_m: np.ndarray
    machine: np.ndarray
    in_place: np.ndarray


def stays(paths: Paths, fixes: Stands, *, stick_m: float) -> np.ndarray:
    """Return which entries belong to runs that one machine fused where it stayed, shape (n,)."""
    out = np.zeros(len(paths.row), dtype=bool)
    tally = np.cumsum(np.where(paths.head, 0.0, np.where(np.isnan(paths.length_m), stick_m, paths.length_m)))
    has = np.flatnonzero(np.isfinite(fixes.xy_m[paths.row, 0]) & ~fixes.in_place[paths.row])
    if len(has) < 3:
        return out
    at, xy, sd = tally[has], fixes.xy_m[paths.row[has]], fixes.sd_m[paths.row[has]]
    path = paths.path[has] * (int(fixes.machine.max(initial=0)) + 2) + fixes.machine[paths.row[has]]
    together = _together(xy, at, sd, path, 1)
    if not together.any():
        return out
    over = _together(xy, at, sd, path, 2)  # on one spot, whatever the fix between them says
    together[:-1] |= over & np.roll(together, 1)[:-1]
    together[1:] |= over & np.roll(together, -1)[1:]
    stated = np.diff(np.cumsum(np.isnan(paths.length_m))[has]) == 0
    stated |= _closes_in_full(paths, fixes.xy_m, tally, has, stick_m)
    for run in _runs(together, stated):
        first, last = _on_the_spot(xy, sd, *run)
        here = slice(first, last + 1)
        if last > first and _stays(xy[here], at[here], float(np.median(sd[here]))):
            out[has[first] : has[last] + 1] = True
    return out


def beside_a_stand(paths: Paths, fixes: Stands, strung: np.ndarray) -> np.ndarray:
    """Whether each entry that follows nothing was made where a string was fused, shape (n,).

    A record without time or machine is in no run; where it stands amid the joints of a string it belongs to them.
    """
    out = np.zeros(len(strung), dtype=bool)
    size = np.bincount(paths.path)[paths.path]
    at = np.flatnonzero((size == 1) & np.isfinite(fixes.xy_m[paths.row, 0]) & ~fixes.in_place[paths.row])
    if not len(at) or strung.sum() < _AMID:
        return out
    stand = cKDTree(fixes.xy_m[paths.row[strung & np.isfinite(fixes.xy_m[paths.row, 0])]])
    reach = _NEAR * np.hypot(fixes.sd_m[paths.row[at]], _CREEP_M)
    near = stand.query_ball_point(fixes.xy_m[paths.row[at]], reach, return_length=True)
    out[at] = near >= _AMID
    return out


def _closes_in_full(paths: Paths, xy_m: np.ndarray, tally: np.ndarray, has: np.ndarray, stick_m: float) -> np.ndarray:
    """Whether the fixes before and after each step leave room for its pipe at full length, shape (steps,).

    Then two joints on one spot were made at a stand; where they leave no room the pipe between the two was short.
    """
    every = np.flatnonzero(np.isfinite(xy_m[paths.row, 0]))
    at = np.searchsorted(every, has)
    left, right = at[:-1] - 1, at[1:] + 1
    inside = (left >= 0) & (right < len(every))
    a, c = every[np.maximum(left, 0)], every[np.minimum(right, len(every) - 1)]
    room = np.hypot(*(xy_m[paths.row[c]] - xy_m[paths.row[a]]).T)
    return np.asarray(inside & (paths.path[a] == paths.path[c]) & (np.abs(room - (tally[c] - tally[a])) < stick_m / 3))


def _on_the_spot(xy: np.ndarray, sd: np.ndarray, first: int, last: int) -> tuple[int, int]:
    """Return the first and last entry of a run without the joints that were made on the way to the spot or from it."""
    away = np.hypot(*(xy[first : last + 1] - np.median(xy[first : last + 1], axis=0)).T)
    near = np.flatnonzero(away <= np.maximum(_NEAR * np.hypot(sd[first : last + 1], _CREEP_M), _NEAR * np.median(away)))
    return first + int(near[0]), first + int(near[-1])


def _together(xy: np.ndarray, tally: np.ndarray, sd: np.ndarray, path: np.ndarray, lag: int) -> np.ndarray:
    """Whether a fix and the one `lag` entries on lie on one spot rather than as far apart as their pipes are long."""
    apart, pipes = np.hypot(*(xy[lag:] - xy[:-lag]).T), tally[lag:] - tally[:-lag]
    spread = np.hypot(np.hypot(sd[lag:], sd[:-lag]), _CREEP_M)
    odds = np.clip(((apart - pipes) ** 2 - apart**2) / (2 * spread**2), -_ONE, _ONE)
    return np.asarray((odds > 0) & (path[lag:] == path[:-lag]))


def _runs(together: np.ndarray, stated: np.ndarray) -> list[tuple[int, int]]:
    """Return the first and last entry of each run of two or more steps, or of one whose length is stated."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], together, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2) if b - a >= 2 or stated[a]]


def _stays(xy: np.ndarray, tally: np.ndarray, sd: float) -> bool:
    """Whether fixes scatter about one spot rather than along the best straight walk at the tally's lengths."""
    away, along = xy - np.median(xy, axis=0), tally - tally.mean()
    walk = (along**2).sum() - 2 * np.hypot(*(along[:, None] * (xy - xy.mean(axis=0))).sum(axis=0))
    scatter = np.sqrt(np.median((away**2).sum(axis=1)) / 1.386)  # median of the square of a circular normal, per axis
    on_one_spot = scatter <= _LOOSE * np.hypot(sd, _CREEP_M) or 2 * scatter < _CLOSE * np.ptp(tally)
    return bool(on_one_spot and walk / (2 * (sd**2 + _CREEP_M**2) * _RELATED) > _SURE)
