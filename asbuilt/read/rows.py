"""Which rows of a sheet are records: blank rows are none, and a row that is none for another reason is kept with it."""

import json
import re
from dataclasses import dataclass
from typing import Any

import numpy as np

from asbuilt.read.cells import text
from asbuilt.read.headings import Layout, Use
from asbuilt.read.sheets import Sheet

_TOTAL = re.compile(r"(grand\s+)?(sub)?(total|totals|sum|count|mean|average|summary)\b.*", re.IGNORECASE)


@dataclass(frozen=True)
class SourceRows:
    """The non-empty rows below a heading. `why_not` is empty for a record, else why the row cannot be one."""

    cells: list[list[Any]]
    number: np.ndarray  # as a spreadsheet numbers rows; number of the feature in a layer
    as_json: list[str]
    why_not: np.ndarray

    def column(self, at: int) -> list[Any]:
        """Return the cells of one column; a short row ends in nothing."""
        return [row[at] if at < len(row) else None for row in self.cells]

    def of(self, use: Use) -> list[Any]:
        """Return the cells that fill a field; several columns are joined by a space."""
        if len(use.columns) == 1:
            return self.column(use.columns[0].at)
        parts = [[text(cell) for cell in self.column(c.at)] for c in use.columns]
        return [" ".join(filter(None, cells)) for cells in zip(*parts, strict=True)]


def source_rows(sheet: Sheet, layout: Layout) -> SourceRows:
    """Return the source rows of a sheet, each with what it holds as a JSON object of heading and text."""
    kept = [(i, row) for i, row in enumerate(sheet.rows) if i >= layout.first_row and any(text(c) for c in row)]
    texts = [[text(cell) for cell in row] for _, row in kept]
    return SourceRows(
        [row for _, row in kept],
        np.array([i if sheet.is_layer else i + 1 for i, _ in kept], dtype=np.int64),
        [_as_json(row, layout) for row in texts],
        np.array([_why_not(row, layout) for row in texts], dtype=object),
    )


def _as_json(row: list[str], layout: Layout) -> str:
    found = {c.heading: row[c.at] for c in layout.columns if c.at < len(row) and row[c.at]}
    beyond = {f"column {i + 1}": cell for i, cell in enumerate(row) if cell} if not found else {}
    return json.dumps(found or beyond, ensure_ascii=False)


def _why_not(row: list[str], layout: Layout) -> str:
    filled = [cell for cell in row if cell]
    headings = {c.at: c.heading for c in layout.columns}
    joint = layout.uses["joint"].columns[0].at if "joint" in layout.uses else -1
    if sum(row[at] == heading for at, heading in headings.items() if at < len(row)) > len(filled) / 2:
        return "the heading repeated, not a record"
    if _TOTAL.fullmatch(filled[0]) and not (0 <= joint < len(row) and row[joint] and not _TOTAL.fullmatch(row[joint])):
        return "a total row, not a record"
    if len(filled) == 1 and len(headings) > 2:
        return f"only one cell is filled ({filled[0]!r}): a line of text, not a record"
    if joint >= 0 and (joint >= len(row) or not row[joint]):
        return "no joint number: give the row its number to make it a joint"
    return ""
