"""How long the hand-over takes to write, and to read again, each beside a floor measured in the same run.

`python -m tests.bench.handover --joints 1000 10000` builds invented records (as `tests.bench.journey` makes them) and
prints CPU seconds (least of the repeats) and ratios. Floors: the build itself, from the records to the tables; plain
`pyogrio` writing the same tables without styles, relations or document; bare `xlsxwriter` writing the same cells; bare
`sqlite3` asking a row by its id; `pyogrio` reading the joints of both hand-overs that are compared; SHA-256 of all
files. Absolute figures belong to one machine; ratios carry.
"""

import argparse
import hashlib
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import geopandas
import pandas as pd
import pyogrio
import xlsxwriter

from asbuilt import build as journey
from asbuilt import settings, verify
from asbuilt.as_built import AsBuilt
from asbuilt.compare import compare_folders
from asbuilt.find.record import record
from asbuilt.find.search import Wanted, find
from asbuilt.progress.chart import chart
from asbuilt.progress.figures import figures
from asbuilt.publish import geopackage, joint_log, report, sheets
from tests.bench.journey import least, make

_SHEETS = ("joints", "window_checks", "gaps", "records", "decisions")  # tables that the workbook holds
Step = tuple[str, Callable[[], object], str]


def plain_geopackage(as_built: AsBuilt, path: Path) -> None:
    """Write the tables as a library writes them, and nothing else."""
    path.unlink(missing_ok=True)
    for name, frame in as_built.tables.items():
        if "geometry" in frame:
            made: pd.DataFrame = geopandas.GeoDataFrame(frame, crs=as_built.crs_wkt)
        else:
            made = frame
        pyogrio.write_dataframe(made, path, layer=name, driver="GPKG")


def plain_workbook(as_built: AsBuilt, path: Path) -> None:
    """Write the cells of the tables that the workbook holds, without a format."""
    with xlsxwriter.Workbook(path, {"constant_memory": True}) as book:
        for name in _SHEETS:
            frame = as_built.tables[name].drop(columns="geometry", errors="ignore").head(joint_log.MOST_ROWS)
            sheet = book.add_worksheet(name)
            columns = [frame[c].astype(str) if frame[c].dtype.kind in "OMm" else frame[c] for c in frame]
            rows = zip(*(c.astype(object).where(c.notna(), "").tolist() for c in columns), strict=True)
            for i, row in enumerate(rows):
                sheet.write_row(i, 0, row)


def one_row(path: Path, joint_id: str) -> object:
    """Ask for one joint as anybody would."""
    with closing(sqlite3.connect(path)) as base:
        return base.execute("SELECT * FROM joints WHERE joint_id = ?", [joint_id]).fetchone()


def sums(folder: Path) -> list[str]:
    """Return the SHA-256 of each file."""
    return [hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.iterdir())]


def _written(write: Callable[[AsBuilt, Path], None], as_built: AsBuilt, path: Path) -> Callable[[], None]:
    def run() -> None:
        path.unlink(missing_ok=True)
        write(as_built, path)

    return run


def _other(folder: Path, route: Path) -> None:
    """Hand over the same route with one record less and one value changed."""
    records = pd.read_csv(route / "records.csv", dtype=str)
    records.loc[5, "soak time (s)"] = "100"
    records.drop(index=7).to_csv(route / "records.csv", index=False)
    journey.publish(journey.build(settings.load(route)), folder)


def steps(joints: int, place: Path) -> Iterator[tuple[Step, Callable[[], object]]]:
    """Yield what is measured with the name of its floor, and the floor."""
    route, out, later, bare = (place / name for name in ("route", "out", "later", "bare"))
    for folder in (route, out, later, bare):
        folder.mkdir()
    make(route, joints=joints, vertices=2_000)
    as_built = journey.build(settings.load(route))
    journey.publish(as_built, out)
    middle = as_built.tables["joints"].iloc[joints // 2]
    at, name = f"{middle['latitude']:.7f}, {middle['longitude']:.7f}", str(middle["joint_id"])

    def build() -> object:
        return journey.build(settings.load(route))

    def asked(text: str) -> Callable[[], object]:
        return lambda: find(record(out), [text], Wanted())

    yield ("report", _written(report.write_report, as_built, bare / "r.pdf"), "the build"), build
    yield ("alignment sheets", _written(sheets.write_sheets, as_built, bare / "s.pdf"), "the build"), build
    yield ("progress and its chart", lambda: chart(figures(as_built), "bench"), "the build"), build
    yield (
        ("GeoPackage", _written(geopackage.write_geopackage, as_built, bare / "a.gpkg"), "plain pyogrio"),
        _written(plain_geopackage, as_built, bare / "b.gpkg"),
    )
    yield (
        ("workbook", _written(joint_log.write_workbook, as_built, bare / "a.xlsx"), "bare xlsxwriter"),
        _written(plain_workbook, as_built, bare / "b.xlsx"),
    )
    yield ("find an id", asked(name), "bare sqlite3"), lambda: one_row(out / geopackage.NAME, name)
    yield ("find a position", asked(at), "bare sqlite3"), lambda: one_row(out / geopackage.NAME, name)
    yield ("verify", lambda: verify.verify(out), "SHA-256"), lambda: sums(out)
    _other(later, route)
    yield (
        ("compare", lambda: compare_folders(out, later), "reading the joints"),
        lambda: [pyogrio.read_dataframe(f / geopackage.NAME, layer="joints") for f in (out, later)],
    )


def main() -> None:
    """Make, time and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--joints", type=int, nargs="+", default=[1_000, 10_000])
    parser.add_argument("--repeats", type=int, default=3)
    asked = parser.parse_args()
    print(f"CPU seconds, least of {asked.repeats}")
    print(f"{'joints':>8}  {'what':<24}{'seconds':>9}   {'floor':<20}{'seconds':>9}{'ratio':>8}")
    for joints in asked.joints:
        with tempfile.TemporaryDirectory() as name:
            for (what, run, floor), bare in steps(joints, Path(name)):
                ours, least_of_floor = least(run, asked.repeats), least(bare, asked.repeats)
                ratio = ours / least_of_floor
                print(f"{joints:>8,}  {what:<24}{ours:>9.3f}   {floor:<20}{least_of_floor:>9.3f}{ratio:>8.1f}")


if __name__ == "__main__":
    main()
