"""Properties of placing: what must not change when nothing real has changed."""

from itertools import pairwise, product

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from asbuilt.alignment import MeasuredLine, bearing_deg, locate, project, reaches
from asbuilt.place.nearest import Reach, place, radius95_m
from asbuilt.place.sequence import _shares

seeds = st.integers(0, 2**32 - 1)


def wandering_line(rng, vertices=40):
    xy = np.cumsum(rng.normal([8, 0], 6, (vertices, 2)), axis=0)
    return MeasuredLine(xy, np.concatenate([[0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))]))


def rows_beside(line, rng, count=60):
    xy = locate(line, rng.uniform(*line.measure[[0, -1]], count)) + rng.normal(0, 2, (count, 2))
    return pd.DataFrame(
        {
            "easting": xy[:, 0],
            "northing": xy[:, 1],
            "sd_m": 1.0,
            "frame_accuracy_m": 0.0,
            "line": None,
            "machine": None,
            "fused_at": None,
        }
    )


def placed(rows, line, **how):
    return place(rows, [("main", line)], metres_per_unit=1.0, reach=Reach(100.0, 2.0, 12.0), **how)


@given(seeds, st.floats(-3, 3), st.floats(-1e6, 1e6), st.floats(-1e6, 1e6))
@settings(deadline=None, max_examples=25)
def test_moving_and_turning_everything_changes_nothing(seed, angle, east, north):
    rng = np.random.default_rng(seed)
    line = wandering_line(rng)
    rows = rows_beside(line, rng)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    moved = MeasuredLine(line.xy @ turn.T + [east, north], line.measure)
    xy = rows[["easting", "northing"]].to_numpy() @ turn.T + [east, north]
    before, after = placed(rows, line), placed(rows.assign(easting=xy[:, 0], northing=xy[:, 1]), moved)
    sure = before["margin_m"].isna() | (before["margin_m"] > 1e-6)
    for name in ("chainage_m", "offset_m"):
        np.testing.assert_allclose(after.loc[sure, name], before.loc[sure, name], atol=1e-6)


@given(seeds)
@settings(deadline=None, max_examples=25)
def test_reversing_the_line_mirrors_chainage_and_offset(seed):
    rng = np.random.default_rng(seed)
    line = wandering_line(rng)
    rows = rows_beside(line, rng)
    back = MeasuredLine(line.xy[::-1], line.measure[-1] - line.measure[::-1])
    there, again = placed(rows, line), placed(rows, back)
    sure = there["margin_m"].isna() | (there["margin_m"] > 1e-6)
    np.testing.assert_allclose(
        again.loc[sure, "chainage_m"], line.measure[-1] - there.loc[sure, "chainage_m"], atol=1e-6
    )
    np.testing.assert_allclose(again.loc[sure, "offset_m"], -there.loc[sure, "offset_m"], atol=1e-6)


@given(seeds)
@settings(deadline=None, max_examples=25)
def test_shuffled_rows_are_placed_the_same(seed):
    rng = np.random.default_rng(seed)
    line = wandering_line(rng)
    rows = rows_beside(line, rng)
    shuffled = rows.sample(frac=1, random_state=seed)
    pd.testing.assert_frame_equal(placed(shuffled, line).loc[rows.index], placed(rows, line))


@given(seeds)
@settings(deadline=None, max_examples=40)
def test_the_first_candidate_is_the_nearest_point_of_shapely(seed):
    """Reference library: shapely (GEOS) line_locate_point, an independent nearest point."""
    rng = np.random.default_rng(seed)
    line = wandering_line(rng)
    points = rows_beside(line, rng)[["easting", "northing"]].to_numpy()
    found = project(line, points, reach=np.full(len(points), 1000.0))
    first = np.concatenate([[True], np.diff(found.point) > 0])
    theirs = shapely.line_locate_point(shapely.linestrings(line.xy), shapely.points(points))
    ours = np.clip(found.measure[first], *line.measure[[0, -1]])
    np.testing.assert_allclose(ours, theirs, atol=1e-6)
    distance = shapely.distance(shapely.linestrings(line.xy), shapely.points(points))
    np.testing.assert_allclose(found.distance[first], distance, atol=1e-6)


