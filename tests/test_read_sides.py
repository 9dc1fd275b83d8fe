"""The list of pipes and the shots on the laid pipe, from files good and bad; nothing is lost. All data is invented."""

import json
from datetime import date, datetime

import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from asbuilt.errors import AsBuiltError, InputError
from asbuilt.read.alignments import read_alignments
from asbuilt.read.positions import Target
from asbuilt.read.sides import SURVEY, TALLY, read_survey, read_tally
from asbuilt.settings import load
from tests.making import make_layer, make_route, make_workbook

US = {"route.units": "us", "route.foot": "survey"}
PIPES = "Pipe No;Length (m);String;Order\nP1;12.01;S1;1\nP2;11.98;S1;2\n"
SHOTS = "Joint,Easting,Northing,Elevation (m),Elevation of,SD (m),Time\nJ1,500012,5250000.1,3.25,Crown,0.02,{}\n"
SHOT = SHOTS.format("2026-03-14 08:30")


def put(folder, name, content, **how):
    """Write a route and one side file (None: the test writes it itself), and return its settings."""
    make_route(folder, **how)
    if content is not None:
        (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    return load(folder)


def tally(folder, content, **how):
    return read_tally(put(folder, "tally.csv", content, **how))


def survey(folder, content, **how):
    found = put(folder, "survey.csv", content, **how)
    designs = read_alignments(found)
    return read_survey(found, Target(designs.frame, designs.area))


def reasons(found):
    return dict(zip(found.set_aside["source_row"], found.set_aside["reason"], strict=True))


def test_without_files_both_are_empty_and_have_their_columns(tmp_path):
    pipes, shots = tally(tmp_path, None), survey(tmp_path, None)
    assert (list(pipes.rows), list(shots.rows)) == (list(TALLY), list(SURVEY))
    assert {n: str(d) for n, d in pipes.rows.dtypes.items()} == {
        n: "object" if k is object else k for n, k in TALLY.items()
    }
    assert (len(pipes.rows), len(shots.rows), pipes.notes, shots.notes, shots.crossings) == (0, 0, (), (), ())


def test_a_heading_without_rows_is_said(tmp_path):
    found = tally(tmp_path, "Pipe,Length (m)\n")
    assert len(found.rows) == 0
    assert "tally.csv: there is no row below its heading" in found.notes
    assert {n: str(d) for n, d in found.rows.dtypes.items()} == {
        n: "object" if k is object else k for n, k in TALLY.items()
    }


# --- pipes ------------------------------------------------------------------------------------------------------------


def test_a_tally_with_a_title_and_the_words_of_the_trade(tmp_path):
    heading = "Serial Number,Pipe length [m],OD (mm),Wall thickness (mm),Batch no,String id,Sequence,Colour"
    text = f"Invented pipes\n\n{heading}\n0017,12.01,630,57.2,L7,S1,3,black\n18,11.98,n/a,,,,,\nTotal,23.99,,,,,,\n"
    found = tally(tmp_path, text)
    first, second = found.rows.to_dict("records")
    assert (first["pipe"], first["length_m"], first["outside_diameter_mm"], first["wall_mm"]) == (
        "0017",
        12.01,
        630,
        57.2,
    )
    assert (first["lot"], first["string"], first["order"], first["source_row"]) == ("L7", "S1", 3, 4)
    assert second["lot"] is None
    assert np.isnan([second["outside_diameter_mm"], second["wall_mm"], second["order"]]).all()
    assert reasons(found) == {6: "a total row, not a record"}
    assert "tally.csv: columns not used: 'Colour'" in found.notes


@pytest.mark.parametrize("heading", ["Length (ft)", "Length ft", "Length, feet"])
def test_feet_in_the_heading(tmp_path, heading):
    found = tally(tmp_path, f"Pipe;{heading}\nP1;40\n")
    assert found.rows["length_m"][0] == pytest.approx(12.192)  # the international foot: 0.3048 m, by its definition
    assert not any("states no unit" in n for n in found.notes)


@pytest.mark.parametrize(
    ("changes", "unit", "metres"),
    [({}, "m", 1.0), (US, "us ft", 1200 / 3937), (US | {"route.foot": "international"}, "ft", 0.3048)],
)
def test_a_length_without_unit_is_in_that_of_the_route_and_it_is_said(tmp_path, changes, unit, metres):
    found = tally(tmp_path, "Pipe,Length\nP1,40\nP2,12 m\n", toml_changes={"pipe.stick": "39 ft", **changes})
    np.testing.assert_allclose(found.rows["length_m"], [40 * metres, 12], rtol=1e-12)
    assert f"tally.csv: column 'Length' states no unit: its bare numbers are read in {unit}" in found.notes


def test_a_stated_unit_outranks_that_of_the_route(tmp_path):
    more = '[tally.columns]\nlength = { column = "L", unit = "cm" }\npipe = "Mark"\n'
    found = tally(tmp_path, "Mark,L\nP1,1201\n", more=more)
    assert found.rows["length_m"][0] == pytest.approx(12.01)
    assert not any("states no unit" in n for n in found.notes)


def test_a_mapped_length_without_unit_is_in_that_of_the_route(tmp_path):
    found = tally(tmp_path, "Mark,L\nP1,12\n", more='[tally.columns]\nlength = "L"\npipe = "Mark"\n')
    assert found.rows["length_m"][0] == 12
    assert "tally.csv: column 'L' states no unit: its bare numbers are read in m" in found.notes


def test_sizes_without_unit_are_not_guessed(tmp_path):
    found = tally(tmp_path, "Pipe,Length (m),OD\nP1,12,630\n")
    assert np.isnan(found.rows["outside_diameter_mm"][0])
    assert "tally.csv: column 'OD' could be outside_diameter, and is not used: it has no unit; map it" in found.notes


def test_lengths_that_are_no_sticks_are_said(tmp_path):
    found = tally(tmp_path, "Pipe,Length\nP1,39.4\nP2,39.3\n")
    assert any(
        "middle length of the tally is 39.35 m, and a stick is 12 m in [pipe]: check its unit" in n for n in found.notes
    )
    assert not any("check its unit" in n for n in tally(tmp_path, PIPES).notes)


def test_rows_that_name_no_pipe_or_no_length_are_set_aside(tmp_path):
    rows = "P1;12;S1;1|;12;S1;2|;12;S1;|-;12;;|P5;;S1;|P6;0;;|P7;-3;S1;|P8;long;S1;|a line of text;;;"
    found = tally(tmp_path, "Pipe No;Length (m);String;Order\n" + rows.replace("|", "\n"))
    assert list(found.rows["source_row"]) == [2, 3]
    assert found.rows["pipe"][1] is None
    told = reasons(found)
    which = "no pipe number, nor a string with the order in it: which pipe it is is not said"
    assert (told[4], told[5]) == (which, which)
    assert told[6] == "column Length (m): no length is stated"
    assert {told[7], told[8]} == {"column Length (m): a length is more than zero"}
    assert told[9] == "column Length (m): 'long' is not a number"
    assert told[10].startswith("only one cell is filled ('a line of text')")
    assert json.loads(found.set_aside["cells"].iloc[-2]) == {"Pipe No": "P8", "Length (m)": "long", "String": "S1"}


def test_a_pipe_of_two_lengths_is_set_aside_altogether(tmp_path):
    found = tally(tmp_path, PIPES + "P1;11.4;S2;1\n")
    assert list(found.rows["pipe"]) == ["P2"]
    why = "pipe P1 has several lengths: 12.010 m in tally.csv row 2, 11.400 m in tally.csv row 4"
    assert reasons(found) == {2: why, 4: why}


def test_a_pipe_listed_again_is_counted_once_and_what_contradicts_is_not_used(tmp_path):
    found = tally(tmp_path, PIPES + "P1;12.01;S1;7\nP2;11.98;;\n")
    assert list(found.rows["pipe"]) == ["P1", "P2"]
    assert found.rows["string"][0] == "S1"
    assert np.isnan(found.rows["order"][0])
    assert found.rows["order"][1] == 2
    notes = [n for n in found.notes if "counted once" in n]
    assert notes[0].endswith(
        "12.010 m in tally.csv row 2, 12.010 m in tally.csv row 4; they differ in order, which is not used"
    )
    assert notes[1].endswith("11.980 m in tally.csv row 3, 11.980 m in tally.csv row 5")
    assert len(found.set_aside) == 0


def test_two_pipes_of_one_place_in_a_string_are_said(tmp_path):
    found = tally(tmp_path, PIPES + "P3;12;S1;2\n")
    assert "2 pipes of string S1 have the order 2: tally.csv row 3, tally.csv row 4" in found.notes


def test_a_cell_that_cannot_be_read_is_told_once_a_column(tmp_path):
    rows = "".join(f"P{i};12;x{i}\n" for i in range(1, 5))
    found = tally(tmp_path, f"Pipe;Length (m);Wall (mm)\n{rows}")
    assert len(found.rows) == 4
    assert found.rows["wall_mm"].isna().all()
    told = [n for n in found.notes if "is not a number" in n]
    assert told == ["tally.csv row 2, column Wall (mm): 'x1' is not a number; such a fault also in row 3, 4, 5"]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize(("mark", "decimal"), [(",", "."), (";", ","), ("\t", ",")])
def test_encodings_delimiters_and_decimal_commas(tmp_path, encoding, mark, decimal):
    text = f"Pipe{mark}Length (m){mark}Lot\nDüker 1{mark}12{decimal}01{mark}L\n"
    found = tally(tmp_path, text.encode(encoding))
    assert (found.rows["pipe"][0], found.rows["length_m"][0]) == ("Düker 1", 12.01)


def test_a_comma_that_may_part_thousands_is_refused_until_it_is_said(tmp_path):
    text = "Pipe;Length (mm)\nP1;12,010\n"
    with pytest.raises(
        InputError, match=r'tally\.csv: .* is not clear from its numbers; say decimal = "," or .* in \[tally\]'
    ):
        tally(tmp_path, text)
    assert tally(tmp_path, text, more='[tally]\ndecimal = "."\n').rows["length_m"][0] == pytest.approx(12.01)


def test_a_workbook_with_merged_headings_units_below_and_a_sheet_of_notes(tmp_path):
    sheet = [
        ["Pipe", "Measured", None],
        [None, "Length", "Wall"],
        [None, "ft", "in"],
        ["P1", 40, 2.25],
        ["P2", 39.5, None],
    ]
    make_workbook(tmp_path / "pipes.xlsx", {"Notes": [["made up"]], "A": sheet}, merged={"A": ["A1:A2", "B1:C1"]})
    found = tally(tmp_path, None, more='[tally]\nfiles = ["pipes.xlsx"]\n')
    np.testing.assert_allclose(found.rows["length_m"], [12.192, 12.0396])
    assert found.rows["wall_mm"][0] == pytest.approx(57.15)  # 1 in = 25.4 mm, by its definition
    assert list(found.rows["source_row"]) == [4, 5]
    assert "pipes.xlsx sheet Notes: no row is a heading of the tally; not read" in found.notes


def test_several_files_are_one_tally(tmp_path):
    make_route(tmp_path, more='[tally]\nfiles = ["tally_*.csv"]\n')
    for name, length in (("a", 12), ("b", 11)):
        (tmp_path / f"tally_{name}.csv").write_text(f"Pipe,Length (m)\nP1,{length}\nP{name},12\n", encoding="utf-8")
    found = read_tally(load(tmp_path))
    assert list(found.rows["pipe"]) == ["Pa", "Pb"]
    assert list(found.set_aside["source_file"]) == ["tally_a.csv", "tally_b.csv"]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            "Pipe,Lot\nP1,L\n",
            r"no column holds the length of a pipe; map length in \[tally\.columns\] to one of: Pipe, Lot",
        ),
        ("Length (m),Lot\n12,L\n", r"no column holds the number of a pipe; map pipe in \[tally\.columns\]"),
        ("a,b\n1,2\n", r"no row is a heading of the tally; map its columns in \[tally\.columns\], or say heading_row"),
        ("", "no row is a heading of the tally"),
        ('Pipe,Length (m)\nP1,"12\nP2,12\n', "line 2: a quote opens here and swallows the rows that follow"),
    ],
)
def test_a_tally_that_cannot_be_read_is_refused_with_what_to_do(tmp_path, text, told):
    with pytest.raises(InputError, match=rf"tally\.csv.*{told}"):
        tally(tmp_path, text)


