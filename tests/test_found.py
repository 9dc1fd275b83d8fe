"""found.csv: joints that were laid bare again, from the file to the hand-over. All data is invented.

The line runs due east from E0, N0; J01 to J20 were fused where they lie, every 12 m, by fixes of 0.5 m (95 %), which
stand a decimetre left of the line.
"""

import shutil

import numpy as np
import pytest
import shapely
from pyproj import Transformer
from scipy import stats

from asbuilt import build, redact, settings
from asbuilt.errors import InputError
from asbuilt.judge import found_again
from asbuilt.place import newest
from asbuilt.read.alignments import read_alignments
from asbuilt.read.found import FOUND, read_found
from asbuilt.read.positions import Target
from tests.conftest import SALTREACH
from tests.making import E0, N0, csv_of, make_route

HEAD = "Joint,Easting,Northing,RL (m),Depth (m),SD (m),Date,Found by,Remarks\n"
TELLER = "A. Person"


def found_row(joint="J05", at=60.0, north=0.0, *, sd="0.03", day="2031-04-02", name=TELLER, more=",1.4") -> str:
    """One row of found.csv; `more` is level and depth."""
    return f"{joint},{E0 + at:.3f},{N0 + north:.3f},{more},{sd},{day},{name},\n"


def records(skip=(), east=lambda _: 0.0) -> str:
    heading = "Joint,Finished,East,North,Plate (°C),Machine"
    rows = [
        f"J{i:02d},2026-03-{1 + i // 9:02d} {8 + i % 9:02d}:00,{E0 + 12 * i + east(i):.3f},{N0 + 0.1},225,M1"
        for i in range(1, 21)
        if i not in skip
    ]
    return csv_of(*rows, heading=heading)


def built(folder, *rows, text=None, more="", changes=None, **files):
    """Build the route with found.csv of the rows (none: no such file)."""
    folder.mkdir(exist_ok=True)
    if rows:
        (folder / "found.csv").write_text(HEAD + "".join(rows), encoding="utf-8")
    for name, content in files.items():
        (folder / f"{name}.csv").write_text(content, encoding="utf-8")
    asked = {"records.columns.machine": "Machine", "records.default_accuracy": "0.5 m", **(changes or {})}
    return build.build(settings.load(make_route(folder, records=text or records(), more=more, toml_changes=asked)))


def joint(as_built, name="J05"):
    return as_built.tables["joints"].set_index("joint_id").loc[name]


def read(folder, content, more=""):
    made = make_route(folder, more=more)
    (made / "found.csv").write_text(content, encoding="utf-8")
    asked = settings.load(made)
    designs = read_alignments(asked)
    return read_found(asked, Target(designs.frame, designs.area))


# --- reading ----------------------------------------------------------------------------------------------------------


def test_a_row_is_read_with_who_when_how_sure_and_how_deep(tmp_path):
    found = read(tmp_path, HEAD + "J05,500060,5250000,3.2,1.4,0.03,2031-04-02,A. Person,bead seen\n")
    (row,) = found.rows.to_dict("records")
    assert list(found.rows) == list(FOUND)
    assert (row["joint"], row["easting"], row["northing"]) == ("J05", 500060, 5250000)
    assert (row["elevation_m"], row["depth_m"], row["sd_m"]) == (3.2, 1.4, 0.03)
    assert (row["day"], row["name"], row["remarks"], row["wants"]) == ("2031-04-02", TELLER, "bead seen", "")
    assert str(row["time"]) == "2031-04-01 13:00:00"  # UTC of midnight in Hobart, in summer time till 6 April 2031
    assert not any("without a time of day" in n for n in found.notes)


def test_a_frame_of_its_own_is_brought_into_that_of_the_route(tmp_path):
    """146.9999... E on the central meridian of zone 55 is easting 500000; EPSG:7844 is the base of EPSG:7855."""
    text = "Joint,Latitude,Longitude,SD (m),Date,Name\nJ05,-42.8,147.0,0.03,2031-04-02,A. Person\n"
    found = read(tmp_path, text, more='[found]\ncrs = "EPSG:7844"\n')
    assert found.rows["easting"][0] == pytest.approx(500000, abs=1e-6)


