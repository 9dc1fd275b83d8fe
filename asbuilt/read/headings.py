"""Where the heading of a sheet stands, and which of its columns fills which field.

What the route file maps is looked up by name; what it does not map is matched by the common headings of the trade
and reported, or reported as not used. A heading may stand in two rows with merged group cells over it, carry its
unit ("Plate (°F)"), or have a row of units below it.
"""

import difflib
import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from asbuilt.errors import InputError, Problem
from asbuilt.fields import Field
from asbuilt.quantities import UnitError, convert, is_unit, unit
from asbuilt.read.cells import text
from asbuilt.read.sheets import GEOMETRY_X, GEOMETRY_Y, Sheet
from asbuilt.settings import ColumnSpec, RecordSource

_WITH_UNIT = re.compile(r"(.+?)\s*(?:[(\[]\s*([^()\[\]]+?)\s*[)\]]|[,/]\s*([^,/()\[\]]+))")
_ROWS_TO_LOOK_AT = 60
# Units that need no brackets to be known for one at the end of a heading: "Crew C" and "Soak min" are none.
_PLAIN_UNITS = frozenset(
    {"°c", "°f", "degc", "degf", "psi", "bar", "kpa", "mpa", "mm", "mm2", "mm²", "in2", "in²", "sec", "ft", "m"}
)


@dataclass(frozen=True)
class Column:
    """One column of a sheet: place, heading as found, heading without unit, the group over it, and its unit."""

    at: int
    heading: str
    name: str
    group: str
    unit: str

    @property
    def names(self) -> set[str]:
        """Everything a route file may call it by, compared without case."""
        plain = {self.heading, self.name, f"column {self.at + 1}"}
        with_group = {f"{self.group}{sign}{n}" for n in plain for sign in (" ", " / ") if self.group}
        return {n.casefold() for n in plain | with_group}


Columns = tuple[Column, ...]


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
    found = _heading_row(sheet, source)
    if found is None:
        return None
    units = _unit_row(sheet, found + 1)
    columns = fill(tuple(replace(c, unit=c.unit or units.get(c.at, "")) for c in _columns(sheet, found)))
    mapped = _mapped(sheet, source, columns, found + 1)
    matched, notes = _matched(sheet.where, source, columns, mapped)
    return Layout(source, found + 1 + bool(units), columns, {**mapped, **matched}, notes)


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


def _cells(sheet: Sheet, row: int) -> list[str]:
    return [text(cell) for cell in _filled(sheet, row)]


def _filled(sheet: Sheet, row: int) -> list[object]:
    """Return the cells of a row with the text of merged cells in all the places they cover."""
    cells: list[object] = list(sheet.rows[row])
    for top, left, bottom, right in sheet.merged:
        if top <= row <= bottom:
            width = max(0, min(right + 1, len(cells)) - left)
            cells[left : left + width] = [sheet.rows[top][left]] * width
    return cells


def _heading_row(sheet: Sheet, source: RecordSource) -> int | None:
    if sheet.is_layer:
        return 0
    if source.heading_row is not None:
        if source.heading_row > len(sheet.rows):
            what = f"heading_row is {source.heading_row}, the file has {len(sheet.rows)} rows"
            raise InputError(Problem(sheet.where, what, "correct heading_row in route.toml"))
        return source.heading_row - 1
    wanted = {heading.casefold() for spec in source.columns.values() for heading in spec.column}
    scores = []
    for row in range(min(len(sheet.rows), _ROWS_TO_LOOK_AT)):
        columns = _columns(sheet, row)
        mapped = {name for c in columns for name in (c.names & wanted)}
        # each field counts once: a row of ticks ("x") is no heading of many eastings
        common = {field_by_heading(c, source) for c in columns if not c.names & wanted} - {None}
        score = 3 * len(mapped) + len(common)
        # of the two rows of a heading with merged groups the lower one names the columns
        scores.append((score, row if any(top < row <= bottom for top, _, bottom, _ in sheet.merged) else -row, row))
    score, _, row = max(scores, default=(0, 0, 0))
    return row if score >= 2 else None


def listed(columns: Sequence[Column]) -> str:
    """Return the headings as one text; of many the first ones."""
    more = f" and {len(columns) - 40} more" if len(columns) > 40 else ""
    return ", ".join(c.heading for c in columns[:40]) + more