def test_a_length_in_another_kind_of_unit_is_refused(tmp_path):
    more = '[tally.columns]\npipe = "Pipe"\nlength = "Length"\n'
    told = r"tally\.csv row 1, column Length \(psi\): length: unit psi cannot be shown in m; say its unit"
    with pytest.raises(InputError, match=told):
        tally(tmp_path, "Pipe,Length (psi)\nP1,12\n", more=more)


def test_every_file_that_cannot_be_read_is_named_at_once(tmp_path):
    make_route(tmp_path, more='[tally]\nfiles = ["t*.*"]\n')
    for name in ("t1.csv", "t2.xlsx", "t3.pdf"):
        (tmp_path / name).write_bytes(b"x")
    with pytest.raises(InputError, match=r"t1\.csv") as caught:
        read_tally(load(tmp_path))
    assert [p.where for p in caught.value.problems] == ["t1.csv", "t2.xlsx", "t3.pdf"]


# --- shots ------------------------------------------------------------------------------------------------------------


def test_a_shot_in_the_frame_of_the_route(tmp_path):
    found = survey(
        tmp_path, SHOT.replace("Time", "Time,Ground level (m),Surveyor,Line").replace("08:30", "08:30,5,AB,main")
    )
    (shot,) = found.rows.to_dict("records")
    assert (shot["joint"], shot["easting"], shot["northing"]) == ("J1", 500012, 5250000.1)
    assert (shot["elevation_m"], shot["elevation_of"], shot["ground_m"], shot["sd_m"]) == (3.25, "crown", 5, 0.02)
    assert (shot["time"], shot["surveyor"], shot["line"]) == (datetime(2026, 3, 13, 21, 30), "AB", "main")
    assert (shot["frame_accuracy_m"], shot["source_file"], shot["source_row"]) == (0, "survey.csv", 2)
    assert [c.operation for c in found.crossings] == ["none needed"]
    assert len(found.set_aside) == 0


