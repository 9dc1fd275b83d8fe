"""What stands beside the joint records: the list of pipes with their lengths, and the shots on the laid pipe."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from asbuilt.crs import Crossing
from asbuilt.read.positions import Target
from asbuilt.read.side_places import PLACE, has_place, levels_of, places, stated_place, without_copies
from asbuilt.read.side_tables import SidePart, SideTable, joined, parted, read_side
from asbuilt.settings import Settings

TALLY: Mapping[str, object] = {
    "pipe": object,
    "length_m": "float64",
    "outside_diameter_mm": "float64",
    "wall_mm": "float64",
    "lot": object,
    "string": object,
    "order": "float64",
    **PLACE,
}
SURVEY: Mapping[str, object] = {
    "joint": object,
    "line": object,
    "easting": "float64",
    "northing": "float64",
    "elevation_m": "float64",
    "elevation_of": object,
    "ground_m": "float64",
    "sd_m": "float64",
    "frame_accuracy_m": "float64",
    "frame_origin": object,
    "time": "datetime64[us]",
    "surveyor": object,
    **PLACE,
}
_SAME_LENGTH = 1e-3  # metres: a tally is measured to a centimetre, and feet are rounded
_ODD = (0.5, 2.0)  # sticks so much shorter or longer than [pipe] stick are rather in another unit


@dataclass(frozen=True)
class Tally:
    """The list of pipes. `rows` has the columns `TALLY`, None or NaN: not stated; `set_aside` each row left out, with
    source_file, sheet, source_row, cells and reason."""

    rows: pd.DataFrame
    notes: tuple[str, ...]
    set_aside: pd.DataFrame


@dataclass(frozen=True)
class Survey:
    """The as-laid shots. `rows` has the columns `SURVEY`: easting and northing in the working frame, sd_m of one axis,
    time in UTC; None, NaN, NaT: not stated. `set_aside` as for the tally."""

    rows: pd.DataFrame
    notes: tuple[str, ...]
    crossings: tuple[Crossing, ...]
    set_aside: pd.DataFrame


def read_tally(settings: Settings) -> Tally:
    """Read the pipes of the route; empty where there is no file. Raises InputError with the problems of all files."""
    parts = read_side(settings, settings.tally, _pipes)
    frame = joined(parts, TALLY)
    frame, repeated = _each_pipe_once(frame)
    rows, set_aside = parted(frame, TALLY)
    notes = (*(n for p in parts for n in p.notes), *repeated, *_odd_lengths(rows, settings), *_shared_order(rows))
    return Tally(rows, notes, set_aside)


def read_survey(settings: Settings, target: Target) -> Survey:
    """Read the shots of the route into the working frame; empty where there is no file.

    Raises InputError with the problems of all files, such as a frame that is not known well enough.
    """
    parts = read_side(settings, settings.survey, partial(_shots, settings=settings, target=target))
    frame, repeated = without_copies(joined(parts, SURVEY), SURVEY, "shot")
    rows, set_aside = parted(frame, SURVEY)
    notes = (*(n for p in parts for n in p.notes), *repeated, *_unsure(rows))
    return Survey(rows, notes, tuple(dict.fromkeys(p.crossing for p in parts if p.crossing)), set_aside)


def _pipes(table: SideTable) -> SidePart:
    table.need("length", "the length of a pipe")
    if not {"string", "order"} <= set(table.found.uses):
        table.need("pipe", "the number of a pipe")
    length = table.numbers("length")
    columns: dict[str, object] = {name: table.texts(name) for name in ("pipe", "lot", "string")}
    for name in ("outside_diameter", "wall", "order"):
        columns[table.found.source.fields[name].stored] = table.told(name, table.numbers(name))
    unnamed = pd.isna(columns["pipe"]) & (pd.isna(columns["string"]) | pd.isna(columns["order"]))  # type: ignore[call-overload]
    reason = table.rows.why_not.copy()
    reason[(reason == "") & unnamed] = "no pipe number, nor a string with the order in it: which pipe it is is not said"
    heading = table.found.uses["length"].heading
    for i in np.flatnonzero((reason == "") & ~(length.values > 0)):
        none = "no length is stated" if np.isnan(length.values[i]) else "a length is more than zero"
        reason[i] = f"column {heading}: {length.faults.get(int(i), none)}"
    return table.part({**columns, "length_m": length.values}, reason)


def _each_pipe_once(frame: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """Set aside a pipe of several lengths; keep one row of a pipe that is listed again with the same length."""
    frame, notes, again = frame.copy(), [], []
    named = frame[(frame["reason"] == "") & frame["pipe"].notna()]
    named = named.assign(one=named["pipe"].str.strip().str.casefold())  # as serials are compared when joints are linked
    for _, rows in named[named.duplicated("one", keep=False)].groupby("one", sort=False):
        pipe = rows["pipe"].iloc[0]
        places = ", ".join(f"{m:.3f} m in {w}" for m, w in zip(rows["length_m"], rows["where"], strict=True))
        if np.ptp(rows["length_m"].to_numpy()) > _SAME_LENGTH:
            frame.loc[rows.index, "reason"] = f"pipe {pipe} has several lengths: {places}"
            continue
        merged, unlike = _merged(rows)
        for name, value in merged.items():
            frame.at[rows.index[0], name] = value
        again += list(rows.index[1:])
        but = f"; they differ in {' and '.join(unlike)}, which is not used" if unlike else ""
        notes.append(f"pipe {pipe} is listed {len(rows)} times with the same length, and counted once: {places}{but}")
    return frame.drop(index=again), notes


def _merged(rows: pd.DataFrame) -> tuple[dict[str, Any], list[str]]:
    """Return what rows of one pipe say together, and the columns in which they contradict one another."""
    merged: dict[str, Any] = {}
    unlike = []
    for name in ("outside_diameter_mm", "wall_mm", "lot", "string", "order"):
        said = list(dict.fromkeys(rows[name].dropna()))
        merged[name] = said[0] if len(said) == 1 else None if TALLY[name] is object else np.nan
        unlike += [name] if len(said) > 1 else []
    return merged, unlike


def _odd_lengths(rows: pd.DataFrame, settings: Settings) -> Iterator[str]:
    middle = rows["length_m"].median()
    if len(rows) and not _ODD[0] <= middle / settings.pipe.stick <= _ODD[1]:
        shown = settings.route.length_unit
        stated = f"a stick is {shown.short(settings.pipe.stick)} in [pipe]"
        yield f"the middle length of the tally is {shown.short(middle)}, and {stated}: check its unit"


def _shared_order(rows: pd.DataFrame) -> Iterator[str]:
    placed = rows.dropna(subset=["string", "order"])
    for (string, order), same in placed[placed.duplicated(["string", "order"], keep=False)].groupby(
        ["string", "order"]
    ):
        places = ", ".join(f"{f} row {n}" for f, n in zip(same["source_file"], same["source_row"], strict=True))
        yield f"{len(same)} pipes of string {string} have the order {order:g}: {places}"


def _shots(table: SideTable, *, settings: Settings, target: Target) -> SidePart:
    source = table.found.source
    zone = source.timezone or settings.route.timezone
    time = table.moments("time", zone=zone, clock=source.corrections.clock)
    place = places(table, settings, target, time=time)
    columns: dict[str, object] = {**stated_place(place), "sd_m": place.sd_m, "time": time, **_words(table, settings)}
    columns |= {f"{n}_m": table.told(n, table.numbers(n)) for n in ("elevation", "ground")}
    reason = np.where((table.rows.why_not == "") & ~has_place(place), place.fault, table.rows.why_not)
    return table.part(columns, reason, place.crossing)


def _words(table: SideTable, settings: Settings) -> dict[str, np.ndarray]:
    """Return the fields that are words; a line or a kind of level that is not known is told."""
    words = {name: table.texts(name) for name in ("joint", "line", "surveyor")}
    lines = [a.line for a in settings.alignment]
    for i in np.flatnonzero([w is not None and w not in lines for w in words["line"]]):
        what = f"{words['line'][i]!r} is none of the lines {', '.join(lines)}"
        table.fault(int(i), f"column {table.found.uses['line'].heading}", what)
    return {**words, "elevation_of": levels_of(table)}


def _unsure(rows: pd.DataFrame) -> Iterator[str]:
    """Say what the shots do not say of themselves."""
    bare = int(rows["sd_m"].isna().sum())
    if bare:
        yield f"survey: {bare} of {len(rows)} shots state no standard deviation (column sd, or default_accuracy)"
    open_level = int((rows["elevation_m"].notna() & rows["elevation_of"].isna()).sum())
    if open_level:
        yield f"survey: {open_level} of {len(rows)} shots do not say what their level was taken on (elevation_of)"
