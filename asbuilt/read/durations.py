"""Durations that are written with colons: 3:22 in a text, or the time of day that a spreadsheet makes of it.

A crew that types 13:10 for 13 minutes and 10 seconds is given 13 hours and 10 minutes by its spreadsheet, and sees
its own figures (common practice, no source). What a column means, its unit says: "min:s", "h:min" or "h:min:s".
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Any

from asbuilt.quantities import colon_parts

_COLONS = re.compile(r"(\d+):(\d{1,2})(?::(\d{1,2}))?([.,]\d+)?")
_NUMBER = re.compile(r"[+-]?[.,]?\d")
_MINUTE, _HOUR = timedelta(minutes=1), timedelta(hours=1)
_NO_DAYS = datetime(1899, 12, 31)  # what a spreadsheet counts the days of a long time from
_DAY_S = 86400


@dataclass(frozen=True)
class Spans:
    """The cells of a column that hold a duration with colons, by position: seconds, or what is wrong with it.

    `note` says how times of day of a workbook were read; empty where there are none.
    """

    seconds: dict[int, float]
    faults: dict[int, str]
    note: str = ""


@dataclass(frozen=True)
class Written:
    """How many cells of a column are durations with colons, the first of them, and the units they may be in."""

    count: int
    example: str
    units: tuple[str, ...]

    @property
    def choice(self) -> str:
        """What to write into the route file."""
        return " or ".join(f'unit = "{unit}"' for unit in self.units)


def spans(cells: Sequence[Any], unit: str) -> Spans:
    """Return the durations with colons among `cells`, of a column in `unit` ("min:s", "h:min" or "h:min:s")."""
    parts = colon_parts(unit)
    found = {i: _of_text(cell, parts, unit) for i, cell in enumerate(cells) if isinstance(cell, str) and ":" in cell}
    clocks = {i: clock for i, cell in enumerate(cells) if (clock := _clock(cell)) is not None}
    by_figures = parts == ("min", "s") and not any(clock % _MINUTE for clock in clocks.values())
    found |= {i: _of_clock(clock, parts, by_figures=by_figures) for i, clock in clocks.items()}
    seconds = {i: s for i, s in found.items() if isinstance(s, float)}
    read = [(clock, seconds[i]) for i, clock in clocks.items() if i in seconds]
    note = _note(read, "by the figures that are shown" if by_figures else "as stored") if read else ""
    return Spans(seconds, {i: s for i, s in found.items() if isinstance(s, str)}, note)


def written(cells: Iterable[Any]) -> Written | None:
    """Return how durations with colons are written in a column; None where it has none, or plain numbers, too."""
    texts, clocks = [], []
    for cell in cells:
        if isinstance(cell, str) and _COLONS.fullmatch(cell.strip()):
            texts.append(cell.strip())
        elif (clock := None if isinstance(cell, float) else _clock(cell)) is not None:
            clocks.append(clock)
        elif isinstance(cell, int | float) or (isinstance(cell, str) and _NUMBER.match(cell.strip())):
            return None
    figures = [*texts, *(_figures(clock) for clock in clocks)]
    if not figures:
        return None
    is_short = any(figure.count(":") == 1 for figure in figures)
    return Written(len(figures), figures[0], ("min:s", "h:min") if is_short else ("h:min:s",))


def _of_text(cell: str, parts: tuple[str, ...], unit: str) -> float | str | None:
    found = _COLONS.fullmatch(cell.strip())
    if not found or (found[4] and parts[-1] != "s"):
        return f"{cell.strip()!r} is not written as {unit}"
    numbers = [int(part) for part in found.groups()[:3] if part is not None]
    if any(len(part) < 2 for part in found.groups()[1:3] if part is not None):
        return f"{cell.strip()!r} has one digit behind a colon: which of two is not clear"
    if any(number >= 60 for number in numbers[1:]):
        return f"{cell.strip()!r} has 60 minutes or seconds, or more"
    # 0:03:22 can only be 3 min 22 s; 13:10:00 and 0:09:00 may be what a spreadsheet wrote for 13:10 and 0:09
    is_whole = len(numbers) == 3 and (parts != ("min", "s") or (numbers[0] == 0 and numbers[2] > 0))
    if len(numbers) != len(parts) and not is_whole:
        return f"{cell.strip()!r} has {len(numbers)} parts, and its column is in {unit}"
    factors = (3600, 60, 1) if is_whole else tuple({"h": 3600, "min": 60, "s": 1}[part] for part in parts)
    decimals = float(found[4].replace(",", ".")) if found[4] else 0.0
    return float(sum(n * f for n, f in zip(numbers, factors, strict=True))) + decimals


def _clock(cell: Any) -> timedelta | None:
    """Return a time of day of a workbook, in each form that a library hands it over in."""
    if isinstance(cell, time):
        return timedelta(hours=cell.hour, minutes=cell.minute, seconds=cell.second, microseconds=cell.microsecond)
    if isinstance(cell, timedelta):
        return cell
    if isinstance(cell, datetime):
        return cell - _NO_DAYS if cell.year <= 1900 else None
    # a fraction of a day: a number that somebody typed has few decimals
    if isinstance(cell, float) and 0 < cell < 1 and len(repr(cell)) > len("0.0000"):
        seconds = round(cell * _DAY_S)
        return timedelta(seconds=seconds) if abs(cell * _DAY_S - seconds) < 1e-4 else None
    return None


def _of_clock(clock: timedelta, parts: tuple[str, ...], *, by_figures: bool) -> float | str:
    if by_figures:
        return clock.total_seconds() / 60  # what is shown as hours are minutes
    if parts == ("min", "s") and clock and (clock >= _HOUR or not clock % _MINUTE):
        return f"{_figures(clock)!r} is a time of day among others with seconds: minutes or hours is not clear"
    return clock.total_seconds()


def _figures(clock: timedelta) -> str:
    minutes, seconds = divmod(round(clock.total_seconds()), 60)
    return f"{minutes // 60}:{minutes % 60:02}" + (f":{seconds:02}" if seconds else "")


def _note(read: list[tuple[timedelta, float]], how: str) -> str:
    """Say, with one of them, how the times of day of a workbook were read."""
    clock, spent = next((pair for pair in read if pair[1]), read[0])
    minutes, seconds = divmod(round(spent), 60)
    many = f"{len(read)} of its cells are times of day" if len(read) > 1 else "one of its cells is a time of day"
    return f"{many}, read {how}: {_figures(clock)} as {minutes} min {seconds} s"
