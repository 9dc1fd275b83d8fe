"""Record files of every kind, good and bad: each source row has one outcome, nothing is lost. All data is invented."""

import json
from datetime import date, datetime, time

import numpy as np
import pyproj
import pytest
import shapely
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from asbuilt import cli
from asbuilt.build import build
from asbuilt.errors import AsBuiltError, InputError
from asbuilt.settings import load
from tests.making import COLUMNS, HEADING, RECORDS, csv_of, make_layer, make_route, make_workbook, read_route

ROW = "J1,2026-03-01 10:00,500012,5250000,215"
LL = {
    "records.columns": {"joint": "Joint", "latitude": "Lat", "longitude": "Lon"},
    "records.crs": "EPSG:7844",
}


def rows_of(folder, records=RECORDS, **how):
    return read_route(make_route(folder, records=records, **how)).rows


def refusal(folder, records=RECORDS, **how):
    make_route(folder, records=records, **how)
    with pytest.raises(InputError, match="records") as caught:
        read_route(folder)
    return str(caught.value)


def book_of(folder, sheets, changes=None, **how):
    make_workbook(folder / "records/a.xlsx", sheets, **how)
    return read_route(make_route(folder, records=None, name="records/a.xlsx", toml_changes=changes))


def layer_of(folder, ending, columns, geometry, *, crs="EPSG:7855", changes=None):
    make_layer(folder / f"records/a.{ending}", columns, geometry, crs=crs)
    changes = {"records.columns": {"joint": "name"}, "records.crs": None} | (changes or {})
    return read_route(make_route(folder, records=None, name=f"records/a.{ending}", toml_changes=changes))


# --- delimited text ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_delimiters_are_found(tmp_path, delimiter):
    rows = rows_of(tmp_path, RECORDS.replace(",", delimiter))
    assert list(rows["joint"]) == ["J1", "J2", "J3"]
    assert list(rows["heater_temperature_c"]) == [215.0] * 3


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings_are_found(tmp_path, encoding):
    rows = rows_of(tmp_path, RECORDS.replace("J1", "Düker 1").encode(encoding))
    assert rows["joint"][0] == "Düker 1"
    assert rows["heater_temperature_c"][0] == 215.0  # the heading holds a ° too


def test_an_encoding_that_cannot_be_found_is_asked_for_and_then_read(tmp_path):
    raw = RECORDS.encode("utf-16-le")
    assert 'say its encoding in route.toml, such as "utf-16-le"' in refusal(tmp_path, raw)
    assert len(rows_of(tmp_path, raw, toml_changes={"records.encoding": "utf-16-le"})) == 3


def test_decimal_commas(tmp_path):
    text = csv_of("J1;2026-03-01 10:00;500012,5;5250000;215,5", heading=";".join(HEADING))
    rows = rows_of(tmp_path, text)
    assert (rows["easting"][0], rows["heater_temperature_c"][0]) == (500012.5, 215.5)


def test_a_comma_that_may_part_thousands_is_refused_until_it_is_said(tmp_path):
    text = csv_of('J1,2026-03-01 10:00,500012,5250000,"1,215"')
    assert "whether a comma parts decimals or thousands is not clear" in refusal(tmp_path, text)
    for sign, value in ((",", 1.215), (".", 1215)):
        assert rows_of(tmp_path, text, toml_changes={"records.decimal": sign})["heater_temperature_c"][0] == value


def test_thousands_that_prove_themselves(tmp_path):
    text = csv_of('J1,2026-03-01 10:00,"500,012.5","5,250,000.25",215')
    rows = rows_of(tmp_path, text)
    assert (rows["easting"][0], rows["northing"][0]) == (500012.5, 5250000.25)


def test_titles_blank_rows_totals_repeated_headings_and_signatures(tmp_path):
    heading = ",".join(HEADING)
    text = "Invented works\nCrew A,north\n\n" + csv_of(
        ROW,
        "",
        " , ,,,",
        ROW.replace("J1", "J2"),
        "Total,,,,430",
        heading,
        ROW.replace("J1", "J3"),
        "signed: foreman",
        "",
    )
    rows = rows_of(tmp_path, text)
    why = dict(zip(rows["source_row"], rows["why_not"], strict=True))
    assert {n for n, w in why.items() if not w} == {5, 8, 11}
    assert why[9] == "a total row, not a record"
    assert why[10] == "the heading repeated, not a record"
    assert why[12].startswith("only one cell is filled ('signed: foreman')")
    assert len(why) == 6


@pytest.mark.parametrize("number", ["", "-", "n/a", "?"])
def test_a_row_without_a_number_is_set_aside(tmp_path, number):
    rows = rows_of(tmp_path, csv_of(ROW, *[ROW.replace("J1", number)] * 2))
    assert list(rows["why_not"] != "") == [False, True, True]
    assert list(build(load(tmp_path)).tables["records"]["outcome"]) == ["joint", "set aside", "set aside"]


def test_a_number_of_two_columns(tmp_path):
    text = csv_of("A,1,500012,5250000", ",2,500024,5250000", ",,500036,5250000", heading="Prefix,No,East,North")
    columns = {"joint": ["Prefix", "No"], "easting": "East", "northing": "North"}
    rows = rows_of(tmp_path, text, toml_changes={"records.columns": columns})
    assert list(rows["joint"][:2]) == ["A 1", "2"]
    assert list(rows["why_not"] != "") == [False, False, True]


