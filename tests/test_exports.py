"""Further files that an owner asks for: each opened with a library that did not write it."""

import csv
import json
import math
import shutil
import xml.etree.ElementTree as ET
from contextlib import redirect_stdout
from dataclasses import replace
from io import StringIO

import numpy as np
import pyogrio
import pyproj
import pytest
import shapely
from click.testing import CliRunner

from asbuilt import cli, look, settings, verify
from asbuilt.as_built import Exports
from asbuilt.errors import SettingsError
from asbuilt.publish import checksums
from asbuilt.publish.export_dxf import layer_of
from asbuilt.publish.exports import write_exports
from tests.conftest import SALTREACH
from tests.making import make_route
from tests.map_record import NASTY, invented

ezdxf = pytest.importorskip("ezdxf")
ALL = Exports(shapefile=True, geojson=True, kml=True, dxf=True)
OWNER = {
    "joint_id": "WELD REF",
    "chainage_m": "Chainage metres",
    "chainage_sd_m": "Chainage metres sd",
    "fused_at": "Made",
    "remarks": "Note",
}
KML = "{http://www.opengis.net/kml/2.2}"
# Order of the elements of a Placemark by the schema of OGC KML 2.3 (12-007r2), those that are used here (from memory).
ORDER = ("name", "description", "TimeStamp", "styleUrl", "ExtendedData", "Point", "LineString")


def exported(record, folder, exports=ALL):
    write_exports(replace(record, exports=exports), folder / "exports")
    return folder / "exports"


@pytest.fixture(scope="module")
def record():
    """The invented record: one joint without a place, one trial, and texts that are no friends of any format."""
    made = invented(60)
    joints = made.tables["joints"].copy()
    joints.loc[: len(NASTY) - 1, "remarks"] = NASTY
    joints.loc[6, "remarks"] = "é" * 200  # 400 bytes in UTF-8: more than a field of a Shapefile holds
    return replace(made, tables={**made.tables, "joints": joints})


@pytest.fixture(scope="module")
def out(record, tmp_path_factory):
    return exported(record, tmp_path_factory.mktemp("out"))


@pytest.fixture(scope="module")
def in_line(record):
    joints = record.tables["joints"]
    return joints[joints["in_line"].astype(bool)].reset_index(drop=True)


@pytest.fixture(scope="module")
def placed(in_line):
    return in_line[in_line["chainage_m"].notna()].reset_index(drop=True)


# ---- Shapefile -------------------------------------------------------------------------------------------------------


def names_of(out, file):
    with (out / "names.csv").open(encoding="utf-8-sig", newline="") as rows:
        return {row["our name"]: row for row in csv.DictReader(rows) if row["file"] == file}


def test_a_shapefile_has_the_placed_joints_where_they_are(out, placed):
    theirs = pyogrio.read_dataframe(out / "joints.shp")
    assert list(theirs["joint_id"]) == list(placed["joint_id"])
    assert theirs.crs.to_epsg() == 7855
    assert (out / "joints.cpg").read_text().strip() == "UTF-8"
    apart = shapely.distance(theirs.geometry.to_numpy(), placed["geometry"].to_numpy(object))
    assert apart.max() < 1e-6
    assert theirs["chainage_m"].to_numpy() == pytest.approx(placed["chainage_m"].to_numpy(), abs=1e-6)


@pytest.mark.parametrize("layer", ["joints", "gaps", "alignment", "chainage_marks"])
def test_short_names_are_unique_fit_and_are_explained(out, record, layer):
    fields = list(pyogrio.read_info(out / f"{layer}.shp")["fields"])
    told = names_of(out, f"{layer}.shp")
    assert len({f.casefold() for f in fields}) == len(fields)
    assert all(len(f.encode()) <= 10 for f in fields)
    assert [row["name"] for row in told.values()] == fields
    assert list(told) == list(record.tables[layer].columns.drop("geometry"))


