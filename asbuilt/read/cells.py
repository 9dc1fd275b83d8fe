"""Cells become numbers, texts and angles, a whole column at a time; what cannot be read is named, never guessed."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any

import numpy as np
import pandas as pd

from asbuilt.quantities import UnitError, convert, is_unit

# What crews write where they have nothing to write (common practice, no source).
NOTHING = frozenset({"", "-", "--", "---", "n/a", "na", "n.a.", "nil", "none", "null", "nan", "#n/a", "?"})

_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?")
_NUMBER_UNIT = re.compile(r"([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*([^\s\d.].*)?")


@dataclass(frozen=True)
class Read:
    """A column as read. `faults` maps the position of a cell in the column to what is wrong with it."""

    values: np.ndarray
    faults: dict[int, str]


def text(cell: Any) -> str:
    """Return a cell as the text that stands in it: a whole number of a workbook has no decimals.

    >>> text(17.0), text(" 0017 "), text(None)
    ('17', '0017', '')
    """
    if cell is None:
        return ""
    if isinstance(cell, float):
        return "" if np.isnan(cell) else str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime | date | time):
        return cell.isoformat(" ") if isinstance(cell, datetime) else cell.isoformat()
    return " ".join(str(cell).split())


def texts(cells: Iterable[Any]) -> Read:
    """Return cells as texts; what means nothing becomes None."""
    found = [text(cell) for cell in cells]
    return Read(np.array([None if t.lower() in NOTHING else t for t in found], dtype=object), {})


def decimal_sign(columns: Iterable[list[Any]]) -> str:
    """Return the decimal sign that the numbers of a source prove: "." or ","; "?" where both, "" where none does.

    A comma with three digits after it proves nothing: it may part thousands.
    """
    comma = dot = unclear = False
    for cell in (c for column in columns for c in column if isinstance(c, str)):
        comma = comma or bool(re.fullmatch(r"\s*[+-]?\d*,(\d{1,2}|\d{4,})(\s*\D.*)?", cell))
        dot = dot or bool(re.fullmatch(r"\s*[+-]?\d*\.\d+(\s*\D.*)?", cell))
        unclear = unclear or bool(re.fullmatch(r"\s*[+-]?\d{1,3},\d{3}(\s*\D.*)?", cell))
    if comma and dot:
        return "?"
    return "," if comma else "." if dot else "?" if unclear else ""


def numbers(cells: list[Any], *, decimal: str, from_unit: str, to_unit: str) -> Read:
    """Return cells as float64 in `to_unit`; nothing becomes NaN. A unit written in a cell outranks `from_unit`."""
    values = np.full(len(cells), np.nan)
    own_unit: dict[int, str] = {}
    faults: dict[int, str] = {}
    for i, cell in enumerate(cells):
        if isinstance(cell, int | float) and not isinstance(cell, bool):
            values[i] = cell
            continue
        found = _one_number(text(cell), decimal)
        if isinstance(found, str):
            faults[i] = found
        elif found:
            values[i], unit_here = found
            own_unit |= {i: unit_here} if unit_here else {}
    for i in map(int, np.flatnonzero(np.isinf(values))):
        values[i], faults[i] = np.nan, f"{text(cells[i])!r} is not finite"
    return Read(_converted(values, own_unit, faults, from_unit=from_unit, to_unit=to_unit), faults)


def _one_number(found: str, decimal: str) -> tuple[float, str] | str | None:
    """Return number and unit of one text, None for nothing, or what is wrong with it."""
    if found.lower() in NOTHING:
        return None
    match = _NUMBER_UNIT.fullmatch(found.replace(",", ".") if decimal == "," else found)
    if not match or (match[2] and not is_unit(match[2])):
        return f"{found!r} is not a number"
    return float(match[1]), match[2] or ""


def _converted(
    values: np.ndarray, own_unit: dict[int, str], faults: dict[int, str], *, from_unit: str, to_unit: str
) -> np.ndarray:
    if not to_unit:
        for i, unit in own_unit.items():
            values[i], faults[i] = np.nan, f"{unit!r} stands behind a number that has no unit"
        return values
    general = np.array([i not in own_unit for i in range(len(values))], dtype=bool)
    out = np.where(general, values, np.nan)
    if from_unit:
        out[general] = convert(values[general], from_unit, to_unit)
    for i, unit in own_unit.items():
        try:
            out[i] = convert(values[i : i + 1], unit, to_unit)[0]
        except UnitError as error:
            faults[i] = str(error)
    return out


_ANGLE = re.compile(
    r"""(?P<lead>[NSEW])?\s*(?P<sign>[+-])?\s*(?P<deg>\d+(?:\.\d+)?)\s*[°ºd:\s]?\s*
        (?:(?P<min>\d+(?:\.\d+)?)\s*['′’m:\s]?\s*)?(?:(?P<sec>\d+(?:\.\d+)?)\s*(?:["″”s]|''|’’)?\s*)?(?P<tail>[NSEW])?""",
    re.VERBOSE | re.IGNORECASE,
)  # fmt: skip


def angles(cells: list[Any], *, decimal: str, letters: str, limit: float) -> Read:
    """Return cells as decimal degrees: decimal, degrees-minutes or degrees-minutes-seconds, signed or with a letter.

    `letters` are the hemispheres, positive first ("NS" or "EW"); `limit` is 90 or 180. Nothing becomes NaN.
    """
    values, faults = np.full(len(cells), np.nan), {}
    plain = pd.to_numeric(pd.Series([_dotted(c, decimal) for c in cells], dtype=object), errors="coerce").to_numpy(
        float
    )
    for i, cell in enumerate(cells):
        found = plain[i] if np.isfinite(plain[i]) else _one_angle(_dotted(cell, decimal), letters)
        if isinstance(found, str):
            faults[i] = found.format(text(cell))
        elif abs(found) > limit:
            faults[i] = f"{text(cell)!r} is more than {limit:g} degrees"
        else:
            values[i] = found
    return Read(values, faults)


def _dotted(cell: Any, decimal: str) -> str:
    found = text(cell)
    return found.replace(",", ".") if decimal == "," else found


def _one_angle(found: str, letters: str) -> float | str:
    if found.lower() in NOTHING:
        return float("nan")
    match = _ANGLE.fullmatch(found)
    if not match:
        return "{0!r} is not a number" if not re.search(r"[°º'′\"″NSEW]", found) else "{0!r} is not an angle"
    letter = (match["lead"] or match["tail"] or "").upper()
    if (match["lead"] and match["tail"]) or (letter and match["sign"]):
        return "{0!r} says its side twice"
    if letter and letter not in letters:
        return f"{{0!r}} has {letter}, this column is {letters[0]} or {letters[1]}"
    degrees, minutes, seconds = (float(match[part] or 0) for part in ("deg", "min", "sec"))
    if minutes >= 60 or seconds >= 60:
        return "{0!r} has 60 minutes or seconds, or more"
    value = degrees + minutes / 60 + seconds / 3600
    return -value if match["sign"] == "-" or letter == letters[1] else value
