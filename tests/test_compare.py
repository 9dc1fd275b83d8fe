"""What compare tells of two small invented hand-overs, and of tables made for the purpose."""

import csv
import io
import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pyogrio
import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from asbuilt import cli
from asbuilt.compare import compare, compare_folders
from asbuilt.errors import FrameError, InputError
from asbuilt.second.handed_over import handed_over
from asbuilt.second.listing import lists
from asbuilt.second.sides import side, side_of
from asbuilt.second.telling import difference_said
from asbuilt.second.writing import CSV_COLUMNS, as_csv, as_document
from tests.handed import hand_over, rows
from tests.making import E0, N0, make_route

HEAD = "joint_id,gap_id,decision,name,role,date,reason,reference,basis\n"
# J4 is cooler in the new one, J10 lies 72 m on, J2 has no record any more, J8 has
# one now; a second J9 of another machine makes the number ambiguous.
OLD = rows(without=(8,))
NEW = rows(
    without=(2,),
    changed={4: (48.0, 0.0, 180), 10: (192.0, 0.0, 215)},
    more=[f"J9,2026-03-02 09:00,{E0 + 300:.3f},{N0:.3f},215,M2,op 2"],
)


def made(place, records, decisions):
    (place / "route").mkdir(parents=True)
    (place / "route/decisions.csv").write_text(HEAD + decisions, encoding="utf-8")
    return hand_over(place, records)


@pytest.fixture(scope="module")
def old(tmp_path_factory):
    decided = "J4,,position confirmed,A. Person (invented),engineer,2026-03-10,seen,R-1,{}\n"
    first = made(tmp_path_factory.mktemp("first"), OLD, decided.format(""))
    basis = first[0].tables["decisions"]["said"].iloc[0].rstrip(".").split()[-1]  # as the record itself states it
    return made(tmp_path_factory.mktemp("old"), OLD, decided.format(basis)), decided.format(basis)


@pytest.fixture(scope="module")
def new(tmp_path_factory, old):
    more = "J1,,more information,A. Person (invented),engineer,2026-03-11,=1+1,R-2,\n"
    return made(tmp_path_factory.mktemp("new"), NEW, old[1] + more)


@pytest.fixture(scope="module")
def found(old, new):
    return compare_folders(old[0][1], new[1])


def run(*words):
    return CliRunner().invoke(cli.main, [str(w) for w in words])


def test_two_of_the_same_do_not_differ(old):
    same = compare_folders(old[0][1], old[0][1])
    frames = (same.added, same.removed, same.renamed, same.moves.moved, same.verdicts, same.values, same.decisions)
    assert [len(frame) for frame in (*frames, same.gaps, same.settings)] == [0] * 9
    assert (same.moves.less, same.moves.restationed, same.not_compared) == (0, 0, ())
    assert (same.counts["change"] == 0).all()
    assert "No verdict changed." in difference_said(same)


def test_joints_that_came_and_went_are_told_with_what_became_of_their_row(found):
    assert sorted(found.added["joint_id"]) == ["J8", "J9/M2/2026-03-02"]
    assert list(found.removed["joint_id"]) == ["J2"]
    assert list(found.removed["now"]) == ["no source row says this any more"]
    assert set(found.removed["fusion_verdict"]) == {"in window"}


def test_a_number_that_became_ambiguous_is_a_joint_renamed(found):
    renamed = found.renamed[["old_id", "new_id"]].to_numpy().tolist()
    assert renamed == [["J9", "J9/M1/2026-03-01"]]
    assert "Another id: J9 is J9/M1/2026-03-01 now." in difference_said(found)


def test_a_row_that_is_set_aside_now_says_so(old):
    was = side_of(old[0][0])
    records = was.tables["records"].copy()
    at = records["joint_id"] == "J3"
    records.loc[at, ["outcome", "joint_id", "reason"]] = ["set aside", "", "no number"]
    joints = was.tables["joints"]
    now = replace(was, tables={**was.tables, "records": records, "joints": joints[joints["joint_id"] != "J3"]})
    assert list(compare(was, now).removed["now"]) == ["set aside: no number"]


