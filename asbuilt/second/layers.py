"""The tables of a GeoPackage, read back into the shape that `asbuilt.tables` states.

The file is looked at as an SQLite file before GDAL opens it: a view where a table should be runs its own words on
whoever reads it, a column may hold anything whatever it says of itself, and a text may be of any length.
"""

import sqlite3
import warnings
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from pathlib import Path

import numpy as np
import pandas as pd
import pyogrio
import shapely
from pyogrio.errors import CRSError, DataLayerError, DataSourceError, FeatureError, FieldError, GeometryError

from asbuilt import tables
from asbuilt.errors import InputError, Problem
from asbuilt.publish.geopackage import NAME
from asbuilt.second.files import plain_file
from asbuilt.tables import Table

_LONGEST = 4_000_000  # characters of one text
_AGAIN = "take the hand-over anew from whoever made it, or build it again"
_STORED: Mapping[str, tuple[str, ...]] = {
    "text": ("text",),
    "real": ("real", "integer"),
    "integer": ("integer",),
    "boolean": ("integer",),
    "time": ("text",),
}
_FAULTS = (
    DataSourceError, DataLayerError, FeatureError, FieldError, GeometryError, CRSError, shapely.GEOSException,
    ValueError, TypeError, OverflowError, UnicodeDecodeError, RuntimeWarning,
)  # fmt: skip


def read_layers(folder: Path, wanted: Sequence[Table]) -> tuple[dict[str, pd.DataFrame], tuple[str, ...]]:
    """Return some tables by name, of the stated shape, and the columns that the file lacks, as "table.column".

    A column that is not there comes back as nothing: the file may be of another version. Raises InputError, which
    names the table, where a table is not there, is a view, or holds what its columns cannot hold.
    """
    path = plain_file(folder, NAME)
    rows: dict[str, int] = {}
    with _looked_at(path) as base:
        there = {table.name: _columns(base, table) for table in wanted}
        for table in wanted:
            rows[table.name] = _checked_rows(base, table, there[table.name])
    frames, absent = {}, []
    for table in wanted:
        frames[table.name] = _read(path, table, there[table.name])
        _refuse_other_count(table, len(frames[table.name]), rows[table.name])
        absent += [f"{table.name}.{c}" for c in table.names if c not in there[table.name]]
    return frames, tuple(absent)


def read_rows(folder: Path, table: Table, *, where: str = "", values: Sequence[object] = ()) -> pd.DataFrame:
    """Return the rows of a table for which `where`, SQL of ours with a ? for each value, holds; without geometries.

    For a few rows of many: nothing else of the table is looked at. Shape and errors as of `read_layers`.
    """
    path = plain_file(folder, NAME)
    with _looked_at(path) as base:
        names = [name for name in table.names if name in _columns(base, table)]
        asked = f"SELECT {', '.join(map(_quoted, names))} FROM {_quoted(table.name)}"  # noqa: S608 - names of ours
        rows = base.execute(f"{asked} WHERE {where}" if where else asked, tuple(values)).fetchall()
    try:
        return tables.conform(_parsed(pd.DataFrame(rows, columns=names, dtype=object), table), table)
    except _FAULTS as error:
        raise _refused(error, f"table {table.name!r}") from error


def frames_of_layers(folder: Path) -> dict[str, str]:
    """Return the coordinate frame of each layer with a geometry: a code or WKT. Raises InputError."""
    path = plain_file(folder, NAME)
    try:
        with _strict():
            return {t.name: pyogrio.read_info(path, layer=t.name)["crs"] or "" for t in tables.ALL if t.geometry}
    except _FAULTS as error:
        raise _refused(error, "its layers") from error


@contextmanager
def _strict() -> Iterator[None]:
    """What GDAL warns of is a fault of the file: ours are read without a warning. Raises RuntimeWarning."""
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always", RuntimeWarning)
        yield
    for warning in said:  # raised from where GDAL calls back it would be lost
        if issubclass(warning.category, RuntimeWarning):
            raise RuntimeWarning(str(warning.message))


@contextmanager
def _looked_at(path: Path) -> Iterator[sqlite3.Connection]:
    """Open for reading alone; what the file says of itself is not trusted. Raises InputError."""
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True)) as base:
            base.execute("PRAGMA trusted_schema = OFF")
            base.execute("PRAGMA cell_size_check = ON")
            _refuse_views(base)
            yield base
    except (sqlite3.Error, OverflowError, UnicodeDecodeError) as error:
        raise _refused(error, "it") from error


