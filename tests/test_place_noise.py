"""How far fixes really scatter: found from the fixes, as far as there are joints to show it."""

import numpy as np
import pytest

from asbuilt.place.noise import noise
from tests.bench.truth import related
from tests.place_rows import STICK


@pytest.mark.parametrize(("factor", "r"), [(1.0, 0.3), (2.0, 0.3), (0.5, 0.0), (1.0, 0.8)])
def test_the_scatter_of_fixes_is_found_from_the_fixes(factor, r):
    n = 3000
    values = related(np.random.default_rng(5), n, sd=3.0 * factor, correlation=r).T
    found = noise(values, np.full(n, 3.0), np.zeros(n, np.int64), np.zeros(n, np.int64), groups=1)
    assert found.factor[0] == pytest.approx(factor, rel=0.12)
    assert found.correlation[0] == pytest.approx(r, abs=0.12)


def test_few_joints_change_little_of_the_stated_scatter():
    values = np.random.default_rng(1).normal(0, 30.0, (2, 4))
    found = noise(values, np.full(4, 3.0), np.zeros(4, np.int64), np.zeros(4, np.int64), groups=2)
    assert found.factor[0] < 6  # ten times as much was seen, by four joints
    assert found.factor[1] == 1.0  # of the other group nothing was seen


def test_each_group_has_its_own_scatter_and_a_jump_adds_nothing_to_it():
    rng = np.random.default_rng(2)
    group = np.repeat([0, 1], 400)
    jumps = STICK * (3.0 * (np.arange(800) >= 200) + 2.0 * (np.arange(800) >= 600))
    values = rng.normal(0, 1, (2, 800)) * np.where(group, 5.0, 1.0) + jumps
    found = noise(values, np.ones(800), np.zeros(800, np.int64), group, groups=2)
    assert found.factor == pytest.approx([1.0, 5.0], rel=0.15)


def test_steps_that_are_all_longer_than_thought_are_no_noise():
    values = np.random.default_rng(3).normal(0, 1, (2, 300)) + np.array([[STICK], [0.0]]) * np.arange(300)
    found = noise(values, np.ones(300), np.zeros(300, np.int64), np.zeros(300, np.int64), groups=1)
    assert found.factor == pytest.approx([1.0], rel=0.2)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("factor", [1.0, 2.0])
@pytest.mark.parametrize("every", [8, 16])
def test_a_coupler_of_another_machine_now_and_then_adds_nothing_to_the_scatter(seed, factor, every):
    """Each lifts the level of the machine's own joints by a stick: sixty times what the fixes state here."""
    values = np.random.default_rng(seed).normal(0, 0.2 * factor, (2, 120))
    values[0] += STICK * (np.arange(120) // every)
    found = noise(values, np.full(120, 0.2), np.zeros(120, np.int64), np.zeros(120, np.int64), groups=1)
    assert found.factor[0] == pytest.approx(factor, rel=0.3)
    assert found.correlation[0] < 0.45


def test_fixes_that_a_wall_pulls_are_noise_and_no_step_of_the_level():
    rng = np.random.default_rng(8)
    pulled = 6.0 * (np.arange(400) % 40 < 8)
    values = rng.normal(0, 1, (2, 400)) + np.stack([pulled, np.zeros(400)])
    zeros = np.zeros(400, np.int64)
    found = noise(values, np.ones(400), zeros, zeros, groups=1)
    calm = noise(values - np.stack([pulled, np.zeros(400)]), np.ones(400), zeros, zeros, groups=1)
    assert found.correlation[0] > calm.correlation[0] + 0.05


def test_where_every_fix_is_missing_or_pieces_are_short_nothing_is_found():
    nothing = noise(np.full((2, 9), np.nan), np.ones(9), np.arange(9) // 3, np.zeros(9, np.int64), groups=1)
    assert nothing.factor[0] == 1.0
    values = np.random.default_rng(4).normal(0, 1, (2, 90)) + 1000.0 * (np.arange(90) // 3)
    short = noise(values, np.ones(90), np.arange(90) // 3, np.zeros(90, np.int64), groups=1)
    assert short.factor[0] == pytest.approx(1.0, abs=0.3)  # pieces of three joints lie anywhere


@pytest.mark.parametrize("laid", [0.06, 0.2])
@pytest.mark.parametrize(("made", "stated"), [(0.015, 0.03), (0.03, 0.03), (0.036, 0.03), (0.09, 0.09), (0.3, 0.3)])
def test_how_a_pipe_is_laid_off_its_line_and_how_sticks_differ_is_no_scatter_of_fixes(made, stated, laid):
    """Sticks of 12 m that may differ by 0.4 % (48 mm), fixes to the centimetre, pipe laid 6 or 20 cm off at random."""
    found = []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        level, offset = rng.normal(0, made, (2, 140)) + np.stack([np.zeros(140), rng.normal(0, laid, 140)])
        if seed % 2:  # sticks that do differ
            level += np.cumsum(rng.normal(0, 0.048, 140))
        zeros = np.zeros(140, np.int64)
        several = noise(np.stack([level, offset]), np.full(140, stated), zeros, zeros, groups=1, stick_sd=0.048)
        found.append(several.factor[0])
    assert np.median(found) == pytest.approx(1.0, abs=0.1)
    assert min(found) > 0.85
    assert max(found) < 1.5  # nothing is said of them


@pytest.mark.parametrize("seed", range(6))
def test_fixes_that_scatter_more_than_sticks_explain_are_still_found_out(seed):
    rng = np.random.default_rng(seed)
    walk, laid = np.cumsum(rng.normal(0, 0.048, 140)), rng.normal(0, 0.2, 140)
    values = rng.normal(0, 0.3, (2, 140)) + np.stack([walk, laid])
    zeros = np.zeros(140, np.int64)
    found = noise(values, np.full(140, 0.1), zeros, zeros, groups=1, stick_sd=0.048)
    assert 2.0 < found.factor[0] < 3.5
