"""The ledger of the report: each line end to end by chainage, what has no chainage, and who decided what.

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
from asbuilt.domains import DOMAINS, Words
from asbuilt.look import CANNOT_TELL, IN_WINDOW
from asbuilt.outstanding import findings_of, gaps_that_count, joints_that_stand_out
from asbuilt.quantities import LengthUnit
from asbuilt.sentence import several, some

# What the rows of a ledger hold, as the template reads them. Each has `kind` and these.
ROWS: Mapping[str, str] = {
    "end": "an end of the line: station, says",
    "reach": "joints of which none stands out: station, to, says",
    "joint": "one joint: station, id, note, fusion, position, why, decisions, open",
    "joints": "neighbouring joints that say the same: as one joint, `id` names all, and to and n, how many",
    "gap": "a stretch without records: station, to, id, note, why, decisions, open",
    "row": "a source row set aside: id, why, decisions, open",
    "finding": "of one joint or several: station, to (both empty elsewhere), id, note, why, names, decisions, open",
}
_ABOUT = {"joint": "joint_id", "gap": "gap_id", "row": "row_id", "finding": "finding_id"}

_FOLDED = 4  # so many neighbours that say the same are one row
_NAMED = 30  # joints of a finding that its row names; the table of findings has all

Row = dict[str, Any]


def ledger(as_built: AsBuilt) -> list[dict[str, Any]]:
    """Return one ledger a line, as name, length and rows."""
    decisions = _Decisions(as_built.tables["decisions"])
    unit = as_built.title.length_unit
    frames = {**as_built.tables, "findings": _where_found(as_built.tables)}
    return [
        {
            "line": line.line,
            "length": unit.text(line.length_m, 2),
            "rows": list(_of_line(line, frames, decisions, unit)),
        }
        for line in _rows(frames["alignment"])
    ]


def _rows(frame: pd.DataFrame) -> Iterator[Any]:
    return frame.itertuples(index=False)


def elsewhere(as_built: AsBuilt) -> list[Row]:
    """Return what has no chainage: joints without a place, findings of no joint that has one, rows set aside."""
    frames, decisions = as_built.tables, _Decisions(as_built.tables["decisions"])
    joints = frames["joints"]
    lines = set(frames["alignment"]["line"])
    nowhere = (joints["chainage_m"].isna() | ~joints["line"].isin(lines)).to_numpy(bool)
    loud = joints_that_stand_out(joints)
    listed = joints.assign(loud=loud)[nowhere & (loud | decisions.are_on("joint", joints["joint_id"]))]
    records = frames["records"].assign(row_id=row_ids(frames["records"]))
    aside = records[records["outstanding"].astype(bool) | decisions.are_on("row", records["row_id"])]
    found = _where_found(frames)
    return [
        *(_joint(joint, decisions) for joint in listed.to_dict("records")),
        *(_finding(row, decisions) for row in found[found["line"] == ""].to_dict("records")),
        *(_row(record, decisions) for record in aside.to_dict("records")),
    ]


def _where_found(frames: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Return the findings with line, from_chainage_m, from_station and to_station of the joints that each names.

    Of several lines it is the first; where no joint of a finding has a place, the texts are empty.
    """
    findings, joints = frames["findings"].reset_index(drop=True), frames["joints"]
    rank = joints["line"].map({line: i for i, line in enumerate(frames["alignment"]["line"])})
    placed = joints.assign(rank=rank)[rank.notna() & joints["chainage_m"].notna()]
    placed = placed.sort_values(["rank", "chainage_m"], kind="stable")
    of = findings_of(findings, placed["joint_id"].to_list())
    pairs = placed.iloc[np.repeat(np.arange(len(of)), [len(rows) for rows in of])]
    pairs = pairs.assign(found=np.array([row for rows in of for row in rows], dtype=int))
    first = pairs.drop_duplicates("found").set_index("found").reindex(findings.index)
    on_it = pairs["rank"].to_numpy() == first["rank"].reindex(pairs["found"]).to_numpy()
    last = pairs[on_it].drop_duplicates("found", keep="last").set_index("found").reindex(findings.index)
    texts = {"line": first["line"], "from_station": first["station"], "to_station": last["station"]}
    told = {name: column.astype(object).fillna("") for name, column in texts.items()}
    return findings.assign(**told, from_chainage_m=first["chainage_m"].to_numpy(float))


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
    found = frames["findings"][frames["findings"]["line"] == line.line]
    events = [
        *((at, _joint(row, decisions)) for at, row in _by_chainage(joints[shown], "chainage_m")),
        *((at, _finding(row, decisions)) for at, row in _by_chainage(found, "from_chainage_m")),
        *((at, _gap(row, decisions, unit)) for at, row in _by_chainage(gaps, "from_chainage_m")),
    ]
    events.sort(key=lambda event: event[0])  # a joint before what is found of it, and before the gap that begins at it
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
    first, last = row["from_station"], row["to_station"]
    place = {"station": first, "to": last if last != first else ""}
    note = f"{row['kind']}, {several(int(row['joints_n']), 'joint')}"
    told = {"note": note, "why": row["statement"], "names": some(row["joints"].split(", "), most=_NAMED)}
    return _item("finding", row["finding_id"], row, decisions) | place | told


def _row(row: Mapping[Any, Any], decisions: _Decisions) -> Row:
    item = _item("row", row["row_id"], row, decisions) | {"why": row["reason"]}
    return item if row["outstanding"] else item | {"open": False}


# ---- who decided what ------------------------------------------------------------------------------------------------


def decided_cells(as_built: AsBuilt) -> list[list[str]]:
    """Return each word of a decision, how many say it as the last on their item, and who: of many people the first."""
    rows = as_built.tables["decisions"]
    rows = rows[rows["state"] != "superseded"]
    who = rows["name"] + (", " + rows["role"]).where(rows["role"] != "", "")
    groups = rows.assign(who=who).groupby("decision", sort=False)["who"]
    by_word = {str(word): names for word, names in groups}
    words = [word for word in [*_words("decision"), *by_word] if word in by_word]
    return [[word, f"{len(by_word[word]):,}", _people(by_word[word])] for word in dict.fromkeys(words)]


def decided_says(as_built: AsBuilt) -> list[str]:
    """Say how many decisions were handed in, in which states they are, and what each state means."""
    rows = as_built.tables["decisions"]
    unused = [text for text in as_built.of_decisions if _LEFT_OUT in text]
    if rows.empty:
        return [*unused, "Nothing is decided." if unused else "Nobody yet: no decision was handed in."]
    means, states = _words("decision_state"), rows["state"].value_counts()
    told = [f"{states[word]:,} {word} ({means[word]})" for word in means if word in states]
    closing = "Current and not tied ones close their item, but for those that ask for work or for more information."
    return [f"{several(len(rows), 'decision')}: {'; '.join(told)}. {closing}", *unused]


_LEFT_OUT = " left out and close"  # of the statement on rows of decisions that cannot be used
_LONGEST, _PEOPLE = 48, 3


def _words(domain: str) -> Mapping[str, str]:
    found = DOMAINS[domain]
    return found.meanings if isinstance(found, Words) else {}


def _short(text: str) -> str:
    """Cut a text that would fill the first page; all of it stands with the decision itself."""
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 1].rstrip()}…"


def _people(names: pd.Series) -> str:
    counts = names.value_counts(sort=True)
    rest = len(counts) - _PEOPLE
    told = [f"{_short(str(name))}: {many:,}" for name, many in counts.head(_PEOPLE).items()]
    return "; ".join([*told, *([f"and {rest:,} more"] if rest > 0 else [])])
