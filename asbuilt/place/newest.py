"""Measurements of one joint that contradict one another: where a joint was found again, the newest wins."""

import numpy as np
import pandas as pd

from asbuilt.quantities import LengthUnit
from asbuilt.window import ASSUMED_SD_M

_CHI_95 = -2 * np.log(0.05)  # chi-square of two degrees of freedom, 95 % quantile: 5.991
_LONG_AGO = pd.Timestamp("1900-01-01")  # a shot without a time was taken before the trench was filled


def without_outdated(
    shots: pd.DataFrame, *, metres_per_unit: float, unit: LengthUnit
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Leave out what the newest measurement of a joint contradicts, where the joint was found again, and say so.

    `shots` has at (which joint), joint, found (laid bare again; else as laid), time (UTC, NaT: not stated), day,
    easting, northing (frame, whose unit has `metres_per_unit`), sd_m, frame_accuracy_m, frame_origin, elevation_m,
    source_file and source_row. Two contradict one another where they lie farther apart than both errors allow with
    95 %, by chi-square of both axes; the error of a frame that they share does not count. A newer level replaces older
    ones. What is stated of joints that nobody found again stays as it is.
    """
    again = shots["at"].isin(shots.loc[shots["found"], "at"]).to_numpy(bool)
    if not again.any():
        return shots, ()
    when = shots["time"].fillna(_LONG_AGO)
    order = shots.assign(when=when).sort_values(["at", "when", "found"], kind="stable")
    order["label"] = order.index
    newest = order.drop_duplicates("at", keep="last").set_index("at").loc[shots["at"]]
    apart = np.hypot(*(_xy(shots) - _xy(newest)).T) * metres_per_unit
    beaten = again & (apart**2 > _CHI_95 * _variance(shots, newest))
    older = again & (newest["label"].to_numpy() != shots.index.to_numpy()) & newest["elevation_m"].notna().to_numpy()
    said = [_said(shots.iloc[i], newest.iloc[i], unit.text(apart[i])) for i in np.flatnonzero(beaten)]
    kept = shots.assign(elevation_m=shots["elevation_m"].mask(older))
    return kept[~beaten], tuple(said)


def _xy(shots: pd.DataFrame) -> np.ndarray:
    return shots[["easting", "northing"]].to_numpy(float)


def _variance(a: pd.DataFrame, b: pd.DataFrame) -> np.ndarray:
    """Return the variance of one axis of the difference, shape (n,); what states no error is taken for a poor fix."""
    own = sum(of["sd_m"].fillna(ASSUMED_SD_M).to_numpy(float) ** 2 for of in (a, b))
    frames = sum(of["frame_accuracy_m"].to_numpy(float) ** 2 for of in (a, b))
    shared = a["frame_origin"].to_numpy() == b["frame_origin"].to_numpy()
    return np.asarray(own + np.where(shared, 0.0, frames))


def _said(old: pd.Series, new: pd.Series, apart: str) -> str:
    what = f"as-found measurement of {old['day']}" if old["found"] else "as-laid shot"
    later = f"as-found measurement of {new['day']}" if new["found"] else "later as-laid shot"
    return (
        f"The {what} of joint {old['joint']} ({old['source_file']} row {old['source_row']}) lies {apart} from the"
        f" {later} ({new['source_file']} row {new['source_row']}), more than both errors allow (95 %): the newer one"
        " is used."
    )
