"""Whole builds of small routes: what must not matter, and what each kind of route changes."""

import numpy as np
import pandas as pd
import pytest
import shapely

from asbuilt import build, settings
from asbuilt.errors import InputError, SettingsError
from tests.making import E0, N0, csv_of, make_route
from tests.map_pages import DESK

EVERY_12 = [f"J{i:02d},2026-03-{1 + i // 8:02d} {8 + i % 8}:00,{E0 + 12 * i},{N0 + 0.1},225" for i in range(1, 84)]
OWN = """
name = "Our procedure"
edition = "1"
[[window]]
check = "heater_temperature"
unit = "degF"
low = 410
high = 430
source = "our works, sheet 7"
status = "project"
[[window]]
check = "cooling_time"
unit = "min"
low = [{ over = "wall", below = 20, polynomial = [10] }, { over = "wall", from = 20, polynomial = [0, 0.5] }]
source = "our works, sheet 8"
status = "project"
"""


def built(folder, **how):
    return build.build(settings.load(make_route(folder, **how)))


def test_shuffled_rows_change_nothing_but_their_row(tmp_path):
    rows = np.array(EVERY_12)
    plain = built(tmp_path / "a", records=csv_of(*rows)).tables["joints"]
    order = np.random.default_rng(7).permutation(len(rows))
    shuffled = built(tmp_path / "b", records=csv_of(*rows[order])).tables["joints"]
    pd.testing.assert_frame_equal(plain.drop(columns="source_row"), shuffled.drop(columns="source_row"))


def test_a_reversed_alignment_mirrors_chainage_and_offset(tmp_path):
    ahead = built(tmp_path / "a", records=csv_of(*EVERY_12)).tables["joints"].set_index("joint_id")
    back = built(tmp_path / "b", records=csv_of(*EVERY_12), toml_changes={"alignment.reverse": True})
    back = back.tables["joints"].set_index("joint_id").loc[ahead.index]
    np.testing.assert_allclose(back["chainage_m"], 1000 - ahead["chainage_m"], atol=1e-9)
    np.testing.assert_allclose(back["offset_m"], -ahead["offset_m"], atol=1e-9)
    assert list(back["easting"]) == pytest.approx(list(ahead["easting"]))


def test_a_branch_is_a_line_of_its_own(tmp_path):
    branch = '[[alignment]]\nline = "branch"\nfile = "design/branch.csv"\nstart = "500 m"\ncrs = "EPSG:7855"\n'
    (tmp_path / "design").mkdir()
    points = f"easting,northing\n{E0 + 500},{N0}\n{E0 + 500},{N0 + 300}\n"
    (tmp_path / "design/branch.csv").write_text(points, encoding="utf-8")
    row = f"B1,2026-03-02 10:00,{E0 + 500.4},{N0 + 120},225"
    found = built(tmp_path, records=csv_of(*EVERY_12, row), more=branch)
    joints = found.tables["joints"].set_index("joint_id")
    assert joints.loc["B1", ["line", "chainage_m", "station"]].to_list() == ["branch", 620.0, "0+620.00"]
    assert list(found.tables["alignment"]["line"]) == ["main", "branch"]
    assert set(found.tables["gaps"]["line"]) == {"branch"}


def test_an_unfinished_line_is_not_yet_recorded_and_not_outstanding(tmp_path):
    found = built(tmp_path, records=csv_of(*EVERY_12[:20]), toml_changes={"route.complete": False})
    assert list(found.tables["gaps"]["kind"]) == ["not yet recorded"]
    assert found.counts.gaps == found.counts.missing_records == 0
    assert found.counts.covered_m == pytest.approx(240.0)


def test_a_procedure_of_ones_own(tmp_path):
    make_route(tmp_path)
    (tmp_path / "ours.toml").write_text(OWN, encoding="utf-8")
    found = built(tmp_path, records=csv_of(*EVERY_12[:3]), toml_changes={"window.procedure": "ours.toml"})
    checks = found.tables["window_checks"].set_index(["joint_id", "check"])
    heater = checks.loc[("J01", "heater_temperature")]
    assert [heater["low"], heater["high"]] == pytest.approx([210.0, 221.11111])
    assert heater["verdict"] == "out of window"
    assert heater["source"] == "Our procedure (1): our works, sheet 7"
    assert checks.loc[("J01", "cooling_time"), "low"] == pytest.approx(0.5 * 57.2)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("heater_temperature", "heater"), "window.0.check: not as a procedure has it; 'heater' is no quantity"),
        (('unit = "degF"', 'unit = "bar"'), "heater_temperature: unit bar cannot be shown in degC"),
        (('status = "project"', 'status = "sure"'), "window.0.status"),
        (("heater_temperature", "accuracy"), "window.0.check: not as a procedure has it; 'accuracy' is no quantity"),
        (("[[window]]", "[[windows]]"), "window: not as a procedure has it; Field required"),
        (("low = 410", "low ="), "not TOML"),
    ],
)
def test_a_procedure_with_a_mistake_is_refused_with_its_place(tmp_path, change, says):
    make_route(tmp_path, toml_changes={"window.procedure": "ours.toml"})
    (tmp_path / "ours.toml").write_text(OWN.replace(*change), encoding="utf-8")
    with pytest.raises(SettingsError) as refused:
        settings.load(tmp_path)
    assert says in str(refused.value)


