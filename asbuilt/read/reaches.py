"""Places that a side file states: chainages with their unit, or station labels that are read with the equations.

A chainage is a distance along the line, before chainage equations. What lists of reaches share stands here.
"""

import re
from collections.abc import Mapping, Sequence
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from asbuilt.errors import InputError, Problem
from asbuilt.read.alignments import Design, Designs
from asbuilt.read.cells import Read, numbers, text
from asbuilt.read.side_tables import SideTable
from asbuilt.settings import Settings
from asbuilt.stationing import parse_label

ONE = 0.01  # metres: labels have two decimals
_LABEL = re.compile(r"\d\s*\+\s*\d")
_LEAD = re.compile(r"(?i)(station|sta|chainage|ch)?\s*\.?\s*")  # before a label (common practice, no source)

Rows = Sequence[Design | None]  # the line of each row; None: not known


def lines_of(table: SideTable, designs: Designs, reason: np.ndarray) -> Rows:
    """Return the line of each row, and say in `reason` where it is not known. A route of one line need not name it.

    What has a reason already, be it another one, is left as it is.
    """
    known = {design.name: design for design in designs.lines}
    only, names = designs.lines[0] if len(known) == 1 else None, ", ".join(known)
    words = table.texts("line")
    lines = [only if word is None else known.get(word) for word in words]
    for i, (word, line) in enumerate(zip(words, lines, strict=True)):
        why = f"{word!r} is none of the lines {names}" if word else f"no line is named, and the route has {names}"
        reason[i] = reason[i] or ("" if line else in_column(table, "line", why))
    return lines


def in_column(table: SideTable, name: str, what: str) -> str:
    """Say what is wrong in the column of a field, where there is such a column."""
    use = table.found.uses.get(name)
    return f"column {use.heading}: {what}" if use else what


def chainages(table: SideTable, names: Sequence[str], lines: Rows, settings: Settings) -> dict[str, Read]:
    """Return columns of places as chainages in metres. Raises InputError where a label means no one place."""
    read, problems = {}, []
    for name in names:
        read[name], doubtful = _chainages(table, name, lines, settings)
        problems += doubtful
    if problems:
        raise InputError(problems)
    return read


def _chainages(table: SideTable, name: str, lines: Rows, settings: Settings) -> tuple[Read, list[Problem]]:
    """Return a column of places as chainages in metres, and what is wrong with labels that mean no one place."""
    use = table.found.uses[name]
    cells = table.rows.of(use)
    labels = {i: text(cell) for i, cell in enumerate(cells) if _LABEL.search(text(cell))}
    bare = [None if i in labels else cell for i, cell in enumerate(cells)]
    read = numbers(bare, decimal=table.decimal, from_unit=use.unit, to_unit=use.field.unit)
    _tell_of_equations(table, name, lines, is_bare=np.isfinite(read.values))
    problems = []
    for i, label in labels.items():
        line = lines[i]
        if line is None or table.rows.why_not[i]:
            continue
        found = _places(label, line)
        if isinstance(found, str):
            read.faults[i] = found
        elif len(found) == 1:
            read.values[i] = found[0]
        else:
            where = f"{table.sheet.where} row {table.rows.number[i]}, column {use.heading}"
            problems.append(Problem(where, *_not_one(label, found, line, settings)))
    return read, problems


def _tell_of_equations(table: SideTable, name: str, lines: Rows, *, is_bare: np.ndarray) -> None:
    """Say how numbers are read on lines where a number and a label of the same figures are different places."""
    if any(line and line.stationing.equations and bare for line, bare in zip(lines, is_bare, strict=True)):
        how = "are distances along the line, before its chainage equations; a station is written with a plus sign"
        table.notes.append(f"column {table.found.uses[name].heading}: its numbers {how}")


