"""The shipped single low pressure procedure against what was found in print about it.

The standard itself was not read. The later values stand on one trade parameter card (2020-02-14) that cites ISO 21307
and names no edition; the table of the 2011 edition was read in its national adoption, GOST R 55276-2012, table A.1.
Here `e` is the wall in mm.
"""

import re
from pathlib import Path

import numpy as np
import pytest

from asbuilt.look import IN_WINDOW, OUT_OF_WINDOW
from asbuilt.procedures import Procedure, ProcedureWindow, load
from asbuilt.quantities import convert
from asbuilt.window import judge

CARD = "trade parameter card of 2020-02-14 citing ISO 21307, no edition named"
TABLE_2011 = "GOST R 55276-2012, table A.1 (ISO 21307:2011)"
OPEN = float("nan")


@pytest.fixture(scope="module")
def procedure() -> Procedure:
    return load("ISO 21307 single low pressure", Path())


def window(procedure: Procedure, check: str) -> ProcedureWindow:
    return next(w for w in procedure.window if w.check == check)


def limits(procedure: Procedure, check: str, *, over: str = "wall_mm", at: float = 10.0) -> tuple[float, float]:
    found = window(procedure, check).limits({over: np.array([at]), "ambient_temperature_c": np.array([23.0])})
    assert found.known.all()
    return float(found.low[0]), float(found.high[0])


CARD_VALUES = [
    pytest.param("initial_bead", 10, (1.5, OPEN), 1e-9, id="bead of 10 mm of wall: 0.5 + 0.1 e"),
    pytest.param("soak_time", 36.3, (435.6, 544.5), 1e-6, id="soak of 36.3 mm: 12 e to 15 e"),
    pytest.param("cooling_time", 10, (13.0, OPEN), 1e-9, id="cooling of 10 mm: e + 3"),
    pytest.param("cooling_time", 20, (16.60, OPEN), 0.005, id="cooling of 20 mm"),
    pytest.param("cooling_time", 36.3, (22.70, OPEN), 0.005, id="cooling of 36.3 mm"),
    pytest.param("cooling_time", 70, (60.60, OPEN), 0.005, id="cooling of 70 mm"),
    pytest.param("cooling_time", 17.99, (20.99, OPEN), 0.005, id="cooling just below the step at 18 mm"),
    pytest.param("cooling_time", 18.0, (16.40, OPEN), 0.005, id="cooling at the step at 18 mm"),
]


@pytest.mark.second_hand(CARD)
@pytest.mark.parametrize(("check", "wall", "expected", "tolerance"), CARD_VALUES)
def test_a_value_that_was_seen_on_the_card(
    procedure: Procedure, check: str, wall: float, expected: tuple[float, float], tolerance: float
) -> None:
    assert limits(procedure, check, at=wall) == pytest.approx(expected, abs=tolerance, nan_ok=True)
    assert window(procedure, check).status == "second-hand"


@pytest.mark.second_hand(f"{CARD}: 3 + 0.03 D; it may come from another document")
def test_the_ramp_of_a_400_mm_pipe(procedure: Procedure) -> None:
    low, high = limits(procedure, "ramp_time", over="outside_diameter_mm", at=400.0)
    assert (low, high) == pytest.approx((OPEN, 15.0), nan_ok=True)
    assert window(procedure, "ramp_time").status == "second-hand"


@pytest.mark.second_hand(f"{CARD}: 225 ± 10 °C")
def test_the_heater(procedure: Procedure) -> None:
    assert limits(procedure, "heater_temperature") == (215.0, 235.0)
    assert window(procedure, "heater_temperature").status == "second-hand"


@pytest.mark.second_hand(f"{CARD}, note 1: as low as keeps contact, from 0 to the drag pressure, on the gauge")
def test_the_soak_pressure_reaches_to_the_drag(procedure: Procedure) -> None:
    assert limits(procedure, "soak_pressure", over="drag_pressure_mpa", at=0.7) == pytest.approx((0.0, 0.7))
    assert window(procedure, "soak_pressure").pressure == "gauge"
    assert window(procedure, "soak_pressure").status == "second-hand"


@pytest.mark.second_hand(f"{CARD}: 1.7 bar at the melt face, for bead-up and for fusing")
@pytest.mark.parametrize("check", ["bead_pressure", "fusion_pressure"])
def test_the_pressure_at_the_melt_face_is_the_middle_of_its_window(procedure: Procedure, check: str) -> None:
    middle = np.array([np.mean(limits(procedure, check))])
    assert convert(middle, "MPa", "bar") == pytest.approx(1.7)
    assert procedure.pressure == "interfacial"


@pytest.mark.from_memory("ISO 21307, table 1: ± 0.02 MPa")
@pytest.mark.parametrize("check", ["bead_pressure", "fusion_pressure"])
def test_the_tolerance_of_the_pressure_is_said_to_be_from_memory(procedure: Procedure, check: str) -> None:
    assert np.diff(limits(procedure, check)) / 2 == pytest.approx([0.02])
    assert window(procedure, check).status == "from memory"