@pytest.mark.parametrize(
    ("row", "wants"),
    [
        (found_row(sd=""), "standard deviation"),
        (found_row(day=""), "date"),
        (found_row(name=""), "name"),
        (found_row(sd="", name=""), "standard deviation and name"),
    ],
)
def test_what_states_not_how_sure_when_or_who_is_shown_and_places_nothing(tmp_path, row, wants):
    made = built(tmp_path, row)
    assert joint(made)["placed_by"] == "fix+tally"
    assert f"shown and not placed by it, for want of a {wants}" in joint(made)["reasons"]
    assert (made.tables["positions"]["method"] == "as found").sum() == 1
    assert any(f"found: without a {wants} a measurement is shown and places nothing: found.csv row 2" == n
               for n in made.notes)  # fmt: skip


@pytest.mark.parametrize(
    ("row", "why"),
    [
        (found_row(joint=""), "no joint is named"),
        (f"J05,{E0},,,,0.03,2031-04-02,A. Person,\n", "half of the position is missing"),
        ("J05,,,,,0.03,2031-04-02,A. Person,\n", "no position was recorded"),
    ],
)
def test_a_row_of_no_joint_or_no_place_is_left_out_with_its_reason(tmp_path, row, why):
    made = built(tmp_path, found_row(), row)
    assert any(n.startswith("found.csv row 3: left out") and why in n for n in made.notes)
    assert (made.tables["positions"]["method"] == "as found").sum() == 1


def test_without_a_column_for_the_joint_the_file_is_refused(tmp_path):
    with pytest.raises(InputError, match="no column holds which joint was found"):
        read(tmp_path, f"Easting,Northing,SD (m)\n{E0},{N0},0.03\n")


def test_default_accuracy_states_it_for_all(tmp_path):
    made = built(tmp_path, found_row(sd=""), more='[found]\ndefault_accuracy = "0.05 m"\n')
    assert joint(made)["placed_by"] == "survey"
    assert joint(made)["offset_sd_m"] == pytest.approx(0.05)


# --- what cannot be read keeps nobody from the rest -------------------------------------------------------------------


def test_a_depth_without_a_position_is_kept_told_and_places_nothing(tmp_path):
    made = built(tmp_path, found_row(), "J07,,,3.1,1.4,0.03,2031-04-02,A. Person,\n")
    assert (
        "Found on 2031-04-02 by A. Person; depth 1.40 m from the ground, level 3.10 m (of what is not stated); shown"
        in (joint(made, "J07")["reasons"])
    )
    assert joint(made, "J07")["placed_by"] == "fix+tally"
    (row,) = made.tables["positions"].query("joint_id == 'J07' and method == 'as found'").to_dict("records")
    assert (row["depth_m"], row["elevation_m"], row["geometry"]) == (1.4, 3.1, None)
    assert np.isnan([row["chainage_m"], row["easting"], row["radius95_m"]]).all()
    assert "found: without a position a measurement is shown and places nothing: found.csv row 3" in made.notes


def test_a_file_of_depths_alone_needs_no_columns_of_a_position(tmp_path):
    found = read(tmp_path, "Joint,Depth (m),Date,Name\nJ05,1.4,2031-04-02,A. Person\n")
    assert found.rows[["joint", "depth_m", "wants"]].to_numpy().tolist() == [["J05", 1.4, "position"]]
    assert found.placing.empty


