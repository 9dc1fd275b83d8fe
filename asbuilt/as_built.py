"""The finished record: every table of the hand-over, and what is said about them, in one frozen object."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import pandas as pd

from asbuilt.quantities import METRE, LengthUnit


@dataclass(frozen=True)
class Title:
    """What stands at the head of every output."""

    name: str
    revision: str
    as_of: datetime  # aware, in the time zone of the route
    owner: str
    contractor: str
    contract: str
    crs: str  # for example "EPSG:7855, GDA2020 / MGA zone 55 (metre)"
    base_crs: str  # the frame of latitude and longitude
    station_length: str  # for example "1000 m"
    length_kind: str  # grid, ground, geodesic or slope
    procedure: str  # name and edition
    length_unit: LengthUnit = METRE  # that lengths are said in


@dataclass(frozen=True)
class Counts:
    """The figures that have to add up: rows in = joints + duplicates + superseded + trials + set aside."""

    rows: int
    joints: int
    duplicates: int
    superseded: int
    trials: int
    set_aside: int
    unplaced: int
    fusion: Mapping[str, int]  # verdict -> joints in line
    position: Mapping[str, int]
    gaps: int
    missing_records: int
    outstanding: int
    length_m: float
    covered_m: float


@dataclass(frozen=True)
class AsBuilt:
    """One line (or several) as installed. `tables` maps the name of each table in `asbuilt.tables.ALL` to its frame.

    Frames with a geometry hold shapely geometries in the route's CRS in the column `geometry` (None where a
    joint cannot be placed). `statements` are the findings that concern many joints at once; `notes` what was
    found in the input and used as found.
    """

    title: Title
    crs_wkt: str
    tables: Mapping[str, pd.DataFrame]
    counts: Counts
    statements: tuple[str, ...]
    notes: tuple[str, ...]
