"""What of the record travels in the page of the map: the shape of its one JSON document, and the check of it.

Columns of the hand-over keep the name, unit and meaning that `asbuilt.tables` gives them. What only the page has is
stated here. A page carries what a reader asks a map; the raw texts of the sources stay in the joint log and in the
GeoPackage.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from asbuilt import tables
from asbuilt.tables import FUSION_VALUES, TRACED, Column, Table


def _chosen(table: Table, names: Iterable[str], *more: Column) -> Table:
    """Return some columns of a table of the hand-over, in its own order, and more."""
    wanted = set(names)
    kept = tuple(column for column in table.columns if column.name in wanted)
    return Table(table.name, table.says, (*kept, *more))


def _degrees(name: str, title: str, says: str) -> Column:
    return Column(name, "real", title, says, "°")


_PLACE = (
    _degrees("latitude", "Latitude", "in the base geographic CRS of the route's CRS"),
    _degrees("longitude", "Longitude", "in the base geographic CRS of the route's CRS"),
)

JOINTS = _chosen(
    tables.JOINTS,
    (
        "joint_id", "joint", "kind", "in_line", "line", "chainage_m", "station", "offset_m", "chainage_sd_m",
        "offset_sd_m", "radius95_m", "placed_by", "leg_probability", "candidates_n", "margin_m", "beyond_m", "string",
        "operator", "machine", "fusion_verdict", "position_verdict", "recorded_n", "procedure_n",
        "number_open", "reasons", "decision", "closed", "latitude", "longitude", "easting", "northing", "elevation_m",
        "source_file", "source_sheet", "source_row", "procedure", "method", "pipe_a", "pipe_b", "length_added_m",
        "order", "material", "replaces", "fix", "elevation_of", "visual", "photo", "trace", "remarks",
        "pressure_kind", "interfacial_pressure_mpa",
        *(column.name for column in (*FUSION_VALUES, *TRACED)),
    ),
    Column("fused_minute", "integer", "Fused at", "clock of the route, minutes since 1970-01-01 on that clock", "min"),
    Column("fused_zone", "text", "Zone", "of that clock, as +11:00"),
    Column("crew", "text", "Crew", "as progress names it: after its record files"),
    _degrees("fix_latitude", "Latitude of the fix", "where the machine stood, in the same frame"),
    _degrees("fix_longitude", "Longitude of the fix", "where the machine stood, in the same frame"),
    Column("fix_radius95_m", "real", "95 % radius of the fix", "by its own accuracy", "m"),
    Column("depths", "text", "Depth and cover", "as far as somebody measured: a text a line, as asbuilt.depths has it"),
)  # fmt: skip
OPINIONS = _chosen(
    tables.POSITIONS, ("method", "line", "station", "offset_m", "radius95_m", "probability", "source"), *_PLACE
)
GAPS = _chosen(
    tables.GAPS,
    (
        "gap_id", "line", "from_chainage_m", "to_chainage_m", "from_station", "to_station", "length_m", "from_joint",
        "to_joint", "missing_records", "missing_low", "missing_high", "unplaced_here", "kind", "joints_within",
        "evidence", "decision", "closed",
    ),
)  # fmt: skip
MARKS = _chosen(tables.CHAINAGE_MARKS, ("line", "chainage_m", "station", "rank"), *_PLACE)
CHECKS = _chosen(
    tables.WINDOW_CHECKS,
    ("value", "verdict", "cause"),
    Column("limit", "integer", "Limit", "row of the table of limits"),
)
LIMITS = _chosen(tables.WINDOW_CHECKS, ("check", "low", "high", "unit", "required", "source", "status"))
STRINGS = _chosen(
    tables.STRINGS,
    (
        "string", "line", "from_chainage_m", "to_chainage_m", "from_station", "to_station", "length_m", "extent_from",
        "method", "joints_n", "placed_n", "tie_in_back", "tie_in_ahead",
    ),
)  # fmt: skip
TEST_SECTIONS = _chosen(
    tables.TEST_SECTIONS,
    (
        "section", "line", "from_chainage_m", "to_chainage_m", "from_station", "to_station", "length_m", "tested_on",
        "result", "reference",
    ),
)  # fmt: skip
FINDINGS = _chosen(
    tables.FINDINGS,
    ("finding_id", "kind", "joints_n", "statement", "proposal", "joints", "decision", "closed"),
)
SET_ASIDE = _chosen(tables.RECORDS, ("source_file", "sheet", "source_row", "reason", "decision", "closed"))

# Parts of the document that are tables; those of the second row have one part a joint, counted in `counts`.
TABLES: Mapping[str, Table] = {
    "joints": JOINTS, "gaps": GAPS, "marks": MARKS, "strings": STRINGS, "test_sections": TEST_SECTIONS,
    "findings": FINDINGS, "set_aside": SET_ASIDE, "limits": LIMITS,
    "checks": CHECKS, "opinions": OPINIONS,
}  # fmt: skip
OF_JOINTS = ("checks", "opinions")

# Parts that are no tables, with what they are.
OTHERS: Mapping[str, str] = {
    "lines": "one object a line: its name, `path` (latitude and longitude in turn) and `chainage_m` of each vertex",
    "gap_paths": "one path a gap, as in `lines`",
    "title": "name, revision, frames, unit of lengths, station length, WGS 84 in a sentence, a short caution, tiles",
    "shift": "from the base frame to WGS 84: origin, latitude and longitude (a, b, c) of asbuilt.receivers; or null",
    "context": "one object a layer of somebody else's: title and shapes, each with kind, label and paths as in `lines`",
    "look": "fill, line and shape of each verdict, orders of verdicts, those always counted, colours of line and gap",
    "quantities": "name of a check -> column of the table of joints that holds the same quantity",
    "fields": "title and unit of each column of `joints`",
}


def checked(document: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return the document if it has the stated shape. Raises ValueError with every fault: one of ours, not of input."""
    faults = [f"part {name!r} is missing" for name in (*TABLES, *OTHERS) if name not in document]
    faults += [f"part {name!r} is not stated" for name in document if name not in TABLES and name not in OTHERS]
    for name, table in TABLES.items():
        faults += _faults(name, table, document.get(name, {"rows": 0, "columns": {}}))
    joints = document["joints"]["rows"] if not faults else 0
    for name in OF_JOINTS if not faults else ():
        of = document[name]["counts"]
        if length(of) != joints or sum(plain(of)) != document[name]["rows"]:
            faults.append(f"{name}: the counts are not those of {joints} joints and {document[name]['rows']} rows")
    if faults:
        raise ValueError("the document of the map: " + "; ".join(faults))
    return document


def _faults(name: str, table: Table, part: Mapping[str, Any]) -> list[str]:
    strange = [f"{name}.{column} is not stated" for column in part["columns"] if column not in table.names]
    short = [
        f"{name}.{column} has {length(values)} values in {part['rows']} rows"
        for column, values in part["columns"].items()
        if "all" not in values and length(values) != part["rows"]
    ]
    return strange + short


def length(column: Any) -> int:
    """Return how many values a packed column holds; 0 where it is one value for all rows."""
    if isinstance(column, Mapping):
        return len(column.get("at", column.get("steps", ())))
    return len(column)


def plain(column: Any) -> list[Any]:
    """Return the values of a packed column as the page reads them; `all` has no length of its own and is refused.

    >>> plain({"words": ["a", "b"], "at": [1, -1, 0]}), plain({"unit": 0.5, "steps": [2, 1, None, -1]})
    (['b', None, 'a'], [1.0, 1.5, None, 1.0])
    """
    if not isinstance(column, Mapping):
        return list(column)
    if "at" in column:
        return [None if code < 0 else column["words"][code] for code in column["at"]]
    values, last = [], 0
    for step in column["steps"]:
        last += step or 0
        values.append(None if step is None else last * column["unit"])
    return values