def test_a_row_that_cannot_be_read_stops_nothing(tmp_path):
    bad = [
        f"J06,east,{N0},,1.2,0.03,2031-04-02,A. Person,\n",
        f"J07,{E0 + 84},{N0},,deep,0.03,03/04/2031,A. Person,\n",
        "J08,,,,,0.03,2031-04-02,A. Person,\n",
    ]
    made = built(tmp_path, found_row(), *bad)
    assert joint(made)["placed_by"] == "survey"
    assert [joint(made, name)["placed_by"] for name in ("J06", "J07", "J08")] == ["fix+tally"] * 3
    for said in (
        "found.csv row 3, position: column Easting: 'east' is not a number",
        "found.csv row 4, column Depth (m): 'deep' is not a number",
        "found.csv row 4, column Date: '03/04/2031' does not begin with the year, and is not read: write year-"
        "month-day",
        "found.csv row 5: left out, no position was recorded",
    ):
        assert said in made.notes


LATITUDES = "Joint,Latitude,Longitude,SD (m),Date,Name\nJ05,-42.8,147.0,0.03,2031-04-02,A. Person\n"


def test_latitudes_without_a_frame_are_no_guess_and_the_key_to_write_is_named(tmp_path):
    with pytest.raises(InputError) as refused:
        read(tmp_path, LATITUDES)
    says = 'say their frame in [found]: crs = "EPSG:7844" where they are in GDA2020, crs = "EPSG:4326" where'
    assert says in str(refused.value)


def test_latitudes_of_a_route_in_wgs84_are_in_wgs84(tmp_path):
    """EPSG:32755 is UTM zone 55 S on WGS 84: 147 E is its central meridian, easting 500000 by definition."""
    made = make_route(tmp_path, toml_changes={"route.crs": "EPSG:32755", "records.crs": "EPSG:32755"})
    (made / "found.csv").write_text(LATITUDES, encoding="utf-8")
    asked = settings.load(made)
    designs = read_alignments(asked)
    found = read_found(asked, Target(designs.frame, designs.area))
    assert found.rows["easting"][0] == pytest.approx(500000, abs=1e-6)
    assert any("no crs is said in [found]: Latitude and Longitude are read in" in n for n in found.notes)


# --- position, station and offset are of one place --------------------------------------------------------------------


def apart_from_the_line(made):
    """How far each placed joint lies from the point of the line at its chainage, metres to the right, and from what its
    columns say of that; by shapely, which knows nothing of this program."""
    joints, line = made.tables["joints"].dropna(subset=["chainage_m"]), made.tables["alignment"].set_index("line")
    off = []
    for row in joints.to_dict("records"):
        way = line.loc[row["line"], "geometry"]
        at = row["chainage_m"] - line.loc[row["line"], "start_chainage_m"]
        here = shapely.Point(row["easting"], row["northing"])
        foot, ahead = way.interpolate(at), way.interpolate(at + 0.01)
        turn = (ahead.x - foot.x) * (here.y - foot.y) - (ahead.y - foot.y) * (here.x - foot.x)
        side = -np.sign(turn) * here.distance(foot)
        says = row["offset_m"] if row["placed_by"] == "survey" else 0.0
        off.append((side - says, here.distance(way) - abs(says)))
    return np.array(off), joints["placed_by"]


def test_point_chainage_and_offset_of_every_joint_agree(tmp_path):
    """Fixes lie 0.3 m too far: what was measured pulls one way, the run the other. Within 5 mm."""
    shots = f"Joint,Easting,Northing,sd\nJ03,{E0 + 36.1},{N0 - 0.3},0.1\nJ15,{E0 + 180.2},{N0 + 0.2},0.05\n"
    rows = found_row("J08", 96.1, 0.5, sd="0.1"), found_row("J11", 132.0, sd="0.08"), found_row("J19", 228.5, sd="0.02")
    changes = {"records.default_accuracy": "3 m"}
    made = built(tmp_path, *rows, text=records(east=lambda _: 0.3), survey=shots, changes=changes)
    off, placed_by = apart_from_the_line(made)
    assert (placed_by == "survey").sum() == 5
    assert np.abs(off).max() < 0.005
    adjusted = made.tables["positions"].query("method == 'adjusted' and joint_id == 'J08'").iloc[0]
    assert abs(adjusted["chainage_m"] - joint(made, "J08")["chainage_m"]) > 0.02  # another opinion, and kept


