"""DVS 2207-1 for PE as two trade handbooks (unnamed) print it: linear within a band of wall.

The guideline itself was not read. The older text ends at 70 mm; the later one goes by ambient temperature.
"""

import numpy as np
import pytest

from tests.test_procedures import OPEN, limits_of, loaded, sides, status, window_of

OLD, LATER = "DVS 2207-1 older", "DVS 2207-1 later"
BOOK = "trade handbook (unnamed), table of DVS 2207-1"
EXAMPLE = "trade handbook (unnamed), worked example: 400 mm, SDR 11, 36.3 mm of wall"
SECOND = "second trade handbook (unnamed), DVS 2207-1 by ambient temperature"
WALLS = (4.5, 7, 12, 19, 26, 37, 50, 70, 90, 110, 130)
TABLE = {
    "initial_bead": (0.5, 1, 1.5, 2, 2.5, 3, 3.5, 4, 4.5, 5, 5.5),
    "soak_time": (45, 70, 120, 190, 260, 370, 500, 700, 900, 1100, 1300),
    "removal_time": (5, 6, 8, 10, 12, 16, 20, 25, 30, 35, 35),
    "ramp_time": (5, 6, 8, 11, 14, 19, 25, 35, 35, 35, 35),
}
COOLING = {
    10: (4, 6, 9.5, 14, 19, 27, 36, 50, 64, 78, 92),
    20: (5, 7.5, 12, 18, 24, 34, 46, 64, 82, 100, 118),
    30: (6.5, 9.5, 15.5, 24, 32, 45, 61, 85, 109, 133, 157),
}
OLD_COOLING = (6, 10, 16, 24, 32, 45, 60, 80)


def one(name: str, check: str, **recorded: float) -> float:
    """Return the one side that the check has."""
    return next(side for side in sides(name, check, **recorded) if not np.isnan(side))


@pytest.mark.second_hand(f"{BOOK}: at the upper end of each band of wall")
@pytest.mark.parametrize("name", [OLD, LATER])
@pytest.mark.parametrize("check", TABLE)
def test_the_table_at_the_end_of_each_band(name, check):
    walls = WALLS[: 8 if name == OLD else None]
    assert [one(name, check, wall=w) for w in walls] == pytest.approx(TABLE[check][: len(walls)])
    assert status(name, check, wall=10) == "second-hand"


@pytest.mark.second_hand(f"{BOOK}: the first band, up to 4.5 mm, has one value")
def test_a_thin_wall_has_the_values_of_the_first_band():
    found = [one(OLD, check, wall=3.0) for check in (*TABLE, "cooling_time")]
    assert found == [0.5, 45, 5, 5, 6]


@pytest.mark.second_hand(f"{BOOK}: older cooling times")
def test_the_older_cooling_at_the_end_of_each_band():
    assert [one(OLD, "cooling_time", wall=w) for w in WALLS[:8]] == pytest.approx(OLD_COOLING)


@pytest.mark.second_hand(SECOND)
@pytest.mark.parametrize("ambient", COOLING)
def test_the_later_cooling_at_the_end_of_each_band(ambient):
    found = [one(LATER, "cooling_time", wall=w, ambient_temperature=ambient) for w in WALLS]
    assert found == pytest.approx(COOLING[ambient])


@pytest.mark.second_hand(f"{EXAMPLE}: bead 3.0 mm, soak 363 s")
def test_bead_and_soak_of_the_example():
    assert one(OLD, "initial_bead", wall=36.3) == 3.0
    assert one(OLD, "soak_time", wall=36.3) == pytest.approx(363)


@pytest.mark.second_hand(f"{EXAMPLE}: printed to the nearest second and minute")
@pytest.mark.parametrize(
    ("check", "computed", "printed"),
    [("removal_time", 15.75, 16), ("ramp_time", 18.68, 19), ("cooling_time", 44.17, 44)],
)
def test_times_of_the_example(check, computed, printed):
    found = one(OLD, check, wall=36.3)
    assert found == pytest.approx(computed, abs=0.01)
    assert round(found) == printed


