"""A redacted copy: no person, remark or source path in any byte of it; places no finer than asked; and it says so."""

import json
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import shapely
from click.testing import CliRunner

from asbuilt import cli, tables, verify
from asbuilt.as_built import Exports
from asbuilt.build import publish
from asbuilt.coarse import coarsened
from asbuilt.errors import SettingsError
from asbuilt.redact import MARK, WITHHELD, redacted
from tests.conftest import SALTREACH
from tests.map_record import invented
from tests.published_outputs import every_text

GRID_M = 100.0
ALL = Exports(shapefile=True, geojson=True, kml=True)
# What our own dictionary says, such as the names that the contract gives to files: no secret of any route.
OURS = " ".join([*(t.says for t in tables.ALL), *(c.says for t in tables.ALL for c in t.columns)])


def built(out, *options):
    result = CliRunner().invoke(cli.main, ["build", str(SALTREACH), "-o", str(out), *options])
    assert result.exit_code == 0, result.output
    return result.output


@pytest.fixture(scope="module")
def copy(tmp_path_factory):
    out = tmp_path_factory.mktemp("redacted") / "out"
    return out, built(out, "--redact")


@pytest.fixture(scope="module")
def coarse(tmp_path_factory):
    out = tmp_path_factory.mktemp("coarse") / "out"
    return out, built(out, "--redact", "--coarsen", "100 m")


@pytest.fixture(scope="module")
def coarse_record(saltreach):
    return redacted(saltreach, coarsen_m=GRID_M)


def secrets(record):
    """Everything of the sample route that must not be read in a redacted copy."""
    joints, decisions, info = (record.tables[name] for name in ("joints", "decisions", "build_info"))
    found = {text for name in ("operator", "remarks", "photo", "trace") for text in joints[name]}
    found |= {text for name in ("time_recorded", "position_recorded") for text in joints[name]}
    found |= {text for name in ("name", "role", "reason", "reference") for text in decisions[name]}
    paths = set(info.loc[info["topic"] == "input", "name"]) | set(joints["source_file"])
    found |= paths | {path.rsplit("/", 1)[-1] for path in paths} | set(joints["source_sheet"])
    return {text for text in found if text and text not in OURS}


def heard(folder, words):
    return {(name, word) for name, text in every_text(folder) for word in words if word in text}


def numbers_in(folder):
    """Every number with decimals that a file says, also cut to 2, 3 and 8 of them."""
    found = {number for _, text in every_text(folder) for number in re.findall(r"\d+\.\d\d+", text)}
    return found | {number[: number.index(".") + 1 + n] for number in found for n in (2, 3, 8)}


# ---- nothing is left -------------------------------------------------------------------------------------------------


def test_the_full_record_says_what_the_copy_must_not(handover, saltreach):
    """So that the next test can fail: each of these is found, in more than one file."""
    words = secrets(saltreach)
    found = heard(handover, words)
    assert {word for _, word in found} == words
    assert len({name.split("/")[0] for name, _ in found}) >= 6
    assert {"op 3", "L. Heron (invented)", "records/crew_a.csv"} <= words


@pytest.mark.parametrize("kind", ["copy", "coarse"])
def test_no_byte_of_the_copy_names_a_person_a_remark_or_a_source(kind, request, saltreach):
    folder, printed = request.getfixturevalue(kind)
    words = secrets(saltreach)
    assert heard(folder, words) == set()
    assert [word for word in words if word in printed] == []


def test_exports_of_a_copy_are_redacted_too(saltreach, tmp_path):
    publish(replace(redacted(saltreach), exports=ALL), tmp_path)
    assert (tmp_path / "exports" / "joints.dbf").is_file()
    assert heard(tmp_path / "exports", secrets(saltreach)) == set()


def test_a_text_column_that_is_new_is_looked_at_before_it_goes_out():
    """A column whose words are the source's own is either taken out, or known to hold no person."""
    harmless = {
        ("joints", name)
        for name in ("joint", "string", "machine", "procedure", "method", "material", "replaces", "fix", "elevation_of")
    }
    harmless |= {("positions", "elevation_of"), ("strings", "string"), ("strings", "method")}
    harmless |= {("test_sections", name) for name in ("section", "result")}
    own = {
        (t.name, c.name)
        for t in tables.ALL
        for c in t.columns
        if c.kind == "text" and ("as recorded" in c.says or "untouched text" in c.says)
    }
    record = invented(60)
    frames = {
        t.name: record.tables[t.name].assign(**{c.name: "zzz of theirs" for c in t.columns if (t.name, c.name) in own})
        for t in tables.ALL
    }
    left = redacted(replace(record, tables=frames)).tables
    kept = {(name, c) for name, c in own if left[name][c].str.contains("zzz of theirs").any()}
    assert kept <= harmless


