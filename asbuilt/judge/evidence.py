"""What else speaks for a missing record, or against it: numbers, serials and the pace of the machine."""

from typing import Any

import numpy as np
import pandas as pd

from asbuilt.place.links import MET, UNMET

_SESSION = pd.Timedelta(hours=5)  # what is farther apart is another day of work, and tells nothing of the pace
_CYCLES = 5  # so many steps of a machine make a usual pace
_SLOW, _USUAL = 1.6, 1.3  # times the usual pace: another joint was made between, or none was


def evidence(gaps: pd.DataFrame, rows: pd.DataFrame, *, stick_m: float) -> list[str]:
    """Return what records say of each gap, by its joints before and after; empty where nothing is known.

    `gaps` has before and after (index of rows, -1: none); `rows` machine, fused_at, row_before,
    link, skipped and pipe_m. Where a machine leaves joints to others as a rule its pace tells nothing.
    """
    usual = _usual_pace(rows)
    rows = rows.assign(leaves=rows["pipe_m"] > 1.5 * stick_m)
    return [_of(rows, int(a), int(b), usual) for a, b in zip(gaps["before"], gaps["after"], strict=True)]


def _usual_pace(rows: pd.DataFrame) -> pd.Series:
    """Return the median time between joints of each machine within a day of work."""
    timed = rows[rows["machine"].notna() & rows["fused_at"].notna()].sort_values(["machine", "fused_at"])
    step = timed.groupby("machine")["fused_at"].diff()
    within = step[(step > pd.Timedelta(0)) & (step < _SESSION)]
    by = within.groupby(timed.loc[within.index, "machine"])
    return by.median()[by.size() >= _CYCLES]


def _of(rows: pd.DataFrame, before: int, after: int, usual: pd.Series) -> str:
    if before < 0 or after < 0:
        return ""
    a, b = rows.loc[before], rows.loc[after]
    if b["row_before"] != before:
        a, b = b, a
    if b["row_before"] != a.name:
        return ""  # they are neighbours on the line, not in the order of the work
    return "; ".join(text for text in (_numbers(b), _serials(b), _pace(a, b, usual)) if text)


def _numbers(later: Any) -> str:
    skipped = int(later["skipped"])
    if skipped < 0:
        return ""
    return f"{skipped} number{'s' * (skipped > 1)} skipped" if skipped else "their numbers follow one another"


def _serials(later: Any) -> str:
    return {UNMET: "the serials of their pipes do not meet", MET: "yet the serials of their pipes meet"}.get(
        int(later["link"]), ""
    )


def _pace(a: Any, b: Any, usual: pd.Series) -> str:
    took = abs(b["fused_at"] - a["fused_at"])
    if a["machine"] != b["machine"] or a["machine"] not in usual or not took < _SESSION or b["leaves"]:
        return ""
    times = took / usual[a["machine"]]
    if _USUAL <= times < _SLOW:
        return ""
    minutes, pace = (np.rint(t.total_seconds() / 60) for t in (took, usual[a["machine"]]))
    said = f"made {minutes:.0f} min apart where {pace:.0f} is usual"
    return said if times >= _SLOW else f"{said}: no time for another"
