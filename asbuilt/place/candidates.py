"""Every place on every line that a fix may mean, and how likely each is by the fix alone."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from asbuilt.alignment import Candidates, MeasuredLine, distance, project
from asbuilt.window import ASSUMED_SD_M, RADIUS_95, TWO_SIDED_95

_HAIR_M = 1e-6
_REACH_SD = 5.0  # one fix in a hundred thousand errs by more
_FIELDS = tuple(Candidates.__dataclass_fields__)

Lines = Sequence[tuple[str, MeasuredLine]]


@dataclass(frozen=True)
class Reach:
    """From where a fix says nothing, how far a pipe may be laid off the alignment (metres), and metres of a unit."""

    far_m: float
    offset_m: float
    metres_per_unit: float = 1.0


def believed_sd_m(rows: pd.DataFrame) -> np.ndarray:
    """Return the spread of each fix with that of its frame; what states none is taken for a poor one."""
    sd = np.hypot(rows["sd_m"].to_numpy(float), rows["frame_accuracy_m"].to_numpy(float))
    return np.where(np.isnan(sd), ASSUMED_SD_M, sd)


def candidates(rows: pd.DataFrame, lines: Lines, reach: Reach) -> pd.DataFrame:
    """Return the places of each row, sorted by row and distance.

    `rows` needs easting, northing (working frame; NaN: no fix), sd_m, frame_accuracy_m and line (the record's own word,
    None: any). Columns: point (position of the row), line (a category), measure (m), beyond, offset and distance (m),
    probability.
    """
    sd, asked, xy = believed_sd_m(rows), _asked(rows, lines), rows[["easting", "northing"]].to_numpy(float)
    parts = [
        (code, part)
        for code, (_, line) in enumerate(lines)
        for part in _on(line, xy, np.flatnonzero(_may_lie_on(code, asked, xy)), sd, reach=reach)
    ]
    names = sorted(name for name, _ in lines)
    ranks = np.array([names.index(name) for name, _ in lines])
    line = np.repeat(ranks[[code for code, _ in parts]], [len(part.point) for _, part in parts])
    found = Candidates(*(np.concatenate([getattr(part, f) for _, part in parts]) for f in _FIELDS))
    if len(parts) > 1:
        order = np.lexsort((found.measure, line, found.distance, found.point))
        found, line = _only(found, order), line[order]
    competes = _competes(found, line, sd, reach.offset_m)
    found, line = _only(found, competes), line[competes]
    columns = {f: getattr(found, f) for f in _FIELDS} | {"line": pd.Categorical.from_codes(line, pd.Index(names))}
    return pd.DataFrame(columns).assign(probability=_by_fix(found, sd, reach.offset_m))


def _only(found: Candidates, which: np.ndarray) -> Candidates:
    return Candidates(*(getattr(found, f)[which] for f in _FIELDS))


def how_far_m(rows: pd.DataFrame, lines: Lines, missed: np.ndarray, metres_per_unit: float) -> np.ndarray:
    """Return how far each fix that has no place lies from the nearest line it may lie on; NaN for the others."""
    far = np.full(len(rows), np.nan)
    xy, asked = rows[["easting", "northing"]].to_numpy(float), _asked(rows, lines)
    for code, (_, line) in enumerate(lines):
        at = np.flatnonzero(missed & _may_lie_on(code, asked, xy))
        far[at] = np.fmin(far[at], distance(line, xy[at]))
    return far * metres_per_unit


def names_no_line(rows: pd.DataFrame, lines: Lines) -> np.ndarray:
    """Whether the record of each row names a line that there is not."""
    return rows["line"].notna().to_numpy() & (_asked(rows, lines) < 0)


def _asked(rows: pd.DataFrame, lines: Lines) -> np.ndarray:
    """Return the position of the line that each record names, -1 where it names none of the route."""
    return np.asarray(
        pd.Index([name for name, _ in lines], dtype=object).get_indexer(pd.Index(rows["line"], dtype=object))
    )


def _may_lie_on(code: int, asked: np.ndarray, xy: np.ndarray) -> np.ndarray:
    """Whether each row has a fix and may lie on the line: its record names it, or no line of the route."""
    return np.isfinite(xy).all(axis=1) & ((asked == code) | (asked < 0))


def _on(line: MeasuredLine, xy: np.ndarray, at: np.ndarray, sd: np.ndarray, *, reach: Reach) -> Iterator[Candidates]:
    """Yield the places on one line of the rows `at`: those in reach of a fix's own error, else the nearest one."""
    unit = reach.metres_per_unit
    xy, within = xy[at], np.minimum(reach.offset_m + _REACH_SD * sd[at], reach.far_m) / unit
    found = project(line, xy, reach=within)
    yield _of_rows(found, at, unit)
    without = np.flatnonzero(np.bincount(found.point, minlength=len(at)) == 0)
    if len(without):
        nearest = distance(line, xy[without])
        near = nearest * unit <= reach.far_m
        further = project(line, xy[without[near]], reach=nearest[near] + _HAIR_M)
        yield _of_rows(further, at[without[near]], unit)


def _of_rows(found: Candidates, at: np.ndarray, unit: float) -> Candidates:
    return replace(found, point=at[found.point], offset=found.offset * unit, distance=found.distance * unit)


def _competes(found: Candidates, line: np.ndarray, sd: np.ndarray, offset_m: float) -> np.ndarray:
    """Whether a candidate is a place of its own that the fix may mean: the nearest one always is.

    Another is in reach of the fix's own error and of how far the pipe may lie off the line, and far enough along the
    line to be told from the nearest: on the inside of a bend several minima lie a hand's breadth apart.
    """
    is_first = np.diff(found.point, prepend=-1) != 0
    first = np.maximum.accumulate(np.where(is_first, np.arange(len(found.point)), 0))
    apart = np.abs(found.measure - found.measure[first])
    near = (line == line[first]) & (apart < 2 * RADIUS_95 * sd[found.point])
    in_reach = found.distance <= offset_m + _REACH_SD * sd[found.point]
    return np.asarray((in_reach & ~near) | is_first)


def _by_fix(found: Candidates, sd: np.ndarray, offset_m: float) -> np.ndarray:
    """Share the probability of each point among its candidates.

    A candidate's weight is the normal density of its distance, the spread made of the fix and of how far the pipe
    may be laid off the alignment; all legs are equally likely before the fix is looked at.
    """
    if not len(found.point):
        return np.array([])
    energy = 0.5 * (found.distance / np.hypot(sd, offset_m / TWO_SIDED_95)[found.point]) ** 2
    starts = np.flatnonzero(np.diff(found.point, prepend=-1) != 0)
    size = np.diff(starts, append=len(found.point))
    weight = np.exp(np.repeat(np.minimum.reduceat(energy, starts), size) - energy)
    return np.asarray(weight / np.repeat(np.add.reduceat(weight, starts), size))
