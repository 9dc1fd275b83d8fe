"""Strings that were fused at one place and moved, as-laid shots and tallies, from route folder to hand-over.

The line runs due east. J01 to J10 are fused where they lie, 12 to 120 m; S01 to S08 at a stand at 120 m, then pulled
into the reach between the tie-ins T1 (132 m) and T2 (240 m); K01 to K10 go on from 252 m.
"""

import numpy as np
import pytest

from asbuilt import build, settings
from tests.making import E0, N0, csv_of, make_route

HEADING = "Joint,Finished,East,North,Plate (°C),Type,Machine,String,Pipe 1,Pipe 2"
COLUMNS = {"kind": "Type", "machine": "Machine", "string": "String", "pipe_a": "Pipe 1", "pipe_b": "Pipe 2"}


def row(joint, day, hour, at, *, north=0.1, kind="production", string="", pipes=",") -> str:
    return f"{joint},2026-03-{day:02d} {hour:02d}:00,{E0 + at},{N0 + north},225,{kind},M1,{string},{pipes}"


def records(string="", serials=False, less=0.0) -> str:
    """`serials`: each joint of the reach between the tie-ins names its pipes, the first fused lying farthest.

    What lies behind the string lies `less` nearer than its sticks are long.
    """

    def pipes(place: int) -> str:
        return f"P{place},P{place + 1}" if serials else ","

    walked = [row(f"J{i:02d}", 1 + i // 9, 8 + i % 9, 12 * i) for i in range(1, 11)]
    fused = [
        row(f"S{i:02d}", 4, 7 + i, 120 + 0.1 * (i % 3), north=5.0, string=string, pipes=pipes(9 - i))
        for i in range(1, 9)
    ]
    ties = [
        row("T1", 5, 9, 132, kind="tie-in", pipes=pipes(0)),
        row("T2", 5, 12, 240 - less, kind="tie-in", pipes=pipes(9)),
    ]
    beyond = [row(f"K{i:02d}", 6 + i // 9, 8 + i % 9, 240 - less + 12 * i) for i in range(1, 11)]
    return csv_of(*walked, *fused, *ties, *beyond, heading=HEADING)


def built(folder, text, more="", **files):
    for name, content in files.items():
        (folder / f"{name}.csv").write_text(content, encoding="utf-8")
    changes = {f"records.columns.{ours}": theirs for ours, theirs in COLUMNS.items()}
    changes |= {"records.default_accuracy": "0.5 m"}
    return build.build(settings.load(make_route(folder, records=text, more=more, toml_changes=changes)))


def places(as_built):
    joints = as_built.tables["joints"].set_index("joint_id")
    return joints.loc[[f"S{i:02d}" for i in range(1, 9)]]


AHEAD, BACK = [228.0 - 12 * i for i in range(8)], [144.0 + 12 * i for i in range(8)]


def test_without_a_word_a_string_stays_unplaced_and_says_what_is_wanted(tmp_path):
    found = built(tmp_path, records())
    string = places(found)
    assert set(string["placed_by"]) == {"unplaced"}
    assert set(string["position_verdict"]) == {"cannot tell"}
    said = [s for s in found.statements if "8 joints (S01 to S08) were fused at one place at 0+120" in s]
    assert len(said) == 1
    assert "[[string]]" in said[0]
    gaps = found.tables["gaps"].set_index("gap_id")
    assert gaps.loc["T1--T2", ["kind", "missing_records", "unplaced_here"]].to_list() == ["records not placed", 0, 8]


@pytest.mark.parametrize(("first", "at"), [("ahead", AHEAD), ("back", BACK)])
@pytest.mark.parametrize(
    "ends", ['tie_ins = ["T1", "T2"]', 'from = "132 m"\nto = "240 m"', 'tie_ins = ["T1"]', 'to = "240 m"']
)
def test_a_string_lies_between_its_ends_the_way_the_route_file_says(tmp_path, first, at, ends):
    more = f'[[string]]\nstring = "S"\njoints = ["S01", "S08"]\nfirst_fused = "{first}"\n{ends}\n'
    string = places(built(tmp_path, records(), more))
    assert set(string["placed_by"]) == {"tally"}
    np.testing.assert_allclose(string["chainage_m"], at, atol=0.2)
    assert set(string["string"]) == {"S"}
    assert set(string["position_verdict"]) == {"cannot tell"}


def test_the_string_column_tells_who_belongs_to_a_string(tmp_path):
    more = '[[string]]\nstring = "S"\nfirst_fused = "ahead"\ntie_ins = ["T1", "T2"]\n'
    np.testing.assert_allclose(places(built(tmp_path, records("S"), more))["chainage_m"], AHEAD, atol=0.2)


def test_which_end_was_fused_first_is_never_assumed(tmp_path):
    more = '[[string]]\nstring = "S"\njoints = ["S01", "S08"]\ntie_ins = ["T1", "T2"]\n'
    found = built(tmp_path, records(), more)
    assert set(places(found)["placed_by"]) == {"unplaced"}
    assert any("string S: which end was fused first is not stated" in s for s in found.statements)


def test_serials_tell_which_end_was_fused_first(tmp_path):
    string = places(built(tmp_path, records(serials=True)))
    np.testing.assert_allclose(string["chainage_m"], AHEAD, atol=0.2)


def test_the_tally_says_where_the_short_pipe_lies(tmp_path):
    """Pipe P5 (between S05 and S04) is 8 m long, and T2 lies nearer by the 4 m that are missing."""
    text = records(serials=True, less=4.0)
    lengths = "\n".join(f"P{i},{8 if i == 5 else 12}" for i in range(1, 10))
    string = places(built(tmp_path, text, tally=f"Pipe,Length (m)\n{lengths}\n"))
    np.testing.assert_allclose(string["chainage_m"], [224, 212, 200, 188, 180, 168, 156, 144], atol=0.25)


def test_shots_on_two_joints_place_the_string_between_and_stand_where_they_were_taken(tmp_path):
    shots = f"Joint,Easting,Northing,sd\nS02,{E0 + 216},{N0 - 0.6},0.02\nS07,{E0 + 156},{N0 + 0.2},0.02\n"
    found = built(tmp_path, records(), survey=shots)
    string = places(found)
    assert string["placed_by"].to_list() == ["tally", "survey", *["tally"] * 4, "survey", "tally"]
    np.testing.assert_allclose(string["chainage_m"], AHEAD, atol=0.1)
    assert string.loc["S02", ["easting", "northing"]].to_list() == [E0 + 216, N0 - 0.6]
    assert string.loc["S02", "offset_m"] == pytest.approx(0.6)
    assert string.loc["S02", "position_verdict"] == "in window"
    assert string.loc["S02", "radius95_m"] == pytest.approx(0.02 * 2.4477, rel=1e-3)
    said = found.tables["positions"].query("joint_id == 'S02'").set_index("method")
    assert set(said.index) == {"fix", "projection", "adjusted", "as-laid shot"}
    assert said.loc["fix", "easting"] == pytest.approx(E0 + 120.2)


def test_a_shot_of_no_joint_is_kept_and_one_of_an_unknown_joint_is_told(tmp_path):
    shots = f"Joint,Easting,Northing,sd\n,{E0 + 50},{N0},0.02\nS99,{E0 + 60},{N0},0.02\n"
    found = built(tmp_path, records(), survey=shots)
    assert (found.tables["positions"]["method"] == "as-laid shot").sum() == 2
    assert any("survey.csv row 3: there is no joint 'S99'" in s for s in found.statements)


def test_the_side_files_are_among_the_inputs(tmp_path):
    found = built(tmp_path, records(), tally="Pipe,Length (m)\nP1,12\n")
    info = found.tables["build_info"]
    assert "tally.csv" in set(info.loc[info["topic"] == "input", "name"])


PIPES = "\n".join(f",{8 if i == 5 else 12},S,{i}" for i in range(1, 10))


def test_a_tally_by_string_and_order_says_where_the_short_pipe_lies(tmp_path):
    """Joint k joins pipes k and k + 1: the short one, the fifth, lies between S04 and S05."""
    text = records("S", less=4.0)
    more = '[[string]]\nstring = "S"\nfirst_fused = "ahead"\ntie_ins = ["T1", "T2"]\n'
    string = places(built(tmp_path, text, more, tally=f"Pipe,Length (m),String,Order\n{PIPES}\n"))
    np.testing.assert_allclose(string["chainage_m"], [224, 212, 200, 188, 180, 168, 156, 144], atol=0.25)


def test_tie_ins_in_the_wrong_order_are_refused_and_mirror_nothing(tmp_path):
    more = '[[string]]\nstring = "S"\njoints = ["S01", "S08"]\ntie_ins = ["T2", "T1"]\nfirst_fused = "ahead"\n'
    found = built(tmp_path, records(), more)
    assert set(places(found)["placed_by"]) == {"unplaced"}
    assert any("T2 lies ahead of T1: put them in order" in s for s in found.statements)


def test_joints_given_against_the_order_of_fusing_are_told(tmp_path):
    more = '[[string]]\nstring = "S"\njoints = ["S08", "S01"]\ntie_ins = ["T1", "T2"]\nfirst_fused = "ahead"\n'
    found = built(tmp_path, records(), more)
    assert any("S01 was not fused after S08 by the same machine" in s for s in found.statements)


def test_pipes_that_do_not_fill_the_room_between_the_tie_ins_are_told(tmp_path):
    said = [s for s in built(tmp_path, records(serials=True, less=9.0)).statements if "were fused at one place" in s]
    assert "9 pipes come to 108.0 m, and 99.0 m lie between T1 and T2" in said[0]


def test_shots_far_from_every_line_are_not_used_and_joints_keep_their_fix(tmp_path):
    shots = f"Joint,Easting,Northing,sd\nJ03,{E0 + 36},{N0 + 400_000},0.02\n"
    found = built(tmp_path, records(), survey=shots)
    assert any("1 of 1 as-laid shot lie" in s and "check the crs of [survey]" in s for s in found.statements)
    joint = found.tables["joints"].set_index("joint_id").loc["J03"]
    assert joint["placed_by"] == "fix+tally"


def test_a_shot_that_contradicts_its_neighbours_is_named(tmp_path):
    shots = f"Joint,Easting,Northing,sd\nJ05,{E0 + 100},{N0},0.02\n"
    found = built(tmp_path, records(), survey=shots)
    joint = found.tables["joints"].set_index("joint_id").loc["J05"]
    assert joint["position_verdict"] == "cannot tell"
    assert "Its as-laid shot lies 40.0 m from where fixes and pipes around put the joint" in joint["reasons"]
    findings = found.tables["findings"]
    assert findings["kind"].to_list() == ["as-laid shot"]
    assert "J05 (40.0 m off)" in findings["statement"].iloc[0]


def test_a_shot_a_few_metres_off_draws_no_run_along(tmp_path):
    """The record's own fixes and pipes put J05 at 60 m; a shot at 62 m is told, and its run is left where it lies."""
    shots = f"Joint,Easting,Northing,sd\nJ05,{E0 + 62},{N0},0.02\n"
    found = built(tmp_path, records(), survey=shots)
    joints = found.tables["joints"].set_index("joint_id")
    assert (joints.loc["J01":"J04", "chainage_m"] - [12, 24, 36, 48]).abs().max() < 0.3
    assert joints.loc["J05", "position_verdict"] == "cannot tell"
    assert found.tables["findings"]["kind"].to_list() == ["as-laid shot"]


def test_shots_of_one_joint_that_disagree_are_told_and_count_for_less(tmp_path):
    shots = f"Joint,Easting,Northing,sd\nJ05,{E0 + 60},{N0},0.02\nJ05,{E0 + 60.4},{N0},0.02\n"
    found = built(tmp_path, records(), survey=shots)
    assert any("2 as-laid shots of J05 lie up to 0.40 m apart" in s for s in found.statements)
    assert found.tables["joints"].set_index("joint_id").loc["J05", "radius95_m"] > 0.3


def test_stated_ends_give_way_to_shots(tmp_path):
    more = '[[string]]\nstring = "S"\njoints = ["S01", "S08"]\nfirst_fused = "ahead"\nfrom = "132 m"\nto = "240 m"\n'
    shots = f"Joint,Easting,Northing,sd\nS01,{E0 + 230},{N0},0.02\nS08,{E0 + 146},{N0},0.02\n"
    string = places(built(tmp_path, records(), more, survey=shots))
    assert string["placed_by"].to_list() == ["survey", *["tally"] * 6, "survey"]
    np.testing.assert_allclose(string["chainage_m"], np.array(AHEAD) + 2, atol=0.2)


def test_an_end_beyond_the_line_and_a_record_without_time_leave_the_string_unplaced(tmp_path):
    more = '[[string]]\nstring = "S"\njoints = ["S01", "S08"]\nfirst_fused = "ahead"\nfrom = "2000 m"\nto = "2108 m"\n'
    found = built(tmp_path / "a", records(), more)
    assert set(places(found)["placed_by"]) == {"unplaced"}
    assert any("string S: its from lies beyond the ends of the line" in s for s in found.statements)
    timeless = records("S").replace("S04,2026-03-04 11:00", "S04,")
    found = built(tmp_path / "b", timeless, '[[string]]\nstring = "S"\nfirst_fused = "ahead"\ntie_ins = ["T1", "T2"]\n')
    assert set(places(found).drop(index="S04")["placed_by"]) == {"unplaced"}
    assert any("S04 has neither a time nor an order in it" in s for s in found.statements)


def test_lengths_that_no_pipe_can_have_are_told_and_not_used(tmp_path):
    rows = [
        f"J{i:02d},2026-03-01 {8 + i:02d}:00,{E0 + 12 * i},{N0},225,M1,{1000 if i == 5 else 12}" for i in range(1, 11)
    ]
    heading = "Joint,Finished,East,North,Plate (°C),Machine,Added (m)"
    changes = {"records.columns.machine": "Machine", "records.columns.length_added": "Added (m)"}
    found = build.build(
        settings.load(make_route(tmp_path, records=csv_of(*rows, heading=heading), toml_changes=changes))
    )
    assert any("1 pipe length of the records (such as 1000 m) cannot be that of a pipe" in s for s in found.statements)
    joints = found.tables["joints"].set_index("joint_id")
    assert (joints["chainage_m"] - [12.0 * i for i in range(1, 11)]).abs().max() < 0.3


@pytest.mark.parametrize("lost", [("2026-03-04 11:00", ""), (",M1,", ",,")])
def test_a_record_of_a_string_without_time_or_machine_is_not_left_at_the_stand(tmp_path, lost):
    rows = [r.replace(*lost) if r.startswith("S04") else r for r in records().splitlines()]
    found = built(tmp_path, "\n".join(rows))
    joint = found.tables["joints"].set_index("joint_id").loc["S04"]
    assert (joint["placed_by"], joint["position_verdict"]) == ("unplaced", "cannot tell")
    assert "fused at one place" in joint["reasons"].lower()
