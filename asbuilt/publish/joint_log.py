"""The joint log, one row a joint: a workbook for people, and plain CSV for everything else."""

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from asbuilt import look, tables
from asbuilt.as_built import AsBuilt
from asbuilt.cautions import CAUTIONS
from asbuilt.sentence import summary

CSV_NAME, WORKBOOK_NAME = "joint_log.csv", "joint_log.xlsx"
_RUNS_AS_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_DECIMALS = {"m": 3, "mm": 2, "°": 8, "MPa": 4}
_ABOUT_WIDTH = 100
_SHEETS = (("Joints", tables.JOINTS), ("Gaps", tables.GAPS), ("Source rows", tables.RECORDS))


def write_csv(as_built: AsBuilt, path: Path) -> None:
    """Write the joints as CSV: UTF-8 with a mark, commas, headings with units, times in UTC as ISO 8601.

    A text that a spreadsheet would run as a formula gets an apostrophe in front.
    """
    frame = as_built.tables["joints"].drop(columns="geometry")
    out = pd.DataFrame({c.heading: _csv_column(frame[c.name], c) for c in tables.JOINTS.columns})
    out.to_csv(path, index=False, encoding="utf-8-sig", lineterminator="\r\n")


def _csv_column(values: pd.Series, column: tables.Column) -> pd.Series:
    if column.kind == "text":
        risky = values.str.startswith(_RUNS_AS_FORMULA)
        return values.where(~risky, "'" + values)
    if column.kind == "time":
        return values.dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    if column.kind == "real":
        return values.round(_DECIMALS.get(column.unit, 4))
    return values


def write_workbook(as_built: AsBuilt, path: Path) -> None:
    """Write joints, gaps and source rows as sheets of a workbook, with a first sheet of words, counts and cautions."""
    options = {
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "constant_memory": True,
    }
    with xlsxwriter.Workbook(str(path), options) as book:
        naive = as_built.title.as_of.replace(tzinfo=None)
        book.set_properties({"title": f"{as_built.title.name}: joint log", "created": naive})
        formats = _Formats(book)
        _about(book.add_worksheet("About"), as_built, formats)
        for name, table in _SHEETS:
            _sheet(book.add_worksheet(name), as_built.tables[table.name], table, formats)


class _Formats:
    """The few formats of the workbook. Verdicts are told by colour and by their word."""

    def __init__(self, book: xlsxwriter.Workbook) -> None:
        self.heading = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 2})
        self.title = book.add_format({"bold": True, "font_size": 16})
        self.bold = book.add_format({"bold": True, "valign": "top"})
        self.text = book.add_format({"num_format": "@", "indent": 1})
        self.wrapped = book.add_format({"text_wrap": True, "valign": "top"})
        self.time = book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
        self.number = {n: book.add_format({"num_format": f"0.{'0' * n}" if n else "0"}) for n in range(9)}
        self.verdict = {
            word: book.add_format(
                {"bg_color": drawn.fill, "font_color": _ink(drawn.fill), "bold": word == look.OUT_OF_WINDOW}
            )
            for word, drawn in look.FUSION.items()
        }


def _ink(fill: str) -> str:
    """Black or white, whichever stands out better on the fill."""
    red, green, blue = (int(fill[i : i + 2], 16) for i in (1, 3, 5))
    return "#000000" if 0.299 * red + 0.587 * green + 0.114 * blue > 128 else "#FFFFFF"


def _about(sheet: Worksheet, as_built: AsBuilt, formats: _Formats) -> None:
    """The state of the line in sentences, what the figures refer to, the findings and the cautions."""
    title = as_built.title
    sheet.set_column(0, 0, 22, formats.wrapped)
    sheet.set_column(1, 1, _ABOUT_WIDTH, formats.wrapped)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.set_row(0, 28)
    sheet.write_string(0, 0, f"{title.name}: joint log", formats.title)
    pairs = [("State", text) for text in summary(as_built)]
    pairs += [(name, value) for name, value in _title_pairs(as_built) if value]
    pairs += [("Finding", text) for text in as_built.statements] + [("Reading", text) for text in as_built.notes]
    pairs += [("Caution", text) for text in CAUTIONS]
    for row, (name, value) in enumerate(pairs, start=2):
        sheet.set_row(
            row, 16 * (1 + len(value) // (_ABOUT_WIDTH + 12))
        )  # not every program fits the height to wrapped text
        sheet.write_string(row, 0, name if name != pairs[row - 3][0] or row == 2 else "", formats.bold)
        sheet.write_string(row, 1, value, formats.wrapped)


def _title_pairs(as_built: AsBuilt) -> list[tuple[str, str]]:
    title = as_built.title
    return [
        ("Revision", title.revision),
        ("As of", title.as_of.isoformat(" ", "minutes")),
        ("Owner", title.owner),
        ("Contractor", title.contractor),
        ("Contract", title.contract),
        ("Easting, northing", title.crs),
        ("Latitude, longitude", title.base_crs),
        ("Lengths", f"{title.length_kind}, in metres; a station is {title.station_length}"),
        ("Procedure", title.procedure),
    ]


def _sheet(sheet: Worksheet, frame: pd.DataFrame, table: tables.Table, formats: _Formats) -> None:
    for at, column in enumerate(table.columns):
        blank = frame[column.name].isin([""]).all() or frame[column.name].isna().all()
        sheet.set_column(at, at, _width(column), None, {"hidden": bool(blank and len(frame))})
    sheet.freeze_panes(1, 1)
    sheet.set_row(0, 48)
    sheet.set_landscape()
    sheet.repeat_rows(0)
    sheet.repeat_columns(0)
    sheet.set_paper(8)  # A3: the log is wider than any paper, its ids stand on every page
    sheet.autofilter(0, 0, max(len(frame), 1), len(table.columns) - 1)
    for at, column in enumerate(table.columns):
        sheet.write_string(0, at, column.heading, formats.heading)
    cells = [_cells(frame[c.name], c) for c in table.columns]
    for row, values in enumerate(zip(*cells, strict=True), start=1):
        for at, value in enumerate(values):
            _write(sheet, row, at, value=value, column=table.columns[at], formats=formats)


def _cells(values: pd.Series, column: tables.Column) -> list[Any]:
    if column.kind == "time":
        return [None if pd.isna(v) else v.to_pydatetime().replace(tzinfo=None) for v in values]
    if column.kind == "real":
        decimals = _DECIMALS.get(column.unit, 4)
        return [None if np.isnan(v) else v for v in values.round(decimals).tolist()]
    return [None if v is pd.NA else v for v in values.astype(object).tolist()]


def _write(sheet: Worksheet, row: int, at: int, *, value: Any, column: tables.Column, formats: _Formats) -> None:
    if value is None or value == "":
        return
    if column.kind == "text":
        as_verdict: Format | None = formats.verdict.get(value) if column.name.endswith("verdict") else None
        sheet.write_string(row, at, value, as_verdict or formats.text)
    elif column.kind == "real":
        sheet.write_number(row, at, value, formats.number[_DECIMALS.get(column.unit, 3)])
    elif column.kind == "time":
        sheet.write_datetime(row, at, value, formats.time)
    elif column.kind == "boolean":
        sheet.write_string(row, at, "yes" if value else "no")
    else:
        sheet.write_number(row, at, value)


def _width(column: tables.Column) -> float:
    wide = {"reasons": 60, "reason": 60, "cells": 60, "evidence": 50, "joint_id": 16, "gap_id": 22, "fused_local": 24}
    return wide.get(column.name, 16 if column.kind in ("text", "time") else 11)
