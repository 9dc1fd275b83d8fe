"""The record as the page of the map carries it: columns, each told once, small enough to travel in one file.

A column is a list of values; or `{"words": [...], "at": [...]}` where few values repeat (-1: nothing); or absent
where nothing was recorded. Nothing is `null`: NaN, NA and empty text are the same nothing here.
"""

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd
import shapely

from asbuilt import look
from asbuilt.as_built import AsBuilt
from asbuilt.crs import geographic
from asbuilt.tables import FUSION_VALUES, JOINTS, Column

Plain = list[Any] | dict[str, list[Any]]

# Decimals that are kept. Metres to the millimetre, degrees to the centimetre; what a limit is compared with is
# kept finer than it is shown, so that no rounding can move it across its limit.
_DECIMALS: Mapping[str, int] = {"latitude": 7, "longitude": 7, "value": 9, "low": 9, "high": 9}
_METRES, _RECORDED = 3, 6

_JOINT_FIELDS = tuple(column for column in JOINTS.columns if column.name != "fused_at")  # fused_local says it too
_POSITION_COLUMNS = ("method", "line", "station", "offset_m", "radius95_m", "probability", "source")
_GAP_COLUMNS = (
    "gap_id", "line", "from_chainage_m", "to_chainage_m", "from_station", "to_station", "length_m", "from_joint",
    "to_joint", "missing_records", "missing_low", "missing_high", "unplaced_here", "kind", "evidence", "decision",
)  # fmt: skip
_MARK_COLUMNS = ("line", "chainage_m", "station", "rank")
_LIMIT_COLUMNS = ("check", "low", "high", "unit", "required", "source", "status")
_FINDING_COLUMNS = ("kind", "joints_n", "statement")
_SET_ASIDE_COLUMNS = ("source_file", "sheet", "source_row", "reason")


def map_data(as_built: AsBuilt) -> dict[str, Any]:
    """Return the record as plain lists and dicts for JSON. Positions are latitude and longitude, degrees."""
    tables, wkt = as_built.tables, as_built.crs_wkt
    joints, records = tables["joints"], tables["records"]
    return {
        "joints": _table(joints, (column.name for column in _JOINT_FIELDS)),
        "positions": _of_joints(_of_a_joint(tables["positions"]), joints, _POSITION_COLUMNS, points_in=wkt),
        "checks": _checks(tables["window_checks"], joints),
        "gaps": _table(tables["gaps"], _GAP_COLUMNS) | {"paths": _paths(tables["gaps"], wkt)},
        "marks": _table(_with_points(tables["chainage_marks"], wkt), (*_MARK_COLUMNS, "latitude", "longitude")),
        "lines": _lines(tables["alignment"], tables["alignment_vertices"], wkt),
        "findings": _table(tables["findings"], _FINDING_COLUMNS),
        "set_aside": _table(records[records["outstanding"].astype(bool)], _SET_ASIDE_COLUMNS),
        "title": {
            "crs": as_built.title.crs,
            "base_crs": as_built.title.base_crs,
            "station_length": as_built.title.station_length,
            "length_unit": {"name": as_built.title.length_unit.name, "metres": as_built.title.length_unit.metres},
        },
        "look": _look(),
        "fields": [{"column": c.name, "kind": c.kind, "title": c.title, "unit": c.unit} for c in _JOINT_FIELDS],
        "quantities": {_quantity(c): c.name for c in FUSION_VALUES},
    }


def _look() -> dict[str, Any]:
    fusion = {v: {"fill": k.fill, "line": k.line, "shape": k.shape} for v, k in look.FUSION.items()}
    return {"fusion": fusion, "worst_first": look.WORST_FIRST, "line": look.LINE, "gap": look.GAP}


def _quantity(column: Column) -> str:
    """Return the name that checks use: the column's without its unit."""
    return column.name.rsplit("_", 1)[0] if column.unit else column.name


def _table(frame: pd.DataFrame, names: Iterable[str]) -> dict[str, Any]:
    columns = {name: _column(frame[name]) for name in names}
    return {"rows": len(frame), "columns": {n: c for n, c in columns.items() if c is not None}}


