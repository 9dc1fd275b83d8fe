"""README.txt of the hand-over: what each file is, in which frame, how to read it without us, and the cautions."""

import textwrap
from pathlib import Path

from asbuilt import tables
from asbuilt.as_built import AsBuilt
from asbuilt.cautions import CAUTIONS
from asbuilt.sentence import outstanding, summary

NAME = "README.txt"
FIRST_WORDS = "Hand-over of an installed polyethylene line, made by asbuilt"

_FILES = (
    ("joint_map.html", "interactive map: open it in any browser; one file, {network}"),
    ("asbuilt.gpkg", "OGC GeoPackage (an SQLite file): all layers and tables, for any GIS"),
    ("joint_log.xlsx", "joint log as a workbook: joints, gaps, source rows"),
    ("joint_log.csv", "joint log as text: UTF-8, commas; open the workbook where leading zeros matter"),
    ("joints.gpx", "placed joints and ends of gaps as waypoints in WGS 84, for phones and receivers"),
    ("SHA256SUMS", "checksums; check with: sha256sum -c SHA256SUMS"),
)


def write_readme(as_built: AsBuilt, path: Path) -> None:
    """Write the text, lines of at most 100 characters."""
    title = as_built.title
    lines = [FIRST_WORDS, "", f"{title.name}, revision {title.revision}", *_people(as_built), ""]
    for text in summary(as_built):
        lines += _wrapped(text)
    lines += ["", "FILES", *_files(as_built), "", "FRAME"]
    lines += _wrapped(f"All results are in {title.crs}. {title.wgs84}")
    lines += _wrapped(
        f"Chainage is a {title.length_kind} length; a station is {title.station_length}. Elevations are as recorded."
    )
    lines += _wrapped("Each transformation used, with its accuracy, stands in the table build_info.")
    lines += ["", "LAYERS AND TABLES OF asbuilt.gpkg"]
    for table in tables.ALL:
        lines += [f"  {table.name}", *_wrapped(table.says, indent="      ")]
    lines += ["", "FINDINGS THAT CONCERN MANY JOINTS", *(_all(as_built.statements) or ["  none"])]
    lines += ["", "OUTSTANDING", *(_all(tuple(outstanding(as_built))) or ["  nothing"])]
    lines += [
        "",
        "HOW THE FILES WERE READ",
        *(_all(as_built.notes) or ["  as route.toml says"]),
        "",
        "CAUTIONS",
        *_all(CAUTIONS),
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\r\n")


def _files(as_built: AsBuilt) -> list[str]:
    """Say what each file is; what was not written, because WGS 84 cannot be reached, is told under FRAME."""
    host = as_built.tiles.host if as_built.tiles else ""
    network = f"no network needed but for its background from {host}" if host else "no network needed"
    written = [pair for pair in _FILES if as_built.wgs84 or pair[0] != "joints.gpx"]
    return [line for name, says in written for line in _listed(name, says.format(network=network))]


def _listed(name: str, says: str) -> list[str]:
    return textwrap.wrap(says, 98, initial_indent=f"  {name:<16}", subsequent_indent=" " * 18)


def _people(as_built: AsBuilt) -> list[str]:
    title = as_built.title
    pairs = (("owner", title.owner), ("contractor", title.contractor), ("contract", title.contract))
    return ["; ".join(f"{name} {value}" for name, value in pairs if value)]


def _wrapped(text: str, *, indent: str = "  ") -> list[str]:
    return textwrap.wrap(text, 98, initial_indent=indent, subsequent_indent=indent, break_long_words=False)


def _all(texts: tuple[str, ...]) -> list[str]:
    return [line for text in texts for line in textwrap.wrap(text, 98, initial_indent="  - ", subsequent_indent="    ")]
