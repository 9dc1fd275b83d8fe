"""Circular curves of published examples, laid out as fine polylines: measured, located and projected.

A polyline of n chords is shorter than its arc by L (a / n)² / 24, a the whole angle: here less than 1e-5 ft. So the
tolerances are those of the printed values. All measures here are in feet, as in the sources.
"""

import numpy as np
import pytest

from asbuilt.alignment import MeasuredLine, locate, project
from asbuilt.read.cells import angles
from asbuilt.stationing import label, parse_label

CHAPTER_C = "jerrymahun.com, open access, VII Curves, chapter C"
CHORDS = 2000
CUT_OFF_FT = 0.002  # the source cuts values off at 0.001 ft, and adds them


def degrees(text: str) -> float:
    return float(angles([text], decimal=".", letters="EW", limit=180.0).values[0])


def curve(angle_deg: float, radius: float, *, start: float) -> MeasuredLine:
    """Return a curve to the right that leaves the origin northwards, as chords; measured from `start`."""
    turned = np.linspace(0.0, np.radians(angle_deg), CHORDS + 1)
    xy = radius * np.column_stack([1 - np.cos(turned), np.sin(turned)])
    return measured(xy, start=start)


def measured(xy: np.ndarray, *, start: float) -> MeasuredLine:
    return MeasuredLine(xy, start + np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))]))


FIRST = curve(55.0, 500.0, start=2239.716)
TANGENT = 500.0 * np.tan(np.radians(55.0 / 2))


@pytest.mark.seen(f"{CHAPTER_C}: 55°00'00\", R 500.00 ft, PI 25+00.00")
def test_the_first_curve_has_its_published_length_and_ends() -> None:
    assert FIRST.measure[-1] - FIRST.measure[0] == pytest.approx(479.965, abs=CUT_OFF_FT)
    assert parse_label("25+00.00", station_length=100) - TANGENT == pytest.approx(2239.716, abs=CUT_OFF_FT)
    assert FIRST.measure[-1] == pytest.approx(parse_label("27+19.681", station_length=100), abs=CUT_OFF_FT)


@pytest.mark.seen(f"{CHAPTER_C}: the same curve, its chord, external distance and middle ordinate")
def test_the_first_curve_bends_as_published() -> None:
    begin, middle, end = locate(FIRST, FIRST.measure[0] + 479.965 * np.array([0.0, 0.5, 1.0]))
    assert np.hypot(*(end - begin)) == pytest.approx(461.749, abs=CUT_OFF_FT)
    assert np.hypot(*(np.array([0.0, TANGENT]) - middle)) == pytest.approx(63.691, abs=CUT_OFF_FT)
    assert np.hypot(*((begin + end) / 2 - middle)) == pytest.approx(56.494, abs=CUT_OFF_FT)


@pytest.mark.computed("the same curve, its tangent at azimuth 75°40'10\" and its PI at N 1000 E 5000, turned right")
@pytest.mark.parametrize(
    ("station", "northing", "easting"),
    [("22+39.716", 935.576, 4747.815), ("23+00", 946.944, 4806.980), ("25+00", 932.959, 5005.157),
     ("27+19.681", 830.375, 5197.420)],
)  # fmt: skip
def test_the_first_curve_with_coordinates(station: str, northing: float, easting: float) -> None:
    azimuth = np.radians(degrees("75°40'10\""))
    ahead, right = np.array([np.sin(azimuth), np.cos(azimuth)]), np.array([np.cos(azimuth), -np.sin(azimuth)])
    begin = np.array([5000.0, 1000.0]) - TANGENT * ahead
    line = MeasuredLine(begin + FIRST.xy @ np.stack([right, ahead]), FIRST.measure)
    found = project(line, np.array([[easting, northing]]), reach=np.array([1.0]))
    assert found.measure == pytest.approx([parse_label(station, station_length=100)], abs=CUT_OFF_FT)
    assert found.offset == pytest.approx([0.0], abs=CUT_OFF_FT)


