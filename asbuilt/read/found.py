"""Where joints were found when the pipe was laid bare again: by whom, when, how sure, and how deep."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from asbuilt.crs import Crossing
from asbuilt.errors import InputError
from asbuilt.read.cells import Read, text
from asbuilt.read.positions import Target
from asbuilt.read.side_places import PLACE, has_place, levels_of, places, stated_place, without_copies
from asbuilt.read.side_tables import SidePart, SideTable, joined, parted, read_side
from asbuilt.read.times import moments
from asbuilt.settings import Settings

FOUND: Mapping[str, object] = {
    "joint": object,
    "easting": "float64",
    "northing": "float64",
    "elevation_m": "float64",
    "elevation_of": object,
    "depth_m": "float64",
    "sd_m": "float64",
    "frame_accuracy_m": "float64",
    "frame_origin": object,
    "time": "datetime64[us]",
    "day": object,
    "name": object,
    "remarks": object,
    "wants": object,
    **PLACE,
}

_BEGINS_WITH_YEAR = re.compile(r"\d{4}-")  # ISO 8601: it can be read in one way alone
_NO_POSITION = "no position was recorded"


@dataclass(frozen=True)
class FoundRows:
    """The as-found measurements. `rows` has the columns `FOUND`: easting and northing in the working frame, sd_m of one
    axis, time in UTC, day in ISO 8601 on the clock of the route; None, NaN, NaT: not stated. `wants` says what a row
    does not state and would have to, to place its joint; empty where it can: a depth or a level without a position is
    kept, too. `set_aside` as for the tally."""

    rows: pd.DataFrame
    notes: tuple[str, ...]
    crossings: tuple[Crossing, ...]
    set_aside: pd.DataFrame

    @property
    def placing(self) -> pd.DataFrame:
        """The rows that state all that a measurement has to state before it may place a joint."""
        return self.rows[(self.rows["wants"] == "").to_numpy(bool)].reset_index(drop=True)

    def left_out(self) -> "FoundRows":
        """Return the same without its rows: as if nobody had found anything yet."""
        return replace(self, rows=self.rows.iloc[:0])


def read_found(settings: Settings, target: Target) -> FoundRows:
    """Read the as-found measurements into the working frame; empty where there is no file.

    Raises InputError with the problems of all files, such as a frame that is not known well enough.
    """
    parts = read_side(settings, settings.found, partial(_measured, settings=settings, target=target))
    frame, repeated = without_copies(joined(parts, FOUND), FOUND, "measurement")
    rows, set_aside = parted(frame, FOUND)
    notes = (*(n for p in parts for n in p.notes), *repeated, *_unsure(rows))
    return FoundRows(rows, notes, tuple(dict.fromkeys(p.crossing for p in parts if p.crossing)), set_aside)


def _measured(table: SideTable, *, settings: Settings, target: Target) -> SidePart:
    table.need("joint_id", "which joint was found")
    source = table.found.source
    zone = source.timezone or settings.route.timezone or ZoneInfo("UTC")
    time = _times(table, zone)
    table.notes[:] = [note for note in table.notes if "without a time of day" not in note]
    place = places(table, settings, target, time=time, optional=bool({"depth", "elevation"} & set(table.found.uses)))
    joint = table.texts("joint_id")
    columns: dict[str, object] = {**stated_place(place), "joint": joint, "sd_m": place.sd_m, "time": time}
    columns |= {"day": _days(time, zone), "elevation_of": levels_of(table)}
    heights = {f"{name}_m": table.told(name, table.numbers(name)) for name in ("elevation", "depth")}
    columns |= heights
    columns |= {name: table.texts(name) for name in ("name", "remarks")}
    there = has_place(place)
    columns["wants"] = _wanted(there, place.sd_m, columns["day"], columns["name"])  # type: ignore[arg-type]
    says = there | np.isfinite(np.stack(list(heights.values()))).any(axis=0)
    for i in np.flatnonzero(says & ~there & (place.fault != _NO_POSITION)):
        table.fault(int(i), "position", place.fault[i])
    reason = np.where((table.rows.why_not == "") & ~says, place.fault, table.rows.why_not)
    reason = np.where((reason == "") & pd.isna(joint), "no joint is named", reason)
    return table.part(columns, reason, place.crossing)


def _times(table: SideTable, zone: ZoneInfo) -> np.ndarray:
    """Return when each row was found, UTC, NaT where that cannot be told: then it is said, and the row is kept.

    Dates that can be read two ways do not keep those from being read that begin with the year. Raises InputError where
    there is none of these.
    """
    clock = table.found.source.corrections.clock
    try:
        return table.moments("date", zone=zone, clock=clock)
    except InputError:
        use = table.found.uses["date"]
        cells = [None if why else cell for cell, why in zip(table.rows.of(use), table.rows.why_not, strict=True)]
        known = [cell if _BEGINS_WITH_YEAR.match(text(cell)) else None for cell in cells]
        read = moments(known, stated="", zone=zone, clock=clock)
        if read.refusal or not any(known):
            raise
        for i in np.flatnonzero([text(cell) != "" and not ours for cell, ours in zip(cells, known, strict=True)]):
            what = f"{text(cells[i])!r} does not begin with the year, and is not read: write year-month-day"
            table.fault(int(i), f"column {use.heading}", what)
        return table.told("date", Read(read.utc, read.faults))


def _days(time: np.ndarray, zone: ZoneInfo) -> np.ndarray:
    local = pd.Series(time).dt.tz_localize("UTC").dt.tz_convert(zone)
    return local.dt.strftime("%Y-%m-%d").astype(object).where(local.notna(), None).to_numpy(object)


def _wanted(there: np.ndarray, sd_m: np.ndarray, day: np.ndarray, name: np.ndarray) -> np.ndarray:
    """Return what each row leaves out: where, how sure that is, when it was, who it was; object of shape (rows,)."""
    words = ("position", "standard deviation", "date", "name")
    lacks = np.column_stack([~there, there & np.isnan(sd_m), pd.isna(day), pd.isna(name)])
    return np.array(
        [" and ".join(w for w, gone in zip(words, row, strict=True) if gone) for row in lacks], dtype=object
    )


def _unsure(rows: pd.DataFrame) -> Iterator[str]:
    """Say which measurements place nothing, and why."""
    for wants, of in rows[rows["wants"] != ""].groupby("wants", sort=True):
        where = ", ".join(f"{f} row {n}" for f, n in zip(of["source_file"][:10], of["source_row"][:10], strict=True))
        more = ", ..." if len(of) > 10 else ""
        yield f"found: without a {wants} a measurement is shown and places nothing: {where}{more}"
