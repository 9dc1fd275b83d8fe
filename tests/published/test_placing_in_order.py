"""Lines where the nearest point is not the answer: what the order of the work makes of them, in closed form.

The lines and the nearest answers stand in test_snapping.py, measured with shapely 2.2 too; the truth is plain geometry.
"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import shapely

from asbuilt.alignment import MeasuredLine
from asbuilt.judge.places import SURE_OF_LEG
from asbuilt.place.placing import Laying
from tests.bench.placement import LAYING
from tests.bench.truth import line_through
from tests.place_rows import placed, records

CLOSED_FORM = pytest.mark.computed("plane geometry in closed form")
HAIRPIN = line_through((0, 0), (0, 100), (10, 100), (10, 0))
LAID = np.array([(5.4, 20), (4.6, 40), (5.2, 60), (4.9, 80)])  # all on the first leg, laid in this order
CROSSING = line_through((0, 0), (100, 0), (100, 50), (50, 50), (50, -50))
CORNER = line_through((0, 0), (100, 0), (100, 100))


def sticks_of(metres: float) -> Laying:
    return replace(LAYING, sticks=replace(LAYING.sticks, stick_m=metres))


def laid(xy: np.ndarray, line: MeasuredLine, *, stick: float, **columns: object) -> pd.DataFrame:
    return placed(records(xy, **columns), line, laying=sticks_of(stick)).joints


@CLOSED_FORM
@pytest.mark.parametrize("backwards", [False, True])
def test_four_joints_in_a_row_lie_on_one_leg_and_nobody_knows_on_which(backwards: bool) -> None:
    """Up one leg or down the other: the steps are the same, and the fixes lie half way between."""
    found = laid(LAID[::-1] if backwards else LAID, HAIRPIN, stick=20.0)
    first, second = np.array([20, 40, 60, 80]), np.array([190, 170, 150, 130])
    if backwards:
        first, second = first[::-1], second[::-1]
    on_first = abs(found["chainage_m"].iloc[0] - first[0]) < 1
    here, there = (first, second) if on_first else (second, first)
    assert found["chainage_m"].tolist() == pytest.approx(list(here), abs=0.5)
    assert found["other_chainage_m"].tolist() == pytest.approx(list(there), abs=0.5)
    assert (found["leg_probability"] < SURE_OF_LEG).all()


@CLOSED_FORM
@pytest.mark.parametrize("backwards", [False, True])
def test_the_same_joints_are_put_right_by_those_that_follow_round_the_bend(backwards: bool) -> None:
    at = np.append(np.arange(20.0, 101.0, 20.0), np.arange(120.0, 201.0, 20.0))
    xy = shapely.get_coordinates(shapely.line_interpolate_point(shapely.linestrings(HAIRPIN.xy), at))
    xy[:4] = LAID
    xy, at = (xy[::-1], at[::-1]) if backwards else (xy, at)
    found = laid(xy, HAIRPIN, stick=20.0)
    assert found["chainage_m"].tolist() == pytest.approx(list(at), abs=0.7)
    assert (found["leg_probability"] > SURE_OF_LEG).all()


@CLOSED_FORM
def test_no_leg_of_a_hairpin_is_sure_where_no_order_is_known() -> None:
    found = laid(LAID, HAIRPIN, stick=20.0, machine=None)
    assert found["chainage_m"].tolist() == pytest.approx([190, 40, 150, 80])
    assert found["other_chainage_m"].tolist() == pytest.approx([20, 170, 60, 130])
    assert (found["leg_probability"] < SURE_OF_LEG).all()


@CLOSED_FORM
def test_a_crossing_is_passed_twice_and_the_neighbours_say_when() -> None:
    """Sticks of 10 m along all of it: joints at 50 and 250 lie on one spot."""
    at = np.arange(10.0, 300.0, 10.0)
    xy = shapely.get_coordinates(shapely.line_interpolate_point(shapely.linestrings(CROSSING.xy), at))
    found = laid(xy, CROSSING, stick=10.0, sd_m=0.5)
    np.testing.assert_array_equal(xy[4], xy[24])
    assert found["chainage_m"].tolist() == pytest.approx(list(at), abs=0.01)
    assert sorted(found.loc[[4, 24], "other_chainage_m"]) == pytest.approx([50, 250])


@CLOSED_FORM
def test_a_crossing_without_an_order_is_even() -> None:
    found = laid(np.array([[50.0, 0.0]]), CROSSING, stick=10.0, machine=None)
    assert found["leg_probability"].tolist() == pytest.approx([0.5])


@pytest.mark.computed("shapely: offset_curve, line_interpolate_point and line_locate_point")
def test_outside_a_corner_joints_keep_their_order_and_their_sticks() -> None:
    """Laid 2 m to the outside, where a reach of the pipe has its nearest point in the corner itself."""
    pipe = shapely.offset_curve(shapely.linestrings(CORNER.xy), -2.0, join_style="round")
    for first in np.arange(1.0, 12.0, 2.0):
        points = shapely.line_interpolate_point(pipe, np.arange(first, pipe.length, 12.0))
        found = laid(shapely.get_coordinates(points), CORNER, stick=12.0, sd_m=0.5)
        nearest = shapely.line_locate_point(shapely.linestrings(CORNER.xy), points)
        assert found["chainage_m"].to_numpy() == pytest.approx(
            nearest, abs=2.0
        )  # the arc, 3.1 m, is all the line lacks
        assert (np.diff(found["chainage_m"]) > 12.0 - 2.0 * np.pi / 2 - 0.5).all()


@CLOSED_FORM
def test_inside_a_corner_two_places_compete_until_the_order_tells() -> None:
    at = np.arange(5.0, 200.0, 10.0)
    xy = shapely.get_coordinates(shapely.line_interpolate_point(shapely.linestrings(CORNER.xy), at))
    xy[9] = (95, 5)  # at 95, five metres to the inside
    alone = laid(xy[9:10], CORNER, stick=10.0, machine=None, sd_m=1.5)
    assert alone["leg_probability"].tolist() == pytest.approx([0.5])
    found = laid(xy, CORNER, stick=10.0, sd_m=1.5)
    assert found["chainage_m"].tolist() == pytest.approx(list(at), abs=0.5)


@CLOSED_FORM
def test_past_the_ends_a_joint_is_beyond_and_not_clamped() -> None:
    line = line_through((0, 0), (100, 0))
    found = laid(np.array([(107.0, 3.0), (-4.0, 1.0), (60.0, 2.0)]), line, stick=12.0, machine=None)
    assert found["chainage_m"].tolist() == pytest.approx([107, -4, 60])
    assert found["beyond_m"].tolist() == pytest.approx([7, -4, 0])
    assert found["offset_m"].tolist() == pytest.approx([-3, -1, -2])


@CLOSED_FORM
def test_a_run_that_ends_beyond_the_line_says_by_how_much() -> None:
    line = line_through((0, 0), (100, 0))
    at = np.arange(4.0, 130.0, 12.0)
    found = laid(np.column_stack([at, np.zeros(len(at))]), line, stick=12.0, sd_m=0.1)
    assert found["chainage_m"].tolist() == pytest.approx(list(at), abs=0.01)
    assert found["beyond_m"].tolist() == pytest.approx(list(np.maximum(at - 100, 0)), abs=0.01)