def test_a_shot_without_a_joint_is_a_shot(tmp_path):
    found = survey(tmp_path, SHOT + ",500024,5250000,3.2,invert,0.02,2026-03-14 08:40\n")
    assert list(found.rows["joint"]) == ["J1", None]
    assert list(found.rows["elevation_of"]) == ["crown", "invert"]


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ("J2,,,3.2,crown,0.02,", "no position was recorded"),
        ("J2,500024,,3.2,crown,0.02,", "half of the position is missing"),
        ("J2,0,0,3.2,crown,0.02,", "the position is 0, 0: no position"),
        ("J2,5e30,5250000,3.2,crown,0.02,", "the position is no place on earth"),
        ("J2,5OO024,5250000,3.2,crown,0.02,", "column Easting: '5OO024' is not a number"),
        ("Total,3,,,,,", "a total row, not a record"),
        ("Joint,Easting,Northing,Elevation (m),Elevation of,SD (m),Time", "the heading repeated, not a record"),
        ("checked by the office,,,,,,", "only one cell is filled ('checked by the office')"),
    ],
)
def test_a_row_without_a_usable_position_is_set_aside_with_its_reason(tmp_path, row, why):
    found = survey(tmp_path, f"{SHOT}{row}\n")
    assert list(found.rows["joint"]) == ["J1"]
    assert reasons(found)[3].startswith(why)
    assert json.loads(found.set_aside["cells"][0])