def test_fixes_that_came_by_a_coarse_way_never_pass(tmp_path):
    """EPSG:4326 to GDA2020 is good to 3 m by the EPSG register (read in PROJ 9.5.1), the window is 2 m."""
    row = "J1,2026-03-02 10:00,-42.9,147.0021,225"
    changes = {"records.crs": "EPSG:4326", "records.columns.easting": None, "records.columns.northing": None}
    changes |= {"records.columns.latitude": "East", "records.columns.longitude": "North"}
    changes |= {"records.default_accuracy": "0.1 m"}
    line = "latitude,longitude\n-42.9,147.0\n-42.9,147.01\n"
    found = built(tmp_path, records=csv_of(row), line=line, toml_changes=changes | {"alignment.crs": "EPSG:7844"})
    joint = found.tables["joints"].iloc[0]
    assert joint["position_verdict"] == "cannot tell"
    assert joint["chainage_sd_m"] == pytest.approx(3.0, abs=0.01)
    assert [s for s in found.statements if "3 m" in s or "would tell" in s] == [
        s for s in found.statements if "with the line to 3 m at best" in s
    ]
    assert [s for s in found.statements if "people.csv" not in s] == [found.statements[0]]
    assert any("good to 3 m, which is added to the error of every fix" in n for n in found.notes)


def test_a_line_that_came_by_a_coarse_way_lets_no_position_pass_either(tmp_path):
    """The design in EPSG:4326 (3 m to GDA2020 by the EPSG register), fixes of 5 cm in the route's own frame."""
    line = "latitude,longitude\n-42.9,147.0\n-42.9,147.0122\n"
    changes = {"alignment.crs": "EPSG:4326", "records.default_accuracy": "0.05 m"}
    row = f"J1,2026-03-02 10:00,{E0 + 1},{5250290.1},225"
    found = built(tmp_path, records=csv_of(row), line=line, toml_changes=changes)
    joint = found.tables["joints"].iloc[0]
    assert (joint["placed_by"], joint["position_verdict"]) == ("fix", "cannot tell")
    assert joint["chainage_sd_m"] == pytest.approx(3.0, abs=0.01)
    assert any(note.startswith("design/line.csv: the line came from EPSG:4326") for note in found.notes)


def test_plain_wgs_84_carries_the_spread_of_its_realisations(tmp_path):
    """EPSG:4326 is an ensemble of 2 m (EPSG register), whatever the way into a zone of its own is good to."""
    changes = {"route.crs": "EPSG:32755", "records.crs": "EPSG:32755", "records.default_accuracy": "0.5 m"}
    found = built(tmp_path, toml_changes=changes | {"alignment.crs": "EPSG:32755"})
    assert set(found.tables["joints"]["position_verdict"]) == {"cannot tell"}
    assert found.tables["joints"]["offset_sd_m"].min() == pytest.approx(2.01, abs=0.01)


def test_a_joint_that_names_another_line_is_measured_to_that_line(tmp_path):
    branch = '[[alignment]]\nline = "branch"\nfile = "design/branch.csv"\n'
    (tmp_path / "design").mkdir()
    points = f"easting,northing\n{E0},{N0 + 300}\n{E0 + 500},{N0 + 300}\n"
    (tmp_path / "design/branch.csv").write_text(points, encoding="utf-8")
    text = csv_of(f"J1,2026-03-02 10:00,{E0 + 60},{N0},225,branch", heading="Joint,Finished,East,North,Plate (°C),Line")
    found = built(tmp_path, records=text, more=branch, toml_changes={"records.columns.line": "Line"})
    assert "The fix lies 300 m from the line that the record names" in found.tables["joints"].loc[0, "reasons"]


def test_what_lies_outside_the_line_covers_nothing_of_it(tmp_path):
    rows = [f"J{i},2026-03-02 {10 + i}:00,{E0 + x},{N0},225" for i, x in enumerate((-60, 12, 24))]
    found = built(tmp_path, records=csv_of(*rows))
    assert found.counts.covered_m == pytest.approx(24 - 12)


def test_joints_of_which_none_has_a_place_are_not_missing(tmp_path):
    rows = [row.split(",") for row in EVERY_12]
    text = csv_of(*(",".join([r[0], r[1], "", "", r[4]]) for r in rows))
    found = built(tmp_path, records=text)
    assert (found.counts.unplaced, found.counts.missing_records) == (len(rows), 0)
    assert list(found.tables["gaps"]["kind"]) == ["records not placed"]


def test_the_procedure_of_the_route_is_among_its_inputs(tmp_path):
    make_route(tmp_path)
    (tmp_path / "ours.toml").write_text(OWN, encoding="utf-8")
    found = built(tmp_path, toml_changes={"window.procedure": "ours.toml"}).tables["build_info"]
    assert "ours.toml" in set(found.loc[found["topic"] == "input", "name"])


