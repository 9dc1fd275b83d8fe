"""Lengths on the ellipsoid, and lengths of the plane beside them, against published and independent values."""

import csv
from pathlib import Path

import numpy as np
import pytest

from asbuilt.crs import Frame, frame, geodesic_lengths_m, geodesics, transform
from asbuilt.read.alignments import read_alignments
from asbuilt.read.cells import angles
from asbuilt.settings import Settings
from asbuilt.settings.model import AlignmentSource, Route

GEOGRAPHICLIB = "geographiclib 2.1, its test suite"
AUSTIN = (np.array([-97.25, -97.24]), np.array([30.25, 30.25]))  # two positions of the same latitude


def in_plane(longitude: np.ndarray, latitude: np.ndarray, *, origin: str, plane: str) -> tuple[np.ndarray, Frame]:
    target = frame(plane, where="plane")
    x, y, _ = transform(longitude, latitude, origin=frame(origin, where="origin"), target=target)
    return np.stack([x, y]), target


def geodesic_m(longitude: np.ndarray, latitude: np.ndarray, *, origin: str, plane: str) -> float:
    xy, target = in_plane(longitude, latitude, origin=origin, plane=plane)
    return float(geodesic_lengths_m(xy[0], xy[1], of=target)[0])


FOOT = 1200 / 3937


