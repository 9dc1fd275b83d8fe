"""Times: stated formats, ISO 8601, workbook dates, proven orders, and the hours that a clock change makes or takes."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from asbuilt.read.times import moments

# Australia/Hobart is UTC+10 and in summer +11; the clock changes are those of the IANA tz database (package tzdata).


def read(*cells, stated="", zone="Australia/Hobart", clock=None):
    return moments(list(cells), stated=stated, zone=ZoneInfo(zone) if zone else None, clock=clock)


def utc(text):
    return np.datetime64(text, "us")


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        ("2026-03-01T00:00Z", "2026-03-01T00:00"),
        ("2026-03-01 10:00", "2026-02-28T23:00"),
        ("2026-03-01T10:00:30.25", "2026-02-28T23:00:30.25"),
        ("2026-03-01 10:00:00,5", "2026-02-28T23:00:00.5"),
        ("2026-03-01T10:00+01:00", "2026-03-01T09:00"),
        ("2026-03-01T10:00:00-0530", "2026-03-01T15:30"),
        ("2026-07-01 10:00", "2026-07-01T00:00"),  # winter: +10
        ("2026/03/01 10:00:00", "2026-02-28T23:00"),
        ("2026-3-1 9:05 pm", "2026-03-01T10:05"),
        (datetime(2026, 3, 1, 10), "2026-02-28T23:00"),
        (date(2026, 3, 1), "2026-02-28T13:00"),
        (46082.4375, "2026-02-28T23:30"),  # day 46082 of a workbook is 2026-03-01
        (46082, "2026-02-28T13:00"),
    ],
)
def test_a_cell_that_says_its_time_without_doubt(cell, expected):
    found = read(cell)
    assert found.refusal is None
    assert found.faults == {}
    assert found.utc[0] == utc(expected)


@pytest.mark.parametrize(
    "cell",
    [
        "2026-02-30", "2026-13-01", "2026-03-01 25:00", "2026-03-01 10:60", "2026-03-01 10", "yesterday", "10:00",
        "20260301", "46082.5", "1 Mar 2026", "9999-12-31 23:59", "0001-01-01T00:00+14:00", "1899-12-31", time(10), 0.4,
        20260301.0, 1e300, True, "2026-03-01 13:00 PM",
    ],
)  # fmt: skip
def test_what_is_no_time_is_named(cell):
    found = read("2026-03-01", cell)
    assert np.isnat(found.utc[1])
    assert list(found.faults) == [1]


@pytest.mark.parametrize("cell", ["", None, "n/a", "-", float("nan")])
def test_no_time_is_no_fault(cell):
    found = read(cell)
    assert np.isnat(found.utc[0])
    assert (found.faults, found.notes, found.refusal) == ({}, (), None)


def test_a_stated_format_is_the_only_one():
    found = read("01/02/2026 10:00", "2026-02-01", "31/02/2026 10:00", stated="%d/%m/%Y %H:%M")
    assert found.utc[0] == utc("2026-01-31T23:00")
    assert found.faults == {
        1: "'2026-02-01' is not a time of the form %d/%m/%Y %H:%M",
        2: "'31/02/2026 10:00' is not a time of the form %d/%m/%Y %H:%M",
    }


def test_a_stated_format_may_hold_the_offset_or_half_a_day():
    assert read("01/02/2026 10:00 +0200", stated="%d/%m/%Y %H:%M %z").utc[0] == utc("2026-02-01T08:00")
    assert read("02/01/2026 12:30 AM", stated="%m/%d/%Y %I:%M %p").utc[0] == utc("2026-01-31T13:30")


def test_a_date_of_the_workbook_needs_no_format():
    assert read(datetime(2026, 3, 1, 10), "01.03.2026 10:00", stated="%d.%m.%Y %H:%M").utc.tolist() == [
        datetime(2026, 2, 28, 23), datetime(2026, 2, 28, 23),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("cells", "expected", "order"),
    [
        (("13/02/2026 10:00", "01/02/2026"), "2026-01-31T13:00", "day first, as '13/02/2026 10:00' shows"),
        (("02/13/2026 10:00", "01/02/2026"), "2026-01-01T13:00", "month first, as '02/13/2026 10:00' shows"),
        (("13-02-26", "01-02-26"), "2026-01-31T13:00", "day first, as '13-02-26' shows"),
        (("01.02.2026", "01.02.2026"), "2026-01-31T13:00", "day first, as '01.02.2026' shows"),
    ],
)
def test_one_row_proves_the_order_of_all(cells, expected, order):
    found = read(*cells)
    assert found.utc[1] == utc(expected)
    assert found.notes[0] == f"day and month read {order}"


@pytest.mark.parametrize(
    ("cell", "hour"),
    [
        ("13/02/2026 12:00 AM", 0),
        ("13/02/2026 12:00 pm", 12),
        ("13/02/2026 1:00 p.m.", 13),
        ("13/02/2026 11:00 AM", 11),
    ],
)
def test_halves_of_the_day(cell, hour):
    assert read(cell, zone="UTC").utc[0] == utc(f"2026-02-13T{hour:02d}:00")


@pytest.mark.parametrize(
    "cell", ["13/02/2026 0:30 PM", "13/02/2026 13:30 AM", "31/02/2026", "13/02/0026", "13/02/2026 10:00x"]
)
def test_impossible_moments_of_a_proven_order(cell):
    assert read("13/02/2026", cell).faults == {1: f"{cell!r} is not a time"}


def test_an_order_that_stays_open_is_refused():
    what, do = read("01/02/2026 10:00", "02/03/2026 10:00").refusal
    assert what == "'01/02/2026 10:00' and '02/03/2026 10:00' can be day/month or month/day in every row"
    assert do == 'state the format, such as format = "%d/%m/%Y %H:%M"'


def test_two_orders_are_refused():
    assert read("13/02/2026", "02/13/2026").refusal[0] == "'13/02/2026' and '02/13/2026' are in two orders"


@pytest.mark.parametrize(
    ("zone", "cell", "why"),
    [
        ("Australia/Hobart", "2025-10-05 02:30", "never was"),
        ("Australia/Hobart", "2026-04-05 02:30", "happened twice"),
        ("Europe/Berlin", "2026-03-29 02:30", "never was"),
        ("Europe/Berlin", "2026-10-25 02:30", "happened twice"),
        ("America/Chicago", "2026-03-08 02:30", "never was"),
        ("America/Chicago", "2026-11-01 01:30", "happened twice"),
    ],
)
def test_hours_of_a_clock_change_are_found_not_guessed(zone, cell, why):
    found = read(cell, zone=zone)
    assert np.isnat(found.utc[0])
    said = f"{cell!r} {why} in {zone} (clock change); state it with its offset from UTC"
    assert found.faults == {0: said}
    assert read(f"{cell}+00:00", zone=zone).utc[0] == utc(cell)


@pytest.mark.parametrize("zone", ["UTC", "Etc/GMT-10", "Australia/Brisbane"])
def test_a_zone_without_a_clock_change_has_every_hour(zone):
    found = read("2026-03-29 02:30", "2026-10-25 02:30", zone=zone)
    assert found.faults == {}
    assert not np.isnat(found.utc).any()


@pytest.mark.parametrize(("cell", "expected"), [("2026-04-05 01:59", "14:59"), ("2026-04-05 03:00", "17:00")])
def test_the_minutes_beside_a_clock_change_are_plain(cell, expected):
    assert read(cell).utc[0] == utc(f"2026-04-04T{expected}")


def test_no_zone_anywhere_is_refused_and_offsets_need_none():
    assert read("2026-03-01 10:00", zone=None).refusal[0] == (
        "'2026-03-01 10:00' has no offset from UTC, and no time zone is stated"
    )
    assert read("2026-03-01 10:00Z", None, zone=None).utc[0] == utc("2026-03-01T10:00")


def test_the_clock_is_corrected_only_by_what_is_stated():
    assert read("2026-03-01 10:00", clock=timedelta(hours=-1)).utc[0] == utc("2026-02-28T22:00")
    assert read(None, clock=timedelta(hours=-1)).faults == {}


@pytest.mark.parametrize(
    ("cells", "stated"), [((date(2026, 3, 1), "2026-03-02"), ""), (("01.03.26", "02.03.26"), "%d.%m.%y")]
)
def test_a_day_without_a_time_of_day_is_said(cells, stated):
    assert read(*cells, stated=stated).notes[-1] == "2 times are a day without a time of day, read as its beginning"


def test_a_format_that_fits_no_cell_at_all_is_refused_once():
    found = read("03/04/2026 10:00", "05/04/2026 11:00", "", stated="%d.%m.%Y %H:%M")
    assert found.refusal == (
        "not one of its 2 cells is of the form %d.%m.%Y %H:%M, such as '03/04/2026 10:00'",
        "correct the format in route.toml",
    )


def test_days_as_a_spreadsheet_numbers_them():
    """46082.4375 is 1 March 2026 10:30 in the 1900 system (day 1 is 1900-01-01; 1900 counts as a leap year there)."""
    found = read("46082.4375", "46082,4375", "x", stated="serial", zone="UTC")
    assert list(found.utc[:2]) == [np.datetime64("2026-03-01T10:30")] * 2
    assert list(found.faults) == [2]
