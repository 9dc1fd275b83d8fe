"""Cells become moments: by a stated format, ISO 8601, a workbook's dates, or a day/month order that the column proves.

A local time needs a zone. Hours that a clock change doubles or leaves out, and an order of day and month that the
whole column leaves open, are found and said, never guessed.
"""

import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from asbuilt.read.cells import NOTHING, text
from asbuilt.settings import SERIAL

_EXCEL_DAY_0 = pd.Timestamp("1899-12-30")
_PLAIN_NUMBER = re.compile(r"\d+(\.\d+)?")
_EXCEL_DAYS = (1.0, 2_958_466.0)  # 1900-01-01 to 9999-12-31
_SLASHED = re.compile(
    r"(?P<a>\d{1,2})[./-](?P<b>\d{1,2})[./-](?P<year>\d{4}|\d{2})"
    r"(?:[T,\s]+(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2}))?\s*(?P<half>[AP]\.?M\.?)?)?",
    re.IGNORECASE,
)
_YEAR_FIRST = re.compile(
    r"(?P<year>\d{4})[./-](?P<month>\d{1,2})[./-](?P<day>\d{1,2})"
    r"(?:[T,\s]+(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2}))?\s*(?P<half>[AP]\.?M\.?)?)?",
    re.IGNORECASE,
)
_YEARS = (1900, 2200)  # a clock that was never set starts in 1970, 1980 or 2000; beyond these it is a slip of the pen
_ISO = re.compile(
    r"\d{4}-\d{2}-\d{2}(?:[T\s]\d{2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?\s*(?:Z|[+-]\d{2}:?\d{2})?)?", re.IGNORECASE
)


@dataclass(frozen=True)
class Moments:
    """A column of times. `utc` is datetime64[us] (NaT: none), `faults` what could not be read, by position.

    `refusal` is set where the column as a whole cannot be read: what was found, and what to do.
    """

    utc: np.ndarray
    faults: dict[int, str]
    notes: tuple[str, ...] = ()
    refusal: tuple[str, str] | None = None


def moments(cells: list[Any], *, stated: str, zone: ZoneInfo | None, clock: timedelta | None) -> Moments:
    """Read a column of times. `stated` is a strptime format, `zone` that of times without an offset of their own."""
    naive, aware, faults = _naive_and_aware(cells, stated)
    if stated and (filled := [text(c) for c in cells if text(c).lower() not in NOTHING]) and not _any(naive, aware):
        what = f"not one of its {len(filled)} cells is of the form {stated}, such as {filled[0]!r}"
        return Moments(_nothing(len(cells)), {}, refusal=(what, "correct the format in route.toml"))
    notes: list[str] = []
    if not stated:
        slashed, refusal, note = _by_proven_order(cells, naive, aware)
        if refusal:
            return Moments(_nothing(len(cells)), {}, refusal=refusal)
        naive = naive.where(naive.notna(), slashed)
        notes += [note] if note else []
    if zone is None and naive.notna().any():
        first = int(np.flatnonzero(naive.notna())[0])
        what = f"{text(cells[first])!r} has no offset from UTC, and no time zone is stated"
        return Moments(_nothing(len(cells)), {}, refusal=(what, "state timezone in [route] or in [[records]]"))
    local, clock_faults = _to_utc(naive, zone or ZoneInfo("UTC"), cells)
    utc = aware.where(aware.notna(), local)
    if clock is not None:
        utc = utc + clock
    for i in map(int, np.flatnonzero(utc.isna())):
        if i not in clock_faults and i not in faults and text(cells[i]).lower() not in NOTHING:
            faults[i] = f"{text(cells[i])!r} is not a time" + (f" of the form {stated}" if stated else "")
    days = sum(_is_day(cell, stated) for cell, moment in zip(cells, utc, strict=True) if not pd.isna(moment))
    notes += [f"{days} times are a day without a time of day, read as its beginning"] if days else []
    return Moments(utc.to_numpy("datetime64[us]"), faults | clock_faults, tuple(notes))


def _any(*columns: pd.Series) -> bool:
    return any(column.notna().any() for column in columns)


def _is_day(cell: Any, stated: str) -> bool:
    if isinstance(cell, str):
        return stated != SERIAL and (not re.search("%[HIcXsT]", stated) if stated else ":" not in cell)
    return isinstance(cell, date) and not isinstance(cell, datetime)


def _nothing(size: int) -> np.ndarray:
    return np.full(size, np.datetime64("NaT"), dtype="datetime64[us]")


def _naive_and_aware(cells: list[Any], stated: str) -> tuple[pd.Series, pd.Series, dict[int, str]]:
    """Return what can be read cell by cell: times without an offset, times with one (as naive UTC), and faults."""
    found = [_within_years(_moment(cell, stated), cell) for cell in cells]
    faults = {i: f for i, f in enumerate(found) if isinstance(f, str)}
    naive = [f if isinstance(f, datetime) and f.tzinfo is None else None for f in found]
    aware = [_utc(f) if isinstance(f, datetime) and f.tzinfo is not None else None for f in found]
    return pd.Series(naive, dtype="datetime64[us]"), pd.Series(aware, dtype="datetime64[us]"), faults


