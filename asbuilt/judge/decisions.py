"""Whether decisions still hold: each is tied to what it names, and closes it only while its basis is the present one.

A decision stands beside verdicts. It changes none of them, nor any count of them.
"""

import difflib
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import pandas as pd

from asbuilt import basis, tables
from asbuilt.judge.closing import CLOSES_NOTHING, CURRENT, NOT_TIED, STALE, SUPERSEDED, Frames, closing
from asbuilt.outcome import SET_ASIDE
from asbuilt.read.decisions import ABOUT, Decisions, refused
from asbuilt.sentence import decision_words, several, some

_FRAMES = dict(zip(ABOUT, ("joints", "gaps", "records", "findings"), strict=True))
_TABLES = {"joints": tables.JOINTS, "gaps": tables.GAPS, "records": tables.RECORDS, "findings": tables.FINDINGS}
_LOOKED_UP = 20  # unknown ids for which near ones are looked up: that takes a while where there are many joints


@dataclass(frozen=True)
class Decided:
    """`frames` are joints, gaps, records and findings with what was decided on each, and the table of decisions.

    `statements` count what closes nothing, or may rest on other values; `notes` have each row left out with its reason.
    """

    frames: Frames
    statements: tuple[str, ...]
    notes: tuple[str, ...]


def decide(frames: Frames, decisions: Decisions, as_of: datetime) -> Decided:
    """Return the tables joints, gaps, records and findings with the decisions on them; window_checks are needed, too.

    A row that names nothing known, or whose date cannot be right, is left out and closes nothing.
    """
    rows = decisions.rows
    if rows.empty and decisions.set_aside.empty:
        return Decided({"decisions": tables.empty(tables.DECISIONS)}, (), ())
    tied = _tied(rows, frames, as_of)
    fault = tied["fault"] != ""
    used, closes = closing(_with_states(tied[~fault], frames), frames)
    left_out = pd.concat([decisions.set_aside.rename(columns={"reason": "fault"}), tied[fault]])
    count = len(refused(decisions)) + int(fault.sum())
    return Decided(
        {**_told(used, closes, frames), "decisions": tables.conform(used, tables.DECISIONS)},
        _statements(used, count),
        tuple(f"{_place(row)}: left out, {row.fault}" for row in left_out.itertuples(index=False)),
    )


# ---- what is named ---------------------------------------------------------------------------------------------------


def _tied(rows: pd.DataFrame, frames: Frames, as_of: datetime) -> pd.DataFrame:
    """Add `about` (the id column that is filled), `at` (the row of its table, -1: none) and `fault` to each row."""
    out = rows.assign(about="", at=-1, fault="")
    for about in ABOUT:
        here = rows.index[rows[about].notna()]
        if len(here):
            found = _found(about, rows.loc[here, about], frames)
            out.loc[here, "about"] = about
            out.loc[here, "at"] = [at for at, _ in found]
            out.loc[here, "fault"] = [why for _, why in found]
    day = out["date"].astype(str)
    made = _made(out, frames["joints"], as_of)
    early, late = (day < made).to_numpy(), (day > as_of.date().isoformat()).to_numpy()
    told = (out["fault"] == "").to_numpy()
    do = f"after the as-of time, {as_of.date()}; correct it, or state a later as_of in [route]"
    out.loc[told & late, "fault"] = "date " + day + f": it is {do}"
    before = "date " + day + ": before the joint was made, on " + made + "; correct the date"
    out.loc[told & early, "fault"] = before
    return out


def _made(tied: pd.DataFrame, joints: pd.DataFrame, as_of: datetime) -> pd.Series:
    """Return the day each decided joint was made, "" for other things and where the time cannot be right itself."""
    known = (joints["fused_at"] <= pd.Timestamp(as_of)).to_numpy(bool)
    day = np.where(known, joints["fused_local"].str[:10].to_numpy(object), "")
    is_joint = ((tied["about"] == "joint_id") & (tied["at"] >= 0)).to_numpy()
    made = pd.Series("", index=tied.index, dtype=object)
    made[is_joint] = day[tied.loc[is_joint, "at"].to_numpy(int)]
    return made


