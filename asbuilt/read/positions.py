"""Positions and their accuracy, from the cells of one sheet into the working frame.

A position that cannot be used is NaN, and says why. The text of the source is kept untouched.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from pyproj.aoi import AreaOfInterest

from asbuilt import crs
from asbuilt.crs import Crossing, Frame
from asbuilt.errors import InputError, Problem
from asbuilt.read.cells import NOTHING, Read, angles, metres_of, numbers, text
from asbuilt.read.headings import Use
from asbuilt.read.rows import SourceRows
from asbuilt.read.sheets import GEOMETRY_X, GEOMETRY_Y, Sheet
from asbuilt.settings import RecordSource

# From an accuracy to the standard deviation of one axis, circular normal (Rayleigh): sqrt(-2 ln(1 - p)) for p.
SD_FACTOR: Mapping[str, float] = {
    "sd": 1.0,
    "68%": 1 / np.sqrt(-2 * np.log(0.32)),
    "95%": 1 / np.sqrt(-2 * np.log(0.05)),
    "rms": 1 / np.sqrt(2),
    "cep": 1 / np.sqrt(2 * np.log(2)),
    "hdop": 1 / np.sqrt(2),  # after multiplication by the range error
}
_EARTH = 2e8  # no easting or northing is larger, in metres or feet
_NO_FIX = frozenset({"0", "invalid", "none", "no fix", "nofix"})


@dataclass(frozen=True)
class Target:
    """Where positions are to be brought: the working frame and the area of the route in degrees."""

    frame: Frame
    area: AreaOfInterest
    epoch: float | None = None  # decimal year of the fixes


@dataclass(frozen=True)
class Positions:
    """Positions of one sheet, arrays of shape (rows,). `fault` says why there is none, empty where there is one."""

    easting: np.ndarray
    northing: np.ndarray
    sd_m: np.ndarray
    frame_accuracy_m: float
    recorded: np.ndarray
    fault: np.ndarray
    crossing: Crossing | None
    notes: tuple[str, ...] = ()


def positions(
    sheet: Sheet, rows: SourceRows, *, uses: Mapping[str, Use], source: RecordSource, decimal: str, target: Target
) -> Positions:
    """Read the positions of a sheet. Raises InputError where their frame is not said or does not fit, FrameError.

    `target` says where to, and the epoch of the fixes for frames that drift.
    """
    pair = _pair(sheet, uses, rows, source.crs or sheet.crs)
    if pair is None:
        nothing = np.full(len(rows.cells), np.nan)
        none = np.full(len(rows.cells), "no position was recorded", dtype=object)
        return Positions(nothing, nothing.copy(), nothing.copy(), 0.0, np.full(len(none), ""), none, None)
    origin = _origin(sheet, source, pair)
    _refuse_other_unit(sheet, uses, pair, origin)
    x, y, fault = _numbers(pair, decimal=decimal, source=source, target=target)
    fault = np.where(_says_no_fix(rows, uses) & (fault == ""), "the record says it had no fix", fault)
    x[fault != ""] = y[fault != ""] = np.nan
    easting, northing, crossing = crs.transform(
        x, y, origin=origin, target=target.frame, area=target.area, epoch=target.epoch
    )
    lost = np.isfinite(x) & ~np.isfinite(easting)
    fault[lost] = f"the position has no place in {target.frame.label}"
    if source.corrections.shift:
        east, north = (s / target.frame.metres_per_unit for s in source.corrections.shift)
        easting, northing = easting + east, northing + north
    sd, sd_fault = _sd(rows, uses, source, decimal)
    fault = np.where(fault == "", sd_fault, fault)  # an unreadable accuracy leaves the position in use
    recorded = np.array(
        [", ".join(filter(None, (text(a), text(b)))) for a, b in zip(pair.first, pair.second, strict=True)]
    )
    notes = _ensemble(origin, crossing) or crossing.notes("its positions")
    # the name of an ensemble covers realisations that lie apart, whatever the register says of the way from it
    accuracy_m = max(crossing.accuracy_m, origin.ensemble_accuracy_m)
    return Positions(easting, northing, sd, accuracy_m, recorded, fault, crossing, notes)


def epoch_of(times: np.ndarray) -> float | None:
    """Return the middle of times (datetime64, NaT: none) as a decimal year; frames drift by centimetres a year."""
    known = pd.Series(times).dropna().sort_values()
    if known.empty:
        return None
    middle = known.iloc[len(known) // 2]
    return float(middle.year + (middle.day_of_year - 1) / 365.25)


@dataclass(frozen=True)
class _Pair:
    """The cells of the two columns: latitude and longitude, or easting and northing."""

    is_angle: bool
    first: list[object]
    second: list[object]
    headings: tuple[str, str]


def _pair(sheet: Sheet, uses: Mapping[str, Use], rows: SourceRows, asked: str) -> _Pair | None:
    for is_angle, names in ((True, ("latitude", "longitude")), (False, ("easting", "northing"))):
        there = [n for n in names if n in uses]
        if len(there) == 1:
            other = names[1 - names.index(there[0])]
            raise InputError(
                Problem(sheet.where, f"{there[0]} has a column, {other} has none", f"map {other} in route.toml")
            )
        if there:
            first, second = (uses[n] for n in names)
            return _Pair(
                is_angle, rows.of(first), rows.of(second), (first.columns[0].heading, second.columns[0].heading)
            )
    headings = [text(h) for h in sheet.rows[0]] if sheet.is_layer else []
    if GEOMETRY_X not in headings:
        return None
    x, y = rows.column(headings.index(GEOMETRY_X)), rows.column(headings.index(GEOMETRY_Y))
    geographic = bool(asked) and crs.frame(asked, where=f"{sheet.where}, crs").is_geographic
    return (
        _Pair(True, y, x, ("the geometry", "the geometry")) if geographic else _Pair(False, x, y, ("the geometry",) * 2)
    )


def _origin(sheet: Sheet, source: RecordSource, pair: _Pair) -> Frame:
    asked = source.crs or sheet.crs
    if not asked:
        do = 'say crs in its [[records]] table, such as crs = "EPSG:4326"'
        raise InputError(Problem(sheet.where, "the frame of its positions is not said", do))
    origin = crs.frame(asked, where=f"{sheet.where}, crs")
    if (
        source.crs
        and sheet.crs
        and not origin.crs.equals(crs.frame(sheet.crs, where=sheet.where).crs, ignore_axis_order=True)
    ):
        what = f"the file says {sheet.crs}, route.toml says {source.crs}"
        raise InputError(Problem(sheet.where, what, "make them agree"))
    if origin.is_geographic != pair.is_angle:
        kind = "latitude and longitude" if pair.is_angle else "easting and northing"
        what = f"{' and '.join(pair.headings)} are read as {kind}, and {origin.label} has none"
        raise InputError(Problem(sheet.where, what, "correct crs, or the columns"))
    return origin


def _refuse_other_unit(sheet: Sheet, uses: Mapping[str, Use], pair: _Pair, origin: Frame) -> None:
    """Raise InputError where a heading says another unit than the frame's. The two feet are told apart by the frame."""
    for name in ("easting", "northing") if not pair.is_angle else ():
        said = uses[name].unit if name in uses else ""
        if said and abs(metres_of(said) / origin.metres_per_unit - 1) > 1e-5:
            column = f"{sheet.where}, column {uses[name].columns[0].heading}"
            raise InputError(
                Problem(column, f"it is in {said}, and crs is {origin.label}", "correct crs of this source")
            )


