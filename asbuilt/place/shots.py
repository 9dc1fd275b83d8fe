"""Measurements on the pipe, in the trench or where it was laid bare again: they outrank where the machine stood."""

from typing import Any

import numpy as np
import pandas as pd

from asbuilt.place.newest import without_outdated
from asbuilt.quantities import METRE, LengthUnit
from asbuilt.window import ASSUMED_SD_M

_LEAST_SD_M = 0.005  # no shot is taken to be better
_ODD = 9.0  # times the stated variance: so far apart are shots of one joint not by chance


def with_shots(
    rows: pd.DataFrame, shots: pd.DataFrame, *, metres_per_unit: float = 1.0, unit: LengthUnit = METRE
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Return the rows with the shot in place of the fix where a joint has one, and what is wrong with the others.

    `rows` needs joint, joint_id and the position and level of the record; `shots` joint (None: of no joint), easting,
    northing (frame, whose unit has `metres_per_unit`), sd_m (NaN: not stated), frame_accuracy_m, elevation_m,
    elevation_of, source_file, source_row, and found (laid bare again later) with what `newest.without_outdated` needs.
    Added columns: surveyed, as_found (of these, by an as-found measurement), and fix_easting, fix_northing, fix_sd_m,
    fix_frame_accuracy_m of the record. Several shots of a joint count by their accuracy.
    """
    kept = {f"fix_{name}": rows[name] for name in ("easting", "northing", "sd_m", "frame_accuracy_m")}
    out = rows.assign(**kept, surveyed=False, as_found=False)
    told = shots[shots["joint"].notna()]
    if told.empty:
        return out, ()
    at, unclear = rows_of(rows, told)
    told, outdated = without_outdated(told.assign(at=at)[at >= 0], metres_per_unit=metres_per_unit, unit=unit)
    unclear += outdated
    sd = told["sd_m"].fillna(ASSUMED_SD_M).clip(lower=_LEAST_SD_M)
    weight = 1 / sd**2
    of_joint = told.assign(w=weight, e=told["easting"] * weight, n=told["northing"] * weight).groupby("at")
    total, worst = of_joint[["w", "e", "n"]].sum(), of_joint["frame_accuracy_m"].max()
    labels = rows.index[total.index]
    out.loc[labels, "easting"] = (total["e"] / total["w"]).to_numpy()
    out.loc[labels, "northing"] = (total["n"] / total["w"]).to_numpy()
    known = of_joint["sd_m"].count().to_numpy() > 0
    strain, apart = _strain(told.assign(w=weight), out, of_joint, metres_per_unit)
    out.loc[labels, "sd_m"] = np.where(known, strain / np.sqrt(total["w"].to_numpy()), np.nan)
    unclear += tuple(
        f"{many} as-laid shots of {joint} lie up to {unit.text(far)} apart: their mean is used, with a wider spread."
        for joint, many, far in _named(rows, of_joint, apart)
    )
    out.loc[labels, "frame_accuracy_m"] = worst.to_numpy()
    out.loc[labels, "surveyed"] = True
    out.loc[labels, "as_found"] = of_joint["found"].any().to_numpy()
    level = of_joint["elevation_m"].mean().dropna()  # of the pipe in the trench, so it outranks that of the record
    out.loc[rows.index[level.index], "elevation_m"] = level.to_numpy()
    out.loc[rows.index[level.index], "elevation_of"] = of_joint["elevation_of"].first().loc[level.index].to_numpy()
    return out, unclear


def _named(rows: pd.DataFrame, of_joint: Any, apart: pd.Series) -> list[tuple[str, int, float]]:
    at = apart.index.to_numpy(np.int64)
    return list(zip(rows["joint_id"].iloc[at], of_joint.size().loc[at], apart, strict=True))


def _strain(
    shots: pd.DataFrame, rows: pd.DataFrame, of_joint: Any, metres_per_unit: float
) -> tuple[np.ndarray, pd.Series]:
    """Return by what the shots of each joint scatter more than they state, and how far (m) those are apart that do.

    The mean square of their distances from the mean, over what is stated: nine times as much is no chance.
    """
    middle = rows[["easting", "northing"]].to_numpy(float)[shots["at"]]
    off = np.hypot(*(shots[["easting", "northing"]].to_numpy(float) - middle).T) * metres_per_unit
    count = of_joint.size()
    mean = (shots["w"] * off**2).groupby(shots["at"]).sum() / (2 * np.maximum(count - 1, 1))
    odd = mean > _ODD
    apart = 2 * pd.Series(off, index=shots["at"].to_numpy()).groupby(level=0).max()
    return np.sqrt(np.where(odd, mean, 1.0)), apart[odd.to_numpy()]


def rows_of(rows: pd.DataFrame, shots: pd.DataFrame) -> tuple[np.ndarray, tuple[str, ...]]:
    """Return the position of the row that each shot is of (-1: none), found by joint_id or a number that is unique."""
    asked = shots["joint"].str.strip().str.casefold()
    found = np.full(len(shots), -1)
    for name in ("joint", "joint_id"):  # the id outranks the number
        words = rows[name].str.strip().str.casefold()
        once = ~words.duplicated(keep=False)
        place = pd.Series(np.arange(len(rows))[once.to_numpy()], index=words[once])
        hit = asked.map(place)
        found = np.where(hit.notna(), hit.fillna(-1), found).astype(np.int64)
    missed = shots[found < 0]
    said = tuple(
        f"{file} row {row}: there is no joint {joint!r}, or it stands on several records: name its joint_id."
        for file, row, joint in missed[["source_file", "source_row", "joint"]].itertuples(index=False)
    )
    return found, said
