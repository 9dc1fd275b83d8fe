"""How deep a joint lay when somebody measured: as found, or by the levels of an as-laid shot. Words and arithmetic."""

from collections.abc import Hashable, Iterator, Mapping
from datetime import tzinfo
from typing import Any

import numpy as np
import pandas as pd

from asbuilt.quantities import LengthUnit

NO_DEPTH = "depth and cover: not recorded"
_SINCE = "the ground may have changed since"
_NEWEST_FIRST = ("as found", "as-laid shot")
_SIZE = ["outside_diameter_mm", "wall_mm"]


def depth_texts(
    opinions: pd.DataFrame, joints: pd.DataFrame, *, unit: LengthUnit, zone: tzinfo | None
) -> Iterator[tuple[str, str]]:
    """Yield joint_id and text for each depth that was measured: what was found later before what was laid, the newest
    first.

    `opinions` and `joints` are tables of the hand-over, whole or in part; a day is that of the clock of `zone`.
    """
    measured = opinions[opinions["method"].isin(_NEWEST_FIRST)]
    measured = measured.join(joints.set_index("joint_id")[_SIZE], on="joint_id")
    measured = measured.sort_values("seen_at", ascending=False, kind="stable")
    for method in _NEWEST_FIRST:
        for row in measured[measured["method"] == method].to_dict("records"):
            if said := _depth(row, unit) or _cover(row, unit):
                yield str(row["joint_id"]), f"{said} ({method}{_on(row['seen_at'], zone)}); {_SINCE}"


def _on(moment: pd.Timestamp, zone: tzinfo | None) -> str:
    return f" on {moment.tz_convert(zone):%Y-%m-%d}" if pd.notna(moment) else ""


def _depth(row: Mapping[Hashable, Any], unit: LengthUnit) -> str:
    deep = row["depth_m"]
    return f"depth {unit.text(deep)} from the ground down to the pipe, as recorded" if np.isfinite(deep) else ""


def _cover(row: Mapping[Hashable, Any], unit: LengthUnit) -> str:
    """Return the ground less the crown of the pipe (plain arithmetic), or why not; "" where one level is lacking."""
    ground, level = row["ground_m"], row["elevation_m"]
    if not (np.isfinite(ground) and np.isfinite(level)):
        return ""
    crown = level + _up_to_the_crown(row)
    if not np.isfinite(crown):
        return f"cover cannot be told: the level was taken on {row['elevation_of'] or 'what is not stated'}"
    how = f"ground {unit.text(ground)}, crown {unit.text(crown)}, as recorded"
    if crown > ground:
        return f"cover cannot be told: the crown would lie above the ground ({how})"
    return f"cover {unit.text(ground - crown)}: {how}"


def _up_to_the_crown(row: Mapping[Hashable, Any]) -> float:
    """Return how far above what a level was taken on the crown lies, metres; NaN where that is not known.

    An invert is the inside of the pipe at its foot: up to the crown it is the outside diameter less one wall.
    """
    if row["elevation_of"] == "invert":
        return float(row["outside_diameter_mm"] - row["wall_mm"]) / 1000
    return 0.0 if row["elevation_of"] == "crown" else np.nan
