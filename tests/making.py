"""Tiny routes for tests, written where the test says. Everything in them is invented.

The line runs 1000 m due east from (500000, 5250000) in EPSG:7855. `make_route` writes a route that builds; a test
changes what it is about: `make_route(tmp_path, records="...", toml_changes={"records.crs": "EPSG:7844"})`.
"""

import json
import warnings
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

import geopandas as gpd
import xlsxwriter

from asbuilt.read.alignments import Designs, read_alignments
from asbuilt.read.positions import Target
from asbuilt.read.records import Readings, read
from asbuilt.settings import Settings, load

E0, N0 = 500000.0, 5250000.0
LINE = f"easting,northing\n{E0:.0f},{N0:.0f}\n{E0 + 1000:.0f},{N0:.0f}\n"
HEADING = ("Joint", "Finished", "East", "North", "Plate (°C)")
RECORDS = "\n".join(
    [",".join(HEADING), *(f"J{i},2026-03-0{i} 10:00,{E0 + 12 * i:.0f},{N0:.0f},215" for i in (1, 2, 3)), ""]
)
COLUMNS = {"joint": "Joint", "time": "Finished", "easting": "East", "northing": "North"}
COLUMNS |= {"heater_temperature": "Plate (°C)"}
TABLES: Mapping[str, Mapping[str, Any]] = {
    "route": {"name": "Invented line", "as_of": date(2026, 3, 20), "crs": "EPSG:7855", "timezone": "Australia/Hobart"},
    "alignment": {"line": "main", "file": "design/line.csv"},
    "records": {"files": ["records/a.csv"], "crs": "EPSG:7855", "accuracy": "95%", "default_accuracy": "1 m"},
    "records.columns": COLUMNS,
    "records.corrections": {},
    "pipe": {"outside_diameter": "630 mm", "wall": "57.2 mm", "stick": "12 m"},
    "window": {"procedure": "ISO 21307 single low pressure", "required": ["heater_temperature"]},
    "window.limits": {},
    "window.position": {"offset": "2 m"},
}
_LISTS = ("alignment", "records")


def make_route(
    folder: Path,
    *,
    records: str | bytes | None = RECORDS,
    name: str = "records/a.csv",
    line: str | None = LINE,
    toml_changes: Mapping[str, Any] | None = None,
    more: str = "",
) -> Path:
    """Write a route into `folder` and return it.

    `records` goes into the file `name` (None: the test writes it itself), `line` into design/line.csv (None: as
    before). `toml_changes` maps "table.key" to a value, or to None to leave the key out; a key "table" replaces the
    whole table by a mapping, or drops it. `more` is TOML to stand at the end, such as a second [[records]].
    """
    changes = {} if name == "records/a.csv" else {"records.files": [name]}
    for place, content in ((name, records), ("design/line.csv", line)):
        if content is not None:
            path = folder / place
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content if isinstance(content, bytes) else content.encode())
    text = route_toml({**changes, **(toml_changes or {})})
    (folder / "route.toml").write_text(f"{text}\n{more}", encoding="utf-8")
    return folder


def route_toml(changes: Mapping[str, Any]) -> str:
    """Return the text of route.toml with the changes of `make_route`."""
    tables: dict[str, dict[str, Any] | None] = {table: dict(keys) for table, keys in TABLES.items()}
    for place, value in changes.items():
        table, _, key = place.rpartition(".")
        if place in tables:
            tables[place] = value
        else:
            tables[table] = (tables.get(table) or {}) | {key: value}
    return "\n".join(_table(name, keys) for name, keys in tables.items() if keys is not None)


def _table(name: str, keys: Mapping[str, Any]) -> str:
    head = f"[[{name}]]" if name in _LISTS else f"[{name}]"
    return "\n".join([head, *(f"{_key(k)} = {_toml(v)}" for k, v in keys.items() if v is not None), ""])


def _key(key: str) -> str:
    return key if key.replace("_", "").isalnum() and key.isascii() else json.dumps(key)


def _toml(value: Any) -> str:
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(k)} = {_toml(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return json.dumps(value, ensure_ascii=False)


def csv_of(*rows: str, heading: str = ",".join(HEADING)) -> str:
    """Return a record file: the heading (that of RECORDS) and the rows."""
    return "\n".join([heading, *rows, ""])


def make_workbook(
    path: Path, sheets: Mapping[str, Iterable[Sequence[Any]]], *, merged: Mapping[str, Iterable[str]] | None = None
) -> Path:
    """Write a workbook: rows of cells by sheet (dates as true dates), and the ranges merged in each sheet."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with xlsxwriter.Workbook(path, {"nan_inf_to_errors": True, "strings_to_numbers": False}) as book:
        form = {
            kind: book.add_format({"num_format": shown})
            for kind, shown in ((datetime, "yyyy-mm-dd hh:mm"), (date, "yyyy-mm-dd"), (time, "hh:mm"))
        }
        for name, rows in sheets.items():
            sheet = book.add_worksheet(name)
            for place in (merged or {}).get(name, ()):
                sheet.merge_range(place, "")
            for i, row in enumerate(rows):
                for j, cell in enumerate(row):
                    if cell is not None:
                        sheet.write(i, j, cell, form.get(type(cell)))
    return path


def make_layer(path: Path, columns: Mapping[str, Any], geometry: Sequence[Any], *, crs: str | None, **how: Any) -> Path:
    """Write a layer of features by the ending of `path`."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the writer: a test asks for odd files
        gpd.GeoDataFrame(dict(columns), geometry=list(geometry), crs=crs).to_file(path, engine="pyogrio", **how)
    return path


def designs_of(folder: Path) -> Designs:
    """Read the alignments of the route in `folder`."""
    return read_alignments(load(folder))


def read_route(folder: Path) -> Readings:
    """Read settings, alignments and records of the route in `folder`, as `asbuilt.build` does."""
    settings: Settings = load(folder)
    designs = read_alignments(settings)
    return read(settings, Target(designs.frame, designs.area))
