"""One joint found again in a hand-over: by id, by chainage, by position. Everything is invented."""

import contextlib
import json
import math
import re
import shutil
import sqlite3
import xml.etree.ElementTree as ET

import numpy as np
import pandas as pd
import pyproj
import pytest
from click.testing import CliRunner

from asbuilt import build, cli, settings
from asbuilt.find.boxes import half_sides, up, widened
from asbuilt.find.names import named
from asbuilt.find.record import record
from asbuilt.find.told import SHORT_CAUTIONS
from tests.handed import copied, edit_geopackage, hand_over, rows
from tests.making import E0, N0, csv_of, make_route
from tests.written_ids import JOINTS, WRITTEN

KML = "{http://www.opengis.net/kml/2.2}"
GPX = "{http://www.topografix.com/GPX/1/1}"


def find(out, *words):
    return CliRunner().invoke(cli.main, ["find", str(out), *words])


def found(out, *words):
    result = find(out, *words, "--json")
    assert result.exit_code == 0, result.output
    (answer,) = json.loads(result.stdout)["answers"]
    return answer


def refused(out, *words):
    result = find(out, *words)
    assert result.exit_code == 2, result.output
    assert result.stdout == ""
    return result.stderr


def joints_of(out):
    with contextlib.closing(sqlite3.connect(out / "asbuilt.gpkg")) as base:
        return pd.read_sql("SELECT * FROM joints", base)


@pytest.fixture(scope="module")
def alone(handover, tmp_path_factory):
    """The GeoPackage of the sample, and nothing else."""
    place = tmp_path_factory.mktemp("alone")
    shutil.copy(handover / "asbuilt.gpkg", place)
    return place


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """Ten joints 12 m apart on a line of 1000 m whose labels overlap from 550 to 600 m, and have a hole from 700."""
    equations = [{"back": "600 m", "ahead": "550 m"}, {"back": "700 m", "ahead": "730 m"}]
    place = tmp_path_factory.mktemp("small")
    return hand_over(place, rows(), toml_changes={"alignment.equations": equations})[1]


# ---- a joint ---------------------------------------------------------------------------------------------------------


def test_the_geopackage_alone_serves(handover, alone):
    told = found(alone, "B110")
    assert told == found(handover, "B110")
    assert told == found(alone / "asbuilt.gpkg", "B110")


def test_a_joint_is_where_its_table_has_it(alone):
    table = joints_of(alone).set_index("joint_id")
    for name in ("0001", "B110", "TI-4", "C-119"):
        if name not in table.index:
            continue
        told, row = found(alone, name), table.loc[name]
        assert (told["place"]["x"], told["place"]["y"]) == (row["easting"], row["northing"])
        assert told["base"]["x"] == pytest.approx(row["longitude"], abs=1e-9)
        assert told["base"]["y"] == pytest.approx(row["latitude"], abs=1e-9)
        assert told["values"]["station"] == row["station"]
        assert told["place"]["frame"].startswith("EPSG:7855, GDA2020")


def test_neighbours_are_those_next_along_the_line(alone):
    table = joints_of(alone).query("in_line == 1 and line == 'main'").sort_values("chainage_m").reset_index(drop=True)
    at = table.index[table["joint_id"] == "B110"][0]
    told = found(alone, "B110")["neighbours"]
    assert [n["joint_id"] for n in told] == list(table["joint_id"][[at - 2, at - 1, at + 1, at + 2]])
    away = (table["chainage_m"][[at - 2, at - 1, at + 1, at + 2]] - table["chainage_m"][at]).abs()
    assert [n["distance_m"] for n in told] == pytest.approx(list(away))
    assert all("pipes" in n["marks"] and "machine" in n["marks"] for n in told)


@pytest.mark.parametrize(("text", "ids", "sure"), WRITTEN)
def test_ids_as_people_write_them_by_the_table_that_holds_the_map_too(text, ids, sure):
    told = named(text, pd.DataFrame(JOINTS, columns=["joint_id", "joint"]))
    assert (told.ids if told.sure else ()) == ids
    assert (len(ids) == 1) == sure


