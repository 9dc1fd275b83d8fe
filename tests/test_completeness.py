"""How complete a line is: figures that add up, worked out by hand beside each route."""

import numpy as np
import pandas as pd
import pytest

from asbuilt import build, settings
from asbuilt.judge.completeness import NO_SECTION, TESTED, latest, uncovered_m
from tests.making import E0, N0, csv_of, make_route


def measured(folder):
    """Return the measures of the one line of a route, by their names."""
    return build.build(settings.load(folder)).tables["completeness"].set_index("measure")


def joints(*numbers):
    return csv_of(*(f"J{i},2026-03-{1 + i // 20:02d} {7 + i % 12:02d}:00,{E0 + 12 * i},{N0},215" for i in numbers))


def line(length):
    return f"easting,northing\n{E0},{N0}\n{E0 + length},{N0}\n"


def test_joints_and_length_of_a_whole_line(tmp_path):
    """60 m of 12 m pipes: joints at 12, 24, 36, 48 and none at the ends."""
    found = measured(make_route(tmp_path, records=joints(1, 2, 3, 4), line=line(60)))
    assert tuple(found.loc["joints recorded", ["value", "of"]]) == (4.0, 4.0)
    assert tuple(found.loc["length between recorded joints", ["value", "of"]]) == pytest.approx((60.0, 60.0), abs=0.01)
    assert "a line of whole pipes of 12 m would have 4 joints" in found.loc["joints recorded", "says"]


def test_a_missing_record_is_expected_and_its_length_not_covered(tmp_path):
    """Without joint 3 the stretch from 24 to 48 m has no record: 36 of 60 m."""
    found = measured(make_route(tmp_path, records=joints(1, 2, 4), line=line(60)))
    assert tuple(found.loc["joints recorded", ["value", "of"]]) == (3.0, 4.0)
    covered = found.loc["length between recorded joints", "value"]
    assert covered == pytest.approx(36.0, abs=0.5)


def test_lengths_by_the_last_result_add_up_to_the_line(tmp_path):
    """0-20 failed, then passed; 20-30 passed; 30-40 in no section; 40-60 without a result."""
    make_route(tmp_path, records=joints(1, 2, 3, 4), line=line(60))
    tests = ["section,from (m),to (m),date,result", "T1,0,20,2026-03-05,failed", "T1,0,20,2026-03-06,passed"]
    tests += ["T2,20,30,2026-03-06,Passed", "T3,40,60,2026-03-07,"]
    (tmp_path / "tests.csv").write_text("\n".join(tests) + "\n", encoding="utf-8")
    found = measured(tmp_path)
    lengths = {name: found.loc[name, "value"] for name in found.index if name.startswith(TESTED) or name == NO_SECTION}
    assert lengths == pytest.approx({f"{TESTED}passed": 30.0, f"{TESTED}none stated": 20.0, NO_SECTION: 10.0})
    assert found.loc[f"{TESTED}passed", "says"] == "2 joints; sections T1, T2; earlier: T1 failed 2026-03-05"
    assert found.loc[NO_SECTION, "says"] == "1 joint"


def sections(*rows):
    columns = ["section", "from_chainage_m", "to_chainage_m", "tested_on", "result"]
    return pd.DataFrame(rows, columns=columns)


def test_the_last_test_of_a_place_is_that_of_the_latest_day():
    edges, last = latest(
        sections(("A", 10.0, 30.0, "2026-03-02", "x"), ("B", 20.0, 50.0, "2026-03-01", "y")), 0.0, 40.0
    )
    assert edges.tolist() == [0.0, 10.0, 20.0, 30.0, 40.0]
    assert last.tolist() == [-1, 0, 0, 1]


def test_no_section_leaves_the_line_in_one_piece():
    edges, last = latest(sections(), 0.0, 40.0)
    assert (edges.tolist(), last.tolist()) == ([0.0, 40.0], [-1])