def test_a_shot_keeps_its_position_where_another_cell_cannot_be_read(tmp_path):
    found = survey(tmp_path, SHOT + "J2,500024,5250000,high,soffit,good,soon\n")
    shot = found.rows.iloc[1]
    assert (shot["easting"], shot["elevation_of"]) == (500024, None)
    assert np.isnan([shot["elevation_m"], shot["sd_m"]]).all()
    assert np.isnat(found.rows["time"].to_numpy()[1])
    for told in (
        "survey.csv row 3, column Elevation (m): 'high' is not a number",
        "survey.csv row 3, column SD (m): 'good' is not a number",
        "survey.csv row 3, column Time: 'soon' is not a time",
        "survey.csv row 3, column Elevation of: 'soffit' is none of crown, top",
        "survey: 1 of 2 shots state no standard deviation",
    ):
        assert any(n.startswith(told) for n in found.notes), told


def test_a_level_of_nothing_and_a_line_that_is_none_are_said(tmp_path):
    found = survey(tmp_path, "Joint,East,North,RL (m),Line,SD (m)\nJ1,500012,5250000,3,north,0.02\n")
    assert "survey: 1 of 1 shots do not say what their level was taken on (elevation_of)" in found.notes
    assert "survey.csv row 2, column Line: 'north' is none of the lines main" in found.notes
    assert found.rows["line"][0] == "north"


