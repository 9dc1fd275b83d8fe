"""A side file on its way to a stated table: read as joint records are, with fields of its own.

A row that cannot be used is kept with its reason. A cell that cannot be read is told, and leaves its value empty.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from asbuilt.crs import Crossing
from asbuilt.errors import AsBuiltError, InputError, Problem
from asbuilt.read.cells import Read, decimal_sign, numbers, texts
from asbuilt.read.headings import Columns, Layout, field_by_heading, layout, listed
from asbuilt.read.rows import SourceRows, source_rows
from asbuilt.read.sheets import Sheet, read_sheets
from asbuilt.read.times import moments
from asbuilt.settings import RecordSource, Settings, matching

SET_ASIDE = {"source_file": object, "sheet": object, "source_row": "int64", "cells": object, "reason": object}


@dataclass(frozen=True)
class SideTable:
    """One sheet of a side file. `faults` and `notes` gather what is to be told of it."""

    sheet: Sheet
    found: Layout
    rows: SourceRows
    decimal: str
    faults: dict[str, dict[int, str]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)

    def texts(self, name: str) -> np.ndarray:
        """Return a field as texts, object of shape (rows,); None where nothing stands."""
        use = self.found.uses.get(name)
        return texts(self.rows.of(use)).values if use else np.full(len(self.rows.cells), None, dtype=object)

    def numbers(self, name: str) -> Read:
        """Return a field as numbers in its stored unit; NaN where nothing stands or nothing can be read."""
        use = self.found.uses.get(name)
        if use is None:
            return Read(np.full(len(self.rows.cells), np.nan), {})
        return numbers(self.rows.of(use), decimal=self.decimal, from_unit=use.unit, to_unit=use.field.unit)

    def told(self, name: str, read: Read) -> np.ndarray:
        """Return the values of a field whose faults leave a cell empty and are told."""
        for row, what in read.faults.items():
            self.fault(row, f"column {self.found.uses[name].heading}", what)
        return read.values

    def fault(self, row: int, where: str, what: str) -> None:
        """Keep what is wrong with a row that stays in use."""
        self.faults.setdefault(where, {})[row] = what

    def moments(self, name: str, *, zone: ZoneInfo | None, clock: timedelta | None) -> np.ndarray:
        """Return a field as UTC, datetime64[us]; NaT: none. Raises InputError where the column cannot be read."""
        use = self.found.uses.get(name)
        cells = self.rows.of(use) if use else [None] * len(self.rows.cells)
        # rows that are none may hold anything in this column: they have no say in its format
        cells = [None if why else cell for cell, why in zip(cells, self.rows.why_not, strict=True)]
        read = moments(cells, stated=use.spec.format if use else "", zone=zone, clock=clock)
        if read.refusal and use:
            what, do = read.refusal
            do = do.replace("[[records]]", f"[{self.found.source.table}]")
            raise InputError(Problem(f"{self.sheet.where}, column {use.heading}", what, do))
        self.notes.extend(f"column {use.heading}: {n}" for n in read.notes if use)
        return self.told(name, Read(read.utc, read.faults))

    def need(self, name: str, what: str) -> None:
        """Raise InputError where no column holds the field `name`, which is `what`."""
        if name not in self.found.uses:
            do = f"map {name} in [{self.found.source.table}.columns] to one of: {listed(self.found.columns)}"
            raise InputError(Problem(self.sheet.where, f"no column holds {what}", do))

    def part(self, columns: Mapping[str, object], reason: np.ndarray, crossing: Crossing | None = None) -> "SidePart":
        """Return the stated columns; `reason`, object of shape (rows,), says why a row is set aside, else empty."""
        place = {"source_file": self.sheet.file, "sheet": self.sheet.name, "source_row": self.rows.number}
        kept = {"cells": self.rows.as_json, "where": [f"{self.sheet.where} row {n}" for n in self.rows.number]}
        frame = pd.DataFrame({**columns, **place, **kept, "reason": reason}, index=range(len(reason)))
        told = [*self.notes, *([] if len(frame) else ["there is no row below its heading"])]
        notes = (*self.found.notes, *(f"{self.sheet.where}: {n}" for n in told), *self._told_faults(reason))
        return SidePart(frame, notes, crossing)

    def _told_faults(self, reason: np.ndarray) -> Iterator[str]:
        """Say each kind of fault once, with the rows that have it; a row set aside says its own reason."""
        for where, by_row in self.faults.items():
            rows = [i for i in sorted(by_row) if not reason[i]]
            more = ", ".join(str(self.rows.number[i]) for i in rows[1:11]) + (", ..." if len(rows) > 11 else "")
            also = f"; such a fault also in row {more}" if more else ""
            if rows:
                yield f"{self.sheet.where} row {self.rows.number[rows[0]]}, {where}: {by_row[rows[0]]}{also}"


@dataclass(frozen=True)
class SidePart:
    """What one sheet gave: its columns with source_file, sheet, source_row, cells, where and reason."""

    frame: pd.DataFrame
    notes: tuple[str, ...]
    crossing: Crossing | None = None


def read_side(settings: Settings, source: RecordSource, read: Callable[[SideTable], SidePart]) -> list[SidePart]:
    """Read every sheet of a side file by `read`. Raises InputError with the problems of all its files."""
    parts: list[SidePart] = []
    problems: list[Problem] = []
    for path in sorted({p for pattern in source.files for p in matching(settings.folder, pattern)}):
        try:
            for table, notes in _tables(path, path.relative_to(settings.folder).as_posix(), source, settings):
                part = read(table)
                parts.append(replace(part, notes=(*notes, *part.notes)))
        except AsBuiltError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    return parts


def joined(parts: Iterable[SidePart], dtypes: Mapping[str, object]) -> pd.DataFrame:
    """Return the rows of all parts with the columns `dtypes`, and cells, where and reason; it may be empty."""
    every = {**dtypes, **SET_ASIDE, "where": object}
    frames = [part.frame for part in parts if len(part.frame)]
    frame = pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=list(every))
    return pd.DataFrame({name: _typed(frame[name], kind) for name, kind in every.items()})


def _typed(column: pd.Series, kind: object) -> pd.Series:
    """Return a column as its stated type; of texts None, and never NaN, is nothing."""
    if kind is not object:
        return column.astype(kind)  # type: ignore[call-overload]
    found = column.astype(object)
    return found.where(found.notna(), None)


def parted(frame: pd.DataFrame, dtypes: Mapping[str, object]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Part the rows in use from those that are set aside."""
    is_used = (frame["reason"] == "").to_numpy(bool)
    used, aside = frame.loc[is_used, list(dtypes)], frame.loc[~is_used, list(SET_ASIDE)]
    return used.reset_index(drop=True), aside.reset_index(drop=True)


