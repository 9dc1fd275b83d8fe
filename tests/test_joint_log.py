"""The joint log: a workbook that people like to open, and CSV with a description by an open standard."""

import json
import re
import xml.etree.ElementTree as ET
import zipfile
from dataclasses import replace
from datetime import datetime

import openpyxl
import pandas as pd
import pytest
from csvw import Table as CsvwTable  # a reader of the W3C's recommendation, written by others
from openpyxl.utils.escape import unescape

from asbuilt import look, tables
from asbuilt.publish import log_cells
from asbuilt.publish.joint_log import write_workbook
from asbuilt.publish.log_csv import METADATA_NAME, metadata, write_csv, write_metadata
from tests.map_record import NASTY, invented

SHEETS = ["About", "Joints", "Checks", "Gaps", "Source rows", "Decisions", "Words"]
# Every built-in datatype of "Metadata Vocabulary for Tabular Data" (W3C, 2015) that is used here, from section 5.11.1.
DATATYPES = {"string", "double", "integer", "boolean", "dateTime"}


def log_of(record, folder, **how):
    write_workbook(record, folder / "log.xlsx", **how)
    return openpyxl.load_workbook(folder / "log.xlsx")


def column(sheet, heading):
    at = [c.value for c in sheet[1]].index(heading)
    return [row[at] for row in sheet.iter_rows(min_row=2)]


@pytest.fixture(scope="module")
def book(saltreach, tmp_path_factory):
    return log_of(saltreach, tmp_path_factory.mktemp("log"))


@pytest.fixture(scope="module")
def described(handover):
    return CsvwTable.from_file(handover / METADATA_NAME)


def with_joints(record, **columns):
    joints = record.tables["joints"].copy()
    for name, values in columns.items():
        joints.loc[: len(values) - 1, name] = values
    return replace(record, tables={**record.tables, "joints": joints})


# ---- the workbook ----------------------------------------------------------------------------------------------------


def test_there_is_one_sheet_for_each_thing(book):
    assert book.sheetnames == SHEETS


@pytest.mark.parametrize(
    ("sheet", "table"),
    [("Joints", "joints"), ("Checks", "window_checks"), ("Gaps", "gaps"), ("Source rows", "records")],
)
def test_a_sheet_has_every_row_and_every_heading_of_its_table(book, saltreach, sheet, table):
    spec = next(t for t in tables.ALL if t.name == table)
    assert {c.value for c in book[sheet][1]} == {c.heading for c in spec.columns}
    assert book[sheet].max_row - 1 == len(saltreach.tables[table])


def test_every_row_of_a_source_has_its_fate(book, saltreach):
    fates = [c.value for c in column(book["Source rows"], "Outcome")]
    assert len(fates) == saltreach.counts.rows
    assert fates.count("set aside") == saltreach.counts.set_aside


def test_the_words_are_the_dictionary_of_all_tables(book):
    rows = {(r[0], r[1]) for r in book["Words"].iter_rows(min_row=2, values_only=True)}
    assert rows == {(t.name, c) for t in tables.ALL for c in (None, *t.names)}
    first = next(r for r in book["Words"].iter_rows(min_row=2, values_only=True) if r[:2] == ("gaps", "length_m"))
    assert first[2:5] == ("Length (m)", "m", "real")


def test_a_verdict_is_a_word_with_a_sign_and_a_colour(book, saltreach):
    cells = column(book["Joints"], "Fusion verdict")
    assert [c.value for c in cells] == list(saltreach.tables["joints"]["fusion_verdict"])
    seen = {c.value: (c.number_format, c.fill.fgColor.rgb[-6:]) for c in cells}
    assert look.OUT_OF_WINDOW in seen
    for word, (shown, colour) in seen.items():
        assert shown == f'"{look.SIGNS[word][0]} "@'
        assert colour == look.FUSION[word].fill.lstrip("#")


def test_the_signs_of_fusion_and_position_differ_for_every_verdict():
    signs = [sign for pair in look.SIGNS.values() for sign in pair]
    assert len(set(signs)) == len(signs) == 2 * len(look.FUSION)


def test_a_verdict_reads_on_its_colour():
    """WCAG 2.1, success criterion 1.4.3: at least 4.5 to 1 for text (formula of its glossary, from memory)."""

    def light(colour):
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    from asbuilt.publish.joint_log import _ink  # noqa: PLC0415

    for drawn in look.FUSION.values():
        high, low = sorted([light(drawn.fill), light(_ink(drawn.fill))], reverse=True)
        assert (high + 0.05) / (low + 0.05) >= 4.5