@pytest.mark.second_hand("second trade handbook (unnamed), worked example: 6 mm cools for 8.4 min by the older text")
def test_cooling_within_a_band_of_the_older_text():
    assert one(OLD, "cooling_time", wall=6) == pytest.approx(8.4)


@pytest.mark.second_hand(f"{SECOND}, linear within a band of wall")
@pytest.mark.parametrize(
    ("wall", "ambient", "minutes"),
    [(36.3, 14.9, 26.49), (36.3, 15, 33.36), (36.3, 24.9, 33.36), (36.3, 26, 44.17), (36.3, 40, 44.17),
     (57.2, 20, 52.48), (6, 10, 5.2), (6, 20, 6.5), (6, 30, 8.3)],
)  # fmt: skip
def test_cooling_within_a_band_by_ambient_temperature(wall, ambient, minutes):
    assert one(LATER, "cooling_time", wall=wall, ambient_temperature=ambient) == pytest.approx(minutes, abs=0.01)


@pytest.mark.second_hand(f"{SECOND}: 25 °C stands in two bands; the longer time is taken (our reading)")
def test_at_25_degrees_the_longer_time_holds():
    assert one(LATER, "cooling_time", wall=36.3, ambient_temperature=25) == pytest.approx(44.17, abs=0.01)


@pytest.mark.second_hand(f"{SECOND}: it ends at 40 °C, and goes by the ambient temperature")
@pytest.mark.parametrize(
    ("ambient", "says"),
    [(41, "the procedure has no limit for this wall and ambient temperature"),
     (OPEN, "ambient temperature is not known")],
)  # fmt: skip
def test_without_a_band_there_is_no_cooling_time(ambient, says):
    found = limits_of(window_of(LATER, "cooling_time"), wall=36.3, ambient_temperature=ambient)
    assert found.why_not.tolist() == [says]


@pytest.mark.second_hand(f"{BOOK}: the older cooling ends at 70 mm, the later one at 130 mm")
def test_how_far_each_text_goes():
    wall = {"wall_mm": np.array([70.0, 70.1, 130.0, 130.1])}
    assert [s == "" for s in loaded(OLD).not_covered(wall)] == [True, False, False, False]
    assert [s == "" for s in loaded(LATER).not_covered(wall)] == [True, True, True, False]


@pytest.mark.second_hand("trade handbook (unnamed): 210 ± 10 °C, 0.02 and 0.15 ± 0.01 N/mm²")
def test_heater_and_pressures_of_the_older_text():
    assert sides(OLD, "heater_temperature") == (200, 220)
    assert sides(OLD, "soak_pressure") == pytest.approx((OPEN, 0.02), nan_ok=True)
    assert sides(OLD, "fusion_pressure") == sides(OLD, "bead_pressure") == (0.14, 0.16)


@pytest.mark.from_memory("DVS 2207-1 later: heater 200 to 220 °C, pressures as in the older text")
@pytest.mark.parametrize("check", ["heater_temperature", "bead_pressure", "soak_pressure", "fusion_pressure"])
def test_heater_and_pressures_of_the_later_text_are_presets(check):
    assert sides(LATER, check) == pytest.approx(sides(OLD, check), nan_ok=True)
    assert status(LATER, check) == "from memory"


@pytest.mark.computed(
    "a wall of 36.3 mm cools for 15.7 min by 11 min for each inch, and for 44.2 min by DVS: 2.8 times"
)
def test_without_the_procedure_a_cooling_time_says_nothing():
    least = sides("ASTM F2620", "cooling_time", wall=36.3)[0]
    most = one(LATER, "cooling_time", wall=36.3, ambient_temperature=30)
    assert (least, most) == pytest.approx((15.7, 44.2), abs=0.05)
    assert most / least == pytest.approx(2.8, abs=0.05)
