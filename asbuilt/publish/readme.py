"""README.txt of the hand-over: what each file is, in which frame, how to read it without us, and the cautions."""

import textwrap
from pathlib import Path

from asbuilt import tables
from asbuilt.as_built import AsBuilt
from asbuilt.cautions import CAUTIONS
from asbuilt.publish.readme_words import AGAIN, FILES, REDACTED_AGAIN, File
from asbuilt.sentence import decisions, outstanding, summary

NAME = "README.txt"
FIRST_WORDS = "Hand-over of an installed polyethylene line, made by asbuilt"


def write_readme(as_built: AsBuilt, path: Path) -> None:
    """Write the text, lines of at most 100 characters."""
    title = as_built.title
    lines = [FIRST_WORDS, "", f"{title.name}, revision {title.revision}", *_people(as_built), ""]
    for text in summary(as_built):
        lines += _wrapped(text)
    lines += ["", "FILES", *_files(as_built), *_reading(as_built), "", "FRAME"]
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
    lines += ["", "DECISIONS", *(_all(tuple(decisions(as_built))) or ["  none"])]
    lines += [
        "",
        "HOW THE FILES WERE READ",
        *(_all(as_built.notes) or ["  as route.toml says"]),
        "",
        "CAUTIONS",
        *_all(CAUTIONS),
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\r\n")


def files_of(as_built: AsBuilt) -> tuple[File, ...]:
    """Return the files that the hand-over has. Why one was not written, because WGS 84 cannot be reached, stands under
    FRAME; on coarse places no sheet is drawn at a true scale.
    """
    absent = {
        "joints.gpx": as_built.wgs84 is None,
        "exports/README.txt": not as_built.exports.any,
        "alignment_sheets.pdf": as_built.is_coarse,
    }
    return tuple(file for file in FILES if not absent.get(file.name, False))


def _files(as_built: AsBuilt) -> list[str]:
    """Say what each file is."""
    host = as_built.tiles.host if as_built.tiles else ""
    network = f"no network needed but for its background from {host}" if host else "no network needed"
    return [line for f in files_of(as_built) for line in _listed(f.name, f.says.format(network=network))]


def _reading(as_built: AsBuilt) -> list[str]:
    """Say how each file is read without this tool, and how all of it is made again."""
    how = [f"{file.name}: {file.how}" for file in files_of(as_built) if file.how]
    again = REDACTED_AGAIN if as_built.redaction else AGAIN
    return ["", "HOW TO READ EACH WITHOUT THIS TOOL", *_all(tuple(how)), "", "HOW TO MAKE IT AGAIN", *_all(again)]


def _listed(name: str, says: str) -> list[str]:
    return textwrap.wrap(says, 98, initial_indent=f"  {name:<28}", subsequent_indent=" " * 30)


def _people(as_built: AsBuilt) -> list[str]:
    title = as_built.title
    pairs = (("owner", title.owner), ("contractor", title.contractor), ("contract", title.contract))
    return ["; ".join(f"{name} {value}" for name, value in pairs if value)]


def _wrapped(text: str, *, indent: str = "  ") -> list[str]:
    return textwrap.wrap(text, 98, initial_indent=indent, subsequent_indent=indent, break_long_words=False)


def _all(texts: tuple[str, ...]) -> list[str]:
    return [line for text in texts for line in textwrap.wrap(text, 98, initial_indent="  - ", subsequent_indent="    ")]