def test_they_agree_on_the_sample_route_with_what_was_found_there(tmp_path):
    route = tmp_path / "route"
    shutil.copytree(SALTREACH, route)
    text = "Joint,Easting,Northing,SD (m),Date,Name\nB178,681996.910,5253181.300,0.1,2031-04-02,A. Person\n"
    (route / "found.csv").write_text(text, encoding="utf-8")
    made = build.build(settings.load(route))
    off, placed_by = apart_from_the_line(made)
    assert placed_by.eq("survey").sum() == 1
    assert len(off) > 300
    assert np.abs(off).max() < 0.005
    assert joint(made, "B178")[["easting", "northing"]].to_list() == pytest.approx([681996.91, 5253181.3], abs=1e-6)


# --- less sure than the record ----------------------------------------------------------------------------------------

WGS84 = '[found]\ncrs = "EPSG:4326"\n'


def in_degrees(at):
    """A row as a receiver in WGS 84 gives it; the ensemble's name covers realisations 2 m apart (EPSG register), and
    its way to GDA2020 is good to 3 m there."""
    east, north = Transformer.from_crs(7855, 7844, always_xy=True).transform(E0 + at, N0)
    head = "Joint,Latitude,Longitude,Depth (m),SD (m),Date,Found by\n"
    return f"{head}J05,{north:.9f},{east:.9f},1.4,0.05,2031-04-02,A. Person\n"


def test_what_is_less_sure_than_the_record_is_shown_and_moves_nothing(tmp_path):
    """0.05 m of its own and 3 m of the way: 2.4477 * sqrt(0.05^2 + 3^2) = 7.34 m, by hand."""
    before = built(tmp_path / "a")
    made = built(tmp_path / "b", more=WGS84, found=in_degrees(60.3))
    same = ["placed_by", "chainage_m", "offset_m", "radius95_m", "easting", "northing"]
    assert joint(made)[same].to_list() == joint(before)[same].to_list()
    radius = f"{joint(before)['radius95_m']:.2f} m"
    says = f"less sure than the record alone, 7.34 m against {radius}: shown, places nothing; name the frame of the"
    assert says in joint(made)["reasons"]
    assert "0.30 m ahead" in joint(made)["reasons"]
    group = (
        "1 as-found measurement is less sure than the record alone, is shown and places nothing: J05 (found.csv row 2,"
    )
    assert any(s.startswith(f"{group} 7.34 m against {radius}). Name the frame") for s in made.statements)
    row = made.tables["positions"].query("method == 'as found'").iloc[0]
    assert (row["radius95_m"], row["depth_m"]) == (pytest.approx(7.344, abs=0.001), 1.4)


def test_it_is_used_where_the_record_knows_less(tmp_path):
    made = built(tmp_path, more=WGS84, found=in_degrees(60.3), changes={"records.default_accuracy": "90 m"})
    assert joint(made)["placed_by"] == "survey"
    assert joint(made)["radius95_m"] == pytest.approx(7.344, abs=0.001)


@pytest.mark.parametrize("accuracy", ["0.5 m", "15 m"])
def test_found_in_a_worse_frame_it_never_spoils_a_shot(tmp_path, accuracy):
    """A shot of 0.02 m in the route's frame beside it: weights 2500 to 1 / 9.01, so 0.0000 m of its 0.3 m, by hand."""
    changes = {"records.default_accuracy": accuracy}
    alone = joint(built(tmp_path / "a", survey=SHOT, changes=changes))
    both = joint(built(tmp_path / "b", more=WGS84, found=in_degrees(60.3), survey=SHOT, changes=changes))
    assert both["radius95_m"] <= alone["radius95_m"] + 1e-9
    assert both["easting"] == pytest.approx(alone["easting"], abs=1e-3)


