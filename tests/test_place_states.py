"""One state for every row, and what a fix says of its joint where nothing else is known."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from tests.bench import truth
from tests.bench.placement import LAYING
from tests.place_rows import STICK, beside, placed, records, serials, straight


def odd_rows(rng, n):
    """Rows of every kind: without a fix, far away, without accuracy, of lines that there are not."""
    rows = records(beside(straight(600.0), np.sort(rng.uniform(-5, 605, n)), noise=2.0, seed=rng.integers(99)))
    far = rng.random(n) < 0.1
    rows["northing"] += np.where(far, 5000.0, 0.0)
    rows.loc[rng.random(n) < 0.2, ["easting", "northing"]] = np.nan
    rows.loc[rng.random(n) < 0.2, "sd_m"] = np.nan
    rows["line"] = rng.choice(np.array([None, "main", "second", "another"], dtype=object), n)
    rows["machine"] = rng.choice(np.array([None, "A", "B"], dtype=object), n)
    rows["kind"] = rng.choice(["production", "tie-in", "fitting"], n)
    return rows.set_axis(rng.permutation(n) + 100, axis="index"), far


@given(st.integers(0, 2**32 - 1), st.integers(2, 40))
@settings(deadline=None, max_examples=60)
def test_every_row_is_in_exactly_one_state_on_its_own_index(seed, n):
    rows, far = odd_rows(np.random.default_rng(seed), n)
    rows.iloc[0, rows.columns.get_indexer(["easting", "northing", "line"])] = [300.0, 1.0, None]  # one that has a place
    far[0] = False
    found = placed(rows, straight(600.0), straight(600.0, apart=40.0)).joints
    assert found.index.equals(rows.index)
    assert found["placed_by"].isin(["fix", "fix+tally", "tally", "unplaced"]).all()
    unplaced = (found["placed_by"] == "unplaced").to_numpy()
    assert found.loc[~unplaced, ["chainage_m", "line", "piece"]].notna().all(axis=None)
    assert found.loc[unplaced, ["chainage_m", "line", "radius95_m", "offset_m"]].isna().all(axis=None)
    without = rows["easting"].isna().to_numpy() | far
    assert not found["placed_by"].isin(["fix", "fix+tally"])[without].any()
    assert (found["far_m"].notna() == (far & rows["easting"].notna())).all()
    assert (found["line_unknown"] == (rows["line"] == "another")).all()


def test_a_fix_far_from_every_line_says_how_far_and_has_no_place():
    rows = records([[100.0, 2.0], [112.0, 5000.0], [np.nan, np.nan]], machine=None)
    found = placed(rows, straight(600.0)).joints
    assert found["placed_by"].tolist() == ["fix", "unplaced", "unplaced"]
    np.testing.assert_allclose(found["far_m"], [np.nan, 5000.0, np.nan])
    assert found.loc[[1, 2], ["chainage_m", "radius95_m"]].isna().all(axis=None)


def test_a_record_that_names_its_line_is_placed_on_it_and_an_unknown_name_is_said():
    rows = records([[50.0, 1.0]] * 3, machine=None, sd_m=0.1, line=[None, "second", "a third"])
    found = placed(rows, straight(100.0), straight(100.0, apart=3.0)).joints
    assert found["line"].tolist() == ["main", "second", "main"]
    assert found["line_unknown"].tolist() == [False, False, True]


TWO_LEGS = truth.line_through((0, 0), (100, 0), (100, 8), (0, 8))


def test_two_legs_compete_and_the_margin_is_said():
    found = placed(records([[50.0, 4.0], [50.0, 0.5]], machine=None, sd_m=1.5), TWO_LEGS).joints
    assert found.loc[0, "leg_probability"] == pytest.approx(0.5)
    assert found["candidates_n"].to_list() == [2, 2]
    assert found["margin_m"].to_list() == pytest.approx([0.0, 7.0])


@pytest.mark.parametrize("north", [0.5, 2.0, 3.0])
def test_without_an_order_legs_share_the_probability_by_their_distance_alone(north):
    """Normal densities of both distances; spread of fix and of the window, +-2 m being 1.96 of it."""
    spread = np.hypot(1.5, 2.0 / stats.norm.ppf(0.975))
    near, far = stats.norm.pdf([north, 8.0 - north], scale=spread)
    found = placed(records([[50.0, north], [80.0, north]], machine=None, sd_m=1.5), TWO_LEGS).joints
    assert found["leg_probability"].to_list() == pytest.approx([near / (near + far)] * 2, abs=1e-6)


def test_a_fix_alone_is_as_good_as_it_says_and_its_frame_adds_to_it():
    rows = records([[50.0, 0.0], [300.0, 0.0]], machine=None, sd_m=[1.5, np.nan], frame_accuracy_m=2.0)
    found = placed(rows, straight(600.0)).joints
    assert found["chainage_sd_m"].tolist()[0] == pytest.approx(2.5)
    assert found.loc[1, ["offset_sd_m", "radius95_m"]].isna().all()  # no accuracy was stated, and none is made up


def test_what_moves_all_fixes_alike_does_not_average_out():
    at = STICK * np.arange(1, 101)
    found = placed(records(beside(straight(1300.0), at, noise=1.0), frame_accuracy_m=2.0), straight(1300.0)).joints
    assert (found["chainage_sd_m"] >= 2.0).all()
    assert (found["chainage_sd_m"] < 2.3).all()


@pytest.mark.parametrize("xy", [np.full((3, 2), np.nan), np.full((3, 2), 1e6), np.empty((0, 2))])
def test_where_no_row_has_a_place_every_row_is_unplaced(xy):
    found = placed(records(xy), straight(600.0))
    assert (found.joints["placed_by"] == "unplaced").all()
    assert found.gaps.empty


def test_a_single_joint_is_placed_by_its_fix():
    found = placed(records([[300.0, 2.0], [np.nan, np.nan]], machine=None), straight(600.0)).joints
    assert found["placed_by"].tolist() == ["fix", "unplaced"]
    assert found.loc[0, "chainage_m"] == pytest.approx(300.0)


def test_lengths_of_the_tally_say_where_joints_lie():
    length = np.random.default_rng(3).uniform(4, 14, 80)
    at = 50 + np.cumsum(length)
    tally = pd.Series(length, index=[f"P{i}" for i in range(80)])  # pipe i ends at joint i
    rows = records(beside(straight(1000.0), at, noise=3.0), sd_m=3.0, **serials(range(80)))
    with_it = placed(rows, straight(1000.0), laying=replace(LAYING, pipe_length_m=tally)).joints
    without = placed(rows, straight(1000.0)).joints
    rms = [np.sqrt(np.mean((j["chainage_m"] - at) ** 2)) for j in (with_it, without)]
    assert rms[0] < 1.0 < rms[1]
