"""Where the heading of a sheet stands, and which of its columns fills which field.

What the route file maps is looked up by name; what it does not map is matched by the common headings of the trade
and reported, or reported as not used.
"""

import difflib
import re
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np

from asbuilt.errors import InputError, Problem
from asbuilt.fields import Field
from asbuilt.quantities import UnitError, colon_parts, convert, plain_unit, unit
from asbuilt.read.columns import (
    ROWS_TO_LOOK_AT,
    Column,
    Columns,
    columns_at,
    listed,
    units_at,
    with_groups_merged,
    with_units,
)
from asbuilt.read.durations import spans, written
from asbuilt.read.sheets import GEOMETRY_X, GEOMETRY_Y, Sheet
from asbuilt.settings import ColumnSpec, RecordSource

_TIMES = ("s", "min")  # in which durations are stored


@dataclass(frozen=True)
class Use:
    """A field of ours and the columns that fill it (several are joined by a space)."""

    field: Field
    columns: Columns
    spec: ColumnSpec
    mapped: bool  # by the route file; else matched by a common heading

    @property
    def heading(self) -> str:
        """The headings, as a person would point at the columns."""
        return " + ".join(c.heading for c in self.columns)

    @property
    def unit(self) -> str:
        """The unit of the numbers: the route file's word, else the heading's."""
        return self.spec.unit or self.columns[0].unit


Uses = Mapping[str, Use]


@dataclass(frozen=True)
class Layout:
    """How a sheet is read: first data row (index), its columns, what is used for what, and what to tell the user.

    `source` is the table of the route file that asked for it.
    """

    source: RecordSource
    first_row: int
    columns: Columns
    uses: Uses
    notes: tuple[str, ...]


def layout(sheet: Sheet, source: RecordSource, *, fill: Callable[[Columns], Columns] = tuple) -> Layout | None:
    """Return how the sheet is to be read, or None where no row of it is a heading. Raises InputError.

    `fill` may give columns a unit that the sheet does not state; a quantity without one is not read.
    """
    sheet = sheet if sheet.is_layer else with_groups_merged(sheet)
    found = _heading_row(sheet, source)
    if found is None:
        return None
    units = units_at(sheet, found + 1)
    columns = fill(_columns(sheet, found, source=source, below=units))
    first = found + 1 + bool(units)
    colons = _Colons(sheet.rows[first:])
    mapped = _mapped(f"{sheet.where} row {found + 1}", source, columns=columns, colons=colons)
    matched, notes = _matched(source, columns, mapped, colons=colons)
    uses = {**mapped, **matched}
    notes = [*notes, *(f"column {u.heading!r}: {note}" for u in uses.values() if (note := colons.note(u)))]
    return Layout(source, first, columns, uses, tuple(f"{sheet.where}: {n}" for n in notes))


@dataclass(frozen=True)
class _Colons:
    """The rows below a heading, asked about durations with colons."""

    rows: list[list[Any]]

    def _cells(self, column: Column) -> list[Any]:
        return [row[column.at] if column.at < len(row) else None for row in self.rows]

    def unclear(self, field: Field, column: Column, stated: str) -> str:
        """Return why a column of durations with colons cannot be read in the unit that is stated; empty: it can."""
        if field.kind != "number" or field.unit not in _TIMES or colon_parts(stated):
            return ""
        if not (found := written(self._cells(column))):
            return ""
        many = "its only figure is" if found.count == 1 else f"all its {found.count} figures are"
        what = f"{many} written with a colon, as {found.example}"
        if colon_parts(column.unit):
            return f'{what}, and route.toml says {stated}: say unit = "{column.unit}", as the heading does'
        return f"{what}, and what its two sides are is not said: say {found.choice}"

    def note(self, use: Use) -> str:
        """Return what is to be said of how durations of a workbook were read."""
        return spans(self._cells(use.columns[0]), use.unit).note if colon_parts(use.unit) else ""