def test_a_copy_of_a_shot_is_no_second_measurement_and_a_second_measurement_is_one(tmp_path):
    row = SHOT.splitlines()[1]
    found = survey(tmp_path, f"{SHOT}{row}\n{row.replace('500012', '500012.01')}\n")
    assert list(found.rows["source_row"]) == [2, 4]
    assert "left out, for each repeats a shot before it: survey.csv row 3" in found.notes


@pytest.mark.parametrize(
    ("meaning", "sd"),
    # Rayleigh quantiles of a circular normal: r(p) = sd sqrt(-2 ln(1 - p)); 2-D rms = sd sqrt(2). Worked by hand.
    [("sd", 0.02), ("68%", 0.013249), ("95%", 0.008171), ("rms", 0.014142), ("cep", 0.016986)],
)
def test_what_the_column_sd_means(tmp_path, meaning, sd):
    more = f'[survey]\naccuracy = "{meaning}"\ndefault_accuracy = "0.02 m"\n'
    found = survey(tmp_path, SHOT + "J2,500024,5250000,3.2,crown,,\n", more=more)
    np.testing.assert_allclose(found.rows["sd_m"], sd, rtol=1e-4)
    assert not any("standard deviation" in n for n in found.notes)


def test_dilution_of_precision_has_no_unit(tmp_path):
    more = '[survey]\naccuracy = "hdop"\nuere = "0.1 m"\n[survey.columns]\nsd = "HDOP"\n'
    found = survey(tmp_path, "Joint,Easting,Northing,HDOP\nJ1,500012,5250000,1\n", more=more)
    assert found.rows["sd_m"][0] == pytest.approx(0.070711, rel=1e-4)  # 2-D rms 0.1 m, one axis: over sqrt(2)


def test_latitude_and_longitude_in_a_frame_of_their_own(tmp_path):
    text = "Joint;Lat;Lon\nJ1;42°54'00\"S;147°00'00\"E\n"
    found = survey(tmp_path, text, more='[survey]\ncrs = "EPSG:7844"\n')
    # checked against the library's own transformer, which this code does not call in this way
    expected = pyproj.Transformer.from_crs("EPSG:7844", "EPSG:7855", always_xy=True).transform(147, -42.9)
    assert (found.rows["easting"][0], found.rows["northing"][0]) == pytest.approx(expected, abs=0.001)
    with pytest.raises(InputError, match=r"survey\.csv: Lat and Lon are read as latitude and longitude, and EPSG:7855"):
        survey(tmp_path, text, more="")


def test_another_frame_brings_its_own_uncertainty(tmp_path):
    text = "Joint,Lat,Lon,SD (m)\nJ1,-42.9,147,0.02\n"
    found = survey(tmp_path, text, more='[survey]\ncrs = "EPSG:4326"\n')
    assert found.rows["frame_accuracy_m"][0] > 0.5  # the name WGS 84 covers realisations metres apart (EPSG register)
    assert any("which is added to the error of every" in n for n in found.notes)
    assert found.rows["frame_origin"][0].startswith("EPSG:4326")


