"""Between which joints missing records hide, with 95 %: where the level rises, a fix may not say before which joint."""

import numpy as np
import pandas as pd

from asbuilt.place.along import Placed
from asbuilt.place.levels import CELLS

_TAIL = 0.025  # on either side of a bracket
COLUMNS = ("first", "last", "before", "after", "missing", "low", "high")


def brackets(placed: Placed) -> pd.DataFrame:
    """Return one row for each reach with missing records: entries of `placed`.

    The records are likeliest missing between `before` and `after`, and with 95 % between `first` and `last`; there are
    `missing` of them, with 95 % between `low` and `high`. Reaches that share a joint are one.
    """
    found: list[dict[str, int]] = []
    for at in np.flatnonzero(placed.missing > 0):
        first, last = _reach(placed, int(at))
        if found and first < found[-1]["last"] and placed.piece[first] == placed.piece[found[-1]["first"]]:
            found[-1] |= {"last": last, "missing": found[-1]["missing"] + int(placed.missing[at])}
        else:
            found.append({"first": first, "last": last, "before": int(at) - 1, "after": int(at)})
            found[-1]["missing"] = int(placed.missing[at])
    for row in found:
        row["low"], row["high"] = _bounds(placed, row["first"], row["last"], row["missing"])
    return pd.DataFrame(found, columns=list(COLUMNS)).astype(np.int64)


def _reach(placed: Placed, at: int) -> tuple[int, int]:
    """Return the nearest entries that surely lie before and behind a rise to the entry `at`.

    A rise by several sticks may be several rises by one: it begins where the level may have left the lower one at all.
    """
    low = placed.levels.likeliest[at - 1] + CELLS / 2
    high = placed.levels.likeliest[at] - CELLS / 2
    first, last = at - 1, at
    while not placed.head[first] and _above(placed, first, low) > _TAIL:
        first -= 1
    end = len(placed.head) - 1
    while last < end and not placed.head[last + 1] and _above(placed, last, high) < 1 - _TAIL:
        last += 1
    return first, last


def _above(placed: Placed, entry: int, level: float) -> float:
    first = int(np.floor(level)) + 1 - int(placed.levels.cell[entry])
    return float(placed.levels.share[entry, max(first, 0) :].sum())


def _bounds(placed: Placed, first: int, last: int, missing: int) -> tuple[int, int]:
    """Return how many records are missing at the least and at the most, from the levels at both ends."""
    share = placed.levels.share[last]
    rise = placed.levels.cell[last] + np.arange(len(share)) - placed.levels.likeliest[first]
    sticks = np.rint(rise / CELLS).astype(int)
    counts = np.maximum(np.arange(sticks[0], sticks[-1] + 1), 0)
    total = np.cumsum(np.bincount(sticks - sticks[0], weights=share))
    low, high = (
        counts[np.searchsorted(total, _TAIL)],
        counts[min(int(np.searchsorted(total, 1 - _TAIL)), len(counts) - 1)],
    )
    return min(int(low), missing), max(int(high), missing)
