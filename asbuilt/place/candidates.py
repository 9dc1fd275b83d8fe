"""Every place on every line that a fix may mean, and how likely each is by the fix alone."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.alignment import MeasuredLine, distance, project
from asbuilt.window import ASSUMED_SD_M, RADIUS_95, TWO_SIDED_95

_HAIR_M = 1e-6
_REACH_SD = 5.0  # one fix in a hundred thousand errs by more
_COLUMNS = ("point", "line", "measure", "beyond", "offset", "distance")

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
    None: any). Columns: point (position of the row), line, measure (m), beyond, offset and distance (m), probability.
    """
    sd = believed_sd_m(rows)
    parts = [_on(name, line, rows, lines, reach, sd) for name, line in lines]
    found = pd.concat([p for p in parts if len(p)] or parts[:1])
    found = found.sort_values(["point", "distance", "line", "measure"], kind="stable", ignore_index=True)
    found = found[_competes(found, sd, reach.offset_m)].reset_index(drop=True)
    return found.assign(probability=_by_fix(found, sd, reach.offset_m))


def how_far_m(rows: pd.DataFrame, lines: Lines, missed: np.ndarray, metres_per_unit: float) -> np.ndarray:
    """Return how far each fix that has no place lies from the nearest line it may lie on; NaN for the others."""
    far = np.full(len(rows), np.nan)
    xy = rows[["easting", "northing"]].to_numpy(float)
    for name, line in lines:
        at = np.flatnonzero(missed & _may_lie_on(rows, name, lines))
        far[at] = np.fmin(far[at], distance(line, xy[at]))
    return far * metres_per_unit


def names_no_line(rows: pd.DataFrame, lines: Lines) -> np.ndarray:
    """Whether the record of each row names a line that there is not."""
    return (rows["line"].notna() & ~rows["line"].isin([name for name, _ in lines])).to_numpy()


def _may_lie_on(rows: pd.DataFrame, name: str, lines: Lines) -> np.ndarray:
    """Whether each row has a fix and may lie on the line: its record names it, or no line of the route."""
    asked = rows["line"].fillna("").to_numpy(object)
    has_fix = np.isfinite(rows[["easting", "northing"]].to_numpy(float)).all(axis=1)
    return has_fix & ((asked == name) | ~np.isin(asked, [known for known, _ in lines]))


def _on(name: str, line: MeasuredLine, rows: pd.DataFrame, lines: Lines, reach: Reach, sd: np.ndarray) -> pd.DataFrame:
    """Return the places on one line: those in reach of a fix's own error, else the nearest one, if it is not far."""
    unit = reach.metres_per_unit
    at = np.flatnonzero(_may_lie_on(rows, name, lines))
    xy = rows[["easting", "northing"]].to_numpy(float)[at]
    within = np.minimum(reach.offset_m + _REACH_SD * sd[at], reach.far_m) / unit
    found = project(line, xy, reach=within)
    parts = [_frame(name, at, found, unit)]
    without = np.setdiff1d(np.arange(len(at)), found.point, assume_unique=False)
    if len(without):
        nearest = distance(line, xy[without])
        near = nearest * unit <= reach.far_m
        further = project(line, xy[without[near]], reach=nearest[near] + _HAIR_M)
        parts.append(_frame(name, at[without[near]], further, unit))
    return pd.concat(parts)


def _frame(name: str, at: np.ndarray, found: object, unit: float) -> pd.DataFrame:
    value = {f: getattr(found, f) for f in ("point", "measure", "beyond", "offset", "distance")}
    value |= {"point": at[value["point"]], "offset": value["offset"] * unit, "distance": value["distance"] * unit}
    return pd.DataFrame(value | {"line": np.full(len(value["point"]), name, dtype=object)}, columns=list(_COLUMNS))


def _competes(found: pd.DataFrame, sd: np.ndarray, offset_m: float) -> np.ndarray:
    """Whether a candidate is a place of its own that the fix may mean: the nearest one always is.

    Another is in reach of the fix's own error and of how far the pipe may lie off the line, and far enough along the
    line to be told from the nearest: on the inside of a bend several minima lie a hand's breadth apart.
    """
    point, measure = found["point"].to_numpy(np.int64), found["measure"].to_numpy(float)
    line = found["line"].to_numpy(object)
    is_first = np.diff(point, prepend=-1) != 0
    first = np.maximum.accumulate(np.where(is_first, np.arange(len(point)), 0))
    near = (line == line[first]) & (np.abs(measure - measure[first]) < 2 * RADIUS_95 * sd[point])
    in_reach = found["distance"].to_numpy() <= offset_m + _REACH_SD * sd[point]
    return np.asarray((in_reach & ~near) | is_first)


def _by_fix(found: pd.DataFrame, sd: np.ndarray, offset_m: float) -> np.ndarray:
    """Share the probability of each point among its candidates.

    A candidate's weight is the normal density of its distance, the spread made of the fix and of how far the pipe
    may be laid off the alignment; all legs are equally likely before the fix is looked at.
    """
    if found.empty:
        return np.array([])
    point = found["point"].to_numpy(np.int64)
    energy = 0.5 * (found["distance"].to_numpy() / np.hypot(sd[point], offset_m / TWO_SIDED_95)) ** 2
    starts = np.flatnonzero(np.diff(point, prepend=-1) != 0)
    size = np.diff(starts, append=len(point))
    weight = np.exp(np.repeat(np.minimum.reduceat(energy, starts), size) - energy)
    return np.asarray(weight / np.repeat(np.add.reduceat(weight, starts), size))