@pytest.mark.parametrize("name", SHEETS[1:])
def test_every_sheet_is_set_up_for_screen_and_paper(book, name):
    sheet = book[name]
    assert sheet.freeze_panes == "B2"
    assert sheet.auto_filter.ref.startswith("A1:")
    assert sheet.print_title_rows == "$1:$1"
    assert sheet.print_title_cols == "$A:$A"
    assert (sheet.page_setup.orientation, sheet.page_setup.paperSize) == ("landscape", 8)
    assert sheet.sheet_properties.pageSetUpPr.fitToPage
    assert int(sheet.page_setup.fitToHeight) == 0
    assert "Saltreach raw water main" in sheet.oddHeader.left.text
    assert "revision P01, as of 2026-03-20" in sheet.oddHeader.right.text
    assert sheet.oddFooter.right.text == "Page &P of &N"
    assert "utility locate" in sheet.oddFooter.left.text


def test_what_is_read_first_stands_first(book):
    head = [c.value for c in book["Joints"][1]]
    assert head[:4] == ["Joint id", "Station", "Fusion verdict", "Position verdict"]


def test_columns_are_as_wide_as_what_they_hold_and_empty_ones_are_hidden(book):
    sheet = book["Joints"]
    at = {c.value: sheet.column_dimensions[c.column_letter] for c in sheet[1]}
    assert at["Decision"].width > 3 * at["In line"].width
    assert at["Fusion verdict"].width >= len("◆ out of window") + 2
    long = next(c for c in column(sheet, "Decision") if c.value)
    assert long.alignment.wrap_text
    assert sheet.row_dimensions[long.row].height >= 15 * len(long.value) / 60
    assert at["Order"].hidden
    assert not at["Chainage (m)"].hidden


def test_numbers_are_numbers_times_are_times_and_ids_are_text(book, saltreach):
    joints = saltreach.tables["joints"]
    assert {c.data_type for c in column(book["Joints"], "Joint id")} == {"s"}
    chainages = column(book["Joints"], "Chainage (m)")
    assert chainages[0].value == pytest.approx(joints["chainage_m"].iloc[0], abs=5e-4)
    moment = column(book["Joints"], "Fused at (UTC)")[0].value
    assert isinstance(moment, datetime)
    assert pd.Timestamp(moment, tz="UTC") == joints["fused_at"].iloc[0].floor("s")


def test_no_text_becomes_a_formula_a_link_or_a_number(tmp_path):
    texts = ["=1+1", "+1", "-2", "@SUM(A1)", "\t=1", "\r=1", "http://example.org", "007", "{=1}", *NASTY]
    book = log_of(with_joints(invented(60), operator=texts), tmp_path)
    cells = column(book["Joints"], "Operator")[: len(texts)]
    assert {c.data_type for c in cells} == {"s"}
    assert [unescape(c.value) for c in cells] == texts
    with zipfile.ZipFile(tmp_path / "log.xlsx") as parts:
        sheets = [parts.read(n).decode() for n in parts.namelist() if "worksheets/sheet" in n]
    assert not any(re.search(r"<f[ >]|<hyperlink", text) for text in sheets)


def test_the_head_of_a_page_says_a_name_as_it_is(tmp_path):
    record = invented(60)
    title = replace(record.title, name="R&D main &P &A", revision="P&01")
    log_of(replace(record, title=title), tmp_path)
    with zipfile.ZipFile(tmp_path / "log.xlsx") as parts:
        sheet = ET.fromstring(parts.read("xl/worksheets/sheet2.xml"))  # noqa: S314 - ours
    said = next(e.text for e in sheet.iter() if e.tag.endswith("}oddHeader"))
    assert said == "&LR&&D main &&P &&A: Joints&Rrevision P&&01, as of 2026-03-20 17:30"


def test_a_cell_too_long_for_the_format_says_where_the_text_is(tmp_path):
    book = log_of(with_joints(invented(60), reasons=["x" * 40_000]), tmp_path)
    assert column(book["Joints"], "Reasons")[0].value == log_cells.TOO_LONG


