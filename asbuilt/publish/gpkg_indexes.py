"""Indexes of the GeoPackage, by which one joint of very many is found at once: SQLite's own, open to every reader."""

import sqlite3

_INDEXED = (
    ("joints", ("joint_id", "joint")),
    ("joints", ("line", "chainage_m")),
    ("positions", ("joint_id",)),
    ("ties", ("joint_id",)),
    ("window_checks", ("joint_id",)),
    ("alignment_vertices", ("line", "chainage_m")),
)


def write_indexes(base: sqlite3.Connection) -> None:
    """Index the tables by joint, and by the place on the line."""
    for table, columns in _INDEXED:
        name = f"{table}_by_{columns[0]}"
        base.execute(f'CREATE INDEX "{name}" ON "{table}" ({", ".join(columns)})')
