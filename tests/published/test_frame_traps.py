"""What a coordinate library does without a word, and this tool must not: grids, null shifts, axes, heights, epochs.

"Offline" below is pyproj 3.7.2 with PROJ 9.5.1, the EPSG register v11.022, no network and no grid files.
"""

import re
from pathlib import Path

import numpy as np
import pyproj
import pytest

from asbuilt.crs import Crossing, frame, transform, working_frame
from asbuilt.errors import FrameError

OFFLINE = "pyproj 3.7.2, PROJ 9.5.1, EPSG register v11.022, offline"
HERE = (np.array([-97.25]), np.array([30.25]))
MELBOURNE = (np.array([147.0]), np.array([-37.0]))


def brought(
    origin: str, target: str, x: np.ndarray, y: np.ndarray, epoch: float | None = None
) -> tuple[np.ndarray, Crossing]:
    frames = {"origin": frame(origin, where="origin"), "target": frame(target, where="target")}
    one = transform(x, y, **frames, epoch=epoch)
    return np.stack(one[:2]), one[2]


def no_grids() -> bool:
    folders = (pyproj.datadir.get_data_dir(), pyproj.datadir.get_user_data_dir())
    return not any(found for folder in folders for found in Path(folder).glob("*.tif"))


without_grids = pytest.mark.skipif(not no_grids(), reason="grid files are installed here")


@without_grids
@pytest.mark.computed(f"{OFFLINE}: the register's operations of known accuracy all need a grid file")
@pytest.mark.parametrize(
    ("origin", "target", "place"),
    [
        ("EPSG:4267", "EPSG:4269", HERE),
        ("EPSG:4267", "EPSG:26914", HERE),
        ("EPSG:27700", "EPSG:4258", (np.array([530000.0]), np.array([180000.0]))),
        ("EPSG:4277", "EPSG:4258", (np.array([-0.12]), np.array([51.5]))),
    ],
)
def test_a_missing_grid_or_a_ballpark_is_refused(
    origin: str, target: str, place: tuple[np.ndarray, np.ndarray]
) -> None:
    with pytest.raises(FrameError, match=r"no operation of known accuracy.*install the grid file"):
        brought(origin, target, *place)


@without_grids
@pytest.mark.computed(f"{OFFLINE}: WGS 84 to plain NAD83: 4 m at hand, 2 m with a grid file")
def test_a_lesser_operation_is_taken_with_its_own_accuracy_and_names_the_better_one() -> None:
    _, crossing = brought("EPSG:4326", "EPSG:26914", *HERE)
    assert crossing.accuracy_m == 4.0
    assert re.search(r"\(2 m\) needs the grid file us_noaa_\w+\.tif", crossing.better)


@pytest.mark.computed("the zone beside the right one: 0.9996 (1 + x² / 2 R²) for 6 degrees from its middle is 1.0038")
def test_a_utm_zone_too_far_is_refused_and_the_right_one_named() -> None:
    with pytest.raises(FrameError, match=r'1\.00\d+ times true at the route.*"EPSG:32615"'):
        working_frame("EPSG:32616", np.array([-92.86]), np.array([38.27]))


@without_grids
@pytest.mark.skipif(pyproj.proj_version_str != "9.5.1", reason="the trap was measured with PROJ 9.5.1")
@pytest.mark.computed(f"{OFFLINE}: only_best is ignored with always_xy, and a lesser operation serves without a word")
@pytest.mark.parametrize(
    ("origin", "target", "place", "found", "accuracy_m"),
    [
        ("EPSG:27700", "EPSG:4258", (530000, 180000), (-0.12835394, 51.50399083), 3.0),
        ("EPSG:4267", "EPSG:4269", (-97.25, 30.25), (-97.25029095, 30.25021106), 11.0),
    ],
)
def test_the_library_itself_takes_a_lesser_operation(
    origin: str, target: str, place: tuple[float, float], found: tuple[float, float], accuracy_m: float
) -> None:
    trap = pyproj.Transformer.from_crs(origin, target, always_xy=True, only_best=True)
    assert trap.transform(*place) == pytest.approx(found, abs=1e-7)
    assert trap.get_last_used_operation().accuracy == accuracy_m


