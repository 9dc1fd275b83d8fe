"""The finished record: every table of the hand-over, and what is said about them, in one frozen object."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import PurePosixPath
from urllib.parse import urlsplit

import numpy as np
import pandas as pd

from asbuilt.quantities import METRE, LengthUnit
from asbuilt.stationing import Stationing


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
    wgs84: str = ""  # how latitude and longitude become those of a phone, or why they cannot, in a sentence


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
    closed: int = 0  # what would be outstanding without a decision


@dataclass(frozen=True)
class Context:
    """One layer of somebody else's for the map to draw behind the line; it is in no table of the hand-over.

    `geometry` holds points, lines and polygons in the route's CRS, single parts without height; `label` the text
    beside each, "" where there is none, both of shape (n,). `source` names the file and, if need be, its layer.
    """

    title: str
    source: str
    geometry: np.ndarray
    label: np.ndarray


@dataclass(frozen=True)
class Photo:
    """A photo that a joint's record names: a small copy for the map, upright and without what a camera wrote into it.

    `name` is as recorded, `jpeg` the file of the copy, width and height its size in pixels. Where it is not carried,
    `why` says so, and the others are empty.
    """

    joint_id: str
    name: str
    jpeg: bytes = b""
    width: int = 0
    height: int = 0
    why: str = ""


@dataclass(frozen=True)
class Tiles:
    """A background of the map that is asked for over the network. `attribution` is plain text, not markup."""

    url: str
    attribution: str
    max_zoom: int

    @property
    def host(self) -> str:
        """Whom the page asks, with the port where one is named.

        >>> Tiles("https://tiles.example.org/{z}/{x}/{y}.png", "nobody", 19).host
        'tiles.example.org'
        """
        return urlsplit(self.url).netloc.lower()

    def say(self) -> str:
        """Say what the background costs."""
        return (
            f"The map loads a background from {self.host}: it needs a network, and whoever runs it sees where the"
            " asset lies."
        )


@dataclass(frozen=True)
class Shift:
    """How latitude and longitude of the route become WGS 84 near its lines, in degrees: a page can do it by itself.

    latitude' = latitude + a + b (latitude - lat0) + c (longitude - lon0), with `latitude` = (a, b, c) and `origin` =
    (lat0, lon0); longitude likewise. `residual_m` is how far that is off the operation itself at the worst vertex;
    `accuracy_m` what is known of the operation and of WGS 84. `frame` names what the latitudes are in, `better` a
    more accurate operation and the file it needs.
    """

    frame: str
    operation: str
    accuracy_m: float
    origin: tuple[float, float]
    latitude: tuple[float, float, float]
    longitude: tuple[float, float, float]
    residual_m: float
    better: str = ""

    def applied(self, longitude: np.ndarray, latitude: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return longitude and latitude in WGS 84, degrees, of the same shape."""
        north, east = latitude - self.origin[0], longitude - self.origin[1]
        (a, b, c), (d, e, f) = self.latitude, self.longitude
        return longitude + d + e * north + f * east, latitude + a + b * north + c * east

    def say(self) -> str:
        """Say what the latitudes are in, and how they become those of a phone."""
        if self.operation == "none needed":
            how = f", as a phone shows them; the name covers realisations up to {self.accuracy_m:g} m apart."
        else:
            how = f". A phone shows WGS 84: brought over by '{self.operation}', good to {self.accuracy_m:g} m"
            how += f" ({self.better})." if self.better else "."
        return f"Latitude and longitude are {self.frame}{how}"


@dataclass(frozen=True)
class ReportForm:
    """The paper of the report (A4 or Letter) and of the alignment sheets (A3 or Tabloid), and their scale, one to so
    many."""

    paper: str = "A4"
    sheets: str = "A3"
    scale: int = 1000


@dataclass(frozen=True)
class Redaction:
    """That a record is a copy with something left out; `grid_m` is the grid its places were rounded to, 0: none."""

    grid_m: float = 0.0


@dataclass(frozen=True)
class Exports:
    """Which further files are asked for, and `names`: for a table the owner's name of each of our columns, in order.

    A table that has no names there goes out whole, under our own.
    """

    shapefile: bool = False
    geojson: bool = False
    kml: bool = False
    dxf: bool = False
    names: Mapping[str, Mapping[str, str]] = field(default_factory=dict)

    @property
    def any(self) -> bool:
        """Whether any is asked for."""
        return self.shapefile or self.geojson or self.kml or self.dxf


@dataclass(frozen=True)
class Schedule:
    """What was planned, and who works: what progress is measured by, beside the tables. In no file of the hand-over.

    `rows` has kind (work, bore, tie-in, holiday, weather), start and date (datetime64[D], NaT: not stated), line,
    from_chainage_m, to_chainage_m (in the order the crew works), crew ("": every crew) and remarks; it may be empty.
    `crew_of` names the crew of each record file, and of (file, sheet) where the sheets of a workbook are of several
    crews; `working_days` are weekdays, 0: Monday; `shift_h` the hours a
    machine works on a day (None: not stated); `stick_m` the delivered length of a pipe.
    """

    rows: pd.DataFrame
    crew_of: Mapping[str | tuple[str, str], str]
    working_days: tuple[int, ...]
    stick_m: float
    shift_h: float | None = None

    def crews(self, joints: pd.DataFrame) -> pd.Series:
        """Return the crew of each joint; of a file that no source names, its own stem."""
        of, pairs = self.crew_of, joints[["source_file", "source_sheet"]].drop_duplicates().itertuples(index=False)
        named = {(f, sheet): of.get((f, sheet)) or of.get(f) or PurePosixPath(f).stem for f, sheet in pairs}
        keys = zip(joints["source_file"], joints["source_sheet"], strict=True)
        return pd.Series([named[key] for key in keys], index=joints.index, dtype=object)


@dataclass(frozen=True)
class AsBuilt:
    """One line (or several) as installed. `tables` maps the name of each table in `asbuilt.tables.ALL` to its frame.

    Frames with a geometry hold shapely geometries in the route's CRS in the column `geometry` (None where a
    joint cannot be placed). `statements` are the findings that concern many joints at once; `notes` what was
    found in the input and used as found. `context` and `tiles` are for the map alone. `wgs84` is None
    where WGS 84 cannot be reached with a known accuracy; `title.wgs84` then says why. `stationing` says by line how a
    chainage is written.
    """

    title: Title
    crs_wkt: str
    tables: Mapping[str, pd.DataFrame]
    counts: Counts
    statements: tuple[str, ...]
    notes: tuple[str, ...]
    context: tuple[Context, ...] = ()
    tiles: Tiles | None = None
    wgs84: Shift | None = None
    since: tuple[str, ...] = ()  # what changed since an earlier hand-over, where one was named
    photos: tuple[Photo, ...] = ()
    form: ReportForm = ReportForm()
    stationing: Mapping[str, Stationing] = field(default_factory=dict)
    exports: Exports = field(default_factory=Exports)
    redaction: Redaction | None = None  # None: the full record
    schedule: Schedule | None = None
    of_decisions: tuple[str, ...] = ()  # statements and notes that are about decisions, which stand among those, too

    @property
    def is_coarse(self) -> bool:
        """Whether places were rounded to a grid."""
        return self.redaction is not None and self.redaction.grid_m > 0
