"""The record as the page of the map carries it: one document of the shape that `asbuilt.map_tables` states."""

from collections.abc import Mapping
from pathlib import PurePosixPath
from typing import Any

import numpy as np
import pandas as pd
import shapely

from asbuilt import look, map_tables
from asbuilt.as_built import AsBuilt, Context
from asbuilt.cautions import IN_SHORT
from asbuilt.crs import geographic
from asbuilt.depths import depth_texts
from asbuilt.map_tables import CHECKS, GAPS, JOINTS, LIMITS, MARKS, OPINIONS
from asbuilt.publish.map_columns import packed
from asbuilt.tables import FUSION_VALUES, Column, Table

# Two opinions say nothing that the joint does not say: what was adjusted is the joint, and a fix is drawn itself.
_SAID_BY_THE_JOINT = ("fix", "projection", "adjusted")


def map_data(as_built: AsBuilt) -> dict[str, Any]:
    """Return the document as plain lists and dicts for JSON. Positions are latitude and longitude, degrees, in the
    base frame of the route's CRS."""
    tables, wkt = as_built.tables, as_built.crs_wkt
    joints, records, checks = tables["joints"], tables["records"], _with_limits(tables["window_checks"])
    opinions = tables["positions"][tables["positions"]["joint_id"] != ""]  # a shot of no joint: in the GeoPackage
    document = {
        "joints": _table(_joints(joints, opinions, checks, wkt).assign(**_told(as_built, opinions)), JOINTS),
        "opinions": _of_joints(opinions[~opinions["method"].isin(_SAID_BY_THE_JOINT)], joints, OPINIONS, crs_wkt=wkt),
        "checks": _of_joints(checks, joints, CHECKS),
        "limits": _table(checks[~checks["limit"].duplicated()], LIMITS),
        "gaps": _table(tables["gaps"], GAPS),
        "gap_paths": _paths(tables["gaps"], wkt),
        "marks": _table(_with_points(tables["chainage_marks"], wkt), MARKS),
        "lines": _lines(tables["alignment"], tables["alignment_vertices"], wkt),
        **{n: _table(tables[n], map_tables.TABLES[n]) for n in ("strings", "test_sections", "findings")},
        "set_aside": _table(records[records["outstanding"].astype(bool)], map_tables.SET_ASIDE),
        "title": _title(as_built),
        "shift": _shift(as_built),
        "context": [_context(layer, wkt) for layer in as_built.context],
        "look": _look(),
        "quantities": {_quantity(c): c.name for c in FUSION_VALUES},
        "fields": [{"column": c.name, "kind": c.kind, "title": c.title, "unit": c.unit} for c in JOINTS.columns],
    }
    return dict(map_tables.checked(document))


def _title(as_built: AsBuilt) -> dict[str, Any]:
    title = as_built.title
    return {
        "name": title.name,
        "revision": title.revision,
        "crs": title.crs,
        "base_crs": title.base_crs,
        "station_length": title.station_length,
        "length_unit": {"name": title.length_unit.name, "metres": title.length_unit.metres},
        "wgs84": title.wgs84,
        "caution": IN_SHORT,
        "tiles": {"url": as_built.tiles.url, "max_zoom": as_built.tiles.max_zoom} if as_built.tiles else None,
    }


def _shift(as_built: AsBuilt) -> dict[str, Any] | None:
    shift = as_built.wgs84
    return {"origin": shift.origin, "latitude": shift.latitude, "longitude": shift.longitude} if shift else None


def _look() -> dict[str, Any]:
    fusion = {v: {"fill": k.fill, "line": k.line, "shape": k.shape} for v, k in look.FUSION.items()}
    return {
        "fusion": fusion,
        "worst_first": look.WORST_FIRST,
        "in_order": look.IN_ORDER,
        "always": look.IN_ORDER[:4],
        "line": look.LINE,
        "gap": look.GAP,
    }


def _quantity(column: Column) -> str:
    """Return the name that checks use: the column's without its unit."""
    return column.name.rsplit("_", 1)[0] if column.unit else column.name


def _table(frame: pd.DataFrame, table: Table) -> dict[str, Any]:
    columns = {name: packed(frame[name]) for name in table.names}
    return {"rows": len(frame), "columns": {n: c for n, c in columns.items() if c is not None}}


# ---- joints ----------------------------------------------------------------------------------------------------------


def _joints(joints: pd.DataFrame, opinions: pd.DataFrame, checks: pd.DataFrame, crs_wkt: str) -> pd.DataFrame:
    """Return the joints with their own fix and their time, and without what a check says already."""
    out = joints.assign(**_times(joints["fused_local"]), **_fixes(joints, opinions, crs_wkt))
    out["joint"] = out["joint"].where(out["joint"] != out["joint_id"], "")
    judged = checks.loc[checks["value"].notna(), ["joint_id", "check"]].assign(said=True)
    said = judged.drop_duplicates().pivot(index="joint_id", columns="check", values="said")
    for column in FUSION_VALUES:
        if (check := _quantity(column)) in said:
            out[column.name] = out[column.name].mask(joints["joint_id"].map(said[check]).notna().to_numpy())
    return out


