"""The table of ties: each placed joint in line and the fixed features beside it, as a tape and a compass find them."""

import numpy as np
import pandas as pd
import shapely

from asbuilt import crs, tables
from asbuilt.place.ties import ENOUGH, GOOD_DEG, Ties, nearest_ties
from asbuilt.sentence import several
from asbuilt.settings import Settings
from asbuilt.tabulate.journey import Journey

_AT_M = 0.001  # a feature so near to a joint has no direction from it


def ties_table(joints: pd.DataFrame, journey: Journey, settings: Settings) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Return the ties of `joints` (tables.JOINTS) as tables.TIES, and what is said of them.

    `bearing_deg` is that of the grid, from the difference of eastings and northings; `true_bearing_deg` the azimuth of
    the geodesic at the feature, from north, in the base frame of the route's. `distance_m` is level: on a line whose
    length is "ground" the grid length by its factor, as its chainage is; else along the ellipsoid, which is the grid
    length without the scale of the projection. Height above the ellipsoid (16 mm in 100 m at 1000 m) is not in it.
    """
    features = journey.sides.features.rows
    here = joints[joints["in_line"].astype(bool) & joints["easting"].notna()].reset_index(drop=True)
    if features.empty:
        return tables.empty(tables.TIES), ()
    per_unit = journey.designs.frame.metres_per_unit
    reach = settings.features.reach / per_unit
    found = nearest_ties(_xy(here), _xy(features), reach=reach)
    said = _said(found, here, features, settings)
    if not len(found.joint):
        return tables.empty(tables.TIES), said
    of, to = here.iloc[found.joint].reset_index(drop=True), features.iloc[found.feature].reset_index(drop=True)
    measured = _measured(of, to, journey)
    lines = shapely.linestrings(np.stack([_xy(to), _xy(of)], axis=1))
    geometry = np.asarray(lines, dtype=object)
    geometry[measured["distance_m"] < _AT_M] = None
    columns = {name: to[name] for name in ("feature", "description", "easting", "northing")}
    frame = pd.DataFrame({"joint_id": of["joint_id"], **columns, **measured, "crossing_deg": found.crossing_deg})
    return tables.conform(frame.assign(geometry=geometry), tables.TIES), said


def _xy(frame: pd.DataFrame) -> np.ndarray:
    return frame[["easting", "northing"]].to_numpy(float)


def _measured(joints: pd.DataFrame, features: pd.DataFrame, journey: Journey) -> dict[str, np.ndarray]:
    """Return bearings (degrees, from feature to joint) and distances (metres), shape (k,)."""
    frame = journey.designs.frame
    way = _xy(joints) - _xy(features)
    azimuth, length = crs.geodesics(_xy(features), _xy(joints), of=frame)
    for name, design in journey.design_by_line.items():
        if design.source.length == "ground":
            by_factor = np.hypot(*way.T) * frame.metres_per_unit * float(design.source.ground_factor or 1.0)
            length = np.where((joints["line"] == name).to_numpy(), by_factor, length)
    grid = np.degrees(np.arctan2(way[:, 0], way[:, 1])) % 360.0
    is_at = length < _AT_M
    bearings = {"bearing_deg": np.where(is_at, np.nan, grid), "true_bearing_deg": np.where(is_at, np.nan, azimuth)}
    return {**bearings, "distance_m": length}


def _said(found: Ties, joints: pd.DataFrame, features: pd.DataFrame, settings: Settings) -> tuple[str, ...]:
    """Say how many joints are tied, to how many features and how well, and which features are of no use."""
    reach = settings.route.length_unit.short(settings.features.reach)
    if not len(found.joint):
        what = f"none of {several(len(features), 'feature')} lies within {reach} of a placed joint"
        return (f"features: {what}: check the crs of [features] and the order of its columns, or its reach",)
    count = np.bincount(found.joint, minlength=len(joints))
    good = np.zeros(len(joints), dtype=bool)
    good[found.joint] = found.crossing_deg >= GOOD_DEG
    tied, enough = int((count > 0).sum()), int((count >= ENOUGH).sum())
    well = int(((count >= ENOUGH) & good).sum())
    idle = len(features) - len(np.unique(found.feature))
    far = f"; {several(idle, 'feature is', 'features are')} no tie of any" if idle else ""
    return (
        f"features: {tied} of {several(len(joints), 'placed joint')} have a tie within {reach}, {enough} three or more,"
        f" {well} of these with two that cross at {GOOD_DEG:g}° to {180 - GOOD_DEG:g}°{far}",
    )
