"""Least bend radii, wall strain and radii from three points against printed values.

The table is that of a trade handbook which may not be named; from memory it equals the one of AWWA M55.
"""

import numpy as np
import pandas as pd
import pytest

from asbuilt.curvature import of_three
from asbuilt.handbook import bend_limits, bend_radii
from asbuilt.judge.bends import judge_bends, wall_strain
from asbuilt.quantities import convert

HANDBOOK = "trade handbook (unnamed), table of least bend radii, long term, cold"


@pytest.mark.second_hand(HANDBOOK)
@pytest.mark.parametrize(
    ("dr", "ratio"),
    [(7, 20), (9, 20), (11, 25), (13.5, 25), (15, 25), (17, 27), (21, 27), (26, 34), (32.5, 42), (41, 52)],
)
def test_the_ratio_of_a_class(dr: float, ratio: float) -> None:
    found = bend_limits(np.array([dr]))
    assert found.ratio == pytest.approx([ratio])
    assert found.status == "second-hand"


@pytest.mark.seen("eng-tips.com, viewthread 100846: the steps 20, 25 and 27 of the same table")
def test_the_steps_that_a_second_text_gives() -> None:
    assert list(bend_limits(np.array([9.0, 11.0, 17.0])).ratio) == [20, 25, 27]


@pytest.mark.second_hand(f"{HANDBOOK}: the same while the pipe is being laid")
@pytest.mark.parametrize(("dr", "ratio"), [(7, 10), (9, 10), (11, 13), (13.5, 13), (15, 13), (17, 17), (21, 17)])
def test_the_short_term_ratio_of_a_class(dr: float, ratio: float) -> None:
    assert bend_limits(np.array([dr])).short_term == pytest.approx([ratio])


@pytest.mark.second_hand(f"{HANDBOOK}: none is printed for thinner walls while laying")
def test_no_short_term_ratio_is_made_up() -> None:
    assert np.isnan(bend_limits(np.array([26.0, 32.5, 41.0])).short_term).all()


@pytest.mark.second_hand(f"{HANDBOOK}: a fitting or flange in the bend")
def test_the_ratio_beside_a_fitting() -> None:
    assert bend_limits(np.array([11.0])).fitting == 100
    radius_in = bend_radii().fitting.ratio * 8.625  # 8 in IPS is 8.625 in
    assert convert(np.array([radius_in]), "in", "ft") == pytest.approx([71.87], abs=0.01)


@pytest.mark.computed(
    "the handbook's 25 x OD: 8 in IPS (8.625 in) of DR 11 may be bent to 215.6 in = 17.97 ft = 5.477 m"
)
def test_the_radius_of_an_eight_inch_pipe() -> None:
    radius = bend_limits(np.array([11.0])).ratio * 8.625
    assert radius == pytest.approx([215.6], abs=0.05)
    assert convert(radius, "in", "ft") == pytest.approx([17.97], abs=0.01)
    assert convert(radius, "in", "m") == pytest.approx([5.477], abs=0.001)


@pytest.mark.seen("public calculator example: 4.5 in x 25 = 112.5 in = 9.375 ft")
def test_the_radius_of_a_four_inch_pipe() -> None:
    assert convert(bend_limits(np.array([11.0])).ratio * 4.5, "in", "ft") == pytest.approx([9.375])


@pytest.mark.computed("the handbook's ratios x 630 mm: 15.75 m at SDR 11, 17.01 m at SDR 17")
@pytest.mark.parametrize(("dr", "radius"), [(11, 15.75), (17, 17.01)])
def test_the_radius_of_a_630_mm_pipe(dr: float, radius: float) -> None:
    assert bend_limits(np.array([dr])).ratio * 0.63 == pytest.approx([radius])


@pytest.mark.computed(
    "strain of the outer fibre of a bent tube, 1 / (2 ratio): 2.0 % at 25, 1.85 % at 27, 0.5 % at 100"
)
@pytest.mark.parametrize(("ratio", "percent"), [(25, 2.0), (27, 1.85), (100, 0.5)])
def test_the_strain_of_the_wall_at_the_limit(ratio: float, percent: float) -> None:
    od = np.array([0.11, 0.63])
    assert 100 * wall_strain(ratio * od, od) == pytest.approx([percent, percent], abs=0.005)


@pytest.mark.computed("circle geometry: on a radius of 15.75 m a chord of 12 m has a mid-ordinate of 1.1876 m")
def test_the_radius_from_a_chord_and_its_mid_ordinate() -> None:
    points = np.array([[[0.0, 0.0], [6.0, 1.1876], [12.0, 0.0]]])
    assert 1 / of_three(points, np.zeros((1, 3))).curvature == pytest.approx([15.75], abs=0.01)
    by_formula = 12.0**2 / (8 * 1.1876) + 1.1876 / 2
    assert by_formula == pytest.approx(15.75, abs=0.01)


@pytest.mark.seen("jerrymahun.com, open access, VII Curves, chapter C: R 500.00, chord 461.749, middle ordinate 56.494")
def test_the_radius_of_a_published_curve() -> None:
    points = np.array([[[0.0, 0.0], [461.749 / 2, 56.494], [461.749, 0.0]]])
    assert 1 / of_three(points, np.zeros((1, 3))).curvature == pytest.approx([500.0], abs=0.01)


@pytest.mark.computed("c² / (8 m): with a chord of 24 m and a mid-ordinate known to 0.05 m straight begins at 1440 m")
@pytest.mark.parametrize(("radius", "is_told"), [(1000.0, True), (1400.0, True), (1480.0, False), (5000.0, False)])
def test_from_where_a_curve_cannot_be_told_from_straight(radius: float, is_told: bool) -> None:
    sd = 0.05 / 1.959964 / np.sqrt(1.5)  # of a position, where the mid-ordinate is known to 0.05 m with 95 %
    angle = np.arcsin(12.0 / radius) * np.array([-1.0, 0.0, 1.0])
    xy = radius * np.column_stack([np.sin(angle), np.cos(angle)])
    frame = pd.DataFrame({"easting": xy[:, 0], "northing": xy[:, 1], "sd_m": sd, "chainage_m": [0.0, 12.0, 24.0]})
    frame = frame.assign(line="main", kind="production", in_line=True, independent=True)
    middle = judge_bends(frame, np.full(3, 0.63), np.full(3, 17.0)).joints.iloc[1]
    assert middle["bend_radius_m"] == pytest.approx(radius)
    assert np.isfinite(middle["bend_high_m"]) == is_told
