"""Which rows of a sheet are records: blank rows are none, and a row that is none for another reason is kept with it."""

import json
import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

import numpy as np

from asbuilt.read.cells import NOTHING, text
from asbuilt.read.headings import Layout, Use
from asbuilt.read.sheets import Sheet

_TOTAL = re.compile(r"(grand\s+)?(sub)?(total|totals|sum|count|mean|average|summary)\b.*", re.IGNORECASE)


# Rows that are kept and shown, and about which nobody has to decide anything.
NO_RECORD = ("the heading repeated, not a record", "a total row, not a record")


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
        columns = [self.column(c.at) for c in use.columns]
        join = _moment if use.field.kind == "time" else _joined
        return [join(cells) for cells in zip(*columns, strict=True)]


def _joined(cells: tuple[Any, ...]) -> str:
    return " ".join(filter(None, map(text, cells)))


def _moment(cells: tuple[Any, ...]) -> Any:
    """Join a workbook's own date and time of day, or the numbers it keeps them as; else the texts."""
    day, clock = cells[0], cells[1]
    if len(cells) != 2 or not (isinstance(clock, time) or (isinstance(clock, float) and 0 <= clock < 1)):
        return _joined(cells)
    if isinstance(day, date) and isinstance(clock, time):
        return datetime.combine(day, clock)
    if isinstance(clock, float) and isinstance(day, date):
        return datetime.combine(day, time()) + timedelta(seconds=round(clock * 86400))
    return day + clock if isinstance(day, float) and isinstance(clock, float) and day.is_integer() else _joined(cells)


def source_rows(sheet: Sheet, layout: Layout) -> SourceRows:
    """Return the source rows of a sheet, each with what it holds as a JSON object of heading and text."""
    below = enumerate(_spread(sheet)[layout.first_row :], start=layout.first_row)
    kept = [(i, row) for i, row in below if any(text(c) for c in row)]
    texts = [[text(cell) for cell in row] for _, row in kept]
    return SourceRows(
        [row for _, row in kept],
        np.array([i if sheet.is_layer else i + 1 for i, _ in kept], dtype=np.int64),
        [_as_json(row, layout) for row in texts],
        np.array([_why_not(row, layout, sheet.is_layer) for row in texts], dtype=object),
    )


def _spread(sheet: Sheet) -> list[list[Any]]:
    """Return the rows with what stands in a cell merged downwards in each row of it that holds something else."""
    rows = list(sheet.rows)
    for top, left, bottom, right in sheet.merged:
        for i in range(top + 1, min(bottom + 1, len(rows))) if left == right else ():
            if any(text(c) for c in rows[i]) and left < len(rows[i]):
                rows[i] = [*rows[i][:left], rows[top][left], *rows[i][left + 1 :]]
    return rows


def _as_json(row: list[str], layout: Layout) -> str:
    headings = {c.at: c.heading for c in reversed(layout.columns)}
    first = {heading: at for at, heading in headings.items()}  # of two equal headings the second gets its place, too
    names = [headings.get(at, "") for at in range(len(row))]
    names = [n if first.get(n) == at else f"{n} column {at + 1}".lstrip() for at, n in enumerate(names)]
    return json.dumps({name: cell for name, cell in zip(names, row, strict=True) if cell}, ensure_ascii=False)


def _why_not(row: list[str], layout: Layout, is_feature: bool) -> str:
    filled = [cell for cell in row if cell]
    headings = {c.at: c.heading for c in layout.columns}
    named_by = layout.uses.get(layout.source.named_by)
    places = [c.at for c in named_by.columns] if named_by else []
    numbers = [row[at] for at in places if at < len(row) and row[at].lower() not in NOTHING]
    if sum(row[at] == heading for at, heading in headings.items() if at < len(row)) > len(filled) / 2:
        return NO_RECORD[0]
    if _TOTAL.fullmatch(filled[0]) and all(_TOTAL.fullmatch(number) for number in numbers):
        return NO_RECORD[1]
    if len(filled) == 1 and len(headings) > 2 and not is_feature:
        return f"only one cell is filled ({filled[0]!r}): a line of text, or a record without its values"
    if places and not numbers and layout.source.must_be_named:
        return "no joint number: give the row its number to make it a joint"
    return ""
