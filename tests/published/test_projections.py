"""Published projection and transformation examples, through the one room that transforms."""

import re
from pathlib import Path

import numpy as np
import pytest

from asbuilt.crs import Crossing, frame, transform, working_frame
from asbuilt.errors import FrameError
from asbuilt.read.cells import angles

REPRODUCED = "; reproduced with an independent library"
GUIDANCE_7_2 = "EPSG Guidance Note 7-2"
PROJ_TESTS = "OSGeo/PROJ, test/gie/epsg_no_grid.gie"


def degrees(text: str) -> float:
    """Read an angle as it is printed, with the reader that reads the records."""
    letters = "NS" if text[-1] in "NS" else "EW"
    read = angles([text], decimal=".", letters=letters, limit=180.0)
    assert not read.faults
    return float(read.values[0])


def brought(origin: str, target: str, x: float, y: float) -> tuple[float, float, Crossing]:
    one = transform(
        np.array([x]), np.array([y]), origin=frame(origin, where="origin"), target=frame(target, where="target")
    )
    return float(one[0][0]), float(one[1][0]), one[2]


AIRY = "+a=6377563.396 +rf=299.32496 +no_defs +type=crs"
PROJECTED = [
    pytest.param(
        f"+proj=longlat {AIRY}", f"+proj=tmerc +lat_0=49 +lon_0=-2 +k=0.9996013 +x_0=400000 +y_0=-100000 {AIRY}",
        "50°30'N", "0°30'E", (577274.99, 69740.50), 0.005, id="Transverse Mercator as printed",
        marks=pytest.mark.seen(f"epsg.io/9807-method.gml, which transcribes {GUIDANCE_7_2}"),
    ),
    pytest.param(  # the register's scale is 0.9996012717, the example's 0.9996013: that moves it by 8 mm
        "EPSG:4277", "EPSG:27700", "50°30'N", "0°30'E", (577274.99, 69740.50), 0.01,
        id="Transverse Mercator of the register",
        marks=pytest.mark.seen(f"epsg.io/9807-method.gml, which transcribes {GUIDANCE_7_2}"),
    ),
    pytest.param(
        "EPSG:4267", "EPSG:32040", "28°30'N", "96°00'W", (2963503.91, 254759.80), 0.01, id="Lambert, US survey foot",
        marks=pytest.mark.from_memory(GUIDANCE_7_2 + REPRODUCED),
    ),
    pytest.param(
        "EPSG:4242", "EPSG:24200", "17°55'55.80\"N", "76°56'37.26\"W", (255966.58, 142493.51), 0.01,
        id="Lambert with one parallel", marks=pytest.mark.from_memory(GUIDANCE_7_2 + REPRODUCED),
    ),
    pytest.param(
        "EPSG:4298", "EPSG:29873", "5°23'14.1129\"N", "115°48'19.8196\"E", (679245.73, 596562.78), 0.01,
        id="oblique Mercator", marks=pytest.mark.from_memory(GUIDANCE_7_2 + REPRODUCED),
    ),
    pytest.param(
        "EPSG:4289", "EPSG:28992", "53°00'N", "6°00'E", (196105.28, 557057.74), 0.01, id="oblique stereographic",
        marks=pytest.mark.from_memory(GUIDANCE_7_2 + REPRODUCED),
    ),
    pytest.param(
        "EPSG:4326", "EPSG:3857", "24.38178694 N", "100.33333333 W", (-11169055.58, 2800000.00), 0.01,
        id="pseudo-Mercator",
        marks=pytest.mark.seen(f"OSGeo/PROJ, test/gie/4D-API_cs2cs-style.gie, which cites {GUIDANCE_7_2}"),
    ),
    pytest.param(
        "EPSG:4258", "EPSG:25832", "55.0 N", "12.0 E", (691875.6321, 6098907.8250), 1e-4, id="UTM zone 32",
        marks=pytest.mark.seen(PROJ_TESTS),
    ),
    pytest.param(  # axes to north and east, in that order
        "EPSG:4123", "EPSG:2393", "60.1699 N", "24.9384 E", (3385559.8151, 6674944.7742), 1e-4, id="northing first",
        marks=pytest.mark.seen(PROJ_TESTS),
    ),
]  # fmt: skip


