"""Each fix on a leg, with what competes and how sure that leaves the place.

Where several legs compete the order of the work has its say (`sequence`). Pipe lengths do not move a joint yet. A
joint without a fix, or with one far from every line, stays unplaced.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.alignment import MeasuredLine, distance, project
from asbuilt.place.sequence import Order, by_order
from asbuilt.window import ASSUMED_SD_M, RADIUS_95, TWO_SIDED_95

_HAIR_M = 1e-6
_REACH_SD = 5.0  # one fix in a hundred thousand errs by more


@dataclass(frozen=True)
class Reach:
    """From where a fix says nothing, how far a pipe may be laid off the alignment, length of a stick (metres)."""

    far_m: float
    offset_m: float
    stick_m: float


def place(
    rows: pd.DataFrame, lines: Sequence[tuple[str, MeasuredLine]], *, metres_per_unit: float, reach: Reach
) -> pd.DataFrame:
    """Return the place of each row, same index.

    `rows` needs easting, northing (working frame; NaN: no fix), sd_m, frame_accuracy_m, line (the record's own word,
    None: any), machine and fused_at. The columns are those of `tables.JOINTS` from line to fix_offset_m, without
    station, and of the second likeliest place other_line, other_chainage_m and the like; far_m of a fix beyond
    reach from every line; line_unknown where the record names none of the lines.
    """
    sd = np.hypot(rows["sd_m"].to_numpy(float), rows["frame_accuracy_m"].to_numpy(float))
    believed = np.where(np.isnan(sd), ASSUMED_SD_M, sd)
    competing_m = reach.offset_m + _REACH_SD * believed
    found = _candidates(rows, lines, metres_per_unit=metres_per_unit, far_m=reach.far_m, competing_m=competing_m)
    weighed = _weighed(found, believed, reach.offset_m)
    order = Order(reach.stick_m, reach.offset_m, sum(line.measure[-1] - line.measure[0] for _, line in lines))
    weighed = _ranked(by_order(weighed, rows, believed, order))
    first, second = (weighed[weighed["rank"] == r].set_index("point").reindex(range(len(rows))) for r in (0, 1))
    count = weighed.groupby("point").size().reindex(range(len(rows)), fill_value=0)
    placed = first["measure"].notna().to_numpy()
    sd = np.where(placed, sd, np.nan)
    return pd.DataFrame(
        {
            "line": first["line"].to_numpy(object),
            "chainage_m": first["measure"].to_numpy(),
            "offset_m": first["offset"].to_numpy(),
            "chainage_sd_m": sd,
            "offset_sd_m": sd,
            "radius95_m": radius95_m(first["offset"].to_numpy(), sd),
            "placed_by": np.where(placed, "fix", "unplaced"),
            "leg_probability": first["probability"].to_numpy(),
            "candidates_n": count.to_numpy(),
            "margin_m": (second["distance"] - first["distance"]).to_numpy(),
            "beyond_m": first["beyond"].to_numpy(),
            "fix_chainage_m": first["measure"].to_numpy(),
            "fix_offset_m": first["offset"].to_numpy(),
            "far_m": _how_far(rows, lines, placed) * metres_per_unit,
            "line_unknown": _names_no_line(rows, lines),
            "other_line": second["line"].to_numpy(object),
            "other_chainage_m": second["measure"].to_numpy(),
            "other_offset_m": second["offset"].to_numpy(),
            "other_probability": second["probability"].to_numpy(),
        },
        index=rows.index,
    )


def _how_far(rows: pd.DataFrame, lines: Sequence[tuple[str, MeasuredLine]], placed: np.ndarray) -> np.ndarray:
    """Return how far each fix that was not placed lies from the nearest line; NaN for the others."""
    far = np.full(len(rows), np.nan)
    xy = rows[["easting", "northing"]].to_numpy(float)
    for name, line in lines:
        at = np.flatnonzero(~placed & _may_lie_on(rows, name, lines))
        far[at] = np.fmin(far[at], distance(line, xy[at]))
    return far


def _may_lie_on(rows: pd.DataFrame, name: str, lines: Sequence[tuple[str, MeasuredLine]]) -> np.ndarray:
    """Whether each row has a fix and may lie on the line: its record names it, or no line of the route."""
    asked = rows["line"].fillna("").to_numpy(object)
    has_fix = np.isfinite(rows[["easting", "northing"]].to_numpy(float)).all(axis=1)
    return has_fix & ((asked == name) | ~np.isin(asked, [known for known, _ in lines]))


def _names_no_line(rows: pd.DataFrame, lines: Sequence[tuple[str, MeasuredLine]]) -> np.ndarray:
    return (rows["line"].notna() & ~rows["line"].isin([name for name, _ in lines])).to_numpy()


def _candidates(
    rows: pd.DataFrame,
    lines: Sequence[tuple[str, MeasuredLine]],
    *,
    metres_per_unit: float,
    far_m: float,
    competing_m: np.ndarray,
) -> pd.DataFrame:
    """Return every candidate on every line that a row may lie on; distances in metres, `point` by position."""
    xy = rows[["easting", "northing"]].to_numpy(float)
    parts = [pd.DataFrame({"point": np.array([], dtype=np.int64), "line": np.array([], dtype=object)})]
    for name, line in lines:
        at = np.flatnonzero(_may_lie_on(rows, name, lines))
        nearest_m = distance(line, xy[at]) * metres_per_unit
        # as far as the nearest place, and as far as another one can compete with it; never farther than `far_m`
        reach_m = np.minimum(np.maximum(nearest_m + _HAIR_M, competing_m[at]), far_m)
        found = project(line, xy[at], reach=reach_m / metres_per_unit)
        columns = {"point": at[found.point], "line": name, "measure": found.measure, "beyond": found.beyond}
        columns |= {"offset": found.offset * metres_per_unit, "distance": found.distance * metres_per_unit}
        parts.append(pd.DataFrame(columns))
    return pd.concat(
        [p for p in parts if len(p)] or [parts[0].assign(measure=0.0, beyond=0.0, offset=0.0, distance=0.0)]
    )


def _weighed(found: pd.DataFrame, sd: np.ndarray, offset_m: float) -> pd.DataFrame:
    """Share the probability of each point among its candidates, sorted by distance.

    A candidate's weight is the normal density of its distance, the spread made of the fix and of how far the pipe
    may be laid off the alignment; all legs are equally likely before the fix is looked at.
    """
    found = found.sort_values(["point", "distance", "line", "measure"], kind="stable", ignore_index=True)
    found = found[_competes(found, sd, offset_m)].reset_index(drop=True)
    point = found["point"].to_numpy(np.int64)
    spread = np.hypot(sd[point], offset_m / TWO_SIDED_95)
    energy = 0.5 * (found["distance"].to_numpy() / spread) ** 2
    least = found.assign(e=energy).groupby("point")["e"].transform("min").to_numpy()
    weight = np.exp(least - energy)
    total = found.assign(w=weight).groupby("point")["w"].transform("sum").to_numpy()
    return found.assign(probability=weight / total)


def _ranked(weighed: pd.DataFrame) -> pd.DataFrame:
    """Rank the candidates of each point: the likeliest first, of equally likely ones the nearest."""
    ranked = weighed.assign(unlikely=-weighed["probability"].round(9))
    ranked = ranked.sort_values(["point", "unlikely", "distance", "line", "measure"], kind="stable", ignore_index=True)
    return ranked.assign(rank=ranked.groupby("point").cumcount())


def _competes(found: pd.DataFrame, sd: np.ndarray, offset_m: float) -> np.ndarray:
    """Whether a candidate is a place of its own that the fix may mean: the nearest one always is.

    Another is in reach of the fix's own error and of how far the pipe may lie off the line, and far enough along the
    line to be told from the nearest: on the inside of a bend several minima lie a hand's breadth apart.
    """
    first = found.groupby("point")[["line", "measure"]].transform("first")
    apart = (found["measure"] - first["measure"]).abs().to_numpy()
    near = (found["line"] == first["line"]).to_numpy() & (apart < 2 * RADIUS_95 * sd[found["point"].to_numpy(np.int64)])
    in_reach = found["distance"].to_numpy() <= offset_m + _REACH_SD * sd[found["point"].to_numpy(np.int64)]
    return (in_reach & ~near) | (found.groupby("point").cumcount() == 0).to_numpy()


def radius95_m(offset_m: np.ndarray, sd_m: np.ndarray) -> np.ndarray:
    """Return the radius about the point on the alignment that holds the joint with 95 %, shape (n,).

    The joint lies off that point by its offset, so the radius is that of a circular normal seen from outside its
    centre: never less than 2.4477 sd, and near |offset| + 1.645 sd + sd² / (2 |offset|) for a large offset.
    """
    away = np.abs(offset_m)
    with np.errstate(divide="ignore", invalid="ignore"):
        far = away + 1.6449 * sd_m + sd_m**2 / (2 * away)
    return np.where(away == 0, RADIUS_95 * sd_m, np.fmin(away + RADIUS_95 * sd_m, far))