def _plain(heading: str) -> str:
    return " ".join(re.sub(r"[^\w%]+|_", " ", heading.casefold()).split())


@cache
def _common(kind: type[RecordSource]) -> Mapping[str, str]:
    """Return the field of each common heading; where two fields share one, the first has it."""
    fields = reversed(list(kind.fields.items()))
    return {_plain(heading): name for name, f in fields for heading in (*f.headings, name.replace("_", " "), name)}


def field_by_heading(column: Column, source: RecordSource) -> str | None:
    """Return the field that the trade commonly heads so, of those that the source may have."""
    return _common(type(source)).get(_plain(column.name))


def _columns(sheet: Sheet, row: int, *, source: RecordSource, below: Mapping[int, str]) -> Columns:
    columns = with_units(columns_at(sheet, row), below)
    if source.table != "trace":
        return columns
    # the clock of a curve is read in a room of its own, and says its parts itself
    return tuple(replace(c, name=c.heading, unit="") if colon_parts(c.unit) else c for c in columns)


def _heading_row(sheet: Sheet, source: RecordSource) -> int | None:
    if sheet.is_layer:
        return 0
    if source.heading_row is not None:
        if source.heading_row > len(sheet.rows):
            what = f"heading_row is {source.heading_row}, the file has {len(sheet.rows)} rows"
            raise InputError(Problem(sheet.where, what, "correct heading_row in route.toml"))
        row = source.heading_row - 1
        return row + any((top, bottom) == (row, row + 1) for top, _, bottom, _ in sheet.merged)  # the lower one of two
    wanted = {heading.casefold() for spec in source.columns.values() for heading in spec.column}
    scores = []
    for row in range(min(len(sheet.rows), ROWS_TO_LOOK_AT)):
        columns = columns_at(sheet, row)
        mapped = {name for c in columns for name in (c.names & wanted)}
        # each field counts once: a row of ticks ("x") is no heading of many eastings
        common = {field_by_heading(c, source) for c in columns if not c.names & wanted} - {None}
        score = 3 * len(mapped) + len(common)
        # of the two rows of a heading with merged groups the lower one names the columns
        scores.append((score, row if any(top < row <= bottom for top, _, bottom, _ in sheet.merged) else -row, row))
    score, _, row = max(scores, default=(0, 0, 0))
    return row if score >= 2 else None


def _mapped(where: str, source: RecordSource, *, columns: Columns, colons: _Colons) -> dict[str, Use]:
    uses, problems = {}, []
    for name, spec in source.columns.items():
        found = [_named(heading, columns) for heading in spec.column]
        for heading, matches in zip(spec.column, found, strict=True):
            if len(matches) != 1:
                problems.append(_not_one(where, name, heading, matches=matches, columns=columns))
        if all(len(matches) == 1 for matches in found):
            uses[name] = Use(source.fields[name], tuple(m[0] for m in found), spec, True)
    for name, use in uses.items():
        column = use.columns[0]
        if unclear := colons.unclear(use.field, column, use.unit):
            what, _, do = unclear.partition(": say ")
            problems.append(Problem(f"{where}, column {column.heading}", f"{name}: {what}", f"say {do}, in route.toml"))
        elif fault := _unit_fault(name, use.unit, source):
            quoted = column.heading.replace('"', "'")
            do = f'say its unit in route.toml, in place of the dots: {name} = {{ column = "{quoted}", unit = "..." }}'
            problems.append(Problem(f"{where}, column {column.heading}", f"{name}: {fault}", do))
    if problems:
        raise InputError(problems)
    return uses


def _unit_fault(name: str, found: str, source: RecordSource) -> str:
    """Return why numbers in the unit that was found cannot fill the field; empty where they can."""
    if not source.fields[name].unit or (name in ("accuracy", "sd") and source.accuracy == "hdop"):
        return ""
    if not found:
        return "it has no unit"
    try:
        convert(np.zeros(1), plain_unit(found), source.fields[name].unit)
    except UnitError as error:
        return str(error)
    return ""


