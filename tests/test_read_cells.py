"""Cells: numbers, texts and angles as crews write them. All data is invented."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from asbuilt.read.cells import angles, decimal_sign, numbers, text, texts


def one_number(cell, *, decimal=".", unit="mm"):
    read = numbers([cell], decimal=decimal, from_unit=unit, to_unit=unit)
    return read.faults.get(0, read.values[0])


def one_angle(cell, *, decimal=".", letters="NS", limit=90.0):
    read = angles([cell], decimal=decimal, letters=letters, limit=limit)
    return read.faults.get(0, read.values[0])


@pytest.mark.parametrize(
    ("columns", "sign"),
    [
        ([["215,5", "1,215"]], ","),
        ([["215.5", "1.215"]], "."),
        ([["215", "17"]], ""),
        ([["1,215"]], "?"),  # 1.215 or 1215
        ([["0,215"]], ","),  # no thousand begins with 0
        ([["215,5"], ["215.5"]], "?"),
        ([["500,012.25"]], ".,"),
        ([["5,250,000"]], ".,"),
        ([["500.012,25"]], ",."),
        ([["5.250.000"]], ",."),
        ([["5 250 000,25"]], ","),
        ([["500,012.25"], ["500.012,25"]], "?"),
        ([["215,5 °C", "-3,25"]], ","),
        ([[215.5, None, "n/a"]], ""),
    ],
)
def test_the_decimal_sign_is_proven_or_open(columns, sign):
    assert decimal_sign(columns) == sign


@pytest.mark.parametrize(
    ("cell", "decimal", "value"),
    [
        ("1.5", ".", 1.5),
        ("+.5", ".", 0.5),
        ("5.", ".", 5),
        ("1,5", ",", 1.5),
        ("1e3", ".", 1000),
        ("−5", ".", -5),  # a typographic minus
        ("500 012", ".", 500012),
        ("5 250 000,25", ",", 5250000.25),
        ("5'250'000.25", ".", 5250000.25),
        ("500,012.5", ".,", 500012.5),
        ("1,215", ".,", 1215),
        ("500.012,5", ",.", 500012.5),
        ("5.250.000", ",.", 5250000),
        ("215.25", ",", 215.25),  # two digits behind it: no thousands
        (7, ".", 7),
    ],
)
def test_numbers_as_they_are_written(cell, decimal, value):
    assert one_number(cell, decimal=decimal) == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    "cell",
    ["~5", "<5", "5-6", "5+", "1,5", "1_0", "0x10", "1.2.3", "½", "00:05", "4O.1", "five", True, "5 mm (approx)"],
)
def test_what_is_no_number_is_named_not_guessed(cell):
    assert one_number(cell) == f"{text(cell)!r} is not a number"


@pytest.mark.parametrize("cell", ["1e999", float("inf"), float("-inf")])
def test_a_number_is_finite(cell):
    assert one_number(cell) == f"{text(cell)!r} is not finite"


def test_a_point_among_decimal_commas_with_three_digits_is_not_guessed():
    assert one_number("1.215", decimal=",.") == (
        "'1.215' has a point where this source writes a comma: decimals or thousands"
    )
    assert one_number("1,215", decimal=".") == "'1,215' is not a number"


@pytest.mark.parametrize(
    "cell", ["", " ", "-", "--", "n/a", "N/A", "nil", "None", "NULL", "#N/A", "?", None, float("nan")]
)
def test_nothing_is_not_recorded_and_no_fault(cell):
    assert np.isnan(one_number(cell))
    assert np.isnan(one_angle(cell))


@pytest.mark.parametrize(
    ("cell", "value"), [("5 in", 127), ("5in", 127), ('5"', 127), ("1.5 cm", 15), ("12 ft", 3657.6), ("3 mm", 3)]
)
def test_a_unit_in_the_cell_outranks_that_of_the_column(cell, value):
    assert one_number(cell) == pytest.approx(value)


def test_a_unit_of_another_kind_and_a_unit_without_need_are_faults():
    assert one_number("5 psi") == "unit psi cannot be shown in mm"
    assert one_number("5 m", unit="") == "'m' stands behind a number that has no unit"


def test_one_bad_cell_leaves_the_others():
    read = numbers(["419", "215 °C", "x", None], decimal=".", from_unit="degF", to_unit="degC")
    np.testing.assert_allclose(read.values, [215, 215, np.nan, np.nan])
    assert read.faults == {2: "'x' is not a number"}


@given(st.floats(-1e6, 1e6, allow_nan=False))
def test_any_number_comes_back_as_written(value):
    assert one_number(repr(value)) == value
    assert one_number(repr(value).replace(".", ","), decimal=",") == value or "decimals or thousands" in str(
        one_number(repr(value).replace(".", ","), decimal=",")
    )


@pytest.mark.parametrize(
    "cell",
    [
        "-42.9", -42.9, "−42.9", "-42.9°", "42.9 S", "S42.9", "s 42.9", "42.9S", "42°54'S", "S 42º54′0″",
        "42° 54' 00\" S", "42 54 00S", "42 54 00 S", "-42 54 00", "-42 54", "42:54:00 S", "42d54m00s S", "42d54m00sS",
        "42°54'0''S", "42°54’00”S", "42° 54.0' S", "42 ° 54 ' 0 \" s",
    ],
)  # fmt: skip
def test_every_way_to_write_one_latitude(cell):
    assert one_angle(cell) == pytest.approx(-42.9, abs=1e-12)


def test_minutes_and_seconds_are_sixtieths():
    assert one_angle("42°53'30.6\"N") == pytest.approx(42 + 53 / 60 + 30.6 / 3600, abs=1e-12)
    assert one_angle("147 10,5 E", decimal=",", letters="EW", limit=180) == pytest.approx(147.175)


@pytest.mark.parametrize(
    ("cell", "fault"),
    [
        ("-42.9 S", "says its side twice"),
        ("S 42.9 S", "says its side twice"),
        ("S -42.9", "says its side twice"),
        ("42.9 E", "has E, this column is N or S"),
        ("90.0001", "is more than 90 degrees"),
        ("-4254.123", "is more than 90 degrees"),
        ("42 60 00", "has 60 minutes or seconds, or more"),
        ("42 59 60", "has 60 minutes or seconds, or more"),
        ("42.5 30", "has decimals before its last part"),
        ("42 54.5 30 S", "has decimals before its last part"),
        ("42°54''", "is not an angle"),
        ("42° S 54'", "is not an angle"),
        ("42,9 S", "is not an angle"),
        ("--42.9", "is not a number"),
        ("4O.9", "is not a number"),
        ("inf", "is not a number"),
        ("1e1000", "is not a number"),
        (True, "is not a number"),
    ],
)
def test_what_is_no_latitude_is_named(cell, fault):
    assert one_angle(cell) == f"{text(cell)!r} {fault}"


def test_a_longitude_may_pass_90_but_not_180():
    assert one_angle("147", letters="EW", limit=180) == 147
    assert one_angle("180.5", letters="EW", limit=180) == "'180.5' is more than 180 degrees"


@given(st.integers(0, 89), st.integers(0, 59), st.integers(0, 59), st.sampled_from("NS"))
def test_degrees_minutes_seconds_come_back(degrees, minutes, seconds, side):
    expected = (degrees + minutes / 60 + seconds / 3600) * (-1 if side == "S" else 1)
    for written in (
        f"{degrees}°{minutes}'{seconds}\"{side}",
        f"{side}{degrees} {minutes} {seconds}",
        f"{degrees} {minutes} {seconds}{side}",
    ):
        assert one_angle(written) == pytest.approx(expected, abs=1e-12)


def test_texts_keep_zeros_and_lose_only_the_decimals_of_a_whole_number():
    assert list(texts(["0017", 17.0, 17.5, " a  b\n c ", "n/a", None, 1e16]).values) == [
        "0017", "17", "17.5", "a b c", None, None, "1e+16",
    ]  # fmt: skip


def test_a_nul_stays_visible():
    assert text("J\x001") == "J\ufffd1"