def _ids(about: str, frames: Frames) -> np.ndarray:
    frame = frames[_FRAMES[about]]
    return basis.row_ids(frame) if about == "row_id" else frame[about].to_numpy(object)


def _found(about: str, asked: pd.Series, frames: Frames) -> list[tuple[int, str]]:
    """Return the row of the table that each id names, or -1 and why it names none."""
    ids, keys = _ids(about, frames), [_key(name) for name in asked]
    by_id = _places(ids, set(keys))
    by_number = _places(frames["joints"]["joint"].to_numpy(object), set(keys)) if about == "joint_id" else {}
    out, unknown = [], 0
    for name, key in zip(asked, keys, strict=True):
        places = by_id.get(key) or by_number.get(key) or []
        places = [at for at in places if ids[at] == name] or places  # two ids may differ in case alone
        unknown += not places
        if len(places) == 1:
            out.append((places[0], _not_set_aside(about, name, frames["records"], places[0])))
        else:
            near = [ids[at] for at in places] or (_near(name, ids) if unknown <= _LOOKED_UP else [])
            out.append((-1, _not_one(about, name, near, is_number=bool(places))))
    return out


def _key(name: str) -> str:
    return " ".join(name.split()).casefold()


def _places(names: np.ndarray, wanted: set[str]) -> dict[str, list[int]]:
    """Return where names stand that are wanted, by their keys."""
    found: dict[str, list[int]] = {}
    for at, name in enumerate(names):
        if (key := _key(name)) in wanted:
            found.setdefault(key, []).append(at)
    return found


def _near(name: str, ids: np.ndarray) -> list[str]:
    """Return ids like a name, first those that lost only leading zeros, as in a spreadsheet."""
    alike = [known for known in ids if abs(len(known) - len(name)) <= 3]
    bare = [known for known in alike if known.lstrip("0") == name.lstrip("0")]
    return list(dict.fromkeys([*bare, *difflib.get_close_matches(name, alike, cutoff=0.5)]))[:3]


def _not_one(about: str, name: str, near: Sequence[str], *, is_number: bool) -> str:
    if is_number:
        return f"{about} {name!r}: {len(near)} of them have this number; write one of {some(near, most=10)}"
    noun = {"joint_id": "joint of this id or number", "row_id": "source row of this place"}.get(about, "such id now")
    do = f"did you mean {', '.join(near)}?" if near else "take it from a new list of what is outstanding"
    return f"{about} {name!r}: there is no {noun}; {do}"


def _not_set_aside(about: str, name: str, records: pd.DataFrame, at: int) -> str:
    if about != "row_id" or records["outcome"].iloc[at] == SET_ASIDE:
        return ""
    outcome, joint = records["outcome"].iloc[at], records["joint_id"].iloc[at]
    return f"row_id {name!r}: this row is not set aside ({outcome}); write joint_id {joint} instead"


# ---- what holds ------------------------------------------------------------------------------------------------------


def _with_states(rows: pd.DataFrame, frames: Frames) -> pd.DataFrame:
    """Add the ids as the tables spell them, `state` and `said`. The last decision on a thing is the one in force."""
    rows = rows.assign(**dict.fromkeys(ABOUT, ""), now="", basis=rows["basis"].fillna("").str.casefold())
    for about in ABOUT:
        here = rows.index[rows["about"] == about]
        at = rows.loc[here, "at"].to_numpy(int)
        rows.loc[here, about] = _ids(about, frames)[at] if len(here) else []
        rows.loc[here, "now"] = _present(about, at, frames) if len(here) else []
    ordered = rows.sort_values(["about", "at", "date"], kind="stable")
    last = ~ordered.duplicated(["about", "at"], keep="last").reindex(rows.index)
    bare, same = rows["basis"] == "", rows["basis"] == rows["now"]
    state = np.select([~last, bare, same], [SUPERSEDED, NOT_TIED, CURRENT], STALE)
    return rows.assign(state=state, said=_said(rows, state))


def _present(about: str, at: np.ndarray, frames: Frames) -> list[str]:
    """Return the present basis of some rows of a table; a row that is asked for twice is digested once."""
    once, back = np.unique(at, return_inverse=True)
    frame = frames[_FRAMES[about]].iloc[once]
    if about == "joint_id":
        found = basis.of_joints(frame, frames["window_checks"])
    else:
        found = {"gap_id": basis.of_gaps, "row_id": basis.of_rows, "finding_id": basis.of_findings}[about](frame)
    return [found[i] for i in back]