def test_ragged_rows_lose_nothing(tmp_path):
    rows = rows_of(
        tmp_path, csv_of("J1,2026-03-01 10:00,500012,5250000", ROW.replace("J1", "J2") + ",more,yet more", "J3")
    )
    assert np.isnan(rows["heater_temperature_c"][0])
    assert json.loads(rows["cells"][1])["column 7"] == "yet more"
    assert len(rows) == 3


def test_a_quote_that_never_closes_is_refused_with_its_line(tmp_path):
    told = refusal(tmp_path, csv_of(ROW, 'J2,"2026-03-02 10:00,500024,5250000,215', ROW.replace("J1", "J3")))
    assert "records/a.csv line 3: a quote opens here and swallows the rows that follow" in told


def test_two_stray_quotes_do_not_swallow_the_rows_between(tmp_path):
    told = refusal(tmp_path, csv_of(ROW, '"J2,2026-03-02 10:00,1,2,3', ROW, 'J4,2026-03-02 10:00,1,2,3"'))
    assert "records/a.csv line 3: a quote opens here" in told


def test_a_cell_with_a_line_break_is_one_cell(tmp_path):
    rows = rows_of(
        tmp_path, csv_of(f'{ROW},"leaf,\nrain"', ROW.replace("J1", "J2") + ",", heading=",".join([*HEADING, "Remarks"]))
    )
    assert list(rows["joint"]) == ["J1", "J2"]
    assert rows["remarks"][0] == "leaf, rain"
    assert list(rows["source_row"]) == [2, 3]  # as a spreadsheet numbers them


@pytest.mark.parametrize("end", ["\r\n", "\r", "\n"])
def test_line_ends(tmp_path, end):
    assert len(rows_of(tmp_path, RECORDS.replace("\n", end).encode())) == 3


def test_ids_of_text_keep_their_zeros(tmp_path):
    assert list(rows_of(tmp_path, csv_of(ROW.replace("J1", "0017"), ROW.replace("J1", "17")))["joint"]) == [
        "0017",
        "17",
    ]


def test_a_row_of_ticks_is_no_heading(tmp_path):
    heading = "Weld,East,North,Clean,Faced,Clamped,Wiped,Marked"
    text = csv_of("J1,500012,5250000,x,x,x,x,x", heading=heading)
    rows = rows_of(tmp_path, text, toml_changes={"records.columns": None})
    assert list(rows["joint"]) == ["J1"]


# --- units and headings -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("heading", ["Plate (°F)", "Plate [°F]", "Plate, °F", "Plate / degF"])
def test_units_in_the_heading(tmp_path, heading):
    text = csv_of("J1;2026-03-01 10:00;500012;5250000;419", heading=f"Joint;Finished;East;North;{heading}")
    rows = rows_of(tmp_path, text, toml_changes={"records.columns.heater_temperature": "Plate"})
    assert rows["heater_temperature_c"][0] == pytest.approx(215)


def test_units_in_a_row_of_their_own(tmp_path):
    text = "Joint,Finished,East,North,Plate,Soak\n-,,m,m,(°F),s\nJ1,2026-03-01 10:00,500012,5250000,419,60\n"
    changes = {"records.columns.heater_temperature": "Plate", "records.columns.soak_time": "Soak"}
    rows = rows_of(tmp_path, text, toml_changes=changes)
    assert len(rows) == 1
    assert (rows["heater_temperature_c"][0], rows["soak_time_s"][0]) == (pytest.approx(215), 60)


def test_units_in_cells(tmp_path):
    rows = rows_of(tmp_path, csv_of(f"{ROW[:-3]}419 °F", f"{ROW[:-3]}419°F", f"{ROW[:-3]}5 bar"))
    np.testing.assert_allclose(rows["heater_temperature_c"], [215, 215, np.nan])
    assert rows["faults"][2] == ("column Plate (°C): unit bar cannot be shown in degC",)


def test_a_quantity_without_unit_is_refused(tmp_path):
    text = csv_of(ROW, heading="Joint,Finished,East,North,Plate")
    told = refusal(tmp_path, text, toml_changes={"records.columns.heater_temperature": "Plate"})
    assert told == (
        "records/a.csv row 1, column Plate: heater_temperature: it has no unit; say its unit in route.toml, in place"
        ' of the dots: heater_temperature = { column = "Plate", unit = "..." }'
    )


def test_a_unit_of_another_kind_in_a_heading_is_refused(tmp_path):
    text = csv_of(ROW, heading="Joint,Finished,East,North,Plate (bar)")
    told = refusal(tmp_path, text, toml_changes={"records.columns.heater_temperature": "Plate"})
    assert "heater_temperature: unit bar cannot be shown in degC" in told


def test_a_stated_unit_that_differs_from_the_heading_is_said(tmp_path):
    change = {"records.columns.heater_temperature": {"column": "Plate (°C)", "unit": "degF"}}
    found = read_route(make_route(tmp_path, records=csv_of(f"{ROW[:-3]}419"), toml_changes=change))
    assert found.rows["heater_temperature_c"][0] == pytest.approx(215)
    assert "column 'Plate (°C)' says °C, and is read in degF" in found.notes[0]