def test_a_text_too_long_is_cut_at_a_character_and_told(out):
    told = names_of(out, "joints.shp")
    assert told["remarks"]["texts cut to 254 bytes"] == "1"
    assert "é" * 127 in set(pyogrio.read_dataframe(out / "joints.shp")["remarks"])
    assert sum(int(row["texts cut to 254 bytes"]) for row in told.values()) == 1


def test_times_are_text_and_whole_numbers_stay_whole(out, placed):
    theirs = pyogrio.read_dataframe(out / "joints.shp")
    told = names_of(out, "joints.shp")
    assert list(theirs[told["fused_at"]["name"]].dropna()) == list(
        placed["fused_at"].dropna().dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    )
    assert set(theirs[told["in_line"]["name"]]) == {"yes"}
    assert theirs[told["recorded_n"]["name"]].dropna().mod(1).eq(0).all()


# ---- GeoJSON ---------------------------------------------------------------------------------------------------------


def test_geojson_keeps_the_rules_of_rfc_7946(out, in_line):
    """RFC 7946 (read): 3.2 a Feature has geometry, null where unlocated, and properties; 4 WGS 84, longitude first, no
    crs; 7.1 no members of one type in another; 11.2 precision."""
    for layer in ("joints", "gaps", "alignment", "chainage_marks"):
        said = json.loads((out / f"{layer}.geojson").read_text(encoding="utf-8"))
        assert said["type"] == "FeatureCollection"
        assert not {"crs", "coordinates", "geometries", "geometry", "properties"} & set(said)
        assert "good to 3 m" in said["description"]
        assert "utility locate" in said["description"]
        for feature in said["features"]:
            assert set(feature) == {"type", "id", "properties", "geometry"}
            if feature["geometry"] is not None:
                places = np.atleast_2d(feature["geometry"]["coordinates"])
                assert places.shape[1] == 2
                assert (np.abs(places) <= [180, 90]).all()
                assert (places[:, 0] > 100).all()  # longitude comes first
    joints = json.loads((out / "joints.geojson").read_text(encoding="utf-8"))["features"]
    assert [f["id"] for f in joints] == list(in_line["joint_id"])
    assert sum(f["geometry"] is None for f in joints) == int(in_line["chainage_m"].isna().sum()) == 1


def test_geojson_stands_where_another_library_puts_it(out, placed):
    """pyproj by itself, by the operation between the two codes; the routes differ by nothing that can be seen."""
    theirs = pyogrio.read_dataframe(out / "joints.geojson")
    theirs = theirs[theirs.geometry.notna()]
    way = pyproj.Transformer.from_crs("EPSG:7855", "EPSG:4326", always_xy=True)
    east, north = way.transform(shapely.get_x(placed["geometry"]), shapely.get_y(placed["geometry"]))
    assert theirs.geometry.x.to_numpy() == pytest.approx(np.asarray(east), abs=2e-8)
    assert theirs.geometry.y.to_numpy() == pytest.approx(np.asarray(north), abs=2e-8)


def test_geojson_texts_are_as_they_were(out, in_line):
    theirs = pyogrio.read_dataframe(out / "joints.geojson")
    assert list(theirs["remarks"].fillna("")) == list(in_line["remarks"])


# ---- KML -------------------------------------------------------------------------------------------------------------


def test_kml_is_well_formed_and_in_the_order_of_its_schema(out):
    root = ET.parse(out / "record.kml").getroot()  # noqa: S314 - ours
    assert (root.tag, root.get("version")) == (f"{KML}kml", "2.3")
    for mark in root.iter(f"{KML}Placemark"):
        found = [child.tag.removeprefix(KML) for child in mark]
        assert found == sorted(found, key=ORDER.index)
    assert not list(root.iter(f"{KML}Icon"))
    assert "utility locate" in root.find(f"{KML}Document/{KML}description").text


