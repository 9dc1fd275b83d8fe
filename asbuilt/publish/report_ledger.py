"""The ledger of the report: each line end to end by chainage, and what has no chainage.

Every joint of a line is in it once: by itself where somebody has to look at it or has decided on it, else counted in
the reach that it stands in.
"""

import itertools
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd

from asbuilt.as_built import AsBuilt
from asbuilt.basis import row_ids
from asbuilt.look import CANNOT_TELL, IN_WINDOW
from asbuilt.outstanding import gaps_that_count, joints_that_stand_out
from asbuilt.quantities import LengthUnit
from asbuilt.sentence import several

# What the rows of a ledger hold, as the template reads them. Each has `kind` and these.
ROWS: Mapping[str, str] = {
    "end": "an end of the line: station, says",
    "reach": "joints of which none stands out: station, to, says",
    "joint": "one joint: station, id, note, fusion, position, why, decisions, open",
    "joints": "neighbouring joints that say the same: as one joint, `id` names all, and to and n, how many",
    "gap": "a stretch without records: station, to, id, note, why, decisions, open",
    "row": "a source row set aside: id, why, decisions, open",
    "finding": "what a group of joints shares: id, note, why, decisions, open",
}
_ABOUT = {"joint": "joint_id", "gap": "gap_id", "row": "row_id", "finding": "finding_id"}

_FOLDED = 4  # so many neighbours that say the same are one row

Row = dict[str, Any]


def ledger(as_built: AsBuilt) -> list[dict[str, Any]]:
    """Return one ledger a line, as name, length and rows."""
    decisions = _Decisions(as_built.tables["decisions"])
    unit = as_built.title.length_unit
    return [
        {
            "line": line.line,
            "length": unit.text(line.length_m, 2),
            "rows": list(_of_line(line, as_built.tables, decisions, unit)),
        }
        for line in _rows(as_built.tables["alignment"])
    ]


def _rows(frame: pd.DataFrame) -> Iterator[Any]:
    return frame.itertuples(index=False)


def elsewhere(as_built: AsBuilt) -> list[Row]:
    """Return what has no chainage: joints without a place, findings of groups, source rows set aside."""
    frames, decisions = as_built.tables, _Decisions(as_built.tables["decisions"])
    joints = frames["joints"]
    lines = set(frames["alignment"]["line"])
    nowhere = (joints["chainage_m"].isna() | ~joints["line"].isin(lines)).to_numpy(bool)
    loud = joints_that_stand_out(joints)
    listed = joints.assign(loud=loud)[nowhere & (loud | decisions.are_on("joint", joints["joint_id"]))]
    records = frames["records"].assign(row_id=row_ids(frames["records"]))
    aside = records[records["outstanding"].astype(bool) | decisions.are_on("row", records["row_id"])]
    return [
        *(_joint(joint, decisions) for joint in listed.to_dict("records")),
        *(_finding(found, decisions) for found in frames["findings"].to_dict("records")),
        *(_row(record, decisions) for record in aside.to_dict("records")),
    ]


class _Decisions:
    """The decisions in force, by what they are about."""

    def __init__(self, decisions: pd.DataFrame) -> None:
        held = decisions[decisions["state"] != "superseded"].to_dict("records")
        self._by: dict[tuple[str, str], list[Row]] = {}
        for row in held:
            for kind, column in _ABOUT.items():
                if row[column]:
                    self._by.setdefault((kind, row[column]), []).append(_decision(row))

    def on(self, kind: str, name: str) -> list[Row]:
        """Return the decisions on one thing."""
        return self._by.get((kind, name), [])

    def are_on(self, kind: str, names: pd.Series) -> np.ndarray:
        """Return on which of some things there is a decision, shape (n,)."""
        return np.array([(kind, name) in self._by for name in names], dtype=bool)


def _decision(row: Mapping[Any, Any]) -> Row:
    names = ("decision", "name", "role", "date", "revision", "reason", "reference", "state", "said")
    return {name: str(row[name]) for name in names}


# ---- one line --------------------------------------------------------------------------------------------------------


def _of_line(line: Any, frames: Mapping[str, pd.DataFrame], decisions: _Decisions, unit: LengthUnit) -> Iterator[Row]:
    joints = frames["joints"]
    here = (joints["line"] == line.line) & joints["chainage_m"].notna() & joints["in_line"].astype(bool)
    joints = joints[here].sort_values("chainage_m", kind="stable")
    loud = joints_that_stand_out(joints)
    shown = loud | decisions.are_on("joint", joints["joint_id"])
    joints = joints.assign(loud=loud)
    gaps = frames["gaps"].assign(counts=gaps_that_count(frames["gaps"]))
    gaps = gaps[gaps["line"] == line.line]
    events = [
        *((at, _joint(row, decisions)) for at, row in _by_chainage(joints[shown], "chainage_m")),
        *((at, _gap(row, decisions, unit)) for at, row in _by_chainage(gaps, "from_chainage_m")),
    ]
    events.sort(key=lambda event: event[0])  # a joint before the gap that begins at it
    quiet = joints[~shown]
    group = np.searchsorted([at for at, _ in events], quiet["chainage_m"].to_numpy(float), side="left")
    yield {"kind": "end", "station": line.start_station, "says": f"start of line {line.line}"}
    yield from _folded(_between([row for _, row in events], quiet, group))
    count = f"{several(len(joints), 'joint')} = {shown.sum():,} listed by themselves + {len(quiet):,} in reaches"
    yield {"kind": "end", "station": line.end_station, "says": f"end of line {line.line}: {count}"}


