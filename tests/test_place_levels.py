"""How many records are missing, and which fixes are blunders, from the hidden level of a chain."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from asbuilt.place.blocks import CORE
from asbuilt.place.levels import CELLS, Chain, levels, running_median
from asbuilt.place.links import TIMED
from asbuilt.place.priors import chances
from tests.bench.truth import related
from tests.place_rows import STICK

CELL = STICK / CELLS


def chain(level, *, sd=2.0, correlation=0.0, heads=(0,), blunder=0.005, prior=None):
    """A chain of joints in time, of whose numbers and lengths nothing is known."""
    n = len(level)
    if prior is None:
        no = np.zeros(n, dtype=bool)
        prior = chances(np.full(n, TIMED), np.full(n, -1), at_fitting=no, length_stated=no)
    head = np.isin(np.arange(n), heads)
    return Chain(np.asarray(level, float), np.full(n, sd), np.full(n, correlation), head, prior, np.full(n, blunder))


def steps(n, rises, *, base=0.0):
    """The true level of n joints that rises by so many sticks before some of them."""
    out = np.full(n, base)
    for at, sticks in rises.items():
        out[at:] += sticks * STICK
    return out


def found_rises(found):
    rise = np.diff(found.likeliest)
    return {int(i) + 1: rise[i] / CELLS for i in np.flatnonzero(rise)}


@given(st.integers(0, 2**32 - 1), st.integers(1, 200))
@settings(deadline=None, max_examples=40)
def test_the_probabilities_of_every_joint_sum_to_one(seed, n):
    rng = np.random.default_rng(seed)
    level = rng.normal(0, 30, n)
    level[rng.random(n) < 0.3] = np.nan
    heads = {0, *rng.integers(0, n, 3).tolist()}
    found = levels(chain(level, sd=3.0, correlation=rng.uniform(0, 0.9), heads=list(heads)), stick_m=STICK)
    np.testing.assert_allclose(found.share.sum(axis=1), 1.0, atol=1e-5)
    assert (found.share >= 0).all()
    assert ((found.blunder >= 0) & (found.blunder <= 1 + 1e-5)).all()
    assert (found.blunder[np.isnan(level)] == 0).all()


@pytest.mark.parametrize("sticks", [1, 2, 3])
@pytest.mark.parametrize("base", [0.0, 0.7, -431.3, 98765.4])
def test_a_clean_jump_of_whole_sticks_is_found_before_the_right_joint(sticks, base):
    found = levels(chain(steps(60, {33: sticks}, base=base), sd=1.0), stick_m=STICK)
    assert found_rises(found) == {33: sticks}
    assert np.abs(found.likeliest * CELL - steps(60, {33: sticks}, base=base)).max() <= CELL


@pytest.mark.parametrize("seed", range(8))
def test_a_jump_is_found_under_noise_a_third_of_a_stick(seed):
    truth = steps(120, {40: 1, 80: 2})
    level = truth + np.random.default_rng(seed).normal(0, 4, 120)
    found = levels(chain(level, sd=4.0), stick_m=STICK)
    assert np.rint(np.diff(found.likeliest[[5, 60, 115]]) / CELLS).tolist() == [1, 2]
    assert np.mean(np.abs(found.likeliest * CELL - truth) > STICK / 2) < 0.1


@pytest.mark.parametrize("seed", range(8))
def test_noise_alone_is_no_jump(seed):
    found = levels(chain(np.random.default_rng(seed).normal(0, 4, 200), sd=4.0), stick_m=STICK)
    assert np.ptp(found.likeliest) <= CELLS / 2


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("far", [25.0, -40.0])
def test_a_blunder_is_found_and_moves_no_level(far, seed):
    level = np.random.default_rng(seed).normal(0, 2, 60)
    level[31] += far
    found = levels(chain(level), stick_m=STICK)
    assert found.blunder[31] > 0.9
    assert np.delete(found.blunder, 31).max() < 0.5
    assert np.ptp(found.likeliest) <= CELLS / 2


def test_a_shorter_pipe_lets_the_level_fall_by_less_than_a_stick():
    truth = steps(80, {40: -0.5})
    found = levels(chain(truth, sd=1.0), stick_m=STICK)
    assert found_rises(found) == {40: -0.5}


@pytest.mark.parametrize("hole", [(20, 45), (0, 15), (45, 60)])
def test_a_stretch_without_fixes_keeps_the_level_around_it(hole):
    level = np.full(60, 0.0)
    level[slice(*hole)] = np.nan
    found = levels(chain(level), stick_m=STICK)
    assert found_rises(found) == {}


@pytest.mark.parametrize("heads", [(0,), (0, 20)])
def test_joints_before_the_first_fix_of_a_piece_have_the_level_of_that_piece(heads):
    level = np.full(60, 5000.0)
    level[: heads[-1]] = 70.0
    level[heads[-1] : heads[-1] + 12] = np.nan
    found = levels(chain(level, heads=heads), stick_m=STICK)
    assert np.abs(found.likeliest[heads[-1] :] * CELL - 5000.0).max() <= CELL


def test_a_jump_in_a_stretch_without_fixes_is_counted_and_its_place_is_open():
    level = steps(60, {30: 2})
    level[22:38] = np.nan
    found = levels(chain(level, sd=1.0), stick_m=STICK)
    assert found.likeliest[-1] - found.likeliest[0] == 2 * CELLS
    low = (found.share * (found.cell[:, None] + np.arange(found.share.shape[1]) > CELLS / 2)).sum(axis=1)
    assert low[21] < 0.01 < low[25] < low[34] < 0.999 < low[39]


def above(found):
    """The probability of each joint to stand above the middle between two levels, shape (n, 6)."""
    cells = found.cell[:, None] + np.arange(found.share.shape[1])
    return np.stack([(found.share * (cells > (k + 0.5) * CELLS)).sum(axis=1) for k in range(-1, 5)], axis=1)


@pytest.mark.parametrize("before", [1, 7, 20, 32, 45, 50, CORE - 1])
@pytest.mark.parametrize("seed", range(4))
def test_where_the_blocks_are_cut_hardly_matters(seed, before):
    """A piece of other joints in front moves every cut."""
    rng = np.random.default_rng(seed)
    level = steps(150, {30: 1, 64: 1, 97: 2}) + rng.normal(0, 2.0, 150)
    level[rng.random(150) < 0.1] = np.nan
    alone = levels(chain(level, correlation=0.3), stick_m=STICK)
    moved = levels(chain(np.append(np.zeros(before), level), correlation=0.3, heads=(0, before)), stick_m=STICK)
    assert np.abs(moved.likeliest[before:] - alone.likeliest).max() <= 1
    np.testing.assert_allclose(above(moved)[before:], above(alone), atol=0.02)
    np.testing.assert_allclose(moved.blunder[before:], alone.blunder, atol=0.02)


def every_way(level, sd, r, chance):
    """The probability of each level by a sum over all beginnings and all places of the missing records."""
    n = len(level)
    spread = sd**2 * r ** np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    begins = np.arange(-12, 30)
    out = {}
    for rises in product((0, 1), repeat=n - 1):
        ways = begins[:, None] + CELLS * np.append(0, np.cumsum(rises))
        weight = stats.multivariate_normal(np.zeros(n), spread).pdf(level - ways * CELL)
        weight = weight * chance ** sum(rises) * (1 - chance) ** (n - 1 - sum(rises))
        for way, w in zip(ways, weight, strict=True):
            for i, cell in enumerate(way):
                out[i, cell] = out.get((i, cell), 0.0) + w
    total = sum(w for (i, _), w in out.items() if i == 0)
    return {key: w / total for key, w in out.items()}


@pytest.mark.parametrize("r", [0.0, 0.4])
@pytest.mark.parametrize("seed", range(3))
def test_the_shares_are_those_of_all_ways_through_the_levels(seed, r):
    """Reference: plain enumeration, errors jointly normal (scipy). That levels may drift a little is left out of it."""
    truth = steps(7, {4: 1})
    level = truth + related(np.random.default_rng(seed), 7, sd=4.0, correlation=r, axes=1)[:, 0]
    prior = np.tile([0.8999, 0.1, 0.0, 0.0, 0.0001, 0.0], (7, 1))  # a shorter pipe: as good as never
    found = levels(chain(level, sd=4.0, correlation=r, blunder=0.0, prior=prior), stick_m=STICK)
    expected = every_way(level, 4.0, r, 0.1)
    seen = {(i, int(found.cell[i]) + j): s for i, row in enumerate(found.share) for j, s in enumerate(row)}
    assert max(abs(seen[key] - expected.get(key, 0.0)) for key in seen) < 0.01


def test_the_running_median_keeps_an_edge_and_knows_no_other_piece():
    level = np.concatenate([np.zeros(20), np.full(20, 12.0), np.full(20, 500.0)])
    np.testing.assert_array_equal(running_median(level, np.isin(np.arange(60), (0, 40))), level)


def test_the_chain_may_be_moved_as_a_whole():
    level = steps(100, {50: 1}) + np.random.default_rng(8).normal(0, 2, 100)
    here, there = (levels(chain(level + by), stick_m=STICK) for by in (0.0, 40 * CELL))
    assert (there.likeliest - here.likeliest == 40).all()
    np.testing.assert_allclose(there.share, here.share, atol=1e-5)
    assert replace(here, cell=here.cell + 40).cell.tolist() == there.cell.tolist()