def test_an_id_that_was_written_otherwise_is_said(alone):
    for written in ("C-098", "c-098", "C98", "c 98"):
        assert found(alone, written)["joint_id"] == "C-098"
    assert "written otherwise" in found(alone, "C98")["said"]


def test_what_is_not_found_is_status_3_and_says_what_may_be_meant(alone):
    result = find(alone, "TI-9")
    assert result.exit_code == 3
    assert result.stdout == ""
    assert "Did you mean TI-1, TI-2, TI-3, TI-4?" in result.stderr
    several = find(alone, "C-1")
    assert several.exit_code == 3
    assert "part of the id or number of 31 joints, of which 8 are shown" in several.stderr
    assert "Write one of them, or more of it." in several.stderr
    neither = find(alone, "zzz", "zzzz")
    assert neither.exit_code == 3
    assert neither.stderr.count("Write a joint's id or a part of it; a station such as 1+250, or a chainage such") == 1


POSITIONS = ("-42.85539, 149.21878", "-42.85539 149.21878", "EPSG:7855 681275 5252855")
CUT = [((), text) for text in (*POSITIONS, "42 51 08 S 149 13 38 E", "station 1+250", "c 98")]
CUT += [(before, text) for before in (("C-034",), ("--",)) for text in POSITIONS]


@pytest.mark.parametrize(("before", "text"), CUT)
def test_a_text_that_a_space_has_cut_says_to_put_it_in_quotes_and_in_quotes_it_is_found(alone, before, text):
    """The newcomer's own calls: as a shell hands them over, with a minus in front that looks like an option."""
    assert f'put it in quotes: "{text}"' in refused(alone, *before, *text.split())
    assert find(alone, text).exit_code == 0


def test_ids_that_are_not_there_are_no_pieces_of_one(alone):
    assert find(alone, "9812", "9834").exit_code == 3


# ---- what is open about a joint --------------------------------------------------------------------------------------


def test_findings_that_concern_a_joint_stand_beside_its_verdicts(alone):
    with contextlib.closing(sqlite3.connect(alone / "asbuilt.gpkg")) as base:
        rows_ = base.execute("SELECT finding_id, joints, statement FROM findings WHERE kind = 'trace'").fetchall()
    ((name, joint_id, statement),) = rows_
    told = found(alone, joint_id)
    assert [(f["finding_id"], f["closed"], f["statement"]) for f in told["findings"]] == [(name, False, statement)]
    assert told["outstanding"] == f"yes, by finding {name}; the joint itself is not"
    said = " ".join(find(alone, joint_id).stdout.split())
    assert (
        f"outstanding yes, by finding {name}; the joint itself is not finding {name}, open, of 1 joint: {statement}"
        in said
    )


def test_what_is_outstanding_about_a_joint_is_told_by_its_own_verdicts_and_decision_too(alone):
    table = joints_of(alone).set_index("joint_id")
    assert table.loc["C-034", "closed"] == 1
    assert found(alone, "C-034")["outstanding"] == "no: a decision closes it"
    assert found(alone, "B139")["outstanding"] == "yes: the joint itself"  # its decision is stale
    assert found(alone, "B110")["outstanding"] == "no"
    assert found(alone, "TI-4")["outstanding"].endswith("; the joint itself is closed by a decision")


def test_a_finding_that_a_decision_closes_is_named_as_closed(small, tmp_path):
    values = "('clock-1', 'clock', 2, 'Two odd times.', '', 'J3, J30', 'accept as is; N. N.', 1)"
    columns = "finding_id, kind, joints_n, statement, proposal, joints, decision, closed"
    out = edit_geopackage(copied(small, tmp_path / "a"), f"INSERT INTO findings ({columns}) VALUES {values}")  # noqa: S608
    assert found(out, "J3")["outstanding"] == "no"
    said = " ".join(find(out, "J3").stdout.split())
    assert "clock-1, closed by a decision, of 2 joints: Two odd times. Decision: accept as is; N. N.." in said
    assert found(out, "J4")["findings"] == []


