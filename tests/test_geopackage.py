"""What the GeoPackage says of itself, checked with programs of others: two validators, an older GDAL, QGIS.

Debian's gdal-bin, python3-gdal and python3-qgis and the command geopackage-validator (pdok-geopackage-validator of
PyPI, with python3-gdal) are used where they are; where one is not, its tests are skipped and say so. CI does not
fetch them: together they take more than a gigabyte, and what they look at changes with a few rooms only (gpkg_*).
"""

# ruff: noqa: S608 - names of tables and columns are ours

import contextlib
import hashlib
import json
import os
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import get_args
from xml.etree import ElementTree

import pandas as pd
import pyproj
import pytest

from asbuilt import look, outcome, tables
from asbuilt.cautions import CAUTIONS
from asbuilt.domains import DOMAINS, Span, Words
from asbuilt.fields import KIND_WORDS
from asbuilt.judge import decisions as judged_decisions
from asbuilt.procedures import Status
from asbuilt.publish.geopackage import write_geopackage
from asbuilt.publish.gpkg_qml import qml
from asbuilt.publish.gpkg_relations import RELATIONS, Relation, pairs
from asbuilt.publish.gpkg_signs import SHEETS
from asbuilt.read.decisions import WORDS
from asbuilt.settings.model import AlignmentSource, StringSpec
from tests.conftest import SALTREACH
from tests.map_record import invented

SYSTEM_PYTHON = "/usr/bin/python3"
IN_QGIS = Path(__file__).with_name("in_qgis.py")
CONSTRAINED = [(t, c) for t in tables.ALL for c in t.columns if c.domain]


@pytest.fixture(scope="module")
def file(saltreach, tmp_path_factory):
    """The file of the sample route."""
    path = tmp_path_factory.mktemp("gpkg") / "saltreach.gpkg"
    write_geopackage(saltreach, path)
    return path


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """A file of an invented record with nasty texts, without photos or decisions."""
    path = tmp_path_factory.mktemp("gpkg") / "small.gpkg"
    write_geopackage(invented(), path)
    return path


def query(path, sql, *values):
    with contextlib.closing(sqlite3.connect(path)) as base:
        return base.execute(sql, values).fetchall()


def changed(path, folder, *statements):
    """A copy of the file in which somebody has changed something."""
    copy = folder / "changed.gpkg"
    shutil.copyfile(path, copy)
    with contextlib.closing(sqlite3.connect(copy)) as base:
        for statement in statements:
            base.execute(statement)
        base.commit()
    return copy


def ran(command, **environment):
    return subprocess.run(
        command, capture_output=True, text=True, check=False, env=os.environ | environment, timeout=300
    )


def needed(program):
    """The path of a program; without it the test is skipped."""
    found = shutil.which(program)
    if not found:
        pytest.skip(f"NOT CHECKED: {program} is not installed")
    return found


def system_python(module):
    """The Python of the system, where it has a module that no wheel brings; without it the test is skipped."""
    if not os.access(SYSTEM_PYTHON, os.X_OK):
        pytest.skip(f"NOT CHECKED: there is no {SYSTEM_PYTHON}")
    if ran([SYSTEM_PYTHON, "-c", f"import {module}"]).returncode:
        pytest.skip(f"NOT CHECKED: {SYSTEM_PYTHON} has no {module}")
    return SYSTEM_PYTHON


# ---- validators ------------------------------------------------------------------------------------------------------


def validated(path):
    """gdal-utils' validate_gpkg: SQLite alone, against the requirements of the standard and its extensions."""
    command = [sys.executable, "-m", "osgeo_utils.samples.validate_gpkg", "-k", "--extra", "--warning-as-error", path]
    return ran(command)


def test_the_validator_of_gdal_finds_nothing(file, small):
    for path in (file, small):
        run = validated(path)
        assert run.returncode == 0, run.stdout + run.stderr


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        ("UPDATE gpkg_data_columns SET column_name = 'nowhere' WHERE column_name = 'leg_probability'", "Req 105"),
        ("UPDATE gpkg_data_column_constraints SET max = -1 WHERE constraint_name = 'probability'", "Req 111"),
        ("UPDATE gpkg_metadata_reference SET md_file_id = 7", "Req 101"),
        ("UPDATE gpkg_metadata_reference SET timestamp = 'today'", "Req 100"),
        ("DROP TABLE joints_records", "mapping_table_name = joints_records"),
        ("ALTER TABLE layer_styles RENAME COLUMN id TO named", ""),  # a convention: no validator knows it
    ],
)
def test_the_validator_of_gdal_would_have_found_it(file, tmp_path, fault, said):
    run = validated(changed(file, tmp_path, fault))
    assert (run.returncode == 0) == (not said), run.stdout
    assert said in run.stdout + run.stderr