SECOND = curve(45 + 49 / 60 + 45 / 3600, 800.0, start=5084.98)
CHORD_TABLE = [("51+00", "0°32'17\"", 15.02), ("53+00", "7°42'00\"", 214.38), ("55+00", "14°51'43\"", 410.38),
               ("57+00", "22°01'26\"", 599.99)]  # fmt: skip
RADIAL_CHORDS = "jerrymahun.com, self-study set 2: 45°49'45\", R 800.00 ft, BC 50+84.98, radial chords"


@pytest.mark.seen(f"{RADIAL_CHORDS}; it prints L as 693.90, two digits changed round: EC - BC is 639.90")
def test_the_second_curve_has_its_published_length_and_end() -> None:
    assert label(float(SECOND.measure[-1]), station_length=100, decimals=2) == "57+24.88"
    assert SECOND.measure[-1] - SECOND.measure[0] == pytest.approx(639.90, abs=0.005)
    assert np.hypot(*SECOND.xy[-1]) == pytest.approx(622.97, abs=0.005)


@pytest.mark.seen(RADIAL_CHORDS)
@pytest.mark.parametrize(("station", "deflection", "chord"), CHORD_TABLE)
def test_a_station_lies_at_its_published_deflection_and_chord(station: str, deflection: str, chord: float) -> None:
    x, y = locate(SECOND, np.array([parse_label(station, station_length=100)]))[0]
    assert np.degrees(np.arctan2(x, y)) == pytest.approx(degrees(deflection), abs=1 / 3600)
    assert np.hypot(x, y) == pytest.approx(chord, abs=0.01)


@pytest.mark.seen(RADIAL_CHORDS)
@pytest.mark.parametrize(("station", "deflection", "chord"), CHORD_TABLE)
def test_a_published_deflection_and_chord_project_to_their_station(station: str, deflection: str, chord: float) -> None:
    """A second of deflection at 600 ft is 0.003 ft, and the chord is printed to 0.01 ft."""
    turned = np.radians(degrees(deflection))
    point = chord * np.array([[np.sin(turned), np.cos(turned)]])
    found = project(SECOND, point, reach=np.array([1.0]))
    assert found.measure == pytest.approx([parse_label(station, station_length=100)], abs=0.01)
    assert found.offset == pytest.approx([0.0], abs=0.01)


@pytest.mark.computed("the same curve to the right: the radius is the same line at every point of it")
def test_a_point_off_the_curve_has_its_offset_and_side() -> None:
    at = np.radians(45 + 49 / 60 + 45 / 3600) * (5300.0 - 5084.98) / 639.90
    inside, outside = ((800.0 - off) * np.array([-np.cos(at), np.sin(at)]) + [800.0, 0.0] for off in (11.5, -11.5))
    found = project(SECOND, np.stack([inside, outside]), reach=np.array([20.0, 20.0]))
    assert found.measure == pytest.approx([5300.0, 5300.0], abs=0.005)
    assert found.offset == pytest.approx([11.5, -11.5], abs=1e-4)


@pytest.mark.seen(
    "nh.gov, spiral curve data: R 300.00 ft, spirals of 200.00 ft, 77°47'44.8\" in all, printed to 0.01 ft"
)
def test_a_spiral_curve_ends_where_it_is_published() -> None:
    step = np.arange(0.0, 200.0, 0.05) + 0.025  # the middle of each chord
    xy = np.cumsum(0.05 * np.column_stack([np.sin(step**2 / 120_000), np.cos(step**2 / 120_000)]), axis=0)
    spiral = measured(np.concatenate([np.zeros((1, 2)), xy]), start=0.0)
    (across, along), *_ = locate(spiral, np.array([200.0]))
    assert (along, across) == pytest.approx((197.79, 22.05), abs=0.006)
    assert np.hypot(along, across) == pytest.approx(199.01, abs=0.006)
    assert project(spiral, np.array([[22.0465, 197.7892]]), reach=np.array([1.0])).measure == pytest.approx(
        [200.0], abs=1e-3
    )