def test_kml_reads_in_gdal_with_its_places_and_styles(out, in_line):
    layers = [name for name, _ in pyogrio.list_layers(out / "record.kml")]
    assert layers == ["Joints", "Gaps", "Alignment", "Stations"]
    theirs = pyogrio.read_dataframe(out / "record.kml", layer="Joints")
    assert list(theirs["Name"].str[2:]) == list(in_line["joint_id"])
    assert list(theirs["Name"].str[0]) == [look.SIGNS[v][0] for v in in_line["fusion_verdict"]]
    json_ones = pyogrio.read_dataframe(out / "joints.geojson").geometry
    there = json_ones.notna().to_numpy()
    assert theirs.geometry.x[there].to_numpy() == pytest.approx(json_ones.x[there].to_numpy(), abs=1e-8)


def test_kml_points_to_styles_that_are_there(out):
    root = ET.parse(out / "record.kml").getroot()  # noqa: S314 - ours
    styles = {style.get("id"): style for style in root.iter(f"{KML}Style")}
    used = {url.text.lstrip("#") for url in root.iter(f"{KML}styleUrl")}
    assert used <= set(styles)
    out_of_window = styles["out_of_window"].find(f"{KML}LabelStyle/{KML}color").text
    red, green, blue = (look.FUSION[look.OUT_OF_WINDOW].fill[i : i + 2].lower() for i in (1, 3, 5))
    assert out_of_window == f"ff{blue}{green}{red}"


# ---- DXF -------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def drawing(out):
    return ezdxf.readfile(out / "record.dxf")


def test_dxf_passes_the_audit_of_its_library(drawing):
    audit = drawing.audit()
    assert (audit.errors, audit.fixes) == ([], [])
    assert drawing.dxfversion == "AC1024"  # AutoCAD release 2010 (DXF reference, from memory)
    assert drawing.header["$INSUNITS"] == 6  # metres (DXF reference, from memory)


def test_dxf_has_each_joint_on_the_layer_of_its_verdict(drawing, placed):
    space = drawing.modelspace()
    for verdict in look.FUSION:
        ours = placed[placed["fusion_verdict"] == verdict]
        points = [p.dxf.location for p in space.query(f'POINT[layer=="{layer_of(verdict)}"]')]
        assert [(p.x, p.y) for p in points] == [(g.x, g.y) for g in ours["geometry"]]
        texts = [t.dxf.text for t in space.query(f'TEXT[layer=="{layer_of(verdict)}"]')]
        assert texts == list(ours["joint_id"])


def test_dxf_has_alignment_gaps_stations_frame_and_cautions(drawing, record):
    space = drawing.modelspace()
    line = space.query('LWPOLYLINE[layer=="ALIGNMENT"]')[0]
    assert shapely.LineString(line.get_points("xy")).length == pytest.approx(record.counts.length_m, abs=1e-6)
    assert len(space.query('LWPOLYLINE[layer=="GAPS IN THE RECORD"]')) == len(record.tables["gaps"])
    assert len(space.query('CIRCLE[layer=="STATIONS"]')) == len(record.tables["chainage_marks"])
    words = " ".join(t.dxf.text for t in space.query('TEXT[layer=="WORDS"]'))
    assert record.title.crs in words
    assert "utility locate" in words


def test_gdal_opens_the_dxf_too(out, placed):
    theirs = pyogrio.read_dataframe(out / "record.dxf", where="Layer LIKE 'JOINTS%'")
    assert int((theirs["SubClasses"].str.contains("AcDbPoint")).sum()) == len(placed)


def test_texts_that_the_format_would_read_otherwise_come_out_as_written(tmp_path):
    made = invented(12)
    nasty = ["1\n0\nEOF\n", "a%%d", "b^J", "\\U+0041", "é ● 接"]
    joints = made.tables["joints"].copy()
    joints.loc[: len(nasty) - 1, "joint_id"] = nasty
    out = exported(replace(made, tables={**made.tables, "joints": joints}), tmp_path, Exports(dxf=True))
    drawing = ezdxf.readfile(out / "record.dxf")
    assert drawing.audit().errors == []
    texts = {t.plain_text() for t in drawing.modelspace().query("TEXT") if t.dxf.layer.startswith("JOINTS")}
    assert {"1 0 EOF ", "a% %d", "b^J", "\\ U+0041", "é ● 接"} <= texts