def _places(label: str, line: Design) -> list[float] | str:
    """Return the chainages that carry a label: none in a hole, several in an overlap; or what is wrong with it.

    Places beyond the ends of the line count only where the label stands nowhere on it.
    """
    how = line.stationing
    length = round(how.station_length_m / how.metres_per_unit)
    plain = "".join(label[_LEAD.match(label).end() :].split()).replace(",", ".")  # type: ignore[union-attr]
    try:
        stated = parse_label(plain, station_length=length)
    except ValueError as error:
        return str(error).replace(repr(plain), repr(label))
    behind = plain.partition("+")[2].partition(".")[0]
    digits = len(str(length - 1))
    if stated and len(behind) != digits:  # else 12+50 would be two places, as stations are 100 or 1000 long
        return (
            f"{label!r} has {len(behind)} digits behind its plus sign; stations of {length} are written with {digits}"
        )
    every = _apart(how.chainages_m(stated * how.metres_per_unit))
    return [c for c in every if line.start_m - ONE <= c <= line.end_m + ONE] or every[:1]


def _apart(chainages: list[float]) -> list[float]:
    """Leave out what is the same place twice but for the last bits of a float; they come sorted."""
    return [c for i, c in enumerate(chainages) if i == 0 or c - chainages[i - 1] > 1e-5]


def _not_one(label: str, found: list[float], line: Design, settings: Settings) -> tuple[str, str]:
    """Return what was found of a label that means no one place, and what to do."""
    unit = settings.route.length_unit
    if found:
        places = [unit.text(c) for c in found]
        what = f"{label!r} stands {len(found)} times on line {line.name}, at {' and '.join(places)} along it"
        return what, f"write the chainage that is meant with its unit: {' or '.join(places)}"
    equations = line.stationing.equations
    jumps = ", ".join(f"{unit.text(e.back_m)} = {unit.text(e.ahead_m)}" for e in equations if e.jump_m > 0)
    what = f"{label!r} is no place on line {line.name}: its chainage equations leave it out (back = ahead: {jumps})"
    return what, "correct the station, or the equations of the line in route.toml"


def labelled(line: Design | None, *chainages: float) -> list[str]:
    """Return chainages as station labels of their line; nothing where that is not known."""
    return list(line.stationing.labels(np.array(chainages))) if line else []


def set_aside_unstated(table: SideTable, ends: Mapping[str, Read], reason: np.ndarray) -> None:
    """Say in `reason` which rows state no place, or none that can be read."""
    for name, read in ends.items():
        for i in map(int, np.flatnonzero((reason == "") & np.isnan(read.values))):
            reason[i] = in_column(table, name, read.faults.get(i, "no place is stated"))


def set_aside_beyond(
    table: SideTable, ends: Mapping[str, Read], lines: Rows, *, reason: np.ndarray, settings: Settings
) -> None:
    """Say in `reason` which rows lie more than a stick beyond the end of their line; what lies nearer is told only."""
    for name, read in ends.items():
        for i in map(int, np.flatnonzero((reason == "") & np.isfinite(read.values))):
            beyond, words = _beyond(lines[i], read.values[i], settings)
            if beyond > settings.pipe.stick:  # nearer, a rounded end or a test head past it; farther, a slip of the pen
                reason[i] = in_column(table, name, words)
            elif beyond > ONE:
                table.fault(i, f"column {table.found.uses[name].heading}", words)


def _beyond(line: Design | None, at: float, settings: Settings) -> tuple[float, str]:
    """Return how far a place lies past the nearer end of its line, metres (negative: on it), and that in words."""
    if line is None:
        return -np.inf, ""
    beyond, end, word = max((line.start_m - at, line.start_m, "start"), (at - line.end_m, line.end_m, "end"))
    place, there = labelled(line, at, end)
    far = settings.route.length_unit.text(beyond)
    return beyond, f"{place} lies {far} beyond the {word} of line {line.name}, {there}"


def days_of(table: SideTable, settings: Settings, name: str = "date") -> np.ndarray:
    """Return the day in each row as ISO text, None where there is none; a time of day is read where it was kept."""
    zone = settings.route.timezone or ZoneInfo("UTC")
    utc = table.moments(name, zone=zone, clock=None)
    table.notes[:] = [note for note in table.notes if "without a time of day" not in note]
    local = pd.Series(utc).dt.tz_localize("UTC").dt.tz_convert(zone)
    return local.dt.strftime("%Y-%m-%d").astype(object).where(local.notna(), None).to_numpy(object)
