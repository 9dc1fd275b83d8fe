"""The curve of pressure over time that a record names: one delimited file a joint, columns mapped in [trace].

A file that cannot be read as a curve is no reason to stop: the curve says why, and its record stays what it is.
"""

import hashlib
import re
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import zip_longest
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from asbuilt.errors import AsBuiltError, InputError, Problem
from asbuilt.quantities import convert
from asbuilt.read.headings import Columns, Layout, Use, field_by_heading, layout
from asbuilt.read.sheets import TEXT_ENDINGS, Sheet, read_sheets
from asbuilt.settings import Settings, TraceSource
from asbuilt.settings.paths import as_path, is_file, is_inside

_HEAD = 60  # rows in which the first sample must stand
_SAMPLE = re.compile(r"\s*[+-]?[.,]?\d")
_LEAST = 20  # samples; of fewer no phase can be seen
_UNREADABLE = 0.2  # of the samples: then the file is not what it is taken for
_BACKWARDS = 0.05  # of the steps: then the rows are in no order
_DAY, _HOUR = 86_400.0, 3_600.0
_CLOCK = r"(?:^|[T\s])(?P<hour>\d{1,3}):(?P<minute>\d{2}):(?P<second>\d{2}(?:[.,]\d+)?)\s*(?P<half>[AaPp][Mm])?"
_THOUSANDS = r"[+-]?[1-9]\d{0,2},\d{3}"


def _nothing() -> np.ndarray:
    return np.empty(0)


@dataclass(frozen=True, eq=False)
class Curve:
    """One curve: seconds from its first sample, never falling; gauge pressure; temperature (NaN: none). Shapes (n,).

    `jumps` are the samples at which the clock was moved: the step before them was put at the usual one. `cause` says
    why there is no curve (then all is empty). `digest` is the same for files with the same pressures, sample by sample.
    """

    file: str
    time_s: np.ndarray = field(default_factory=_nothing)
    pressure_mpa: np.ndarray = field(default_factory=_nothing)
    temperature_c: np.ndarray = field(default_factory=_nothing)
    jumps: np.ndarray = field(default_factory=_nothing)
    cause: str = ""
    digest: str = ""


Heads = dict[tuple[Any, ...], Layout | str]


def read_traces(names: Iterable[str | None], settings: Settings) -> dict[str, Curve]:
    """Return the curve of each name that records give; a file that several records name is read once."""
    heads: Heads = {}  # the files of one logger have one heading: it is looked at once
    return {name: _curve(name, settings, heads) for name in dict.fromkeys(n for n in names if isinstance(n, str) and n)}


def _curve(name: str, settings: Settings, heads: Heads) -> Curve:
    path = _path(name, settings)
    if path is None:
        where = f"the folder {settings.trace.folder}" if settings.trace.folder else "the route folder"
        return Curve(name, cause=f"there is no file {name!r} in {where}")
    file = path.relative_to(settings.folder).as_posix()
    if path.suffix.lower() not in TEXT_ENDINGS:
        return Curve(file, cause=f"a curve is read from {', '.join(TEXT_ENDINGS)}, not from {path.name!r}")
    try:
        (sheet,) = read_sheets(path, file, settings.trace)
        return _of_sheet(sheet, settings.trace, heads)
    except AsBuiltError as error:
        return Curve(file, cause=_said(error))


def _said(error: AsBuiltError) -> str:
    return "; ".join(f"{p.found} ({p.do})" for p in error.problems)


def _path(name: str, settings: Settings) -> Path | None:
    """Return the file that a record means: in the folder of curves, else in that of the route, its ending left out."""
    if not is_inside(name):
        return None
    folders = [settings.folder / settings.trace.folder, settings.folder]
    files = [folder / (as_path(name) + ending) for folder in folders for ending in ("", *TEXT_ENDINGS)]
    found = next((file for file in files if is_file(file)), None)
    leads_out = found is not None and not found.resolve().is_relative_to(settings.folder.resolve())
    return None if leads_out else found  # a link to elsewhere: nothing outside of the route folder is read


def _of_sheet(sheet: Sheet, source: TraceSource, heads: Heads) -> Curve:
    first = next((i for i, row in enumerate(sheet.rows[:_HEAD]) if _is_sample(row)), None)
    if not first:
        what = "no row of numbers stands" if first is None else "no heading stands above the numbers"
        return Curve(sheet.file, cause=f"{what} in its first {_HEAD} rows")
    found = _layout(replace(sheet, rows=sheet.rows[:first]), sheet.rows[first], source=source, heads=heads)
    if isinstance(found, str):
        return Curve(sheet.file, cause=found)
    columns = list(zip_longest(*filter(any, sheet.rows[first:]), fillvalue=""))
    return _of_columns(sheet.file, found, columns, decimal=source.decimal)


def _is_sample(row: list[Any]) -> bool:
    filled = [cell for cell in row if cell.strip()]
    return len(filled) >= 2 and all(_SAMPLE.match(cell) for cell in filled[:2])


def _layout(head: Sheet, sample: list[Any], *, source: TraceSource, heads: Heads) -> Layout | str:
    """Return how the file is read, or why it cannot be."""
    with_clock = tuple(":" in cell for cell in sample)
    key = (*map(tuple, head.rows), with_clock)
    if key not in heads:
        try:
            heads[key] = _complete(layout(head, source, fill=partial(_clocks, source=source, with_clock=with_clock)))
        except InputError as error:
            heads[key] = _said(error)
    return heads[key]


