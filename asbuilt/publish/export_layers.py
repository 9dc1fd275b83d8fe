"""What is exported: some layers of the record, their joints in line only, under our names or the owner's."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from asbuilt import tables
from asbuilt.as_built import AsBuilt
from asbuilt.settings.export import EXPORTED
from asbuilt.tables import Column, Table

FOLDER = "exports"


@dataclass(frozen=True)
class Layer:
    """One layer: `frame` as the table has it, and `names`, the name in the file of each column of ours, in order."""

    table: Table
    frame: pd.DataFrame
    names: Mapping[str, str]

    @property
    def name(self) -> str:
        """The name of the layer."""
        return self.table.name

    @property
    def columns(self) -> tuple[Column, ...]:
        """The columns that go out, in the order they go."""
        by_name = {column.name: column for column in self.table.columns}
        return tuple(by_name[name] for name in self.names)

    @property
    def geometry(self) -> np.ndarray:
        """The geometries in the route's CRS, shape (n,)."""
        return self.frame["geometry"].to_numpy(dtype=object)

    def values(self) -> list[list[Any]]:
        """Return one list a column: text, numbers, true or false, times in UTC as ISO 8601, None for nothing."""
        return [plain(self.frame[column.name], column) for column in self.columns]


def layers(as_built: AsBuilt) -> tuple[Layer, ...]:
    """Return the layers that are exported."""
    return tuple(_layer(table, as_built) for table in EXPORTED)


def _layer(table: Table, as_built: AsBuilt) -> Layer:
    frame = as_built.tables[table.name]
    if table is tables.JOINTS:
        frame = frame[frame["in_line"].astype(bool)].reset_index(drop=True)
    names = as_built.exports.names.get(table.name, {name: name for name in table.names})
    return Layer(table, frame, names)


def plain(values: pd.Series, column: Column) -> list[Any]:
    """Return one column as plain values."""
    if column.kind == "time":
        text = values.dt.strftime("%Y-%m-%dT%H:%M:%SZ").astype(object)
        return text.where(values.notna(), None).tolist()
    there = values.notna() & (values != "") if column.kind == "text" else values.notna()
    return values.astype(object).where(there, None).tolist()


def left_out(as_built: AsBuilt) -> tuple[list[str], list[str]]:
    """Return the ids of joints that are not in line, and of those in line that have no place."""
    joints = as_built.tables["joints"]
    in_line, placed = joints["in_line"].astype(bool), joints["chainage_m"].notna()
    return joints.loc[~in_line, "joint_id"].tolist(), joints.loc[in_line & ~placed, "joint_id"].tolist()