def test_common_headings_are_read_and_reported_and_others_with_why(tmp_path):
    heading = (
        "Weld No,Date time,East,North,Plate (°C),Soak time [s],Cooling,Fusion pressure (bar),Accuracy,Bead (psi),Crew"
    )
    text = csv_of(f"{ROW},60,9,2,3,1,north", heading=heading)
    changes = {"records.columns": None, "records.accuracy": None, "records.default_accuracy": None}
    found = read_route(make_route(tmp_path, records=text, toml_changes=changes))
    notes = "\n".join(found.notes)
    assert found.rows["soak_time_s"][0] == 60
    assert "'Weld No' as joint, 'Date time' as time" in notes
    assert "'Cooling' could be cooling_time, and is not used: it has no unit; map it" in notes
    assert "'Fusion pressure (bar)' could be fusion_pressure, and is not used: say kind" in notes
    assert "'Accuracy' could be accuracy, and is not used: say what accuracy means" in notes
    assert "'Bead (psi)' could be initial_bead, and is not used: unit psi cannot be shown in mm" in notes
    assert "columns not used: 'Crew'" in notes


def test_two_equal_headings_are_told_apart_by_their_place(tmp_path):
    text = csv_of(f"{ROW},300", heading=",".join([*HEADING, "Plate (°C)"]))
    assert "name the one that is meant: 'column 5' or 'column 6'" in refusal(tmp_path, text)
    change = {"records.columns.heater_temperature": {"column": "column 6", "unit": "degC"}}
    rows = rows_of(tmp_path, text, toml_changes=change)
    assert rows["heater_temperature_c"][0] == 300
    assert json.loads(rows["cells"][0]) == {
        "Joint": "J1", "Finished": "2026-03-01 10:00", "East": "500012", "North": "5250000", "Plate (°C)": "215",
        "Plate (°C) column 6": "300",
    }  # fmt: skip


def test_an_absent_column_is_refused_with_the_nearest_heading(tmp_path):
    told = refusal(tmp_path, RECORDS.replace("Finished", "Finshed"))
    assert "no column is headed 'Finished' (for time); the nearest heading is 'Finshed'" in told


def test_no_joint_column_and_no_heading_are_refused(tmp_path):
    text = "East,North,Crew\n500012,5250000,A\n"
    assert "no column holds the joint number; map joint to one of: East, North, Crew" in refusal(
        tmp_path, text, toml_changes={"records.columns": None}
    )
    assert "no row is a heading of joint records" in refusal(tmp_path, "a,b\n1,2\n")


def test_kinds_by_common_and_by_mapped_words(tmp_path):
    text = csv_of(*(f"{ROW},{k}" for k in ("", "TI", "Xtra", "odd")), heading=",".join([*HEADING, "Kind"]))
    change = {"records.columns.kind": {"column": "Kind", "words": {"Xtra": "trial"}}}
    rows = rows_of(tmp_path, text, toml_changes=change)
    assert list(rows["kind"]) == ["production", "tie-in", "trial", "production"]
    assert rows["faults"][3] == ("column Kind: 'odd' is no kind of joint that is known; read as production",)


# --- workbooks --------------------------------------------------------------------------------------------------------


def test_a_workbook_of_several_sheets_and_one_of_notes(tmp_path):
    found = book_of(
        tmp_path,
        {
            "North": [HEADING, ["0017", datetime(2026, 3, 1, 10), 500012, 5250000, 215]],
            "Notes": [["These are notes"], ["about", "the job"]],
            "South": [["Invented"], HEADING, [18, "2026-03-01 10:30", 500024.5, 5250000, "216"]],
        },
    )
    assert list(found.rows["joint"]) == ["0017", "18"]
    assert list(found.rows["sheet"]) == ["North", "South"]
    assert list(found.rows["source_row"]) == [2, 3]
    assert list(found.rows["heater_temperature_c"]) == [215, 216]
    assert found.notes == ("records/a.xlsx sheet Notes: no row is a heading of joint records; not read",)


def test_sheets_are_chosen_by_name_and_an_absent_one_is_refused(tmp_path):
    sheets = {n: [HEADING, [n, datetime(2026, 3, 1, 10), 500012, 5250000, 215]] for n in ("A", "B", "C")}
    assert list(book_of(tmp_path, sheets, {"records.sheet": ["C", "A"]}).rows["joint"]) == ["C", "A"]
    with pytest.raises(InputError, match="there is no sheet 'D'; its sheets are A, B, C"):
        book_of(tmp_path, sheets, {"records.sheet": "D"})


def test_dates_of_a_workbook_as_dates_and_as_numbers(tmp_path):
    times = [datetime(2026, 3, 1, 10), 46082.416666666664, "2026-03-01 10:00"]  # day 46082 is 2026-03-01
    found = book_of(tmp_path, {"A": [HEADING, *([f"J{i}", t, 500012, 5250000, 215] for i, t in enumerate(times))]})
    assert found.rows["fused_at"].eq(datetime(2026, 2, 28, 23)).all()


def test_date_and_time_in_two_columns(tmp_path):
    day, clock = date(2026, 3, 1), 0.42013888888  # of a day: 10:05
    days = [
        (day, time(10, 5)),
        (day, clock),
        (datetime(2026, 3, 1), time(10, 5)),
        (46082, clock),
        ("01.03.2026", "10:05"),
    ]
    heading = ["Joint", "Date", "Clock", "East", "North"]
    columns = COLUMNS | {"time": {"column": ["Date", "Clock"], "format": "%d.%m.%Y %H:%M"}, "heater_temperature": None}
    rows = [heading, *([f"J{i}", day, clock, 500012, 5250000] for i, (day, clock) in enumerate(days))]
    found = book_of(tmp_path, {"A": rows}, {"records.columns": columns})
    assert found.rows["faults"].map(len).eq(0).all()
    assert found.rows["fused_at"].eq(datetime(2026, 2, 28, 23, 5)).all()