@pytest.mark.computed(
    f"EPSG register v11.022: WGS 84 is laid on both, each time as a null shift good to 3 m; {OFFLINE}"
)
def test_wgs_84_is_taken_for_two_frames_that_lie_apart() -> None:
    old, to_old = brought("EPSG:4326", "EPSG:28355", *MELBOURNE)
    new, to_new = brought("EPSG:4326", "EPSG:7855", *MELBOURNE)
    assert old == pytest.approx(new, abs=1e-4)
    assert old.ravel() == pytest.approx([500000.0, 5905127.6297], abs=1e-3)
    assert (to_old.accuracy_m, to_new.accuracy_m) == (3.0, 3.0)
    apart = np.hypot(*(brought("EPSG:28355", "EPSG:7855", *old)[0] - new))
    assert apart == pytest.approx(1.530, abs=1e-3)


@pytest.mark.computed(f"EPSG register v11.022: the null shifts from WGS 84 are good to 1 m and 2 m; {OFFLINE}")
@pytest.mark.parametrize(
    ("target", "same_plane", "accuracy_m"), [("EPSG:25832", "EPSG:32632", 1.0), ("EPSG:6343", "EPSG:32614", 2.0)]
)
def test_a_null_shift_carries_its_accuracy(target: str, same_plane: str, accuracy_m: float) -> None:
    place = HERE if target == "EPSG:6343" else (np.array([12.0]), np.array([55.0]))
    shifted, crossing = brought("EPSG:4326", target, *place)
    plain, none = brought("EPSG:4326", same_plane, *place)
    assert shifted == pytest.approx(plain, abs=2e-4)  # the two ellipsoids differ by a tenth of a millimetre
    assert (crossing.accuracy_m, none.accuracy_m) == (accuracy_m, 0.0)


@pytest.mark.computed("EPSG register v11.022: WGS 84 to NAD83(2011) is a null shift, good to 2 m")
def test_a_null_shift_between_geographic_frames_carries_its_accuracy() -> None:
    place, crossing = brought("EPSG:4326", "EPSG:6318", *HERE)
    assert place.ravel() == pytest.approx([-97.25, 30.25], abs=1e-9)
    assert crossing.accuracy_m == 2.0


@pytest.mark.computed(f"EPSG register v11.022: the realisations that one name covers lie so far apart; {OFFLINE}")
@pytest.mark.parametrize(
    ("code", "spread_m"),
    [("EPSG:4326", 2.0), ("EPSG:32614", 2.0), ("EPSG:4258", 0.1), ("EPSG:25832", 0.1), ("EPSG:9755", 0.0),
     ("EPSG:7844", 0.0), ("EPSG:6318", 0.0)],
)  # fmt: skip
def test_an_ensemble_says_how_far_apart_its_members_lie(code: str, spread_m: float) -> None:
    assert frame(code, where="crs").ensemble_accuracy_m == spread_m


@pytest.mark.seen("OSGeo/PROJ, test/gie/epsg_no_grid.gie: GDA2020 and ITRF2014 part by 0.34 m between 2020 and 2026")
def test_a_frame_that_drifts_needs_the_epoch_of_the_fix() -> None:
    fix_of_2026 = (np.array([151.207701181]), np.array([-33.862297056]))
    joint, _ = brought("EPSG:7844", "EPSG:7856", np.array([151.2077]), np.array([-33.8623]))
    fix, _ = brought("EPSG:7912", "EPSG:7856", *fix_of_2026, epoch=2026.0)
    assert np.hypot(*(fix - joint))[0] < 0.005
    with pytest.raises(FrameError, match="depends on the date, and none is known"):
        brought("EPSG:7912", "EPSG:7856", *fix_of_2026)


@pytest.mark.computed(f"ITRF2014 at 2026.0 to NAD83(2011): 1.2182 m; {OFFLINE}")
def test_a_shift_that_grows_needs_the_epoch_of_the_fix() -> None:
    joint, _ = brought("EPSG:6318", "EPSG:6343", np.array([-97.2499883645]), np.array([30.2499956746]))
    fix, _ = brought("EPSG:9755", "EPSG:6343", *HERE, epoch=2026.0)
    assert np.hypot(*(fix - joint))[0] < 0.005
    with pytest.raises(FrameError, match="depends on the date, and none is known"):
        brought("EPSG:9755", "EPSG:6343", *HERE)


