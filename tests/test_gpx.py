"""The waypoints, read by another library than the one that wrote them, and held to the rules of GPX 1.1.

The official schema is not at hand without a network: its rules that matter here (order of elements, range of
degrees, form of times) are written out below, from memory.
"""

import re
from dataclasses import replace
from xml.etree import ElementTree as Tree

import numpy as np
import pandas as pd
import pyogrio
import pyproj
import pytest
import shapely

from asbuilt import build, settings
from asbuilt.cautions import CAUTIONS
from asbuilt.publish.gpx import write_gpx
from tests.making import make_route

SPACE = "{http://www.topografix.com/GPX/1/1}"
IN_ORDER = ("ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type")
# What a cell of a spreadsheet may hold: signs of markup, and characters that no XML can hold.
NASTY = ("<b>&\"'", "x\x07y", "x\x08y", "half \ud800", "½ é 漢 😀", "a\nb\tc\r", "\uffff", "]]>", "<!--", "&amp;")


@pytest.fixture(scope="module")
def written(saltreach, tmp_path_factory):
    path = tmp_path_factory.mktemp("gpx") / "joints.gpx"
    write_gpx(saltreach, path)
    return path


def waypoints(path):
    return Tree.parse(path).getroot().findall(f"{SPACE}wpt")  # noqa: S314 # our own file


def small(tmp_path, **changes):
    return build.build(settings.load(make_route(tmp_path, **changes)))


def with_ids(as_built, ids):
    joints = as_built.tables["joints"].iloc[: len(ids)]
    joints = joints.assign(joint_id=pd.Series(list(ids), index=joints.index, dtype=object))
    return replace(as_built, tables={**as_built.tables, "joints": joints})


def test_every_placed_joint_and_both_ends_of_every_gap_is_read_back_where_it_lies(written, saltreach):
    theirs = pyogrio.read_dataframe(written, layer="waypoints")
    joints, gaps = saltreach.tables["joints"], saltreach.tables["gaps"]
    placed = joints[joints["in_line"].astype(bool) & joints["latitude"].notna()]
    ends = [f"gap {gap} {what}" for gap in gaps["gap_id"] for what in ("begins", "ends")]
    assert list(theirs["name"]) == [*placed["joint_id"], *ends]
    # EPSG register: GDA2020 to WGS 84 is a null shift, so the two are the same numbers to the millimetre of the file
    back = pyproj.Transformer.from_crs(7855, 7844, always_xy=True)
    low, high = (shapely.get_point(gaps.geometry.to_numpy(), at) for at in (0, -1))
    both = np.stack([low, high], axis=1).ravel()
    longitude, latitude = back.transform(shapely.get_x(both), shapely.get_y(both))
    assert theirs.geometry.x.to_numpy() == pytest.approx([*placed["longitude"], *longitude], abs=2e-8)
    assert theirs.geometry.y.to_numpy() == pytest.approx([*placed["latitude"], *latitude], abs=2e-8)
    assert str(theirs.crs) == "EPSG:4326"
    assert theirs["ele"].isna().all()


def test_times_and_words_are_those_of_the_record(written, saltreach):
    theirs = pyogrio.read_dataframe(written, layer="waypoints", datetime_as_string=True).set_index("name")
    joints = saltreach.tables["joints"].set_index("joint_id")
    for name in ("0047", "B110", "C-019"):
        joint, found = joints.loc[name], theirs.loc[name]
        assert pd.Timestamp(found["time"]) == joint["fused_at"].floor("s")
        assert found["src"] == f"placed by {joint['placed_by']}"
        assert found["desc"].startswith(f"{joint['station']}; offset ")
        assert f"95 % radius {joint['radius95_m']:.2f} m and 3.0 m more for WGS 84" in found["desc"]
        assert f"fusion {joint['fusion_verdict']}, position {joint['position_verdict']}." in found["desc"]
    beside = joints.loc["0047", "offset_m"]
    assert f"offset {beside:.2f} m R;" in theirs.loc["0047", "desc"]
    gap = saltreach.tables["gaps"].iloc[0]
    assert f"{gap['missing_records']} missing record" in theirs.loc[f"gap {gap['gap_id']} begins", "desc"]


def test_it_keeps_the_rules_of_the_format(written):
    root = Tree.parse(written).getroot()  # noqa: S314 # our own file
    assert (root.tag, root.get("version"), root.get("creator")) == (f"{SPACE}gpx", "1.1", "asbuilt")
    assert [child.tag for child in root][:2] == [f"{SPACE}metadata", f"{SPACE}wpt"]
    assert [child.tag.removeprefix(SPACE) for child in root[0]] == ["name", "desc", "time"]
    for point in root[1:]:
        order = [IN_ORDER.index(child.tag.removeprefix(SPACE)) for child in point]
        assert order == sorted(set(order))
        assert -90 <= float(point.get("lat")) <= 90
        assert -180 <= float(point.get("lon")) < 180
        time = point.findtext(f"{SPACE}time")
        assert time is None or re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", time)


def test_frame_accuracy_and_cautions_travel_with_it(written):
    desc = Tree.parse(written).getroot().findtext(f"{SPACE}metadata/{SPACE}desc")  # noqa: S314 # our own file
    assert "brought from EPSG:7844, GDA2020 by 'GDA2020 to WGS 84 (2)', good to 3 m" in desc
    assert [caution for caution in CAUTIONS if caution not in desc] == []
    assert "[U+" not in desc
    assert all("not a utility locate" in p.findtext(f"{SPACE}desc") for p in waypoints(written))