def test_a_number_of_several_joints_is_taken_for_none_of_them():
    names = pd.DataFrame({"joint_id": ["7/M1/2026-03-01", "7/M2/2026-03-02", "8"], "joint": ["7", "7", "8"]})
    assert named("7", names).ids == ("7/M1/2026-03-01", "7/M2/2026-03-02")
    assert named("8", names).ids == ("8",)
    assert named("7/M2", names).ids == ("7/M2/2026-03-02",)
    assert named("---", names).ids == ()


def test_a_joint_without_a_place_says_so(alone, tmp_path):
    table = joints_of(alone)
    name = table.loc[table["placed_by"] == "unplaced", "joint_id"].iloc[0]
    result = find(alone, name)
    assert result.exit_code == 0
    assert "not placed" in result.stdout
    assert "nowhere to send" in refused(alone, name, "--sheet", str(tmp_path / "a.pdf"))
    assert "no place in WGS 84" in refused(alone, name, "--gpx", str(tmp_path / "a.gpx"))
    assert not list(tmp_path.iterdir())


def test_every_answer_carries_the_cautions(alone):
    for words in ("B110", "1+611", "-42.855, 149.218"):
        told = find(alone, words).stdout
        assert all(text in told for text in SHORT_CAUTIONS)
        assert json.loads(find(alone, words, "--json").stdout)["cautions"]


# ---- how sure --------------------------------------------------------------------------------------------------------


def joint_with(**values):
    columns = {"placed_by": "fix", "offset_m": 0.0, "offset_sd_m": 1.0, "chainage_sd_m": 2.0, "radius95_m": 1e3}
    return pd.Series(columns | values)


def test_each_side_of_the_box_holds_95_percent_and_both_about_90():
    """Against draws of two independent normals; 0.95 squared is 0.9025."""
    draws = np.random.default_rng(7).normal(size=(400_000, 2)) * [2.0, 1.0]
    along, across, _ = half_sides(joint_with())
    inside = np.abs(draws) <= [along, across]
    assert inside.mean(axis=0) == pytest.approx([0.95, 0.95], abs=0.002)
    assert inside.all(axis=1).mean() == pytest.approx(0.9025, abs=0.002)


def test_no_side_is_longer_than_the_circle_of_95_percent():
    """The factor of a circular normal, 2.4477, is that of the NSSDA (FGDC-STD-007.3-1998, seen quoted)."""
    circle = joint_with(chainage_sd_m=1.0, radius95_m=2.4477)
    along, across, _ = half_sides(circle)
    assert along < 2.4477
    assert across < 2.4477
    far_off = half_sides(joint_with(offset_m=-3.7, radius95_m=4.1))
    assert far_off[1] == 4.1
    assert half_sides(joint_with(offset_sd_m=np.nan, offset_m=np.nan, radius95_m=0.7))[1] == 0.7


def test_a_shot_has_its_offset_in_the_point_and_a_fix_in_the_box():
    assert half_sides(joint_with(offset_m=1.0, placed_by="survey"))[1] == pytest.approx(1.96, abs=1e-3)
    assert half_sides(joint_with(offset_m=-1.0))[1] == pytest.approx(2.96, abs=1e-3)


def test_a_receiver_in_wgs_84_makes_the_box_wider_by_the_variance_of_the_way(alone):
    told = found(alone, "B110")
    accuracy = told["wgs84"]["place"]["accuracy_m"]
    assert accuracy == 3.0  # of 'GDA2020 to WGS 84 (2)' by the EPSG register
    (box,) = told["boxes"]
    along = 1.959964 * told["values"]["chainage_sd_m"]
    assert box["along_m"] == math.ceil(along * 10) / 10
    assert box["wgs84_along_m"] == math.ceil(math.hypot(along, 1.959964 * accuracy) * 10) / 10
    assert "good to 3.00 m" in find(alone, "B110").stdout


