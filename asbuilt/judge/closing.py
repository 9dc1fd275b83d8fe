"""Which decisions close what they are about, and what each of them leaves open."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from asbuilt.outstanding import findings_of, fusion_stands_out, joints_that_stand_out
from asbuilt.read.decisions import ASKS, ASKS_FOR_WORK, POSITION_CONFIRMED
from asbuilt.sentence import some

CURRENT, STALE, NOT_TIED, SUPERSEDED = "current", "stale", "not tied", "superseded"
CLOSES_NOTHING = "closes nothing"  # it holds, and what is outstanding is another thing than it answers
_PLACE_ALONE = "it confirms a place alone, and another thing is outstanding about it"
_UNTIL = "the item stays open until a record shows it, or a later decision accepts it"

Frames = Mapping[str, pd.DataFrame]


def closing(rows: pd.DataFrame, frames: Frames) -> tuple[pd.DataFrame, np.ndarray]:
    """Return the decisions, of which each says what it leaves open, and which close what they are about, shape (rows,).

    `rows` have about, at (row of its table), decision, state and said; `why` (it closes nothing) and `is_work` come on
    top. One that asks for work or for more closes nothing, nor one that confirms a position where more stands out, nor
    one on a joint that stands out by nothing of its own: a finding says it.
    """
    in_force = rows["state"].isin([CURRENT, NOT_TIED])
    holds = (in_force & ~rows["decision"].isin(ASKS)).to_numpy(bool)
    on_joint = np.flatnonzero((rows["about"] == "joint_id").to_numpy() & holds)
    at = rows["at"].to_numpy(int)
    place_alone = holds & (rows["decision"] == POSITION_CONFIRMED).to_numpy(bool)
    place_alone[on_joint] &= _more_than_its_place(frames["joints"])[at[on_joint]]
    on_finding = holds & (rows["about"] == "finding_id").to_numpy()
    left = _left_open(at[on_joint], frames, closed=set(at[on_finding]))
    own = joints_that_stand_out(frames["joints"])
    why, more = np.full(len(rows), "", dtype=object), np.full(len(rows), "", dtype=object)
    why[place_alone] = _PLACE_ALONE
    for i, names in zip(on_joint, left, strict=True):
        if names and not own[at[i]]:
            why[i] = f"what is outstanding about it is {names}; decide on that"
        elif names:
            more[i] = f" What it leaves open is {names}."
    rows["is_work"] = in_force & rows["decision"].isin(ASKS_FOR_WORK) & _still_there(rows, frames)
    more[rows["is_work"].to_numpy()] = f" It asks for work: {_UNTIL}."
    told = np.where(why == "", "", " It closes nothing: " + why + ".") + more
    state = rows["state"].mask(why != "", CLOSES_NOTHING)
    return rows.assign(state=state, said=rows["said"] + told, why=why), holds & (why == "")


def _still_there(rows: pd.DataFrame, frames: Frames) -> np.ndarray:
    """Return which decisions are about something that is still as it was: a joint that was re-made is not in line."""
    in_line = frames["joints"]["in_line"].to_numpy(bool)
    is_joint = (rows["about"] == "joint_id").to_numpy()
    found = np.ones(len(rows), dtype=bool)
    found[is_joint] = in_line[rows.loc[is_joint, "at"].to_numpy(int)]
    return found


def _more_than_its_place(joints: pd.DataFrame) -> np.ndarray:
    no_place = (joints["placed_by"] == "unplaced").to_numpy(bool)
    return fusion_stands_out(joints) | joints["number_open"].fillna(False).to_numpy(bool) | no_place


def _left_open(at: np.ndarray, frames: Frames, *, closed: set[int]) -> list[str]:
    """Name the findings about some joints, rows of their table, that no decision closes; "": there are none."""
    ids = frames["findings"]["finding_id"].to_numpy(object)
    of = findings_of(frames["findings"], frames["joints"]["joint_id"].to_numpy(object)[at])
    names = [[ids[row] for row in rows if row not in closed] for rows in of]
    return [f"finding{'s' * (len(found) > 1)} {some(found)}" if found else "" for found in names]