def _split_unit(heading: str) -> tuple[str, str]:
    """Part a heading from the unit in it.

    >>> _split_unit("Plate (°F)"), _split_unit("Soak, s"), _split_unit("Plate °C"), _split_unit("Crew C")
    (('Plate', '°F'), ('Soak', 's'), ('Plate', '°C'), ('Crew C', ''))
    """
    found = _WITH_UNIT.fullmatch(heading)
    unit = (found[2] or found[3] or "").strip() if found else ""
    if found and is_unit(unit):
        return found[1], unit
    name, _, last = heading.rpartition(" ")
    return (name, last) if name and last.casefold() in _PLAIN_UNITS else (heading, "")


def _columns(sheet: Sheet, row: int) -> Columns:
    over = [m for m in sheet.merged if m[2] == row - 1 and m[3] > m[1]]  # merged across, in the row above
    groups = {at: sheet.rows[top][left] for top, left, _, right in over for at in range(left, right + 1)}
    columns = []
    for at, heading in enumerate(_cells(sheet, row)):
        if heading:
            name, unit = _split_unit(heading)
            columns.append(Column(at, heading, name, text(groups.get(at)), unit))
    return tuple(columns)


def _unit_row(sheet: Sheet, row: int) -> dict[int, str]:
    """Return the units that stand in the row below the heading, if nothing else stands there."""
    if row >= len(sheet.rows):
        return {}
    bare = {at: cell.strip("()[]") for at, cell in enumerate(_cells(sheet, row)) if cell not in ("", "-")}
    return bare if len(bare) >= 2 and all(is_unit(cell) for cell in bare.values()) else {}


def _mapped(sheet: Sheet, source: RecordSource, columns: Columns, row: int) -> dict[str, Use]:
    uses, problems, where = {}, [], f"{sheet.where} row {row}"
    for name, spec in source.columns.items():
        found = [_named(heading, columns) for heading in spec.column]
        for heading, matches in zip(spec.column, found, strict=True):
            if len(matches) != 1:
                problems.append(_not_one(where, name, heading, matches=matches, columns=columns))
        if all(len(matches) == 1 for matches in found):
            uses[name] = Use(source.fields[name], tuple(m[0] for m in found), spec, True)
    for name, use in uses.items():
        if fault := _unit_fault(name, use.unit, source):
            heading, ours = use.columns[0].heading, use.field.unit
            quoted = heading.replace('"', "'")
            do = (
                f'say its unit in route.toml: {name} = {{ column = "{quoted}", unit = "{ours}" }}, or the unit it is in'
            )
            problems.append(Problem(f"{where}, column {heading}", f"{name}: {fault}", do))
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
        convert(np.zeros(1), found, source.fields[name].unit)
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


def _matched(where: str, source: RecordSource, columns: Columns, mapped: Uses) -> tuple[Uses, tuple[str, ...]]:
    taken = {c.at for use in mapped.values() for c in use.columns}
    spare = [c for c in columns if c.at not in taken and c.heading not in (GEOMETRY_X, GEOMETRY_Y)]
    wanted = Counter(field_by_heading(c, source) for c in spare)
    uses: dict[str, Use] = {}
    notes = [
        f"column {u.columns[0].heading!r} says {u.columns[0].unit}, and is read in {u.unit}, as route.toml says"
        for u in mapped.values()
        if u.columns[0].unit and unit(u.columns[0].unit) != unit(u.unit)
    ]
    unused = []
    for column in spare:
        name = field_by_heading(column, source)
        if name is None or name in mapped:
            unused.append(column.heading)
        elif why := _why_not(name, column, source, wanted[name]):
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
    return used, tuple(f"{where}: {n}" for n in notes)


def _why_not(name: str, column: Column, source: RecordSource, how_many: int) -> str:
    if how_many > 1:
        return f"{how_many} columns could be it; map one"
    if source.fields[name].is_pressure and name != "drag_pressure":  # drag is a gauge pressure by nature
        return 'say kind = "gauge" or "interfacial" in route.toml'
    if name == "accuracy" and source.accuracy is None:
        return "say what accuracy means in route.toml"
    return f"{fault}; map it" if (fault := _unit_fault(name, column.unit, source)) else ""


def _one_pair(uses: Uses, mapped: Uses) -> Uses:
    """A position is read from one pair of columns: the mapped one, else latitude and longitude."""
    angles, plane = {"latitude", "longitude"}, {"easting", "northing"}
    drop = plane if angles & set(mapped) or (angles <= set(uses) and not plane & set(mapped)) else set()
    drop = angles if plane & set(mapped) else drop
    return {name: use for name, use in uses.items() if name not in drop}
