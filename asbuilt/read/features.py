"""Fixed features beside the line, that joints are tied to: name, description and place."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd

from asbuilt.crs import Crossing
from asbuilt.read.positions import Target
from asbuilt.read.side_places import PLACE, has_place, places, stated_place, without_copies
from asbuilt.read.side_tables import SidePart, SideTable, joined, parted, read_side
from asbuilt.sentence import some
from asbuilt.settings import Settings

FEATURES: Mapping[str, object] = {
    "feature": object,
    "description": object,
    "easting": "float64",
    "northing": "float64",
    "frame_accuracy_m": "float64",
    "frame_origin": object,
    **PLACE,
}


@dataclass(frozen=True)
class Features:
    """The features. `rows` has the columns `FEATURES`: easting and northing in the working frame. `set_aside` has each
    row left out, with source_file, sheet, source_row, cells and reason."""

    rows: pd.DataFrame
    notes: tuple[str, ...]
    crossings: tuple[Crossing, ...]
    set_aside: pd.DataFrame


def read_features(settings: Settings, target: Target) -> Features:
    """Read the features of the route into the working frame; empty where there is no file.

    Raises InputError with the problems of all files, such as a frame that is not known well enough.
    """
    parts = read_side(settings, settings.features, partial(_features, settings=settings, target=target))
    frame, repeated = without_copies(joined(parts, FEATURES), FEATURES, "feature")
    rows, set_aside = parted(frame, FEATURES)
    notes = (*(n for p in parts for n in p.notes), *repeated, *_of_one_name(rows))
    return Features(rows, notes, tuple(dict.fromkeys(p.crossing for p in parts if p.crossing)), set_aside)


def _features(table: SideTable, *, settings: Settings, target: Target) -> SidePart:
    table.need("feature", "the name of a feature")
    place = places(table, settings, target)
    names = table.texts("feature")
    reason = np.where((table.rows.why_not == "") & ~has_place(place), place.fault, table.rows.why_not)
    reason = np.where((reason == "") & pd.isna(names), "no feature is named", reason)
    columns = {**stated_place(place), "feature": names, "description": table.texts("description")}
    return table.part(columns, reason, place.crossing)


def _of_one_name(rows: pd.DataFrame) -> Iterator[str]:
    """Say which names stand at several places: who reads a tie must know which of them is meant."""
    names = rows["feature"].dropna().str.strip().str.casefold()
    twice = list(rows["feature"][names.duplicated()].drop_duplicates()) if len(names) else []
    if twice:
        yield f"features: names that stand at several places, told apart by their description only: {some(twice)}"