def test_a_heading_of_two_rows_with_merged_groups(tmp_path):
    sheet = [
        ["Joint", "Finished", "Position", None, "Plate", None],
        [None, None, "East", "North", "Temp (°C)", "Time (s)"],
        ["J1", datetime(2026, 3, 1, 10), 500012, 5250000, 215, 60],
    ]
    columns = {"joint": "Joint", "time": "Finished", "easting": "Position East", "northing": "Position North"}
    columns |= {"heater_temperature": "Plate Temp (°C)", "soak_time": "Plate / Time"}
    merged = {"A": ["A1:A2", "B1:B2", "C1:D1", "E1:F1"]}
    found = book_of(tmp_path, {"A": sheet}, {"records.columns": columns}, merged=merged)
    row = found.rows.iloc[0]
    assert (row["joint"], row["easting"], row["heater_temperature_c"], row["soak_time_s"]) == ("J1", 500012, 215, 60)
    assert len(found.rows) == 1


PARTS = {"joint": "Joint", "time": "Finished", "easting": "Position East", "northing": "Position North"}
PARTS |= {"soak_time": "Soak", "drag_pressure": "Pressure Drag"}
PARTS |= {"fusion_pressure": {"column": "Pressure (psi) Fusion", "kind": "gauge"}}
UPPER = ["Joint", "Finished", "Position", None, "Pressure (psi)", None, "Soak (s)"]
LOWER = [None, None, "East", "North", "Drag", "Fusion", None]


@pytest.mark.parametrize("heading_row", [None, 2, 3])
@pytest.mark.parametrize("merged", [["C2:D2", "E2:F2"], ["C2:D2"], ["A2:A3", "C2:D2", "E2:F2"], []])
def test_a_heading_of_two_rows_needs_no_more_than_its_groups(tmp_path, merged, heading_row):
    sheet = [["Log of crew A (ft)"], UPPER, LOWER, ["J1", datetime(2026, 3, 1, 10), 500012, 5250000, 29, 580, 202]]
    changes = {"records.columns": PARTS, "records.heading_row": heading_row}
    found = book_of(tmp_path, {"A": sheet}, changes, merged={"A": merged})
    row = found.rows.iloc[0]
    assert (row["joint"], row["easting"], row["soak_time_s"], len(found.rows)) == ("J1", 500012, 202, 1)
    # 1 psi = 6894.757 Pa (NIST SP 811, appendix B.8; from memory)
    pressures = (row["drag_pressure_mpa"], row["fusion_pressure_mpa"])
    assert pressures == pytest.approx((29 * 6894.757e-6, 580 * 6894.757e-6), rel=1e-6)


def test_a_heading_of_two_rows_in_text_where_nothing_can_be_merged(tmp_path):
    upper, lower = (",".join(cell or "" for cell in row) for row in (UPPER, LOWER))
    text = f"{upper}\n{lower}\nJ1,2026-03-01 10:00,500012,5250000,29,580,202\n"
    row = rows_of(tmp_path, text, toml_changes={"records.columns": PARTS}).iloc[0]
    assert (row["joint"], row["northing"], row["drag_pressure_mpa"]) == (
        "J1",
        5250000,
        pytest.approx(0.19995, rel=1e-4),
    )


def test_a_sparse_first_row_is_no_second_row_of_a_heading(tmp_path):
    text = csv_of("J1,,,,,wet,windy", ROW.replace("J1", "J2"), heading=",".join([*HEADING, "Remarks", ""]))
    assert list(rows_of(tmp_path, text)["joint"]) == ["J1", "J2"]


def test_the_unit_of_a_group_is_that_of_no_column_that_has_its_own(tmp_path):
    lower = [None, None, "East", "North", "Drag (bar)", "Fusion", None]
    sheet = [UPPER, lower, ["J1", datetime(2026, 3, 1, 10), 500012, 5250000, 7, 580, 202]]
    row = book_of(tmp_path, {"A": sheet}, {"records.columns": PARTS}, merged={"A": ["C1:D1", "E1:F1"]}).rows.iloc[0]
    assert row["drag_pressure_mpa"] == pytest.approx(0.7)


SOAK = "Joint,Finished,East,North,Plate (°C),{}"


def soaked(*cells):
    return [f"J{i},2026-03-0{i} 10:00,{500000 + 12 * i},5250000,215,{cell}" for i, cell in enumerate(cells, start=1)]


def test_durations_with_colons_where_the_heading_or_the_route_says_so(tmp_path):
    for heading, spec in (("Soak (min:sec)", "Soak (min:sec)"), ("Soak", {"column": "Soak", "unit": "min:s"})):
        text = csv_of(*soaked("3:22", "3:39"), heading=SOAK.format(heading))
        rows = rows_of(tmp_path, text, toml_changes={"records.columns.soak_time": spec})
        assert list(rows["soak_time_s"]) == [202, 219]


def test_times_of_day_of_a_workbook_are_read_by_their_figures_and_counted(tmp_path):
    rows = [[*HEADING, "Cool (min:sec)"]]
    rows += [[f"J{i}", datetime(2026, 3, i, 10), 500000 + 12 * i, 5250000, 215, time(13, 10 + i)] for i in (1, 2, 3)]
    changes = {"records.columns": {**COLUMNS, "cooling_time": "Cool (min:sec)"}}
    found = book_of(tmp_path, {"A": rows}, changes)
    assert list(found.rows["cooling_time_min"]) == pytest.approx([13 + s / 60 for s in (11, 12, 13)])
    assert (
        "records/a.xlsx: column 'Cool (min:sec)': 3 of its cells are times of day, read by the figures that are shown:"
        " 13:11 as 13 min 11 s"
    ) in "\n".join(found.notes).replace(" sheet A", "")


