"""The joint log read back: the CSV as text, the workbook as cells."""

import csv
import io
import zipfile
from pathlib import Path
from typing import Any

import pandas as pd
import python_calamine

from asbuilt.errors import InputError, Problem
from asbuilt.publish.joint_log import CSV_NAME, WORKBOOK_NAME
from asbuilt.second.files import contents, text_of

_MOST_BYTES = 1 << 31
_MOST_UNPACKED = 1 << 33  # a workbook is a ZIP: what it says it unpacks to is asked first
_AGAIN = "take the hand-over anew from whoever made it"


def read_log(folder: Path) -> pd.DataFrame:
    """Return joint_log.csv as texts under its own headings; "" where a cell is empty. Raises InputError."""
    text = text_of(folder, CSV_NAME, _MOST_BYTES)
    csv.field_size_limit(_MOST_BYTES)
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error as error:
        raise InputError(Problem(CSV_NAME, f"it is no CSV ({error})", _AGAIN)) from error
    return _framed(rows, CSV_NAME)


def read_workbook(folder: Path) -> dict[str, pd.DataFrame]:
    """Return the sheets of joint_log.xlsx by name, each under its own headings. Raises InputError."""
    data = io.BytesIO(contents(folder, WORKBOOK_NAME, _MOST_BYTES))
    try:
        with zipfile.ZipFile(data) as parts:
            unpacked = sum(part.file_size for part in parts.infolist())
        if unpacked > _MOST_UNPACKED:
            raise InputError(Problem(WORKBOOK_NAME, f"it unpacks to {unpacked:,} bytes", _AGAIN))
        data.seek(0)
        book = python_calamine.CalamineWorkbook.from_filelike(data)
        sheets = {name: book.get_sheet_by_name(name).to_python(skip_empty_area=False) for name in book.sheet_names}
    except (zipfile.BadZipFile, python_calamine.CalamineError, OSError, ValueError, NotImplementedError) as error:
        raise InputError(Problem(WORKBOOK_NAME, f"it is no workbook ({error})", _AGAIN)) from error
    return {name: _framed(rows, f"{WORKBOOK_NAME} sheet {name}") for name, rows in sheets.items() if rows}


def _framed(rows: list[list[Any]], where: str) -> pd.DataFrame:
    """Return rows below their heading. Raises InputError where a row is of another length."""
    if not rows:
        raise InputError(Problem(where, "it is empty", _AGAIN))
    head = [str(cell) for cell in rows[0]]
    odd = next((number for number, row in enumerate(rows, start=1) if len(row) != len(head)), 0)
    if odd:
        raise InputError(Problem(f"{where} row {odd}", f"it has not the {len(head)} cells of the heading", _AGAIN))
    return pd.DataFrame(rows[1:], columns=pd.Index(head, dtype=object), dtype=object)