def test_sides_are_rounded_up_to_a_decimetre():
    assert [up(v) for v in (0.0, 0.1, 0.1000000001, 0.11, 2.0)] == [0.0, 0.1, 0.1, 0.2, 2.0]
    assert widened(1.0, None) is None


def test_where_the_leg_is_not_certain_both_have_a_box(alone):
    told = found(alone, "C-119")["boxes"]
    assert len(told) == 2
    assert sum(box["probability"] for box in told) == pytest.approx(1.0, abs=0.01)
    assert told[0]["station"] != told[1]["station"]
    assert len(found(alone, "B110")["boxes"]) == 1


def test_who_is_in_the_box_too_is_named(alone):
    table = joints_of(alone).query("in_line == 1")
    box = found(alone, "C-119")["boxes"][1]
    inside = table["chainage_m"].between(box["chainage_m"] - box["along_m"], box["chainage_m"] + box["along_m"])
    assert sorted(box["others_inside"]) == sorted(set(table.loc[inside, "joint_id"]) - {"C-119"})


def test_ties_lead_back_to_the_joint(alone):
    """By plane trigonometry: feature, grid bearing and distance give the joint, but for the grid's scale."""
    told = found(alone, "B110")
    assert len(told["ties"]) >= 3
    for tie in told["ties"]:
        turn, away = math.radians(tie["bearing_deg"]), tie["distance_m"]
        at = tie["easting"] + away * math.sin(turn), tie["northing"] + away * math.cos(turn)
        assert math.dist(at, (told["place"]["x"], told["place"]["y"])) < 0.001 * away + 0.01
    assert 30 <= told["crossing_deg"] <= 150
    assert "fixes the point well" in find(alone, "B110").stdout


# ---- a place on a line -----------------------------------------------------------------------------------------------


def test_a_station_leads_to_its_chainage(alone):
    told = found(alone, "1+900")
    assert told["chainage_m"] == pytest.approx(1850.0)  # after back 1800 = ahead 1850 labels run 50 m ahead
    assert told["station"] == "1+900.00"
    assert abs(told["near"][0]["difference_m"]) == min(abs(n["difference_m"]) for n in told["near"])
    assert found(alone, "1850 m")["station"] == "1+900.00"
    assert found(alone, "chainage 1.85 km")["station"] == "1+900.00"
    assert "unit" in refused(alone, "chainage 1850")


def test_a_label_in_a_hole_is_refused(alone, small):
    assert "0+000.00 to 1+800.00 and 1+850.00 to" in refused(alone, "1+820")
    assert "no line has 0+715" in refused(small, "0+715")
    assert "no line has 9+000" in refused(small, "9+000")


def test_a_label_that_occurs_twice_asks_which(small):
    """By hand: 580 before the equation is 580 m along the line, 580 after it is 580 + 50 m."""
    told = refused(small, "0+580")
    assert '"580.000 m" or "630.000 m"' in told
    assert [found(small, text)["station"] for text in ("580 m", "630 m")] == ["0+580.00", "0+580.00"]


def test_a_hand_over_without_its_stationing_refuses_stations_alone(small, tmp_path):
    out = edit_geopackage(copied(small, tmp_path / "a"), "DELETE FROM build_info WHERE topic = 'stationing'")
    assert "does not say how its stations are counted" in refused(out, "0+100")
    assert found(out, "J3")["values"]["station"] == found(small, "J3")["values"]["station"]
    odd = edit_geopackage(
        copied(small, tmp_path / "b"), "UPDATE build_info SET value = '[]' WHERE topic = 'stationing'"
    )
    assert "cannot be read" in refused(odd, "0+100")


def test_the_line_of_a_station_may_be_named(small):
    assert found(small, "0+100", "--line", "main")["line"] == "main"
    assert "there is no line 'other'" in refused(small, "0+100", "--line", "other")


# ---- a position ------------------------------------------------------------------------------------------------------


