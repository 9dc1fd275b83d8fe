"""The dictionary of the columns inside the file: title, unit, meaning, and which values a column may hold.

The tables are those of the schema extension of OGC 12-128 (`gpkg_data_columns`, `gpkg_data_column_constraints`). `name`
holds the heading with its unit, which general programs show in place of the column's name. A program may show
the description of an allowed value in place of the value itself: it is therefore the value again, and what
each means stands in the description of the column.
"""

import sqlite3
from collections.abc import Iterable, Iterator

from asbuilt import tables
from asbuilt.domains import DOMAINS, Span, Words
from asbuilt.publish.gpkg_file import SCHEMA, add_table, say_extension
from asbuilt.tables import Column, Table

_COLUMNS = """CREATE TABLE gpkg_data_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT, mime_type TEXT,
  constraint_name TEXT,
  CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name), CONSTRAINT gdc_tn UNIQUE (table_name, name))"""
_CONSTRAINTS = """CREATE TABLE gpkg_data_column_constraints (
  constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT, min NUMERIC, min_is_inclusive BOOLEAN,
  max NUMERIC, max_is_inclusive BOOLEAN, description TEXT,
  CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value))"""
_KEY = Column("fid", "integer", "Row", "number of the row in this file, which relations use; it changes between builds")
_PLACE = Column("geom", "geometry", "Place", "in the route's CRS; empty where there is none")


def write_schema(base: sqlite3.Connection, described: Iterable[Table] = tables.ALL) -> None:
    """Describe every column of the tables, and the values of those that have a domain."""
    add_table(base, _COLUMNS, [row for table in described for row in _of_table(table)])
    add_table(base, _CONSTRAINTS, [row for name, domain in DOMAINS.items() for row in _allowed(name, domain)])
    say_extension(base, "gpkg_schema", SCHEMA, ("gpkg_data_columns", "gpkg_data_column_constraints"))


def _of_table(table: Table) -> Iterator[tuple[str | None, ...]]:
    for column in (_KEY, *([_PLACE] if table.geometry else []), *table.columns):
        yield table.name, column.name, column.heading, column.title, says(column), None, column.domain or None


def says(column: Column) -> str:
    """Return what a column means, with its unit and what each value that it may hold stands for.

    >>> says(Column("p", "real", "Probability", "of the leg", domain="probability"))
    'of the leg; from 0 to 1'
    """
    domain = DOMAINS[column.domain].say() if column.domain else ""
    return "; ".join(part for part in (column.says, f"unit {column.unit}" if column.unit else "", domain) if part)


def _allowed(name: str, domain: Words | Span) -> Iterator[tuple[object, ...]]:
    if isinstance(domain, Span):
        yield name, "range", None, domain.low, 1, domain.high, 1, domain.say()
    else:
        yield from ((name, "enum", word, None, None, None, None, word) for word in domain.meanings)
