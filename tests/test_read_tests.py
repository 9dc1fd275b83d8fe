"""tests.csv: where the line was tested and with what result, from files good and bad. All data is invented.

The line runs 1000 m due east; most of its cases have one chainage equation, 400 m back = 450 m ahead.
"""

from datetime import datetime

import pytest

from asbuilt.errors import InputError, SettingsError
from asbuilt.read.alignments import read_alignments
from asbuilt.read.sections import SECTIONS, read_sections
from asbuilt.settings import load
from tests.making import LINE, make_route, make_workbook

HEADING = "Section,From (m),To (m),Date,Result,Reference"
HOLE = {"alignment.equations": [{"back": "400 m", "ahead": "450 m"}]}
OVERLAP = {"alignment.equations": [{"back": "400 m", "ahead": "350 m"}]}
SECOND = '[[alignment]]\nline = "branch"\nfile = "design/branch.csv"\n'
FOOT = 0.3048


def read(folder, *rows, heading=HEADING, changes=None, more="", name="tests.csv"):
    """Write a route with these rows of tests, and return what is read of them."""
    make_route(folder, toml_changes=changes, more=more)
    (folder / "design" / "branch.csv").write_text(LINE.replace("5250000", "5250100"), encoding="utf-8")
    (folder / name).write_bytes("\n".join([heading, *rows, ""]).encode())
    return read_there(folder)


def read_there(folder):
    settings = load(folder)
    return read_sections(settings, read_alignments(settings))


def refusal(folder, *rows, **how):
    with pytest.raises(InputError) as caught:
        read(folder, *rows, **how)
    return [str(problem) for problem in caught.value.problems]


def reasons(found):
    return dict(zip(found.set_aside["source_row"], found.set_aside["reason"], strict=True))


def reaches(found):
    pairs = zip(found.rows["from_chainage_m"], found.rows["to_chainage_m"], strict=True)
    return [(round(low, 6), round(high, 6)) for low, high in pairs]


def test_without_a_file_there_are_no_sections(tmp_path):
    found = read_there(make_route(tmp_path))
    assert (list(found.rows), len(found.rows), found.notes) == (list(SECTIONS), 0, ())


def test_a_section_is_read_as_it_stands(tmp_path):
    found = read(tmp_path, "TS-1,0,300.5,2026-03-09,passed,PT 01", "TS-2,300.5,1000,,not yet tested,")
    first, second = found.rows.to_dict("records")
    assert (first["section"], first["line"], first["tested_on"]) == ("TS-1", "main", "2026-03-09")
    assert (first["result"], first["reference"], first["source_file"]) == ("passed", "PT 01", "tests.csv")
    assert (first["source_row"], second["source_row"]) == (2, 3)
    assert (second["result"], second["tested_on"], second["reference"]) == ("not yet tested", None, None)
    assert reaches(found) == [(0.0, 300.5), (300.5, 1000.0)]
    assert found.set_aside.empty


@pytest.mark.parametrize("result", ["passed", "FAIL - leak at flange", "0.02 bar/h", "ok?", "durchgefallen"])
def test_a_result_is_the_records_own_word(tmp_path, result):
    assert list(read(tmp_path, f"TS-1,0,300,2026-03-09,{result},").rows["result"]) == [result]


def test_headings_of_the_trade_semicolons_decimal_commas_and_another_order_of_days(tmp_path):
    heading = "Test section;Start chainage (m);End chainage (m);Tested on;Status;Certificate no;Gauge"
    rows = ("A;0,5;300,25;03/04/2026;passed;C1;x", "B;300,25;1.000,0;13/04/2026;failed;C2;x")
    found = read(tmp_path, *rows, heading=heading)
    assert reaches(found) == [(0.5, 300.25), (300.25, 1000.0)]
    assert list(found.rows["tested_on"]) == ["2026-04-03", "2026-04-13"]
    assert "tests.csv: column Tested on: day and month read day first, as '13/04/2026' shows" in found.notes
    assert any("columns not used: 'Gauge'" in note for note in found.notes)


