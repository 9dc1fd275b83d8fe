"""The GeoPackage: the contract's layers and tables, for any program that reads the open format.

Its traps are met here: times go in as UTC only, version 1.3 with the WKT extension opens without a warning in older
readers, the date of the last change is the as-of time so that equal input gives equal bytes.
"""

from datetime import UTC
from pathlib import Path

import geopandas
import pandas as pd
import pyogrio
import pyproj

from asbuilt import tables
from asbuilt.as_built import AsBuilt

NAME = "asbuilt.gpkg"
_DATASET = {"VERSION": "1.3", "CRS_WKT_EXTENSION": "YES"}


def write_geopackage(as_built: AsBuilt, path: Path) -> None:
    """Write all tables to a new file at `path`. Layers with a geometry come first, in the route's CRS."""
    crs = pyproj.CRS.from_wkt(as_built.crs_wkt)
    stamp = as_built.title.as_of.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": stamp})
    try:
        for table in sorted(tables.ALL, key=lambda t: not t.geometry):
            _write(as_built.tables[table.name], table, path, crs)
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def _write(frame: pd.DataFrame, table: tables.Table, path: Path, crs: pyproj.CRS) -> None:
    frame = _nullable(frame, table)
    how = {"layer": table.name, "driver": "GPKG", "append": False, "use_arrow": True}
    layer = {"DESCRIPTION": table.says, "IDENTIFIER": table.name}
    if table.geometry:
        geometry = geopandas.GeoSeries(frame["geometry"].to_numpy(object), crs=crs)
        geo = geopandas.GeoDataFrame(frame.drop(columns="geometry"), geometry=geometry)
        options = layer | {"SPATIAL_INDEX": "YES"}
        kind = {"geometry_type": table.geometry}
        pyogrio.write_dataframe(geo, path, dataset_options=_DATASET, layer_options=options, **kind, **how)
    else:
        pyogrio.write_dataframe(frame, path, dataset_options=_DATASET, layer_options=layer, **how)


def _nullable(frame: pd.DataFrame, table: tables.Table) -> pd.DataFrame:
    """Empty text is nothing in a database: it goes in as NULL. Times keep milliseconds, as the format has them."""
    out = frame.copy()
    for column in table.columns:
        if column.kind == "text":
            out[column.name] = out[column.name].astype(object).where(out[column.name] != "", None)
        if column.kind == "time":
            out[column.name] = out[column.name].dt.floor("ms").astype("datetime64[ms, UTC]")
    return out