def _column(values: pd.Series) -> Plain | None:
    """Return one column, or None where nothing is in it."""
    codes, words = pd.factorize(_plain(values))
    if (codes < 0).all():
        return None
    told = [_number(word) for word in words]
    if 4 * len(told) < len(codes):
        return {"words": told, "at": codes.tolist()}
    return [told[code] if code >= 0 else None for code in codes]


def _plain(values: pd.Series) -> pd.Series:
    """Return Python values, with None for every kind of nothing."""
    if values.dtype.kind == "f":
        default = _METRES if str(values.name).endswith("_m") or values.name in {"easting", "northing"} else _RECORDED
        values = values.where(np.isfinite(values)).round(_DECIMALS.get(str(values.name), default))
    if isinstance(values.dtype, pd.DatetimeTZDtype):
        values = values.dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    plain = values.astype(object).where(values.notna(), None)
    return plain.where(np.array([not isinstance(v, str) or bool(v.strip()) for v in plain], dtype=bool), None)


def _number(value: Any) -> Any:
    """Return a whole float as an integer: JSON has one kind of number, and it is shorter.

    >>> _number(630.0), _number(11.5), _number("630.0"), _number(True)
    (630, 11.5, '630.0', True)
    """
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _with_points(frame: pd.DataFrame, crs_wkt: str) -> pd.DataFrame:
    points = geographic(frame["geometry"].to_numpy(dtype=object), crs_wkt)
    return frame.assign(longitude=shapely.get_x(points), latitude=shapely.get_y(points))


def _of_a_joint(positions: pd.DataFrame) -> pd.DataFrame:
    """Leave out shots that name no joint: the GeoPackage has them, a card of a joint has no room for them."""
    return positions[positions["joint_id"] != ""]


def _of_joints(frame: pd.DataFrame, joints: pd.DataFrame, names: tuple[str, ...], *, points_in: str) -> dict[str, Any]:
    """Return rows that belong to joints, in the order of `joints`, and how many each joint has."""
    placed = _with_points(frame, points_in) if points_in else frame
    at = pd.Index(joints["joint_id"]).get_indexer(placed["joint_id"])
    if (at < 0).any():
        strangers = sorted(set(placed.loc[at < 0, "joint_id"]))
        raise KeyError(f"rows of joints that the table of joints does not have: {strangers[:5]}")
    told = _table(
        placed.iloc[np.argsort(at, kind="stable")], (*names, *(("latitude", "longitude") if points_in else ()))
    )
    counts = pd.Series(np.bincount(at, minlength=len(joints)), name="counts")
    return told | {"counts": _column(counts) or []}


def _checks(checks: pd.DataFrame, joints: pd.DataFrame) -> dict[str, Any]:
    """Return the checks with their limits told once: many joints share the same few."""
    limits = checks[list(_LIMIT_COLUMNS)]
    which = limits.groupby(list(_LIMIT_COLUMNS), dropna=False, sort=False, observed=True).ngroup()
    told = _of_joints(checks.assign(limit=which), joints, ("limit", "value", "verdict", "cause"), points_in="")
    return told | {"limits": _table(limits[~which.duplicated()], _LIMIT_COLUMNS)}


def _paths(frame: pd.DataFrame, crs_wkt: str) -> list[list[float]]:
    """Return each line as latitude, longitude, latitude, longitude ..."""
    lines = geographic(frame["geometry"].to_numpy(dtype=object), crs_wkt)
    return [shapely.get_coordinates(line)[:, ::-1].round(7).ravel().tolist() for line in lines]


def _lines(alignment: pd.DataFrame, vertices: pd.DataFrame, crs_wkt: str) -> list[dict[str, Any]]:
    paths = _paths(alignment, crs_wkt)
    at = {line: found["chainage_m"].round(3).tolist() for line, found in vertices.groupby("line")}
    return [
        {"line": line, "path": path, "chainage_m": at[line]}
        for line, path in zip(alignment["line"], paths, strict=True)
    ]