def test_an_order_of_days_that_is_open_is_refused_and_a_stated_one_is_used(tmp_path):
    (told,) = refusal(tmp_path, "A,0,300,03/04/2026,passed,")
    assert "can be day/month or month/day in every row" in told
    stated = '[tests.columns]\ndate = { column = "Date", format = "%m/%d/%Y" }\n'
    found = read(tmp_path, "A,0,300,03/04/2026,passed,", more=stated)
    assert list(found.rows["tested_on"]) == ["2026-03-04"]


def test_the_day_of_a_test_is_that_of_its_place(tmp_path):
    # 08:00 at UTC+11 is 21:00 of the day before in UTC
    found = read(tmp_path, "A,0,300,2026-03-09T08:00:00+11:00,passed,", "B,300,400,2026-03-10 23:30,passed,")
    assert list(found.rows["tested_on"]) == ["2026-03-09", "2026-03-10"]


def test_a_date_that_cannot_be_read_leaves_its_row_in_use(tmp_path):
    found = read(tmp_path, "A,0,300,after Easter,passed,", "B,300,400,2026-03-10,passed,")
    assert list(found.rows["tested_on"]) == [None, "2026-03-10"]
    assert "tests.csv row 2, column Date: 'after Easter' is not a time" in found.notes


# --- places -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("label", "chainage"),
    [
        # by hand, from the rule back = ahead: up to 400 m along the line label and distance are one; from there on the
        # label is 50 m more than the distance; the equation itself is met by both of its labels
        ("0+399.99", 399.99),
        ("0+400.00", 400.0),
        ("0+450.00", 400.0),
        ("0+450.01", 400.01),
        ("0+700", 650.0),
        ("1+050.00", 1000.0),
        (" sta. 0+700.5 ", 650.5),
        ('"0+700,5"', 650.5),
        ("CH 0 + 700", 650.0),
        ("700 m", 700.0),  # a number is a distance along the line, before equations
        ("0.7 km", 700.0),
    ],
)
def test_a_place_by_hand_across_an_equation(tmp_path, label, chainage):
    found = read(tmp_path, f"A,100,{label},2026-03-09,passed,", changes=HOLE)
    assert reaches(found) == [(100.0, chainage)]


def test_a_printed_equation_gives_the_printed_length_of_its_curve(tmp_path):
    """Seen: jerrymahun.com, open access, VII Curves, chapter C: BC 22+39.716, EC 27+19.681 back = 27+60.284 ahead,
    length of the curve L = 479.965 ft. So from BC to either label of EC it is L along the line."""
    changes = {"route.units": "us", "route.foot": "international", "alignment.start": "2239.716 ft"}
    changes["alignment.equations"] = [{"back": "2719.681 ft", "ahead": "2760.284 ft"}]
    rows = ("A,22+39.716,27+19.681,2026-03-09,passed,", "A,22+39.716,27+60.284,2026-03-09,passed,")
    found = read(tmp_path, *rows, heading="Section,From,To,Date,Result,Reference", changes=changes)
    lengths = (found.rows["to_chainage_m"] - found.rows["from_chainage_m"]) / FOOT
    assert list(lengths) == pytest.approx([479.965, 479.965], abs=1e-6)


def test_us_feet_with_stations_of_a_hundred(tmp_path):
    changes = {"route.units": "us", "route.foot": "survey"}
    found = read(
        tmp_path, "A,0+00,12+50.00,03/13/2026,passed,", "B,1250,2500,03/14/2026,passed,", "C,1+250,20+00,,passed,",
        heading="Section,From station,To station,Date,Result,Reference", changes=changes,
    )  # fmt: skip
    survey = 1200 / 3937  # metres, by its definition
    assert reaches(found) == [
        (0.0, round(1250 * survey, 6)),
        (round(1250 * survey, 6), round(2500 * survey, 6)),
    ]
    assert reasons(found) == {4: "column From station: '1+250': 250 is not less than the station length 100"}
    assert any("column 'From station' states no unit: its bare numbers are read in us ft" in n for n in found.notes)