def _refuse_views(base: sqlite3.Connection) -> None:
    """Raise InputError where one of our tables, or of the format's own, is no plain table."""
    ours = {table.name for table in tables.ALL}
    for kind, name, sql in base.execute("SELECT type, name, sql FROM sqlite_master WHERE type IN ('table', 'view')"):
        virtual = kind == "table" and str(sql).lower().lstrip().startswith("create virtual")
        if (kind == "view" or virtual) and (name.lower() in ours or name.lower().startswith("gpkg_")):
            what = f"{name!r} is a {'view' if kind == 'view' else 'virtual table'}, not a table"
            raise InputError(Problem(NAME, what, _AGAIN))


def _columns(base: sqlite3.Connection, table: Table) -> set[str]:
    there = {row[1] for row in base.execute(f"PRAGMA table_info({table.name})")}
    if not there:
        found = base.execute("SELECT count(*) FROM sqlite_master WHERE name = 'joints' OR name = 'gpkg_contents'")
        kind = "no hand-over of ours" if found.fetchone()[0] < 2 else f"without the table {table.name!r}"
        raise InputError(Problem(NAME, f"it is {kind}", _AGAIN))
    if not there & set(table.names):
        raise InputError(Problem(NAME, f"table {table.name!r} has none of the columns of ours", _AGAIN))
    return there


def _refuse_other_count(table: Table, read: int, there: int) -> None:
    """GDAL believes the number of rows that the file states for a layer, and may read one twice or none."""
    if read != there:
        what = f"table {table.name!r} has {there:,} rows and {read:,} are read: its own count of rows is wrong"
        raise InputError(Problem(NAME, what, _AGAIN))


def _checked_rows(base: sqlite3.Connection, table: Table, there: set[str]) -> int:
    """Return how many rows a table has.

    Raises InputError where a column holds another kind of value than it should, or a text beyond all measure.
    """
    asked = [c for c in table.columns if c.name in there]
    kinds = [
        f"sum(typeof({_quoted(c.name)}) NOT IN ('null', {', '.join(repr(k) for k in _STORED[c.kind])}))" for c in asked
    ]
    texts = [c for c in asked if c.kind == "text"]
    lengths = [f"max(length(CAST({_quoted(c.name)} AS BLOB)))" for c in texts]
    query = f"SELECT {', '.join([*kinds, *lengths, 'count(*)'])} FROM {_quoted(table.name)}"  # noqa: S608 - names of ours
    row = base.execute(query).fetchone()
    odd = [c.name for c, many in zip(asked, row, strict=False) if many]
    long = [c.name for c, longest in zip(texts, row[len(asked) : -1], strict=True) if (longest or 0) > _LONGEST]
    problems = [Problem(NAME, f"{table.name}.{name} holds values that are not of its kind", _AGAIN) for name in odd]
    problems += [
        Problem(NAME, f"{table.name}.{name} holds a text of more than {_LONGEST:,} bytes", _AGAIN) for name in long
    ]
    if problems:
        raise InputError(problems)
    return int(row[-1])


def _quoted(name: str) -> str:
    return f'"{name}"'


def _read(path: Path, table: Table, there: set[str]) -> pd.DataFrame:
    columns = [name for name in table.names if name in there]
    how = {"layer": table.name, "columns": columns, "use_arrow": True, "read_geometry": bool(table.geometry)}
    try:
        with _strict():
            frame = pd.DataFrame(pyogrio.read_dataframe(path, **how, datetime_as_string=True))
        return tables.conform(_parsed(frame, table), table)
    except _FAULTS as error:
        raise _refused(error, f"table {table.name!r}") from error


def _parsed(frame: pd.DataFrame, table: Table) -> pd.DataFrame:
    """Put nothing where a column is not there, and times and flags as they are with us."""
    out = frame.reindex(columns=[*table.names, *(["geometry"] if table.geometry else [])])
    for column in table.columns:
        values = out[column.name]
        if column.kind == "time":
            out[column.name] = pd.to_datetime(values, utc=True, format="ISO8601")
        if column.kind == "boolean":
            out[column.name] = values.astype("Float64").astype("boolean")
    if table.geometry:
        out["geometry"] = np.array(out["geometry"], dtype=object)
    return out


def _refused(error: Exception, what: str) -> InputError:
    return InputError(Problem(NAME, f"{what} cannot be read ({' '.join(str(error).split())[:200]})", _AGAIN))