@pytest.mark.seen(f"{GEOGRAPHICLIB}: 20 geodesics at random, to 1e-8 m; a nanometre is lost on the way to the plane")
def test_twenty_geodesics_across_the_world(shared_data: Path) -> None:
    with (shared_data / "reference" / "geodtest20.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    assert len(rows) == 20
    for row in rows:
        longitude, latitude = (np.array([float(row[f"{axis}{end}"]) for end in (1, 2)]) for axis in ("lon", "lat"))
        length = geodesic_m(longitude, latitude, origin="EPSG:4326", plane="EPSG:3857")
        assert length == pytest.approx(float(row["s12_m"]), abs=2e-8)


@pytest.mark.seen(f"{GEOGRAPHICLIB}: 20 geodesics at random; azimuths to 1e-14 degrees")
def test_azimuths_of_twenty_geodesics_across_the_world(shared_data: Path) -> None:
    with (shared_data / "reference" / "geodtest20.csv").open(encoding="utf-8", newline="") as lines:
        rows = [{name: float(value) for name, value in row.items()} for row in csv.DictReader(lines)]
    column = {name: np.array([row[name] for row in rows]) for name in rows[0]}
    ends = [in_plane(column[f"lon{k}"], column[f"lat{k}"], origin="EPSG:4326", plane="EPSG:3857") for k in (1, 2)]
    azimuth, length = geodesics(ends[0][0].T, ends[1][0].T, of=ends[0][1])
    np.testing.assert_allclose(length, column["s12_m"], atol=2e-8)
    np.testing.assert_allclose(azimuth, column["azi1"] % 360, atol=1e-9)  # a nanometre is lost on the way to the plane


@pytest.mark.parametrize(
    ("longitude", "latitude", "plane", "length_m", "tolerance_m"),
    [
        pytest.param(
            (-73.8, 2.55), (40.6, 49.01666667), "EPSG:3857", 5853226, 0.5, id="inverse, printed to a metre",
            marks=pytest.mark.seen(f"{GEOGRAPHICLIB}, GeodSolve0"),
        ),
        pytest.param(  # the far end is printed to 1e-5 degrees, which is a metre
            (-73.77888889, 2.56106), (40.63972222, 49.01467), "EPSG:3857", 5850000, 1.0, id="direct, turned round",
            marks=pytest.mark.seen(f"{GEOGRAPHICLIB}, GeodSolve1"),
        ),
        pytest.param(
            (0.0, 0.0000008), (36.493349428792, 36.49334942879201), "EPSG:32631", 0.072, 5e-4, id="a hand's breadth",
            marks=pytest.mark.seen(f"{GEOGRAPHICLIB}, GeodSolve4"),
        ),
    ],
)  # fmt: skip
def test_published_geodesics_of_wgs_84(
    longitude: tuple[float, float], latitude: tuple[float, float], plane: str, length_m: float, tolerance_m: float
) -> None:
    found = geodesic_m(np.array(longitude), np.array(latitude), origin="EPSG:4326", plane=plane)
    assert found == pytest.approx(length_m, abs=tolerance_m)


@pytest.mark.parametrize(
    ("latitude", "longitude", "origin", "plane", "length_m"),
    [
        pytest.param(
            ["37°57'03.72030\"S", "37°39'10.15610\"S"], ["144°25'29.52440\"E", "143°55'35.38390\"E"],
            "EPSG:4283", "EPSG:28355", 54972.271, id="Flinders Peak to Buninyong, GRS 80",
            marks=pytest.mark.from_memory("GDA Technical Manual; reproduced with an independent library"),
        ),
        pytest.param(
            ["55°45'N", "33°26'S"], ["0°E", "108°13'E"],
            "+proj=longlat +ellps=bessel +type=crs", "+proj=merc +ellps=bessel +type=crs", 14110526.170,
            id="Vincenty's line (a), Bessel",
            marks=pytest.mark.from_memory("T. Vincenty, 1975; reproduced with an independent library"),
        ),
    ],
)  # fmt: skip
def test_published_geodesics_of_other_ellipsoids(
    latitude: list[str], longitude: list[str], origin: str, plane: str, length_m: float
) -> None:
    north = angles(latitude, decimal=".", letters="NS", limit=90.0).values
    east = angles(longitude, decimal=".", letters="EW", limit=180.0).values
    assert geodesic_m(east, north, origin=origin, plane=plane) == pytest.approx(length_m, abs=1e-3)


@pytest.mark.computed("geographiclib 2.1, and Simpson's mean of the point scale (k1 + 4 km + k2) / 6 by pyproj 3.7.2")
def test_a_utm_grid_length_is_shorter_than_the_ellipsoid() -> None:
    xy, plane = in_plane(*AUSTIN, origin="EPSG:4326", plane="EPSG:32614")
    grid, length = np.hypot(*np.diff(xy)[:, 0]), geodesic_lengths_m(xy[0], xy[1], of=plane)[0]
    assert (length, grid) == pytest.approx((962.4352, 962.3888), abs=1e-4)
    assert grid / length == pytest.approx(0.999951754, abs=1e-9)


@pytest.mark.computed("geographiclib 2.1: the same two positions")
def test_pseudo_mercator_stretches_and_its_geodesics_do_not() -> None:
    xy, plane = in_plane(*AUSTIN, origin="EPSG:4326", plane="EPSG:3857")
    grid, length = np.hypot(*np.diff(xy)[:, 0]), geodesic_lengths_m(xy[0], xy[1], of=plane)[0]
    assert (length, grid) == pytest.approx((962.4352, 1113.195), abs=1e-3)
    assert grid / length == pytest.approx(1.15664, abs=1e-5)


@pytest.mark.computed("geographiclib 2.1: GRS 80 and WGS 84 differ by less than 1e-9 of this length")
def test_geodesics_of_a_plane_in_feet_are_in_metres() -> None:
    assert geodesic_m(*AUSTIN, origin="EPSG:4269", plane="EPSG:2277") == pytest.approx(962.4352, abs=1e-4)


def measured_m(folder: Path, table: str, *, crs: str, **asked: object) -> float:
    """Return the length of the line in a CSV of points, measured as the route file asks for."""
    (folder / "line.csv").write_text(table, encoding="utf-8")
    source = AlignmentSource(line="main", file="line.csv", **asked)
    route = Route(name="invented", crs=crs)
    line = read_alignments(Settings.model_construct(route=route, alignment=(source,), folder=folder)).lines[0].line
    return float(line.measure[-1] - line.measure[0])


@pytest.mark.seen(
    "a surveying blog of 2013-10-08 (unnamed): one line, its mean combined factor, and both its lengths in feet"
)
def test_a_ground_length_from_a_published_factor(tmp_path: Path) -> None:
    table = "easting,northing\n1048125.982,10023895.740\n1053440.098,10023895.740\n"  # 5314.116 ft apart on the grid
    length = measured_m(tmp_path, table, crs="EPSG:3567", length="ground", ground_factor=1.000132409)
    assert length / (1200 / 3937) == pytest.approx(5314.820, abs=5e-4)


@pytest.mark.computed("the square root of run² + rise²: 5, 10, 20 and 30 % of grade")
@pytest.mark.parametrize(("rise", "slope"), [(5, 100.125), (10, 100.4988), (20, 101.980), (30, 104.403)])
@pytest.mark.parametrize(("crs", "unit", "metres"), [("EPSG:7855", "m", 1.0), ("EPSG:6578", "us ft", FOOT)])
def test_a_slope_length_is_longer_than_its_chainage(
    tmp_path: Path, rise: float, slope: float, crs: str, unit: str, metres: float
) -> None:
    start = 500_000 if crs == "EPSG:7855" else 2_300_000  # each in its own zone
    north = 5_905_000 if crs == "EPSG:7855" else 10_000_000
    table = f"easting,northing,elevation ({unit})\n{start},{north},0\n{start + 100},{north},{rise}\n"
    assert measured_m(tmp_path, table, crs=crs, length="slope") == pytest.approx(slope * metres, abs=5e-4)
    assert measured_m(tmp_path, table, crs=crs, length="grid") == pytest.approx(100.0 * metres, abs=1e-9)


@pytest.mark.computed("geographiclib 2.1, through the reader of alignments")
def test_a_route_may_ask_for_geodesic_length(tmp_path: Path) -> None:
    xy, _ = in_plane(*AUSTIN, origin="EPSG:4326", plane="EPSG:32614")
    table = "easting,northing\n" + "".join(f"{x:.6f},{y:.6f}\n" for x, y in xy.T)
    assert measured_m(tmp_path, table, crs="EPSG:32614", length="geodesic") == pytest.approx(962.4352, abs=1e-4)
    assert measured_m(tmp_path, table, crs="EPSG:32614", length="grid") == pytest.approx(962.3888, abs=1e-4)