def test_a_second_validator_finds_nothing(file):
    """PDOK's geopackage-validator 0.14.5, the rules that are the standard's.

    Left out: rules of the Dutch government only (RQ2 no empty layer, RQ22 CRSs of its own list, RQ24 no row without a
    geometry; the standard allows all three). It reads with GDAL 3.4 or newer.
    """
    rules = "RQ1,RQ6,RQ7,RQ9,RQ10,RQ11,RQ13,RQ14,RQ15,RQ21,RQ23,RQ26"
    command = [needed("geopackage-validator"), "validate", "--gpkg-path", str(file), "--exit-on-fail"]
    run = ran([*command, "--validations", rules])
    said = json.loads(run.stdout)
    assert (run.returncode, said["success"], said["results"]) == (0, True, [])
    assert said["validations_executed"] == rules.split(",")


# ---- older readers ---------------------------------------------------------------------------------------------------


def test_an_older_gdal_opens_every_layer_without_a_warning(file):
    """Debian 12 has GDAL 3.6.2, of before the version of the standard that the library here would write by itself."""
    run = ran([needed("ogrinfo"), "-ro", "-al", "-so", "-nomd", file])
    assert (run.returncode, run.stderr) == (0, "")
    assert "warning" not in run.stdout.lower()
    named = [line.removeprefix("Layer name: ") for line in run.stdout.splitlines() if line.startswith("Layer name")]
    assert named[:9] == [table.name for table in tables.ALL if table.geometry]
    assert set(named) == {table.name for table in tables.ALL} | {"layer_styles", "photos"}
    assert query(file, "PRAGMA user_version") == [(10200,)]


def test_a_newer_version_of_the_standard_would_have_been_warned_of(file, tmp_path):
    newer = changed(file, tmp_path, "PRAGMA user_version = 10900")
    run = ran([needed("ogrinfo"), "-ro", "-so", "-nomd", newer, "joints"])
    assert "partially supported" in run.stderr


def test_an_older_gdal_reads_the_allowed_values(file):
    def told(domain):
        run = ran([needed("ogrinfo"), "-ro", "-nomd", "-fielddomain", domain, file])
        return [line.strip() for line in run.stdout.splitlines()]

    assert {f"{word}: {word}" for word in look.IN_ORDER} < set(told("verdict"))
    assert {"Minimum value: 0", "Maximum value: 1"} < set(told("probability"))
    open_ended = told("not_negative")
    assert "Minimum value: 0" in open_ended
    assert not any(line.startswith("Maximum") for line in open_ended)


# ---- the dictionary --------------------------------------------------------------------------------------------------


def test_every_column_of_every_table_is_described(file):
    said = {(t, c): rest for t, c, *rest in query(file, "SELECT * FROM gpkg_data_columns")}
    for table in tables.ALL:
        names = [row[1] for row in query(file, f"PRAGMA table_info({table.name})")]
        assert set(names) == {column for name, column in said if name == table.name}
        for column in table.columns:
            name, title, description, mime, constraint = said[table.name, column.name]
            assert (name, title, mime, constraint) == (column.heading, column.title, None, column.domain or None)
            assert description.startswith(column.says)
            assert f"unit {column.unit}" in description or not column.unit


def test_the_meaning_of_each_word_stands_at_its_column(file):
    ((told,),) = query(file, "SELECT description FROM gpkg_data_columns WHERE column_name = 'placed_by'")
    assert told.endswith("tally: pipe lengths alone, no fix of its own; fix+tally: fixes and pipe lengths together;"
                         " unplaced: no place could be found")  # fmt: skip


def outside(path):
    """Every value that the constraints in the file do not allow, found by SQL from the file alone."""
    found = []
    for table, column, name in query(
        path, "SELECT table_name, column_name, constraint_name FROM gpkg_data_columns WHERE constraint_name IS NOT NULL"
    ):
        sql = (
            f'SELECT "{column}" FROM "{table}" d WHERE "{column}" IS NOT NULL AND NOT EXISTS'
            " (SELECT 1 FROM gpkg_data_column_constraints c WHERE c.constraint_name = ? AND"
            f" ((constraint_type = 'enum' AND value = d.\"{column}\")"
            f" OR (constraint_type = 'range' AND d.\"{column}\" BETWEEN min AND max)))"
        )
        found += [(table, column, value) for (value,) in query(path, sql, name)]
    return found