def test_a_shot_less_sure_than_the_record_is_shown_and_moves_nothing(tmp_path):
    """2.4477 * 2 m = 4.90 m, by hand."""
    before = joint(built(tmp_path / "a"))
    made = built(tmp_path / "b", survey=SHOT.replace("7,0.02", "7,2"))
    same = ["placed_by", "chainage_m", "radius95_m"]
    assert joint(made)[same].to_list() == before[same].to_list()
    said = "1 as-laid shot is less sure than the record alone, is shown and places nothing: J05 (survey.csv row 2, 4.9"
    assert any(s.startswith(said) and "Name the frame" not in s for s in made.statements)


@pytest.mark.parametrize("at", [66.5, 71.0])
def test_what_was_found_half_a_stick_off_or_more_is_another_joint_and_moves_nothing(tmp_path, at):
    before = joint(built(tmp_path / "a"))
    made = built(tmp_path / "b", found_row(at=at))
    row = joint(made)
    assert row["chainage_m"] == pytest.approx(before["chainage_m"], abs=1e-6)
    assert (row["placed_by"], row["position_verdict"]) == ("fix+tally", "cannot tell")
    assert "and it places nothing" in row["reasons"]
    assert made.tables["findings"]["kind"].to_list() == ["as found"]


# --- placing ----------------------------------------------------------------------------------------------------------


def test_a_found_joint_stands_where_it_was_found_and_says_by_whom_and_how_far_that_is(tmp_path):
    """J05 was at 60 m by its record; found 0.30 m on and 0.40 m right of the line: 0.50 m from where it was shown."""
    without = joint(built(tmp_path / "a"))
    row = joint(built(tmp_path / "b", found_row(at=60.3, north=-0.4)))
    assert without["placed_by"] == "fix+tally"
    assert without["chainage_m"] == pytest.approx(60.0, abs=0.005)
    assert row["placed_by"] == "survey"
    assert (row["easting"], row["northing"]) == (pytest.approx(E0 + 60.3), pytest.approx(N0 - 0.4))
    assert row["offset_m"] == pytest.approx(0.4)
    assert row["radius95_m"] == pytest.approx(0.03 * 2.4477, rel=1e-3)  # sqrt(-2 ln 0.05), circular normal
    says = "Found on 2031-04-02 by A. Person at 0+060.30; 0.50 m from where it was placed before (0.30 m ahead, 0.40 m"
    assert row["reasons"].startswith(f"{says} right; its 95 % radius was ")


def test_the_neighbours_come_along_and_it_is_said(tmp_path):
    """Fixes of the whole run lie 0.3 m too far by a receiver that was off: what was found twice draws it back."""
    text = records(east=lambda _: 0.3)
    before, after = built(tmp_path / "a", text=text), built(
        tmp_path / "b", found_row("J05", 60.0, sd="0.01"), found_row("J11", 132.0, sd="0.01"), text=text
    )  # fmt: skip
    off = [abs(joint(made, "J08")["chainage_m"] - 96.0) for made in (before, after)]
    sd = [joint(made, "J08")["chainage_sd_m"] for made in (before, after)]
    assert off[0] == pytest.approx(0.3, abs=0.01)
    assert off[1] < 0.1
    assert sd[1] < sd[0]
    said = [s for s in after.statements if "joints were found again" in s]
    assert len(said) == 1
    assert said[0].startswith("2 joints were found again, 0.3")
    assert "of 2 measurements within the 95 % radius" in said[0]
    assert "18 other joints moved along the line by more than 10 mm, 0.28 m at most" in said[0]
    assert not any("found again" in s for s in before.statements)


def test_as_found_is_one_more_opinion_with_who_and_when(tmp_path):
    made = built(tmp_path, found_row(more="3.2,1.4"))
    said = made.tables["positions"].query("joint_id == 'J05'").set_index("method")
    assert list(said.index) == ["fix", "projection", "adjusted", "as found"]
    row = said.loc["as found"]
    assert (row["source"], row["by"], str(row["seen_at"].date())) == ("found.csv row 2", TELLER, "2031-04-01")
    assert (row["chainage_m"], row["offset_m"]) == (pytest.approx(60.0), pytest.approx(0.0))
    assert (row["elevation_m"], row["depth_m"]) == (3.2, 1.4)
    assert row["radius95_m"] == pytest.approx(0.03 * 2.4477, rel=1e-3)
    assert joint(made)["elevation_m"] == 3.2
    assert "found.csv" in set(made.tables["build_info"].query("topic == 'input'")["name"])


