"""How long the stages of a build take, each as a ratio to a floor measured in the same run.

`python -m tests.bench.journey --joints 10000 --vertices 2000` makes an invented line and records in a temporary
folder, builds it, and prints CPU seconds (least of the repeats) and ratios. Floors: `pyarrow.csv` for reading, plain
`shapely.line_locate_point` and plain nearest-point placing for placing (an `STRtree` of the legs built, asked for the
nearest leg of each point, and chainage and offset on it); `its heart` is what placing spends in candidates, sequence
and adjustment. Bare `sqlite3.executemany` of
prepared rows of all tables, without an index, for what is written. Absolute figures belong to
one machine; ratios carry.
"""

import argparse
import sqlite3
import tempfile
import time
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from unittest.mock import patch

import geopandas
import numpy as np
import pandas as pd
import pyarrow.csv
import pyogrio
import pyproj
import shapely

from asbuilt import build as journey
from asbuilt import procedures, settings
from asbuilt.alignment import MeasuredLine
from asbuilt.judge.derived import derive
from asbuilt.judge.lineage import lineage
from asbuilt.judge.places import Window, judge_places
from asbuilt.judge.windows import judge_windows
from asbuilt.place import placing
from asbuilt.place.along import Sticks
from asbuilt.place.candidates import Reach
from asbuilt.place.placing import Laying, place
from asbuilt.place.route import placed
from asbuilt.publish import geopackage, joint_log, log_csv, webmap
from asbuilt.read.alignments import read_alignments
from asbuilt.read.beside import read_sides
from asbuilt.read.positions import Target
from asbuilt.read.records import read

_ROUTE = """
[route]
name = "Bench (invented)"
crs = "EPSG:7855"
timezone = "UTC"
[[alignment]]
line = "main"
file = "line.gpkg"
[[records]]
files = ["records.csv"]
crs = "EPSG:7844"
accuracy = "95%"
[records.columns]
joint = "joint"
time = { column = "time", format = "%Y-%m-%d %H:%M" }
fusion_pressure = { column = "fusion (MPa)", kind = "interfacial" }
[pipe]
outside_diameter = "630 mm"
wall = "37.3 mm"
stick = "12 m"
[window]
procedure = "ISO 21307 single low pressure"
[window.position]
offset = "2 m"
"""


def make(folder: Path, *, joints: int, vertices: int) -> None:
    """Write an invented route: a wandering line, a joint every 12 m, thirty columns of records."""
    rng = np.random.default_rng(1)
    length = 12.0 * (joints + 1)
    step = length / (vertices - 1)
    bearing = np.cumsum(rng.normal(0, 0.05, vertices - 1))
    legs = np.column_stack([np.cos(bearing), np.sin(bearing)]) * step
    xy = np.cumsum(np.vstack([[500_000, 5_250_000], legs]), axis=0)
    line = shapely.linestrings(xy)
    frame = pd.DataFrame({"name": ["main"]})
    pyogrio.write_dataframe(geopandas.GeoDataFrame(frame, geometry=[line], crs="EPSG:7855"), folder / "line.gpkg")
    at = shapely.get_coordinates(shapely.line_interpolate_point(line, 12.0 * np.arange(1, joints + 1)))
    fixes = at + rng.normal(0, 0.5, at.shape)
    longitude, latitude = pyproj.Transformer.from_crs(7855, 7844, always_xy=True).transform(*fixes.T)
    n = np.arange(joints)
    time_of = pd.date_range("2026-01-01", periods=joints, freq="53min").strftime("%Y-%m-%d %H:%M")
    table = {"joint": [f"{i:06d}" for i in n], "time": time_of, "latitude": latitude, "longitude": longitude}
    table |= {"accuracy (m)": 1.2, "machine": [f"M{i % 3}" for i in n], "operator": [f"operator {i % 7}" for i in n]}
    table |= {"heater temperature (°C)": rng.normal(225, 2, joints).round(1), "fusion (MPa)": 0.17}
    table |= {"soak time (s)": rng.normal(500, 8, joints).round(0), "removal time (s)": 6.0, "ramp time (s)": 15.0}
    table |= {"cooling time (min)": 26.0, "initial bead (mm)": 5.0, "ambient temperature (°C)": 15.0}
    extra = {f"other {i}": "as found" for i in range(15)}
    pd.DataFrame(table | extra).to_csv(folder / "records.csv", index=False)
    (folder / "route.toml").write_text(_ROUTE, encoding="utf-8")


def least(run: Callable[[], object], repeats: int = 3) -> float:
    """Return the least CPU time of some runs, seconds."""
    spent = []
    for _ in range(repeats):
        start = time.process_time()
        run()
        spent.append(time.process_time() - start)
    return min(spent)


def least_within(run: Callable[[], object], module: ModuleType, *names: str, repeats: int = 3) -> float:
    """Return the least CPU time of some runs that is spent in the named functions of a module, seconds."""
    spent = []

    def timed(function: Callable[..., object]) -> Callable[..., object]:
        def call(*args: object, **kwargs: object) -> object:
            start = time.process_time()
            found = function(*args, **kwargs)
            spent[-1] += time.process_time() - start
            return found

        return call

    with ExitStack() as stack:
        for name in names:
            stack.enter_context(patch.object(module, name, timed(getattr(module, name))))
        for _ in range(repeats):
            spent.append(0.0)
            run()
    return min(spent)