def test_what_does_not_fit_a_sheet_is_said_and_what_stands_out_stays(tmp_path):
    record = invented(60)
    checks = record.tables["window_checks"]
    odd = int((checks["verdict"] != look.IN_WINDOW).sum())
    book = log_of(record, tmp_path, most_rows=len(checks))
    shown = column(book["Checks"], "Verdict")
    lost = len(checks) - odd
    assert [c.value for c in shown[:-1]] == list(checks.loc[checks["verdict"] != look.IN_WINDOW, "verdict"])
    last = book["Checks"].cell(book["Checks"].max_row, 1).value
    assert (
        last
        == f"{lost:,} more: left out here, 0 of them not in window. All are in the table window_checks of asbuilt.gpkg."
    )
    assert any(c.value == f"Checks: {last}" for c in book["About"]["B"])


def test_more_that_stands_out_than_fits_is_said_too():
    checks = invented(60).tables["window_checks"].assign(verdict=look.OUT_OF_WINDOW)
    kept, said = log_cells.fitting(checks, tables.WINDOW_CHECKS, 11)
    assert len(kept) == 10
    assert f"{len(checks) - 10:,} of them not in window" in said


def test_an_empty_route_and_us_paper_make_a_workbook(tmp_path):
    record = invented(60)
    frames = {t.name: tables.empty(t) for t in tables.ALL}
    empty = replace(record, tables=frames | {"alignment": record.tables["alignment"]})
    book = log_of(replace(empty, form=replace(record.form, sheets="Tabloid")), tmp_path)
    assert book["Joints"].max_row == 1
    assert book["Joints"].page_setup.paperSize == 3  # 11 x 17 inches (ECMA-376 part 1, 18.3.1.63, from memory)


def test_the_same_record_gives_the_same_bytes(tmp_path):
    for name in ("a.xlsx", "b.xlsx"):
        write_workbook(invented(60), tmp_path / name)
    assert (tmp_path / "a.xlsx").read_bytes() == (tmp_path / "b.xlsx").read_bytes()


# ---- the CSV and its description -------------------------------------------------------------------------------------


def test_another_reader_reads_the_csv_by_its_description(described, saltreach):
    rows, joints = list(described.iterdicts(strict=True)), saltreach.tables["joints"]
    assert [row["joint_id"] for row in rows] == list(joints["joint_id"])
    assert rows[0]["chainage_m"] == pytest.approx(joints["chainage_m"].iloc[0], abs=5e-4)
    assert isinstance(rows[0]["in_line"], bool)
    assert pd.Timestamp(rows[0]["fused_at"]) == joints["fused_at"].iloc[0].floor("s")
    assert described.check_primary_key()


def test_a_value_that_its_column_may_not_hold_is_refused_by_that_reader(tmp_path):
    record = with_joints(invented(60), fusion_verdict=["excellent"])
    write_csv(record, tmp_path / "joint_log.csv")
    write_metadata(record, tmp_path / METADATA_NAME)
    with pytest.raises(ValueError, match="excellent"):
        list(CsvwTable.from_file(tmp_path / METADATA_NAME).iterdicts(strict=True))


def test_the_description_keeps_the_rules_of_the_standard(handover):
    """W3C, "Metadata Vocabulary for Tabular Data", 2015: context, names, titles and primary key (from memory)."""
    said = json.loads((handover / METADATA_NAME).read_text(encoding="utf-8"))
    head = pd.read_csv(handover / "joint_log.csv", dtype=str, nrows=0).columns
    columns = said["tableSchema"]["columns"]
    assert f"{said['url']}-metadata.json" == METADATA_NAME
    assert said["@context"][0] == "http://www.w3.org/ns/csvw"
    assert [c["titles"] for c in columns] == list(head)
    names = [c["name"] for c in columns]
    assert len(set(names)) == len(names)
    assert all(re.fullmatch(r"[a-z0-9][a-z0-9_]*", name) for name in names)
    assert said["tableSchema"]["primaryKey"] in names
    bases = {c["datatype"]["base"] if isinstance(c["datatype"], dict) else c["datatype"] for c in columns}
    assert bases <= DATATYPES
    common = {key for c in columns for key in c} - {"name", "titles", "datatype", "required"}
    assert common == {"dc:description", "schema:unitText"}


def test_the_description_has_every_unit_and_meaning():
    said = {c["name"]: c for c in metadata(invented(60))["tableSchema"]["columns"]}
    for of in tables.JOINTS.columns:
        assert said[of.name].get("schema:unitText", "") == of.unit
        assert said[of.name]["dc:description"] == of.says
