"""What is handed over: opened with other libraries than the ones that wrote it."""

import contextlib
import hashlib
import io
import re
import runpy
import sqlite3
import subprocess
import sys

import openpyxl
import pandas as pd
import pyogrio
import pytest
import shapely
from click.testing import CliRunner

from asbuilt import cli, tables
from asbuilt.cautions import CAUTIONS
from asbuilt.publish.joint_log import write_workbook
from asbuilt.publish.log_csv import METADATA_NAME, write_csv
from tests.conftest import SALTREACH

FILES = {"handover.pdf", "alignment_sheets.pdf", METADATA_NAME}
FILES |= {"README.txt", "SHA256SUMS", "asbuilt.gpkg", "joint_log.csv", "joint_log.xlsx", "joint_map.html", "joints.gpx"}


def query(handover, sql):
    with contextlib.closing(sqlite3.connect(handover / "asbuilt.gpkg")) as base:
        return base.execute(sql).fetchall()


def test_the_folder_holds_what_the_contract_names(handover):
    assert {path.name for path in handover.iterdir()} == FILES


def test_checksums_hold_with_a_plain_calculation(handover):
    lines = (handover / "SHA256SUMS").read_text(encoding="utf-8").splitlines()
    sums = dict(reversed(line.split("  ")) for line in lines)
    assert sums == {n: hashlib.sha256((handover / n).read_bytes()).hexdigest() for n in FILES - {"SHA256SUMS"}}


def test_the_geopackage_passes_an_independent_validator(handover, monkeypatch):
    """gdal-utils' validate_gpkg: pure SQLite against the OGC requirements, warnings as errors."""
    monkeypatch.setattr(
        sys, "argv", ["validate_gpkg", "-k", "--extra", "--warning-as-error", str(handover / "asbuilt.gpkg")]
    )
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said), pytest.raises(SystemExit) as end:
        runpy.run_module("osgeo_utils.samples.validate_gpkg", run_name="__main__")
    assert end.value.code in (0, None), said.getvalue()


def test_the_validator_would_have_found_a_fault(handover, tmp_path):
    broken = tmp_path / "broken.gpkg"
    broken.write_bytes((handover / "asbuilt.gpkg").read_bytes())
    with contextlib.closing(sqlite3.connect(broken)) as base:
        base.execute("UPDATE gpkg_contents SET last_change = 'yesterday'")
        base.commit()
    command = [sys.executable, "-m", "osgeo_utils.samples.validate_gpkg", "-k", str(broken)]
    run = subprocess.run(command, capture_output=True, check=False)
    assert run.returncode == 1


@pytest.mark.parametrize("table", tables.ALL, ids=lambda t: t.name)
def test_every_layer_has_the_columns_of_its_table(handover, table):
    info = pyogrio.read_info(handover / "asbuilt.gpkg", layer=table.name)
    assert tuple(info["fields"]) == table.names
    assert info["geometry_type"] == (table.geometry or None)
    said = query(handover, f"SELECT description FROM gpkg_contents WHERE table_name = '{table.name}'")  # noqa: S608
    assert said == [(table.says,)]


def test_spatial_layers_have_an_index_and_the_frame_of_the_route(handover):
    layers = [t for t in tables.ALL if t.geometry]
    indexed = {
        row[0]
        for row in query(handover, "SELECT table_name FROM gpkg_extensions WHERE extension_name = 'gpkg_rtree_index'")
    }
    assert indexed == {t.name for t in layers}
    for table in layers:
        assert "EPSG:7855" in str(pyogrio.read_info(handover / "asbuilt.gpkg", layer=table.name)["crs"])


def test_joints_read_back_as_they_were_built(handover, saltreach):
    theirs = pyogrio.read_dataframe(handover / "asbuilt.gpkg", layer="joints", datetime_as_string=True)
    ours = saltreach.tables["joints"]
    assert list(theirs["joint_id"]) == list(ours["joint_id"])
    pd.testing.assert_series_equal(theirs["chainage_m"], ours["chainage_m"])
    assert list(theirs.geometry.isna()) == list(ours["chainage_m"].isna())
    assert not theirs.geometry.is_empty.any()
    times = pd.to_datetime(theirs["fused_at"], utc=True, format="ISO8601")
    assert (times - ours["fused_at"]).abs().max() < pd.Timedelta("1ms")
    assert theirs["fused_at"].dropna().str.endswith(("Z", "+00:00")).all()
    on_line = shapely.distance(theirs.geometry.dropna().to_numpy(), saltreach.tables["alignment"]["geometry"].iloc[0])
    assert on_line.max() < 1e-6


