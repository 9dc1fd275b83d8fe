"""The columns of a sheet below a row of headings: what each is called, the group over it, and its unit.

A heading may stand in two rows, groups in the upper and their parts in the lower one, with merged cells or without,
carry its unit ("Plate (°F)"), have that of its group over it, or a row of units below it.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from asbuilt.quantities import colon_parts, is_unit
from asbuilt.read.cells import text
from asbuilt.read.sheets import Sheet

ROWS_TO_LOOK_AT = 60
_WITH_UNIT = re.compile(r"(.+?)\s*(?:[(\[]\s*([^()\[\]]+?)\s*[)\]]|[,/]\s*([^,/()\[\]]+))")
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
        groups = {self.group, _split_unit(self.group)[0]} - {""}
        with_group = {f"{group}{sign}{n}" for n in plain for sign in (" ", " / ") for group in groups}
        return {n.casefold() for n in plain | with_group}


Columns = tuple[Column, ...]


def listed(columns: Sequence[Column]) -> str:
    """Return the headings as one text; of many the first ones."""
    more = f" and {len(columns) - 40} more" if len(columns) > 40 else ""
    return ", ".join(c.heading for c in columns[:40]) + more


def columns_at(sheet: Sheet, row: int) -> Columns:
    """Return the columns that a row of headings, counted from 0, names."""
    over = [m for m in sheet.merged if m[2] == row - 1 and m[3] > m[1]]  # merged across, in the row above
    groups = {at: sheet.rows[top][left] for top, left, _, right in over for at in range(left, right + 1)}
    columns = []
    for at, heading in enumerate(_cells(sheet, row)):
        if heading:
            name, unit = _split_unit(heading)
            columns.append(Column(at, heading, name, text(groups.get(at)), unit))
    return tuple(columns)


def units_at(sheet: Sheet, row: int) -> dict[int, str]:
    """Return the units that stand in a row, counted from 0, by place, if nothing else stands there."""
    if row >= len(sheet.rows):
        return {}
    bare = {at: cell.strip("()[]") for at, cell in enumerate(_cells(sheet, row)) if cell not in ("", "-")}
    return bare if len(bare) >= 2 and all(map(_is_unit, bare.values())) else {}


def with_units(columns: Columns, below: Mapping[int, str]) -> Columns:
    """Return the columns, those without a unit of their own with that `below` them or that of their group."""
    is_title = len({c.group for c in columns}) == 1  # what stands over all of them is no group
    over = {c.at: "" if is_title else _split_unit(c.group)[1] for c in columns}
    return tuple(replace(c, unit=c.unit or below.get(c.at, "") or over[c.at]) for c in columns)


def with_groups_merged(sheet: Sheet) -> Sheet:
    """Return the sheet with each heading of two rows merged as its groups tell, as far as nobody has merged it.

    The lower row names parts of groups and nothing else: then each group reaches over its parts, and all other
    headings of the upper row reach down.
    """
    found = (_groups_at(sheet, row) for row in range(min(len(sheet.rows) - 1, ROWS_TO_LOOK_AT)))
    return replace(sheet, merged=(*sheet.merged, *(place for places in found for place in places)))


def _groups_at(sheet: Sheet, row: int) -> list[tuple[int, int, int, int]]:
    """Return what is to be merged where a row holds groups and the next one their parts; else nothing."""
    across = {left: right for top, left, bottom, right in sheet.merged if top == bottom == row and right > left}
    upper = [at for at, cell in enumerate(sheet.rows[row]) if text(cell)]
    lower = {at for at, cell in enumerate(sheet.rows[row + 1]) if text(cell)}
    groups = {at: across.get(at) or _last_part(at, upper, lower) for at in upper}
    groups = {at: last for at, last in groups.items() if last > at}
    covered = {at for first, last in groups.items() for at in range(first, last + 1)}
    names = [sheet.rows[row + 1][at] for at in sorted(lower)]
    is_heading = all(isinstance(name, str) and re.search(r"[^\W\d]", name) for name in names)
    others = [at for at in upper if at not in groups]
    if len(lower) < 2 or not lower <= covered or not others or not is_heading or units_at(sheet, row + 1):
        return []
    new = {(row, at, row, last) for at, last in groups.items()} | {(row, at, row + 1, at) for at in others}
    return sorted(new - set(sheet.merged))


def _last_part(at: int, upper: list[int], lower: set[int]) -> int:
    """Return where a group ends that nobody has merged: at the last of its parts with nothing over them."""
    last = at
    while at in lower and last + 1 in lower and last + 1 not in upper:
        last += 1
    return last


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


def _is_unit(found: str) -> bool:
    return is_unit(found) or bool(colon_parts(found))


def _split_unit(heading: str) -> tuple[str, str]:
    """Part a heading from the unit in it.

    >>> _split_unit("Plate (°F)"), _split_unit("Soak, min:sec"), _split_unit("Plate °C"), _split_unit("Crew C")
    (('Plate', '°F'), ('Soak', 'min:sec'), ('Plate', '°C'), ('Crew C', ''))
    """
    found = _WITH_UNIT.fullmatch(heading)
    unit = (found[2] or found[3] or "").strip() if found else ""
    if found and _is_unit(unit):
        return found[1], unit
    name, _, last = heading.rpartition(" ")
    is_plain = last.casefold() in _PLAIN_UNITS or colon_parts(last)
    return (name, last) if name and is_plain else (heading, "")