def _times(local: pd.Series) -> dict[str, Any]:
    """Return the minute on the clock of the route and the zone of that clock; nothing where the time is not known."""
    clock = pd.to_datetime(local.str.slice(0, 16).where(local != ""), format="%Y-%m-%dT%H:%M")
    minute = (clock - pd.Timestamp(0)) // pd.Timedelta(minutes=1)
    return {"fused_minute": minute.astype("Int64"), "fused_zone": local.str.extract(r"([+-]\d\d:?\d\d|Z)$")[0]}


def _fixes(joints: pd.DataFrame, opinions: pd.DataFrame, crs_wkt: str) -> dict[str, np.ndarray]:
    fixes = _with_points(opinions[opinions["method"] == "fix"].drop_duplicates("joint_id"), crs_wkt)
    of = fixes.set_index("joint_id")[["latitude", "longitude", "radius95_m"]].reindex(joints["joint_id"])
    return {f"fix_{name}": of[name].to_numpy(float) for name in of}


def _told(as_built: AsBuilt, opinions: pd.DataFrame) -> dict[str, pd.Series]:
    """Return the columns that need more than the tables: the crew of each joint, and how deep it lay when measured."""
    title, joints = as_built.title, as_built.tables["joints"]
    found: dict[str, list[str]] = {}
    for name, text in depth_texts(opinions, joints, unit=title.length_unit, zone=title.as_of.tzinfo):
        found.setdefault(name, []).append(text)
    depths = {name: "\n".join(texts) for name, texts in found.items()}
    return {"crew": _crews(as_built), "depths": joints["joint_id"].map(lambda name: depths.get(name, ""))}


def _crews(as_built: AsBuilt) -> pd.Series:
    """Return the crew of each joint, which is named after its record files."""
    joints, named = as_built.tables["joints"], as_built.schedule
    return named.crews(joints) if named else joints["source_file"].map(lambda file: PurePosixPath(file).stem)


def _with_limits(checks: pd.DataFrame) -> pd.DataFrame:
    """Number the limits: many joints share the same few, which are told once."""
    return checks.assign(limit=checks.groupby(list(LIMITS.names), dropna=False, sort=False, observed=True).ngroup())


def _of_joints(frame: pd.DataFrame, joints: pd.DataFrame, table: Table, crs_wkt: str = "") -> dict[str, Any]:
    """Return rows that belong to joints, in the order of `joints`, and how many each joint has."""
    placed = _with_points(frame, crs_wkt) if crs_wkt else frame
    at = pd.Index(joints["joint_id"]).get_indexer(placed["joint_id"])
    if (at < 0).any():
        strangers = sorted(set(placed.loc[at < 0, "joint_id"]))
        raise KeyError(f"rows of joints that the table of joints does not have: {strangers[:5]}")
    told = _table(placed.iloc[np.argsort(at, kind="stable")], table)
    return told | {"counts": np.bincount(at, minlength=len(joints)).tolist()}


# ---- lines -----------------------------------------------------------------------------------------------------------


def _with_points(frame: pd.DataFrame, crs_wkt: str) -> pd.DataFrame:
    points = geographic(frame["geometry"].to_numpy(dtype=object), crs_wkt)
    return frame.assign(longitude=shapely.get_x(points), latitude=shapely.get_y(points))


def _paths(frame: pd.DataFrame, crs_wkt: str) -> list[list[float]]:
    """Return each line as latitude, longitude, latitude, longitude ..."""
    lines = geographic(frame["geometry"].to_numpy(dtype=object), crs_wkt)
    return [shapely.get_coordinates(line)[:, ::-1].round(7).ravel().tolist() for line in lines]


def _lines(alignment: pd.DataFrame, vertices: pd.DataFrame, crs_wkt: str) -> list[dict[str, Any]]:
    paths = _paths(alignment, crs_wkt)
    at: Mapping[str, list[float]] = {
        str(line): found["chainage_m"].round(3).tolist() for line, found in vertices.groupby("line")
    }
    return [
        {"line": line, "path": path, "chainage_m": at[line]}
        for line, path in zip(alignment["line"], paths, strict=True)
    ]


# ---- what lies behind ------------------------------------------------------------------------------------------------

_KINDS = {"Point": "point", "LineString": "line", "LinearRing": "line", "Polygon": "area"}


def _context(layer: Context, crs_wkt: str) -> dict[str, Any]:
    shapes = [
        {"kind": _KINDS[shape.geom_type], "label": label, "paths": _outlines(shape)}
        for shape, label in zip(geographic(layer.geometry, crs_wkt), layer.label, strict=True)
    ]
    return {"title": layer.title, "shapes": shapes}


def _outlines(shape: Any) -> list[list[float]]:
    """Return the paths of one shape to a decimetre: what lies behind is there to be recognised, not measured."""
    parts = [shape.exterior, *shape.interiors] if shape.geom_type == "Polygon" else [shape]
    return [shapely.get_coordinates(part)[:, ::-1].round(6).ravel().tolist() for part in parts]