def _tables(
    path: Path, file: str, source: RecordSource, settings: Settings
) -> Iterator[tuple[SideTable, tuple[str, ...]]]:
    sheets = [(sheet, *_layout(sheet, source, settings)) for sheet in read_sheets(path, file, source)]
    tables = [(sheet, found, source_rows(sheet, found), notes) for sheet, found, notes in sheets if found]
    if not tables:
        do = f"map its columns in [{source.table}.columns], or say heading_row in [{source.table}]"
        raise InputError(Problem(file, f"no row is a heading of the {source.table}", do))
    skipped = [f"{s.where}: no row is a heading of the {source.table}; not read" for s, found, _ in sheets if not found]
    decimal = _decimal(file, source, [(found, rows) for _, found, rows, _ in tables])
    for i, (sheet, found, rows, notes) in enumerate(tables):
        yield SideTable(sheet, found, rows, decimal), (*(skipped if i == 0 else ()), *notes)


def _layout(sheet: Sheet, source: RecordSource, settings: Settings) -> tuple[Layout | None, tuple[str, ...]]:
    """Return the layout, lengths without a unit being in that of the route, and what was so assumed."""
    guesses: dict[int, str] = {}

    def fill(columns: Columns) -> Columns:
        guesses.update(_without_unit(columns, source, settings))
        return tuple(replace(c, unit=c.unit or guesses.get(c.at, "")) for c in columns)

    found = layout(sheet, source, fill=fill)
    used = [use.columns[0] for use in found.uses.values() if use.columns[0].at in guesses] if found else []
    notes = (f"{sheet.where}: column {c.heading!r} states no unit: its bare numbers are read in {c.unit}" for c in used)
    return found, tuple(notes)


def _without_unit(columns: Columns, source: RecordSource, settings: Settings) -> dict[int, str]:
    """Return the unit of the route's lengths, by place, for columns that would fill a length and state no unit."""
    unit = ("us ft" if settings.route.foot == "survey" else "ft") if settings.route.units == "us" else "m"
    theirs = {heading.casefold(): name for name, spec in source.columns.items() for heading in spec.column}
    found = {}
    for column in columns:
        mapped = sorted(column.names & set(theirs))
        name = theirs[mapped[0]] if mapped else field_by_heading(column, source)
        stated = column.unit or (name in source.columns and source.columns[name].unit)
        is_hdop = name == "sd" and source.accuracy == "hdop"  # which has no unit
        if name and source.fields[name].unit == "m" and not (stated or is_hdop):
            found[column.at] = unit
    return found


def _decimal(file: str, source: RecordSource, tables: list[tuple[Layout, SourceRows]]) -> str:
    if source.decimal:
        return {".": ".,", ",": ",."}[source.decimal]  # then the other sign parts thousands
    kinds = ("number", "plane", "latitude", "longitude")
    columns = [rows.of(use) for found, rows in tables for use in found.uses.values() if use.field.kind in kinds]
    sign = decimal_sign(columns)
    if sign == "?":
        what = "whether a comma parts decimals or thousands is not clear from its numbers"
        raise InputError(Problem(file, what, f'say decimal = "," or decimal = "." in [{source.table}]'))
    return sign or "."