def test_a_form_that_knows_only_wgs_84_takes_the_frame_that_is_stated(tmp_path):
    """KML and GPX cannot name another frame; here both are in GDA2020 (EPSG:7844), and the route file says so."""
    from tests.making import make_layer  # noqa: PLC0415

    line = shapely.LineString([(147.0, -42.9), (147.0122, -42.9)])
    make_layer(tmp_path / "design/line.kml", {"Name": ["main"]}, [line], crs="EPSG:4326", driver="KML")
    points = [shapely.Point(147.0 + 0.00015 * i, -42.9) for i in range(1, 4)]
    make_layer(tmp_path / "records/w.gpx", {"name": ["W1", "W2", "W3"]}, points, crs="EPSG:4326", driver="GPX")
    changes = {"alignment.file": "design/line.kml", "alignment.crs": "EPSG:7844", "records.files": ["records/w.gpx"]}
    changes |= {"records.crs": "EPSG:7844", "records.columns": {"joint": "name"}}
    found = built(tmp_path, records=None, line=None, toml_changes=changes)
    assert list(found.tables["joints"]["position_verdict"]) == ["in window"] * 3
    assert not any("added to the error" in note or "not used" in note for note in found.notes)


def test_no_mark_stands_twice(tmp_path):
    line = f"easting,northing\n{E0},{N0}\n{E0 + 900.00005},{N0}\n"
    marks = built(tmp_path, line=line).tables["chainage_marks"]
    assert list(marks["station"])[-2:] == ["0+800.00", "0+900.00"]


def test_equations_change_labels_and_nothing_else(tmp_path):
    plain = built(tmp_path / "a", records=csv_of(*EVERY_12)).tables["joints"]
    jump = {"alignment.equations": [{"back": "500 m", "ahead": "700 m"}]}
    found = built(tmp_path / "b", records=csv_of(*EVERY_12), toml_changes=jump).tables["joints"]
    pd.testing.assert_frame_equal(found.drop(columns="station"), plain.drop(columns="station"))
    assert found.set_index("joint_id").loc[["J41", "J42"], "station"].to_list() == ["0+492.00", "0+704.00"]


def test_times_that_are_starts_are_said_to_be(tmp_path):
    changes = {"records.time_is": "start", "pipe.material": "PE100"}
    found = built(tmp_path, records=csv_of(*EVERY_12[:3]), toml_changes=changes)
    joints = found.tables["joints"]
    assert joints["started_at"].equals(joints["fused_at"].rename("started_at"))
    assert any("fused_at is the start here" in note for note in found.notes)
    assert set(joints["material"]) == {"PE100"}


def test_as_of_is_the_latest_time_that_can_be_believed(tmp_path):
    rows = [*EVERY_12[:9], f"J90,2062-01-01 10:00,{E0 + 120},{N0},225"]
    found = built(tmp_path, records=csv_of(*rows), toml_changes={"route.as_of": None})
    assert found.title.as_of.isoformat() == "2026-03-02T09:00:00+11:00"
    assert any("1 joint carries a time later than the as-of time" in s for s in found.statements)


def test_without_any_time_an_as_of_is_asked_for(tmp_path):
    rows = [row.replace("2026-03-01 9:00", "").replace("2026-03-01 10:00", "") for row in EVERY_12[:2]]
    with pytest.raises(InputError, match="no record has a time, so there is no as-of; state as_of"):
        built(tmp_path, records=csv_of(*rows), toml_changes={"route.as_of": None})


def test_a_log_that_lost_its_clock_gives_no_as_of(tmp_path):
    """Real receivers write 1901 or 1970 where they lost their time (one of the public tracks collected does)."""
    rows = [f"J{i},1901-12-13 20:45,{E0 + 12 * i},{N0},225" for i in range(1, 4)]
    with pytest.raises(InputError, match="no record has a time later than 1980, so there is no as-of"):
        built(tmp_path, records=csv_of(*rows), toml_changes={"route.as_of": None})


def test_a_joint_past_the_end_is_reported_and_not_clamped(tmp_path):
    found = built(tmp_path, records=csv_of(*EVERY_12, f"J99,2026-03-20 8:00,{E0 + 1007},{N0 - 1.5},225"))
    joint = found.tables["joints"].set_index("joint_id").loc["J99"]
    assert joint[["chainage_m", "beyond_m", "offset_m"]].to_list() == pytest.approx([1007.0, 7.0, 1.5])
    assert joint["position_verdict"] == "out of window"
    assert joint["easting"] == pytest.approx(E0 + 1007)


def test_the_map_of_the_sample_route_draws_every_joint(handover, saltreach, opened):
    """In headless Chromium, with everything but the file itself cut off; no request leaves and nothing is logged."""
    page = opened(handover / "joint_map.html", DESK)
    counted = page.evaluate("({...window.asbuilt})")
    drawn = page.evaluate("window.asbuilt.drawn()")
    placed = saltreach.tables["joints"]["geometry"].notna().sum()
    assert drawn["joints"] == counted["placed"] == placed
    assert counted["outstanding"] == saltreach.counts.outstanding
