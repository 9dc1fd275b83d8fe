"""Shapefile for programs that know nothing else. Its limits are met here: names of ten characters, texts of 254 bytes,
no times, no mixture of geometries. What each shortened name stands for is said in a table beside.
"""

import csv
from collections.abc import Iterable
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pyogrio
import pyproj

from asbuilt.as_built import AsBuilt
from asbuilt.publish.export_layers import Layer

NAMES = "names.csv"
_MOST_NAME, _MOST_TEXT = 10, 254  # bytes, by the format of dBASE III
_HEAD = ("file", "name", "our name", "heading", "unit", "kind of value", "meaning", "texts cut to 254 bytes")


def write_shapefile(layers: Iterable[Layer], as_built: AsBuilt, folder: Path) -> None:
    """Write each layer that has anything with a place, in the route's CRS, and the table of names."""
    crs, day = pyproj.CRS.from_wkt(as_built.crs_wkt), f"{as_built.title.as_of:%Y-%m-%d}"
    rows = [row for layer in layers for row in _write(layer, folder, crs, day)]
    with (folder / NAMES).open("w", encoding="utf-8-sig", newline="") as file:
        csv.writer(file).writerows([_HEAD, *rows])


def _write(layer: Layer, folder: Path, crs: pyproj.CRS, day: str) -> list[tuple[object, ...]]:
    short = short_names(layer.names.values())
    placed = np.array([shape is not None for shape in layer.geometry], dtype=bool)
    if not placed.any():
        return []
    columns: dict[str, pd.Series] = {}
    rows: list[tuple[object, ...]] = []
    for name, column in zip(short, layer.columns, strict=True):
        values = layer.frame.loc[placed, column.name]
        values, cut = _limited(_as_text(values, column.kind) if column.kind in ("time", "boolean", "text") else values)
        columns[name] = values.reset_index(drop=True)
        told = (column.name, column.heading, column.unit, column.kind, column.says, cut)
        rows.append((f"{layer.name}.shp", name, *told))
    frame = geopandas.GeoDataFrame(columns, geometry=geopandas.GeoSeries(layer.geometry[placed], crs=crs))
    pyogrio.write_dataframe(
        frame, folder / f"{layer.name}.shp", driver="ESRI Shapefile", encoding="UTF-8", use_arrow=True,
        geometry_type=layer.table.geometry, layer_options={"DBF_DATE_LAST_UPDATE": day},
    )  # fmt: skip
    return rows


def _as_text(values: pd.Series, kind: str) -> pd.Series:
    """Times as ISO 8601, true and false as yes and no: the format has no time, and readers differ on truth."""
    if kind == "boolean":
        return values.map({True: "yes", False: "no"}).astype(object).where(values.notna(), None)
    if kind == "time":
        return values.dt.strftime("%Y-%m-%dT%H:%M:%SZ").astype(object).where(values.notna(), None)
    return values.astype(object).where(values != "", None)


def _limited(values: pd.Series) -> tuple[pd.Series, int]:
    """Cut texts to what a field holds, at a whole character; return how many were."""
    if values.dtype != object:
        return values, 0
    raw = [None if text is None else str(text).encode() for text in values]
    cut = sum(text is not None and len(text) > _MOST_TEXT for text in raw)
    kept = [None if text is None else text[:_MOST_TEXT].decode(errors="ignore") for text in raw]
    return pd.Series(kept, index=values.index, dtype=object), cut


def short_names(names: Iterable[str]) -> list[str]:
    """Return names of at most ten bytes, unique whatever the case; numbers part what is alike.

    >>> short_names(["chainage_m", "fusion_verdict", "fusion_verdicts", "Fusion_ver"])
    ['chainage_m', 'fusion_ver', 'fusion_v_1', 'Fusion_v_2']
    """
    found: list[str] = []
    for name in names:
        asked = _at_most("".join(c if c.isalnum() or c == "_" else "_" for c in name), _MOST_NAME)
        taken, number, short = {f.casefold() for f in found}, 0, asked
        while short.casefold() in taken:
            number += 1
            short = f"{_at_most(asked, _MOST_NAME - len(str(number)) - 1)}_{number}"
        found.append(short)
    return found


def _at_most(text: str, size: int) -> str:
    return text.encode()[:size].decode(errors="ignore")