def nearest_point(line: MeasuredLine, xy: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Plain nearest-point placing: chainage and offset (+ right) on the nearest leg of each point, shapes (n,)."""
    legs = shapely.linestrings(np.stack([line.xy[:-1], line.xy[1:]], axis=1))
    point, leg = shapely.STRtree(legs).query_nearest(shapely.points(xy), all_matches=False)
    way, away = line.xy[leg + 1] - line.xy[leg], xy[point] - line.xy[leg]
    along = np.clip((away * way).sum(axis=1) / (way**2).sum(axis=1), 0.0, 1.0)
    chainage = line.measure[leg] + along * (line.measure[leg + 1] - line.measure[leg])
    apart = away - along[:, None] * way
    return chainage, np.sign(way[:, 1] * apart[:, 0] - way[:, 0] * apart[:, 1]) * np.hypot(*apart.T)


def sqlite_floor(as_built: object, path: Path) -> None:
    """Write the same tables as prepared rows into a bare SQLite file."""
    path.unlink(missing_ok=True)
    with sqlite3.connect(path) as base:
        for name, rows in as_built.items():  # type: ignore[attr-defined]
            if rows:
                base.execute(f"CREATE TABLE {name} ({', '.join(f'c{i}' for i in range(len(rows[0])))})")
                base.executemany(f"INSERT INTO {name} VALUES ({', '.join('?' * len(rows[0]))})", rows)  # noqa: S608
    base.close()


def prepared(frame: pd.DataFrame) -> list[tuple[object, ...]]:
    """Return the rows of a table as SQLite takes them, geometry as WKB."""
    plain = frame.drop(columns="geometry", errors="ignore").astype(object)
    plain = plain.map(lambda v: str(v) if isinstance(v, pd.Timestamp) else v if pd.notna(v) else None)
    if "geometry" in frame:
        plain["geometry"] = shapely.to_wkb(frame["geometry"].to_numpy())
    return list(plain.itertuples(index=False, name=None))


def main() -> None:
    """Make, time and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--joints", type=int, default=10_000)
    parser.add_argument("--vertices", type=int, default=2_000)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        make(folder, joints=asked.joints, vertices=asked.vertices)
        _time(folder, asked.joints, asked.vertices)


def _time(folder: Path, joints: int, vertices: int) -> None:
    route = settings.load(folder)
    designs = read_alignments(route)
    target = Target(designs.frame, designs.area)
    rows = read(route, target).rows
    line = designs.lines[0].line
    xy = rows[["easting", "northing"]].to_numpy(float)
    whole, points = shapely.linestrings(line.xy), shapely.points(xy)
    told = rows.join(lineage(rows, route.route.timezone).rows)
    sides = read_sides(route, target, designs)
    located, _, _ = placed(told, designs, sides, settings=route)
    known = told.assign(surveyed=False)
    laying = Laying(Reach(100.0, 2.0), Sticks(12.0, 0.05, 0.003, 2.0))
    procedure = procedures.load(route.window.procedure, folder)
    recorded = frozenset({"soak_time", "heater_temperature", "fusion_pressure"})
    as_built = journey.build(route)
    ready = {n: prepared(f) for n, f in as_built.tables.items()}
    floors: dict[str, Callable[[], object]] = {
        "pyarrow.csv": lambda: pyarrow.csv.read_csv(folder / "records.csv"),
        "nearest point": lambda: nearest_point(line, xy),
        "line_locate_point": lambda: shapely.line_locate_point(whole, points),
        "bare sqlite3": lambda: sqlite_floor(ready, folder / "a.sqlite"),
    }

    def run() -> object:
        return place(known, [("main", replace(line))], laying)  # a line whose tree has yet to be built

    in_line, windows = np.ones(len(rows), dtype=bool), {"procedure": procedure, "settings": route, "recorded": recorded}
    stages: tuple[tuple[str, str, Callable[[], object]], ...] = (
        ("read", "pyarrow.csv", lambda: read(route, target)),
        ("place", "nearest point", run),
        ("place", "line_locate_point", run),
        ("lineage", "nearest point", lambda: lineage(rows, route.route.timezone)),
        ("judge windows", "nearest point", lambda: judge_windows(rows, derive(rows, route), **windows)),
        ("judge places", "nearest point", lambda: judge_places(located, Window(2.0, 12.0), in_line=in_line)),
        ("GeoPackage", "bare sqlite3", lambda: _afresh(geopackage.write_geopackage, as_built, folder / "a.gpkg")),
        ("map", "bare sqlite3", lambda: webmap.write_map(as_built, folder / "m.html")),
        ("workbook", "bare sqlite3", lambda: joint_log.write_workbook(as_built, folder / "l.xlsx")),
        ("CSV", "bare sqlite3", lambda: log_csv.write_csv(as_built, folder / "l.csv")),
    )
    print(f"{joints} joints, {vertices} vertices; CPU seconds, least of 3")
    print(f"{'stage':<16}{'seconds':>9}   {'floor':<20}{'seconds':>9}{'ratio':>8}")
    for stage, floor, ours in stages:
        a, b = least(ours), least(floors[floor])
        print(f"{stage:<16}{a:>9.3f}   {floor:<20}{b:>9.3f}{a / b:>8.1f}")
    a, b = least_within(run, placing, "candidates", "by_order", "place_pieces"), least(floors["nearest point"])
    print(f"{'its heart':<16}{a:>9.3f}   {'nearest point':<20}{b:>9.3f}{a / b:>8.1f}")
    start = time.process_time()
    journey.build(route)
    print(f"{'whole build':<16}{time.process_time() - start:>9.3f}   (without publishing)")
    print(f"map: {(folder / 'm.html').stat().st_size / joints:.0f} bytes a joint")


def _afresh(write: Callable[[object, Path], None], as_built: object, path: Path) -> None:
    path.unlink(missing_ok=True)
    write(as_built, path)


if __name__ == "__main__":
    main()