def _named(heading: str, columns: Columns) -> list[Column]:
    exact = [c for c in columns if heading.casefold() == c.heading.casefold()]
    return exact or [c for c in columns if heading.casefold() in c.names]


def _not_one(where: str, name: str, heading: str, *, matches: list[Column], columns: Columns) -> Problem:
    if matches:
        names = [f"{c.group} {c.heading}" if c.group else f"column {c.at + 1}" for c in matches]
        what = f"{len(matches)} columns are headed {heading!r} (for {name})"
        return Problem(where, what, f"name the one that is meant: {' or '.join(map(repr, names))}")
    near = difflib.get_close_matches(heading, [c.heading for c in columns], n=1, cutoff=0.5)
    do = f"the nearest heading is {near[0]!r}" if near else f"the headings are {listed(columns)}"
    return Problem(where, f"no column is headed {heading!r} (for {name})", do)


def _matched(source: RecordSource, columns: Columns, mapped: Uses, *, colons: _Colons) -> tuple[Uses, list[str]]:
    taken = {c.at for use in mapped.values() for c in use.columns}
    spare = [c for c in columns if c.at not in taken and c.heading not in (GEOMETRY_X, GEOMETRY_Y)]
    wanted = Counter(field_by_heading(c, source) for c in spare)
    uses: dict[str, Use] = {}
    notes = [
        f"column {u.columns[0].heading!r} says {u.columns[0].unit}, and is read in {u.unit}, as route.toml says"
        for u in mapped.values()
        if u.columns[0].unit and _written_in(u.columns[0].unit) != _written_in(u.unit)
    ]
    unused = []
    for column in spare:
        name = field_by_heading(column, source)
        if name is None or name in mapped:
            unused.append(column.heading)
        elif why := _why_not(name, column, source, how_many=wanted[name], colons=colons):
            notes.append(f"column {column.heading!r} could be {name}, and is not used: {why}")
        else:
            uses[name] = Use(source.fields[name], (column,), ColumnSpec(column=(column.heading,)), False)
    used = _one_pair(uses, mapped)
    unused += [use.columns[0].heading for name, use in uses.items() if name not in used]
    pairs = [f"{u.heading!r} as {name}" for name, u in used.items() if _plain(u.columns[0].name) != _plain(name)]
    if pairs:
        notes.append(f"read by their heading, not mapped in route.toml: {', '.join(pairs)}")
    if unused:
        notes.append(f"columns not used: {', '.join(repr(h) for h in unused)}")
    return used, notes


def _written_in(text: str) -> tuple[object, ...]:
    return colon_parts(text) or (unit(text),)


def _why_not(name: str, column: Column, source: RecordSource, *, how_many: int, colons: _Colons) -> str:
    if how_many > 1:
        return f"{how_many} columns could be it; map one"
    if source.fields[name].is_pressure and name != "drag_pressure":  # drag is a gauge pressure by nature
        return 'say kind = "gauge" or "interfacial" in route.toml'
    if name == "accuracy" and source.accuracy is None:
        return "say what accuracy means in route.toml"
    if unclear := colons.unclear(source.fields[name], column, column.unit):
        return f"{unclear}, and map it"
    return f"{fault}; map it" if (fault := _unit_fault(name, column.unit, source)) else ""


def _one_pair(uses: Uses, mapped: Uses) -> Uses:
    """A position is read from one pair of columns: the mapped one, else latitude and longitude."""
    angles, plane = {"latitude", "longitude"}, {"easting", "northing"}
    drop = plane if angles & set(mapped) or (angles <= set(uses) and not plane & set(mapped)) else set()
    drop = angles if plane & set(mapped) else drop
    return {name: use for name, use in uses.items() if name not in drop}
