"""What still needs a decision, as a CSV that is ready to fill in: filled in, it is a decisions.csv."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from asbuilt import basis
from asbuilt.outstanding import open_findings, open_gaps, open_joints, open_rows
from asbuilt.sentence import several

IDS = ("joint_id", "gap_id", "row_id", "finding_id")
TOLD = ("station", "what", "basis")
EMPTY = ("decision", "name", "role", "date", "reason", "reference")  # for the person who decides
_RUNS_AS_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def as_csv(frames: Mapping[str, pd.DataFrame]) -> str:
    """Return the list as CSV, lines ended by a line feed. A text that a spreadsheet would run gets an apostrophe."""
    rows = to_decide(frames)
    guarded = {name: rows[name].where(~rows[name].str.startswith(_RUNS_AS_FORMULA), "'" + rows[name]) for name in rows}
    return str(pd.DataFrame(guarded).to_csv(index=False, lineterminator="\n"))


def to_decide(frames: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Return one row for each thing that is outstanding: its id, where, what, the basis, and the columns to fill in.

    `frames` are the tables joints, window_checks, gaps, records and findings. All columns are text.
    """
    joints = _joints(frames["joints"], frames["window_checks"])
    parts = (joints, _gaps(frames["gaps"]), _rows(frames["records"]), _findings(frames["findings"]))
    columns = [*IDS, *TOLD, *EMPTY]
    every = pd.concat([part.reindex(columns=columns).astype(object) for part in parts], ignore_index=True).fillna("")
    every["what"] = [" ".join(what.replace(";", ",").split()) for what in every["what"]]  # one line, one delimiter
    return every.astype(str)


def _joints(joints: pd.DataFrame, checks: pd.DataFrame) -> pd.DataFrame:
    rows = joints[open_joints(joints)]
    first = rows["reasons"].astype(object).str.split(r"\. ", n=1, regex=True).str[0].str.removesuffix(".").fillna("")
    verdicts = zip(rows["fusion_verdict"], rows["position_verdict"], rows["placed_by"], first, strict=True)
    what = [
        f"Fusion {fusion}, position {place}{', without a place' if by == 'unplaced' else ''}{': ' * bool(why)}{why}."
        for fusion, place, by, why in verdicts
    ]
    columns = {"joint_id": rows["joint_id"], "station": rows["station"], "what": _with_decision(what, rows)}
    return pd.DataFrame({**columns, "basis": basis.of_joints(rows, checks)})


def _gaps(gaps: pd.DataFrame) -> pd.DataFrame:
    rows = gaps[open_gaps(gaps)]
    told = zip(rows["missing_records"], rows["kind"], rows["evidence"], strict=True)
    what = [f"{several(missing, 'missing record')} {kind}: {evidence}." for missing, kind, evidence in told]
    station = rows["from_station"] + " to " + rows["to_station"]
    columns = {"gap_id": rows["gap_id"], "station": station, "what": _with_decision(what, rows)}
    return pd.DataFrame({**columns, "basis": basis.of_gaps(rows)})


def _rows(records: pd.DataFrame) -> pd.DataFrame:
    rows = records[open_rows(records)]
    what = [f"Row set aside: {reason}" for reason in rows["reason"]]
    columns = {"row_id": basis.row_ids(rows), "what": _with_decision(what, rows)}
    return pd.DataFrame({**columns, "basis": basis.of_rows(rows)})


def _findings(findings: pd.DataFrame) -> pd.DataFrame:
    rows = findings[open_findings(findings)]
    told = zip(rows["joints_n"], rows["statement"], strict=True)
    what = [f"{several(joints, 'joint')}: {statement}" for joints, statement in told]
    columns = {"finding_id": rows["finding_id"], "what": _with_decision(what, rows)}
    return pd.DataFrame({**columns, "basis": basis.of_findings(rows)})


def _with_decision(what: list[str], rows: pd.DataFrame) -> np.ndarray:
    """Add what was decided and closes nothing, such as a decision that values have left behind."""
    told = [
        f"{text} Decided so far: {said}." if said else text for text, said in zip(what, rows["decision"], strict=True)
    ]
    return np.array(told, dtype=object)
