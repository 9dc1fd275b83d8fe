"""Station texts, differences and a station equation, as surveying texts print them."""

import numpy as np
import pytest

from asbuilt.quantities import METRES_PER_FOOT
from asbuilt.stationing import ChainageEquation, Stationing, label, parse_label

CHAPTER_A = "jerrymahun.com, chapter A"
CHAPTER_C = "jerrymahun.com, open access, VII Curves, chapter C"
FOOT = METRES_PER_FOOT["international"]

# value, station length, decimals, text
PRINTED = [
    pytest.param(835.67, 100, 2, "8+35.67", marks=pytest.mark.seen(CHAPTER_A)),
    pytest.param(4157.95, 100, 2, "41+57.95", marks=pytest.mark.seen("expertcivil.com")),
    pytest.param(1256.02, 100, 2, "12+56.02", marks=pytest.mark.seen(f"{CHAPTER_A} (one of two conventions)")),
    pytest.param(1256.02, 1000, 2, "1+256.02", marks=pytest.mark.seen(f"{CHAPTER_A} (the other)")),
    pytest.param(-145.67, 100, 2, "-1+45.67", marks=pytest.mark.seen(CHAPTER_A)),
    pytest.param(
        -153.1, 1000, 1, "-0+153.1",
        marks=pytest.mark.computed("the start station of a bSI sample alignment, written to our rule"),
    ),
    pytest.param(99.996, 100, 2, "1+00.00", marks=pytest.mark.computed("rounded first, split after")),
    pytest.param(999.9996, 1000, 3, "1+000.000", marks=pytest.mark.computed("rounded first, split after")),
    pytest.param(-99.996, 100, 2, "-1+00.00", marks=pytest.mark.computed("rounded first, split after")),
    pytest.param(-0.004, 100, 2, "0+00.00", marks=pytest.mark.computed("zero has no sign")),
]  # fmt: skip


@pytest.mark.parametrize(("value", "station_length", "decimals", "text"), PRINTED)
def test_a_value_is_written_as_printed(value: float, station_length: int, decimals: int, text: str) -> None:
    assert label(value, station_length=station_length, decimals=decimals) == text


@pytest.mark.parametrize(("value", "station_length", "decimals", "text"), PRINTED)
def test_a_printed_station_is_read_to_its_last_digit(
    value: float, station_length: int, decimals: int, text: str
) -> None:
    found = parse_label(text, station_length=station_length)
    assert found == pytest.approx(value, abs=0.5 * 10**-decimals)


@pytest.mark.seen(CHAPTER_A)
def test_the_difference_of_two_stations() -> None:
    back, ahead = (parse_label(text, station_length=100) for text in ("12+38.28", "16+56.85"))
    assert ahead - back == pytest.approx(418.57, abs=1e-9)


@pytest.mark.seen(f"{CHAPTER_A}: a station is 100 m or 1000 m, and the text does not say which")
def test_one_text_is_two_places() -> None:
    assert parse_label("12+56.02", station_length=100) == 1256.02
    assert parse_label("12+56.02", station_length=1000) == 12056.02


@pytest.mark.computed("a rest of a station length or more is no station")
@pytest.mark.parametrize(("text", "station_length"), [("12+100.00", 100), ("1+1256.02", 1000)])
def test_a_rest_that_fills_a_station_is_refused(text: str, station_length: int) -> None:
    with pytest.raises(ValueError, match=f"is not less than the station length {station_length}"):
        parse_label(text, station_length=station_length)


@pytest.mark.seen("a bSI sample alignment in IFC: station -153.1 at distance 0, 876.2720713 at 1029.3720713")
def test_stations_may_begin_below_zero() -> None:
    start = Stationing(start_m=-153.1, decimals=4)
    assert list(start.labels(-153.1 + np.array([0.0, 1029.3720713]))) == ["-0+153.1000", "0+876.2721"]


def circular_curve() -> Stationing:
    """Return the equation at the end of the curve: the stations of the tangents begin again there."""
    equation = ChainageEquation(back_m=2719.681 * FOOT, ahead_m=2760.284 * FOOT)
    return Stationing(station_length_m=100 * FOOT, metres_per_unit=FOOT, decimals=3, equations=(equation,))


@pytest.mark.seen(f"{CHAPTER_C}: EC 27+19.681 back = 27+60.284 ahead, printed to 0.001 ft")
def test_a_station_equation_is_read_back_and_then_ahead() -> None:
    at = np.array([2239.716, 2719.681, 2719.681 + 1e-6, 2819.681]) * FOOT
    assert list(circular_curve().labels(at)) == ["22+39.716", "27+19.681", "27+60.284", "28+60.284"]


@pytest.mark.computed("2 T - L of the same curve, exact 40.6015 ft; the source cuts both off at 0.001 ft")
def test_the_jump_of_an_equation_is_what_the_curve_saves() -> None:
    assert circular_curve().equations[0].jump_m / FOOT == pytest.approx(40.6015, abs=0.002)


@pytest.mark.computed("from the same equation: no place carries a station between back and ahead")
def test_a_station_in_the_hole_is_nowhere() -> None:
    curve = circular_curve()
    assert curve.chainages_m(2740.0 * FOOT) == []
    assert curve.chainages_m(2719.681 * FOOT) == pytest.approx([2719.681 * FOOT])
    assert curve.chainages_m(2800.0 * FOOT) == pytest.approx([(2800.0 - 40.603) * FOOT])


@pytest.mark.seen(f"{CHAPTER_C}: EC 27+19.681 back = 27+60.284 ahead: both texts name the one place")
@pytest.mark.parametrize("text", ["27+19.681", "27+60.284"])
def test_either_station_of_an_equation_is_found_at_it(text: str) -> None:
    stated = parse_label(text, station_length=100) * FOOT
    assert circular_curve().chainages_m(stated) == pytest.approx([2719.681 * FOOT])


@pytest.mark.computed("the same equation turned round: a station in the overlap is two places")
def test_a_station_in_an_overlap_is_twice() -> None:
    turned = Stationing(equations=(ChainageEquation(back_m=2760.284 * FOOT, ahead_m=2719.681 * FOOT),))
    assert turned.chainages_m(2740.0 * FOOT) == pytest.approx([2740.0 * FOOT, (2740.0 + 40.603) * FOOT])
    assert turned.chainages_m(2700.0 * FOOT) == pytest.approx([2700.0 * FOOT])


@pytest.mark.computed(
    "US survey foot = 1200/3937 m: 2 ft in a million; a mile of stations of each kind agrees to 0.01 ft"
)
def test_stations_in_either_foot() -> None:
    metres = np.array([5280 * FOOT])
    feet = [Stationing(station_length_m=100 * f, metres_per_unit=f).labels(metres)[0] for f in METRES_PER_FOOT.values()]
    assert feet == ["52+80.00", "52+79.99"]
