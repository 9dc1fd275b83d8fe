"""Make the sample route Saltreach: an invented water main, three crews' records of it, and the truth about them.

    python sample_routes/saltreach/make.py

writes design/, context/, records/, truth/, people.csv, machines.csv and tests.csv beside this file. Every random
number comes from a seed, so that the same versions of the libraries write the same bytes each time. Nothing here is
real: neither the place nor the main, the crews or any record. The coordinates lie in the open sea.

making/laying.py lays pipes along a centreline, making/fusing.py lets three crews fuse them, making/faults.py says
what went wrong, making/sheets.py writes down what the crews wrote down, making/curves.py what a logger would, and
making/photos.py draws what a camera might have seen, making/features.py lists what stands beside the main.
"""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
from making.faults import RECORD_IS_RIGHT, faults, missing
from making.features import write_features
from making.fusing import all_fusions, as_recorded, with_fixes, with_times, with_values
from making.laying import centreline, real_joints
from making.photos import write_photos
from making.sheets import write_crew_a, write_crew_b, write_crew_c, write_curves, write_lists
from making.surroundings import write_context

HERE = Path(__file__).parent


def main() -> None:
    """Write the whole folder."""
    for folder in ("context", "design", "records", "truth"):
        (HERE / folder).mkdir(exist_ok=True)
    line = centreline()
    real = real_joints(line)
    made = with_values(with_fixes(with_times(all_fusions(real, line))))
    write_centreline(line)
    write_context(line, HERE / "context" / "surroundings.gpkg")
    write_features(line, HERE / "features.csv")
    write_records(as_recorded(made))
    write_truth(real, faults(made))


def write_centreline(line: np.ndarray) -> None:
    """Write the design as a GeoPackage that holds one line."""
    path = HERE / "design" / "centreline.gpkg"
    path.unlink(missing_ok=True)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2026-01-15T00:00:00.000Z"})
    wkt = "LINESTRING Z (" + ", ".join(f"{x:.3f} {y:.3f} {z:.3f}" for x, y, z in line) + ")"
    geometry = gpd.GeoSeries.from_wkt([wkt], crs="EPSG:7855")
    frame = gpd.GeoDataFrame({"name": ["Saltreach raw water main (invented)"]}, geometry=geometry)
    frame.to_file(path, layer="centreline", driver="GPKG", engine="pyogrio")


def write_records(made: pd.DataFrame) -> None:
    """Write each crew's file, without the joints that nobody recorded."""
    recorded = made[~made.joint.isin(missing())]
    crew = {name: rows.reset_index(drop=True) for name, rows in recorded.groupby("crew")}
    write_crew_a(crew["A"], HERE / "records" / "crew_a.csv")
    write_crew_b(crew["B"], HERE / "records" / "crew_b.xlsx")
    write_crew_c(crew["C"], HERE / "records" / "crew_c.csv")
    write_curves(crew["B"], HERE / "records" / "curves")
    write_photos(HERE / "records" / "photos")
    write_lists(HERE)


def write_truth(real: pd.DataFrame, table: pd.DataFrame) -> None:
    """Write where each joint really lies, what is wrong with its record, and the list of faults."""
    single = table[~table.fault.isin(RECORD_IS_RIGHT)].assign(joint=lambda t: t.joints.str.split()).explode("joint")
    wrong = single.groupby("joint").fault.agg("; ".join)
    true = real.rename(columns={"chainage": "chainage_m", "offset": "offset_m"})
    true = true.assign(wrong=true.joint.map(wrong).fillna(""))
    true = true[["joint", "crew", "chainage_m", "offset_m", "easting", "northing", "wrong"]]
    for name, frame in {"joints": true, "missing": true[true.joint.isin(missing())], "faults": table}.items():
        frame.to_csv(HERE / "truth" / f"{name}.csv", index=False, lineterminator="\n", float_format="%.3f")


if __name__ == "__main__":
    main()
