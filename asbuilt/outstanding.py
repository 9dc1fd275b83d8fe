"""What is outstanding: which joints, gaps, rows and findings somebody has to look at, and no decision closes yet.

Every list and count asks here, so that they cannot disagree. Each function takes one table of the hand-over and
returns a mask of shape (rows,).
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from asbuilt.look import NOT_RECORDED, OUT_OF_WINDOW

_LOUD = (OUT_OF_WINDOW, NOT_RECORDED)


def fusion_stands_out(joints: pd.DataFrame) -> np.ndarray:
    """Return which joints have a fusion that is out of window or not recorded, in line or not."""
    return joints["fusion_verdict"].isin(_LOUD).to_numpy(bool)


def joints_that_stand_out(joints: pd.DataFrame) -> np.ndarray:
    """Return which joints in line are out of window, not recorded, without a place or of a number that is not clear."""
    loud = fusion_stands_out(joints) | joints["position_verdict"].isin(_LOUD).to_numpy(bool)
    loud |= (joints["placed_by"] == "unplaced").to_numpy(bool) | _true(joints["number_open"])
    return loud & _true(joints["in_line"])


def gaps_that_count(gaps: pd.DataFrame) -> np.ndarray:
    """Return which gaps miss records: what is not yet recorded does not, and what is unplaced is told by its joints."""
    return ((gaps["kind"] != "not yet recorded") & (gaps["missing_records"] > 0)).to_numpy(bool)


def counted(frames: Mapping[str, pd.DataFrame]) -> tuple[int, int]:
    """Return how many joints, gaps, rows and findings are outstanding, and how many are not because of a decision."""
    still_open = {"joints": open_joints, "gaps": open_gaps, "records": open_rows, "findings": open_findings}
    every = {name: frame.assign(closed=False) for name, frame in frames.items() if name in still_open}
    count = sum(int(is_open(frames[name]).sum()) for name, is_open in still_open.items())
    return count, sum(int(is_open(every[name]).sum()) for name, is_open in still_open.items()) - count


def open_joints(joints: pd.DataFrame) -> np.ndarray:
    """Return which joints stand out and are not closed."""
    return joints_that_stand_out(joints) & ~_true(joints["closed"])


def open_gaps(gaps: pd.DataFrame) -> np.ndarray:
    """Return which gaps miss records and are not closed."""
    return gaps_that_count(gaps) & ~_true(gaps["closed"])


def open_rows(records: pd.DataFrame) -> np.ndarray:
    """Return which rows were set aside, may be a record, and are not closed."""
    return _true(records["outstanding"]) & ~_true(records["closed"])


def open_findings(findings: pd.DataFrame) -> np.ndarray:
    """Return which findings are not closed."""
    return ~_true(findings["closed"])


def findings_of(findings: pd.DataFrame, joint_ids: Sequence[str]) -> list[list[int]]:
    """Return the rows of tables.FINDINGS that concern each joint, closed ones too, in their order.

    >>> findings_of(pd.DataFrame({"joints": ["A, B", "B, C, D"]}), ["B", "C, D", "E"])
    [[0, 1], [1], []]
    """
    at = defaultdict(list)
    for row, names in enumerate(findings["joints"]):
        for name in names.split(", "):
            at[name].append(row)
    whole = [f", {names}, " for names in findings["joints"]]
    return [
        [row for row, names in enumerate(whole) if f", {name}, " in names] if ", " in name else at.get(name, [])
        for name in joint_ids
    ]


def _true(flags: pd.Series) -> np.ndarray:
    """Return a mask in which what is not known is false."""
    return flags.astype("boolean").fillna(False).to_numpy(bool)