def test_no_value_lies_outside_what_its_column_allows(file, small):
    assert len(CONSTRAINED) > 40
    assert outside(file) == []
    assert outside(small) == []


def test_a_value_that_is_not_allowed_would_be_found(file, tmp_path):
    worse = changed(file, tmp_path, "UPDATE window_checks SET verdict = 'fine' WHERE fid = 1")
    assert outside(worse) == [("window_checks", "verdict", "fine")]


def test_the_words_of_the_domains_are_those_that_the_rooms_write():
    def words(name):
        return set(DOMAINS[name].meanings)

    literal = {
        "laying_method": StringSpec.model_fields["method"].annotation,
        "length_kind": AlignmentSource.model_fields["length"].annotation,
    }
    assert {name: words(name) for name in literal} == {name: set(get_args(kind)) for name, kind in literal.items()}
    assert words("verdict") == set(look.IN_ORDER)
    assert words("joint_kind") == set(KIND_WORDS.values())
    assert words("outcome") == {*outcome.KEPT, outcome.DUPLICATE, outcome.SET_ASIDE}
    assert words("limit_status") == {*get_args(Status), "the writers' judgement"}
    assert words("decision") == set(WORDS)
    names = ("CURRENT", "STALE", "NOT_TIED", "SUPERSEDED", "CLOSES_NOTHING")
    assert words("decision_state") == {getattr(judged_decisions, name) for name in names}


def test_each_domain_serves_a_column_and_each_column_names_a_domain():
    assert {column.domain for _, column in CONSTRAINED} == set(DOMAINS)
    for _, column in CONSTRAINED:
        assert isinstance(DOMAINS[column.domain], Words if column.kind == "text" else Span)


# ---- the document ----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def document(file):
    ((standard, kind, text),) = query(file, "SELECT md_standard_uri, mime_type, metadata FROM gpkg_metadata")
    assert (standard, kind) == ("http://purl.org/dc/terms/", "application/json")
    return json.loads(text)


def test_the_document_says_what_when_and_whose(document, file, saltreach):
    title = saltreach.title
    assert document["title"] == f"{title.name}: installed line, revision P01"
    assert document["date"] == "2026-03-20T23:59:59+11:00"
    assert document["record"]["title"]["owner"] == title.owner
    assert query(file, "SELECT reference_scope, timestamp FROM gpkg_metadata_reference") == [
        ("geopackage", "2026-03-20T12:59:59.000Z")
    ]


def test_the_document_names_frame_datum_lengths_and_each_transformation(document):
    record = document["record"]
    assert pyproj.CRS.from_wkt(record["units"]["wkt"]) == pyproj.CRS.from_epsg(7855)
    assert record["units"]["datum"] == "Geocentric Datum of Australia 2020"  # EPSG register, datum 1168
    assert record["units"]["length kind"] == "grid"
    assert "http://www.opengis.net/def/crs/EPSG/0/7855" in document["conformsTo"]
    ways = [said for name, said in record["frame"].items() if " to " in name]
    assert ways
    assert all("accuracy" in said for said in ways)
    assert record["frame"]["heights"] == "as recorded; never transformed"


def test_the_document_holds_settings_checksums_and_cautions(document):
    route = (SALTREACH / "route.toml").read_bytes()
    assert document["record"]["setting"]["route.toml"].encode() == route
    assert f"route.toml (sha256 {hashlib.sha256(route).hexdigest()})" in document["source"]
    assert list(document["record"]["caution"].values()) == list(CAUTIONS)
    assert document["accessRights"] == CAUTIONS[-1]


def test_the_wkt_of_the_crs_is_in_its_newer_form_too(file):
    ((text,),) = query(file, "SELECT definition_12_063 FROM gpkg_spatial_ref_sys WHERE srs_id = 7855")
    assert text.startswith("PROJCRS[")
    assert pyproj.CRS.from_wkt(text) == pyproj.CRS.from_epsg(7855)


# ---- relations -------------------------------------------------------------------------------------------------------

KEYED = [relation for relation in RELATIONS if relation.related != "decisions"]


