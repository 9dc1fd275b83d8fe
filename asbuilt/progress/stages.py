"""How much of the line has reached each stage on an evening, by length; never one number for all."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from asbuilt.judge.completeness import latest
from asbuilt.outstanding import open_joints
from asbuilt.progress.calendar import day_numbers
from asbuilt.progress.formulas import percent_complete
from asbuilt.progress.rows import each
from asbuilt.progress.spans import length
from asbuilt.progress.work import Work, bores
from asbuilt.sentence import several

FUSED, PLACED, CLEAR, ACCEPTED, IN_BORES = "fused", "placed", "nothing outstanding", "accepted", "fused in bores"
TESTED = "tested, last result: "
_Row = tuple[str, float, float, str]


def stages(work: Work) -> pd.DataFrame:
    """Return one row a stage: stage, length_m (NaN: not known), of_m, percent, says.

    Lengths are the union of what has reached the stage: a metre counts once.
    """
    found = pd.DataFrame(_rows(work), columns=["stage", "length_m", "of_m", "says"])
    share = [percent_complete(m, of) for m, of in zip(found["length_m"], found["of_m"], strict=True)]
    found.insert(3, "percent", share)
    return found


def _rows(work: Work) -> Iterator[_Row]:
    whole, closed = _whole(work), work.closed
    fused = float(closed["covered_m"].sum())
    made = work.made
    says = f"{several(len(made), 'joint')}, from joint to joint; gaps in the records are left out"
    yield FUSED, fused, whole, says
    yield from _in_bores(work, closed)
    yield _placed(work, closed, whole)
    yield from _tested(work, whole)
    yield _clear(work, closed, whole)
    yield ACCEPTED, np.nan, whole, "not known: no file says which length the owner has accepted"


def _whole(work: Work) -> float:
    lines = work.tables["alignment"]
    return float((lines["end_chainage_m"] - lines["start_chainage_m"]).sum())


def _in_bores(work: Work, closed: pd.DataFrame) -> Iterator[_Row]:
    lines = work.tables["alignment"]["line"]
    of = sum(length(bores(work.tables["strings"], work.plan, str(line))) for line in lines)
    if of:
        share = (closed["covered_m"] / (closed["high"] - closed["low"])).fillna(0.0)
        yield IN_BORES, float((closed["bore_m"] * share).sum()), of, "in the figure above, and shown apart"


def _placed(work: Work, closed: pd.DataFrame, whole: float) -> _Row:
    there = closed[(closed["placed_day"] <= work.evening).to_numpy()]
    waiting = on_the_bank(work)
    says = "fused where it lies, or tied in, as far as the records know; no survey"
    if waiting:
        says += f"; {work.unit.text(waiting, 0)} fused and not placed, without a place or in a string not tied in"
    return PLACED, float(there["covered_m"].sum()), whole, says


def on_the_bank(work: Work) -> float:
    """Return the length of pipe that is fused and not placed, metres: strings that are not tied in, and joints without
    a place (each with the pipe added there, else with a stick)."""
    closed, made = work.closed, work.made
    strings = closed.loc[~(closed["placed_day"] <= work.evening).to_numpy(), "covered_m"].sum()
    loose = made[made["chainage_m"].isna().to_numpy()]
    return float(strings + loose["length_added_m"].fillna(work.schedule.stick_m).sum())


def _tested(work: Work, whole: float) -> Iterator[_Row]:
    """Yield the length by the result of the last test there by the evening, in the record's own word."""
    sections = work.tables["test_sections"]
    day = day_numbers(sections["tested_on"].str.slice(0, 10))
    sections = sections[day <= work.evening].reset_index(drop=True)
    undated = int(np.isnan(day).sum())
    lengths: dict[str, float] = {}
    for line in each(work.tables["alignment"]):
        edges, last = latest(sections[sections["line"] == line.line], line.start_chainage_m, line.end_chainage_m)
        words = sections.loc[sections["line"] == line.line, "result"].str.strip().str.lower().to_numpy(object)
        for i, m in zip(last, np.diff(edges), strict=True):
            word = (words[i] or "none stated") if i >= 0 else ""
            lengths[word] = lengths.get(word, 0.0) + float(m)
    says = "the record's own word, judged by nobody here"
    says += f"; {several(undated, 'section')} without a day of a test left out" if undated else ""
    tested = [(word, m) for word, m in lengths.items() if word]
    yield from ((TESTED + word, m, whole, says) for word, m in tested)
    if not tested:
        yield "tested", 0.0 if len(day) else np.nan, whole, says if len(day) else "not known: there is no tests.csv"


def _clear(work: Work, closed: pd.DataFrame, whole: float) -> _Row:
    """Return the length between joints of which none is outstanding: verdicts and decisions are those known now."""
    joints = work.tables["joints"]
    bad = joints.loc[open_joints(joints), ["line", "chainage_m"]].dropna()
    touched = np.zeros(len(closed), dtype=bool)
    for line, own in bad.groupby("line"):
        at = np.sort(own["chainage_m"].to_numpy(float))
        here = (closed["line"] == line).to_numpy()
        low, high = closed["low"].to_numpy(float), closed["high"].to_numpy(float)
        touched |= here & (np.searchsorted(at, low, side="left") < np.searchsorted(at, high, side="right"))
    says = "between joints that are in no list of what is outstanding, by the verdicts known now; acceptance is a"
    return CLEAR, float(closed.loc[~touched, "covered_m"].sum()), whole, f"{says} decision of a person"


def expected(work: Work) -> tuple[int, float]:
    """Return how many joints were made by the evening, and how many there have to be: recorded, without a place, or
    thought missing. A count misleads where pipes differ in length: it stands beside the length only."""
    rows = work.tables.get("completeness", pd.DataFrame(columns=["measure", "of"]))
    of = rows.loc[rows["measure"] == "joints recorded", "of"]
    return len(work.made), float(of.sum()) if len(of) else np.nan