def test_a_found_joint_without_a_fix_is_placed_by_it(tmp_path):
    lost = records().replace(f"{E0 + 60:.3f},{N0 + 0.1}", ",")
    row = joint(built(tmp_path, found_row(at=60.1), text=lost))
    assert row["placed_by"] == "survey"
    assert "0.10 m from where it was placed before" in row["reasons"]


SHOT = f"Joint,Easting,Northing,RL (m),sd,Time\nJ05,{E0 + 60},{N0},7,0.02,2026-04-01 10:00\n"


def test_the_newest_wins_where_a_shot_contradicts_it(tmp_path):
    """0.5 m apart with 0.02 and 0.03 m: 0.25 / 0.0013 = 192, and chi-square of two degrees gives 5.99 at 95 %."""
    made = built(tmp_path, found_row(at=60.5, more="7.5,1.4"), survey=SHOT)
    row = joint(made)
    assert (row["easting"], row["placed_by"], row["elevation_m"]) == (E0 + 60.5, "survey", 7.5)
    said = "The as-laid shot of joint J05 (survey.csv row 2) lies 0.50 m from the as-found measurement of 2031-04-02"
    assert any(s.startswith(said) and "the newer one is used" in s for s in made.statements)


def test_a_shot_that_agrees_counts_beside_it_by_its_accuracy(tmp_path):
    """0.05 m apart: 0.0025 / 0.0013 = 1.9. Weights 2500 and 1111.1: 0.05 * 1111.1 / 3611.1 = 0.0154 m, by hand."""
    made = built(tmp_path, found_row(at=60.05), survey=SHOT)
    assert joint(made)["easting"] == pytest.approx(E0 + 60.0154, abs=1e-4)
    assert joint(made)["elevation_m"] == 7  # nothing newer is stated
    assert not any("the newer one is used" in s for s in made.statements)


def test_of_two_that_were_found_the_later_wins_whatever_the_order_of_the_rows(tmp_path):
    late, early = found_row(at=60.5, day="2032-01-10"), found_row(at=60.0)
    made = built(tmp_path, late, early)
    assert joint(made)["easting"] == E0 + 60.5
    assert any(s.startswith("The as-found measurement of 2031-04-02 of joint J05 (found.csv row 3)")
               for s in made.statements)  # fmt: skip


def test_a_shot_taken_after_it_was_found_is_the_newer_one(tmp_path):
    made = built(tmp_path, found_row(at=60.5), survey=SHOT.replace("2026-04-01", "2033-04-01"))
    assert joint(made)["easting"] == E0 + 60
    assert any("of 2031-04-02" in s and "from the later as-laid shot" in s for s in made.statements)


def test_shots_of_other_joints_are_left_as_they_are(tmp_path):
    two = f"{SHOT}J07,{E0 + 84},{N0},7,0.02,\nJ07,{E0 + 84.2},{N0},7,0.02,\n"
    made = built(tmp_path, found_row(at=60.0), survey=two)
    assert joint(made, "J07")["easting"] == pytest.approx(E0 + 84.1)
    assert any("2 as-laid shots of J07 lie up to 0.20 m apart" in s for s in made.statements)


# --- what does not fit ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("at", "off", "says"),
    [
        (60.5, "0.5", "Its as-found measurement lies 0.5 m from where fixes and pipes around put the joint"),
        (75.0, "15.0", "Its as-found measurement lies 15.0 m from where fixes and pipes around put the joint"),
    ],
)
def test_a_joint_found_far_beyond_both_errors_is_a_finding(tmp_path, at, off, says):
    made = built(tmp_path, found_row(at=at))
    row = joint(made)
    assert row["position_verdict"] == "cannot tell"
    assert "no error explains that: another joint may have been found, or the record is wrong" in row["reasons"]
    assert says in row["reasons"]
    findings = made.tables["findings"]
    assert findings["kind"].to_list() == ["as found"]  # told once, and not as a shot
    assert "1 joint was found farther from the place of the record" in findings["statement"][0]
    assert f"J05 ({off} m off)" in findings["statement"][0]
    assert findings["joints"][0] == "J05"