# ---- what is left is true --------------------------------------------------------------------------------------------


def test_verdicts_counts_and_ids_stay(saltreach):
    copy = redacted(saltreach)
    ours, theirs = saltreach.tables["joints"], copy.tables["joints"]
    for name in ("joint_id", "fusion_verdict", "position_verdict", "chainage_m", "machine", "fused_at", "closed"):
        pd.testing.assert_series_equal(theirs[name], ours[name])
    assert copy.counts == saltreach.counts
    for name, frame in saltreach.tables.items():
        assert list(copy.tables[name].columns) == list(frame.columns)
        assert (copy.tables[name].dtypes == frame.dtypes).all()


def test_the_record_it_was_made_from_is_not_touched(saltreach):
    before = {name: frame.copy() for name, frame in saltreach.tables.items()}
    redacted(saltreach, coarsen_m=GRID_M)
    for name, frame in saltreach.tables.items():
        pd.testing.assert_frame_equal(frame.drop(columns="geometry", errors="ignore"),
                                      before[name].drop(columns="geometry", errors="ignore"))  # fmt: skip


def test_a_file_is_the_same_source_wherever_it_is_named(saltreach):
    copy = redacted(saltreach)
    pairs = set(zip(saltreach.tables["joints"]["source_file"], copy.tables["joints"]["source_file"], strict=True))
    assert len(pairs) == len({theirs for _, theirs in pairs}) == saltreach.tables["joints"]["source_file"].nunique()
    number = dict(pairs)["records/crew_c.csv"]
    assert re.fullmatch(r"source \d+", number)
    assert any(number in text for text in copy.statements)


def test_a_decision_stays_with_its_day_and_without_its_person(saltreach):
    copy = redacted(saltreach)
    ours, theirs = saltreach.tables["decisions"], copy.tables["decisions"]
    for name in ("decision", "date", "state", "joint_id"):
        assert list(theirs[name]) == list(ours[name])
    assert set(copy.tables["joints"]["decision"]) == {
        text.split(";")[0] for text in saltreach.tables["joints"]["decision"]
    }


def test_a_sentence_that_names_a_person_is_left_out_and_its_finding_says_so(saltreach):
    copy = redacted(saltreach)
    named = [text for text in saltreach.statements if "op 7" in text]
    assert named
    assert len(copy.statements) == len(saltreach.statements) - len(named)
    about = saltreach.tables["findings"]["statement"].str.contains("op 7")
    assert set(copy.tables["findings"].loc[about, "statement"]) == {WITHHELD}


@pytest.mark.parametrize("name", ["B", "12", "in", "J"])
def test_a_short_name_is_found_where_it_is_said_and_does_not_take_all_else_along(name):
    record = invented(60)
    joints = record.tables["joints"].assign(operator=name)
    said = (f"Qualification of operator {name} ended.", "12 joints in J street, B side.")
    copy = redacted(replace(record, tables={**record.tables, "joints": joints}, statements=said))
    assert copy.statements == said[1:]
    assert set(copy.tables["joints"]["operator"]) == {""}


def test_a_quoted_cell_is_not_repeated():
    record = invented(60)
    joints = record.tables["joints"].copy()
    joints.loc[0, "reasons"] = "Column Latitude: 'call Ann 0400 111' is not a number. B101's place stays."
    copy = redacted(replace(record, tables={**record.tables, "joints": joints}))
    said = copy.tables["joints"]["reasons"].iloc[0]
    assert said == "Column Latitude: '...' is not a number. B101's place stays."


# ---- places ----------------------------------------------------------------------------------------------------------


def test_every_place_is_made_of_the_grid_alone(coarse_record):
    frames = coarse_record.tables
    vertices = frames["alignment_vertices"]
    for name in ("easting", "northing", "chainage_m"):
        assert vertices[name].mod(GRID_M).eq(0).all()
    for table, names in (("joints", ("chainage_m", "fix_chainage_m")), ("positions", ("easting", "northing")),
                         ("gaps", ("from_chainage_m", "to_chainage_m", "length_m"))):  # fmt: skip
        for name in names:
            assert frames[table][name].dropna().mod(GRID_M).eq(0).all(), (table, name)
    line = frames["alignment"]["geometry"].iloc[0]
    placed = frames["joints"]["geometry"].dropna().to_numpy()
    assert shapely.distance(placed, line).max() < 1e-6
    assert frames["joints"]["elevation_m"].isna().all()