def test_every_reference_of_the_tables_leads_to_a_joint(saltreach):
    ids = set(saltreach.tables["joints"]["joint_id"])
    records = saltreach.tables["records"]
    assert set(saltreach.tables["window_checks"]["joint_id"]) == ids
    assert set(saltreach.tables["positions"]["joint_id"]) <= ids
    assert set(records.loc[records["outcome"] != "set aside", "joint_id"]) == ids
    ends = saltreach.tables["gaps"][["from_joint", "to_joint"]].to_numpy().ravel()
    assert set(ends) - {""} <= ids


def test_the_log_keeps_ids_as_text_in_both_forms(handover, saltreach):
    ids = list(saltreach.tables["joints"]["joint_id"])
    assert "0001" in ids
    log = pd.read_csv(handover / "joint_log.csv", dtype=str)
    assert list(log["Joint id"]) == ids
    sheet = openpyxl.load_workbook(handover / "joint_log.xlsx")["Joints"]
    assert [row[0].value for row in sheet.iter_rows(min_row=2)] == ids
    assert {row[0].data_type for row in sheet.iter_rows(min_row=2)} == {"s"}
    assert sheet.freeze_panes == "B2"


def test_no_cell_of_the_log_runs_as_a_formula(saltreach, tmp_path):
    from dataclasses import replace  # noqa: PLC0415

    joints = saltreach.tables["joints"].copy()
    joints.loc[:3, "operator"] = ["=1+1", "@SUM(A1)", "+cmd|' /C calc'!A0", "-2"]
    nasty = replace(saltreach, tables={**saltreach.tables, "joints": joints})
    write_workbook(nasty, tmp_path / "log.xlsx")
    write_csv(nasty, tmp_path / "log.csv")
    cells = [c for row in openpyxl.load_workbook(tmp_path / "log.xlsx")["Joints"].iter_rows() for c in row]
    assert "=1+1" in [c.value for c in cells]
    assert {c.data_type for c in cells} <= {"s", "n", "d"}
    operators = pd.read_csv(tmp_path / "log.csv", dtype=str)["Operator"][:4]
    assert list(operators) == ["'=1+1", "'@SUM(A1)", "'+cmd|' /C calc'!A0", "'-2"]


def test_text_outputs_carry_the_cautions(handover):
    readme = " ".join((handover / "README.txt").read_text(encoding="utf-8").split())
    page = (handover / "joint_map.html").read_text(encoding="utf-8")
    info = " ".join(value for (value,) in query(handover, "SELECT value FROM build_info WHERE topic = 'caution'"))
    for caution in CAUTIONS:
        assert re.sub(r"\s+", " ", caution) in readme
        assert caution.split(".")[0] in page
        assert caution in info


def test_build_info_names_inputs_frames_and_versions(handover):
    rows = query(handover, "SELECT topic, name, value FROM build_info")
    found = {(topic, name): value for topic, name, value in rows}
    digest = hashlib.sha256((SALTREACH / "records/crew_a.csv").read_bytes()).hexdigest()
    assert found["input", "records/crew_a.csv"] == f"sha256 {digest}"
    assert any(topic == "frame" and "accuracy 0 m" in value for (topic, _), value in found.items())
    assert {"PROJ", "EPSG register", "asbuilt"} <= {name for topic, name in found if topic == "version"}
    assert not any("/work" in str(value) or "/home" in str(value) for value in found.values())


def test_two_runs_in_different_surroundings_give_the_same_bytes(handover, tmp_path):
    out = tmp_path / "elsewhere" / "again"
    surroundings = {"TZ": "Asia/Kathmandu", "PYTHONHASHSEED": "12345", "LC_ALL": "C.UTF-8", "PATH": "/usr/bin"}
    command = [sys.executable, "-m", "asbuilt", "build", str(SALTREACH), "-o", str(out)]
    subprocess.run(command, check=True, capture_output=True, env=surroundings, cwd=SALTREACH.parents[1])
    assert [n for n in FILES if (out / n).read_bytes() != (handover / n).read_bytes()] == []


def test_as_of_is_the_only_now(tmp_path):
    out = tmp_path / "out"
    result = CliRunner().invoke(cli.main, ["build", str(SALTREACH), "-o", str(out), "--as-of", "2031-05-06"])
    assert result.exit_code == 0
    assert "As of 2031-05-06 23:59" in result.output
    assert {v[:10] for (v,) in query(out, "SELECT last_change FROM gpkg_contents")} == {"2031-05-06"}
