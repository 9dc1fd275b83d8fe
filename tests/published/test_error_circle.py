"""The circle that holds a joint with 95 %, against quadrature, a plain draw and the limits that handbooks give."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from asbuilt.place.radius import radius95_m

MULTIPLIERS = "Rayleigh and normal quantiles: sqrt(-2 ln 0.05) and the 97.5 % point, as scipy.stats has them"


def ours(along: float, off: float, across: float) -> float:
    return float(radius95_m(np.array([along]), np.array([off]), np.array([across]))[0])


NODES, WEIGHTS = np.polynomial.legendre.leggauss(300)


def inside(radius: float, along: float, off: float, across: float) -> float:
    """The probability that a joint lies within the radius: quadrature over its place across the line.

    Over the angle, so that the rim of the circle is no edge, and only where the density is not nothing.
    """
    low, high = np.arcsin(np.clip(off + np.array([-9.0, 9.0]) * across, -radius, radius) / radius)
    angle = (low + high) / 2 + (high - low) / 2 * NODES
    at, half = radius * np.sin(angle), radius * np.cos(angle)
    density = half * stats.norm.pdf(at, off, across) * (2 * stats.norm.cdf(half / along) - 1)
    return float((high - low) / 2 * (WEIGHTS * density).sum())


@pytest.mark.computed("quadrature and root finding with scipy")
@given(st.floats(0.05, 20), st.floats(0.05, 20), st.floats(-30, 30))
@settings(deadline=None, max_examples=100)
def test_the_radius_is_two_percent_from_the_exact_one_at_most(along: float, across: float, off: float) -> None:
    far = abs(off) + 5 * (along + across)
    exact = optimize.brentq(lambda r: inside(r, along, off, across) - 0.95, 1e-3, far, xtol=1e-6)
    assert ours(along, off, across) == pytest.approx(exact, rel=0.0205)  # 2.01 % short at worst: a line, two sd off


@pytest.mark.computed("a plain draw of 400,000 joints, numpy")
@pytest.mark.parametrize(("along", "across"), [(1.0, 1.0), (0.1, 3.0), (3.0, 0.1), (1.0, 2.5)])
@pytest.mark.parametrize("off", [0.0, 0.3, 1.0, 2.0, 5.0])
def test_the_circle_holds_ninety_five_percent_of_a_draw(along: float, across: float, off: float) -> None:
    draws = np.random.default_rng(11).normal([0, off], [along, across], (400_000, 2))
    held = (np.hypot(*draws.T) <= ours(along, off, across)).mean()
    assert 0.94 <= held <= 0.96  # two percent of the radius are half a percent of the joints, and more far off


@pytest.mark.computed(MULTIPLIERS)
def test_equal_spreads_and_a_single_axis_are_the_multipliers_of_the_handbooks() -> None:
    assert ours(3.0, 0.0, 3.0) == pytest.approx(3.0 * stats.rayleigh.ppf(0.95), rel=0.01)
    assert ours(3.0, 0.0, 0.0) == pytest.approx(3.0 * stats.norm.ppf(0.975), rel=0.015)
    assert ours(0.0, 0.0, 3.0) == pytest.approx(3.0 * stats.norm.ppf(0.975), rel=0.015)


@pytest.mark.computed("far off its point a joint's distance is its offset, normal: one-sided 95 % point")
@pytest.mark.parametrize("side", [-1, 1])
def test_far_off_only_the_spread_across_counts(side: int) -> None:
    assert ours(1.0, side * 1000.0, 2.0) == pytest.approx(1000.0 + 2.0 * stats.norm.ppf(0.95), abs=0.01)


@pytest.mark.computed("no spread, no circle but the distance itself")
def test_without_any_spread_the_circle_ends_at_the_joint() -> None:
    assert ours(0.0, 0.0, 0.0) == 0.0
    assert ours(0.0, -4.0, 0.0) == pytest.approx(4.0)


@pytest.mark.computed("missing data is never good data: a rule of this project")
def test_what_is_not_known_has_no_circle() -> None:
    assert np.isnan(radius95_m(np.array([np.nan, 1.0]), np.array([0.0, np.nan]), np.array([1.0, 1.0]))).all()
