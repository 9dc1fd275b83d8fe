"""What a search reads of a hand-over: a few columns of every joint, and of all else only the rows that it needs.

The GeoPackage alone serves: neither the route's folder nor another file of the hand-over is opened.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
from pyproj.aoi import AreaOfInterest

from asbuilt import tables
from asbuilt.alignment import MeasuredLine
from asbuilt.as_built import Title
from asbuilt.crs import Frame
from asbuilt.errors import InputError, Problem
from asbuilt.publish.geopackage import NAME
from asbuilt.second.handed_over import HandedOver
from asbuilt.second.layers import read_rows
from asbuilt.stationing import Stationing, read_back
from asbuilt.tables import Table

_TABLES: Mapping[str, Table] = {table.name: table for table in tables.ALL}


def _part(*names: str) -> Table:
    """Return the table of joints with some of its columns: each column that is not asked for saves time."""
    return Table("joints", "", tuple(c for c in tables.JOINTS.columns if c.name in names))


_NAMES = _part("joint_id", "joint")
BRIEF = _part(
    "joint_id", "kind", "line", "chainage_m", "station", "offset_m", "chainage_sd_m", "offset_sd_m", "radius95_m",
    "placed_by", "easting", "northing", "pipe_a", "pipe_b", "outside_diameter_mm", "fused_local", "machine", "operator",
)  # fmt: skip
_FIRST_M, _GROWS, _FARTHEST_M = 50.0, 4.0, 4e7
_PLACED = "in_line = 1 AND chainage_m IS NOT NULL AND easting IS NOT NULL AND northing IS NOT NULL"


@dataclass(frozen=True)
class Line:
    """One line: its way in the working frame, and how its chainages are written; None where the file does not say."""

    name: str
    way: MeasuredLine
    stationing: Stationing | None


@dataclass(frozen=True)
class Record:
    """The GeoPackage in `folder`. Every property raises InputError where it is missing, damaged or not ours."""

    folder: Path
    areas: dict[str, AreaOfInterest] = field(default_factory=dict, repr=False)  # of lines, as far as they were needed
    _lines: dict[str, Line] = field(default_factory=dict, repr=False)

    @cached_property
    def out(self) -> HandedOver:
        """The hand-over, for what is small in it."""
        return HandedOver(self.folder)

    @cached_property
    def title(self) -> Title:
        """What stands at the head of every output."""
        return self.out.title

    @cached_property
    def frame(self) -> Frame:
        """The frame of the project."""
        return Frame("", pyproj.CRS.from_user_input(self.out.layer_frames["joints"]))

    @cached_property
    def names(self) -> pd.DataFrame:
        """Id and number on the paper of every joint, also of one that is not in line."""
        return read_rows(self.folder, _NAMES)

    @cached_property
    def findings(self) -> pd.DataFrame:
        """What was found about groups of joints, closed or not."""
        return read_rows(self.folder, tables.FINDINGS)

    def beside(self, line: str, chainage_m: float, *, count: int, ahead: bool) -> pd.DataFrame:
        """Return the joints in line that come next on a line, nearest first; one at the chainage itself is back.

        This and the following have the columns of `BRIEF`.
        """
        way = '"chainage_m" > ? ORDER BY chainage_m' if ahead else '"chainage_m" <= ? ORDER BY chainage_m DESC'
        where = f'"line" = ? AND {_PLACED} AND {way} LIMIT ?'
        return read_rows(self.folder, BRIEF, where=where, values=(line, chainage_m, count))

    def between(self, line: str, low_m: float, high_m: float) -> pd.DataFrame:
        """Return the joints in line of a stretch, both ends included, in order of chainage."""
        where = f'"line" = ? AND {_PLACED} AND "chainage_m" BETWEEN ? AND ? ORDER BY chainage_m'
        return read_rows(self.folder, BRIEF, where=where, values=(line, low_m, high_m))

    def near(self, easting: float, northing: float, *, count: int) -> pd.DataFrame:
        """Return the joints in line that are nearest to a position of the project's frame, nearest first.

        The GeoPackage's own tree of places is asked for boxes that grow until the circle within one holds enough.
        """
        half, metres = _FIRST_M / self.frame.metres_per_unit, self.frame.metres_per_unit
        while True:
            found = self._in_box(easting, northing, half)
            away = np.hypot(*(found[["easting", "northing"]].to_numpy(float) - (easting, northing)).T)
            if (away <= half).sum() >= count or half * metres > _FARTHEST_M:
                return found.iloc[np.argsort(away, kind="stable")[:count]].reset_index(drop=True)
            half *= _GROWS

    def _in_box(self, x: float, y: float, half: float) -> pd.DataFrame:
        tree = 'SELECT id FROM "rtree_joints_geom" WHERE maxx >= ? AND minx <= ? AND maxy >= ? AND miny <= ?'
        box = (x - half, x + half, y - half, y + half)
        return read_rows(self.folder, BRIEF, where=f"fid IN ({tree}) AND {_PLACED}", values=box)

    def rows(self, table: str, column: str, value: str) -> pd.DataFrame:
        """Return the rows of a table in which a column of ours has a value, of the shape in `asbuilt.tables`."""
        return read_rows(self.folder, _TABLES[table], where=f'"{column}" = ?', values=(value,))

    def day(self, moment: pd.Timestamp) -> str:
        """Return the day of a time (UTC) by the clock of the route; "" where there is none."""
        return f"{moment.tz_convert(self.title.as_of.tzinfo):%Y-%m-%d}" if pd.notna(moment) else ""

    def has(self, joint_id: str) -> bool:
        """Whether there is a joint of just this id."""
        return bool(len(read_rows(self.folder, _NAMES, where='"joint_id" = ?', values=(joint_id,))))

    def fittings(self, line: str) -> pd.DataFrame:
        """Return the fittings of a line that have a place."""
        return read_rows(self.folder, BRIEF, where=f'"line" = ? AND "kind" = \'fitting\' AND {_PLACED}', values=(line,))

    @cached_property
    def stationings(self) -> Mapping[str, Stationing]:
        """How chainages are written, by line; empty where the file does not say."""
        try:
            return {name: read_back(text) for name, text in self.out.info("stationing").items()}
        except ValueError as error:
            do = "take the hand-over anew from whoever made it"
            raise InputError(
                Problem(NAME, f"build_info: the stationing of a line cannot be read; {error}", do)
            ) from error

    @cached_property
    def line_names(self) -> list[str]:
        """The names of all lines."""
        names = self.out.table("alignment")["line"]
        return [str(name) for name in names]

    def line(self, name: str) -> Line:
        """Return one line. Raises InputError where its vertices make none."""
        if name not in self._lines:
            of = self.rows("alignment_vertices", "line", name).sort_values("chainage_m", kind="stable")
            try:
                way = MeasuredLine(of[["easting", "northing"]].to_numpy(float), of["chainage_m"].to_numpy(float))
            except ValueError as error:
                what = f"the vertices of line {name!r} make no line ({error})"
                raise InputError(Problem(NAME, what, "take the hand-over anew from whoever made it")) from error
            self._lines[name] = Line(name, way, self.stationings.get(name))
        return self._lines[name]

    def station(self, line: str, chainage_m: float) -> str:
        """Return a chainage as a person reads it; without the stationing as a plain length."""
        stationing = self.stationings.get(line)
        if stationing is None:
            return f"chainage {self.title.length_unit.text(chainage_m)}"
        return str(stationing.labels(np.array([chainage_m]))[0])


def record(place: Path) -> Record:
    """Return the record that `place` names: the folder of a hand-over, or its asbuilt.gpkg. Raises InputError."""
    folder = place.parent if place.name == NAME else place
    if not (folder / NAME).is_file():
        do = f"name the folder that a build has written, or its {NAME}"
        raise InputError(Problem(str(place), f"there is no {NAME}", do))
    return Record(folder)