@pytest.mark.parametrize(
    ("heading", "unit", "do"),
    [
        ("Soak", None, 'say unit = "min:s" or unit = "h:min", in route.toml'),
        ("Soak (min)", None, 'say unit = "min:s" or unit = "h:min", in route.toml'),
        ("Soak", "s", 'say unit = "min:s" or unit = "h:min", in route.toml'),
        ("Soak (min:sec)", "min", 'say unit = "min:sec", as the heading does, in route.toml'),
    ],
)
def test_colons_that_nothing_explains_are_refused_once_for_their_column(tmp_path, heading, unit, do):
    spec = {"column": heading, "unit": unit} if unit else heading
    text = csv_of(*soaked("3:22", "", "3:39"), heading=SOAK.format(heading))
    told = refusal(tmp_path, text, toml_changes={"records.columns.soak_time": spec})
    assert told.count("soak_time: all its 2 figures are written with a colon, as 3:22") == 1
    assert told.endswith(do)


def test_colons_in_a_column_that_nobody_mapped_are_told(tmp_path):
    found = read_route(make_route(tmp_path, records=csv_of(*soaked("3:22", "3:39"), heading=SOAK.format("Soak (s)"))))
    assert found.rows["soak_time_s"].isna().all()
    assert 'is not said: say unit = "min:s" or unit = "h:min", and map it' in "\n".join(found.notes)


def test_a_cell_merged_downwards_stands_in_each_of_its_rows(tmp_path):
    day = datetime(2026, 3, 1, 10)
    sheet = [HEADING, ["J1", day, 500012, 5250000, 215], ["J2", None, 500024, 5250000, 215], [None] * 5]
    found = book_of(tmp_path, {"A": sheet}, merged={"A": ["B2:B4"]})
    assert list(found.rows["joint"]) == ["J1", "J2"]
    assert found.rows["fused_at"].nunique() == 1


@pytest.mark.xfail(strict=True, reason="the workbook reader hands over a formula's error as an empty cell")
def test_a_formula_error_is_said_and_not_taken_for_nothing(tmp_path):
    found = book_of(tmp_path, {"A": [HEADING, ["J1", datetime(2026, 3, 1, 10), 500012, 5250000, float("inf")]]})
    assert found.rows["faults"][0] == ("column Plate (°C): '#DIV/0!' is not a number",)


# --- layers -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("ending", ["gpkg", "geojson", "shp"])
def test_layers_of_points(tmp_path, ending):
    points = [shapely.Point(500012, 5250000, 3), shapely.Point(), shapely.Point(500024, 5250001)]
    columns = {"name": ["0017", "J2", None], "plate": [215.0, None, 216.0]}
    mapped = {"joint": "name", "heater_temperature": {"column": "plate", "unit": "degC"}}
    rows = layer_of(tmp_path, ending, columns, points, changes={"records.columns": mapped}).rows
    np.testing.assert_allclose(rows["easting"], [500012, np.nan, 500024])
    np.testing.assert_allclose(rows["heater_temperature_c"], [215, np.nan, 216])
    assert list(rows["joint"][:2]) == ["0017", "J2"]
    assert rows["faults"][1] == ("no position was recorded",)
    assert rows["why_not"][2].startswith("no joint number")


def test_lines_in_a_layer_are_no_positions(tmp_path):
    rows = layer_of(
        tmp_path, "gpkg", {"name": ["J1"]}, [shapely.LineString([(500012, 5250000), (500024, 5250000)])]
    ).rows
    assert rows["faults"][0] == ("no position was recorded",)


def test_a_layers_frame_against_the_stated_one(tmp_path):
    point, columns = [shapely.Point(500012, 5250000)], {"name": ["J1"]}
    with pytest.raises(InputError, match=r"the file says EPSG:7855, route\.toml says EPSG:4326; make them agree"):
        layer_of(tmp_path, "gpkg", columns, point, changes={"records.crs": "EPSG:4326"})
    with pytest.raises(InputError, match="the frame of its positions is not said"):
        layer_of(tmp_path / "b", "shp", columns, point, crs=None)


def test_a_broken_geometry_costs_the_position_and_not_the_row(tmp_path):
    one_vertex = '{"type": "LineString", "coordinates": [[147, -42.9]]}'
    feature = f'{{"type": "Feature", "properties": {{"name": "J1"}}, "geometry": {one_vertex}}}'
    text = f'{{"type": "FeatureCollection", "features": [{feature}]}}'
    changes = {"records.columns": {"joint": "name"}, "records.crs": None}
    rows = rows_of(tmp_path, text, name="records/a.geojson", toml_changes=changes)
    assert rows["faults"][0] == ("no position was recorded",)