def _numbers(
    pair: _Pair, *, decimal: str, source: RecordSource, target: Target
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return x, y and what is wrong, with the corrections that the route file asks for."""
    first, second = (pair.second, pair.first) if source.corrections.swap else (pair.first, pair.second)
    headings = pair.headings[::-1] if source.corrections.swap else pair.headings
    read: tuple[Read, ...]
    if pair.is_angle:
        read = (
            angles(first, decimal=decimal, letters="NS", limit=90.0),
            angles(second, decimal=decimal, letters="EW", limit=180.0),
        )
    else:
        read = tuple(numbers(c, decimal=decimal, from_unit="", to_unit="") for c in (first, second))
    fault = _faults(read, headings, (first, second), pair.is_angle)
    a, b = read[0].values, read[1].values
    if source.corrections.sign and pair.is_angle:
        a, b = np.copysign(a, target.area.south_lat_degree), np.copysign(b, target.area.west_lon_degree)
    return (b, a, fault) if pair.is_angle else (a, b, fault)


def _faults(
    read: tuple[Read, ...], headings: tuple[str, ...], cells: tuple[list[object], ...], is_angle: bool
) -> np.ndarray:
    fault = np.full(len(cells[0]), "", dtype=object)
    empty = np.array([all(text(c[i]).lower() in NOTHING for c in cells) for i in range(len(fault))], dtype=bool)
    half = ~empty & (np.isnan(read[0].values) | np.isnan(read[1].values))
    fault[half] = "half of the position is missing"
    fault[empty] = "no position was recorded"
    for column, heading in zip(read, headings, strict=True):
        for i, what in column.faults.items():
            before = f"{fault[i]}; " if fault[i].startswith("column ") else ""
            fault[i] = f"{before}column {heading}: {what}"
    far = (np.abs(read[0].values) > _EARTH) | (np.abs(read[1].values) > _EARTH)
    fault[far] = "the position is no place on earth"
    zero = (read[0].values == 0) & (read[1].values == 0)
    fault[zero] = f"the position is 0, 0: {'the receiver had no fix' if is_angle else 'no position'}"
    return fault


def _says_no_fix(rows: SourceRows, uses: Mapping[str, Use]) -> np.ndarray:
    if "fix" not in uses:
        return np.zeros(len(rows.cells), dtype=bool)
    return np.array([text(cell).lower() in _NO_FIX for cell in rows.of(uses["fix"])], dtype=bool)


def _sd(rows: SourceRows, uses: Mapping[str, Use], source: RecordSource, decimal: str) -> tuple[np.ndarray, np.ndarray]:
    """Return the standard deviation of one axis, metres; NaN where nothing states it."""
    factor = SD_FACTOR[source.accuracy] if source.accuracy else np.nan
    sd = np.full(len(rows.cells), np.nan)
    fault = np.full(len(rows.cells), "", dtype=object)
    if "accuracy" in uses:
        use = uses["accuracy"]
        is_hdop = source.accuracy == "hdop"
        found = numbers(
            rows.of(use), decimal=decimal, from_unit="" if is_hdop else use.unit, to_unit="" if is_hdop else "m"
        )
        sd = found.values * factor * (source.uere or 1.0)
        sd[~(sd > 0)] = np.nan  # receivers write 0 or -1 for "not known"
        for i, what in found.faults.items():
            fault[i] = f"column {use.columns[0].heading}: {what}"
    if source.default_accuracy is not None:
        default = source.default_accuracy * (1 / np.sqrt(2) if source.accuracy == "hdop" else factor)
        sd = np.where(np.isnan(sd), default, sd)
    return sd, fault


def _ensemble(origin: Frame, crossing: Crossing) -> tuple[str, ...]:
    spread = origin.ensemble_accuracy_m
    if spread <= crossing.accuracy_m:
        return ()
    return (
        f"{origin.label} covers realisations that lie up to {spread:g} m apart, which is added to the error of every"
        " fix: ask who set the receiver up which one its corrections were in, and say that as crs",
    )
