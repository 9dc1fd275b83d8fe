"""Kept for fifty years: open formats, a text that says how to read each, and the same bytes from the same input."""

import base64
import json
import re
import sqlite3
import struct
import zipfile
import zlib
from contextlib import closing
from dataclasses import replace

import pytest

from asbuilt.as_built import Exports
from asbuilt.build import publish
from asbuilt.publish.readme import files_of, write_readme
from asbuilt.stationing import Stationing
from tests.map_record import invented

# What each file begins with, by its own standard: PDF (ISO 32000), SQLite 3 file format 1.3, ZIP (ISO/IEC 21320-1).
BEGINS = {"pdf": b"%PDF-", "gpkg": b"SQLite format 3\0", "xlsx": b"PK\x03\x04", "gpx": b"<?xml", "json": b"{"}


@pytest.fixture(scope="module")
def text(handover):
    return (handover / "README.txt").read_text(encoding="utf-8")


def whole(exports):
    return replace(invented(60), exports=exports, stationing={"main": Stationing()})


def section(text, heading):
    lines = text.splitlines()
    rest = lines[lines.index(heading) + 1 :]
    return " ".join(" ".join(rest[: rest.index("")]).split())


def test_every_file_is_what_its_name_says(handover):
    seen = set()
    for path in handover.iterdir():
        kind = path.suffix.lstrip(".")
        if kind in BEGINS:
            assert path.read_bytes().startswith(BEGINS[kind]), path.name
            seen.add(kind)
    assert seen == set(BEGINS)


def test_the_readme_says_of_every_file_how_to_read_it(handover, text):
    how = section(text, "HOW TO READ EACH WITHOUT THIS TOOL")
    for path in handover.iterdir():
        assert path.name == "README.txt" or f"- {path.name}: " in how, path.name


def test_the_readme_says_how_to_make_it_again(text, handover):
    said = section(text, "HOW TO MAKE IT AGAIN")
    assert "asbuilt build FOLDER -o OUT" in said
    with closing(sqlite3.connect(handover / "asbuilt.gpkg")) as base:
        topics = {topic for (topic,) in base.execute("SELECT DISTINCT topic FROM build_info")}
        kept = base.execute("SELECT value FROM build_info WHERE topic = 'setting' AND name = 'route.toml'").fetchone()
    assert {"input", "version", "setting"} <= topics
    assert "[route]" in kept[0]


def test_a_redacted_copy_does_not_claim_that_it_can_be_made_again(tmp_path):
    from asbuilt.redact import redacted  # noqa: PLC0415

    write_readme(redacted(invented(60)), tmp_path / "README.txt")
    said = section((tmp_path / "README.txt").read_text(encoding="utf-8"), "HOW TO MAKE IT AGAIN")
    assert "cannot be made again" in said
    assert "asbuilt build" not in said


def test_the_map_is_read_without_a_browser_as_the_readme_says(handover, saltreach):
    page = (handover / "joint_map.html").read_text(encoding="utf-8")
    inside = re.search(r'<[^>]*id="record"[^>]*>([^<]*)<', page)[1]
    record = json.loads(zlib.decompress(base64.b64decode(inside)))  # RFC 4648, RFC 1950, RFC 8259: nothing of ours
    assert record["joints"]["rows"] == len(saltreach.tables["joints"])


def test_the_workbook_is_read_without_a_spreadsheet_as_the_readme_says(handover):
    with zipfile.ZipFile(handover / "joint_log.xlsx") as parts:
        sheets = [name for name in parts.namelist() if name.startswith("xl/worksheets/sheet")]
        assert len(sheets) == 7
        assert b"Joint id" in parts.read("xl/worksheets/sheet2.xml")


def test_a_geometry_is_a_header_and_wkb_as_the_readme_says(handover, saltreach):
    """OGC 12-128, 2.1.3 (from memory): magic, version, flags (bits 1 to 3: the envelope), SRS id, envelope; WKB."""
    with closing(sqlite3.connect(handover / "asbuilt.gpkg")) as base:
        name, raw = base.execute("SELECT joint_id, geom FROM joints WHERE geom IS NOT NULL ORDER BY fid").fetchone()
    assert raw[:2] == b"GP"
    skip = 8 + {0: 0, 1: 32}[(raw[3] >> 1) & 7]
    order = "<" if raw[skip] else ">"
    kind, east, north = struct.unpack(f"{order}Idd", raw[skip + 1 : skip + 21])
    joint = saltreach.tables["joints"].set_index("joint_id").loc[name]
    assert (kind, east, north) == (1, joint["easting"], joint["northing"])


def test_only_what_was_written_is_in_the_readme(tmp_path):
    record = whole(Exports())
    assert "exports/README.txt" not in {file.name for file in files_of(record)}
    asked = whole(Exports(geojson=True))
    publish(asked, tmp_path)
    named = {file.name for file in files_of(asked)} | {"README.txt"}
    assert {p.name for p in tmp_path.iterdir()} - {"exports"} == named - {"exports/README.txt"}
    assert (tmp_path / "exports" / "README.txt").is_file()


def test_the_same_record_with_exports_gives_the_same_bytes(tmp_path):
    record = whole(Exports(shapefile=True, geojson=True, kml=True))
    sums = []
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        publish(record, tmp_path / name)
        sums.append((tmp_path / name / "SHA256SUMS").read_bytes())
    assert sums[0] == sums[1]
    assert b"  exports/joints.shp\n" in sums[0]
