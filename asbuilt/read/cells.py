"""Cells become numbers, texts and angles, a whole column at a time; what cannot be read is named, never guessed."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any

import numpy as np
import pandas as pd

from asbuilt.quantities import UnitError, colon_parts, convert, is_unit
from asbuilt.read.durations import spans

# What crews write where they have nothing to write (common practice, no source).
NOTHING = frozenset({"", "-", "--", "---", "n/a", "na", "n.a.", "nil", "none", "null", "nan", "#n/a", "?"})

_MINUS = re.compile("[−‐‑–]")  # what word processors make of a minus sign
_GROUPS = {".,": r"[+-]?\d{1,3}(,\d{3})+(?![\d,])", ",.": r"[+-]?\d{1,3}(\.\d{3})+(?![\d.])"}
_NUMBER_UNIT = re.compile(r"([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*([^\s\d.].*)?")


_FRACTION = re.compile(r"(?:(?P<whole>\d{1,3})[ -])?(?P<over>\d{1,2})/(?P<under>\d{1,2})\s*(?P<unit>[^\s\d.].*)?")
_MARKS = frozenset({2, 4, 8, 16, 32, 64})  # what a rule in inches is parted into (common practice, no source)


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
    if type(cell) is str and "\0" not in cell:  # by far the most common, and there are many
        return " ".join(cell.split())
    if cell is None:
        return ""
    if isinstance(cell, float):
        return "" if np.isnan(cell) else str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime | date | time):
        return cell.isoformat(" ") if isinstance(cell, datetime) else cell.isoformat()
    return " ".join(str(cell).replace("\0", "\ufffd").split())  # a logger that lost its power leaves NULs


def texts(cells: Iterable[Any]) -> Read:
    """Return cells as texts; what means nothing becomes None."""
    found = [text(cell) for cell in cells]
    return Read(np.array([None if t.lower() in NOTHING else t for t in found], dtype=object), {})


def decimal_sign(columns: Iterable[list[Any]]) -> str:
    """Return the decimal sign that the numbers of a source prove, and the sign between thousands if one is used:

    ".", ",", ".," or ",."; "?" where they prove both or leave it open, "" where there is nothing to prove it by.

    >>> decimal_sign([["1,215", "0,5"]]), decimal_sign([["1,215.5"]]), decimal_sign([["1,215"]])
    (',', '.,', '?')
    """
    written = {cell for column in columns for cell in column if isinstance(cell, str) and ("," in cell or "." in cell)}
    if not any("," in cell or cell.count(".") > 1 for cell in written):  # the common case, and a quick one
        return "." if any(_proof(" ".join(cell.split())) == "." for cell in written) else ""
    found = {_proof(" ".join(cell.split())) for cell in written}
    dot, comma = found & {".", ".,"}, found & {",", ",."}
    if dot and comma:
        return "?"
    return max(dot | comma, key=len, default="?" if "?" in found else "")


def _closed_up(found: str) -> str:
    """Write a minus as a minus, and thousands that are parted by spaces (so in any language) without them."""
    plain = _MINUS.sub("-", found)
    parted = re.match(r"[+-]?\d{1,3}([ '’]\d{3})+(?!\d)", plain)
    return re.sub(r"[ '’]", "", parted[0]) + plain[parted.end() :] if parted else plain


def _proof(cell: str) -> str:
    """Return what one number proves. A comma with three digits after it alone may part thousands: "?"."""
    found = re.match(r"[+-]?[\d.,]*\d", _closed_up(cell))
    number = found[0].lstrip("+-") if found else ""
    if re.fullmatch(r"\d{1,3}((,\d{3})+\.\d+|(,\d{3}){2,})", number):
        return ".,"
    if re.fullmatch(r"\d{1,3}((\.\d{3})+,\d+|(\.\d{3}){2,})", number):
        return ",."
    if re.fullmatch(r"[1-9]\d{0,2},\d{3}", number):
        return "?"
    return {",": ",", ".": "."}.get(re.sub(r"\d", "", number), "")


def numbers(cells: list[Any], *, decimal: str, from_unit: str, to_unit: str) -> Read:
    """Return cells as float64 in `to_unit`; nothing becomes NaN. A unit written in a cell outranks `from_unit`.

    `decimal` is the decimal sign, and behind it the sign between thousands where one is known to be used. A column
    in "min:s" and the like holds durations with colons; in one in inches or feet a number may be a common fraction.
    """
    if colon_parts(from_unit):
        return _durations(cells, decimal, from_unit=from_unit, to_unit=to_unit)
    values = np.full(len(cells), np.nan)
    own_unit: dict[int, str] = {}
    faults: dict[int, str] = {}
    by_fractions = _is_of_a_rule(from_unit)
    for i, cell in enumerate(cells):
        if isinstance(cell, int | float) and not isinstance(cell, bool):
            values[i] = cell
            continue
        found = _one_number(text(cell), decimal) if not by_fractions else _one_of_a_rule(cell, decimal)
        if isinstance(found, str):
            faults[i] = found
        elif found:
            values[i], unit_here = found
            own_unit |= {i: unit_here} if unit_here else {}
    for i in map(int, np.flatnonzero(np.isinf(values))):
        values[i], faults[i] = np.nan, f"{text(cells[i])!r} is not finite"
    return Read(_converted(values, own_unit, faults, from_unit=from_unit, to_unit=to_unit), faults)


def _durations(cells: list[Any], decimal: str, *, from_unit: str, to_unit: str) -> Read:
    """Read a column of durations with colons; beside them a number stands only with a unit of its own."""
    found = spans(cells, from_unit)
    rest = [None if i in found.seconds or i in found.faults else cell for i, cell in enumerate(cells)]
    bare = {}
    for i, cell in enumerate(rest):
        number = _one_number(text(cell), decimal)
        if isinstance(number, tuple) and not number[1]:
            bare[i], rest[i] = f"{text(cell)!r} has no colon, and its column is in {from_unit}", None
    plain = numbers(rest, decimal=decimal, from_unit="s", to_unit=to_unit)
    at = list(found.seconds)
    plain.values[at] = convert(np.array([found.seconds[i] for i in at]), "s", to_unit)
    return Read(plain.values, {**plain.faults, **found.faults, **bare})


def metres_of(unit: str) -> float:
    """Return the length of a unit in metres; NaN for no unit and for one of another kind, such as in "East (s)"."""
    try:
        return float(convert(np.ones(1), unit, "m")[0])
    except UnitError:
        return np.nan


def _one_number(found: str, decimal: str) -> tuple[float, str] | str | None:
    """Return number and unit of one text, None for nothing, or what is wrong with it."""
    if found.lower() in NOTHING:
        return None
    plain = _closed_up(found)
    if decimal[0] == "," and re.match(r"[+-]?[1-9]\d{0,2}\.\d{3}(?![\d.,])", plain):
        return f"{found!r} has a point where this source writes a comma: decimals or thousands"
    if len(decimal) == 2 and (parted := re.match(_GROUPS[decimal], plain)):
        plain = parted[0].replace(decimal[1], "") + plain[parted.end() :]
    match = _NUMBER_UNIT.fullmatch(_dotted(plain, decimal))
    if not match or (match[2] and not is_unit(match[2])):
        return f"{found!r} is not a number"
    return float(match[1]), match[2] or ""


def _is_of_a_rule(unit: str) -> bool:
    """Whether the unit is the inch or a foot."""
    return any(abs(metres_of(unit) / metres_of(one) - 1) < 1e-5 for one in ("in", "ft"))


def _one_of_a_rule(cell: Any, decimal: str) -> tuple[float, str] | str | None:
    """As `_one_number`, in a column of inches or feet: 5/16, 1 1/4 and 1-1/4 are numbers there."""
    if isinstance(cell, date):
        return (
            f"{text(cell)[:10]!r} is a date, which a spreadsheet makes of a fraction: write it as a decimal or a text"
        )
    found = _FRACTION.fullmatch(_MINUS.sub("-", text(cell)))
    if not found or (found["unit"] and not _is_of_a_rule(found["unit"])):
        return _one_number(text(cell), decimal)
    over, under = int(found["over"]), int(found["under"])
    if under not in _MARKS or over >= under:
        return f"{text(cell)!r} is no fraction as a rule has them, down to 1/64"
    return int(found["whole"] or 0) + over / under, found["unit"] or ""


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


# The letter s is seconds only behind d and m: in "42 54 00S" it is the side.
_ANGLE = re.compile(
    r"""(?P<lead>[NSEW])?\s*(?P<sign>[+-])?\s*(?P<deg>\d+(?:\.\d+)?)
        (?:\s*[°ºd:\s]\s*(?P<min>\d+(?:\.\d+)?)
            (?:\s*m\s*(?P<sec_s>\d+(?:\.\d+)?)\s*s?
            |\s*['′’:\s]\s*(?P<sec>\d+(?:\.\d+)?)\s*(?:["″”]|''|’’|′′)?
            |\s*['′’m]?)
        |\s*[°ºd]?)\s*(?P<tail>[NSEW])?""",
    re.VERBOSE,
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
    found = _MINUS.sub("-", text(cell))
    return found.replace(",", ".") if decimal[0] == "," else found


def _one_angle(found: str, letters: str) -> float | str:
    if found.lower() in NOTHING:
        return float("nan")
    sides = r"^[nsew]|[new]$" if "m" in found else r"^[nsew]|[new]$|(?<!\d)s$"
    match = _ANGLE.fullmatch(re.sub(sides, lambda side: side[0].upper(), found))
    if not match:
        return "{0!r} is not a number" if not re.search(r"[°º'′\"″NSEW]", found) else "{0!r} is not an angle"
    parts = [part for part in (match["deg"], match["min"], match["sec"] or match["sec_s"]) if part]
    if fault := _angle_fault(match, parts, letters):
        return fault
    degrees, minutes, seconds = (*map(float, parts), 0.0, 0.0)[:3]
    value = degrees + minutes / 60 + seconds / 3600
    return -value if match["sign"] == "-" or (match["lead"] or match["tail"]) == letters[1] else value


def _angle_fault(match: re.Match[str], parts: list[str], letters: str) -> str:
    letter = match["lead"] or match["tail"] or ""
    if (match["lead"] and match["tail"]) or (letter and match["sign"]):
        return "{0!r} says its side twice"
    if letter and letter not in letters:
        return f"{{0!r}} has {letter}, this column is {letters[0]} or {letters[1]}"
    if any("." in part for part in parts[:-1]):
        return "{0!r} has decimals before its last part"
    return "{0!r} has 60 minutes or seconds, or more" if any(float(part) >= 60 for part in parts[1:]) else ""