# ---- what an owner calls it ------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def renamed(record, tmp_path_factory):
    return exported(record, tmp_path_factory.mktemp("own"), replace(ALL, names={"joints": OWNER}))


def test_the_owners_names_in_the_owners_order_and_only_those(renamed):
    theirs = json.loads((renamed / "joints.geojson").read_text(encoding="utf-8"))["features"][0]["properties"]
    assert list(theirs) == list(OWNER.values())
    fields = list(pyogrio.read_info(renamed / "joints.shp")["fields"])
    assert fields == ["WELD_REF", "Chainage_m", "Chainage_1", "Made", "Note"]
    root = ET.parse(renamed / "record.kml").getroot()  # noqa: S314 - ours
    joint = root.find(f"{KML}Document/{KML}Folder/{KML}Placemark/{KML}ExtendedData")
    assert [data.get("name") for data in joint] == [n for n in OWNER.values() if n in {d.get("name") for d in joint}]


def test_a_table_that_the_owner_does_not_name_goes_out_whole(renamed, record):
    theirs = list(pyogrio.read_info(renamed / "gaps.geojson")["fields"])
    assert theirs[1:] == [n for n in record.tables["gaps"].columns if n != "geometry"]


# ---- what is not there -----------------------------------------------------------------------------------------------


def test_what_is_in_no_export_is_named(out, record, in_line):
    said = " ".join((out / "README.txt").read_text(encoding="utf-8").split())
    joints = record.tables["joints"]
    trial = joints.loc[~joints["in_line"].astype(bool), "joint_id"].item()
    unplaced = in_line.loc[in_line["chainage_m"].isna(), "joint_id"].item()
    assert f"in no export (1 joint): {trial}" in said
    assert f"Without a place (1 joint): {unplaced}" in said


def test_where_wgs84_cannot_be_reached_what_needs_it_is_refused_with_the_reason(record, tmp_path):
    title = replace(record.title, wgs84="They cannot be brought to WGS 84: no operation is known.")
    out = exported(replace(record, wgs84=None, title=title), tmp_path)
    assert not list(out.glob("*.geojson")) + list(out.glob("*.kml"))
    assert {"joints.shp", "record.dxf"} <= {path.name for path in out.iterdir()}
    said = " ".join((out / "README.txt").read_text(encoding="utf-8").split())
    assert "GeoJSON and KML were not written" in said
    assert "no operation is known" in said


def test_the_same_record_gives_the_same_bytes(out, record, tmp_path):
    again = exported(record, tmp_path)
    assert {p.name for p in again.iterdir()} == {p.name for p in out.iterdir()}
    assert [p.name for p in again.iterdir() if p.read_bytes() != (out / p.name).read_bytes()] == []


def test_making_a_drawing_says_nothing_and_leaves_the_library_as_it_was(record, tmp_path):
    before = ezdxf.options.write_fixed_meta_data_for_testing
    with redirect_stdout(StringIO()) as said:
        exported(record, tmp_path, Exports(dxf=True))
    assert said.getvalue() == ""
    assert ezdxf.options.write_fixed_meta_data_for_testing == before


# ---- route.toml ------------------------------------------------------------------------------------------------------