def _by_chainage(frame: pd.DataFrame, column: str) -> list[tuple[float, Row]]:
    return list(zip(frame[column].to_numpy(float), frame.to_dict("records"), strict=True))  # type: ignore[arg-type]


def _between(events: list[Row], quiet: pd.DataFrame, group: np.ndarray) -> Iterator[Row]:
    """Yield the events, each with the reach of quiet joints before it; `group` ascends and says how many are before."""
    first = np.searchsorted(group, np.arange(len(events) + 2))
    for number in range(len(events) + 1):
        if number:
            yield events[number - 1]
        if first[number] < first[number + 1]:
            yield _reach(quiet.iloc[first[number] : first[number + 1]])


def _folded(rows: Iterable[Row]) -> Iterator[Row]:
    """Yield the rows; neighbours that say the same, with nothing decided on any of them, become one."""
    for _, same in itertools.groupby(rows, key=_alike):
        of = list(same)
        if len(of) < _FOLDED:
            yield from of
        else:
            ids = [row["id"] for row in of]
            yield of[0] | {"kind": "joints", "to": of[-1]["station"], "id": ", ".join(ids), "n": len(of)}


def _alike(row: Row) -> object:
    if row["kind"] != "joint" or row["decisions"] or not row["open"]:
        return id(row)
    return tuple(row[name] for name in ("fusion", "position", "note", "why"))


def _reach(joints: pd.DataFrame) -> Row:
    told = [
        f"{what} {', '.join(f'{(verdicts == word).sum():,} {word}' for word in dict.fromkeys(verdicts))}"
        for what, verdicts in (
            ("fusion", joints["fusion_verdict"].sort_values(key=_in_order)),
            ("position", joints["position_verdict"].sort_values(key=_in_order)),
        )
    ]
    says = f"{several(len(joints), 'joint')}, none stands out: {'; '.join(told)}"
    return {"kind": "reach", "station": joints["station"].iloc[0], "to": joints["station"].iloc[-1], "says": says}


def _in_order(verdicts: pd.Series) -> pd.Series:
    return verdicts.map({IN_WINDOW: 0, CANNOT_TELL: 1}).fillna(2)


# ---- one item --------------------------------------------------------------------------------------------------------


def _item(kind: str, name: str, row: Mapping[Any, Any], decisions: _Decisions) -> Row:
    is_closed = not pd.isna(row["closed"]) and bool(row["closed"])
    return {"kind": kind, "id": name, "decisions": decisions.on(kind, name), "open": not is_closed}


def _joint(row: Mapping[Any, Any], decisions: _Decisions) -> Row:
    note = "" if row["kind"] == "production" else str(row["kind"])
    sides = {"fusion": row["fusion_verdict"], "position": row["position_verdict"], "why": row["reasons"]}
    item = _item("joint", row["joint_id"], row, decisions) | {"station": row["station"], "note": note, **sides}
    return item if row["loud"] else item | {"open": False}  # listed for its decision alone


def _gap(row: Mapping[Any, Any], decisions: _Decisions, unit: LengthUnit) -> Row:
    low, high = row["missing_low"], row["missing_high"]
    bounds = f" ({low} to {high} with 95 %)" if low != high else ""
    note = f"{unit.text(row['length_m'], 1)} {row['kind']}"
    missing = f"{several(row['missing_records'], 'missing record')}{bounds}"
    apart = f", {several(row['unplaced_here'], 'joint')} made here without a place" if row["unplaced_here"] else ""
    item = _item("gap", row["gap_id"], row, decisions)
    place = {"station": row["from_station"], "to": row["to_station"], "note": note}
    is_open = item["open"] and row["counts"]
    return item | place | {"why": f"{missing}{apart}: {row['evidence']}.", "open": is_open}


def _finding(row: Mapping[Any, Any], decisions: _Decisions) -> Row:
    note = f"{row['kind']}, {several(int(row['joints_n']), 'joint')}"
    return _item("finding", row["finding_id"], row, decisions) | {"note": note, "why": row["statement"]}


def _row(row: Mapping[Any, Any], decisions: _Decisions) -> Row:
    item = _item("row", row["row_id"], row, decisions) | {"why": row["reason"]}
    return item if row["outstanding"] else item | {"open": False}