def test_what_moved_by_more_than_both_radii_together_is_told_and_the_rest_counted(found, old, new):
    moved = found.moves.moved.set_index("joint_id")
    assert list(moved.index) == ["J10"]
    was, now = (_joints(out).set_index("joint_id").loc["J10"] for out in (old[0][1], new[1]))
    assert moved.loc["J10", "plan_m"] == pytest.approx(np.hypot(now.easting - was.easting, now.northing - was.northing))
    assert moved.loc["J10", "along_m"] == pytest.approx(now.chainage_m - was.chainage_m)
    # independent errors add by their squares: common practice, no source
    assert moved.loc["J10", "limit_m"] == pytest.approx(np.sqrt(was.radius95_m**2 + now.radius95_m**2))
    assert moved.loc["J10", "plan_m"] > moved.loc["J10", "limit_m"] > 1.0
    assert found.moves.restationed == 0


def _joints(out):
    return pyogrio.read_dataframe(out / "asbuilt.gpkg", layer="joints")


@pytest.mark.parametrize(("east_m", "moved", "less"), [(0.0, 0, 0), (0.0005, 0, 0), (4.9, 0, 1), (5.1, 1, 0)])
def test_the_limit_of_a_move_is_the_root_of_the_squares(old, east_m, moved, less):
    """Radii of 3 m and 4 m: 5 m together."""
    was = side_of(old[0][0])
    before, after = was.tables["joints"].assign(radius95_m=3.0), was.tables["joints"].assign(radius95_m=4.0)
    after.loc[0, "easting"] += east_m
    told = compare(
        replace(was, tables={**was.tables, "joints": before}), replace(was, tables={**was.tables, "joints": after})
    )
    assert (len(told.moves.moved), told.moves.less) == (moved, less)


def test_places_gained_lost_and_restationed_are_told_apart_from_moves(old):
    was = side_of(old[0][0])
    joints = was.tables["joints"].copy()
    joints.loc[0, ["chainage_m", "easting", "northing", "radius95_m"]] = np.nan
    joints.loc[0, "station"] = ""
    joints.loc[3:, "chainage_m"] += 100.0
    now = replace(was, tables={**was.tables, "joints": joints})
    there, back = compare(was, now), compare(now, was)
    assert there.moves.moved[["joint_id", "what"]].to_numpy().tolist() == [["J1", "no longer placed"]]
    assert back.moves.moved[["joint_id", "what"]].to_numpy().tolist() == [["J1", "now placed"]]
    assert there.moves.restationed == len(joints) - 3
    assert any("at the same place on another chainage" in text for text in difference_said(there))


def test_verdicts_and_values_are_told_with_both_sides(found):
    fusion = found.verdicts[found.verdicts["which"] == "fusion"]
    assert fusion[["joint_id", "old", "new"]].to_numpy().tolist() == [["J4", "in window", "out of window"]]
    values = found.values[found.values["joint_id"] == "J4"]
    assert values[["column", "old", "new", "unit"]].to_numpy().tolist() == [
        ["heater_temperature_c", "215", "180", "°C"]
    ]
    assert "Fusion verdict of 1 joint: in window to out of window (J4)." in difference_said(found)


def test_decisions_made_and_become_stale_are_told(found):
    told = found.decisions.set_index("id")
    assert told.loc["J1", ["what", "old_state", "new_state"]].tolist() == ["made", "", "not tied"]
    assert told.loc["J4", ["what", "old_state", "new_state"]].tolist() == ["now stale", "current", "stale"]
    assert "Decisions: 1 made, 1 now stale." in difference_said(found)


def test_gaps_opened_and_closed_are_told_by_the_names_of_now(found):
    told = dict(zip(found.gaps["gap_id"], found.gaps["what"], strict=True))
    assert told["J1--J3"] == "opened"
    assert told["J7--J9"] == "closed"
    assert set(told.values()) <= {"opened", "closed", "changed"}


