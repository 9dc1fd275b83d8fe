"""What a decision rests on, in a short digest, and the ids of things that a decision can be about.

A digest is made of what a person has looked at and of nothing else, so that neither the order of rows nor other
joints change it. It begins with a letter: a spreadsheet reads a bare 12345678 or 1e234567 as a number.
"""

import hashlib
from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

_VERDICTS = ("fusion_verdict", "position_verdict")
# How sure a place is depends a little on all its neighbours: where that matters, the verdict changes with it.
_HOW_SURE = r"(±|\bsd) ?[\d.,]+"


def row_ids(records: pd.DataFrame) -> np.ndarray:
    """Return file:row, or file!sheet:row, of each row of tables.RECORDS, object of shape (rows,).

    >>> row_ids(pd.DataFrame({"source_file": ["a.csv", "b.xlsx"], "sheet": ["", "Day 1"], "source_row": [7, 9]}))
    array(['a.csv:7', 'b.xlsx!Day 1:9'], dtype=object)
    """
    sheet = records["sheet"].astype(object)
    place = records["source_file"].astype(object) + ("!" + sheet).where(sheet != "", "")
    return (place + ":" + records["source_row"].astype(str).astype(object)).to_numpy(object)


def finding_ids(kinds: Sequence[str], joints: Sequence[Iterable[str]]) -> list[str]:
    """Return an id for each finding, made of its kind and its joints in any order; a second one of both is counted.

    >>> finding_ids(["clock", "clock"], [["A", "B"], ["B", "A"]])
    ['clock-76fe3925', 'clock-76fe3925-2']
    """
    ids = [f"{kind.replace(' ', '-')}-{_digest(sorted(names))[1:]}" for kind, names in zip(kinds, joints, strict=True)]
    again = [ids[:i].count(name) for i, name in enumerate(ids)]
    return [f"{name}-{n + 1}" if n else name for name, n in zip(ids, again, strict=True)]


def of_joints(joints: pd.DataFrame, checks: pd.DataFrame) -> list[str]:
    """Return the basis of each row of tables.JOINTS: its verdicts, its reasons, and the values, limits and verdicts of
    its checks. `checks` are those of tables.WINDOW_CHECKS, of these joints and of any others.

    How sure a place is, in figures, is left out of the reasons: other joints move it.
    """
    told = _told_checks(checks[checks["joint_id"].isin(joints["joint_id"])])
    parts = joints[list(_VERDICTS)].astype(object)
    parts["reasons"] = joints["reasons"].astype(object).str.replace(_HOW_SURE, r"\1", regex=True)
    parts["checks"] = joints["joint_id"].map(told).astype(object).fillna("")
    return [_digest(row) for row in parts.itertuples(index=False)]


def _told_checks(checks: pd.DataFrame) -> pd.Series:
    """Return all checks of a joint as one text, by joint_id; numbers with the six digits that a reader is shown."""
    numbers = [np.char.mod("%.6g", checks[name].to_numpy(float) + 0.0) for name in ("value", "low", "high")]
    words = [checks[name].to_numpy(object) for name in ("check", "unit", "verdict")]
    lines = ["|".join(parts) for parts in zip(*words, *numbers, strict=True)]
    told = pd.DataFrame({"joint_id": checks["joint_id"].to_numpy(object), "line": np.array(lines, dtype=object)})
    return told.sort_values(["joint_id", "line"]).groupby("joint_id")["line"].agg("\n".join)


def of_gaps(gaps: pd.DataFrame) -> list[str]:
    """Return the basis of each row of tables.GAPS: its ends by name, its kind, and how many records are missing."""
    parts = gaps[["line", "from_joint", "to_joint", "kind", "missing_records"]].astype(str)
    return [_digest(row) for row in parts.itertuples(index=False)]


def of_rows(records: pd.DataFrame) -> list[str]:
    """Return the basis of each row of tables.RECORDS: its cells as found."""
    return [_digest([cells]) for cells in records["cells"]]


def of_findings(findings: pd.DataFrame) -> list[str]:
    """Return the basis of each row of tables.FINDINGS: its kind, its statement, and its joints in any order."""
    columns = zip(findings["kind"], findings["statement"], findings["joints"], strict=True)
    return [_digest([kind, said, *sorted(joints.split(", "))]) for kind, said, joints in columns]


def _digest(parts: Iterable[str]) -> str:
    """Return b and eight hexadecimal digits of the SHA-256 of some texts."""
    return "b" + hashlib.sha256("\0".join(parts).encode()).hexdigest()[:8]