def string_route(folder, kinds, more=""):
    """Joints 1 to 6 at 12 m; those of S are 3 and 4; `kinds` are the kinds of 2 and 5."""
    kind = {2: kinds[0], 5: kinds[1]}
    text = csv_of(
        *(f"J{i},2026-03-01 {7 + i:02d}:00,{E0 + 12 * i},{N0},215,{kind.get(i, '')},{'S' if i in (3, 4) else ''}"
          for i in range(1, 7)),
        heading="Joint,Finished,East,North,Plate (°C),Kind,String",
    )  # fmt: skip
    changes = {"records.columns": None} | {
        f"records.columns.{ours}": theirs
        for ours, theirs in (("joint", "Joint"), ("time", "Finished"), ("easting", "East"), ("northing", "North"),
                             ("heater_temperature", "Plate (°C)"), ("kind", "Kind"), ("string", "String"))
    }  # fmt: skip
    changes.pop("records.columns")
    return make_route(folder, records=text, line=line(84), toml_changes=changes, more=more)


@pytest.mark.parametrize(
    ("kinds", "closed", "says"),
    [
        (("tie-in", "tie-in"), 1.0, "each end has its tie-in"),
        (("", "tie-in"), 0.0, "S: no tie-in at its back end"),
        (("", ""), 0.0, "S: no tie-in at its back end and no tie-in at its ahead end"),
    ],
)
def test_a_string_is_closed_by_the_tie_ins_beside_it(tmp_path, kinds, closed, says):
    found = measured(string_route(tmp_path, kinds)).loc["strings closed by tie-ins"]
    assert (found["value"], found["of"], found["says"]) == (closed, 1.0, says)


def test_tie_ins_that_the_route_states_close_a_string(tmp_path):
    more = '[[string]]\nstring = "S"\ntie_ins = ["J2", "J5"]\nmethod = "in trench"\n'
    found = measured(string_route(tmp_path, ("", ""), more)).loc["strings closed by tie-ins"]
    assert (found["value"], found["says"]) == (1.0, "each end has its tie-in")


def test_each_named_pipe_is_counted_once(tmp_path):
    """Joints J1 to J3 join P1-P2, P2-P3, P3-P4: four pipes, of which the list has three lengths."""
    text = csv_of(
        *(f"J{i},2026-03-01 {7 + i:02d}:00,{E0 + 12 * i},{N0},215,p{i},P{i + 1}" for i in (1, 2, 3)),
        heading="Joint,Finished,East,North,Plate (°C),Pipe 1,Pipe 2",
    )
    changes = {"records.columns.pipe_a": "Pipe 1", "records.columns.pipe_b": "Pipe 2"}
    make_route(tmp_path, records=text, line=line(48), toml_changes=changes)
    tally = "pipe,length (m)\nP1,12.01\nP2,12.02\nP3,11.97\nP9,12\n"
    (tmp_path / "tally.csv").write_text(tally, encoding="utf-8")
    found = measured(tmp_path).loc["pipe used"]
    assert found["value"] == pytest.approx(36.0)
    assert found["says"] == "3 of 4 pipes named by joints have a length"


def test_pipe_without_a_length_is_not_known(tmp_path):
    found = measured(make_route(tmp_path)).loc["pipe used"]
    assert np.isnan(found["value"])
    assert found["says"].startswith("not known")


def test_of_a_bracket_only_the_share_without_records_is_uncovered():
    """A bracket of 60 m with 1 missing record and 3 joints inside: 2 of 5 pipes, 24 m."""
    gaps = pd.DataFrame({"from_chainage_m": [20.0], "to_chainage_m": [80.0], "missing_records": [1],
                         "unplaced_here": [0], "joints_within": [3]})  # fmt: skip
    assert uncovered_m(gaps, 0.0, 100.0) == pytest.approx(24.0)


def test_the_sample_adds_up(saltreach):
    found = saltreach.tables["completeness"].set_index("measure")
    counts = saltreach.counts
    assert found.loc["joints recorded", "value"] == counts.joints - counts.unplaced
    assert found.loc["joints recorded", "of"] == counts.joints + counts.missing_records
    assert found.loc["length between recorded joints", "value"] == pytest.approx(counts.covered_m)
    tested = found[found.index.str.startswith(TESTED) | (found.index == NO_SECTION)]
    assert tested["value"].sum() == pytest.approx(counts.length_m)
