"""Latitude and longitude as a phone shows them: which way, how sure, and as a plane that a page can follow."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pyproj
import pytest

from asbuilt import crs
from asbuilt.errors import FrameError
from asbuilt.receivers import plane_shift, reach_wgs84, to_wgs84, wgs84_shift

LONDON = (np.array([-0.13, -0.10, -0.12]), np.array([51.50, 51.52, 51.49]))
without_grids = pytest.mark.skipif(
    any(
        found
        for at in (pyproj.datadir.get_data_dir(), pyproj.datadir.get_user_data_dir())
        for found in Path(at).glob("*.tif")
    ),
    reason="grid files are installed here: a better way is taken",
)
TEXAS = (np.array([-97.25, -97.20, -97.23]), np.array([30.25, 30.26, 30.28]))
WGS84 = pyproj.Geod(ellps="WGS84")


def of(code):
    return crs.frame(code, where="here")


def apart_m(one, other):
    return np.asarray(WGS84.inv(*one, *other)[2])


def helmert(longitude, latitude, *, ellipsoid, metres, seconds, ppm):
    """Seven parameters (position vector) written out: degrees on the ellipsoid in, degrees on WGS 84 out."""
    a, inverse = ellipsoid
    e2 = (2 - 1 / inverse) / inverse
    lon, lat = np.radians(longitude), np.radians(latitude)
    n = a / np.sqrt(1 - e2 * np.sin(lat) ** 2)
    place = np.stack([n * np.cos(lat) * np.cos(lon), n * np.cos(lat) * np.sin(lon), n * (1 - e2) * np.sin(lat)])
    rx, ry, rz = np.radians(np.array(seconds) / 3600)
    turn = np.array([[1, -rz, ry], [rz, 1, -rx], [-ry, rx, 1]])
    x, y, z = np.array(metres)[:, None] + (1 + ppm * 1e-6) * turn @ place
    a, e2 = 6378137.0, (2 - 1 / 298.257223563) / 298.257223563
    p, lat = np.hypot(x, y), np.arctan2(z, np.hypot(x, y) * (1 - e2))
    for _ in range(6):
        lat = np.arctan2(z + e2 * a / np.sqrt(1 - e2 * np.sin(lat) ** 2) * np.sin(lat), p)
    return np.degrees(np.arctan2(y, x)), np.degrees(lat)


@without_grids
@pytest.mark.parametrize(
    ("code", "place", "how"),
    [
        # the parameters of Great Britain's own guide to coordinate systems; from memory
        ("EPSG:4277", LONDON, {"ellipsoid": (6377563.396, 299.3249646), "metres": (446.448, -125.157, 542.060),
                               "seconds": (0.1502, 0.2470, 0.8421), "ppm": -20.4894}),
        # the mean shift of the western United States, DMA TR 8350.2; from memory
        ("EPSG:4267", TEXAS, {"ellipsoid": (6378206.4, 294.978698214), "metres": (-8.0, 159.0, 175.0),
                              "seconds": (0, 0, 0), "ppm": 0}),
    ],
)  # fmt: skip
def test_the_way_is_the_published_shift_worked_by_hand(code, place, how):
    brought = to_wgs84(*place, of=of(code))
    assert apart_m(brought[:2], helmert(*place, **how)).max() < 0.02
    assert apart_m(brought[:2], place).min() > 20


@without_grids
def test_the_way_is_the_one_the_library_takes_by_name():
    """pyproj with the operation named by its code in the EPSG register: 1314 is OSGB36 to WGS 84 (6)."""
    there = pyproj.Transformer.from_pipeline("urn:ogc:def:coordinateOperation:EPSG::1314")
    latitude, longitude = there.transform(LONDON[1], LONDON[0])
    brought = to_wgs84(*LONDON, of=of("EPSG:4277"))
    assert apart_m(brought[:2], (longitude, latitude)).max() < 1e-6
    assert brought[2].operation == "OSGB36 to WGS 84 (6)"


@pytest.mark.parametrize(
    ("code", "place", "accuracy_m"),
    [
        ("EPSG:7855", (np.array([147.0]), np.array([-42.9])), 3.0),  # the register: 3 m
        ("EPSG:6318", TEXAS, 2.0),  # the register: 2 m
        ("EPSG:4258", LONDON, 2.0),  # the register: 1 m, but the name WGS 84 covers 2 m
        ("EPSG:32630", LONDON, 2.0),  # no way to go, and still 2 m
    ],
)
def test_no_way_is_better_than_what_the_name_wgs_84_covers(code, place, accuracy_m):
    longitude, latitude, way = to_wgs84(*place, of=of(code))
    assert way.accuracy_m == accuracy_m
    assert (longitude, latitude) == (pytest.approx(place[0], abs=1e-9), pytest.approx(place[1], abs=1e-9))


def test_what_is_not_known_stays_unknown():
    longitude, latitude, _ = to_wgs84(np.array([np.nan, -0.13]), np.array([51.5, 51.5]), of=of("EPSG:4277"))
    assert np.isnan(longitude[0])
    assert np.isnan(latitude[0])
    assert np.isfinite(longitude[1])


@pytest.mark.parametrize(("code", "place"), [("EPSG:4277", LONDON), ("EPSG:4267", TEXAS)])
def test_the_plane_follows_the_operation_beside_the_line_too(code, place):
    line = (np.linspace(place[0][0], place[0][1], 80), np.linspace(place[1][0], place[1][1], 80))  # straight: 4 km
    shift = wgs84_shift(*line, of=of(code))
    off = apart_m(shift.applied(*line), to_wgs84(*line, of=of(code))[:2])
    assert shift.residual_m == pytest.approx(off.max(), abs=1e-6)
    assert shift.residual_m < 0.001
    beside = (line[0] + 0.003, line[1] - 0.002)  # 300 m off
    assert apart_m(shift.applied(*beside), to_wgs84(*beside, of=of(code))[:2]).max() < 0.05


def test_the_plane_is_the_sum_that_it_says_it_is():
    shift = wgs84_shift(*LONDON, of=of("EPSG:4277"))
    (a, b, c), (d, e, f), (lat0, lon0) = shift.latitude, shift.longitude, shift.origin
    longitude, latitude = LONDON[0][1], LONDON[1][1]
    north, east = latitude - lat0, longitude - lon0
    by_hand = np.array([longitude + d + e * north + f * east]), np.array([latitude + a + b * north + c * east])
    assert apart_m(by_hand, [v[1:2] for v in to_wgs84(*LONDON, of=of("EPSG:4277"))[:2]]) < 0.001


def test_a_line_too_long_for_a_plane_says_by_how_much():
    wide = (np.linspace(-5.0, 1.5, 50), np.linspace(50.2, 55.0, 50) + 0.4 * np.sin(np.arange(50)))
    shift = wgs84_shift(*wide, of=of("EPSG:4277"))
    assert 0.5 < shift.residual_m < 50


def test_the_plane_gives_back_a_published_shift():
    """GDA94 to GDA2020 at Alice Springs, ICSM, as in OSGeo/PROJ test/gie/GDA.gie (read there): within 2 mm."""
    here = (133.88551329 + np.array([-0.1, 0.1, 0.1, -0.1]), -23.67012389 + np.array([-0.1, -0.1, 0.1, 0.1]))
    *there, way = crs.transform(*here, origin=of("EPSG:4283"), target=of("EPSG:7844"))
    shift = plane_shift(here, tuple(there), way=way)
    found = shift.applied(np.array([133.88551329]), np.array([-23.67012389]))
    assert apart_m(found, ([133.8855216], [-23.67011014])) < 0.002
    assert shift.accuracy_m == 0.01


@pytest.mark.parametrize("code", ["EPSG:3828", "+proj=tmerc +lon_0=121 +k=0.9999 +x_0=250000 +ellps=intl +units=m"])
def test_where_no_way_is_known_it_is_said_and_nothing_is_guessed(code):
    """The register has no operation from TWD67 to WGS 84, nor from an ellipsoid without a datum."""
    line = np.array([[250000.0, 2700000.0], [251000.0, 2700500.0]])
    shift, said = reach_wgs84([line], of=of(code), moment=datetime(2026, 3, 20, tzinfo=UTC))
    assert shift is None
    assert "cannot be brought to WGS 84" in said
    assert "no operation of known accuracy" in said


def test_a_fault_of_the_library_is_no_way_either():
    """pyproj 3.7.2 raises IndexError where its register lists nothing at all."""
    with pytest.raises(FrameError, match="no operation of known accuracy"):
        to_wgs84(np.array([20.0]), np.array([60.0]), of=of("EPSG:9474"))


def test_a_shift_over_nothing_is_refused():
    with pytest.raises(FrameError, match="no position to fit a shift over"):
        wgs84_shift(np.array([np.nan]), np.array([51.0]), of=of("EPSG:4277"))


def test_the_sentence_names_the_frame_the_way_and_the_better_one():
    assert wgs84_shift(*TEXAS, of=of("EPSG:6318")).say() == (
        "Latitude and longitude are EPSG:6318, NAD83(2011). A phone shows WGS 84: brought over by"
        " 'NAD83(2011) to WGS 84 (1)', good to 2 m."
    )
    assert "as a phone shows them; the name covers realisations up to 2 m apart" in (
        wgs84_shift(*TEXAS, of=of("EPSG:32614")).say()
    )
    coarse = wgs84_shift(*TEXAS, of=of("EPSG:4267"))
    assert not coarse.better or coarse.better in coarse.say()  # nothing is better where the grid files are installed


def test_the_record_carries_it(saltreach):
    assert saltreach.wgs84.say() == saltreach.title.wgs84
    info = saltreach.tables["build_info"]
    assert saltreach.title.wgs84 in set(info["value"])
    assert saltreach.wgs84.accuracy_m == 3.0
    assert saltreach.wgs84.latitude == saltreach.wgs84.longitude == (0.0, 0.0, 0.0)  # a null shift, by the register
