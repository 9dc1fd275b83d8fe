"""The GeoPackage: the contract's layers and tables, for any program that reads the open format.

Its traps are met here: times go in as UTC only, version 1.2 with the WKT extension opens without a warning in older
readers, the date of the last change is the as-of time so that equal input gives equal bytes. What the file says of
itself (dictionary, document, relations, styles) is added by the rooms `gpkg_*`.
"""

from datetime import UTC
from pathlib import Path

import geopandas
import pandas as pd
import pyogrio
import pyproj

from asbuilt import tables
from asbuilt.as_built import AsBuilt
from asbuilt.publish.gpkg_file import opened
from asbuilt.publish.gpkg_indexes import write_indexes
from asbuilt.publish.gpkg_metadata import write_metadata
from asbuilt.publish.gpkg_relations import write_photos, write_relations
from asbuilt.publish.gpkg_schema import write_schema
from asbuilt.publish.gpkg_styles import write_styles

NAME = "asbuilt.gpkg"
_DATASET = {"VERSION": "1.2", "CRS_WKT_EXTENSION": "YES"}


def write_geopackage(as_built: AsBuilt, path: Path) -> None:
    """Write all tables to a new file at `path`, layers with a geometry first, then what the file says of itself."""
    stamp = as_built.title.as_of.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")
    write_tables(as_built, path, stamp)
    with opened(path) as base:
        write_indexes(base)
        write_schema(base)
        write_metadata(base, as_built, stamp)
        write_relations(base, as_built.tables)
        write_photos(base, as_built.photos, as_built.tables["joints"], stamp)
        write_styles(base, stamp)


def write_tables(as_built: AsBuilt, path: Path, stamp: str) -> None:
    """Write the layers and tables alone, in the route's CRS; `stamp` stands for the time of the last change."""
    crs = pyproj.CRS.from_wkt(as_built.crs_wkt)
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
