"""Cells: numbers, durations, texts and angles as crews write them. All data is invented."""

from datetime import date, datetime, time, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from asbuilt.read.cells import angles, decimal_sign, numbers, text, texts
from asbuilt.read.durations import spans
from asbuilt.read.durations import written as how_written


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


# --- durations with colons --------------------------------------------------------------------------------------------


def duration(cell, unit, *others):
    read = numbers([cell, *others], decimal=".", from_unit=unit, to_unit="s")
    return read.faults.get(0, read.values[0])


@pytest.mark.parametrize("unit", ["min:s", "min:sec", "mm:ss", "m:s", "Min:Sec"])
def test_minutes_and_seconds_in_every_way_to_say_so(unit):
    assert duration("3:22", unit) == 202
    assert duration(time(13, 10), unit) == 790


@pytest.mark.parametrize(
    ("cell", "unit", "seconds"),
    [
        ("90:00", "min:s", 5400),
        ("3:22.5", "min:s", 202.5),
        ("0:03:22", "min:s", 202),  # no hours: it can mean nothing else
        ("1:05", "h:min", 3900),
        ("1:05:30", "h:min", 3930),
        ("0:13:10", "h:min:s", 790),
        ("202 s", "min:s", 202),
        ("3.5 min", "min:s", 210),
    ],
)
def test_durations_as_they_are_written(cell, unit, seconds):
    assert duration(cell, unit) == pytest.approx(seconds)


# A spreadsheet takes 13:10 for a time of day, 13 h 10 min, and shows the figures typed (common practice, no source).
# The forms are those in which python-calamine handed over one such cell in formats of its own (seen).
@pytest.mark.parametrize("cell", [time(13, 10), timedelta(hours=13, minutes=10), 13 / 24 + 10 / 1440])
def test_a_time_of_day_among_minutes_and_seconds_is_read_by_its_figures(cell):
    assert duration(cell, "min:s") == pytest.approx(790)
    assert duration(cell, "h:min") == pytest.approx(47400)
    assert spans([cell, "3:22"], "min:s").note == (
        "one of its cells is a time of day, read by the figures that are shown: 13:10 as 13 min 10 s"
    )


@pytest.mark.parametrize("cell", [timedelta(hours=25, minutes=10), datetime(1900, 1, 1, 1, 10)])
def test_figures_beyond_a_day_are_minutes_too(cell):
    assert duration(cell, "min:s") == 25 * 60 + 10


def test_times_that_a_workbook_stores_with_seconds_are_what_they_say():
    assert duration(time(0, 13, 10), "min:s", time(0, 9)) == 790
    told = "'0:09' is a time of day among others with seconds: minutes or hours is not clear"
    assert duration(time(0, 9), "min:s", time(0, 13, 10)) == told
    assert duration(time(0, 9), "min:s") == 9
    assert spans([time(0, 13, 10)] * 2, "h:min:s").note == (
        "2 of its cells are times of day, read as stored: 0:13:10 as 13 min 10 s"
    )


@pytest.mark.parametrize(
    ("cell", "fault"),
    [
        ("3:60", "has 60 minutes or seconds, or more"),
        ("3:5", "has one digit behind a colon: which of two is not clear"),
        ("13:10:00", "has 3 parts, and its column is in min:s"),
        ("~3:22", "is not written as min:s"),
        ("202", "has no colon, and its column is in min:s"),
        (202.0, "has no colon, and its column is in min:s"),
        (0.5, "has no colon, and its column is in min:s"),
        ("soon", "is not a number"),
    ],
)
def test_what_is_no_duration_is_named(cell, fault):
    assert duration(cell, "min:s") == f"{text(cell)!r} {fault}"


def test_nothing_among_durations_is_no_fault():
    assert all(np.isnan(duration(cell, "min:s")) for cell in ("", "n/a", None, float("nan")))


@given(st.integers(0, 600), st.integers(0, 59))
def test_any_minutes_and_seconds_come_back(minutes, seconds):
    assert duration(f"{minutes}:{seconds:02}", "min:s") == 60 * minutes + seconds


@pytest.mark.parametrize(
    ("cells", "units"),
    [
        (["3:22", "", "n/a"], ("min:s", "h:min")),
        ([time(13, 10)], ("min:s", "h:min")),
        ([time(0, 13, 10), "0:09:00"], ("h:min:s",)),
    ],
)
def test_what_a_column_with_colons_may_be(cells, units):
    assert how_written(cells).units == units


@pytest.mark.parametrize("cells", [["3:22", "202"], [time(13, 10), 202.0], ["", None], ["3:22", "202 s"]])
def test_a_column_with_plain_numbers_is_not_one_with_colons(cells):
    assert how_written(cells) is None


# --- fractions of an inch ---------------------------------------------------------------------------------------------


# An inch is 25.4 mm (from memory).
@pytest.mark.parametrize(
    ("cell", "inches"),
    [("5/16", 0.3125), ("1 1/4", 1.25), ("1-1/4", 1.25), ('5/16"', 0.3125), ("3/64 in", 0.046875), ("0.25", 0.25)],
)
def test_fractions_in_a_column_of_inches(cell, inches):
    read = numbers([cell], decimal=".", from_unit="in", to_unit="mm")
    assert (read.values[0], read.faults) == (pytest.approx(inches * 25.4), {})


def test_a_fraction_of_a_foot():
    assert numbers(["1/2"], decimal=".", from_unit="ft", to_unit="mm").values[0] == pytest.approx(152.4)


@pytest.mark.parametrize("unit", ["mm", "m", "s", "min"])
def test_elsewhere_a_fraction_may_be_a_date(unit):
    assert one_number("5/16", unit=unit) == "'5/16' is not a number"


@pytest.mark.parametrize("cell", ["5/17", "7/4", "5/0", "16/16"])
def test_what_no_rule_shows_is_no_fraction(cell):
    assert one_number(cell, unit="in") == f"{cell!r} is no fraction as a rule has them, down to 1/64"


@pytest.mark.parametrize("cell", [date(2026, 5, 16), datetime(2026, 5, 16)])
def test_a_fraction_that_a_spreadsheet_made_a_date_is_not_guessed_back(cell):
    assert one_number(cell, unit="in") == (
        "'2026-05-16' is a date, which a spreadsheet makes of a fraction: write it as a decimal or a text"
    )


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
