"""The two sides of a comparison, and which joint of one is which of the other."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt import tables
from asbuilt.as_built import AsBuilt, Title
from asbuilt.errors import InputError, Problem
from asbuilt.second.handed_over import HandedOver
from asbuilt.second.layers import read_rows

COMPARED = ("joints", "gaps", "records", "decisions", "build_info")
MEASURED = ("as-laid shot", "as found")  # opinions that somebody measured on the pipe: these are compared, too
_SOURCE = ["joint", "source_file", "source_sheet", "source_row"]


@dataclass(frozen=True)
class Side:
    """One record: its head, its frame (a code or WKT), its tables by name, and what it lacks as "table.column"."""

    title: Title
    crs: str
    tables: Mapping[str, pd.DataFrame]
    absent: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Pairs:
    """`old` and `new` are the rows of one joint in both tables, shape (n,); `added`, `removed` rows of one side alone.

    `renamed` has old_id and new_id of joints whose id is another now, with their source row.
    """

    old: np.ndarray
    new: np.ndarray
    added: np.ndarray
    removed: np.ndarray
    renamed: pd.DataFrame


def side(out: HandedOver) -> Side:
    """Return a hand-over as a side. Raises InputError where it cannot be read, or an id stands twice."""
    frames = {name: out.table(name) for name in COMPARED}
    frames["positions"] = read_rows(out.folder, tables.POSITIONS, where="method IN (?, ?)", values=MEASURED)
    ids = frames["joints"]["joint_id"]
    if ids.duplicated().any():
        again = ids[ids.duplicated()].iloc[0]
        do = f"look at it with: asbuilt verify {out.folder}"
        raise InputError(Problem(str(out.folder), f"joint_id {again!r} stands on more than one row", do))
    absent = frozenset(name for table in COMPARED for name in out.absent(table))
    return Side(out.title, out.layer_frames["joints"], frames, absent)


def side_of(as_built: AsBuilt) -> Side:
    """Return a record that is not handed over yet as a side."""
    every = as_built.tables["positions"]
    return Side(
        as_built.title,
        as_built.crs_wkt,
        {**as_built.tables, "positions": every[every["method"].isin(MEASURED)]},
    )


def paired(old: pd.DataFrame, new: pd.DataFrame) -> Pairs:
    """Return which joints are the same: by id; failing that, where number and source row agree.

    An id changes when its number is found on a second joint: 7 becomes 7/M1/2026-03-01.
    """
    at = pd.Index(new["joint_id"]).get_indexer(old["joint_id"])
    here, there = np.flatnonzero(at >= 0), at[at >= 0]
    lost, found = np.flatnonzero(at < 0), np.setdiff1d(np.arange(len(new)), there)
    left = old.iloc[lost][_SOURCE].assign(old_at=lost, old_id=old["joint_id"].to_numpy(object)[lost])
    right = new.iloc[found][_SOURCE].assign(new_at=found, new_id=new["joint_id"].to_numpy(object)[found])
    known = left[left["source_file"] != ""].drop_duplicates(_SOURCE)
    both = known.merge(right.drop_duplicates(_SOURCE), on=_SOURCE).sort_values("old_at")
    of_old, of_new = both["old_at"].to_numpy(int), both["new_at"].to_numpy(int)
    return Pairs(
        np.concatenate([here, of_old]),
        np.concatenate([there, of_new]),
        np.setdiff1d(found, of_new),
        np.setdiff1d(lost, of_old),
        both[["old_id", "new_id", "source_file", "source_row"]].reset_index(drop=True),
    )