def test_the_bound_is_chi_square_against_both_errors(tmp_path):
    """Just inside and just outside the 99.9 % quantile of two degrees of freedom, from an independent library."""
    quantile = stats.chi2.ppf(0.999, 2)
    assert pytest.approx(quantile) == found_again._FAR
    assert pytest.approx(stats.chi2.ppf(0.95, 2)) == newest._CHI_95
    before = joint(built(tmp_path / "a"))
    bound = np.sqrt(quantile * ((before["radius95_m"] / 2.447746830680816) ** 2 + 0.03**2))
    near, far = (built(tmp_path / str(k), found_row(at=before["chainage_m"], north=bound * k)) for k in (0.99, 1.01))
    assert near.tables["findings"].empty
    assert far.tables["findings"]["kind"].to_list() == ["as found"]


def test_a_joint_that_was_cut_out_by_the_record_and_is_found_is_a_finding(tmp_path):
    text = csv_of(
        f"J1,2026-03-01 10:00,{E0 + 12},{N0},225,",
        f"J2,2026-03-02 10:00,{E0 + 24},{N0},225,",
        f"J2R,2026-03-03 10:00,{E0 + 24},{N0},225,J2",
        heading="Joint,Finished,East,North,Plate (°C),Replaces",
    )
    changes = {"records.columns.machine": None, "records.columns.replaces": "Replaces"}
    made = built(tmp_path, found_row("J2", 24.0), text=text, changes=changes)
    (said,) = made.tables["findings"].query("kind == 'as found'")["statement"]
    assert said == "Found in the ground, though by the record cut out and replaced: J2."


def test_an_unknown_joint_and_one_of_several_records_are_told(tmp_path):
    made = built(tmp_path, found_row("X9"))
    assert any("found.csv row 2: there is no joint 'X9'" in s for s in made.statements)
    assert made.tables["findings"].empty
    assert (made.tables["positions"]["method"] == "as found").sum() == 1


def test_a_place_far_from_every_line_is_not_used_and_the_table_to_look_at_is_named(tmp_path):
    made = built(tmp_path, found_row(north=400_000.0))
    assert any("1 of 1 as-found measurement lie" in s and "check the crs of [found]" in s for s in made.statements)
    assert joint(made)["placed_by"] == "fix+tally"


def test_what_was_found_after_the_as_of_time_is_used_and_told(tmp_path):
    made = built(tmp_path, found_row())
    said = "1 as-found measurement is later than the as-of time, 2026-03-20, and used all the same"
    assert any(s.startswith(said) for s in made.statements)
    early = built(tmp_path / "b", found_row(day="2026-03-19"))
    assert not any("later than the as-of time" in s for s in early.statements)


def test_a_redacted_copy_does_not_say_who_found_it(tmp_path):
    made = redact.redacted(built(tmp_path, found_row(name="QX"), found_row("J07", 84.0)))
    every = "\n".join(t.to_csv() for t in made.tables.values()) + "\n".join((*made.statements, *made.notes))
    assert TELLER not in every
    assert "by QX" not in every
    assert (made.tables["positions"]["method"] == "as found").sum() == 2


def test_ids_that_differ_in_case_alone_are_two_joints(tmp_path):
    rows = [f"{n},2026-03-0{i + 1} 10:00,{E0 + 12 * i + 12},{N0},225" for i, n in enumerate(("C-1", "c-1", "C-2"))]
    changes = {"records.columns.machine": None}
    made = built(tmp_path, found_row("c-1", 24.0), found_row("c-2", 36.0), text=csv_of(*rows), changes=changes)
    opinions = made.tables["positions"].query("method == 'as found'")
    assert opinions["joint_id"].to_list() == ["c-1", "C-2"]
