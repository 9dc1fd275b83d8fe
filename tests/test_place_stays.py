"""A machine that stays while its string is pulled away, and what only looks like it."""

import numpy as np
import pandas as pd
import pytest

from asbuilt.place.links import paths
from asbuilt.place.stays import Stands, stays
from tests.bench.truth import line_through
from tests.place_rows import STICK, beside, records, straight

LINE = straight(2000.0)


def stayed(xy, *, sd=0.5, **columns):
    rows = records(np.asarray(xy, dtype=float), **columns)
    walk = paths(rows, pipe_length_m=pd.Series(dtype=float))
    in_place = rows["kind"].isin(("fitting", "tie-in")).to_numpy()
    machine = pd.factorize(rows["machine"])[0]
    stands = Stands(rows[["easting", "northing"]].to_numpy(), np.full(len(rows), sd), machine, in_place)
    found = stays(walk, stands, stick_m=STICK)
    return found[np.argsort(walk.row)].tolist()


def scattered(n, spot=(500.0, 5.0), *, sd=0.5, seed=0):
    return np.array(spot) + np.random.default_rng(seed).normal(0, sd, (n, 2))


def walked(n, first=STICK, *, noise=0.5, seed=0):
    return beside(LINE, first + STICK * np.arange(n), noise=noise, seed=seed)


@pytest.mark.parametrize("n", [3, 4, 20])
@pytest.mark.parametrize("seed", range(5))
def test_a_string_fused_on_one_spot_is_a_stay(n, seed):
    assert stayed(scattered(n, seed=seed)) == [True] * n


@pytest.mark.parametrize("n", [3, 20])
def test_a_stay_between_two_walks_is_found_and_the_walks_are_none(n):
    xy = np.concatenate([walked(15), scattered(n, (600.0, 4.0)), walked(15, 800.0)])
    assert stayed(xy) == [False] * 15 + [True] * n + [False] * 15


@pytest.mark.parametrize("bad", [3, 9, 16])
def test_one_blunder_inside_a_stay_does_not_break_it(bad):
    xy = scattered(20)
    xy[bad] += [45.0, 30.0]
    found = stayed(xy)
    assert all(found[:bad] + found[bad + 1 :])


def test_a_joint_without_a_fix_inside_a_stay_belongs_to_it():
    xy = scattered(20)
    xy[7] = np.nan
    assert stayed(xy) == [True] * 20


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("noise", [0.5, 3.0, 6.0])
def test_a_walk_along_the_line_is_no_stay_however_it_scatters(noise, seed):
    assert not any(stayed(walked(60, noise=noise, seed=seed), sd=noise))


def test_uncertain_fixes_are_no_stay():
    """Scatter of 8 m, sticks of 12 m: three joints tell nothing."""
    for seed in range(10):
        assert not any(stayed(scattered(3, sd=8.0, seed=seed), sd=8.0))


def test_pups_whose_lengths_are_stated_are_no_stay():
    at = 300 + np.cumsum([12, 12, 12, 0.8, 1.0, 0.7, 1.2, 0.9, 12, 12])
    added = np.append(np.diff(at), 12.0)
    assert not any(stayed(beside(LINE, at, noise=0.3), sd=0.3, length_added_m=added))


def test_fittings_close_together_are_no_stay():
    at = 300 + np.cumsum([12, 12, 12, 0.8, 1.0, 0.7, 1.2, 0.9, 12, 12])
    kind = ["production"] * 3 + ["fitting"] * 5 + ["production"] * 2
    assert not any(stayed(beside(LINE, at, noise=0.3), sd=0.3, kind=kind))


@pytest.mark.parametrize("seed", range(5))
def test_a_crew_that_walks_round_a_tight_hairpin_does_not_stay(seed):
    turn = line_through((0, 0), (200, 0), (203, 4), (200, 8), (0, 8))
    assert not any(stayed(beside(turn, STICK * np.arange(1, 33), noise=0.5, seed=seed)))


def test_two_machines_that_stand_side_by_side_each_stay():
    xy = np.concatenate([scattered(6, seed=1), scattered(6, (503.0, 5.0), seed=2)])
    order = np.arange(12).reshape(2, 6).T.ravel()  # their joints alternate in time
    machine = np.repeat(["A", "B"], 6)[order]
    assert stayed(xy[order], machine=machine) == [True] * 12


def test_joints_that_nothing_links_do_not_stay_together():
    assert not any(stayed(scattered(8), machine=None))


def test_one_machine_at_two_stands_stays_at_both():
    xy = np.concatenate([scattered(8), scattered(8, (760.0, 5.0), seed=3)])
    assert stayed(xy) == [True] * 16