@pytest.mark.parametrize("relation", KEYED, ids=lambda r: r.pairs_table)
def test_the_pairs_are_those_that_sqlite_finds_by_the_keys(file, relation):
    same = " OR ".join(f"b.{ours} = r.{theirs}" for ours, theirs in relation.keys)
    wanted = query(
        file, f"SELECT b.fid, r.fid FROM {relation.base} b JOIN {relation.related} r ON {same} ORDER BY 1, 2"
    )
    assert query(file, f"SELECT base_id, related_id FROM {relation.pairs_table} ORDER BY 1, 2") == wanted
    assert wanted


def test_rows_are_numbered_in_the_order_of_the_tables(file, saltreach):
    joints = saltreach.tables["joints"]["joint_id"]
    assert query(file, "SELECT fid, joint_id FROM joints ORDER BY fid") == list(enumerate(joints, start=1))


def test_decisions_are_related_to_what_they_are_about(file):
    """Source row by file and row as SQLite puts them together, the others by id."""
    row = "r.source_file || CASE WHEN r.sheet IS NULL THEN '' ELSE '!' || r.sheet END || ':' || r.source_row"
    about = {"joints": "r.joint_id = d.joint_id", "gaps": "r.gap_id = d.gap_id"}
    about |= {"findings": "r.finding_id = d.finding_id", "records": f"{row} = d.row_id"}
    counted = {}
    for table, same in about.items():
        wanted = query(file, f"SELECT r.fid, d.fid FROM {table} r JOIN decisions d ON {same} ORDER BY 1, 2")
        assert query(file, f"SELECT base_id, related_id FROM {table}_decisions ORDER BY 1, 2") == wanted
        counted[table] = len(wanted)
    assert sum(counted.values()) == query(file, "SELECT count(*) FROM decisions")[0][0]


def test_empty_keys_belong_to_nothing_and_spaces_do_not_count():
    ours = pd.DataFrame({"from_joint": ["", "A", "B"], "to_joint": ["A", "A", ""]}, dtype="str")
    theirs = pd.DataFrame({"joint_id": [" A", "", "B"]}, dtype="str")
    relation = Relation("gaps", "joints", "features", (("from_joint", "joint_id"), ("to_joint", "joint_id")))
    assert pairs(ours, theirs, relation).tolist() == [[1, 1], [2, 1], [3, 3]]


def test_gdal_lists_the_relations(file):
    """Read by the library of the system, which knows the related tables extension since its version 3.6."""
    code = (
        "import json, sys; from osgeo import gdal; d = gdal.OpenEx(sys.argv[1]);"
        "r = [d.GetRelationship(n) for n in d.GetRelationshipNames() or ()];"
        "print(json.dumps([[x.GetLeftTableName(), x.GetRightTableName(), x.GetMappingTableName(),"
        " x.GetRelatedTableType()] for x in r]))"
    )
    run = ran([system_python("osgeo.gdal"), "-c", code, file])
    wanted = [[r.base, r.related, r.pairs_table, r.kind] for r in RELATIONS]
    assert sorted(json.loads(run.stdout)) == sorted([*wanted, ["joints", "photos", "joints_photos", "media"]])


def test_photos_are_media_of_their_joints(file, saltreach):
    sql = "SELECT j.joint_id, p.name, p.data, p.content_type FROM joints j JOIN joints_photos m ON m.base_id = j.fid"
    found = query(file, sql + " JOIN photos p ON p.id = m.related_id ORDER BY p.id")
    carried = [photo for photo in saltreach.photos if photo.jpeg]
    assert found == [(photo.joint_id, photo.name, photo.jpeg, "image/jpeg") for photo in carried]
    assert all(data.startswith(b"\xff\xd8\xff") for _, _, data, _ in found)  # the marks that a JPEG begins with
    assert len(found) == 2


def test_without_photos_there_is_no_table_of_them(small):
    assert query(small, "SELECT name FROM sqlite_master WHERE name LIKE '%photos%'") == []


# ---- styles ----------------------------------------------------------------------------------------------------------


def test_each_layer_has_one_style_by_default(file):
    styled = query(file, "SELECT f_table_name, f_geometry_column, useAsDefault, update_time FROM layer_styles")
    layers = [table.name for table in tables.ALL if table.geometry]
    assert sorted(styled) == sorted((name, "geom", 1, "2026-03-20T12:59:59.000Z") for name in layers)


def test_each_word_that_a_layer_is_drawn_by_has_a_rule():
    by = {"joints": {"fusion_verdict": "verdict"}, "gaps": {"kind": "gap_kind"}, "positions": {"method": "opinion"}}
    for sheet in SHEETS:
        for column, domain in by.get(sheet.table, {}).items():
            assert {rule.where[column] for rule in sheet.rules if column in rule.where} == set(DOMAINS[domain].meanings)


