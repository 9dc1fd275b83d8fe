"""Thermal movement of free pipe against printed rules and worked cases, and what fusing takes off the length."""

import numpy as np
import pytest

from asbuilt.handbook import thermal
from asbuilt.judge.scale import Span, free_movement, scale_explained, take_up, thermal_span
from asbuilt.look import IN_WINDOW, OUT_OF_WINDOW
from asbuilt.quantities import convert

PER_DEGF = 5 / 9  # kelvin


def printed(word: str) -> float:
    return next(p.per_k for p in thermal().printed if word in p.source)


@pytest.mark.seen("eng-tips.com, viewthread 273900: 2500 m, 20 K, 0.18 mm per m and K contract by 9.0 m where free")
def test_a_worked_case() -> None:
    assert free_movement(2500.0, -20.0, per_k=printed("eng-tips")) == pytest.approx(-9.0, abs=0.001)


@pytest.mark.second_hand("trade page (unnamed): 200 ft from 70 to 100 degF grow by about 6 in")
def test_the_rule_of_one_inch() -> None:
    feet = free_movement(200.0, 30 * PER_DEGF, per_k=printed("1 in per 10 degF"))
    assert convert(np.array([feet]), "ft", "in") == pytest.approx([6.0], abs=0.1)


@pytest.mark.second_hand("trade FAQ (unnamed) that points to the PPI handbook: 9e-5 per degF, unrestrained")
def test_the_coefficient_per_degree_fahrenheit() -> None:
    assert printed("9e-5 per degF") == pytest.approx(9e-5 / PER_DEGF, abs=1e-9)
    feet = free_movement(100.0, 10 * PER_DEGF, per_k=printed("9e-5 per degF"))
    assert convert(np.array([feet]), "ft", "in") == pytest.approx([1.08], abs=0.001)


@pytest.mark.computed("1.8e-4 per K x 12 m x 30 K = 64.8 mm")
def test_one_stick_in_the_sun() -> None:
    assert 1000 * free_movement(12.0, 30.0, per_k=printed("ISO 11359-2")) == pytest.approx(64.8, abs=0.1)


@pytest.mark.second_hand("trade FAQ and notes (unnamed) and a forum's worked case: 1.5, 1.62 and 1.8e-4 per K")
def test_every_printed_coefficient_lies_within_the_span() -> None:
    span = thermal().span
    assert len(thermal().printed) >= 3
    assert all(span.low_per_k <= p.per_k <= span.high_per_k for p in thermal().printed)


@pytest.mark.from_memory("PPI handbook, appendix E: 8, 9 and 10e-5 per degF by material")
@pytest.mark.parametrize("per_degf", [8e-5, 9e-5, 10e-5])
def test_the_coefficients_by_material_lie_within_the_span(per_degf: float) -> None:
    assert thermal().span.low_per_k <= per_degf / PER_DEGF <= thermal().span.high_per_k


@pytest.mark.second_hand("a polymer table as restated by a web page: HDPE 12.5 to 18.0e-5 per K")
def test_the_span_is_about_that_of_a_general_table() -> None:
    assert thermal().span.low_per_k == pytest.approx(12.5e-5, abs=1e-5)
    assert thermal().span.high_per_k >= 18.0e-5


@pytest.mark.second_hand("trade FAQ (unnamed): soil friction normally stops buried pipe, the free formula is a bound")
def test_held_pipe_need_not_move_and_free_pipe_moves_no_more_than_the_formula() -> None:
    span = thermal_span(Span(-20.0, -20.0))
    assert span.high == 0.0
    assert span.low <= -9.0 / 2500.0


@pytest.mark.from_memory("about one wall for the beads of a joint, and 10 to 25 mm of facing for each end")
def test_what_fusing_takes() -> None:
    assert 12.0 * take_up(12.0, 0.0572).low == pytest.approx(0.0572 + 0.020)
    assert 12.0 * take_up(12.0, 0.0572).high == pytest.approx(0.0572 + 0.050)
    assert thermal().take_up.status == "from memory"


@pytest.mark.computed("the worked case of 9.0 m in 2500 m for 20 K, with facing of 50 mm for each 12 m: 7.8 per mille")
@pytest.mark.parametrize(("shorter_m", "verdict"), [(9.0, IN_WINDOW), (30.0, OUT_OF_WINDOW)])
def test_the_worked_case_as_a_scale(shorter_m: float, verdict: str) -> None:
    found = scale_explained(
        -shorter_m / 2500.0, 1e-4, stick_m=12.0, wall_m=None, measured_c=Span(30, 30), laid_c=Span(10, 10)
    )
    assert found.verdict == verdict