def test_a_frame_that_drifts_is_taken_at_the_time_of_the_shots(tmp_path):
    text = "Joint,Lat,Lon,Time\nJ1,-42.9,147,2024-07-02 12:00\n"
    found = survey(tmp_path, text, more='[survey]\ncrs = "EPSG:9000"\n')
    # checked against the library: ITRF2014 is GDA2020 at 2020.0, and the plate moves on from there
    steps = pyproj.transformer.TransformerGroup("EPSG:9000", "EPSG:7855", always_xy=True).transformers[0]
    expected = steps.transform(147, -42.9, 0, 2024.5)
    assert (found.rows["easting"][0], found.rows["northing"][0]) == pytest.approx(expected[:2], abs=0.001)
    with pytest.raises(InputError, match="depends on the date, and none is known for the positions"):
        survey(tmp_path, text.replace("2024-07-02 12:00", ""), more='[survey]\ncrs = "EPSG:9000"\n')


def test_a_row_set_aside_says_its_own_reason_and_no_other(tmp_path):
    found = survey(tmp_path, SHOT + "J2,,,high,crown,good,soon\n")
    assert reasons(found) == {3: "no position was recorded"}
    assert not any("row 3" in n for n in found.notes)


def test_feet_against_a_frame_in_metres_are_refused(tmp_path):
    with pytest.raises(InputError, match=r"survey\.csv, column East \(ft\): it is in ft, and crs is EPSG:7855"):
        survey(tmp_path, "Joint,East (ft),North (ft)\nJ1,500012,5250000\n", more='[survey.columns]\neasting = "East"\n')


@pytest.mark.parametrize(
    ("text", "more", "told"),
    [
        (
            "Joint,Surveyor\nJ1,AB\n",
            "",
            r"no two columns are positions; map easting and northing in \[survey\.columns\] to two of",
        ),
        ("Joint,Easting\nJ1,500012\n", "", "easting has a column, northing has none; map northing"),
        (SHOT, '[survey.columns]\nsd = "Sigma"\n', r"row 1: no column is headed 'Sigma' \(for sd\)"),
        (
            SHOTS.format("03/04/2026 08:30"),
            "",
            "column Time: '03/04/2026 08:30' and .* can be day/month or month/day in every row",
        ),
        ("a,b\n1,2\n", "", r"no row is a heading of the survey; map its columns in \[survey\.columns\]"),
    ],
)
def test_a_survey_that_cannot_be_read_is_refused_with_what_to_do(tmp_path, text, more, told):
    with pytest.raises(InputError, match=rf"survey\.csv.*{told}"):
        survey(tmp_path, text, more=more)


def test_a_time_needs_a_zone_and_the_table_to_say_it_in_is_named(tmp_path):
    changes = {"route.timezone": None, "records.timezone": "UTC"}
    told = r"survey\.csv, column Time: .* has no offset from UTC.* state timezone in \[route\] or in \[survey\]"
    with pytest.raises(InputError, match=told):
        survey(tmp_path, SHOT, toml_changes=changes)
    found = survey(tmp_path, SHOT, toml_changes=changes, more='[survey]\ntimezone = "Etc/GMT-10"\n')
    assert found.rows["time"][0] == datetime(2026, 3, 13, 22, 30)


def test_day_and_month_in_the_order_that_a_row_proves_and_by_a_stated_format(tmp_path):
    text = SHOTS.format("03/04/2026 08:30") + "J2,500024,5250000,3,crown,0.02,16/03/2026 09:00\n"
    assert survey(tmp_path, text).rows["time"][0] == datetime(2026, 4, 2, 21, 30)
    more = '[survey.columns]\ntime = { column = "Time", format = "%m/%d/%Y %H:%M" }\n'
    found = survey(tmp_path, SHOTS.format("03/04/2026 08:30"), more=more)
    assert found.rows["time"][0] == datetime(2026, 3, 3, 21, 30)


def test_corrections_of_a_survey_are_applied_because_they_stand_there(tmp_path):
    more = '[survey.corrections]\nshift = ["1.2 m", "-0.4 m"]\nclock = "-1 h"\n'
    found = survey(tmp_path, SHOT, more=more)
    assert (found.rows["easting"][0], found.rows["northing"][0]) == pytest.approx((500013.2, 5249999.7))
    assert found.rows["time"][0] == datetime(2026, 3, 13, 20, 30)


