"""Plain cases of placing against libraries of others: shapely's line location, and geodesics of pyproj."""

from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from asbuilt.alignment import MeasuredLine, locate
from asbuilt.crs import frame, geodesic_lengths_m, transform
from tests.bench.placement import by_nearest_point
from tests.bench.truth import STICK, Case, winding
from tests.place_rows import beside, placed, records

GPXPY = "tkrajina/gpxpy, test_files, Apache-2.0: tracks of consumer receivers; read where they lie, not copied"
LEUVEN = "wannesm/LeuvenMapMatching, tests/rsrc, Apache-2.0: a city walk that comes back to its start"


@pytest.mark.computed("shapely (GEOS): line_locate_point and distance")
@given(st.integers(0, 2**32 - 1))
@settings(deadline=None, max_examples=30)
def test_without_an_order_a_joint_lies_at_the_nearest_point_of_shapely(seed: int) -> None:
    line = winding(np.random.default_rng(seed), 900.0)
    at = np.random.default_rng(seed).uniform(20, line.measure[-1] - 20, 40)
    xy = beside(line, at, noise=2.0, seed=seed)
    found = placed(records(xy, machine=None), line).joints
    theirs, points = shapely.linestrings(line.xy), shapely.points(xy)
    np.testing.assert_allclose(found["chainage_m"], shapely.line_locate_point(theirs, points), atol=1e-6)
    np.testing.assert_allclose(found["offset_m"].abs(), shapely.distance(theirs, points), atol=1e-6)


@pytest.mark.computed("shapely: orientation of the ring made of a leg and the point; + is right by our contract")
@given(st.integers(0, 2**32 - 1))
@settings(deadline=None, max_examples=30)
def test_the_side_is_that_of_the_ring_of_leg_and_joint(seed: int) -> None:
    rng = np.random.default_rng(seed)
    line = MeasuredLine(np.array([[0.0, 0.0], rng.uniform(-300, 300, 2) + 400]), np.array([0.0, 500.0]))
    xy = beside(line, rng.uniform(50, 450, 20), noise=5.0, seed=seed)
    found = placed(records(xy, machine=None), line).joints
    ring = [shapely.LinearRing([line.xy[0], line.xy[1], point]) for point in xy]
    assert (shapely.is_ccw(ring) == (found["offset_m"] < 0).to_numpy()).all()


@pytest.mark.computed("pyproj.Geod (GeographicLib) direct and inverse, GRS 80")
@pytest.mark.parametrize(("zone", "longitude", "latitude"), [("EPSG:7855", 147.9, -42.6), ("EPSG:26915", -93.1, 30.2)])
def test_a_chainage_of_geodesic_length_is_that_of_the_ellipsoid(zone: str, longitude: float, latitude: float) -> None:
    """Joints every 12 m on the ground of the ellipsoid, along three geodesics; in the grid the sticks are not 12 m."""
    target = frame(zone, where="test")
    geod, ends = target.crs.get_geod(), [(longitude, latitude)]
    lon, lat = [], []
    for azimuth in (40.0, 75.0, 20.0):
        steps = [geod.fwd(*ends[-1], azimuth, STICK * k) for k in range(1, 26)]
        lon, lat = lon + [s[0] for s in steps], lat + [s[1] for s in steps]
        ends.append((lon[-1], lat[-1]))
    origin = frame(target.crs.geodetic_crs.to_wkt(), where="test")
    vertices, joints = (
        np.column_stack(transform(np.array(x), np.array(y), origin=origin, target=target)[:2])
        for x, y in (tuple(zip(*ends, strict=True)), (lon, lat))
    )
    measure = np.concatenate([[0.0], np.cumsum(geodesic_lengths_m(*vertices.T, of=target))])
    found = placed(records(joints, sd_m=0.02), MeasuredLine(vertices, measure)).joints
    assert found["chainage_m"].to_numpy() == pytest.approx(STICK * np.arange(1, 76), abs=0.01)
    assert found["offset_m"].to_numpy() == pytest.approx(0.0, abs=0.01)
    grid = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(vertices, axis=0).T))])
    assert abs(grid[-1] - 900.0) > 0.05  # the grid would have it otherwise


def walked(path: Path) -> np.ndarray:
    """The positions of a track in the plane of its UTM zone, those in a row on one spot taken once."""
    points = [e for e in ElementTree.parse(path).iter() if e.tag.endswith("}trkpt")]  # noqa: S314 - a file of ours
    lon, lat = (np.array([float(p.get(name)) for p in points]) for name in ("lon", "lat"))
    zone = pyproj.CRS.from_epsg(32600 + int((lon.mean() + 180) // 6) + 1)
    x, y, _ = transform(lon, lat, origin=frame("EPSG:4326", where="t"), target=frame(zone.to_wkt(), where="t"))
    xy = np.column_stack([x, y])
    return xy[np.append(True, np.hypot(*np.diff(xy, axis=0).T) > 0.5)]


def along(path: Path) -> Iterator[tuple[MeasuredLine, np.ndarray, Case]]:
    """A pipe laid along a real track, fixed with errors of 4 m, three times over; sticks and errors are invented."""
    xy = walked(path)
    line = MeasuredLine(xy, np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))]))
    at = np.arange(STICK, min(line.measure[-1], 6000.0), STICK)
    for seed in range(3):
        rows = records(locate(line, at) + np.random.default_rng(seed).normal(0, 4.0, (len(at), 2)), sd_m=4.0)
        yield line, at, Case(path.name, (("main", line),), rows, rows, ())


@pytest.mark.seen(f"{GPXPY}; {LEUVEN}")
@pytest.mark.parametrize("name", ["cerknicko-jezero", "around-visnjan-with-car", "leuven_city_walk_route"])
def test_along_real_tracks_the_order_beats_the_nearest_point(shared_data: Path, name: str) -> None:
    for line, at, case in along(shared_data / "gpx" / f"{name}.gpx"):
        found = placed(case.rows, line).joints
        wrong = np.abs(found["chainage_m"] - at) > STICK / 2 + 20
        nearest = np.abs(by_nearest_point(case)[0]["chainage_m"] - at) > STICK / 2 + 20
        assert wrong.sum() <= nearest.sum()
        assert not (wrong & (found["leg_probability"] >= 0.95)).any()
        assert np.sqrt(np.mean((found["chainage_m"] - at)[~wrong] ** 2)) < 2.0  # half of the error of a fix
