"""What lies around the invented main: two roads, a track and a creek, as invented as the main itself."""

import sqlite3
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from making.laying import distances

# Along the main, metres: where a road runs beside it from and to, and how far off, + to the right.
BESIDE = {"Saltreach Road (invented)": (0, 2300, 42.0), "Spoonbill Lane (invented)": (2050, 4300, -95.0)}
ACROSS = {"Depot Track (invented)": (905, 1.1)}  # where a track crosses, and at which angle in radians
CREEK, CREEK_AT, CREEK_WIDTH = "Samphire Creek (invented)", 1600, 9.0  # the string was pulled under it


def write_context(line: np.ndarray, path: Path) -> None:
    """Write roads (lines) and a creek (a polygon) as two layers of a small GeoPackage, in EPSG:7855."""
    path.unlink(missing_ok=True)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2026-01-15T00:00:00.000Z"})
    for name, frame in {"roads": roads(line), "water": water(line)}.items():
        pyogrio.write_dataframe(frame, path, layer=name, driver="GPKG", layer_options={"SPATIAL_INDEX": "NO"})
    with sqlite3.connect(path) as base:  # so few rows need no pages of 4096 bytes
        base.execute("PRAGMA page_size = 512")
    base.execute("VACUUM")
    base.close()


def roads(line: np.ndarray) -> gpd.GeoDataFrame:
    """Roads that keep a distance to the main, and a track that crosses it."""
    way = shapely.linestrings(line[:, :2])
    lines = [shapely.simplify(beside(line, *where), 1.0) for where in BESIDE.values()]
    lines += [crossing(way, at, turn) for at, turn in ACROSS.values()]
    names, kinds = [*BESIDE, *ACROSS], ["road"] * len(BESIDE) + ["track"] * len(ACROSS)
    return layer(pd.DataFrame({"name": names, "kind": kinds}), lines)


def water(line: np.ndarray) -> gpd.GeoDataFrame:
    """One creek that winds across the main."""
    way = shapely.linestrings(line[:, :2])
    straight = crossing(way, CREEK_AT, 1.35, length=1500)
    along = np.linspace(0, straight.length, 60)
    aside = 35 * np.sin(along / 110) * np.minimum(1, np.abs(along - straight.length / 2) / 120)
    middle = shapely.get_coordinates(shapely.line_interpolate_point(straight, along))
    lead = np.diff(shapely.get_coordinates(straight)[[0, -1]], axis=0)[0] / straight.length
    bed = shapely.buffer(
        shapely.linestrings(middle + aside[:, None] * [-lead[1], lead[0]]), CREEK_WIDTH / 2, quad_segs=2
    )
    return layer(pd.DataFrame({"name": [CREEK]}), [shapely.simplify(bed, 0.3)])


def beside(line: np.ndarray, low: float, high: float, offset: float) -> shapely.LineString:
    """A line beside the main, + to the right; it does not follow the main down the hairpin."""
    at = distances(line)
    here = (at >= low) & (at <= high) & ~((at > 2660) & (at < 3260))
    return shapely.offset_curve(shapely.simplify(shapely.linestrings(line[here, :2]), 4.0), -offset, join_style="round")


def crossing(way: shapely.LineString, at: float, turn: float, length: float = 800) -> shapely.LineString:
    """A straight line over the main at a distance along it, turned off its direction."""
    middle, ahead = (shapely.get_coordinates(shapely.line_interpolate_point(way, d))[0] for d in (at, at + 5))
    lead = np.arctan2(*(ahead - middle)[::-1]) + turn
    half = length / 2 * np.array([np.cos(lead), np.sin(lead)])
    return shapely.LineString([middle - half, middle + half])


def layer(table: pd.DataFrame, shapes: list) -> gpd.GeoDataFrame:
    """A layer to the centimetre in the frame of the route."""
    rounded = shapely.transform(np.array(shapes, dtype=object), lambda xy: np.round(xy, 2))
    return gpd.GeoDataFrame(table, geometry=list(rounded), crs="EPSG:7855")
