"""The joint log as a workbook for people: joints, checks, gaps, source rows, decisions, and what the words mean.

A verdict is told by the colour of its cell and by a sign before its word. The sign is part of the cell's number format,
so that the value itself stays the plain word, for filters and formulas.
"""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from asbuilt import look, tables
from asbuilt.as_built import AsBuilt
from asbuilt.cautions import CAUTIONS, IN_SHORT
from asbuilt.publish.log_cells import MOST_ROWS, WIDEST, WORDS, cells, decimals, fitting, width, words
from asbuilt.sentence import summary

Columns = tuple[tables.Column, ...]
CSV_NAME, WORKBOOK_NAME = "joint_log.csv", "joint_log.xlsx"
SHEETS = (
    ("Joints", tables.JOINTS),
    ("Checks", tables.WINDOW_CHECKS),
    ("Gaps", tables.GAPS),
    ("Source rows", tables.RECORDS),
    ("Decisions", tables.DECISIONS),
)
# What is read first stands first; all other columns follow in the order of the table.
_FIRST = ("joint_id", "station", "fusion_verdict", "position_verdict", "decision", "reasons")
_ABOUT_WIDTH = 100
_ON_A_PAGE = 250  # characters side by side on a sheet of A3 or Tabloid that are still read with ease
_PAPERS = {"A3": 8, "Tabloid": 3}  # numbers of paper sizes in ECMA-376 (from memory)
_LINE, _TALLEST = 15.0, 409.0  # points; the tallest that a row may be (ECMA-376 readers, from memory)
_SENTENCES = ("decision", "reasons", "reason", "evidence", "said")  # cut on paper they would not be read: they wrap
_MOST_OF_HEAD = 120
_WORD_WIDTHS = (20, 24, 26, 8, 12, 70, 60)


def write_workbook(as_built: AsBuilt, path: Path, *, most_rows: int = MOST_ROWS) -> None:
    """Write the workbook to `path`: one sheet a table, before them counts and cautions, behind them the dictionary.

    A table with more rows than a sheet may have (`most_rows`, with the heading) says so in its last row and on the
    first sheet. The same record gives the same bytes.
    """
    options = {
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "constant_memory": True,
    }
    shown = {name: fitting(as_built.tables[table.name], table, most_rows - 1) for name, table in SHEETS}
    with xlsxwriter.Workbook(str(path), options) as book:
        naive = as_built.title.as_of.replace(tzinfo=None)
        book.set_properties({"title": f"{as_built.title.name}: joint log", "created": naive})
        formats = _Formats(book)
        cut = [f"{name}: {said}" for name, (_, said) in shown.items() if said]
        _about(_page(book, "About", as_built), as_built, formats, cut)
        for name, table in SHEETS:
            frame, said = shown[name]
            _table(_page(book, name, as_built), frame, _in_order(table), formats=formats, last=said)
        _words(_page(book, "Words", as_built), formats)


class _Formats:
    """The few formats of the workbook."""

    def __init__(self, book: xlsxwriter.Workbook) -> None:
        self.heading = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 2})
        self.title = book.add_format({"bold": True, "font_size": 16})
        self.bold = book.add_format({"bold": True, "valign": "top"})
        self.text = book.add_format({"num_format": "@", "indent": 1, "valign": "top"})
        self.long = book.add_format({"num_format": "@", "indent": 1, "valign": "top", "text_wrap": True})
        self.wrapped = book.add_format({"text_wrap": True, "valign": "top"})
        self.time = book.add_format({"num_format": "yyyy-mm-dd hh:mm", "valign": "top"})
        self.whole = book.add_format({"num_format": "0", "valign": "top"})
        self.number = {
            n: book.add_format({"num_format": f"0.{'0' * n}" if n else "0", "valign": "top"}) for n in range(9)
        }
        self.verdict = tuple({word: self._verdict(book, word, kind) for word in look.FUSION} for kind in (0, 1))

    @staticmethod
    def _verdict(book: xlsxwriter.Workbook, word: str, kind: int) -> Format:
        fill = look.FUSION[word].fill
        how = {"bg_color": fill, "font_color": _ink(fill), "bold": word == look.OUT_OF_WINDOW}
        return book.add_format({**how, "valign": "top", "num_format": f'"{look.SIGNS[word][kind]} "@'})


def _ink(fill: str) -> str:
    """Black or white, whichever stands out better on the fill."""
    red, green, blue = (int(fill[i : i + 2], 16) for i in (1, 3, 5))
    return "#000000" if 0.299 * red + 0.587 * green + 0.114 * blue > 128 else "#FFFFFF"


def _page(book: xlsxwriter.Workbook, name: str, as_built: AsBuilt) -> Worksheet:
    """Add a sheet that prints: laid across, with the route at its head, and pages and caution at its foot."""
    sheet, title = book.add_worksheet(name), as_built.title
    said = (
        f"{title.name[:_MOST_OF_HEAD]}: {name}",
        f"revision {title.revision[:20]}, as of {title.as_of:%Y-%m-%d %H:%M}",
    )
    left, right = (text.replace("&", "&&") for text in said)
    sheet.set_header(f"&L{left}&R{right}")
    sheet.set_footer(f"&L{IN_SHORT}&RPage &P of &N")
    sheet.set_landscape()
    sheet.set_paper(_PAPERS[as_built.form.sheets])
    sheet.set_margins(left=0.4, right=0.4, top=0.7, bottom=0.7)
    return sheet


# ---- words -----------------------------------------------------------------------------------------------------------


