"""Joints without a place that were made between the two joints of a gap: their records are not missing."""

import numpy as np
import pandas as pd

from asbuilt.sentence import several


def less_unplaced(gaps: pd.DataFrame, joints: pd.DataFrame, *, stick_m: float) -> pd.DataFrame:
    """Return the gaps with unplaced_here, and with that many fewer missing records.

    `gaps` are of `judge.gaps`, `joints` as in `unplaced_within`.
    """
    here = unplaced_within(gaps, joints, stick_m=stick_m)
    explained = (here >= gaps["missing_records"]) & (here > 0)
    counts = {n: (gaps[n] - here).clip(lower=0) for n in ("missing_records", "missing_low", "missing_high")}
    kind = gaps["kind"].where(~explained, "records not placed")
    homeless = int(joints["chainage_m"].isna().sum() - here.sum())
    maybe = (counts["missing_records"] > 0) & (homeless > 0)
    word = f"; {several(homeless, 'joint')} without a place may be among these"
    evidence = gaps["evidence"].where(~maybe, gaps["evidence"] + word)
    return gaps.assign(unplaced_here=here, kind=kind, evidence=evidence, **counts)


def unplaced_within(gaps: pd.DataFrame, joints: pd.DataFrame, *, stick_m: float) -> np.ndarray:
    """Return for each gap how many unplaced joints a machine made between the two joints that bound it.

    `joints` are the joints in line: machine, fused_at, line, stays, chainage_m (NaN: unplaced). The placed joints
    that the machine made just before and after must stand at the ends of the gap, as near as the unplaced ones are
    long; a run that begins or ends unplaced belongs to the gap at that end of the line.
    """
    count = np.zeros(len(gaps), dtype=np.int64)
    if len(gaps) == 1 and joints["chainage_m"].isna().all():  # nothing of the one line has a place
        return np.array([len(joints)])
    for _, run in joints[joints["fused_at"].notna()].sort_values("fused_at").groupby("machine"):
        unplaced = run["chainage_m"].isna().to_numpy()
        edges = np.flatnonzero(np.diff(np.concatenate([[False], unplaced, [False]])))
        for first, last in edges.reshape(-1, 2):  # each stretch of unplaced joints of the machine
            before, after = run.iloc[first - 1] if first else None, run.iloc[last] if last < len(run) else None
            here = _bounded_by(gaps, before, after, slack=1.5 * stick_m)
            if not here.any() and run["stays"].iloc[first:last].eq(True).all():
                here = (gaps["missing_records"] == last - first).to_numpy()  # it may lie anywhere
                here = here if here.any() else _as_long(gaps, last - first)
            here = here & (gaps["missing_high"] + 1 >= last - first).to_numpy()
            if here.sum() == 1:  # where two gaps would do, none is named
                count += here * (last - first)
    return count


def _as_long(gaps: pd.DataFrame, many: int) -> np.ndarray:
    """Whether a string of so many joints fills each gap: to one joint, or an eighth, for a short pipe may be in it."""
    return np.asarray((gaps["missing_records"] - many).abs() <= max(1, many // 8)) & (gaps["missing_records"] > 0)


def _bounded_by(gaps: pd.DataFrame, before: pd.Series | None, after: pd.Series | None, *, slack: float) -> np.ndarray:
    """Whether each gap lies between the two joints, either way round; without one of them, at an end of the line."""
    near = [_touches(gaps, joint, slack) for joint in (before, after) if joint is not None]
    if len(near) == 2:
        (from_a, to_a), (from_b, to_b) = near
        return (from_a & to_b) | (from_b & to_a)
    if not near:
        return np.zeros(len(gaps), dtype=bool)
    starts, ends = near[0]
    return (starts & (gaps["to_joint"] == "").to_numpy()) | (ends & (gaps["from_joint"] == "").to_numpy())


def _touches(gaps: pd.DataFrame, joint: pd.Series, slack: float) -> tuple[np.ndarray, np.ndarray]:
    """Whether each gap begins, and whether it ends, at the joint."""
    same = (gaps["line"] == joint["line"]).to_numpy()
    starts, ends = ((gaps[name] - joint["chainage_m"]).abs() < slack for name in ("from_chainage_m", "to_chainage_m"))
    return same & starts.to_numpy(), same & ends.to_numpy()
