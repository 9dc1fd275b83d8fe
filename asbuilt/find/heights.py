"""What is known of heights at a joint: as recorded, by the design, and how deep it lay when somebody measured."""

from collections.abc import Hashable, Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd

from asbuilt.find.record import Record
from asbuilt.quantities import LengthUnit

_SINCE = "the ground may have changed since"
_NEWEST_FIRST = ("as found", "as-laid shot")


def levels(of: Record, joint: pd.Series, positions: pd.DataFrame) -> tuple[str, ...]:
    """Say what is known of heights and depth; where nothing is, that. `positions` has the opinions about the joint."""
    unit = of.title.length_unit
    depths = tuple(_depths(of, joint, positions))
    return (*_as_recorded(joint, unit), *_designed(of, joint), *(depths or ("depth and cover: not recorded",)))


def _as_recorded(joint: pd.Series, unit: LengthUnit) -> Iterator[str]:
    if np.isfinite(joint["elevation_m"]):
        what = joint["elevation_of"] or "of what is not stated"
        yield f"elevation {unit.text(joint['elevation_m'])} ({what}), as recorded"


def _designed(of: Record, joint: pd.Series) -> Iterator[str]:
    vertices = of.rows("alignment_vertices", "line", str(joint["line"])).dropna(subset=["elevation_m"])
    if len(vertices) > 1:
        design = np.interp(joint["chainage_m"], vertices["chainage_m"], vertices["elevation_m"])
        yield f"design level here {of.title.length_unit.text(float(design))}, as the design file has it"


def _depths(of: Record, joint: pd.Series, positions: pd.DataFrame) -> Iterator[str]:
    """Say each depth that was measured, what was found later before what was laid, the newest first."""
    measured = positions[positions["method"].isin(_NEWEST_FIRST)].sort_values("seen_at", ascending=False)
    for method in _NEWEST_FIRST:
        for row in measured[measured["method"] == method].to_dict("records"):
            day = of.day(row["seen_at"])
            if said := _depth(row, of.title.length_unit) or _cover(row, joint, of.title.length_unit):
                yield f"{said} ({method}{f' on {day}' if day else ''}); {_SINCE}"


def _depth(row: Mapping[Hashable, Any], unit: LengthUnit) -> str:
    deep = row["depth_m"]
    return f"depth {unit.text(deep)} from the ground down to the pipe, as recorded" if np.isfinite(deep) else ""


def _cover(row: Mapping[Hashable, Any], joint: pd.Series, unit: LengthUnit) -> str:
    """Return the ground less the crown of the pipe (plain arithmetic), or why not; "" where one level is lacking."""
    ground, level = row["ground_m"], row["elevation_m"]
    if not (np.isfinite(ground) and np.isfinite(level)):
        return ""
    crown = level + _up_to_the_crown(row["elevation_of"], joint)
    if not np.isfinite(crown):
        return f"cover cannot be told: the level was taken on {row['elevation_of'] or 'what is not stated'}"
    how = f"ground {unit.text(ground)}, crown {unit.text(crown)}, as recorded"
    if crown > ground:
        return f"cover cannot be told: the crown would lie above the ground ({how})"
    return f"cover {unit.text(ground - crown)}: {how}"


def _up_to_the_crown(taken_on: str, joint: pd.Series) -> float:
    """Return how far above what a level was taken on the crown lies, metres; NaN where that is not known.

    An invert is the inside of the pipe at its foot: up to the crown it is the outside diameter less one wall.
    """
    if taken_on == "invert":
        return float(joint["outside_diameter_mm"] - joint["wall_mm"]) / 1000
    return 0.0 if taken_on == "crown" else np.nan
