"""Lines where the nearest point is not the answer: what a projection must offer, in closed form.

The nearest answers were also measured with shapely 2.2; the truth is plain geometry.
"""

import numpy as np
import pytest

from asbuilt.alignment import Candidates, MeasuredLine, project

CLOSED_FORM = pytest.mark.computed("plane geometry in closed form")


def line(*vertices: tuple[float, float]) -> MeasuredLine:
    xy = np.array(vertices, dtype=float)
    return MeasuredLine(xy, np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))]))


def on(of: MeasuredLine, *points: tuple[float, float], reach: float = 9.0) -> Candidates:
    return project(of, np.array(points, dtype=float), reach=np.full(len(points), reach))


HAIRPIN = line((0, 0), (0, 100), (10, 100), (10, 0))
LAID = ((5.4, 20), (4.6, 40), (5.2, 60), (4.9, 80))  # all on the first leg, laid in this order


@CLOSED_FORM
def test_a_hairpin_offers_both_legs_and_the_nearest_first() -> None:
    found = on(HAIRPIN, *LAID)
    assert found.point.tolist() == [0, 0, 1, 1, 2, 2, 3, 3]
    assert found.measure[::2] == pytest.approx([190, 40, 150, 80])
    both = found.measure.reshape(4, 2)
    assert both.min(axis=1) == pytest.approx([20, 40, 60, 80])
    assert both.max(axis=1) == pytest.approx([190, 170, 150, 130])


@CLOSED_FORM
def test_a_hairpin_has_the_joint_right_of_either_leg() -> None:
    found = on(HAIRPIN, *LAID)
    assert found.offset == pytest.approx([4.6, 5.4, 4.6, 5.4, 4.8, 5.2, 4.9, 5.1])
    assert np.abs(found.offset) == pytest.approx(found.distance)


@CLOSED_FORM
def test_a_self_crossing_is_two_places_at_once() -> None:
    found = on(line((0, 0), (100, 0), (100, 50), (50, 50), (50, -50)), (50, 0))
    assert found.measure == pytest.approx([50, 250])
    assert found.distance == pytest.approx([0, 0])


@CLOSED_FORM
@pytest.mark.parametrize("bearing", [-80.0, -45.0, -10.0])
def test_outside_a_corner_distinct_joints_fall_on_one_chainage(bearing: float) -> None:
    x, y = 5 * np.cos(np.radians(bearing)), 5 * np.sin(np.radians(bearing))
    found = on(line((0, 0), (100, 0), (100, 100)), (100 + x, y))
    assert found.measure == pytest.approx([100])
    assert found.offset == pytest.approx([5.0])  # to the right of a line that turns left


@CLOSED_FORM
def test_inside_a_corner_one_joint_has_two_places() -> None:
    found = on(line((0, 0), (100, 0), (100, 100)), (95, 5))
    assert found.measure == pytest.approx([95, 105])
    assert found.offset == pytest.approx([-5, -5])


@CLOSED_FORM
def test_past_an_end_the_last_leg_runs_on_and_is_not_clamped() -> None:
    found = on(line((0, 0), (100, 0)), (107, 3), (-4, 1), (60, 2))
    assert found.measure == pytest.approx([107, -4, 60])
    assert found.beyond == pytest.approx([7, -4, 0])
    assert found.offset == pytest.approx([-3, -1, -2])
    assert found.distance == pytest.approx([np.hypot(7, 3), np.hypot(4, 1), 2])


@pytest.mark.seen("jerrymahun.com: 11+68.26 82.40R, left and right as seen looking up-station")
def test_the_sign_of_an_offset_is_the_side_a_person_sees() -> None:
    north = line((0, 0), (0, 2000))
    found = on(north, (82.40, 1168.26), (-82.40, 1168.26), reach=100.0)
    assert found.measure == pytest.approx([1168.26, 1168.26])
    assert found.offset == pytest.approx([82.40, -82.40])
