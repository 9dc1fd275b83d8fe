"""Who may fuse what, and which machines are calibrated: two lists beside the records. Validity counts in days.

A column that could limit a qualification and cannot be used as it stands is refused: left out, it would let more pass.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from asbuilt.errors import InputError, Problem
from asbuilt.read.cells import Read
from asbuilt.read.headings import Column, field_by_heading
from asbuilt.read.side_tables import SidePart, SideTable, joined, parted, read_side
from asbuilt.read.times import moments
from asbuilt.settings import RecordSource, Settings

_PLACE: Mapping[str, object] = {"source_file": object, "sheet": object, "source_row": "int64"}
PEOPLE: Mapping[str, object] = {
    "operator": object,
    "method": object,
    "size_from_mm": "float64",
    "size_to_mm": "float64",
    "valid_from": "datetime64[us]",
    "valid_to": "datetime64[us]",
    **_PLACE,
}
MACHINES: Mapping[str, object] = {
    "machine": object,
    "piston_area_mm2": "float64",
    "calibrated": "datetime64[us]",
    "valid_to": "datetime64[us]",
    **_PLACE,
}
_NO_ZONE = ZoneInfo("UTC")  # a day of a list is that day wherever the joint is made


@dataclass(frozen=True)
class Listing:
    """A list as read. `rows` has the columns `PEOPLE` or `MACHINES`, days at midnight; None, NaN, NaT: not stated.

    `file` names it in sentences; `is_given` is false where the route has none. `set_aside` has each row left out, with
    source_file, sheet, source_row, cells and reason.
    """

    rows: pd.DataFrame
    notes: tuple[str, ...]
    set_aside: pd.DataFrame
    file: str
    is_given: bool

    @property
    def told(self) -> tuple[str, ...]:
        """What was found and used as found, and each row that was left out, with its reason."""
        rows = self.set_aside[["source_file", "source_row", "reason"]].itertuples(index=False)
        return (*self.notes, *(f"{file} row {row}: left out, {why}" for file, row, why in rows))


def read_people(settings: Settings) -> Listing:
    """Read who may fuse what; empty where there is no file. Raises InputError with the problems of all files."""
    return _listing(settings, settings.people, _people, PEOPLE)


def read_machines(settings: Settings) -> Listing:
    """Read the machines' piston areas and calibrations; empty where there is no file. Raises InputError as above."""
    return _listing(settings, settings.machines, _machines, MACHINES)


def _listing(
    settings: Settings, source: RecordSource, read: Callable[[SideTable], SidePart], dtypes: Mapping[str, object]
) -> Listing:
    parts = read_side(settings, source, read)
    rows, set_aside = parted(joined(parts, dtypes), dtypes)
    return Listing(rows, tuple(n for p in parts for n in p.notes), set_aside, ", ".join(source.files), bool(parts))


def _people(table: SideTable) -> SidePart:
    _refuse_unused(table)
    table.need("operator", "the name of an operator")
    days = _days(table, ("valid_from", "valid_to"))
    sizes = {name: table.numbers(name) for name in ("size_from", "size_to")}
    reason = _set_aside(table, days | sizes)
    reason = _crossed(reason, days, "valid to the day before it is valid from, or earlier")
    reason = _crossed(reason, sizes, "its largest size is less than its smallest")
    columns = {"operator": table.texts("operator"), "method": table.texts("method")}
    columns |= {f"{name}_mm": read.values for name, read in sizes.items()}
    return table.part({**columns, **{name: read.values for name, read in days.items()}}, reason)


def _machines(table: SideTable) -> SidePart:
    _refuse_unused(table)
    table.need("machine", "the name of a machine")
    days = _days(table, ("calibrated", "valid_to"))
    reason = _crossed(_set_aside(table, days), days, "valid to the day before it was calibrated, or earlier")
    area = table.numbers("piston_area")
    for i in np.flatnonzero(area.values <= 0):
        area.faults[int(i)], area.values[i] = "a piston area is more than zero", np.nan
    columns = {"machine": table.texts("machine"), "piston_area_mm2": table.told("piston_area", area)}
    return table.part({**columns, **{name: read.values for name, read in days.items()}}, reason)


def _without_unit(table: SideTable, column: Column, name: str) -> str:
    unit = table.found.source.fields[name].unit
    if not unit or column.unit:
        return ""
    return f": it has no unit; a heading may have it, as in '{column.heading} ({unit})'"


def _refuse_unused(table: SideTable) -> None:
    """Raise InputError for each column that could fill a field and was not used, such as a size without a unit."""
    uses, source = table.found.uses, table.found.source
    taken = {column.at for use in uses.values() for column in use.columns}
    spare = [(c, field_by_heading(c, source)) for c in table.found.columns if c.at not in taken]
    problems = [
        Problem(
            f"{table.sheet.where}, column {column.heading}",
            f"it could be {name}, and cannot be used as it stands{_without_unit(table, column, name)}",
            f"map {name} in [{source.table}.columns] to the column that is meant, with its unit where it has one",
        )
        for column, name in spare
        if name and name not in uses
    ]
    if problems:
        raise InputError(problems)


def _days(table: SideTable, names: tuple[str, str]) -> dict[str, Read]:
    """Return two columns of days; where no format is stated, the order of day and month that one proves is both's."""
    uses = {name: table.found.uses[name] for name in names if name in table.found.uses}
    size = len(table.rows.cells)
    found = {name: Read(np.full(size, np.datetime64("NaT"), dtype="datetime64[us]"), {}) for name in names}
    for stated in dict.fromkeys(use.spec.format for use in uses.values()):
        found |= _together(table, [name for name, use in uses.items() if use.spec.format == stated], stated)
    return found


def _together(table: SideTable, names: Sequence[str], stated: str) -> dict[str, Read]:
    size, headings = len(table.rows.cells), " and ".join(table.found.uses[name].heading for name in names)
    cells = [
        None if why else cell  # rows that are none may hold anything: they have no say in the format
        for name in names
        for cell, why in zip(table.rows.of(table.found.uses[name]), table.rows.why_not, strict=True)
    ]
    read = moments(cells, stated=stated, zone=_NO_ZONE, clock=None)
    if read.refusal:
        raise InputError(Problem(f"{table.sheet.where}, column {headings}", *read.refusal))
    table.notes.extend(f"column {headings}: {n}" for n in read.notes if "without a time of day" not in n)
    days = read.utc.astype("datetime64[D]").astype("datetime64[us]").reshape(len(names), size)
    return {
        name: Read(days[k], {i % size: what for i, what in read.faults.items() if i // size == k})
        for k, name in enumerate(names)
    }


def _set_aside(table: SideTable, columns: Mapping[str, Read]) -> np.ndarray:
    """Return why rows cannot be used: not named, or a cell that limits them cannot be read."""
    reason, named_by = table.rows.why_not.copy(), table.found.source.named_by
    reason[(reason == "") & pd.isna(table.texts(named_by))] = f"no {named_by} is named"
    for name, read in columns.items():
        for i, what in read.faults.items():
            reason[i] = reason[i] or f"column {table.found.uses[name].heading}: {what}"
    return reason


def _crossed(reason: np.ndarray, pair: Mapping[str, Read], why: str) -> np.ndarray:
    low, high = (read.values for read in pair.values())
    return np.where((reason == "") & (high < low), why, reason).astype(object)