@given(seeds)
@settings(deadline=None, max_examples=25)
def test_every_candidate_is_a_local_minimum_and_none_is_missed(seed):
    """Against a plain walk along the line in small steps."""
    rng = np.random.default_rng(seed)
    line = wandering_line(rng, vertices=12)
    point = rows_beside(line, rng, count=1)[["easting", "northing"]].to_numpy()
    steps = np.linspace(*line.measure[[0, -1]], 40_001)
    distance = np.hypot(*(locate(line, steps) - point).T)
    walls = np.pad(distance, 1, constant_values=np.inf)
    dips = steps[(walls[1:-1] < walls[:-2]) & (walls[1:-1] < walls[2:])]
    found = np.sort(np.clip(project(line, point, reach=np.array([1e4])).measure, *line.measure[[0, -1]]))
    assert len(found) == len(dips)
    np.testing.assert_allclose(found, dips, atol=2 * (steps[1] - steps[0]))


def test_reaches_follow_every_vertex_between_their_ends():
    line = wandering_line(np.random.default_rng(3))
    low, high = np.array([0.0, 20.0, 50.0]), np.array([30.0, 20.0, line.measure[-1]])
    found = reaches(line, low, high)
    np.testing.assert_allclose(shapely.length(found), high - low, atol=1e-9)
    assert shapely.get_num_points(found)[1] == 2


def test_bearing_is_clockwise_from_north():
    line = MeasuredLine(np.array([[0.0, 0], [0, 10], [10, 10], [10, 0]]), np.array([0.0, 10, 20, 30]))
    np.testing.assert_allclose(bearing_deg(line, np.array([5.0, 15, 25])), [0, 90, 180])


def test_without_a_fix_or_far_away_a_row_stays_unplaced():
    line = wandering_line(np.random.default_rng(1))
    rows = rows_beside(line, np.random.default_rng(2), count=3)
    rows.loc[0, "easting"] = np.nan
    rows.loc[1, "northing"] += 5000
    found = placed(rows, line)
    assert list(found["placed_by"]) == ["unplaced", "unplaced", "fix"]
    assert found.loc[[0, 1], ["chainage_m", "radius95_m"]].isna().all().all()


def test_two_legs_share_the_probability_by_their_distance():
    line = MeasuredLine(np.array([[0.0, 0], [100, 0], [100, 8], [0, 8]]), np.array([0.0, 100, 108, 208]))
    rows = pd.DataFrame(
        {
            "easting": [50.0, 50.0],
            "northing": [4.0, 0.5],
            "sd_m": 1.5,
            "frame_accuracy_m": 0.0,
            "line": None,
            "machine": None,
            "fused_at": None,
        }
    )
    found = placed(rows, line)
    assert found["leg_probability"].to_list() == pytest.approx([0.5, 1.0], abs=1e-3)
    assert found["candidates_n"].to_list() == [2, 2]
    assert found["margin_m"].to_list() == pytest.approx([0.0, 7.0])


def test_a_record_that_names_its_line_is_placed_on_it():
    upper = MeasuredLine(np.array([[0.0, 3], [100, 3]]), np.array([0.0, 100]))
    lower = MeasuredLine(np.array([[0.0, 0], [100, 0]]), np.array([0.0, 100]))
    rows = pd.DataFrame({"easting": [50.0] * 3, "northing": [1.0] * 3, "sd_m": 0.1, "frame_accuracy_m": 0.0})
    rows = rows.assign(machine=None, fused_at=None)
    rows["line"] = [None, "upper", "a third"]
    found = place(rows, [("lower", lower), ("upper", upper)], metres_per_unit=1.0, reach=Reach(50, 2, 12.0))
    assert list(found["line"]) == ["lower", "upper", "lower"]


def hairpin_rows(rng, sd=4.0, apart=8.0):
    line = MeasuredLine(
        np.array([[0.0, 0], [500, 0], [500, apart], [0, apart]]), np.array([0, 500, 500 + apart, 1000 + apart])
    )
    at = 12.0 * np.arange(1, 84)
    xy = locate(line, at) + rng.normal(0, sd, (len(at), 2))
    times = pd.date_range("2026-01-05", periods=len(at), freq="h")
    columns = {"easting": xy[:, 0], "northing": xy[:, 1], "sd_m": sd, "frame_accuracy_m": 0.0, "line": None}
    return line, at, pd.DataFrame(columns | {"machine": "M1", "fused_at": times})


