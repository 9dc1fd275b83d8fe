"""Which joints lie elsewhere than they did, which are placed by something else, and what was measured since."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.crs import area_of, frame, to_base, transform
from asbuilt.judge.found_again import MOVED_M
from asbuilt.second.sides import Pairs, Side

_SAME_M = 0.001  # a millimetre is written, and no more
_COLUMNS = (
    "joint_id", "what", "line", "old_station", "new_station", "along_m", "plan_m", "limit_m", "old_placed_by",
    "new_placed_by",
)  # fmt: skip

_UNPLACED = "unplaced"
_SAME_AS = ["joint_id", "method", "seen_at", "by", "depth_m", "elevation_m"]
_PLACE = ["easting", "northing"]
_TOLD = [
    "joint_id", "method", "line", "station", "offset_m", "radius95_m", "depth_m", "elevation_m", "elevation_of", "by",
    "seen_at", "source",
]  # fmt: skip


@dataclass(frozen=True)
class Moves:
    """`moved` has a row for each joint that moved by more than its uncertainty, or has gained or lost its place.

    `less` counts the joints that moved by no more than it, `largest_m` the most of these in plan, `largest` its joint;
    `along` counts all that moved along their line by more than a build counts as moved (`judge.found_again.MOVED_M`);
    `restationed` those that lie where they lay, and have another chainage: the alignment has changed, or where it
    starts. `way` says how places were brought from one frame to another; empty: they are in one.
    """

    moved: pd.DataFrame
    less: int
    largest_m: float
    largest: str
    along: int
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
    most = np.nan_to_num(np.where(less, plan, 0.0))
    return Moves(
        moved,
        int(less.sum()),
        float(most.max(initial=0.0)),
        str(after["joint_id"].iloc[int(most.argmax())]) if less.any() else "",
        int(((far | less) & (np.abs(along) > MOVED_M)).sum()),
        restationed,
        way,
    )


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


def placed_anew(old: Side, new: Side, pairs: Pairs) -> pd.DataFrame:
    """Return the joints that had a place and have one, by another means: joint_id, line, old_placed_by, new_placed_by,

    old_station, new_station, and by how much the point moved along the line (+ ahead) and across it (+ right), metres;
    NaN where it is on another line now. Joints that gained or lost their place are told by `moves`.
    """
    before, after = old.tables["joints"].iloc[pairs.old], new.tables["joints"].iloc[pairs.new]
    was, now = (side["placed_by"].to_numpy(object) for side in (before, after))
    other_line = before["line"].to_numpy(object) != after["line"].to_numpy(object)
    along = after["chainage_m"].to_numpy(float) - before["chainage_m"].to_numpy(float)
    across = _across(after) - _across(before)
    told = pd.DataFrame(
        {
            "joint_id": after["joint_id"].to_numpy(object),
            "line": after["line"].to_numpy(object),
            "old_placed_by": was,
            "new_placed_by": now,
            "old_station": before["station"].to_numpy(object),
            "new_station": after["station"].to_numpy(object),
            "along_m": np.where(other_line, np.nan, along),
            "across_m": np.where(other_line, np.nan, across),
        }
    )
    return told[(was != now) & (was != _UNPLACED) & (now != _UNPLACED)].reset_index(drop=True)


def _across(joints: pd.DataFrame) -> np.ndarray:
    """Return how far off the alignment the point of each joint stands: where it was measured, else on the line."""
    return np.where(joints["placed_by"] == "survey", joints["offset_m"].to_numpy(float), 0.0)


def measured(old: Side, new: Side) -> pd.DataFrame:
    """Return the measurements on the pipe that the new record has and the old one has not, in the order of the new.

    The same measurement is the same joint, method, time, person, depth and level; and the same place to a millimetre,
    where both records are in one frame.
    """
    before, after = old.tables["positions"], new.tables["positions"]
    one_frame = frame(old.crs, where="OLD").crs.equals(frame(new.crs, where="NEW").crs, ignore_axis_order=True)
    known = set(_keys(before, one_frame))
    is_new = np.array([key not in known for key in _keys(after, one_frame)], dtype=bool)
    return after.loc[is_new, _TOLD].reset_index(drop=True)


def _keys(measurements: pd.DataFrame, with_place: bool) -> list[tuple[str, ...]]:
    columns = [measurements[name].astype(str) for name in _SAME_AS]
    columns += [measurements[name].round(3).astype(str) for name in _PLACE if with_place]
    return list(zip(*columns, strict=True))