def test_the_nearest_joints_are_those_of_a_search_through_all(alone):
    """Against pyproj's geodesics on GRS 80 to every joint."""
    table = joints_of(alone).query("in_line == 1").dropna(subset=["latitude"])
    geod = pyproj.Geod(ellps="GRS80")
    for latitude, longitude in ((-42.8554, 149.2188), (-42.8520, 149.2325), (-42.9, 149.0)):
        told = found(alone, f"EPSG:7844 {latitude}, {longitude}", "--nearest", "5")["near"]
        n = len(table)
        bearing, _, away = geod.inv([longitude] * n, [latitude] * n, table["longitude"], table["latitude"])
        first = np.argsort(away)[:5]
        assert [near["joint_id"] for near in told] == list(table["joint_id"].iloc[first])
        assert [near["distance_m"] for near in told] == pytest.approx(list(np.array(away)[first]), abs=0.001)
        turns = np.array([near["bearing_deg"] for near in told]) - np.array(bearing)[first]
        assert np.abs((turns + 180) % 360 - 180).max() < 0.02


@pytest.mark.parametrize(
    "form",
    [
        "{lat:.8f}, {lon:.8f}", "geo:{lat:.8f},{lon:.8f}", "{south:.8f} S {lon:.8f} E", "EPSG:7855 {x:.3f} {y:.3f}",
        "EPSG:7844 {lat:.8f} {lon:.8f}",
    ],
)  # fmt: skip
def test_standing_at_a_joint_in_any_form_finds_it(alone, form):
    row = joints_of(alone).set_index("joint_id").loc["B110"]
    lat, lon = row["latitude"], row["longitude"]
    told = found(alone, form.format(lat=lat, lon=lon, south=-lat, x=row["easting"], y=row["northing"]))
    assert told["near"][0]["joint_id"] == "B110"
    assert told["near"][0]["distance_m"] < 0.01
    assert told["near"][0]["inside"] is True
    assert told["station"] == row["station"]


def test_which_joint_one_stands_beside_is_said_as_far_as_it_can_be(alone):
    row = joints_of(alone).set_index("joint_id").loc["B110"]
    here = f"{row['latitude']:.7f}, {row['longitude']:.7f}"
    assert "joint B110, by this record" in find(alone, here).stdout
    assert "which of them, nobody can tell" in find(alone, here, "--accuracy", "30 m").stdout
    assert "no joint: the position lies in no search box" in find(alone, "-42.9, 149.0").stdout
    assert "tell apart" not in find(alone, here).stdout
    assert "--accuracy" in find(alone, here).stdout


def test_of_several_joints_each_is_told_by_what_tells_it_apart(alone):
    table = joints_of(alone).set_index("joint_id")
    here = f"{table.loc['B110', 'latitude']:.7f}, {table.loc['B110', 'longitude']:.7f}"
    near = [one for one in found(alone, here, "--accuracy", "30 m")["near"] if one["inside"]]
    assert len(near) > 1
    told = find(alone, here, "--accuracy", "30 m").stdout
    for one in near:
        row = table.loc[one["joint_id"]]
        (line,) = [text for text in told.splitlines() if f" {one['joint_id']}: {row['kind']}" in text]
        for what in (row["pipe_a"], row["pipe_b"], row["fused_local"][:10], row["machine"], row["operator"]):
            assert what in line
        nearest = min(one["points"], key=lambda point: point["distance_m"])
        assert f"{nearest['distance_m']:.2f} m" in line
        assert nearest["what"] in line
    assert "lay bare as many as it takes" in told


def test_a_position_without_a_frame_is_refused(alone):
    assert "without a frame" in refused(alone, "681275 5252855")
    assert found(alone, "681275 5252855", "--crs", "EPSG:7855")["line"] == "main"
    assert "it is in degrees" in refused(alone, "42.8 S 149.2 E", "--crs", "EPSG:7855")
    assert "leave the frame out" in refused(alone, "geo:-42.8,149.2", "--crs", "EPSG:7844")
    assert "names no coordinate frame" in refused(alone, "EPSG:1 12 14")


