"""The further files that an owner asked for, in a folder of their own, with a text that says what they are."""

import textwrap
from collections.abc import Iterator
from pathlib import Path

from asbuilt.as_built import AsBuilt
from asbuilt.cautions import CAUTIONS
from asbuilt.publish.export_dxf import write_dxf
from asbuilt.publish.export_geojson import write_geojson
from asbuilt.publish.export_kml import write_kml
from asbuilt.publish.export_layers import FOLDER, layers, left_out
from asbuilt.publish.export_shapefile import write_shapefile
from asbuilt.publish.in_wgs84 import way_to_wgs84
from asbuilt.sentence import several

NAME = FOLDER
TEXT = "README.txt"
_WRITERS = (
    ("shapefile", write_shapefile),
    ("geojson", write_geojson),
    ("kml", write_kml),
    ("dxf", write_dxf),
)
_IN_WGS84 = ("geojson", "kml")


def write_exports(as_built: AsBuilt, folder: Path) -> None:
    """Make `folder` and write what is asked for into it. What cannot be written is told there, with the reason."""
    folder.mkdir()
    of = layers(as_built)
    for name, write in _WRITERS:
        if getattr(as_built.exports, name) and (as_built.wgs84 or name not in _IN_WGS84):
            write(of, as_built, folder)
    lines = [line for text in _told(as_built, folder) for line in _wrapped(text)]
    (folder / TEXT).write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\r\n")


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, 98, subsequent_indent="  ", break_long_words=False) or [""]


def _told(as_built: AsBuilt, folder: Path) -> Iterator[str]:
    title, asked = as_built.title, as_built.exports
    yield f"Exports of {title.name}, revision {title.revision}, as of {title.as_of.isoformat(' ', 'minutes')}"
    yield "The hand-over itself is in the folder above; where anything differs, asbuilt.gpkg there is the record."
    yield ""
    yield from _formats(as_built, folder)
    yield ""
    if asked.names:
        named = ", ".join(asked.names)
        yield f"Names and order of the columns are the owner's in: {named}. Columns without one are left out."
    yield from _absent(as_built)
    yield ""
    yield from (f"- {text}" for text in CAUTIONS)


def _formats(as_built: AsBuilt, folder: Path) -> Iterator[str]:
    asked, title = as_built.exports, as_built.title
    there = ", ".join(sorted(path.name for path in folder.iterdir()))
    yield f"Files: {there or 'none'}"
    if asked.shapefile:
        yield (
            f"Shapefile: in {title.crs} (.prj), texts in UTF-8 (.cpg). names.csv says what each short name stands for,"
            " and where texts were cut. Times are text in UTC, ISO 8601; yes and no are text. Joints without a place"
            " are in no Shapefile."
        )
    if asked.geojson or asked.kml:
        yield (
            f"GeoJSON (RFC 7946) and KML (OGC 2.3) are in {way_to_wgs84(as_built)}."
            if as_built.wgs84
            else f"GeoJSON and KML were not written, for they know WGS 84 alone. {title.wgs84}"
        )
    if asked.dxf:
        yield (
            f"DXF (release 2010): easting and northing in {title.crs}, in its unit, no heights; one layer for each"
            " fusion verdict. Joints without a place are not in it."
        )


def _absent(as_built: AsBuilt) -> Iterator[str]:
    out, unplaced = left_out(as_built)
    if out:
        yield f"Not in the line, therefore in no export ({several(len(out), 'joint')}): {', '.join(out)}"
    yield f"Without a place ({several(len(unplaced), 'joint')}): {', '.join(unplaced) or 'none'}"