def test_a_gap_between_renamed_joints_is_the_same_gap(old):
    was = side_of(old[0][0])
    new_names = {"J9": "J9/M1/2026-03-01"}
    frames = {name: was.tables[name].replace({"joint_id": new_names}) for name in ("joints", "records")}
    gaps = was.tables["gaps"].replace({"from_joint": new_names, "to_joint": new_names})
    frames["gaps"] = gaps.assign(gap_id=gaps["from_joint"] + "--" + gaps["to_joint"])
    told = compare(was, replace(was, tables={**was.tables, **frames}))
    assert list(told.renamed["new_id"]) == ["J9/M1/2026-03-01"]
    assert len(told.gaps) == 0


def test_a_gap_that_misses_more_records_has_changed(old):
    was = side_of(old[0][0])
    gaps = was.tables["gaps"].copy()
    gaps["missing_records"] += 1
    told = compare(was, replace(was, tables={**was.tables, "gaps": gaps})).gaps
    assert set(told["what"]) == {"changed"}
    assert len(told) == len(gaps)


def test_settings_inputs_and_counts_are_side_by_side(found, old, new):
    names = {(topic, name) for topic, name in found.settings[["topic", "name"]].itertuples(index=False)}
    assert names == {("input", "records/a.csv"), ("input", "decisions.csv")}
    counts = found.counts.set_index("name")
    for side_, record in (("old", old[0][0]), ("new", new[0])):
        assert counts.loc["joints", side_] == record.counts.joints
        assert counts.loc["fusion: out of window", side_] == record.counts.fusion["out of window"]
        assert counts.loc["outstanding", side_] == record.counts.outstanding


def test_a_changed_line_of_the_settings_is_told_alone(old):
    was = side_of(old[0][0])
    info = was.tables["build_info"].copy()
    at = (info["topic"] == "setting") & (info["name"] == "route.toml")
    info.loc[at, "value"] = info.loc[at, "value"].str.replace('offset = "2 m"', 'offset = "3 m"')
    told = compare(was, replace(was, tables={**was.tables, "build_info": info})).settings
    assert told[["old", "new"]].to_numpy().tolist() == [['offset = "2 m"', ""], ["", 'offset = "3 m"']]


def test_the_other_way_round_everything_is_reversed(found, old, new):
    back = compare_folders(new[1], old[0][1])
    assert sorted(back.removed["joint_id"]) == sorted(found.added["joint_id"])
    assert sorted(back.added["joint_id"]) == sorted(found.removed["joint_id"])
    assert back.moves.moved["plan_m"].to_numpy() == pytest.approx(found.moves.moved["plan_m"].to_numpy())
    assert back.moves.moved["along_m"].to_numpy() == pytest.approx(-found.moves.moved["along_m"].to_numpy())
    assert list(back.verdicts["old"]) == list(found.verdicts["new"])
    assert (back.counts["change"] == -found.counts["change"]).all()


def test_a_record_before_it_is_handed_over_compares_as_its_hand_over_does(found, old, new):
    told = compare(side(handed_over(old[0][1])), side_of(new[0]))
    assert difference_said(told) == difference_said(replace(found, folders=()))
    assert as_csv(told) == as_csv(found)


# ---- frames ----------------------------------------------------------------------------------------------------------


def test_another_frame_is_brought_over_and_said(old, tmp_path):
    """GDA94 and GDA2020 lie about 1.8 m apart (the published seven-parameter transformation; figure from memory)."""
    changes = {"route.crs": "EPSG:28355", "alignment.crs": "EPSG:7855"}
    _, out = hand_over(tmp_path, OLD, toml_changes=changes)
    apart = _joints(out).easting.to_numpy() - _joints(old[0][1]).easting.to_numpy()
    assert (np.abs(apart) > 0.3).all()
    told = compare_folders(old[0][1], out)
    assert len(told.moves.moved) == 0
    assert told.moves.largest_m < 0.01
    assert "places were brought from EPSG:7855" in told.moves.way
    assert any("Places were brought from" in text for text in difference_said(told))


def test_a_frame_without_a_known_way_is_refused_with_the_reason(old):
    was = side_of(old[0][0])
    with pytest.raises(FrameError, match="no operation of known accuracy"):
        compare(was, replace(was, crs="EPSG:2193"))