@pytest.mark.parametrize(("origin", "target", "latitude", "longitude", "expected", "tolerance"), PROJECTED)
def test_a_published_position_projects_to_its_published_place(
    origin: str, target: str, latitude: str, longitude: str, expected: tuple[float, float], tolerance: float
) -> None:
    east, north, crossing = brought(origin, target, degrees(longitude), degrees(latitude))
    assert (east, north) == pytest.approx(expected, abs=tolerance)
    assert crossing.accuracy_m == 0.0  # a projection loses nothing


@pytest.mark.parametrize(("origin", "target", "latitude", "longitude", "expected", "tolerance"), PROJECTED)
def test_a_published_place_comes_back_to_its_position(
    origin: str, target: str, latitude: str, longitude: str, expected: tuple[float, float], tolerance: float
) -> None:
    lon, lat, _ = brought(target, origin, *expected)
    metres_per_degree = 50_000  # at 60 degrees, and more than that nearer the equator
    assert (lon, lat) == pytest.approx((degrees(longitude), degrees(latitude)), abs=tolerance / metres_per_degree)


@pytest.mark.computed("geo.md S5: 3857 stretches lengths; at 30.25 degrees 1 / cos(latitude) = 1.1576")
@pytest.mark.parametrize(("code", "scale"), [("EPSG:3857", "1.1576"), ("EPSG:4087", "1.1576")])
def test_a_map_of_the_world_is_no_frame_to_measure_in(code: str, scale: str) -> None:
    """PROJ 9.5.1 puts EPSG:4087 25 km off what GN 7-2 prints for 55 N; nobody should lay a route out in it anyway."""
    with pytest.raises(FrameError, match=rf"{scale} times true.*EPSG:32614"):
        working_frame(code, np.array([-97.25]), np.array([30.25]))


@pytest.mark.seen(f"OSGeo/PROJ, test/cli/test_cs2cs_various.yaml, which cites {GUIDANCE_7_2}")
def test_a_similarity_between_two_grids() -> None:
    east, north, crossing = brought("EPSG:23031", "EPSG:25831", 300000.0, 4500000.0)
    assert (east, north) == pytest.approx((299905.060, 4499796.515), abs=1e-3)
    assert crossing.accuracy_m > 0


@pytest.mark.seen("GDA2020 Technical Manual 1.0 (ICSM), as in OSGeo/PROJ, test/gie/GDA.gie: Alice Springs, to 2 mm")
def test_gda94_to_gda2020_at_alice_springs() -> None:
    lon, lat, crossing = brought("EPSG:4283", "EPSG:7844", 133.88551329, -23.67012389)
    metres = ((lon - 133.8855216) * 101_950, (lat + 23.67011014) * 110_750)  # of a degree at 23.67 degrees south
    assert np.hypot(*metres) < 0.002
    assert crossing.accuracy_m == 0.01


@pytest.mark.computed("pyproj 3.7.2, PROJ 9.5.1, EPSG register v11.022")
def test_mga94_to_mga2020_moves_a_joint_by_a_metre_and_a_half() -> None:
    east, north, crossing = brought("EPSG:28355", "EPSG:7855", 500000.0, 5905127.6297)
    assert (east, north) == pytest.approx((500000.5057, 5905129.0741), abs=1e-3)
    assert np.hypot(east - 500000.0, north - 5905127.6297) == pytest.approx(1.530, abs=1e-3)
    assert crossing.accuracy_m == 0.01


@pytest.mark.seen(f"{PROJ_TESTS}: each pair of positions with two coordinates in it")
def test_the_register_without_grids(shared_data: Path) -> None:
    text = (shared_data / "crs" / "proj_epsg_no_grid.gie").read_text(encoding="utf-8")
    found = re.findall(
        r"crs_src\s+(EPSG:\d+).*\ncrs_dst\s+(EPSG:\d+).*\n+tolerance\s+([\d.]+) mm\n"
        r"accept +(\S+) +(\S+) *\nexpect +(\S+) +(\S+) *\n",
        text,
    )
    assert len(found) == 2
    for origin, target, tolerance, latitude, longitude, first, second in found:
        expected = sorted((float(first), float(second)))  # both targets have the northing as the greater
        place = brought(origin, target, float(longitude), float(latitude))[:2]
        assert place == pytest.approx(expected, abs=float(tolerance) / 1000)