def _said(rows: pd.DataFrame, state: np.ndarray) -> list[str]:
    says = {
        CURRENT: "Verdicts and values are those that it was made on.",
        STALE: "Verdicts or values are not those that it was made on: the basis is {now} now.",
        NOT_TIED: "It names no basis: whether verdicts or values have changed since, nobody can tell. Now it is {now}.",
        SUPERSEDED: "A later decision on the same stands instead.",
    }
    return [says[s].format(now=now) for s, now in zip(state, rows["now"], strict=True)]


# ---- what is shown ---------------------------------------------------------------------------------------------------


def _told(rows: pd.DataFrame, closes: np.ndarray, frames: Frames) -> dict[str, pd.DataFrame]:
    """Return the four tables with the text of the decision in force on each row, and whether it closes it."""
    out = {}
    for about, name in _FRAMES.items():
        here = ((rows["about"] == about) & (rows["state"] != SUPERSEDED)).to_numpy()
        at, frame = rows.loc[here, "at"].to_numpy(int), frames[name]
        texts, closed = np.full(len(frame), "", dtype=object), np.zeros(len(frame), dtype=bool)
        texts[at] = [_marked(r) for r in rows[here].to_dict("records")]
        closed[at] = closes[here]
        out[name] = tables.conform(frame.assign(decision=texts, closed=closed), _TABLES[name])
    return out


def _marked(row: Mapping[Hashable, str]) -> str:
    """Return a decision as it stands beside a verdict, with its state where it closes nothing for that."""
    return (f"{row['state']}: " if row["state"] in (STALE, CLOSES_NOTHING) else "") + decision_words(row)


def _statements(rows: pd.DataFrame, left_out: int) -> tuple[str, ...]:
    """Say how many rows were left out, how many decisions are stale, how many answer nothing that is outstanding, and
    how many cannot be tied to what is shown."""
    said = []
    if left_out:
        were = "row of decisions was" if left_out == 1 else "rows of decisions were"
        said.append(f"{left_out:,} {were} left out and close{'s' * (left_out == 1)} nothing: the notes say why.")
    if names := _names(rows[rows["state"] == STALE]):
        what = "are not those that it was made on" if len(names) == 1 else "are not those that they were made on"
        verb = "is" if len(names) == 1 else "are"
        end = "closes" if len(names) == 1 else "close"
        many = several(len(names), "decision")
        said.append(f"{many} {verb} stale, as verdicts or values {what}, and {end} nothing: {some(names)}.")
    if (idle := rows[rows["state"] == CLOSES_NOTHING]).size:
        names = [f"{name}, {why}" for name, why in zip(_names(idle), idle["why"], strict=True)]
        verb = "closes" if len(names) == 1 else "close"
        said.append(f"{several(len(names), 'decision')} {verb} nothing: {some(names)}.")
    if (work := rows[rows["is_work"]]).size:
        names = [f"{name}, {word}" for name, word in zip(_names(work), work["decision"], strict=True)]
        verb = "asks" if len(names) == 1 else "ask"
        said.append(f"{several(len(names), 'decision')} {verb} for work that no record shows yet: {some(names)}.")
    if names := _names(rows[rows["state"] == NOT_TIED]):
        verb = "names" if len(names) == 1 else "name"
        ends = "it counts" if len(names) == 1 else "they count"
        why = "whether verdicts or values have changed since, nobody can tell"
        said.append(f"{several(len(names), 'decision')} {verb} no basis, and {ends}: {why} ({some(names)}).")
    return tuple(said)


def _names(rows: pd.DataFrame) -> list[str]:
    return [f"{row['about'].removesuffix('_id')} {row[row['about']]}" for row in rows.to_dict("records")]


def _place(row: object) -> str:
    file, sheet, number = (getattr(row, name) for name in ("source_file", "sheet", "source_row"))
    return f"{file} sheet {sheet} row {number}" if sheet else f"{file} row {number}"
