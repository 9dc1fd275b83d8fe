"""Joint records as they come, from every source of the route, as one stated table: one row for each source row.

A cell that cannot be read leaves its quantity not recorded and its row a joint; the fault is kept with the row. A
row that cannot be a joint is kept with the reason. What makes a whole file unreadable is refused, for all files
at once.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import reduce
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from asbuilt.crs import Crossing
from asbuilt.errors import AsBuiltError, InputError, Problem
from asbuilt.fields import FIELDS, KIND_WORDS, NOT_BUTT
from asbuilt.read.cells import Read, decimal_sign, numbers, text, texts
from asbuilt.read.headings import Layout, layout, listed
from asbuilt.read.positions import Target, positions
from asbuilt.read.rows import SourceRows, source_rows
from asbuilt.read.sheets import Sheet, read_sheets
from asbuilt.read.times import moments
from asbuilt.settings import RecordSource, Settings, matching


@dataclass(frozen=True)
class Readings:
    """All source rows. `rows` has one row each, in the order of route.toml, files, sheets and rows, with the columns

    source_file, sheet, source_row, cells, why_not (empty for a record), faults (tuple of texts), unread (tuple of field
    and heading for each quantity whose cell could not be read), the stored name of every field, fused_at and started_at
    (UTC), easting, northing (working frame), sd_m, frame_accuracy_m, frame_origin, time_recorded, position_recorded,
    and a kind for each pressure. `recorded` are the fields that have a column in any source.
    """

    rows: pd.DataFrame
    notes: tuple[str, ...]
    crossings: tuple[Crossing, ...]
    recorded: frozenset[str]


def read(settings: Settings, target: Target, *, step: Callable[[str], None] = lambda _: None) -> Readings:
    """Read every source of the route. `step` is told each file. Raises InputError with the problems of all files."""
    parts: list[_Part] = []
    problems: list[Problem] = []
    for source in settings.records:
        for path, file in _files(settings.folder, source):
            step(file)
            try:
                parts += _read_file(path, file, source=source, settings=settings, target=target)
            except AsBuiltError as error:
                problems += error.problems
    if problems:
        raise InputError(problems)
    rows = pd.concat([p.rows for p in parts], ignore_index=True) if parts else pd.DataFrame()
    if rows.empty:
        raise InputError(Problem("records", "there is not one row below a heading in any file", "check records.files"))
    recorded: frozenset[str] = reduce(lambda a, b: a | b.recorded, parts, frozenset())
    crossings = tuple(dict.fromkeys(p.crossing for p in parts if p.crossing))
    return Readings(rows, tuple(dict.fromkeys(n for p in parts for n in p.notes)), crossings, recorded)


@dataclass(frozen=True)
class _Part:
    rows: pd.DataFrame
    notes: tuple[str, ...]
    crossing: Crossing | None
    recorded: frozenset[str]


def _files(folder: Path, source: RecordSource) -> Iterator[tuple[Path, str]]:
    found = {p for pattern in source.files for p in matching(folder, pattern)}
    for path in sorted(found):
        yield path, path.relative_to(folder).as_posix()


def _read_file(path: Path, file: str, *, source: RecordSource, settings: Settings, target: Target) -> list[_Part]:
    sheets = [(sheet, layout(sheet, source)) for sheet in read_sheets(path, file, source)]
    skipped = tuple(
        f"{s.where}: no row is a heading of joint records; not read" for s, found in sheets if found is None
    )
    used = [(sheet, found) for sheet, found in sheets if found is not None]
    if not used:
        do = "map its columns in [records.columns], or say heading_row"
        raise InputError(Problem(file, "no row is a heading of joint records", do))
    tables = [(sheet, found, source_rows(sheet, found)) for sheet, found in used]
    stated = {".": ".,", ",": ",."}.get(source.decimal or "")  # then the other sign parts thousands
    decimal = stated or _decimal(file, [(found, rows) for _, found, rows in tables])
    zone = source.timezone or settings.route.timezone
    parts = [
        _Reader(sheet, found, rows, source=source, decimal=decimal, zone=zone).part(target)
        for sheet, found, rows in tables
    ]
    return [*parts, _Part(pd.DataFrame(), skipped, None, frozenset())]


def _decimal(file: str, tables: list[tuple[Layout, SourceRows]]) -> str:
    kinds = ("number", "plane", "latitude", "longitude")
    columns = [rows.of(use) for found, rows in tables for use in found.uses.values() if use.field.kind in kinds]
    sign = decimal_sign(columns)
    if sign == "?":
        what = "whether a comma parts decimals or thousands is not clear from its numbers"
        raise InputError(Problem(file, what, 'say decimal = "," or decimal = "." in its [[records]] table'))
    return sign or "."


@dataclass(frozen=True)
class _Reader:
    """One sheet on its way to a stated table. `faults` gathers what cannot be read, by row."""

    sheet: Sheet
    found: Layout
    rows: SourceRows
    source: RecordSource
    decimal: str
    zone: ZoneInfo | None
    faults: dict[int, list[str]] = field(default_factory=dict)
    unread: dict[int, list[tuple[str, str]]] = field(default_factory=dict)

    def part(self, target: Target) -> _Part:
        """Read every column."""
        _refuse_without_joint(self.sheet, self.found)
        plain = [f for f in FIELDS.values() if f.kind in ("text", "number") and f.name != "accuracy"]
        columns: dict[str, object] = {f.stored: self._field(f.name) for f in plain}
        columns |= {f"{n}_kind": self._pressure_kind(n) for n in FIELDS if FIELDS[n].is_pressure}
        columns["method"] = _method_in_kind(columns["method"], columns["kind"])
        columns["kind"] = self._kinds(columns["kind"])
        time_notes = self._times(columns)
        target = replace(target, epoch=_epoch(columns["fused_at"]))
        how = {"uses": self.found.uses, "source": self.source, "decimal": self.decimal, "target": target}
        place = positions(self.sheet, self.rows, **how)  # type: ignore[arg-type]
        for i in np.flatnonzero(place.fault != ""):
            self._fault(int(i), place.fault[i])
        columns |= {"easting": place.easting, "northing": place.northing, "sd_m": place.sd_m}
        columns |= {"frame_accuracy_m": place.frame_accuracy_m, "position_recorded": place.recorded}
        columns |= {"frame_origin": place.crossing.origin if place.crossing else ""}
        columns |= {"source_file": self.sheet.file, "sheet": self.sheet.name, "source_row": self.rows.number}
        columns |= {"cells": self.rows.as_json, "why_not": self.rows.why_not}
        size = len(self.rows.cells)
        columns["faults"] = pd.Series([tuple(self.faults.get(i, ())) for i in range(size)], dtype=object)
        columns["unread"] = pd.Series([tuple(self.unread.get(i, ())) for i in range(size)], dtype=object)
        frame = pd.DataFrame(columns, index=range(size))
        notes = (*self.found.notes, *(f"{self.sheet.where}: {n}" for n in (*time_notes, *place.notes)))
        return _Part(frame, notes, place.crossing, frozenset(self.found.uses))

    def _fault(self, row: int, what: str) -> None:
        if not self.rows.why_not[row]:
            self.faults.setdefault(row, []).append(what)

    def _faults(self, read: Read, heading: str) -> np.ndarray:
        for row, what in read.faults.items():
            self._fault(row, f"column {heading}: {what}")
        return read.values

    def _field(self, name: str) -> np.ndarray:
        use = self.found.uses.get(name)
        is_text = FIELDS[name].kind == "text"
        if use is None:
            return np.full(len(self.rows.cells), None if is_text else np.nan, dtype=object if is_text else float)
        cells, heading = self.rows.of(use), use.columns[0].heading
        if is_text:
            return self._faults(texts(cells), heading)
        unit = FIELDS[name].unit
        read = numbers(cells, decimal=self.decimal, from_unit=use.unit, to_unit=unit)
        for row in read.faults:
            self.unread.setdefault(row, []).append((name, heading))
        return self._faults(read, heading)

    def _pressure_kind(self, name: str) -> str:
        use = self.found.uses.get(name)
        return use.spec.kind or "" if use else ""

    def _kinds(self, words: object) -> np.ndarray:
        use = self.found.uses.get("kind")
        own = {theirs.lower(): ours for theirs, ours in use.spec.words.items()} if use else {}
        out = []
        for i, word in enumerate(words):  # type: ignore[arg-type, var-annotated]
            meaning = (KIND_WORDS | own).get((word or "").lower())
            if meaning is None and use:
                self._fault(
                    i,
                    f"column {use.columns[0].heading}: {word!r} is no kind of joint that is known; read as production",
                )
            out.append(meaning or "production")
        return np.array(out, dtype=object)

    def _times(self, columns: dict[str, object]) -> list[str]:
        notes: list[str] = []
        for name, stored in (("time", "fused_at"), ("started", "started_at")):
            use = self.found.uses.get(name)
            cells = self.rows.of(use) if use else [None] * len(self.rows.cells)
            # rows that are no records may hold anything in this column: they have no say in its format
            cells = [None if why else cell for cell, why in zip(cells, self.rows.why_not, strict=True)]
            clock = self.source.corrections.clock
            read = moments(cells, stated=use.spec.format if use else "", zone=self.zone, clock=clock)
            if read.refusal and use:
                what, do = read.refusal
                raise InputError(Problem(f"{self.sheet.where}, column {use.heading}", what, do))
            columns[stored] = self._faults(Read(read.utc, read.faults), use.heading if use else "")
            columns[f"{name}_recorded"] = np.array([text(cell) for cell in cells], dtype=object)
            notes += [f"column {use.heading}: {n}" for n in read.notes] if use else []
        if self.source.time_is == "start":  # then it is a start, too, and stays what the joints are ordered by
            started = pd.Series(columns["started_at"])
            columns["started_at"] = started.fillna(pd.Series(columns["fused_at"])).to_numpy("datetime64[us]")
            notes.append("its times are those of the start, as route.toml says: fused_at is the start here")
        return notes


def _method_in_kind(methods: object, kinds: object) -> np.ndarray:
    """Some crews write into the kind how a joint was made: it is kept as the method where none is stated."""
    pairs = zip(methods, kinds, strict=True)  # type: ignore[call-overload]
    words = [m or (k if k and re.search(NOT_BUTT, k, re.IGNORECASE) else None) for m, k in pairs]
    return np.array(words, dtype=object)


def _epoch(fused_at: object) -> float | None:
    """Return the middle of the times as a decimal year; frames drift by centimetres a year, and a job takes months."""
    times = pd.Series(fused_at).dropna().sort_values()
    if times.empty:
        return None
    middle = times.iloc[len(times) // 2]
    return float(middle.year + (middle.day_of_year - 1) / 365.25)


def _refuse_without_joint(sheet: Sheet, found: Layout) -> None:
    if "joint" not in found.uses:
        do = f"map joint to one of: {listed(found.columns)}"
        raise InputError(Problem(sheet.where, "no column holds the joint number", do))