def route_with(tmp_path, export, fields=""):
    route = tmp_path / "route"
    shutil.copytree(SALTREACH, route, ignore=shutil.ignore_patterns("making", "truth", "make.py"))
    text = (route / "route.toml").read_text(encoding="utf-8")
    (route / "route.toml").write_text(f"{text}\n[export]\n{export}\n", encoding="utf-8")
    (route / "owner.toml").write_text(fields, encoding="utf-8")
    return route


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        (
            '[joints]\nchainage = "CH"',
            r"owner.toml: joints.chainage: no column has this name; did you mean 'chainage_m'\?",
        ),
        (
            '[joint]\njoint_id = "J"',
            r"owner.toml: joint: no table that is exported has this name; did you mean 'joints'",
        ),
        ('[joints]\njoint_id = "J"\nstation = "j"', r"joints.station: 'j' is the name of joint_id, too"),
        ("[joints]\njoint_id = 7", "joints.joint_id: found 7; allowed: the owner's name, in quotes"),
        ('[joints]\njoint_id = "a\\nb"', "allowed: the owner's name"),
        ("joints = 1", "joints: it is no table of names"),
        ("", "owner.toml: it names nothing"),
        ("[joints", "owner.toml: not TOML"),
    ],
)
def test_a_mistake_in_the_owners_names_is_a_mistake_in_the_settings(tmp_path, fields, said):
    route = route_with(tmp_path, 'shapefile = true\nfields = "owner.toml"', fields)
    with pytest.raises(SettingsError, match=said):
        settings.load(route)


@pytest.mark.parametrize(
    ("export", "said"),
    [
        ("shapefil = true", "the nearest known is 'shapefile'"),
        ('kml = "yes"', "allowed: true or false"),
        ('fields = "../owner.toml"', "a path within the route folder"),
        ('fields = "absent.toml"', "absent.toml: there is no such file"),
    ],
)
def test_a_mistake_in_export_is_told_with_its_key(tmp_path, export, said):
    with pytest.raises(SettingsError, match=said):
        settings.load(route_with(tmp_path, export))


def test_without_the_library_a_drawing_is_refused_before_anything_is_read(tmp_path, monkeypatch):
    monkeypatch.setattr("asbuilt.settings.export.find_spec", lambda _: None)
    with pytest.raises(SettingsError, match=r'ezdxf is not installed; install "asbuilt\[dxf\]"'):
        settings.load(route_with(tmp_path, "dxf = true"))


def test_the_command_writes_exports_that_are_summed_verified_and_replaced(tmp_path):
    asked = '[export]\nshapefile = true\ngeojson = true\nfields = "owner.toml"'
    route, out = make_route(tmp_path / "route", more=asked), tmp_path / "out"
    (route / "owner.toml").write_text('[joints]\njoint_id = "REF"', encoding="utf-8")
    for _ in range(2):  # the second time it takes the place of one of ours, folder within and all
        result = CliRunner().invoke(cli.main, ["build", str(route), "-o", str(out)])
        assert result.exit_code == 0, result.output
    listed = checksums.listed(out)
    assert "exports/joints.shp" in listed
    assert checksums.held(out) == listed | {checksums.NAME}
    files = {check.name: check for check in verify.verify(out)}
    assert verify.holds(list(files.values())), [c.faults for c in files.values() if c.faults]
    (out / "exports" / "joints.dbf").write_bytes(b"x")
    assert not verify.holds(verify.verify(out))


def test_something_of_the_users_in_the_folder_of_exports_is_not_thrown_away(tmp_path):
    route, out = make_route(tmp_path / "route", more="[export]\ngeojson = true"), tmp_path / "out"
    assert CliRunner().invoke(cli.main, ["build", str(route), "-o", str(out)]).exit_code == 0
    (out / "exports" / "notes.txt").write_text("mine", encoding="utf-8")
    result = CliRunner().invoke(cli.main, ["build", str(route), "-o", str(out)])
    assert result.exit_code == 2
    assert "exports/notes.txt is not of the hand-over" in result.output


def test_julian_days_are_those_of_the_format():
    """2451545.0 is noon of 1 January 2000 (definition of the epoch J2000.0)."""
    from datetime import datetime  # noqa: PLC0415

    from asbuilt.publish.export_dxf import _julian  # noqa: PLC0415

    assert math.isclose(float(_julian(datetime(2000, 1, 1, 12))), 2451545.0)