def test_waypoints_with_their_name_as_joint(tmp_path):
    text = (
        '<?xml version="1.0"?><gpx version="1.1" creator="invented" xmlns="http://www.topografix.com/GPX/1/1">'
        '<wpt lat="-42.9" lon="147"><ele>3.5</ele><time>2026-03-01T00:00:00Z</time><name>0017</name></wpt>'
        '<wpt lat="-42.9" lon="147.0001"><time>2026-03-01T00:10:00+01:00</time><name>18</name></wpt></gpx>'
    )
    columns = {"joint": "name", "time": "time", "elevation": {"column": "ele", "unit": "m"}}
    changes = {"records.columns": columns, "records.crs": None}
    rows = rows_of(tmp_path, text, name="records/a.gpx", toml_changes=changes)
    assert list(rows["joint"]) == ["0017", "18"]
    assert list(rows["fused_at"]) == [datetime(2026, 3, 1), datetime(2026, 2, 28, 23, 10)]
    assert rows["elevation_m"][0] == 3.5
    expected = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:7855", always_xy=True).transform(147.0001, -42.9)
    assert (rows["easting"][1], rows["northing"][1]) == pytest.approx(expected, abs=0.001)


# --- positions --------------------------------------------------------------------------------------------------------


def latlon(folder, *cells, **changes):
    text = csv_of(*(f"J{i};{c}" for i, c in enumerate(cells)), heading="Joint;Lat;Lon")
    return rows_of(folder, text, toml_changes=LL | {f"records.{k.replace('__', '.')}": v for k, v in changes.items()})


def test_one_place_in_every_way_to_write_it(tmp_path):
    ways = (
        "-42.9;147",
        "42.9 S;147 E",
        "S42 54;E147 0",
        "42°54'00\"S;147°00'00\"E",
        "42º54′0″ S;147º0′0″ E",
        "-42 54 00;147 00 00",
    )
    rows = latlon(tmp_path, *ways)
    expected = pyproj.Transformer.from_crs("EPSG:7844", "EPSG:7855", always_xy=True).transform(147, -42.9)
    np.testing.assert_allclose(rows["easting"], expected[0], atol=0.001)
    np.testing.assert_allclose(rows["northing"], expected[1], atol=0.001)
    assert list(rows["position_recorded"])[1] == "42.9 S, 147 E"


@pytest.mark.parametrize(
    ("cells", "fault"),
    [
        ("-42.9 S;147", "column Lat: '-42.9 S' says its side twice"),
        ("91;147", "column Lat: '91' is more than 90 degrees"),
        ("-42 60;147", "column Lat: '-42 60' has 60 minutes or seconds, or more"),
        (
            "42.9 E;147 S",
            "column Lat: '42.9 E' has E, this column is N or S; column Lon: '147 S' has S, this column is E or W",
        ),
        ("-42.9;", "half of the position is missing"),
        ("n/a;147", "half of the position is missing"),
        (";n/a", "no position was recorded"),
        ("0;0", "the position is 0, 0: the receiver had no fix"),
        ("4O.9;147", "column Lat: '4O.9' is not a number"),
    ],
)
def test_a_position_that_cannot_be_used_says_why(tmp_path, cells, fault):
    rows = latlon(tmp_path, "-42.9;147", cells)
    assert np.isnan(rows["easting"][1])
    assert rows["faults"][1] == (fault,)
    assert rows["why_not"][1] == ""  # the row stays a joint


def test_a_plane_position_of_zeros_and_a_half(tmp_path):
    rows = rows_of(tmp_path, csv_of(ROW, "J2,2026-03-01 10:00,0,0,215", "J3,2026-03-01 10:00,,5250000,215"))
    assert list(rows["faults"][1:]) == [("the position is 0, 0: no position",), ("half of the position is missing",)]


def test_a_slip_of_the_pen_is_no_place_on_earth(tmp_path):
    rows = rows_of(tmp_path, csv_of("J1,2026-03-01 10:00,5e30,5250000,215"))
    assert rows["faults"][0] == ("the position is no place on earth",)
    assert len(build(load(tmp_path)).tables["joints"]) == 1


@pytest.mark.parametrize(
    ("fix", "used"), [("0", False), ("No Fix", False), ("invalid", False), ("1", True), ("4", True), ("", True)]
)
def test_what_the_receiver_says_of_its_fix(tmp_path, fix, used):
    rows = rows_of(tmp_path, csv_of(f"{ROW},{fix}", heading=",".join([*HEADING, "Fix type"])))
    assert np.isfinite(rows["easting"][0]) == used
    assert rows["faults"][0] == (() if used else ("the record says it had no fix",))


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"records.crs": None}, "the frame of its positions is not said"),
        (
            {"records.crs": "EPSG:7844"},
            "East and Up are read as easting and northing, and EPSG:7844, GDA2020 has none",
        ),
        ({"records.columns.northing": None}, "easting has a column, northing has none"),
    ],
)
def test_a_frame_that_is_missing_or_does_not_fit(tmp_path, changes, told):
    assert told in refusal(
        tmp_path, RECORDS.replace("North", "Up"), toml_changes={"records.columns.northing": "Up"} | changes
    )


def test_degrees_in_a_projected_frame_are_refused(tmp_path):
    with pytest.raises(InputError, match="Lat and Lon are read as latitude and longitude, and EPSG:7855"):
        latlon(tmp_path, "-42.9;147", crs="EPSG:7855")


def test_headings_in_feet_against_a_frame_in_metres(tmp_path):
    text = csv_of(ROW, heading="Joint,Finished,East (ft),North (ft),Plate (°C)")
    changes = {"records.columns.easting": "East", "records.columns.northing": "North"}
    assert "column East (ft): it is in ft, and crs is EPSG:7855" in refusal(tmp_path, text, toml_changes=changes)