# ---- outputs ---------------------------------------------------------------------------------------------------------


def test_the_command_says_counts_first_and_cuts_long_lists(found, old, new):
    result = run("compare", old[0][1], new[1])
    assert result.exit_code == 0
    assert result.stderr == ""
    lines = result.stdout.splitlines()
    assert lines[0].startswith("From revision P01 (as of 2026-03-20 23:59 AEDT, folder ")
    assert lines[0].index(f"folder {old[0][1]}) to P01") < lines[0].index(f"folder {new[1]}) of Invented line")
    assert lines[1].startswith("Counts: joints 9 to ")
    assert lines[-1].startswith("A change between two records is for review")
    many = replace(found, added=pd.concat([found.added] * 30, ignore_index=True))
    assert dict(lists(many))["Added"][-1] == "and 40 more"
    assert len(dict(lists(many))["Added"]) == 21


def test_one_revision_on_both_sides_is_said_with_what_to_do(found):
    do = "Both carry revision P01: raise it in route.toml before the next hand-over."
    assert do in difference_said(found)[0]
    assert as_document(found)["folders"] == list(found.folders)
    raised = replace(found, new=replace(found.new, revision="P02"), folders=())
    head = difference_said(raised)[0]
    assert head.startswith("From revision P01 (as of 2026-03-20 23:59 AEDT) to P02 (as of 2026-03-20 23:59 AEDT) of ")
    assert "Both carry" not in head


def test_json_has_everything_and_nothing_that_is_no_json(found, old, new):
    told = json.loads(run("compare", old[0][1], new[1], "--json").stdout, parse_constant=pytest.fail)
    assert told == json.loads(json.dumps(as_document(found)))
    assert [row["joint_id"] for row in told["moved"]] == ["J10"]
    assert {"name": "joints", "old": 9, "new": 10, "change": 1} in told["counts"]
    assert told["caution"]


def test_the_csv_has_a_row_for_each_change_and_runs_no_formula(found, old, new, tmp_path):
    file = tmp_path / "changes.csv"
    for _ in range(2):  # a list of changes may be written over
        assert run("compare", old[0][1], new[1], "--csv", file).exit_code == 0
    text = file.read_bytes().decode("utf-8-sig")
    assert text == as_csv(found)
    told = list(csv.DictReader(io.StringIO(text, newline="")))
    assert tuple(told[0]) == CSV_COLUMNS
    count = sum(map(len, (found.added, found.removed, found.renamed, found.moves.moved, found.verdicts, found.values)))
    count += len(found.placed_anew) + len(found.measured)
    assert len(told) == count + len(found.decisions) + len(found.gaps) + len(found.settings)
    assert not any(cell.startswith(("=", "+", "@")) for row in told for cell in row.values())
    assert {row["change"] for row in told} >= {"added", "removed", "renamed", "moved", "verdict", "value", "decision"}


@pytest.mark.parametrize("place", ["in a hand-over", "over another file"])
def test_the_csv_is_written_nowhere_where_it_would_harm(old, new, tmp_path, place):
    file = old[0][1] / "changes.csv" if place == "in a hand-over" else tmp_path / "notes.txt"
    if place == "over another file":
        file.write_text("mine", encoding="utf-8")
    result = run("compare", old[0][1], new[1], "--csv", file)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert not file.exists() or file.read_text(encoding="utf-8") == "mine"


def test_an_id_on_two_rows_is_refused_with_what_to_do(old):
    was = handed_over(old[0][1])
    joints = was.table("joints")
    was._read["joints"] = (joints.assign(joint_id="J1"), ())
    with pytest.raises(InputError, match=r"'J1' stands on more than one row; look at it with: asbuilt verify"):
        side(was)


def test_a_column_that_one_of_the_two_does_not_have_is_not_compared_and_said(old):
    was = side_of(old[0][0])
    bare = was.tables["joints"].assign(operator="")
    told = compare(was, replace(was, tables={**was.tables, "joints": bare}, absent=frozenset({"joints.operator"})))
    assert len(told.values) == 0
    assert "Not compared, as one of the two does not have it: joints.operator." in difference_said(told)


