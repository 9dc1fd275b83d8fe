"""A GeoPackage as the SQLite file that it is: how tables are added to one that pyogrio wrote.

Only tables without geometry are added here: a layer with an index calls functions that plain SQLite lacks. Nothing
takes the time of the clock, so that the same input gives the same bytes.
"""

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path

import numpy as np

_STANDARD = "http://www.geopackage.org/spec121/#extension_{}"
SCHEMA, METADATA = _STANDARD.format("schema"), _STANDARD.format("metadata")
_AT_ONCE = 50
RELATED = "http://docs.opengeospatial.org/is/18-000/18-000.html"


@contextmanager
def opened(path: Path) -> Iterator[sqlite3.Connection]:
    """Open the file for one transaction. A fault leaves it half written: the folder is built aside and thrown away."""
    with closing(sqlite3.connect(path)) as base:
        base.execute("PRAGMA journal_mode = OFF")
        base.execute("PRAGMA synchronous = OFF")
        yield base
        base.commit()


def add_table(base: sqlite3.Connection, definition: str, rows: Iterable[Sequence[object]] = ()) -> None:
    """Make a table by its SQL `definition`, CREATE TABLE name (...), and fill its first columns with `rows`."""
    base.execute(definition)
    insert(base, definition.split("(", maxsplit=1)[0].split()[2], rows)


def insert(base: sqlite3.Connection, table: str, rows: Iterable[Sequence[object]]) -> None:
    """Put whole rows into a table; all of them are of the length of the table."""
    width = len(base.execute(f"PRAGMA table_info({table})").fetchall())
    base.executemany(f"INSERT INTO {table} VALUES ({', '.join('?' * width)})", rows)  # noqa: S608 - a name of ours


def insert_pairs(base: sqlite3.Connection, table: str, rows: np.ndarray) -> None:
    """Put pairs of numbers, shape (n, 2), into a table, many in one statement: there may be millions of them."""
    whole = len(rows) // _AT_ONCE * _AT_ONCE
    block = ", ".join(["(?, ?)"] * _AT_ONCE)
    base.executemany(f"INSERT INTO {table} VALUES {block}", rows[:whole].reshape(-1, 2 * _AT_ONCE).tolist())  # noqa: S608 - a name of ours
    insert(base, table, rows[whole:].tolist())


def say_extension(base: sqlite3.Connection, extension: str, address: str, tables: Iterable[str]) -> None:
    """Say in gpkg_extensions that these tables are of a registered extension, defined at `address`."""
    insert(base, "gpkg_extensions", [(table, None, extension, address, "read-write") for table in tables])


def list_attributes(base: sqlite3.Connection, table: str, says: str, stamp: str) -> None:
    """List a table without geometry in the contents, with `stamp` as the time of its last change."""
    insert(base, "gpkg_contents", [(table, "attributes", table, says, stamp, None, None, None, None, 0)])