def test_the_mapped_pair_is_used_and_the_other_one_is_not(tmp_path):
    text = csv_of(f"{ROW},-42.9,147", heading=",".join([*HEADING, "Latitude", "Longitude"]))
    found = read_route(make_route(tmp_path, records=text))
    assert found.rows["easting"][0] == 500012
    assert found.notes == ("records/a.csv: columns not used: 'Latitude', 'Longitude'",)


def test_corrections_are_applied_and_the_source_is_kept(tmp_path):
    plain = latlon(tmp_path, "-42.9;147")
    for cells, change in (
        ("147;-42.9", {"swap": True}),
        ("42.9;147", {"sign": True}),
        ("147 E;42.9 S", {"swap": True}),
    ):
        rows = latlon(tmp_path, cells, corrections=change)
        assert rows["easting"][0] == pytest.approx(plain["easting"][0], abs=1e-6)
        assert rows["northing"][0] == pytest.approx(plain["northing"][0], abs=1e-6)
        assert rows["position_recorded"][0] == cells.replace(";", ", ")


def test_shift_and_clock(tmp_path):
    changes = {"records.corrections": {"shift": ["1.2 m", "-0.4 m"], "clock": "-1 h"}}
    rows = rows_of(tmp_path, toml_changes=changes)
    assert (rows["easting"][0], rows["northing"][0]) == pytest.approx((500013.2, 5249999.6))
    assert rows["fused_at"][0] == datetime(2026, 2, 28, 22)
    assert (rows["position_recorded"][0], rows["time_recorded"][0]) == ("500012, 5250000", "2026-03-01 10:00")


def test_without_its_correction_a_swapped_position_is_no_position(tmp_path):
    assert latlon(tmp_path, "147;-42.9")["faults"][0] == ("column Lat: '147' is more than 90 degrees",)


@pytest.mark.parametrize(
    ("meaning", "sd"),
    # Rayleigh quantiles of a circular normal: r(p) = sd sqrt(-2 ln(1 - p)); 2-D rms = sd sqrt(2). Worked by hand.
    [("sd", 2.0), ("68%", 1.3249), ("95%", 0.8171), ("rms", 1.4142), ("cep", 1.6986), ("hdop", 2.8284)],
)
def test_what_accuracy_means(tmp_path, meaning, sd):
    unit = "" if meaning == "hdop" else " (m)"
    text = csv_of(*(f"{ROW},{a}" for a in ("2", "0", "-1", "", "x")), heading=",".join([*HEADING, f"How good{unit}"]))
    changes = {
        "records.accuracy": meaning,
        "records.default_accuracy": None,
        "records.columns.accuracy": f"How good{unit}",
    }
    changes |= {"records.uere": "2 m"} if meaning == "hdop" else {}
    rows = rows_of(tmp_path, text, toml_changes=changes)
    np.testing.assert_allclose(rows["sd_m"], [sd, np.nan, np.nan, np.nan, np.nan], rtol=1e-4)
    assert rows["faults"][4] == (f"column How good{unit}: 'x' is not a number",)
    assert np.isfinite(rows["easting"][4])


def test_a_default_accuracy_has_the_same_meaning(tmp_path):
    rows = rows_of(tmp_path, toml_changes={"records.default_accuracy": "2 m"})
    np.testing.assert_allclose(rows["sd_m"], 0.8171, rtol=1e-4)


# --- times in files ---------------------------------------------------------------------------------------------------


def test_the_zone_of_a_source_outranks_that_of_the_route(tmp_path):
    assert rows_of(tmp_path, toml_changes={"records.timezone": "UTC"})["fused_at"][0] == datetime(2026, 3, 1, 10)


def test_refusals_of_a_time_column_name_it(tmp_path):
    told = refusal(tmp_path, toml_changes={"route.timezone": None})
    assert "records/a.csv, column Finished: '2026-03-01 10:00' has no offset from UTC" in told
    text = RECORDS.replace("2026-03-0", "0").replace(" 10:00", "/03/2026 10:00")
    assert "can be day/month or month/day in every row" in refusal(tmp_path, text)


def test_a_total_row_has_no_say_in_the_order_of_day_and_month(tmp_path):
    rows = rows_of(tmp_path, csv_of("J1,13/02/2026,500012,5250000,215", "Total,02/13/2026,,,"))
    assert rows["fused_at"][0] == datetime(2026, 2, 12, 13)


# --- files that cannot be read ----------------------------------------------------------------------------------------

JUNK = np.random.default_rng(3).integers(0, 256, 5000, dtype=np.uint8).tobytes()
BAD = {
    "nothing": b"",
    "NULs": b"\0" * 300,
    "junk": JUNK,
    "archive": b"PK\x03\x04" + JUNK,
    "database": b"SQLite format 3\0" + JUNK,
    "locked": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + JUNK,  # the container that a password makes of a workbook
    "braces": b"{" * 2000,
    "one long line": b"a" * 5_000_000,
    "an open quote": b'Joint,East,North\n"' + b"x" * 300_000,
    "many columns": b"Joint," + b"a," * 20_000 + b"\n1",
}


@pytest.mark.parametrize("bad", BAD)
@pytest.mark.parametrize("ending", ["csv", "txt", "xlsx", "xls", "ods", "gpkg", "geojson", "shp", "gpx", "kml"])
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning", "ignore::RuntimeWarning")  # of GDAL
def test_a_file_that_cannot_be_read_is_named_and_never_a_traceback(tmp_path, ending, bad):
    make_route(tmp_path, records=BAD[bad], name=f"records/bad.{ending}")
    with pytest.raises(AsBuiltError, match=rf"records/bad\.{ending}") as caught:
        read_route(tmp_path)
    assert all(p.found and p.do and len(str(p)) < 1000 for p in caught.value.problems)