def test_no_text_breaks_the_file_or_is_lost(saltreach, tmp_path):
    write_gpx(with_ids(saltreach, NASTY), tmp_path / "a.gpx")
    raw = (tmp_path / "a.gpx").read_bytes()
    assert raw.isascii()
    assert set(raw) & {*range(0x20), 0x7F} == {0x0A}  # only the ends of our own lines
    found = [p.findtext(f"{SPACE}name") for p in waypoints(tmp_path / "a.gpx")][: len(NASTY)]
    assert found == [
        "<b>&\"'", "x[U+0007]y", "x[U+0008]y", "half [U+D800]", "½ é 漢 😀", "a[U+000A]b[U+0009]c[U+000D]", "[U+FFFF]",
        "]]>", "<!--", "&amp;",
    ]  # fmt: skip
    assert list(pyogrio.read_dataframe(tmp_path / "a.gpx", layer="waypoints")["name"])[: len(NASTY)] == found
    assert b"is written by its number, such as [U+0007]." in raw


def test_the_same_record_gives_the_same_bytes(written, saltreach, tmp_path):
    write_gpx(saltreach, tmp_path / "again.gpx")
    assert (tmp_path / "again.gpx").read_bytes() == written.read_bytes()


def test_what_has_no_place_and_what_was_cut_out_is_no_waypoint(saltreach, tmp_path):
    joints = saltreach.tables["joints"].copy()
    joints.loc[joints["joint_id"] == "0005", ["latitude", "longitude"]] = np.nan
    write_gpx(replace(saltreach, tables={**saltreach.tables, "joints": joints}), tmp_path / "a.gpx")
    names = {p.findtext(f"{SPACE}name") for p in waypoints(tmp_path / "a.gpx")}
    assert {"0004", "0006", "0088R"} <= names
    assert names & {"0005", "0088", "TR-A"} == set()


def test_feet_are_said_where_the_route_is_in_feet(tmp_path):
    us = {"route.units": "us", "route.foot": "international"}
    write_gpx(small(tmp_path, toml_changes=us), tmp_path / "a.gpx")
    desc = waypoints(tmp_path / "a.gpx")[0].findtext(f"{SPACE}desc")
    assert re.match(r"0\+39\.37; offset 0\.00 ft; 95 % radius \d\.\d\d ft and 9\.8 ft more for WGS 84;", desc)


def test_a_place_is_moved_where_the_frames_lie_apart(tmp_path):
    """OSGB36 to WGS 84 is some 120 m in London (Ordnance Survey); the file has the moved place, the record its own."""
    line = "easting,northing\n530000,180000\n531000,180000\n"
    rows = "Joint,Finished,East,North,Plate (°C)\nJ1,2026-03-01 10:00,530012,180000,215\n"
    changes = {"route.crs": "EPSG:27700", "records.crs": "EPSG:27700", "route.timezone": "Europe/London"}
    as_built = small(tmp_path, records=rows, line=line, toml_changes=changes)
    write_gpx(as_built, tmp_path / "a.gpx")
    joint, found = as_built.tables["joints"].iloc[0], waypoints(tmp_path / "a.gpx")[0]
    ends = (joint["longitude"], joint["latitude"], float(found.get("lon")), float(found.get("lat")))
    assert 100 < pyproj.Geod(ellps="WGS84").inv(*ends)[2] < 150


def test_without_a_way_to_wgs_84_there_is_no_file_and_the_hand_over_says_why(tmp_path, monkeypatch):
    monkeypatch.setattr(build.webmap, "write_map", lambda _, path: path.write_text("not of this test"))
    line = "easting,northing\n250000,2700000\n251000,2700000\n"
    rows = "Joint,Finished,East,North,Plate (°C)\nJ1,2026-03-01 10:00,250012,2700000,215\n"
    changes = {"route.crs": "EPSG:3828", "records.crs": "EPSG:3828", "route.timezone": "Asia/Taipei"}
    as_built = small(tmp_path, records=rows, line=line, toml_changes=changes)
    (tmp_path / "out").mkdir()
    steps = []
    build.publish(as_built, tmp_path / "out", step=steps.append)
    assert as_built.wgs84 is None
    assert not (tmp_path / "out" / "joints.gpx").exists()
    assert [s for s in steps if "gpx" in s] == []
    text = " ".join((tmp_path / "out" / "README.txt").read_text(encoding="utf-8").split())
    assert "joints.gpx" not in text
    assert "cannot be brought to WGS 84" in text
    assert sum("cannot be brought to WGS 84" in note for note in as_built.notes) == 1


def test_the_hand_over_lists_it(saltreach, tmp_path, monkeypatch):
    monkeypatch.setattr(build.webmap, "write_map", lambda _, path: path.write_text("not of this test"))
    build.publish(saltreach, tmp_path)
    assert "joints.gpx" in (tmp_path / "README.txt").read_text(encoding="utf-8")
    assert "joints.gpx" in (tmp_path / "SHA256SUMS").read_text(encoding="utf-8")
    assert "cannot be brought" not in " ".join(saltreach.notes)