def test_a_layer_of_points_in_its_own_frame(tmp_path):
    points = [shapely.Point(147, -42.9), shapely.Point()]
    make_layer(
        tmp_path / "shots.gpkg", {"joint": ["J1", "J2"], "date": [date(2026, 3, 14)] * 2}, points, crs="EPSG:7844"
    )
    found = survey(tmp_path, None, more='[survey]\nfiles = ["shots.gpkg"]\n')
    expected = pyproj.Transformer.from_crs("EPSG:7844", "EPSG:7855", always_xy=True).transform(147, -42.9)
    assert (found.rows["easting"][0], found.rows["northing"][0]) == pytest.approx(expected, abs=0.001)
    assert list(found.set_aside["reason"]) == ["no position was recorded"]


def test_shots_of_a_route_in_feet(tmp_path):
    # EPSG:2226 is California zone 2 in US survey feet; 12 m of sticks and levels in feet are brought to metres
    line = "easting,northing\n6700000,1900000\n6703000,1900000\n"
    changes = US | {"route.crs": "EPSG:2226", "alignment.crs": None, "pipe.stick": "40 ft"}
    found = survey(tmp_path, "Joint,East,North,Elev,SD\nJ1,6700100,1900001,100,0.05\n", line=line, toml_changes=changes)
    assert (found.rows["easting"][0], found.rows["northing"][0]) == (6700100, 1900001)
    assert found.rows["elevation_m"][0] == pytest.approx(100 * 1200 / 3937, rel=1e-12)
    assert found.rows["sd_m"][0] == pytest.approx(0.05 * 1200 / 3937, rel=1e-12)


# --- nothing is lost --------------------------------------------------------------------------------------------------

CELL = st.sampled_from(
    ["", " ", "-", "x", "0", "Total", "1e999", "�", "12 bar", "12", "P1", "500012", "a,b", "5\n6", '"']
)
TABLE = st.lists(st.lists(CELL, min_size=1, max_size=6), min_size=1, max_size=10)
HEADINGS = {"tally": "Pipe,Length (m),Wall (mm),String,Order", "survey": "Joint,Easting,Northing,SD (m),Time"}
GOOD = {"tally": ["P0", "12.5", "57", "S1", "1"], "survey": ["J1", "500012.5", "5250000", "0.02", "2026-03-14"]}


@pytest.mark.parametrize("name", ["tally", "survey"])
@given(TABLE)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_each_row_is_used_set_aside_or_said_to_repeat_another(tmp_path, name, table):
    lines = [",".join('"' + cell.replace('"', '""') + '"' for cell in row) for row in [GOOD[name], *table]]
    read = {"tally": tally, "survey": survey}[name]
    found = read(tmp_path, "\n".join([HEADINGS[name], *lines, ""]), more=f'[{name}]\ndecimal = "."\n')
    filled = 1 + sum(any(cell.strip() for cell in row) for row in table)
    told = " ".join(n for n in found.notes if "counted once" in n or "repeats a shot" in n)
    here = [*found.rows["source_row"], *found.set_aside["source_row"]]
    assert len(set(here)) == len(here)
    assert (found.set_aside["reason"] != "").all()
    if not told:
        assert len(here) == filled
    else:
        assert len(here) < filled


@pytest.mark.parametrize("bad", [b"\0" * 300, bytes(range(256)) * 9, b"PK\x03\x04", b'Pipe,Length\n"' + b"x" * 200_000])
@pytest.mark.parametrize("name", ["tally.csv", "tally.xlsx", "tally.gpkg", "tally.pdf"])
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning", "ignore::RuntimeWarning")  # of GDAL
def test_a_file_that_cannot_be_read_is_named_and_never_a_traceback(tmp_path, name, bad):
    make_route(tmp_path, more=f'[tally]\nfiles = ["{name}"]\n')
    (tmp_path / name).write_bytes(bad)
    with pytest.raises(AsBuiltError, match=name.replace(".", r"\.")) as caught:
        read_tally(load(tmp_path))
    assert all(p.found and p.do and len(str(p)) < 1000 for p in caught.value.problems)
