"""Tables of strings and of test sections, from route folder to hand-over. All data is invented.

The line runs due east. J01 to J10 lie at 12 to 120 m, T1 at 132 m, S01 to S08 of the string S at 144 to 228 m with T2
at 240 m, each with a fix where it lies.
"""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from asbuilt import build, settings, tables
from asbuilt.publish.geopackage import write_geopackage
from tests.conftest import SALTREACH
from tests.making import E0, LINE, N0, csv_of, make_route

HEADING = "Joint,Finished,East,North,Plate (°C),Type,Machine,String"
COLUMNS = {"kind": "Type", "machine": "Machine", "string": "String"}
TESTS = "Section,From (m),To (m),Date,Result\n"


def row(joint, day, hour, at, *, kind="production", string="", north=N0) -> str:
    place = f"{E0 + at},{north}" if at is not None else ","
    return f"{joint},2026-03-{day:02d} {hour:02d}:00,{place},225,{kind},M1,{string}"


WALKED = [row(f"J{i:02d}", 1 + i // 9, 8 + i % 9, 12 * i) for i in range(1, 11)]
TIES = [row("T1", 5, 9, 132, kind="tie-in"), row("T2", 5, 12, 240, kind="tie-in")]
STRUNG = [row(f"S{i:02d}", 4, 7 + i, 132 + 12 * i, string="S") for i in range(1, 9)]


def route(folder, *rows, more="", tests="", changes=None):
    if tests:
        (folder / "tests.csv").write_text(tests, encoding="utf-8")
    every = {f"records.columns.{ours}": theirs for ours, theirs in COLUMNS.items()}
    every |= {"records.default_accuracy": "0.5 m", **(changes or {})}
    return make_route(folder, records=csv_of(*rows, heading=HEADING), more=more, toml_changes=every)


def built(folder, *rows, **how):
    return build.build(settings.load(route(folder, *rows, **how)))


def strings(folder, *rows, **how):
    """Return the strings by name."""
    return built(folder, *rows, **how).tables["strings"].set_index("string")


def span(found):
    return tuple(round(found[f"{end}_chainage_m"], 1) for end in ("from", "to"))


def east(line):
    """Return how far a line begins and ends east of the first vertex."""
    return tuple((shapely.get_coordinates(line)[[0, -1], 0] - E0).round(1))


def test_without_strings_and_tests_both_tables_are_empty(tmp_path):
    found = built(tmp_path, *WALKED)
    assert list(found.tables["strings"]) == [*tables.STRINGS.names, "geometry"]
    assert list(found.tables["test_sections"]) == [*tables.TEST_SECTIONS.names, "geometry"]
    assert (len(found.tables["strings"]), len(found.tables["test_sections"])) == (0, 0)


def test_a_string_of_the_records_reaches_over_its_placed_joints(tmp_path):
    found = strings(tmp_path, *WALKED, *STRUNG, *TIES).loc["S"]
    assert (found["line"], span(found), found["extent_from"]) == ("main", (144.0, 228.0), "joints")
    assert (found["from_station"], found["to_station"]) == ("0+144.00", "0+228.00")
    assert (found["joints_n"], found["placed_n"], found["method"], found["tie_in_back"]) == (8, 8, "", "")
    assert found["length_m"] == pytest.approx(84.0, abs=0.1)
    assert east(found["geometry"]) == (144.0, 228.0)
    assert found["reasons"] == ""


STRING = '[[string]]\nstring = "S"\nmethod = "strung beside trench"\nfirst_fused = "back"\n'


@pytest.mark.parametrize(
    ("more", "extent", "source"),
    [
        ('from = "130 m"\nto = "250 m"\ntie_ins = ["T1", "T2"]\n', (130.0, 250.0), "route.toml"),
        ('tie_ins = ["t1 ", "T2"]\n', (132.0, 240.0), "tie-ins"),
        ('tie_ins = ["T1", "T9"]\n', (144.0, 228.0), "joints"),
        ('tie_ins = ["", "T2"]\n', (144.0, 228.0), "joints"),
    ],
)
def test_what_is_stated_outranks_tie_ins_and_they_outrank_joints(tmp_path, more, extent, source):
    found = strings(tmp_path, *WALKED, *STRUNG, *TIES, more=STRING + more).loc["S"]
    assert span(found) == pytest.approx(extent, abs=0.2)
    assert (found["extent_from"], found["method"], found["joints_n"]) == (source, "strung beside trench", 8)
    assert east(found["geometry"]) == span(found)


def test_tie_ins_stand_as_they_are_stated(tmp_path):
    found = strings(tmp_path, *WALKED, *STRUNG, *TIES, more=STRING + 'tie_ins = ["", "T2"]\n').loc["S"]
    assert (found["tie_in_back"], found["tie_in_ahead"]) == ("", "T2")


def test_a_bore_without_joints_is_a_reach_and_moves_nothing(tmp_path):
    bore = '[[string]]\nstring = "Creek"\nfrom = "150 m"\nto = "0.2 km"\nmethod = "bore"\n'
    with_it = built(tmp_path, *WALKED, *STRUNG, *TIES, more=bore)
    found = with_it.tables["strings"].set_index("string").loc["Creek"]
    assert (span(found), found["extent_from"], found["method"]) == ((150.0, 200.0), "route.toml", "bore")
    assert (found["joints_n"], found["placed_n"], found["length_m"]) == (0, 0, 50.0)
    assert east(found["geometry"]) == (150.0, 200.0)
    without = built(tmp_path, *WALKED, *STRUNG, *TIES)
    assert with_it.tables["joints"].equals(without.tables["joints"])
    assert with_it.tables["gaps"].equals(without.tables["gaps"])
    assert with_it.counts == without.counts


def test_a_method_that_is_not_stated_is_not_shown(tmp_path):
    more = '[[string]]\nstring = "Creek"\nfrom = "150 m"\nto = "200 m"\n'
    assert strings(tmp_path, *WALKED, more=more).loc["Creek", "method"] == ""


def test_a_string_without_a_place_has_no_line_and_says_why(tmp_path):
    unplaced = [row(f"S{i:02d}", 4, 7 + i, 132 + 12 * i, string="S", north=N0 + 5000) for i in range(1, 4)]
    found = strings(tmp_path, *WALKED, *unplaced, more='[[string]]\nstring = "R"\ntie_ins = ["T1", "T2"]\n')
    assert list(found.index) == ["R", "S"]
    assert list(found["geometry"]) == [None, None]
    assert list(found["joints_n"]) == [0, 3]
    assert list(found["placed_n"]) == [0, 0]
    assert found[["from_chainage_m", "to_chainage_m", "length_m"]].isna().all(axis=None)
    assert set(found["reasons"]) == {"No joint of it is placed, and nothing else says where it lies."}


def test_a_stated_reach_beyond_the_line_is_not_drawn(tmp_path):
    more = '[[string]]\nstring = "Far"\nfrom = "950 m"\nto = "1050 m"\nmethod = "bore"\n'
    found = strings(tmp_path, *WALKED, more=more).loc["Far"]
    assert (found["geometry"], found["extent_from"], found["method"]) == (None, "", "bore")
    assert found["reasons"] == "Its from or to in route.toml lies beyond the ends of line main."


def test_one_stated_end_is_no_reach_and_that_is_said(tmp_path):
    found = strings(tmp_path, *WALKED, *STRUNG, *TIES, more=STRING + 'from = "132 m"\n').loc["S"]
    assert found["extent_from"] == "joints"
    assert "Only one of from and to is stated in route.toml" in found["reasons"]


def test_a_single_placed_joint_is_a_place_and_no_line(tmp_path):
    found = strings(tmp_path, *WALKED, row("S01", 4, 8, 132, string="S")).loc["S"]
    assert (span(found), found["length_m"], found["geometry"]) == ((132.0, 132.0), 0.0, None)
    assert found["reasons"] == "One joint of it is placed: where it begins and ends is not known."


def test_a_name_that_two_strings_share_is_doubted(tmp_path):
    more = [row(f"K{i:02d}", 10, 7 + i, 800 + 12 * i, string="S") for i in range(1, 9)]
    found = strings(tmp_path, *WALKED, *STRUNG, *TIES, *more).loc["S"]
    assert span(found) == pytest.approx((144.0, 896.0), abs=0.2)
    assert "Its 16 joints lie 752 m apart: its name may have been used twice." in found["reasons"]


def test_trials_are_in_no_count_and_a_name_they_alone_have_is_listed(tmp_path):
    found = strings(tmp_path, *WALKED, *STRUNG, *TIES, row("X1", 6, 8, 300, kind="trial", string="Q"))
    assert list(found.index) == ["S", "Q"]  # along the line, unplaced ones last
    assert (found.loc["Q", "joints_n"], found.loc["Q", "geometry"]) == (0, None)


def test_a_string_on_two_lines_is_drawn_where_most_of_it_lies(tmp_path):
    path = tmp_path / "design" / "branch.csv"
    path.parent.mkdir()
    path.write_text(LINE.replace("5250000", "5250500"), encoding="utf-8")
    away = [row(f"K{i:02d}", 10, 7 + i, 12 * i, string="S", north=N0 + 500) for i in range(1, 4)]
    more = '[[alignment]]\nline = "branch"\nfile = "design/branch.csv"\n'
    found = strings(tmp_path, *WALKED, *STRUNG, *TIES, *away, more=more).loc["S"]
    assert (found["line"], span(found), found["placed_n"]) == ("main", (144.0, 228.0), 11)
    assert found["reasons"].startswith("3 joints of it on other lines are left out of its reach.")
    stated = more + '[[string]]\nstring = "S"\nline = "branch"\nmethod = "in trench"\n'
    found = strings(tmp_path, *WALKED, *STRUNG, *TIES, more=stated).loc["S"]
    assert (found["line"], found["geometry"], found["placed_n"]) == ("branch", None, 8)
    assert found["reasons"] == "No joint of it is placed on its line, and nothing else says where it lies."


# --- test sections ----------------------------------------------------------------------------------------------------

ROWS = "B,0+300,1+050,2026-03-19,passed\nB,0+300,1+050,2026-03-17,failed\nA,0,0+300,,\nC,900,300,,passed\n"
EQUATION = {"alignment.equations": [{"back": "400 m", "ahead": "450 m"}]}


def test_sections_stand_along_the_line_by_their_day_in_the_words_of_the_record(tmp_path):
    found = built(tmp_path, *WALKED, tests=TESTS + ROWS, changes=EQUATION)
    told = found.tables["test_sections"]
    assert list(told["section"]) == ["A", "B", "B"]
    assert list(told["result"]) == ["", "failed", "passed"]
    assert list(told["tested_on"]) == ["", "2026-03-17", "2026-03-19"]
    assert list(told["source_row"]) == [4, 3, 2]
    # by hand: behind 400 m back = 450 m ahead the label 1+050 lies 1050 - 50 = 1000 m along the line
    assert list(told["to_chainage_m"]) == [300.0, 1000.0, 1000.0]
    assert list(told["to_station"]) == ["0+300.00", "1+050.00", "1+050.00"]
    assert list(told["length_m"]) == [300.0, 700.0, 700.0]
    assert [east(line) for line in told["geometry"]] == [(0.0, 300.0), (300.0, 1000.0), (300.0, 1000.0)]
    assert any(n.startswith("tests.csv row 5: left out, it is from 0+950.00 to 0+300.00") for n in found.notes)
    assert "tests.csv row 4, column Result: no result is stated" in found.notes


def test_tests_change_no_verdict_and_no_count(tmp_path):
    with_them = built(tmp_path, *WALKED, tests=TESTS + "A,0,300,,failed\n")
    (tmp_path / "tests.csv").unlink()
    without = built(tmp_path, *WALKED)
    assert with_them.counts == without.counts
    assert with_them.tables["joints"].equals(without.tables["joints"])


def test_both_layers_go_into_the_geopackage_and_the_file_into_the_checksums(tmp_path):
    away = row("R01", 6, 8, 100, string="R", north=N0 + 5000)
    tests = TESTS + ROWS.replace("C,900,300", "C,300,900")
    made = built(tmp_path, *WALKED, *STRUNG, *TIES, away, tests=tests, changes=EQUATION)
    path = tmp_path / "made.gpkg"
    write_geopackage(made, path)
    read = {name: gpd.read_file(path, layer=name) for name in ("strings", "test_sections")}
    assert list(read["strings"]["string"]) == ["S", "R"]
    assert list(read["strings"].geometry.isna()) == [False, True]
    assert list(read["test_sections"]["section"]) == ["A", "B", "B", "C"]
    assert set(read["test_sections"].geom_type) == {"LineString"}
    lengths = read["test_sections"].length
    assert np.allclose(lengths, read["test_sections"]["length_m"])
    info = gpd.read_file(path, layer="build_info")
    assert "tests.csv" in set(info.loc[info["topic"] == "input", "name"])


# --- the sample route -------------------------------------------------------------------------------------------------


def test_the_string_of_the_sample_route_lies_where_its_joints_were_drawn(saltreach):
    found = saltreach.tables["strings"].set_index("string")
    truth = pd.read_csv(SALTREACH / "truth" / "joints.csv", dtype={"joint": str}).set_index("joint")["chainage_m"]
    drawn = truth[[f"B{n}" for n in range(101, 121)]]
    assert span(found.loc["S1"]) == pytest.approx((drawn.min(), drawn.max()), abs=0.2)
    assert (found.loc["S1", "joints_n"], found.loc["S1", "placed_n"]) == (20, 20)
    bore = found[found["method"] == "bore"]
    assert list(bore.index) == ["Creek bore"]
    assert span(bore.iloc[0]) == (1570.0, 1640.0)


def test_the_test_sections_of_the_sample_route_cover_it_once(saltreach):
    found = saltreach.tables["test_sections"]
    assert list(found["result"]) == ["passed", "failed", "passed", "not yet tested"]
    (line,) = saltreach.tables["alignment"].to_dict("records")
    once = found.drop_duplicates("section")
    assert once["from_chainage_m"].iloc[0] == line["start_chainage_m"]
    assert list(once["to_chainage_m"][:-1]) == list(once["from_chainage_m"][1:])
    assert once["to_chainage_m"].iloc[-1] == pytest.approx(
        line["end_chainage_m"], abs=0.01
    )  # its label has two decimals
    # by hand: 1800 m back = 1850 m ahead, so the station 2+865 lies 2865 - 50 = 2815 m along the line
    assert once["from_chainage_m"].iloc[-1] == pytest.approx(2815.0, abs=1e-9)
    assert list(once["from_station"]) == ["0+000.00", "1+480.00", "2+865.00"]