def test_another_frame_is_told_with_its_accuracy(alone):
    """GDA2020 lies about 1.8 m from GDA94 on the mainland (seen on two public pages of the country); 0.01 m is the
    accuracy in the EPSG register."""
    told = found(alone, "B110", "--to", "EPSG:28355")
    moved = math.dist((told["place"]["x"], told["place"]["y"]), (told["other"]["x"], told["other"]["y"]))
    assert 1.4 < moved < 1.9
    assert told["other"]["accuracy_m"] == 0.01
    assert "names no coordinate frame" in refused(alone, "B110", "--to", "nonsense")


# ---- files -----------------------------------------------------------------------------------------------------------


def test_waypoints_of_what_was_found(alone, tmp_path):
    path = tmp_path / "found.gpx"
    assert find(alone, "B110", "C-119", "--gpx", str(path)).exit_code == 0
    points = ET.parse(path).getroot().findall(f"{GPX}wpt")  # noqa: S314 - a file of ours
    assert [p.find(f"{GPX}name").text for p in points] == ["B110", "C-119"]
    there = found(alone, "B110")["wgs84"]["place"]
    assert float(points[0].get("lat")) == pytest.approx(there["y"], abs=1e-8)
    assert "search box" in points[0].find(f"{GPX}desc").text


def test_marks_with_their_search_boxes(alone, tmp_path):
    path = tmp_path / "found.kml"
    assert find(alone, "B110", "--kml", str(path)).exit_code == 0
    root = ET.parse(path).getroot()  # noqa: S314 - a file of ours
    ring = [tuple(map(float, c.split(","))) for c in root.find(f".//{KML}LinearRing/{KML}coordinates").text.split()]
    assert ring[0] == ring[-1]
    assert len(ring) == 5
    (box,) = found(alone, "B110")["boxes"]
    lon, lat = np.array(ring).T
    _, _, sides = pyproj.Geod(ellps="WGS84").inv(lon[:-1], lat[:-1], lon[1:], lat[1:])
    wanted = sorted([2 * box["wgs84_along_m"], 2 * box["wgs84_across_m"]] * 2)
    assert sorted(sides) == pytest.approx(wanted, rel=0.001)  # the grid's scale is within a thousandth
    (ax, ay), (bx, by) = np.diff(np.array(ring), axis=0)[:2]
    assert ax * by - ay * bx > 0  # counter-clockwise, as OGC 12-007r2 has outer boundaries


def test_the_joints_near_a_place_go_into_a_file(alone, tmp_path):
    path = tmp_path / "near.gpx"
    assert find(alone, "1+900", "--nearest", "4", "--gpx", str(path)).exit_code == 0
    assert path.read_text().count("<wpt ") == 4


def test_nothing_is_written_where_something_is_not_found(alone, tmp_path):
    result = find(alone, "B110", "TI-9", "--gpx", str(tmp_path / "a.gpx"))
    assert result.exit_code == 3
    assert "not written" in result.stderr
    assert "Joint B110" in result.stdout
    assert not list(tmp_path.iterdir())


def test_a_file_of_another_kind_and_the_hand_over_itself_are_left_alone(alone, tmp_path):
    other = tmp_path / "notes.pdf"
    other.write_text("mine")
    assert "none of --sheet" in refused(alone, "B110", "--sheet", str(other))
    assert other.read_text() == "mine"
    assert "lie in the hand-over" in refused(alone, "B110", "--gpx", str(alone / "a.gpx"))
    assert "cannot be written" in refused(alone, "B110", "--gpx", str(tmp_path / "no" / "a.gpx"))


# ---- the call, and odd files -----------------------------------------------------------------------------------------


def test_wrong_calls_are_refused(alone, tmp_path):
    assert "no option --shet" in refused(alone, "B110", "--shet", "a.pdf")
    assert "there is no asbuilt.gpkg" in refused(tmp_path, "B110")
    assert "one joint" in refused(alone, "B110", "B111", "--sheet", str(tmp_path / "a.pdf"))
    assert "a length with its unit" in refused(alone, "1+900", "--accuracy", "5")