def _clocks(columns: Columns, *, source: TraceSource, with_clock: tuple[bool, ...]) -> Columns:
    """A column of clock times needs no unit: it says hours, minutes and seconds itself."""
    mapped = {h.casefold() for h in source.columns["time"].column} if "time" in source.columns else set()
    is_clock = [
        c.at < len(with_clock) and with_clock[c.at] and bool(c.names & mapped or field_by_heading(c, source) == "time")
        for c in columns
    ]
    return tuple(replace(c, unit=c.unit or "s") if clock else c for c, clock in zip(columns, is_clock, strict=True))


def _complete(found: Layout | None) -> Layout | str:
    if found is None:
        return "no row is a heading of a time and a pressure: map its columns in [trace.columns]"
    missing = [name for name in ("time", "pressure") if name not in found.uses]
    hints = [note.partition(": ")[2] for note in found.notes if any(f"could be {name}," in note for name in missing)]
    return "; ".join([*(f"no column holds the {name}" for name in missing), *hints]) if missing else found


def _of_columns(file: str, found: Layout, columns: list[tuple[str, ...]], *, decimal: str | None) -> Curve:
    pressure = _quantity(found.uses["pressure"], columns, decimal)
    time, why = _seconds(found.uses["time"], columns, decimal)
    if why:
        return Curve(file, cause=why)
    known = np.isfinite(time) & np.isfinite(pressure)
    if known.sum() < _LEAST:
        return Curve(file, cause=f"only {known.sum()} samples can be read, and {_LEAST} are the least")
    if known.mean() < 1 - _UNREADABLE:
        return Curve(file, cause=f"{(~known).sum()} of {len(known)} samples cannot be read")
    warm = found.uses.get("temperature")
    temperature = _quantity(warm, columns, decimal)[known] if warm else np.full(known.sum(), np.nan)
    elapsed, jumps = _steady(time[known])
    if len(jumps) > _BACKWARDS * len(elapsed):
        return Curve(file, cause=f"its times go back or leap by whole hours {len(jumps)} times")
    digest = hashlib.sha256(np.round(pressure[known], 6).tobytes()).hexdigest()
    return Curve(file, elapsed, pressure[known], temperature, jumps, digest=digest)


def _numbers(use: Use, columns: list[tuple[str, ...]], decimal: str | None) -> np.ndarray:
    """Return a column as numbers, NaN where none can be read. Raises InputError where a comma may mean two things."""
    cells = columns[use.columns[0].at]
    try:
        return np.array(cells, dtype=float)  # the common case, and a quick one
    except ValueError:
        joined, text = "".join(cells), pd.Series(cells, dtype="str")
    if "," in joined:
        text = text.str.strip()
        if decimal is None and ("." in joined or text[text != ""].str.fullmatch(_THOUSANDS).all()):
            what = f"whether a comma parts decimals or thousands in column {use.heading} is not clear"
            raise InputError(Problem("", what, 'say decimal = "," or decimal = "." in [trace]'))
        parts, point = ("," if decimal == "." else "."), ("." if decimal == "." else ",")
        text = text.str.replace(parts, "", regex=False).str.replace(point, ".", regex=False)
    return np.asarray(pd.to_numeric(text, errors="coerce"), dtype=float)


def _quantity(use: Use, columns: list[tuple[str, ...]], decimal: str | None) -> np.ndarray:
    return convert(_numbers(use, columns, decimal), use.unit, use.field.unit)


def _seconds(use: Use, columns: list[tuple[str, ...]], decimal: str | None) -> tuple[np.ndarray, str]:
    """Return the column of times in seconds, and why it cannot be read: a count in its unit, or a clock."""
    cells = columns[use.columns[0].at]
    if ":" not in "".join(cells):
        return _quantity(use, columns, decimal), ""
    parts = pd.Series(cells, dtype="str").str.extract(_CLOCK)
    if parts["second"].isna().all():
        return _nothing(), f"its times are no clock with hours, minutes and seconds, such as {cells[0]!r}"
    hour, minute, second = (pd.to_numeric(parts[n].str.replace(",", ".")) for n in ("hour", "minute", "second"))
    half = parts["half"].str.lower()
    hour = hour.where(half.isna(), hour % 12 + 12 * (half == "pm"))
    time = (hour * _HOUR + minute * 60 + second).to_numpy(dtype=float, na_value=np.nan)
    known = np.flatnonzero(np.isfinite(time))
    days = np.cumsum(np.diff(time[known], prepend=time[known[0]]) < -_DAY / 2)  # past midnight
    return time + _DAY * np.bincount(known, days, len(time)), ""


def _steady(time: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return seconds from the first sample without the steps of a clock that was moved, and where it was moved.

    A clock that goes back, or leaps by whole hours to within two steps, was set anew (the writers' judgement): what
    passed meanwhile is not known, and one usual step is put there. Any other long step is a pause, and it counts.
    """
    step = np.diff(time)
    forward = step[step > 0]
    usual = float(np.median(forward)) if len(forward) else 0.0
    hours = np.round(step / _HOUR)
    leaps = (hours >= 1) & (np.abs(step - hours * _HOUR) <= 2 * usual)
    moved = (step < 0) | leaps
    return np.r_[0.0, np.cumsum(np.where(moved, usual, step))], np.flatnonzero(moved) + 1