def test_nothing_moved_farther_than_the_radius_now_says(saltreach, coarse_record):
    ours, theirs = saltreach.tables["joints"], coarse_record.tables["joints"]
    moved = np.hypot(theirs["easting"] - ours["easting"], theirs["northing"] - ours["northing"])
    assert moved.max() > 10
    placed = moved.notna()
    assert (theirs["radius95_m"] >= ours["radius95_m"] + moved)[placed].all()
    assert theirs.loc[~placed, "radius95_m"].isna().all()
    assert list(theirs["chainage_m"].isna()) == list(ours["chainage_m"].isna())


def test_a_gap_still_lies_in_its_bracket(saltreach, coarse_record):
    ours, theirs = saltreach.tables["gaps"], coarse_record.tables["gaps"]
    assert (theirs["from_chainage_m"] <= ours["from_chainage_m"]).all()
    assert (theirs["to_chainage_m"] >= ours["to_chainage_m"]).all()
    assert (theirs["length_m"] > 0).all()


def test_no_sentence_of_a_coarse_copy_has_a_finer_station(coarse):
    station = re.compile(r"(?<![\w.+])\d+\+\d{3}\.\d\d(?![\w+])")
    found = {
        text for name, said in every_text(coarse[0]) if not name.endswith(".gpkg") for text in station.findall(said)
    }
    assert len(found) > 10
    assert {
        text for text in found if not re.fullmatch(r"\d+\+\d[05]0\.00", text)
    } == set()  # one equation jumps by 50 m


def test_no_file_of_a_coarse_copy_has_a_place_of_the_full_one(coarse, saltreach, handover):
    joints = saltreach.tables["joints"].dropna(subset=["chainage_m"])
    told = {"chainage_m": 3, "easting": 2, "northing": 2, "latitude": 8, "longitude": 8}  # decimals of each
    words = {f"{abs(value):.{n}f}" for name, n in told.items() for value in joints[name]}
    pairs = {f"{y:.7f}, {x:.7f}" for y, x in zip(joints["latitude"], joints["longitude"], strict=True)}
    assert len(words) > 1000
    assert len(heard(handover, pairs)) > 100
    assert heard(coarse[0], pairs) == set()
    assert len(words & numbers_in(handover)) > 1000  # so that the next line can fail
    assert words & numbers_in(coarse[0]) == set()


def test_a_grid_as_long_as_the_line_is_refused():
    with pytest.raises(SettingsError, match="the line main is too short for it; ask for a finer grid than 100000 m"):
        coarsened(invented(60), 100_000.0)


# ---- it says so ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["copy", "coarse"])
def test_every_output_is_marked_and_the_files_agree(kind, request):
    folder, printed = request.getfixturevalue(kind)
    assert MARK in printed
    said = dict(every_text(folder))
    for name in ("README.txt", "joint_map.html", "joint_log.csv-metadata.json", "joints.gpx", "handover.pdf/text",
                 "asbuilt.gpkg/dump", "joint_log.xlsx/xl/worksheets/sheet1.xml"):  # fmt: skip
        assert MARK in said[name], name
    checks = verify.verify(folder)
    assert verify.holds(checks), [(c.name, c.faults) for c in checks if c.faults]


def test_a_coarse_copy_has_no_sheets_at_a_true_scale(copy, coarse):
    assert (copy[0] / "alignment_sheets.pdf").is_file()
    assert not (coarse[0] / "alignment_sheets.pdf").exists()
    assert "grid of 100 m" in " ".join((coarse[0] / "README.txt").read_text(encoding="utf-8").split())


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--coarsen", "100 m"], "--coarsen: it is asked for without --redact"),
        (["--redact", "--coarsen", "100"], "a length with its unit"),
        (["--redact", "--coarsen", "5 kg"], "a length with its unit"),
        (["--redact", "--coarsen", "0 m"], "found '0 m'"),
    ],
)
def test_a_wrong_call_is_refused_and_nothing_is_written(tmp_path, options, said):
    result = CliRunner().invoke(cli.main, ["build", str(SALTREACH), "-o", str(tmp_path / "out"), *options])
    assert result.exit_code == 2
    assert said in result.output
    assert not (tmp_path / "out").exists()


def test_a_background_from_the_network_is_not_in_a_copy(saltreach):
    from asbuilt.as_built import Tiles  # noqa: PLC0415

    tiled = replace(saltreach, tiles=Tiles("https://tiles.example.org/{z}/{x}/{y}.png", "nobody", 19))
    assert redacted(tiled).tiles is None
    assert json.dumps([layer.source for layer in redacted(tiled).context]) == '["", ""]'