@pytest.mark.computed(f"{OFFLINE}: in the axis order of the register")
def test_easting_comes_first_whatever_the_register_says() -> None:
    place, _ = brought("EPSG:4326", "EPSG:32614", *HERE)
    assert place.ravel() == pytest.approx([668371.777, 3347783.519], abs=1e-3)


@pytest.mark.computed(f"{OFFLINE}: latitude and longitude swapped give infinity, and the library raises nothing")
def test_swapped_axes_give_no_silent_infinity() -> None:
    with pytest.raises(FrameError, match=r"has no place in .*the order of its axes"):
        brought("EPSG:4326", "EPSG:32614", *HERE[::-1])
    mixed = (np.concatenate([HERE[1], HERE[0]]), np.concatenate([HERE[0], HERE[1]]))
    place, _ = brought("EPSG:4326", "EPSG:32614", *mixed)
    assert np.isnan(place[:, 0]).all()
    assert place[:, 1] == pytest.approx([668371.777, 3347783.519], abs=1e-3)


@pytest.mark.computed("EPSG register v11.022: which way the axes of these frames point")
@pytest.mark.parametrize(
    ("code", "first"),
    [("EPSG:2193", "north"), ("EPSG:3875", "north"), ("EPSG:6669", "north"), ("EPSG:6676", "north"),
     ("EPSG:31370", "east")],
)  # fmt: skip
def test_frames_are_listed_in_either_order(code: str, first: str) -> None:
    one = frame(code, where="crs")
    area = one.crs.area_of_use
    middle = (np.array([(area.west + area.east) / 2]), np.array([(area.south + area.north) / 2]))
    east, north = transform(*middle, origin=one.base, target=one)[:2]
    plain = pyproj.Transformer.from_crs(one.base.crs, one.crs, always_xy=True).transform(*middle)
    assert one.crs.axis_info[0].direction == first
    assert (east[0], north[0]) == pytest.approx((plain[0][0], plain[1][0]), abs=1e-6)


@pytest.mark.computed(f"{OFFLINE}: these come out with the height unchanged, of unknown accuracy, and no error")
@pytest.mark.parametrize(("origin", "target"), [("EPSG:4979", "EPSG:4326+3855"), ("EPSG:6319", "EPSG:6318+5703")])
def test_heights_are_never_transformed(origin: str, target: str) -> None:
    height = pyproj.Transformer.from_crs(origin, target, only_best=True).transform(30.25, -97.25, 100.0)[2]
    place, crossing = brought(origin, target, *HERE)
    assert height == 100.0
    assert place.shape == (2, 1)  # a height has no way in, and none out
    assert crossing == Crossing(frame(origin, where="").label, frame(target, where="").label, "none needed", 0.0)


@pytest.mark.computed(
    "the zone of a UTM grid is 6 degrees wide, and zone 1 begins at 180 W; codes of the EPSG register"
)
@pytest.mark.parametrize(
    ("code", "longitude", "latitude", "serves"),
    [
        ("EPSG:4326", -97.25, 30.25, '"EPSG:32614" (WGS 84 / UTM zone 14N)'),
        ("EPSG:4326", 147.0, -37.0, '"EPSG:32755" (WGS 84 / UTM zone 55S)'),
        ("EPSG:6318", -97.25, 30.25, '"EPSG:6343" (NAD83(2011) / UTM zone 14N)'),
        ("EPSG:4258", 9.0, 55.0, "ETRS89 / UTM zone 32N"),
    ],
)
def test_a_geographic_working_frame_is_refused_with_the_zone_that_serves(
    code: str, longitude: float, latitude: float, serves: str
) -> None:
    place = (np.array([longitude, longitude + 0.01]), np.array([latitude, latitude + 0.01]))
    with pytest.raises(FrameError, match=rf"is not projected; lengths need a plane: .*{re.escape(serves)}"):
        working_frame(code, *place)


@pytest.mark.computed("EPSG register v11.022: these have no axes to east and north")
@pytest.mark.parametrize(("code", "axes"), [("EPSG:4978", "geocentricX"), ("EPSG:32661", "south and south")])
def test_a_frame_without_east_and_north_is_refused(code: str, axes: str) -> None:
    with pytest.raises(FrameError, match=rf"has axes to {axes}.*use a frame with axes to east and north"):
        frame(code, where="crs")