def test_a_station_of_another_length_is_no_station(tmp_path):
    # 12+50 is 1250 where stations are 100 long, and 12050 where they are 1000: the text does not say which
    found = read(tmp_path, "A,0+000,3+50,2026-03-09,passed,")
    told = "column To (m): '3+50' has 2 digits behind its plus sign; stations of 1000 are written with 3"
    assert reasons(found) == {2: told}


def test_a_station_in_a_hole_is_refused_with_its_place(tmp_path):
    told = refusal(tmp_path, "A,0,300,,passed,", "B,0+420,0+449.9,,passed,", changes=HOLE)
    assert told == [
        f"tests.csv row 3, column {heading}: {label!r} is no place on line main: its chainage equations leave it out"
        " (back = ahead: 400.00 m = 450.00 m); correct the station, or the equations of the line in route.toml"
        for heading, label in (("From (m)", "0+420"), ("To (m)", "0+449.9"))
    ]


def test_a_station_that_stands_twice_is_refused_with_both_places(tmp_path):
    # by hand: 0+370 is 370 m along the line, before the equation, and behind it 370 + (400 - 350) = 420 m
    (told,) = refusal(tmp_path, "A,0,0+370,,passed,", changes=OVERLAP)
    assert "tests.csv row 2, column To (m): '0+370' stands 2 times on line main, at 370.00 m and 420.00 m" in told
    assert told.endswith("write the chainage that is meant with its unit: 370.00 m or 420.00 m")
    assert reaches(read(tmp_path, "A,0,420.00 m,,passed,", changes=OVERLAP)) == [(0.0, 420.0)]


def test_a_second_place_beyond_the_end_of_the_line_is_none(tmp_path):
    # by hand: behind an equation at 990 m back = 900 m ahead the line has 10 m left, to 0+910: 0+950 is only before it
    changes = {"alignment.equations": [{"back": "990 m", "ahead": "900 m"}]}
    assert reaches(read(tmp_path, "A,0,0+950,,passed,", changes=changes)) == [(0.0, 950.0)]


def test_numbers_on_a_line_with_equations_are_said_to_be_distances(tmp_path):
    note = "column From (m): its numbers are distances along the line, before its chainage equations"
    assert any(note in n for n in read(tmp_path, "A,100,0+700,,passed,", changes=HOLE).notes)
    assert not any(note in n for n in read(tmp_path, "A,0+100,0+700,,passed,", changes=HOLE).notes)
    assert not any(note in n for n in read(tmp_path, "A,100,0+700,,passed,").notes)


# --- rows that cannot be used, and rows that lack something -----------------------------------------------------------


def test_each_row_that_is_left_out_says_why(tmp_path):
    found = read(
        tmp_path,
        "A,700,300,,passed,",
        "B,300,300,,passed,",
        "C,,300,,passed,",
        "D,300,behind the shed,,passed,",
        "E,900,1300,,passed,",
        "F,-40,100,,passed,",
        "G,0,0+1000,,passed,",
        "H,300,400,,passed,",
    )
    assert list(found.rows["section"]) == ["H"]
    assert reasons(found) == {
        2: "it is from 0+700.00 to 0+300.00: the lower chainage has to come first",
        3: "it is from 0+300.00 to 0+300.00: the lower chainage has to come first",
        4: "column From (m): no place is stated",
        5: "column To (m): 'behind the shed' is not a number",
        6: "column To (m): 1+300.00 lies 300.00 m beyond the end of line main, 1+000.00",
        7: "column From (m): -0+040.00 lies 40.00 m beyond the start of line main, 0+000.00",
        8: "column To (m): '0+1000': 1000 is not less than the station length 1000",
    }


def test_an_end_a_little_beyond_the_line_is_kept_as_recorded_and_said(tmp_path):
    found = read(tmp_path, "A,0,1+005.5,,passed,")
    assert reaches(found) == [(0.0, 1005.5)]
    told = "tests.csv row 2, column To (m): 1+005.50 lies 5.50 m beyond the end of line main, 1+000.00"
    assert told in found.notes
    assert not any("beyond" in note for note in read(tmp_path, "A,0,1+000.00,,passed,").notes)