def test_the_report_of_a_new_hand_over_says_what_changed_since_the_earlier_one(old, tmp_path):
    route = make_route(tmp_path / "route", records=rows(without=(4,)))
    told = run("build", route, "-o", tmp_path / "out", "--since", old[0][1])
    assert told.exit_code == 0, told.output
    pages = "\n".join(page.extract_text() for page in PdfReader(tmp_path / "out/handover.pdf").pages)
    assert "J4" in pages.split("Since the last revision")[1].split("Completeness")[0]
    without = PdfReader(old[0][1] / "handover.pdf").pages
    assert not any("Since the last revision" in page.extract_text() for page in without)


def test_a_redacted_copy_does_not_tell_what_changed(old, tmp_path):
    told = run("build", tmp_path, "-o", tmp_path / "out", "--since", old[0][1], "--redact")
    assert told.exit_code == 2
    assert "a redacted copy is written without it" in told.output


FOUND = "Joint,Easting,Northing,Depth (m),SD (m),Date,Found by"


def hand_over_with_found(folder, *rows):
    """The old route once more, with these rows of found.csv."""
    (folder / "route").mkdir()
    (folder / "route/found.csv").write_text("\n".join([FOUND, *rows, ""]), encoding="utf-8")
    return hand_over(folder, OLD)


def test_what_was_found_is_told_with_its_depth_and_what_placed_the_joint_before(tmp_path, old):
    rows = (f"J3,{E0 + 36.2},{N0 - 0.1},1.4,0.02,2026-03-12,A. Person", "J5,,,1.25,,2026-03-13,A. Person")
    built, folder = hand_over_with_found(tmp_path, *rows)
    found = compare_folders(old[0][1], folder)
    (row,) = found.placed_anew.to_dict("records")
    assert (row["joint_id"], row["new_placed_by"]) == ("J3", "survey")
    assert row["across_m"] == pytest.approx(0.1, abs=1e-6)  # the line runs east: 0.1 m south is to its right
    before = handed_over(old[0][1]).table("joints").set_index("joint_id")["chainage_m"]
    assert row["along_m"] == pytest.approx(36.2 - before["J3"], abs=1e-6)
    assert found.measured[["joint_id", "method", "depth_m"]].to_numpy().tolist() == [
        ["J3", "as found", 1.4],
        ["J5", "as found", 1.25],
    ]
    said = " ".join(difference_said(found))
    assert f"Placed by survey now, by {before_by(old)} before: 1 joint (J3: " in said
    assert "0.10 m right across the line" in said
    assert "Measured on the pipe, as found: 2 new opinions (J3: depth 1.40 m, J5: depth 1.25 m)." in said
    assert {row["change"] for row in csv.DictReader(io.StringIO(as_csv(found)))} >= {"placed by", "measured"}
    assert json.loads(json.dumps(as_document(found)))["measured"][1]["depth_m"] == 1.25
    again = compare(side_of(built), side(handed_over(folder)))
    assert (len(again.placed_anew), len(again.measured)) == (0, 0)


def before_by(old):
    return handed_over(old[0][1]).table("joints").set_index("joint_id").loc["J3", "placed_by"]


def test_build_and_compare_count_the_same_joints_as_moved(tmp_path, old):
    """The build counts the others that moved along the line by more than 10 mm; compare the found one, too."""
    built, folder = hand_over_with_found(tmp_path, f"J3,{E0 + 36.5},{N0},1.4,0.02,2026-03-12,A. Person")
    found = compare_folders(old[0][1], folder)
    before = handed_over(old[0][1]).table("joints").set_index("joint_id")["chainage_m"]
    after = built.tables["joints"].set_index("joint_id")["chainage_m"]
    many = int(((after - before).abs() > 0.01).sum())
    assert many > 1
    assert found.moves.along == many
    assert f"Of both, {many} moved along the line by more than 10 mm." in " ".join(difference_said(found))
    others = f"{many - 1} other joint{'s' * (many > 2)} moved along the line by more than 10 mm"
    assert any(others in text for text in built.statements)