def test_every_file_that_cannot_be_read_is_named_at_once(tmp_path):
    make_route(tmp_path, toml_changes={"records.files": ["records/*.*"]})
    for name in ("b.xlsx", "c.geojson", "d.pdf", "e.csv"):
        (tmp_path / "records" / name).write_bytes(b"")
    with pytest.raises(InputError, match="records") as caught:
        read_route(tmp_path)
    assert [p.where for p in caught.value.problems] == [
        f"records/{n}" for n in ("b.xlsx", "c.geojson", "d.pdf", "e.csv")
    ]


def test_a_folder_named_like_a_file_is_passed_over(tmp_path):
    make_route(tmp_path, toml_changes={"records.files": ["records/*.csv"]})
    (tmp_path / "records/b.csv").mkdir()
    assert len(read_route(tmp_path).rows) == 3


def test_a_heading_without_rows_is_refused_where_no_file_has_one(tmp_path):
    assert "there is not one row below a heading in any file" in refusal(tmp_path, csv_of())


# --- nothing is lost --------------------------------------------------------------------------------------------------

GOOD = ("J1", "2026-03-01 10:00", "500012", "5250000", "215")
CELL = st.sampled_from(
    ["", " ", "-", "x", "0", "Total", "1e999", "\ufffd", "215 bar", "2026-02-30", "a,b", "5\n6", '"', *GOOD, *HEADING]
)
TABLE = st.lists(st.lists(CELL, min_size=1, max_size=7) | st.just(list(GOOD)), min_size=1, max_size=12)


def route_of(folder, table):
    """Write a route of a good row and those of `table`, and return it with how many of its rows hold anything."""
    lines = [",".join('"' + cell.replace('"', '""') + '"' for cell in row) for row in [list(GOOD), *table]]
    route = make_route(folder, records=csv_of(*lines), toml_changes={"records.decimal": "."})
    return route, 1 + sum(any(cell.strip() for cell in row) for row in table)


@given(TABLE)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_each_row_is_read(tmp_path, table):
    folder, filled = route_of(tmp_path, table)
    assert len(read_route(folder).rows) == filled


@given(TABLE)
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_each_row_has_exactly_one_outcome(tmp_path, table):
    folder, filled = route_of(tmp_path, table)
    result = build(load(folder))
    records = result.tables["records"]
    assert len(records) == filled
    assert records["outcome"].isin(["joint", "duplicate", "superseded", "trial", "set aside"]).all()
    assert records["source_row"].is_unique
    counts = result.counts
    assert counts.joints + counts.duplicates + counts.superseded + counts.trials + counts.set_aside == filled


def test_check_tells_every_bad_cell_of_every_file(tmp_path):
    make_route(
        tmp_path, records=csv_of(ROW, "J2,yesterday,4O,5250000,hot"), toml_changes={"records.files": ["records/*.csv"]}
    )
    (tmp_path / "records/b.csv").write_text(csv_of("J3,2026-03-01 10:00,500036,5250000,warm"), encoding="utf-8")
    result = CliRunner().invoke(cli.main, ["check", str(tmp_path), "--json"])
    assert result.exit_code == 0, result.output
    told = json.dumps(json.loads(result.stdout)["rows"], ensure_ascii=False)
    for place in ("records/a.csv row 3", "records/b.csv row 2"):
        assert place in told
    for cell in (
        "'yesterday' is not a time",
        "'4O' is not a number",
        "'hot' is not a number",
        "'warm' is not a number",
    ):
        assert cell in told.replace("\\", "")


def test_check_says_once_what_is_wrong_with_many_cells_of_a_column(tmp_path):
    hot = [f"J{i},2026-03-01 10:{i:02},{500000 + 12 * i},5250000,~{200 + i}" for i in range(1, 31)]
    make_route(tmp_path, records=csv_of(*hot, "J31,2026-03-01 11:00,500372,5250000,warm, "))
    told = CliRunner().invoke(cli.main, ["check", str(tmp_path)]).stdout
    lines = [line.strip() for line in told.splitlines() if "is not a number" in line]
    assert lines == [
        "records/a.csv row 2 (joint): Column Plate (°C): '~201' is not a number."
        " The like of 30 more rows: 3, 4, 5, 6, 7 and 25 more.",
        "joint J1 at 0+012.00 (records/a.csv row 2): Column Plate (°C): '~201' is not a number. Heater temperature was"
        " not recorded. The like of 30 more joints: J2, J3, J4, J5, J6 and 25 more.",
    ]
    whole = json.loads(CliRunner().invoke(cli.main, ["check", str(tmp_path), "--json"]).stdout)
    assert [sum("is not a number" in text for text in whole[key]) for key in ("rows", "outstanding")] == [31, 31]
    assert "heater temperature could not be read (column Plate (°C): 31 cells)" in told
    assert "there is no heater temperature" not in told


def test_drag_is_a_gauge_pressure_without_saying_so(tmp_path):
    text = "Joint,Finished,East,North,Plate (°C),Drag (bar)\nJ1,2026-03-01 10:00,500012,5250000,215,7\n"
    assert rows_of(tmp_path, text)["drag_pressure_mpa"].to_list() == [pytest.approx(0.7)]