def test_a_missing_result_or_name_is_said_and_the_row_is_kept(tmp_path):
    found = read(tmp_path, "A,0,300,2026-03-09,,", ",300,400,2026-03-09,passed,", "C,400,500,,-,")
    assert list(found.rows["result"]) == [None, "passed", None]
    assert list(found.rows["section"]) == ["A", None, "C"]
    assert "tests.csv row 2, column Result: no result is stated; such a fault also in row 4" in found.notes
    assert "tests.csv row 3, column Section: no section is stated" in found.notes


@pytest.mark.parametrize(
    ("heading", "told"),
    [
        ("Section,To (m),Result", "no column holds where a section begins"),
        ("Section,From (m),Result", "no column holds where it ends"),
        ("Section,From (m),To (m)", "no column holds the result of a test"),
    ],
)
def test_a_file_without_a_needed_column_is_refused(tmp_path, heading, told):
    assert told in refusal(tmp_path, "A,0,300", heading=heading)[0]


def test_lines_of_a_route_with_two(tmp_path):
    heading = f"Line,{HEADING}"
    rows = ("main,A,0,300,,passed,", "branch,B,0,1000,,failed,", "maine,C,0,300,,passed,", ",D,0,300,,passed,")
    found = read(tmp_path, *rows, heading=heading, more=SECOND)
    assert list(found.rows["line"]) == ["main", "branch"]
    assert reasons(found) == {
        4: "column Line: 'maine' is none of the lines main, branch",
        5: "column Line: no line is named, and the route has main, branch",
    }


def test_the_stations_of_each_line_are_its_own(tmp_path):
    more = SECOND + 'start = "500 m"\nequations = [{ back = "600 m", ahead = "700 m" }]\n'
    rows = ("main,A,0,0+650,,passed,", "branch,B,0+500,0+750,,passed,")
    # by hand: on branch 0+750 lies 50 m behind the equation at 600 m
    assert reaches(read(tmp_path, *rows, heading=f"Line,{HEADING}", more=more)) == [(0.0, 650.0), (500.0, 650.0)]


def test_other_names_of_file_and_columns_and_a_workbook(tmp_path):
    heading = ("Piece", "Anfang", "Ende", "Tag", "Ergebnis")
    sheets = {"Proof": [heading, ("A", 0, 0.3, datetime(2026, 3, 9), "passed"), ("B", "0+300", 0.9, None, 17)]}
    ends = 'from = { column = "Anfang", unit = "km" }\nto = { column = "Ende", unit = "km" }\n'
    columns = f'[tests.columns]\nsection = "Piece"\n{ends}date = "Tag"\nresult = "Ergebnis"\n'
    make_route(tmp_path, more=f'[tests]\nfiles = ["pressure/*.xlsx"]\n{columns}')
    make_workbook(tmp_path / "pressure" / "all.xlsx", sheets)
    found = read_there(tmp_path)
    assert reaches(found) == [(0.0, 300.0), (300.0, 900.0)]
    assert list(found.rows["tested_on"]) == ["2026-03-09", None]
    assert list(found.rows["result"]) == ["passed", "17"]
    assert (found.rows["source_file"][0], found.rows["sheet"][0]) == ("pressure/all.xlsx", "Proof")


def test_mistakes_in_the_table_of_the_route_file_are_told(tmp_path):
    more = '[tests]\nfiles = ["proof.csv"]\ncrs = "EPSG:7855"\n[tests.columns]\nform = "From"\n'
    make_route(tmp_path, more=more)
    with pytest.raises(SettingsError) as caught:
        load(tmp_path)
    told = str(caught.value)
    assert "route.toml: tests.files: no file matches 'proof.csv'" in told
    assert "without crs, which would change nothing in [tests]" in told
    assert "route.toml: tests.columns.form: no field has this name; the nearest known is 'from'" in told