def test_a_damaged_file_is_refused(small, tmp_path):
    out = edit_geopackage(copied(small, tmp_path / "a"), "UPDATE joints SET chainage_m = 'x' WHERE joint_id = 'J3'")
    assert "cannot be read" in refused(out, "J3")
    out = edit_geopackage(copied(small, tmp_path / "b"), "DELETE FROM alignment_vertices WHERE vertex > 1")
    assert "make no line" in refused(out, "J3")
    (tmp_path / "c").mkdir()
    (tmp_path / "c" / "asbuilt.gpkg").write_bytes(b"no database")
    assert refused(tmp_path / "c", "J3")


def test_texts_of_the_record_cannot_steer_the_terminal(small, tmp_path):
    out = edit_geopackage(
        copied(small, tmp_path / "a"), "UPDATE joints SET remarks = char(27) || '[2J' WHERE joint_id = 'J3'"
    )
    assert "\x1b" not in find(out, "J3").stdout
    assert "[U+001B]" in find(out, "J3").stdout


def test_one_joint_of_many_is_looked_up_by_an_index(alone):
    with contextlib.closing(sqlite3.connect(alone / "asbuilt.gpkg")) as base:
        for table in ("joints", "positions", "ties", "window_checks"):
            (plan,) = base.execute(f"EXPLAIN QUERY PLAN SELECT * FROM {table} WHERE joint_id = ?", ("B110",)).fetchall()  # noqa: S608
            assert f"USING INDEX {table}_by_joint_id" in plan[3]


def test_feet_are_told_with_metres_beside_them(tmp_path):
    changes = {"route.units": "us", "route.foot": "survey", "route.crs": "EPSG:7855"}
    out = hand_over(tmp_path, rows(), toml_changes=changes)[1]
    told = find(out, "J5").stdout
    assert re.search(r"± \d+\.\d ft \(\d+\.\d m\) along", told)
    assert found(out, "J5")["values"]["station"] == record(out).station(
        "main", found(out, "J5")["values"]["chainage_m"]
    )
    label = found(out, "J5")["values"]["station"]
    assert found(out, label)["near"][0]["joint_id"] == "J5"
    feet = found(out, "100 ft")["chainage_m"]
    assert feet == pytest.approx(100 * 1200 / 3937)


@pytest.fixture(scope="module")
def twelve_apart(tmp_path_factory):
    """A line with a joint every 12 m; and a branch whose joint is nearer to a far place of the line than its own."""
    rows = [f"J{i},2026-03-{1 + i // 8:02d} {8 + i % 8:02d}:00,{E0 + 12 * i},{N0},215" for i in range(1, 21)]
    rows += [f"B1,2026-03-09 10:00,{E0 + 770},{N0 + 300},215"]
    folder, out = tmp_path_factory.mktemp("route"), tmp_path_factory.mktemp("out")
    branch = '[[alignment]]\nline = "branch"\nfile = "design/branch.csv"\ncrs = "EPSG:7855"\n'
    (folder / "design").mkdir()
    text = f"easting,northing\n{E0 + 770},{N0 + 302}\n{E0 + 770},{N0 + 600}\n"
    (folder / "design/branch.csv").write_text(text, encoding="utf-8")
    route = make_route(folder, records=csv_of(*rows), more=branch)
    build.publish(build.build(settings.load(route)), out)
    return out


@pytest.mark.parametrize("listed", ["1", "3", "20"])
def test_every_joint_whose_box_holds_a_position_counts_however_many_are_listed(twelve_apart, listed):
    """A 95 % radius of 40 m is 40 / 2.4477 = 16.3 m in one axis and 32.0 m to each side: J3 to J7, and not at 36 m."""
    words = ("--accuracy", "40 m", "--nearest", listed)
    said = find(twelve_apart, f"EPSG:7855 {E0 + 60} {N0}", *words).stdout
    number = int(re.search(r"one of (\d+) joints", said)[1])
    assert number == 5
    assert "in no other's" not in said


def test_a_position_is_measured_on_the_line_that_it_is_nearest_to(twelve_apart):
    said = find(twelve_apart, f"EPSG:7855 {E0 + 770} {N0}").stdout
    assert "0+770.00 on line main" in said
