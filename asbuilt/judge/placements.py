"""What placing found about many joints at once: strings that were moved, orders not used, fixes unlike their word."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from asbuilt.place.placing import Placement
from asbuilt.quantities import LengthUnit

_TELLING = 20  # so many joints in line have to show it before a receiver's word on its accuracy is doubted
_UNLIKE = 1.5  # times as much as stated, or as little


def placements(rows: pd.DataFrame, placement: Placement, unit: LengthUnit, *, stick_m: float) -> tuple[str, ...]:
    """Return one statement for each string that was moved, each order that is not used, each source unlike its word.

    `rows` are the joints in line with joint_id, machine, source_file, fused_at, string and what `place` adds, station
    of the fix among it (fix_station).
    """
    return (
        *placement.unclear,
        *_moved(rows, unit, stick_m),
        *_orderless(rows),
        *_unlike_their_word(rows, placement.noise),
    )


def _moved(rows: pd.DataFrame, unit: LengthUnit, stick_m: float) -> Iterator[str]:
    """Say of each group of joints fused at one place where the machine stood, and what places them or is wanted."""
    stays = rows[rows["stays"].eq(True)].sort_values(["machine", "fused_at", "source_row"])
    if stays.empty:
        return
    apart = (stays["fix_chainage_m"].diff().abs() > stick_m / 2) | (stays["machine"] != stays["machine"].shift())
    for _, group in stays.groupby(np.cumsum(apart.to_numpy())):
        placed = group["placed_by"] != "unplaced"
        where = f" at {group['fix_station'].iloc[0]}" if group["fix_station"].iloc[0] else ""
        ids = group["joint_id"]
        said = f"{len(group)} joints ({ids.iloc[0]} to {ids.iloc[-1]}) were fused at one place{where} and moved"
        length = unit.text(len(group) * stick_m, 0)
        if placed.all():
            at = group["chainage_m"]
            low, high = (group["station"].iloc[i] for i in (at.argmin(), at.argmax()))
            yield f"{said}: they are placed by their pipes between {low} and {high}, not surveyed."
        else:
            yield (
                f"{said}: {int((~placed).sum())} of them are unplaced, for nothing ties this string of some {length} to"
                " the line. Pipe serials that meet those of its tie-ins place it, or a [[string]] in route.toml with"
                " its tie_ins (or from and to) and first_fused, or as-laid shots."
            )


def _orderless(rows: pd.DataFrame) -> Iterator[str]:
    for machine, group in rows[rows["orderless"].eq(True)].groupby("machine", sort=True):
        yield (
            f"{len(group)} joints of machine {machine}: the times of their records do not run along the line, so their"
            " order is not used and each stands where its own fix puts it."
        )


def _unlike_their_word(rows: pd.DataFrame, noise: pd.DataFrame) -> Iterator[str]:
    counts = rows[rows["placed_by"] == "fix+tally"].groupby(["source_file", rows["machine"].fillna("")]).size()
    for (file, machine), factor in zip(noise.index, noise["factor"], strict=True):
        if counts.get((file, machine), 0) >= _TELLING and not 1 / _UNLIKE <= factor <= _UNLIKE:
            whose = f"{file}, machine {machine}" if machine else str(file)
            what = f"{factor:.1f} times as much as" if factor > 1 else f"{factor:.1f} of what"
            how = "the wider figure is used throughout" if factor > 1 else "offsets are still judged by what is stated"
            yield f"The fixes of {whose} scatter {what} they state, by the run of their neighbours: {how}."
