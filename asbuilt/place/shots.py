"""Measurements on the pipe, in the trench or where it was laid bare again: they outrank where the machine stood."""

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from asbuilt.place.newest import without_outdated
from asbuilt.quantities import METRE, LengthUnit
from asbuilt.sentence import several, some
from asbuilt.window import ASSUMED_SD_M, RADIUS_95

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
    fix_frame_accuracy_m of the record. Several shots of a joint count by their accuracy, in which is what the way of
    one into the frame is worse than that of another.
    """
    kept = {f"fix_{name}": rows[name] for name in ("easting", "northing", "sd_m", "frame_accuracy_m")}
    out = rows.assign(**kept, surveyed=False, as_found=False)
    told = shots[shots["joint"].notna()]
    if told.empty:
        return out, ()
    at, unclear = rows_of(rows, told)
    told, outdated = without_outdated(told.assign(at=at)[at >= 0], metres_per_unit=metres_per_unit, unit=unit)
    unclear += outdated
    shared = told.groupby("at")["frame_accuracy_m"].transform("min")  # the error of a frame that all have, at least
    own = (told["frame_accuracy_m"] ** 2 - shared**2).clip(lower=0)
    weight = 1 / (told["sd_m"].fillna(ASSUMED_SD_M).clip(lower=_LEAST_SD_M) ** 2 + own)
    of_joint = told.assign(w=weight, e=told["easting"] * weight, n=told["northing"] * weight).groupby("at")
    total = of_joint[["w", "e", "n"]].sum()
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
    out.loc[labels, "frame_accuracy_m"] = of_joint["frame_accuracy_m"].min().to_numpy()
    out.loc[labels, "surveyed"] = True
    out.loc[labels, "as_found"] = of_joint["found"].any().to_numpy()
    level = of_joint["elevation_m"].mean().dropna()  # of the pipe in the trench, so it outranks that of the record
    out.loc[rows.index[level.index], "elevation_m"] = level.to_numpy()
    out.loc[rows.index[level.index], "elevation_of"] = of_joint["elevation_of"].first().loc[level.index].to_numpy()
    return out, unclear


def own_radius_m(shots: pd.DataFrame) -> np.ndarray:
    """Return the 95 % radius of each measurement with that of its way into the frame, shape (n,); NaN: not stated."""
    return RADIUS_95 * np.hypot(shots["sd_m"].to_numpy(float), shots["frame_accuracy_m"].to_numpy(float))


def less_sure(shots: pd.DataFrame, alone_m: np.ndarray) -> np.ndarray:
    """Return which measurements are less sure than the 95 % radius `alone_m` of the record alone, shape (n,).

    What is not known of either (NaN) makes none so.
    """
    return np.asarray(own_radius_m(shots) > alone_m)


def less_sure_text(shot: Any, alone_m: float, unit: LengthUnit) -> str:
    """Say by how much a measurement (its sd_m and frame_accuracy_m) is less sure than the record alone."""
    own = RADIUS_95 * float(np.hypot(shot.sd_m, shot.frame_accuracy_m))
    return f"{unit.text(own)} against {unit.text(alone_m)}"


def for_want_of_a_frame(shot: Any, alone_m: float) -> bool:
    """Whether a measurement that is less sure than the record alone would be surer, were its frame known better."""
    return bool(RADIUS_95 * shot.sd_m <= alone_m)


def without_less_sure(
    rows: pd.DataFrame, shots: pd.DataFrame, alone_m: pd.Series, *, unit: LengthUnit
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Leave out measurements that are less sure than the record alone, and say which.

    `alone_m` is the 95 % radius of each row without any measurement (NaN: unplaced, or not known), on their index.
    """
    named = shots["joint"].notna().to_numpy()
    at = np.full(len(shots), -1)
    at[named] = rows_of(rows, shots[named])[0]
    alone = np.where(at >= 0, alone_m.to_numpy(float)[at], np.nan)
    weak = less_sure(shots, alone)
    if not weak.any():
        return shots, ()
    return shots[~weak].reset_index(drop=True), tuple(_told_weak(shots[weak], alone[weak], unit))


def _told_weak(shots: pd.DataFrame, alone_m: np.ndarray, unit: LengthUnit) -> Iterator[str]:
    for found, what, table in ((False, "as-laid shot", "survey"), (True, "as-found measurement", "found")):
        of = np.flatnonzero(shots["found"].to_numpy(bool) == found)
        told = list(zip(shots.iloc[of].itertuples(), alone_m[of], strict=True))
        each = [
            f"{shot.joint} ({shot.source_file} row {shot.source_row}, {less_sure_text(shot, alone, unit)})"
            for shot, alone in told
        ]
        better = any(for_want_of_a_frame(*one) for one in told)
        do = f" Name the frame of the corrections as crs in [{table}]." * better
        if each:
            is_less = "is less sure than the record alone, is shown and places nothing"
            are_less = "are less sure than the record alone, are shown and place nothing"
            yield f"{several(len(of), what)} {is_less if len(of) == 1 else are_less}: {some(each)}.{do}"


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
