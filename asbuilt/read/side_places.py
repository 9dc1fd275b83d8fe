"""What side files with a place in each row share: the place in the working frame, levels, and copies left out."""

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np
import pandas as pd

from asbuilt import crs
from asbuilt.errors import InputError, Problem
from asbuilt.read.headings import listed
from asbuilt.read.positions import Positions, Target, epoch_of, positions
from asbuilt.read.sheets import GEOMETRY_X
from asbuilt.read.side_tables import SideTable
from asbuilt.settings import Settings

PLACE: Mapping[str, object] = {"source_file": object, "sheet": object, "source_row": "int64"}
# What a level was taken on, in the words crews write (common practice, no source).
_WGS84 = "EPSG:4326"
_LEVEL_OF = {"crown": "crown", "top": "crown", "top of pipe": "crown", "invert": "invert", "antenna": "antenna"}


def places(
    table: SideTable, settings: Settings, target: Target, *, time: np.ndarray | None = None, optional: bool = False
) -> Positions:
    """Return the positions of a sheet in the working frame, which is theirs, too, where none is said.

    What is wrong with an accuracy is told, and leaves the position in use. `time` (UTC, shape (rows,)) is for frames
    that drift. Raises InputError where no columns are positions, unless they are `optional`, and where their frame
    does not fit.
    """
    uses, source = dict(table.found.uses), table.found.source
    if not optional:
        _refuse_without_position(table)
    if "sd" in uses:
        uses["accuracy"] = uses["sd"]
    if not (source.crs or table.sheet.crs):
        source = source.model_copy(update={"crs": _frame_unsaid(table, settings, target)})
    target = target if time is None else replace(target, epoch=epoch_of(time))
    place = positions(table.sheet, table.rows, uses=uses, source=source, decimal=table.decimal, target=target)
    table.notes.extend(place.notes)
    for i in np.flatnonzero(has_place(place) & (place.fault != "")):
        column, _, what = place.fault[i].partition(": ")
        table.fault(int(i), column, what)
    return place


def _frame_unsaid(table: SideTable, settings: Settings, target: Target) -> str:
    """Return the frame of positions that name none: the route's own, and its base for latitude and longitude where

    that is WGS 84, which a receiver shows, too. Any other would be a guess: raises InputError with what to write.
    """
    pair = [table.found.uses[name].columns[0].heading for name in ("latitude", "longitude") if name in table.found.uses]
    if len(pair) < 2:
        return settings.route.crs
    base, name = target.frame.base, table.found.source.table
    if base.crs.equals(crs.frame(_WGS84, where="").crs, ignore_axis_order=True):
        table.notes.append(f"no crs is said in [{name}]: {' and '.join(pair)} are read in {base.label}, as the route's")
        return _WGS84
    what = f"{' and '.join(pair)} are read as latitude and longitude, and {target.frame.label} of the route has none"
    code = ":".join(base.crs.to_authority(min_confidence=100) or ())
    own = f'crs = "{code}" where they are in {base.crs.name}, ' if code else ""
    do = f'say their frame in [{name}]: {own}crs = "{_WGS84}" where they are in WGS 84, as a receiver shows them'
    raise InputError(Problem(table.sheet.where, what, do))


def has_place(place: Positions) -> np.ndarray:
    """Return which rows have a position, shape (rows,)."""
    return np.isfinite(place.easting) & np.isfinite(place.northing)


def stated_place(place: Positions) -> dict[str, object]:
    """Return the columns that every list of places has: where, and how well its frame is known."""
    return {
        "easting": place.easting,
        "northing": place.northing,
        "frame_accuracy_m": place.frame_accuracy_m,
        "frame_origin": place.crossing.origin if place.crossing else "",
    }


def levels_of(table: SideTable) -> np.ndarray:
    """Return what each level was taken on, None where nothing says it; another word is told and left open."""
    of = table.texts("elevation_of")
    for i in np.flatnonzero([w is not None and w.casefold() not in _LEVEL_OF for w in of]):
        what = f"{of[i]!r} is none of {', '.join(_LEVEL_OF)}; what the level was taken on is left open"
        table.fault(int(i), f"column {table.found.uses['elevation_of'].heading}", what)
    return np.array([_LEVEL_OF.get((w or "").casefold()) for w in of], dtype=object)


def without_copies(frame: pd.DataFrame, dtypes: Iterable[str], what: str) -> tuple[pd.DataFrame, list[str]]:
    """Leave out rows that say the same again, and say which: a copy is no second `what`."""
    values = [name for name in dtypes if name not in PLACE]
    is_copy = (frame["reason"] == "") & frame.duplicated([*values, "reason"])
    if not is_copy.any():
        return frame, []
    copies = frame.loc[is_copy, "where"]
    more = ", ..." if len(copies) > 10 else ""
    return frame[~is_copy], [f"left out, for each repeats a {what} before it: {', '.join(copies[:10])}{more}"]


def _refuse_without_position(table: SideTable) -> None:
    pairs = {"easting", "northing", "latitude", "longitude"}
    if not pairs & set(table.found.uses) and not any(c.heading == GEOMETRY_X for c in table.found.columns):
        name = table.found.source.table
        do = f"map easting and northing in [{name}.columns] to two of: {listed(table.found.columns)}"
        raise InputError(Problem(table.sheet.where, "no two columns are positions", do))
