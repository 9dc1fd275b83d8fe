"""What the file as a whole is: one document inside it, so that it explains itself without the folder it came in.

It is JSON in the terms of Dublin Core, which the metadata extension of OGC 12-128 names among its standards and which
requires no element: a record in the terms of ISO 19115 would need some (a contact, a lineage in its
own codes) that a route does not state and that nobody should make up. What Dublin Core has no term for stands under
`record`, as the table build_info has it.
"""

import json
import sqlite3
from collections.abc import Mapping
from typing import Any

import pyproj

from asbuilt import tables
from asbuilt.as_built import AsBuilt
from asbuilt.cautions import CAUTIONS
from asbuilt.publish.gpkg_file import METADATA, add_table, say_extension

_TERMS = "http://purl.org/dc/terms/"
_TERMED = ("input", "statement")  # topics of build_info that stand under a term of Dublin Core
_DOCUMENTS = """CREATE TABLE gpkg_metadata (
  id INTEGER CONSTRAINT m_pk PRIMARY KEY ASC NOT NULL, md_scope TEXT NOT NULL DEFAULT 'dataset',
  md_standard_uri TEXT NOT NULL, mime_type TEXT NOT NULL DEFAULT 'text/xml', metadata TEXT NOT NULL DEFAULT '')"""
_REFERENCES = """CREATE TABLE gpkg_metadata_reference (
  reference_scope TEXT NOT NULL, table_name TEXT, column_name TEXT, row_id_value INTEGER,
  timestamp DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')), md_file_id INTEGER NOT NULL,
  md_parent_id INTEGER,
  CONSTRAINT crmr_mfi_fk FOREIGN KEY (md_file_id) REFERENCES gpkg_metadata(id),
  CONSTRAINT crmr_mpi_fk FOREIGN KEY (md_parent_id) REFERENCES gpkg_metadata(id))"""


def write_metadata(base: sqlite3.Connection, as_built: AsBuilt, stamp: str) -> None:
    """Put the document into the file, for the whole of it, with the as-of time `stamp` as its own."""
    text = json.dumps(document(as_built), ensure_ascii=False, indent=1)
    add_table(base, _DOCUMENTS, [(1, "dataset", _TERMS, "application/json", text)])
    add_table(base, _REFERENCES, [("geopackage", None, None, None, stamp, 1, None)])
    say_extension(base, "gpkg_metadata", METADATA, ("gpkg_metadata", "gpkg_metadata_reference"))


def document(as_built: AsBuilt) -> Mapping[str, Any]:
    """Return the document: what, when, in which frame, from which inputs, with which cautions."""
    title, crs = as_built.title, pyproj.CRS.from_wkt(as_built.crs_wkt)
    info = as_built.tables["build_info"]
    groups = info.groupby("topic", sort=False)
    by_topic = {str(topic): dict(zip(rows["name"], rows["value"], strict=True)) for topic, rows in groups}
    return {
        "@context": {"@vocab": _TERMS, "record": None},
        "title": f"{title.name}: installed line, revision {title.revision}",
        "type": "Dataset",
        "format": "application/geopackage+sqlite3",
        "date": title.as_of.isoformat(),
        "description": f"Fusion joints of a polyethylene line with place and verdicts, as of {title.as_of:%Y-%m-%d}."
        " Computed, not surveyed, unless placed_by says survey.",
        "conformsTo": ["http://www.geopackage.org/spec121/", *_register(crs)],
        "source": [f"{name} ({said})" for name, said in by_topic.get("input", {}).items()],
        "provenance": [*as_built.statements, *as_built.notes],
        "accessRights": CAUTIONS[-1],
        "tableOfContents": {table.name: table.says for table in tables.ALL},
        "record": {"units": _units(as_built, crs), **{k: v for k, v in by_topic.items() if k not in _TERMED}},
    }


def _register(crs: pyproj.CRS) -> list[str]:
    """Return the address of the CRS in OGC's register; a CRS of one's own has none, and stands in `record` as WKT.

    >>> _register(pyproj.CRS.from_epsg(7855)), _register(pyproj.CRS.from_proj4("+proj=tmerc +ellps=GRS80"))
    (['http://www.opengis.net/def/crs/EPSG/0/7855'], [])
    """
    code = crs.to_authority(min_confidence=100)
    return [f"http://www.opengis.net/def/crs/{code[0]}/0/{code[1]}"] if code else []


def _units(as_built: AsBuilt, crs: pyproj.CRS) -> Mapping[str, str]:
    datum = crs.datum.name if crs.datum else "not stated"
    return {
        "lengths": "in the unit that ends the name of the column (_m metres, _mm millimetres), of the kind length_kind",
        "length kind": as_built.title.length_kind,
        "easting and northing": f"{crs.axis_info[0].unit_name}, in the frame working",
        "times": "UTC; those that end in _local are on the clock of the route",
        "datum": datum,
        "wkt": crs.to_wkt(),
    }