@pytest.mark.parametrize("backwards", [False, True])
def test_the_order_of_the_work_tells_the_legs_of_a_hairpin(backwards):
    """Legs 8 m apart and noise of 4 m: nearest-point snapping puts one joint in seven on the wrong leg."""
    wrong = nearest_wrong = 0
    for seed in range(10):
        line, at, rows = hairpin_rows(np.random.default_rng(seed))
        if backwards:
            rows["fused_at"] = rows["fused_at"].to_numpy()[::-1]
        wrong += (np.abs(placed(rows, line)["chainage_m"] - at) > 26).sum()
        nearest_wrong += (np.abs(placed(rows.assign(machine=None), line)["chainage_m"] - at) > 26).sum()
    assert nearest_wrong > 80
    assert wrong == 0


def test_an_order_without_sense_makes_no_joint_sure_of_a_wrong_leg():
    for seed in range(10):
        rng = np.random.default_rng(seed)
        line, at, rows = hairpin_rows(rng)
        found = placed(rows.assign(fused_at=rng.permutation(rows["fused_at"])), line)
        wrong = np.abs(found["chainage_m"] - at) > 26
        assert not (wrong & (found["leg_probability"] >= 0.95)).any()


def test_twin_lines_nearer_than_the_window_are_not_told_apart_by_many_fixes():
    """A hundred fixes average their noise, and not how far the pipe may lie off its line."""
    rng = np.random.default_rng(5)
    lines = [
        (n, MeasuredLine(np.array([[0.0, y], [1300, y]]), np.array([0.0, 1300])))
        for n, y in (("one", 0.0), ("two", 1.5))
    ]
    xy = np.column_stack([12.0 * np.arange(1, 101), np.zeros(100)]) + rng.normal(0, 1, (100, 2))
    columns = {"easting": xy[:, 0], "northing": xy[:, 1], "sd_m": 1.0, "frame_accuracy_m": 0.0, "line": None}
    rows = pd.DataFrame(columns | {"machine": "M1", "fused_at": pd.date_range("2026-01-05", periods=100, freq="h")})
    found = place(rows, lines, metres_per_unit=1.0, reach=Reach(100.0, 2.0, 12.0))
    assert (found["leg_probability"] < 0.95).all()


@given(seeds)
@settings(deadline=None, max_examples=25)
def test_shares_are_those_of_all_ways_through_the_places(seed):
    """Forward and backward pass against a plain sum over every way through a small stretch."""
    rng = np.random.default_rng(seed)
    sizes = rng.integers(1, 4, 5)
    weights = [rng.random(n) + 0.01 for n in sizes]
    steps = [rng.random((a, b)) for a, b in pairwise(sizes)]
    expected = [np.zeros(n) for n in sizes]
    for way in product(*(range(n) for n in sizes)):
        chance = np.prod([w[i] for w, i in zip(weights, way, strict=True)])
        chance *= np.prod([s[i, j] for s, (i, j) in zip(steps, pairwise(way), strict=True)])
        for share, i in zip(expected, way, strict=True):
            share[i] += chance
    for ours, share in zip(_shares(weights, steps), expected, strict=True):
        np.testing.assert_allclose(ours, share / share.sum(), atol=1e-12)


@pytest.mark.parametrize("offset", [0.0, 0.3, 1.0, 2.0, 5.0])
def test_the_radius_about_the_point_on_the_line_holds_ninety_five_percent(offset):
    """Against a plain draw: the joint lies around its fix, the radius around the point on the line."""
    rng = np.random.default_rng(11)
    draws = rng.normal([0, offset], 1.0, (200_000, 2))
    radius = radius95_m(np.array([offset]), np.array([1.0]))[0]
    assert 0.945 <= (np.hypot(*draws.T) <= radius).mean() <= 0.985


@given(arrays(np.float64, (5, 2), elements=st.integers(-1000, 1000).map(float)))
@settings(deadline=None)
def test_a_measured_line_refuses_what_it_cannot_measure(xy):
    lengths = np.hypot(*np.diff(xy, axis=0).T)
    if (lengths > 0).all():
        assert MeasuredLine(xy, np.concatenate([[0], np.cumsum(lengths)])).legs.shape == (4, 2)
    with pytest.raises(ValueError, match="measure"):
        MeasuredLine(xy, np.zeros(5))