def test_rules_and_labels_name_columns_and_words_that_there_are():
    columns = {table.name: {c.name: c for c in table.columns} for table in tables.ALL}
    for sheet in SHEETS:
        own = columns[sheet.table]
        assert {name for label in sheet.labels for name in label.columns} <= set(own)
        for part in (*sheet.rules, *sheet.labels):
            for name, value in part.where.items():
                domain = DOMAINS.get(own[name].domain)
                assert not isinstance(domain, Words) or value in domain.meanings


def test_the_colours_are_those_of_the_map(file):
    ((style, sld),) = query(file, "SELECT styleQML, styleSLD FROM layer_styles WHERE f_table_name = 'joints'")
    for drawn in look.FUSION.values():
        red, green, blue = (int(drawn.fill[i : i + 2], 16) for i in (1, 3, 5))
        assert f'v="{red},{green},{blue},255"' in style
        assert drawn.fill in sld


def test_styles_are_well_formed(file):
    for style, sld in query(file, "SELECT styleQML, styleSLD FROM layer_styles"):
        assert ElementTree.fromstring(style).tag == "qgis"  # noqa: S314 - ours
        assert ElementTree.fromstring(sld).tag == "{http://www.opengis.net/sld}StyledLayerDescriptor"  # noqa: S314


def test_one_sheet_gives_the_same_style_twice():
    assert [qml(sheet) for sheet in SHEETS] == [qml(sheet) for sheet in SHEETS]


@pytest.fixture(scope="module")
def in_qgis(file, tmp_path_factory):
    """What QGIS says of the file, seen whole. `ASBUILT_SCREENS=folder` keeps the picture."""
    kept = os.environ.get("ASBUILT_SCREENS")
    folder = Path(kept) if kept else tmp_path_factory.mktemp("qgis")
    folder.mkdir(parents=True, exist_ok=True)
    command = [system_python("qgis.core"), IN_QGIS, file, folder / "geopackage.png", "0", "0", "0"]
    run = ran(command, QT_QPA_PLATFORM="offscreen")
    assert run.returncode == 0, run.stderr
    return json.loads(run.stdout)


def test_qgis_loads_each_layer_with_its_style(in_qgis, saltreach):
    for sheet in SHEETS:
        layer = in_qgis["layers"][sheet.table]
        assert (layer["valid"], layer["crs"], layer["renderer"]) == (True, "EPSG:7855", "RuleRenderer")
        assert layer["features"] == len(saltreach.tables[sheet.table])
        assert {rule.title for rule in sheet.rules} <= set(layer["rules"])
        assert layer["wrong_filters"] == []
        assert bool(layer["labels"]) == bool(sheet.labels)


def test_qgis_shows_headings_and_allowed_values(in_qgis):
    joints = in_qgis["layers"]["joints"]
    assert joints["aliases"] | {"fid": ""} == {"fid": ""} | {c.name: c.heading for c in tables.JOINTS.columns}
    assert joints["widgets"]["fusion_verdict"] == "ValueMap"
    assert joints["widgets"]["leg_probability"] == "Range"


def test_qgis_takes_the_other_style_too(in_qgis):
    assert [name for name, layer in in_qgis["layers"].items() if not layer["sld"] or layer["sld_says"]] == []
    assert len(in_qgis["layers"]["gaps"]["sld_rules"]) == 5


def test_what_stands_out_is_seen_in_the_picture(in_qgis):
    """Pixels of exactly these colours: joints in and out of window, not recorded, gaps, a ring."""
    assert in_qgis["errors"] == []
    seen = in_qgis["colours"]
    wanted = (
        look.FUSION[look.OUT_OF_WINDOW].fill,
        look.FUSION[look.IN_WINDOW].fill,
        look.FUSION[look.NOT_RECORDED].fill,
    )
    assert {colour: seen.get(colour, 0) > 100 for colour in (*wanted, look.GAP)} == dict.fromkeys(
        (*wanted, look.GAP), True
    )


# ---- bytes -----------------------------------------------------------------------------------------------------------


def test_the_same_record_gives_the_same_bytes(small, tmp_path):
    write_geopackage(invented(), tmp_path / "again.gpkg")
    assert (tmp_path / "again.gpkg").read_bytes() == small.read_bytes()