@pytest.mark.second_hand(f"{TABLE_2011}: 6 mm at 50 mm and at 70 mm, where 0.5 + 0.1 e would be 7.5")
def test_the_bead_is_capped(procedure: Procedure) -> None:
    assert limits(procedure, "initial_bead", at=70.0)[0] == 6.0
    assert limits(procedure, "initial_bead", at=90.2)[0] == 6.0
    assert limits(procedure, "initial_bead", at=50.0)[0] == pytest.approx(5.5)


@pytest.mark.second_hand(f"{TABLE_2011}: bead, whole millimetres")
@pytest.mark.parametrize(("wall", "printed"), [(4.5, 1), (7, 1), (12, 2), (19, 2), (26, 3), (37, 4), (50, 6), (70, 6)])
def test_the_bead_is_that_of_the_table_to_half_a_millimetre(procedure: Procedure, wall: float, printed: int) -> None:
    assert limits(procedure, "initial_bead", at=wall)[0] == pytest.approx(printed, abs=0.5 + 1e-9)


@pytest.mark.second_hand(
    f"{TABLE_2011}: removal, whole seconds; the formula 0.1 e + 4 is from memory, and is said to be"
)
@pytest.mark.parametrize(("wall", "printed"), [(7, 5), (12, 5), (19, 6), (26, 7), (37, 8), (50, 9), (70, 11)])
def test_the_removal_time_is_that_of_the_table(procedure: Procedure, wall: float, printed: int) -> None:
    low, high = limits(procedure, "removal_time", at=wall)
    assert np.isnan(low)
    assert round(high) == printed
    assert window(procedure, "removal_time").status == "from memory"


@pytest.mark.computed("the formulas of the card, for walls that the facts work out")
@pytest.mark.parametrize(
    ("wall", "bead", "soak", "cooling"),
    [(10, 1.5, (120, 150), 13.0), (15, 2.0, (180, 225), 18.0), (20, 2.5, (240, 300), 16.60),
     (36.3, 4.13, (435.6, 544.5), 22.70), (50, 5.5, (600, 750), 34.0), (70, 6.0, (840, 1050), 60.6),
     (90.2, 6.0, (1082.4, 1353.0), 99.65)],
)  # fmt: skip
def test_worked_values_of_one_wall(
    procedure: Procedure, wall: float, bead: float, soak: tuple[float, float], cooling: float
) -> None:
    assert limits(procedure, "initial_bead", at=wall)[0] == pytest.approx(bead, abs=0.005)
    assert limits(procedure, "soak_time", at=wall) == pytest.approx(soak, abs=0.05)
    assert limits(procedure, "cooling_time", at=wall)[0] == pytest.approx(cooling, abs=0.005)


@pytest.mark.computed("the two cooling rules of the card cross again at 84.6 mm")
def test_the_later_cooling_is_the_longer_one_again_above_84_mm(procedure: Procedure) -> None:
    below, above = (limits(procedure, "cooling_time", at=wall)[0] - (wall + 3) for wall in (84.5, 84.7))
    assert below < 0 < above


@pytest.mark.second_hand(f"{TABLE_2011}: soak of 12 mm 120 to 144 s, cooling of 26 mm 29 min")
def test_the_later_values_are_not_those_of_2011_and_claim_no_year(procedure: Procedure) -> None:
    assert limits(procedure, "soak_time", at=12.0) != (120.0, 144.0)
    assert limits(procedure, "cooling_time", at=26.0)[0] < 29.0
    assert not re.search(r"\d{4}", procedure.edition)
    assert "second-hand" in procedure.edition


@pytest.mark.computed("225 ± 10 °C is 419 to 455 °F exactly, and both limits belong to the window")
def test_a_heater_recorded_in_fahrenheit_at_the_limit_is_in_window(procedure: Procedure) -> None:
    low, high = (np.full(4, side) for side in limits(procedure, "heater_temperature"))
    recorded = convert(np.array([418.9, 419.0, 455.0, 455.1]), "degF", "degC")
    verdict = judge(recorded, low, high, computable=np.ones(4, dtype=bool))
    assert verdict.tolist() == [OUT_OF_WINDOW, IN_WINDOW, IN_WINDOW, OUT_OF_WINDOW]


@pytest.mark.computed("without a wall there is no limit that depends on it")
@pytest.mark.parametrize("check", ["initial_bead", "soak_time", "removal_time", "cooling_time"])
def test_a_limit_without_a_wall_is_not_invented(procedure: Procedure, check: str) -> None:
    found = window(procedure, check).limits({"wall_mm": np.array([OPEN])})
    assert not found.known.any()
    assert "wall" in found.why_not[0]
    assert np.isnan([found.low, found.high]).all()
