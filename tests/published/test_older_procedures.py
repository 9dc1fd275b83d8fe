"""Procedures of which every number is from memory, and the pressures that any procedure is compared with."""

import numpy as np
import pytest

from asbuilt.judge.derived import gauge_pressure, interfacial_pressure
from tests.test_procedures import loaded, sides, status

EXAMPLE = "a trade handbook's worked example (unnamed; four copies agree)"


@pytest.mark.from_memory("PIPA POP003, issues before 6.1")
def test_the_older_pop003_as_remembered():
    size = {"wall": 36.3, "outside_diameter": 400.0}
    name = "PIPA POP003 older"
    assert sides(name, "heater_temperature") == (205, 235)
    assert sides(name, "fusion_pressure", shown="kPa") == pytest.approx((150, 200))
    assert sides(name, "soak_time", **size)[0] == pytest.approx(544.5)
    assert [sides(name, c, **size)[1] for c in ("removal_time", "ramp_time")] == pytest.approx([7, 15])
    assert sides(name, "cooling_time", **size)[0] == pytest.approx(28.15)
    assert sides(name, "bead_width", **size) == pytest.approx((21.15, 32.225))
    assert {status(name, w.check, **size) for w in loaded(name).window} == {"from memory"}


@pytest.mark.from_memory("UK WIS 4-32-08")
def test_wis_4_32_08_as_remembered():
    name = "WIS 4-32-08"
    assert sides(name, "soak_time", wall=36.3)[0] == pytest.approx(423)
    assert sides(name, "removal_time", wall=36.3)[1] == 10
    assert sides(name, "cooling_time", wall=36.3)[0] == pytest.approx(28.15)
    assert sides(name, "cooling_out_time", wall=36.3)[0] == pytest.approx(54.45)


def gauge_psi(interfacial: float, *, drag: float = 30.0, wall: float = 8.625 / 11) -> float:
    area = np.pi * (8.625 - wall) * wall
    found = gauge_pressure(np.array([interfacial]), np.array([drag]), piston=np.array([4.71]), area=np.array([area]))
    return float(found[0])


@pytest.mark.second_hand(f"{EXAMPLE}: 8.625 in, DR 11, 75 psi, 4.71 sq in, drag 30 psi: 338 psi")
def test_the_gauge_pressure_of_the_worked_example():
    assert round(gauge_psi(75)) == 338
    assert gauge_psi(75, wall=0.784) == pytest.approx(337.52, abs=0.005)


@pytest.mark.computed(f"the formula of {EXAMPLE}, with the wall not rounded")
@pytest.mark.parametrize(("interfacial", "gauge"), [(60, 276.04), (75, 337.56), (90, 399.07)])
def test_gauge_pressures_of_the_worked_example_and_back(interfacial, gauge):
    assert gauge_psi(interfacial) == pytest.approx(gauge, abs=0.01)
    area = np.pi * (8.625 - 8.625 / 11) * 8.625 / 11
    back = interfacial_pressure(np.array([gauge]), np.array([30.0]), piston=np.array([4.71]), area=np.array([area]))
    assert back == pytest.approx([interfacial], abs=0.005)


@pytest.mark.second_hand("a trade handbook's example: 400 mm, 36.3 mm, 41 476 mm², table 44 bar and drag 7 bar: 51 bar")
def test_a_set_pressure_in_bar():
    piston = 1.5 * 41_476 / 44  # the machine of that table: 1 414 mm²
    assert piston == pytest.approx(1414, abs=0.5)
    found = gauge_pressure(np.array([1.5]), np.array([7.0]), piston=np.array([piston]), area=np.array([41_476.0]))
    assert found == pytest.approx([51])


@pytest.mark.computed("a trade parameter card's formula: (400 - 36.3) 36.3 × 1.7 × 3.142 / 1414 + 7 = 56.87 bar")
def test_a_set_pressure_by_the_card():
    area = np.pi * (400 - 36.3) * 36.3
    found = gauge_pressure(np.array([1.7]), np.array([7.0]), piston=np.array([1414.0]), area=np.array([area]))
    assert found == pytest.approx([56.87], abs=0.05)


@pytest.mark.computed("force = area × pressure: 2000 × 76.9 mm at 0.52 MPa is 241.59 kN")
def test_the_largest_force():
    area = np.pi * (2000 - 76.9) * 76.9
    found = gauge_pressure(np.array([0.52]), np.array([0.0]), piston=np.array([1000.0]), area=np.array([area]))
    assert found == pytest.approx([241.59], abs=0.05)
