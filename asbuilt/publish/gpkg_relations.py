"""Which rows of one table belong to which of another, so that a program can go from a joint to all that is said of it.

The tables are those of the related tables extension (OGC 18-000): relations hold between numbers of rows, and the keys
of the hand-over are texts, so each relation has a table of pairs. These are kept sorted by the row they start from
(a primary key without another copy of the rows), which makes both building and following one quick.

Photos are of the kind that the extension calls media: the picture itself in a column `data` with its `content_type`.
"""

import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from asbuilt.as_built import Photo
from asbuilt.basis import row_ids
from asbuilt.publish.gpkg_file import RELATED, add_table, insert, insert_pairs, list_attributes, say_extension

_RELATIONS = """CREATE TABLE gpkgext_relations (
  id INTEGER PRIMARY KEY AUTOINCREMENT, base_table_name TEXT NOT NULL, base_primary_column TEXT NOT NULL DEFAULT 'id',
  related_table_name TEXT NOT NULL, related_primary_column TEXT NOT NULL DEFAULT 'id', relation_name TEXT NOT NULL,
  mapping_table_name TEXT NOT NULL UNIQUE)"""
_PHOTOS = """CREATE TABLE photos (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, data BLOB NOT NULL, content_type TEXT NOT NULL, joint_id TEXT,
  name TEXT, width INTEGER, height INTEGER)"""
_PHOTOS_SAY = "Small copies of the photos that records name, without what a camera wrote into them."


@dataclass(frozen=True)
class Relation:
    """Rows of `base` and of `related` belong together where one of the pairs of columns `keys` is equal."""

    base: str
    related: str
    kind: Literal["attributes", "features", "media"]
    keys: tuple[tuple[str, str], ...] = (("joint_id", "joint_id"),)
    related_key: str = "fid"

    @property
    def pairs_table(self) -> str:
        """Name of the table of pairs."""
        return f"{self.base}_{self.related}"


RELATIONS = (
    Relation("joints", "window_checks", "attributes"),
    Relation("joints", "positions", "features"),
    Relation("joints", "records", "attributes"),
    Relation("joints", "decisions", "attributes"),
    Relation("gaps", "joints", "features", (("from_joint", "joint_id"), ("to_joint", "joint_id"))),
    Relation("gaps", "decisions", "attributes", (("gap_id", "gap_id"),)),
    Relation("records", "decisions", "attributes", (("row_id", "row_id"),)),
    Relation("findings", "decisions", "attributes", (("finding_id", "finding_id"),)),
    Relation("strings", "joints", "features", (("string", "string"),)),
)


def write_relations(base: sqlite3.Connection, frames: Mapping[str, pd.DataFrame]) -> None:
    """Relate the tables; `frames` are those written, in the order written: row k has the number k + 1."""
    records = frames["records"]
    frames = {**frames, "records": records.assign(row_id=row_ids(records))}
    add_table(base, _RELATIONS)
    say_extension(base, "gpkg_related_tables", RELATED, ("gpkgext_relations",))
    for relation in RELATIONS:
        relate(base, relation, pairs(frames[relation.base], frames[relation.related], relation))


def relate(base: sqlite3.Connection, relation: Relation, rows: np.ndarray) -> None:
    """Add one relation with its pairs, integers of shape (n, 2), sorted and without repetition."""
    name = relation.pairs_table
    add_table(
        base,
        f"CREATE TABLE {name} (base_id INTEGER NOT NULL, related_id INTEGER NOT NULL,"
        " PRIMARY KEY (base_id, related_id)) WITHOUT ROWID",
    )
    insert_pairs(base, name, rows)
    number = base.execute("SELECT count(*) + 1 FROM gpkgext_relations").fetchone()[0]
    related = (relation.related, relation.related_key, relation.kind)
    insert(base, "gpkgext_relations", [(number, relation.base, "fid", *related, name)])
    say_extension(base, "gpkg_related_tables", RELATED, (name,))


def write_photos(base: sqlite3.Connection, photos: Sequence[Photo], joints: pd.DataFrame, stamp: str) -> None:
    """Add the photos that are carried, if there are any, and relate `joints` to them; after `write_relations`."""
    carried = [photo for photo in photos if photo.jpeg]
    if not carried:
        return
    rows = [(n, p.jpeg, "image/jpeg", p.joint_id, p.name, p.width, p.height) for n, p in enumerate(carried, start=1)]
    add_table(base, _PHOTOS, rows)
    list_attributes(base, "photos", _PHOTOS_SAY, stamp)
    relation = Relation("joints", "photos", "media", related_key="id")
    relate(base, relation, pairs(joints, pd.DataFrame({"joint_id": [photo.joint_id for photo in carried]}), relation))


def pairs(base: pd.DataFrame, related: pd.DataFrame, relation: Relation) -> np.ndarray:
    """Return the pairs of rows that belong together, numbered from 1, of shape (n, 2), sorted. Empty keys match none.

    >>> ours, theirs = pd.DataFrame({"joint_id": ["a", "b"]}), pd.DataFrame({"joint_id": ["b", "", "b"]})
    >>> pairs(ours, theirs, Relation("joints", "records", "attributes")).tolist()
    [[2, 1], [2, 3]]
    """
    found = [_equal(base[ours], related[theirs]) for ours, theirs in relation.keys]
    return np.unique(np.concatenate(found), axis=0) if len(found) > 1 else found[0]


def _equal(ours: pd.Series, theirs: pd.Series) -> np.ndarray:
    """Return the pairs of equal keys, compared without spaces around them; numbers compare faster than texts."""
    keys = pd.concat([ours, theirs], ignore_index=True).str.strip()
    codes = pd.factorize(keys.mask(keys == ""))[0]  # -1: empty
    left, right = (
        pd.DataFrame({"key": part, name: np.arange(1, len(part) + 1)})[part >= 0]
        for part, name in ((codes[: len(ours)], "base"), (codes[len(ours) :], "related"))
    )
    return left.merge(right, on="key").sort_values(["base", "related"])[["base", "related"]].to_numpy(np.int64)
