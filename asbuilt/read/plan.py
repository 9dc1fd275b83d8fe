"""What was planned: which reach each crew was to have fused by which day, planned tie-ins, and days without work.

The order of `from` and `to` is the way a crew works: from 4000 to 3000 is backwards along the line. Places are read as
those of test sections are: chainages with their unit, or station labels.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd

from asbuilt.read.alignments import Design, Designs
from asbuilt.read.cells import Read
from asbuilt.read.reaches import (
    Rows,
    chainages,
    days_of,
    in_column,
    lines_of,
    set_aside_beyond,
    set_aside_unstated,
)
from asbuilt.read.side_tables import SidePart, SideTable, joined, parted, read_side
from asbuilt.settings import Settings

WORK, BORE, TIE_IN = "work", "bore", "tie-in"
HOLIDAY, WEATHER = "holiday", "weather"
PLAN: Mapping[str, object] = {
    "kind": object,
    "start": object,
    "date": object,
    "line": object,
    "from_chainage_m": "float64",
    "to_chainage_m": "float64",
    "crew": object,
    "remarks": object,
    "source_file": object,
    "sheet": object,
    "source_row": "int64",
}
# The words for each kind (common practice, no source).
_KINDS = {
    "": WORK, "work": WORK, "fuse": WORK, "fusing": WORK, "lay": WORK, "bore": BORE, "tie-in": TIE_IN,
    "tie in": TIE_IN, "holiday": HOLIDAY, "day off": HOLIDAY, "weather": WEATHER, "weather day": WEATHER,
}  # fmt: skip
_REACHES = (WORK, BORE)
_ENDS = ("from", "to")


@dataclass(frozen=True)
class PlanRows:
    """The plan. `rows` has the columns `PLAN`: start and date ISO days, chainages in metres before equations, crew as
    written; None or NaN: not stated. `set_aside` as for the tally: each row left out, with its reason."""

    rows: pd.DataFrame
    notes: tuple[str, ...]
    set_aside: pd.DataFrame


def read_plan(settings: Settings, designs: Designs) -> PlanRows:
    """Read the plan of the route; empty where there is no file. Raises InputError with the problems of all files."""
    parts = read_side(settings, settings.plan, partial(_rows, settings=settings, designs=designs))
    rows, set_aside = parted(joined(parts, PLAN), PLAN)
    return PlanRows(rows, tuple(n for p in parts for n in p.notes), set_aside)


def _rows(table: SideTable, *, settings: Settings, designs: Designs) -> SidePart:
    table.need("date", "the day by which a reach is to be done")
    reason = table.rows.why_not.copy()
    kinds = _kinds(table, reason)
    start, day = (days_of(table, settings, name) for name in ("start", "date"))
    _set_aside_days(table, start, day, reason)
    has_place = np.isin(kinds, (*_REACHES, TIE_IN))
    lines = _lines(table, designs, reason=reason, has_place=has_place)
    ends = _places(table, lines, kinds, settings)
    _set_aside_places(table, ends, lines, reason=reason, kinds=kinds, settings=settings)
    columns: dict[str, object] = {f"{name}_chainage_m": read.values for name, read in ends.items()}
    columns |= {"kind": kinds, "start": start, "date": day, "line": [of.name if of else None for of in lines]}
    return table.part({**columns, **{name: table.texts(name) for name in ("crew", "remarks")}}, reason)


def _kinds(table: SideTable, reason: np.ndarray) -> np.ndarray:
    """Return the kind of each row, and say in `reason` where the word for it is not known."""
    words = [(word or "").strip().casefold() for word in table.texts("kind")]
    for i, word in enumerate(words):
        if word not in _KINDS and not reason[i]:
            known = ", ".join((WORK, BORE, TIE_IN, HOLIDAY, WEATHER))
            reason[i] = in_column(table, "kind", f"{word!r} is none of {known}")
    return np.array([_KINDS.get(word, "") for word in words], dtype=object)


def _set_aside_days(table: SideTable, start: np.ndarray, day: np.ndarray, reason: np.ndarray) -> None:
    for i in np.flatnonzero(reason == ""):
        if day[i] is None:
            reason[i] = in_column(table, "date", "no day is stated that can be read")
        elif start[i] is not None and start[i] > day[i]:
            reason[i] = f"it starts on {start[i]}, after {day[i]}"


def _lines(table: SideTable, designs: Designs, *, reason: np.ndarray, has_place: np.ndarray) -> Rows:
    """Return the line of each row that has a place; a day without work lies on none."""
    found = reason.copy()
    lines: list[Design | None] = list(lines_of(table, designs, found))
    for i in range(len(lines)):
        if has_place[i]:
            reason[i] = found[i]
        else:
            lines[i] = None
    return lines


def _places(table: SideTable, lines: Rows, kinds: np.ndarray, settings: Settings) -> dict[str, Read]:
    """Return both ends of each reach; a tie-in has one place, its `from`."""
    nowhere = np.full(len(kinds), np.nan)
    stated = [name for name in _ENDS if name in table.found.uses]
    found = {name: Read(nowhere.copy(), {}) for name in _ENDS} | chainages(table, stated, lines, settings)
    for read in found.values():
        read.values[[line is None for line in lines]] = np.nan
    found["to"].values[kinds == TIE_IN] = found["from"].values[kinds == TIE_IN]
    return found


def _set_aside_places(
    table: SideTable,
    ends: Mapping[str, Read],
    lines: Rows,
    *,
    reason: np.ndarray,
    kinds: np.ndarray,
    settings: Settings,
) -> None:
    """Say in `reason` which reaches have no place, no length, or lie off their line."""
    placed = np.where(np.isin(kinds, (*_REACHES, TIE_IN)), reason, "of no place")
    set_aside_unstated(table, ends, placed)
    short = np.isin(kinds, _REACHES) & (ends["from"].values == ends["to"].values)
    placed[short & (placed == "")] = "it has no length: from and to are one place"
    stated = {name: read for name, read in ends.items() if name in table.found.uses}
    set_aside_beyond(table, stated, lines, reason=placed, settings=settings)
    there = np.isin(kinds, (*_REACHES, TIE_IN))
    reason[there] = placed[there]