def _within_years(found: datetime | str | None, cell: Any) -> datetime | str | None:
    if isinstance(found, datetime) and not _YEARS[0] <= found.year < _YEARS[1]:
        return f"{text(cell)!r} is not a time of this work"
    return found


def _utc(moment: datetime) -> datetime:
    return (moment - moment.utcoffset()).replace(tzinfo=None)  # type: ignore[operator]


def _moment(cell: Any, stated: str) -> datetime | str | None:
    if isinstance(cell, datetime):
        return None if pd.isna(cell) else cell
    if isinstance(cell, date):
        return datetime(cell.year, cell.month, cell.day)
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        if not _EXCEL_DAYS[0] <= cell < _EXCEL_DAYS[1]:
            return None if np.isnan(cell) else f"{text(cell)!r} is not the number of a day"
        return (_EXCEL_DAY_0 + pd.Timedelta(round(cell * 86400), "s")).to_pydatetime()
    if stated == SERIAL:
        found = text(cell).replace(",", ".")
        return _moment(float(found), "") if _PLAIN_NUMBER.fullmatch(found) else None
    return _from_text(text(cell), stated)


def _from_text(found: str, stated: str) -> datetime | None:
    try:
        if stated:
            return datetime.strptime(found, stated)
        if _ISO.fullmatch(found):
            return datetime.fromisoformat(found.upper().replace(",", "."))
        if parts := _YEAR_FIRST.fullmatch(found):
            return _of_parts(parts, int(parts["year"]), int(parts["month"]), int(parts["day"]))
    except ValueError:
        pass  # told by the caller, with what stands in the cell
    return None


def _by_proven_order(
    cells: list[Any], naive: pd.Series, aware: pd.Series
) -> tuple[pd.Series, tuple[str, str] | None, str]:
    """Read day/month/year texts by the order that some row of the column proves."""
    rest = [i for i in np.flatnonzero(naive.isna() & aware.isna()) if _SLASHED.fullmatch(text(cells[i]))]
    out = _nothing(len(cells))
    if not rest:
        return pd.Series(out), None, ""
    parts = {i: _SLASHED.fullmatch(text(cells[i])) for i in rest}
    day_first = [i for i in rest if int(parts[i]["a"]) > 12]  # type: ignore[index]
    month_first = [i for i in rest if int(parts[i]["b"]) > 12]  # type: ignore[index]
    dots = all("." in text(cells[i]).split()[0] for i in rest)  # 04.03.2026 is day first wherever dots are written
    if (day_first and month_first) or not (day_first or month_first or dots):
        proof = (day_first + month_first) if day_first and month_first else rest
        which = " and ".join(repr(text(cells[i])) for i in sorted(proof)[:1] + sorted(proof)[-1:])
        why = "are in two orders" if day_first and month_first else "can be day/month or month/day in every row"
        return pd.Series(out), (f"{which} {why}", 'state the format, such as format = "%d/%m/%Y %H:%M"'), ""
    order = "month first" if month_first else "day first"
    for i in rest:
        out[i] = _slashed(parts[i], bool(month_first))  # type: ignore[arg-type]
    witness = text(cells[(month_first or day_first or rest)[0]])
    return pd.Series(out), None, f"day and month read {order}, as {witness!r} shows"


def _slashed(part: re.Match[str], month_first: bool) -> datetime | None:
    a, b, year = int(part["a"]), int(part["b"]), int(part["year"])
    day, month = (b, a) if month_first else (a, b)
    year += 2000 if len(part["year"]) == 2 else 0
    if not _YEARS[0] <= year < _YEARS[1]:
        return None
    try:
        return _of_parts(part, year, month, day)
    except ValueError:
        return None


def _of_parts(part: re.Match[str], year: int, month: int, day: int) -> datetime | None:
    hour, half = int(part["hour"] or 0), (part["half"] or "").lower()
    if half and not 1 <= hour <= 12:
        return None
    hour = hour % 12 + (12 if half.startswith("p") else 0) if half else hour
    return datetime(year, month, day, hour, int(part["minute"] or 0), int(part["second"] or 0))


def _to_utc(naive: pd.Series, zone: ZoneInfo, cells: list[Any]) -> tuple[pd.Series, dict[int, str]]:
    """Read local times; those that a clock change doubles or leaves out become faults."""
    strict = naive.dt.tz_localize(zone, ambiguous="NaT", nonexistent="NaT")
    known = naive.dt.tz_localize(zone, ambiguous="NaT", nonexistent="shift_forward")
    faults = {}
    for i in np.flatnonzero(naive.notna() & strict.isna()):
        why = "happened twice" if pd.isna(known[i]) else "never was"
        faults[int(i)] = f"{text(cells[i])!r} {why} in {zone.key} (clock change); state it with its offset from UTC"
    return strict.dt.tz_convert("UTC").dt.tz_localize(None), faults
