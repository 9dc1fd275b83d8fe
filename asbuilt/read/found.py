"""Where joints were found when the pipe was laid bare again: by whom, when, how sure, and how deep."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from asbuilt.crs import Crossing
from asbuilt.read.positions import Target
from asbuilt.read.side_places import PLACE, has_place, levels_of, places, stated_place, without_copies
from asbuilt.read.side_tables import SidePart, SideTable, joined, parted, read_side
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


@dataclass(frozen=True)
class FoundRows:
    """The as-found measurements. `rows` has the columns `FOUND`: easting and northing in the working frame, sd_m of one
    axis, time in UTC, day in ISO 8601 on the clock of the route; None, NaN, NaT: not stated. `wants` says what a row
    does not state and would have to, to place its joint; empty where it can. `set_aside` as for the tally."""

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
    time = table.moments("date", zone=zone, clock=source.corrections.clock)
    table.notes[:] = [note for note in table.notes if "without a time of day" not in note]
    place = places(table, settings, target, time=time)
    joint = table.texts("joint_id")
    columns: dict[str, object] = {**stated_place(place), "joint": joint, "sd_m": place.sd_m, "time": time}
    columns |= {"day": _days(time, zone), "elevation_of": levels_of(table)}
    columns |= {f"{name}_m": table.told(name, table.numbers(name)) for name in ("elevation", "depth")}
    columns |= {name: table.texts(name) for name in ("name", "remarks")}
    columns["wants"] = _wanted(place.sd_m, columns["day"], columns["name"])  # type: ignore[arg-type]
    reason = np.where((table.rows.why_not == "") & ~has_place(place), place.fault, table.rows.why_not)
    reason = np.where((reason == "") & pd.isna(joint), "no joint is named", reason)
    return table.part(columns, reason, place.crossing)


def _days(time: np.ndarray, zone: ZoneInfo) -> np.ndarray:
    local = pd.Series(time).dt.tz_localize("UTC").dt.tz_convert(zone)
    return local.dt.strftime("%Y-%m-%d").astype(object).where(local.notna(), None).to_numpy(object)


def _wanted(sd_m: np.ndarray, day: np.ndarray, name: np.ndarray) -> np.ndarray:
    """Return what each row leaves out: how sure it is, when it was, who it was; object of shape (rows,)."""
    words = ("standard deviation", "date", "name")
    lacks = np.column_stack([np.isnan(sd_m), pd.isna(day), pd.isna(name)])
    return np.array(
        [" and ".join(w for w, gone in zip(words, row, strict=True) if gone) for row in lacks], dtype=object
    )


def _unsure(rows: pd.DataFrame) -> Iterator[str]:
    """Say which measurements place nothing, and why."""
    for wants, of in rows[rows["wants"] != ""].groupby("wants", sort=True):
        where = ", ".join(f"{f} row {n}" for f, n in zip(of["source_file"][:10], of["source_row"][:10], strict=True))
        more = ", ..." if len(of) > 10 else ""
        yield f"found: without a {wants} a measurement is shown and places nothing: {where}{more}"