def _about(sheet: Worksheet, as_built: AsBuilt, formats: _Formats, cut: Sequence[str]) -> None:
    """The state of the line in sentences, what the figures refer to, the findings and the cautions."""
    title = as_built.title
    sheet.set_column(0, 0, 22, formats.wrapped)
    sheet.set_column(1, 1, _ABOUT_WIDTH, formats.wrapped)
    sheet.fit_to_pages(1, 0)
    sheet.set_row(0, 28)
    sheet.write_string(0, 0, f"{title.name}: joint log", formats.title)
    pairs = [("State", text) for text in summary(as_built)] + [("Not all here", text) for text in cut]
    pairs += [(name, value) for name, value in _title_pairs(as_built) if value]
    pairs += [("Signs", text) for text in _signs()]
    pairs += [("Finding", text) for text in as_built.statements] + [("Reading", text) for text in as_built.notes]
    pairs += [("Caution", text) for text in CAUTIONS]
    for row, (name, value) in enumerate(pairs, start=2):
        sheet.set_row(
            row, 16 * (1 + len(value) // (_ABOUT_WIDTH + 12))
        )  # not every program fits the height to wrapped text
        sheet.write_string(row, 0, name if name != pairs[row - 3][0] or row == 2 else "", formats.bold)
        sheet.write_string(row, 1, value, formats.wrapped)


def _signs() -> list[str]:
    """Say which sign stands before which verdict."""
    kinds = (("Fusion and each check", 0), ("Position", 1))
    return [f"{what}: {', '.join(f'{look.SIGNS[v][kind]} {v}' for v in look.IN_ORDER)}" for what, kind in kinds]


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


def _words(sheet: Worksheet, formats: _Formats) -> None:
    """What each column of each table means, with its unit and what it may hold."""
    rows = list(words())
    for at, wide in enumerate(_WORD_WIDTHS):
        sheet.set_column(at, at, wide, formats.wrapped)
        sheet.write_string(0, at, WORDS[at], formats.heading)
    _stands(sheet, rows=len(rows), columns=len(WORDS), pages=1)
    for number, row in enumerate(rows, start=1):
        for at, text in enumerate(row):
            if text:
                sheet.write_string(number, at, text, formats.wrapped if row[1] else formats.bold)


# ---- tables ----------------------------------------------------------------------------------------------------------


def _stands(sheet: Worksheet, *, rows: int, columns: int, pages: int) -> None:
    """Freeze and repeat the heading and the first column, and let every column be filtered."""
    sheet.freeze_panes(1, 1)
    sheet.repeat_rows(0)
    sheet.repeat_columns(0)
    sheet.fit_to_pages(pages, 0)
    sheet.autofilter(0, 0, max(rows, 1), columns - 1)


def _in_order(table: tables.Table) -> Columns:
    if table is not tables.JOINTS:
        return table.columns
    return tuple(sorted(table.columns, key=lambda c: _FIRST.index(c.name) if c.name in _FIRST else len(_FIRST)))


def _table(sheet: Worksheet, frame: pd.DataFrame, of: Columns, *, formats: _Formats, last: str) -> None:
    columns = [cells(frame[c.name], c) for c in of]
    blank = [len(frame) > 0 and all(v is None for v in values) for values in columns]
    widths = [width(values, column) for values, column in zip(columns, of, strict=True)]
    for at, wide in enumerate(widths):
        sheet.set_column(at, at, wide, None, {"hidden": blank[at]})
    shown = sum(w for w, is_blank in zip(widths, blank, strict=True) if not is_blank)
    _stands(sheet, rows=len(frame), columns=len(of), pages=math.ceil(shown / _ON_A_PAGE))
    sheet.set_row(0, 48)
    for at, column in enumerate(of):
        sheet.write_string(0, at, column.heading, formats.heading)
    filled = [(at, *_written(sheet, c, formats, widths[at]), columns[at]) for at, c in enumerate(of) if not blank[at]]
    heights = _heights([columns[at] for at, _, how, _ in filled if how is formats.long], len(frame))
    for row, lines in enumerate(heights):
        if lines > 1:
            sheet.set_row(row + 1, min(lines * _LINE, _TALLEST))
        for at, write, how, values in filled:
            if (value := values[row]) is not None:
                write(row + 1, at, value, how if how.__class__ is Format else how(value))
    if last:
        sheet.write_string(len(frame) + 1, 0, last, formats.bold)


def _heights(wrapped: Sequence[Sequence[str | None]], rows: int) -> list[int]:
    """Return how many lines each row needs: not every program fits the height to wrapped text."""
    lines = np.ones((len(wrapped) + 1, rows), dtype=int)
    for at, texts in enumerate(wrapped):
        lines[at] = np.ceil(np.array([len(text or "") for text in texts]) / WIDEST).clip(1)
    found: list[int] = lines.max(axis=0).tolist()
    return found


def _written(sheet: Worksheet, column: tables.Column, formats: _Formats, wide: float) -> tuple[Any, Any]:
    """Return how a value of the column is written, and its format or what gives it: once, for millions of cells."""
    if column.domain == "verdict":
        of = formats.verdict[column.name == "position_verdict"]
        return sheet.write_string, lambda word: of.get(word, formats.text)
    if column.kind == "real":
        return sheet.write_number, formats.number[decimals(column) if column.unit else 3]
    if column.kind == "integer":
        return sheet.write_number, formats.whole
    if column.kind == "time":
        return sheet.write_datetime, formats.time
    return sheet.write_string, formats.long if wide >= WIDEST and column.name in _SENTENCES else formats.text
