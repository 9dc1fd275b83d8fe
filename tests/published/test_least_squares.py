"""The adjustment of chainages against a dense solution, certified regression values and the compass rule."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asbuilt.place.adjust import Adjusted, Observed, adjust


def drawn(rng: np.random.Generator) -> Observed:
    """One to four pieces of one to twelve joints: unequal spreads, related errors, fixes that are missing."""
    sizes = rng.integers(1, 13, rng.integers(1, 5))
    n = int(sizes.sum())
    head = np.isin(np.arange(n), np.cumsum(sizes) - sizes)
    has = (rng.random(n) < 0.7) | head  # every piece has a fix: that of its head, carried elsewhere below
    for first, size in zip(np.cumsum(sizes) - sizes, sizes, strict=True):
        has[first : first + size] = rng.permutation(has[first : first + size])
    step = np.where(head, 0.0, rng.uniform(2, 25, n))
    at = 1000 + np.cumsum(step) + rng.normal(0, 5, n)
    sd, step_sd = 10 ** rng.uniform(-1.5, 1, n), 10 ** rng.uniform(-2, 0.8, n)
    return Observed(np.where(has, at, np.nan), sd, rng.uniform(0, 0.9, n), step, step_sd, head)


def covariance_of_fixes(o: Observed, at: np.ndarray) -> np.ndarray:
    """Errors related from one fix to the next one, and to none across an entry without a fix."""
    out = np.diag(o.sd[at] ** 2)
    for i in range(len(at)):
        related = 1.0
        for j in range(i + 1, len(at)):
            if at[j] != at[j - 1] + 1:
                break
            related *= o.correlation[at[j]]
            out[i, j] = out[j, i] = related * o.sd[at[i]] * o.sd[at[j]]
    return out


def dense(o: Observed, scale_sd: float) -> list[tuple[np.ndarray, np.ndarray]]:
    """Solve each piece as one system for all chainages and the scale: unknowns and their full covariance."""
    out = []
    for entries in np.split(np.arange(len(o.at)), np.flatnonzero(o.head)[1:]):
        fixed, inner, n = entries[np.isfinite(o.at[entries])], entries[1:], len(entries)
        design = np.zeros((len(fixed) + len(inner) + 1, n + 1))
        design[np.arange(len(fixed)), fixed - entries[0]] = 1.0
        steps = len(fixed) + np.arange(len(inner))
        design[steps, inner - entries[0]], design[steps, inner - entries[0] - 1] = 1.0, -1.0
        design[steps, n] = -o.step[inner]  # a step is as long as its pipe, and by the scale longer
        design[-1, n] = 1.0
        spread = np.zeros((len(design), len(design)))
        spread[: len(fixed), : len(fixed)] = covariance_of_fixes(o, fixed)
        spread[steps, steps], spread[-1, -1] = o.step_sd[inner] ** 2, scale_sd**2
        seen = np.concatenate([o.at[fixed], o.step[inner], [0.0]])
        normal = design.T @ np.linalg.solve(spread, design)
        covariance = np.linalg.inv(normal)
        out.append((covariance @ (design.T @ np.linalg.solve(spread, seen)), covariance))
    return out


def expected_of(o: Observed, scale_sd: float) -> Adjusted:
    solved = dense(o, scale_sd)
    sd = [np.sqrt(np.diag(c)) for _, c in solved]
    steps = []
    for _, c in solved:
        n = len(c) - 1
        minus = np.eye(n + 1)[1:n] - np.eye(n + 1)[: n - 1]
        steps.append(np.append(np.nan, np.sqrt(np.diag(minus @ c @ minus.T))))
    at = np.concatenate([x[:-1] for x, _ in solved])
    scale, scale_sd_of = (np.array(v) for v in ([x[-1] for x, _ in solved], [s[-1] for s in sd]))
    return Adjusted(at, np.concatenate([s[:-1] for s in sd]), np.concatenate(steps), scale, scale_sd_of)


@pytest.mark.computed("dense normal equations with the full covariance of the fixes, numpy")
@given(st.integers(0, 2**32 - 1), st.sampled_from([0.0005, 0.003, 0.05]))
@settings(deadline=None, max_examples=150)
def test_all_pieces_at_once_are_the_dense_solution_of_each(seed: int, scale_sd: float) -> None:
    observed = drawn(np.random.default_rng(seed))
    ours, theirs = adjust(observed, scale_sd=scale_sd), expected_of(observed, scale_sd)
    np.testing.assert_allclose(ours.at, theirs.at, atol=2e-6)
    for name in ("sd", "step_sd", "scale_sd"):
        np.testing.assert_allclose(getattr(ours, name), getattr(theirs, name), rtol=1e-5, atol=1e-9, err_msg=name)
    np.testing.assert_allclose(ours.scale, theirs.scale, atol=1e-8)


def chain(at: list[float], *, sd: float, step: list[float], step_sd: object) -> Observed:
    n = len(at)
    head = np.arange(n) == 0
    return Observed(np.array(at), np.full(n, sd), np.zeros(n), np.array(step), np.full(n, step_sd), head)


@pytest.mark.computed("nothing but the one fix is known")
def test_a_single_joint_lies_at_its_fix_and_says_nothing_of_the_scale() -> None:
    found = adjust(chain([71.5], sd=2.0, step=[0.0], step_sd=1.0), scale_sd=0.003)
    assert (found.at.tolist(), found.scale.tolist()) == (pytest.approx([71.5]), pytest.approx([0.0]))
    assert (found.sd.tolist(), found.scale_sd.tolist()) == (pytest.approx([2.0]), pytest.approx([0.003]))
    assert np.isnan(found.step_sd).all()


@pytest.mark.computed("weighted mean of two measurements of one distance, in closed form")
def test_two_joints_share_what_their_fixes_and_the_pipe_say() -> None:
    found = adjust(chain([100.0, 115.0], sd=2.0, step=[0.0, 12.0], step_sd=0.5), scale_sd=1e-9)
    by_fixes, by_pipe = 1 / (2 * 2.0**2), 1 / 0.5**2
    apart = (15.0 * by_fixes + 12.0 * by_pipe) / (by_fixes + by_pipe)
    assert found.at == pytest.approx(107.5 + apart * np.array([-0.5, 0.5]))  # the mean of the fixes stays
    assert found.step_sd[1] == pytest.approx(np.sqrt(1 / (by_fixes + by_pipe)))
    assert found.sd == pytest.approx(np.sqrt(2.0**2 / 2 + found.step_sd[1] ** 2 / 4))


COMPASS = "jerrymahun.com, traverse computations, appendix E.2: each line has its share of the closure error by length"
LENGTHS = np.array([0.0, 12.0, 11.0, 3.5, 12.0, 8.25, 12.0, 12.0, 1.25])


def closed(misclosure: float) -> tuple[np.ndarray, Adjusted]:
    """A run between two anchors, the spread of a pipe growing with the root of its length."""
    tally = np.cumsum(LENGTHS)
    at = np.where(np.isin(np.arange(9), (0, 8)), 500 + tally + misclosure * (tally == tally[-1]), np.nan)
    spread = np.where(LENGTHS > 0, 0.01 * np.sqrt(LENGTHS), 1.0)
    return tally, adjust(chain(list(at), sd=1e-6, step=list(LENGTHS), step_sd=spread), scale_sd=1e-12)


@pytest.mark.seen(COMPASS)
def test_a_misclosure_between_anchors_is_spread_in_proportion_to_length() -> None:
    tally, found = closed(0.30)
    assert found.at - 500 - tally == pytest.approx(0.30 * tally / tally[-1], abs=1e-6)


@pytest.mark.computed("random walk tied at both ends: variance c² a b / (a + b)")
def test_between_anchors_a_joint_is_least_sure_mid_way() -> None:
    tally, found = closed(0.0)
    tied = 0.01 * np.sqrt(tally * (tally[-1] - tally) / tally[-1])
    assert found.sd == pytest.approx(tied, abs=2e-6)
    assert np.argmax(found.sd) == np.argmin(np.abs(tally - tally[-1] / 2))


@pytest.mark.computed("a scale that nobody knows takes the whole misclosure, and no pipe keeps a residual")
def test_a_free_scale_takes_up_the_misclosure() -> None:
    observed = chain([0.0, np.nan, np.nan, 36.36], sd=0.001, step=[0.0, 12.0, 12.0, 12.0], step_sd=0.01)
    found = adjust(observed, scale_sd=10.0)
    assert found.scale == pytest.approx([0.01], abs=1e-6)
    assert found.at == pytest.approx([0, 12.12, 24.24, 36.36], abs=1e-5)


# NIST StRD, linear least squares, Norris: response and predictor, 36 observations of NIST, and their certified line.
NORRIS_X = (
    "0.2 337.4 118.2 884.6 10.1 226.5 666.3 996.3 448.6 777.0 558.2 0.4 0.6 775.5 666.9 338.0 447.5 11.6"
    " 556.0 228.1 995.8 887.6 120.2 0.3 0.3 556.8 339.1 887.2 999.0 779.0 11.1 118.3 229.2 669.1 448.9 0.5"
)
NORRIS_Y = (
    "0.1 338.8 118.1 888.0 9.2 228.1 668.5 998.5 449.1 778.9 559.2 0.3 0.1 778.1 668.8 339.3 448.9 10.8"
    " 557.7 228.3 998.0 888.8 119.6 0.3 0.6 557.6 339.3 888.0 998.5 778.9 10.2 117.6 228.9 668.4 449.2 0.2"
)
SLOPE, INTERCEPT, SLOPE_SD, RESIDUAL_SD = 1.00211681802045, -0.262323073774029, 0.429796848199937e-3, 0.884796396144373


@pytest.mark.second_hand("NIST StRD Norris (certified), as in the tests of scipy.stats.linregress; residual sd: memory")
def test_pipes_without_error_and_a_free_scale_are_a_certified_regression_line() -> None:
    x, y = (np.array(text.split(), dtype=float) for text in (NORRIS_X, NORRIS_Y))
    order = np.argsort(x, kind="stable")
    step = np.diff(x[order], prepend=x.min())
    found = adjust(chain(list(y[order]), sd=RESIDUAL_SD, step=list(step), step_sd=1e-4), scale_sd=1e3)
    assert 1 + found.scale[0] == pytest.approx(SLOPE, abs=1e-7)
    assert found.scale_sd[0] == pytest.approx(SLOPE_SD, rel=1e-4)
    assert found.at == pytest.approx(INTERCEPT + SLOPE * x[order], abs=1e-5)
