"""Which joints lie elsewhere than they did."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.crs import area_of, frame, to_base, transform
from asbuilt.second.sides import Pairs, Side

_SAME_M = 0.001  # a millimetre is written, and no more
_COLUMNS = (
    "joint_id", "what", "line", "old_station", "new_station", "along_m", "plan_m", "limit_m", "old_placed_by",
    "new_placed_by",
)  # fmt: skip


@dataclass(frozen=True)
class Moves:
    """`moved` has a row for each joint that moved by more than its uncertainty, or has gained or lost its place.

    `less` counts the joints that moved by no more than it, `largest_m` the most of these in plan; `restationed` those
    that lie where they lay, and have another chainage: the alignment has changed, or where it starts. `way` says how
    places were brought from one frame to another; empty: they are in one.
    """

    moved: pd.DataFrame
    less: int
    largest_m: float
    restationed: int
    way: str


def moves(old: Side, new: Side, pairs: Pairs) -> Moves:
    """Tell what moved: by more, in plan, than the square root of the sum of the squares of both 95 % radii.

    Two estimates of one place, each within its radius with 95 %, differ by more than that in one case of twenty at
    most, if their errors are independent; those of two revisions share most of their fixes and differ by less. Where
    a place had to be brought from another frame, what the way adds is a third such radius. A radius that is not known
    counts as nought. Raises FrameError where there is no way between the two frames of known accuracy.
    """
    before, after = old.tables["joints"].iloc[pairs.old], new.tables["joints"].iloc[pairs.new]
    change, accuracy_m, way = _apart(before, after, old, new)
    plan = np.hypot(*change)
    radii = [np.nan_to_num(side["radius95_m"].to_numpy(float)) for side in (before, after)]
    limit = np.sqrt(radii[0] ** 2 + radii[1] ** 2 + accuracy_m**2)
    along = after["chainage_m"].to_numpy(float) - before["chainage_m"].to_numpy(float)
    along[(before["line"].to_numpy(object) != after["line"].to_numpy(object))] = np.nan
    had, has = (side["chainage_m"].notna().to_numpy() for side in (before, after))
    far, less = plan > np.maximum(limit, _SAME_M), (plan > _SAME_M) & (plan <= limit)
    what = np.select([~had & has, had & ~has, far], ["now placed", "no longer placed", "moved"], "")
    told = {"joint_id": after["joint_id"], "what": what, "line": after["line"], "new_station": after["station"]}
    told |= {"old_station": before["station"], "along_m": along, "plan_m": plan, "limit_m": limit}
    told |= {"old_placed_by": before["placed_by"], "new_placed_by": after["placed_by"]}
    columns = {name: np.asarray(told[name], dtype=object if name[-2:] != "_m" else float) for name in _COLUMNS}
    moved = pd.DataFrame(columns)[what != ""].reset_index(drop=True)
    restationed = int(((plan <= _SAME_M) & (np.abs(along) > _SAME_M)).sum())
    return Moves(moved, int(less.sum()), float(plan[less].max(initial=0.0)), restationed, way)


def _apart(before: pd.DataFrame, after: pd.DataFrame, old: Side, new: Side) -> tuple[np.ndarray, float, str]:
    """Return east and north from the old place to the new in metres, shape (2, n), and what another frame adds."""
    origin, target = frame(old.crs, where="OLD"), frame(new.crs, where="NEW")
    was, now = (side[["easting", "northing"]].to_numpy(float).T for side in (before, after))
    if origin.crs.equals(target.crs, ignore_axis_order=True) or not np.isfinite(now).any():
        return (now - was) * target.metres_per_unit, 0.0, ""
    known = np.isfinite(now).all(axis=0)
    area = area_of(*to_base(*now[:, known].copy(), of=target))
    east, north, way = transform(was[0].copy(), was[1].copy(), origin=origin, target=target, area=area)
    text = f"places were brought from {way.origin} to {way.target} by '{way.operation}', good to {way.accuracy_m:g} m"
    return (now - np.stack([east, north])) * target.metres_per_unit, way.accuracy_m, text
