"""The figures that have to add up."""

from collections.abc import Mapping

import pandas as pd

from asbuilt.as_built import Counts
from asbuilt.judge.completeness import uncovered_m
from asbuilt.look import WORST_FIRST
from asbuilt.outcome import DUPLICATE, SET_ASIDE, SUPERSEDED, TRIAL
from asbuilt.outstanding import counted
from asbuilt.read.alignments import Design
from asbuilt.tabulate.journey import Journey


def count(journey: Journey, frames: Mapping[str, pd.DataFrame]) -> Counts:
    """Count rows by outcome, joints by verdict, gaps, what is outstanding and what was, and the length covered.

    `frames` are joints, gaps, records and findings with the decisions on them.
    """
    joints, gaps = frames["joints"], frames["gaps"]
    outcomes = journey.rows["outcome"].value_counts()
    line = joints[joints["in_line"].astype(bool)]
    real_gaps = gaps[gaps["kind"] != "not yet recorded"]
    set_aside = int(outcomes.get(SET_ASIDE, 0))
    still_open, closed = counted(frames)
    length = sum(d.end_m - d.start_m for d in journey.designs.lines)
    placed = line["chainage_m"].notna().any()
    return Counts(
        rows=len(journey.rows),
        joints=len(line),
        duplicates=int(outcomes.get(DUPLICATE, 0)),
        superseded=int(outcomes.get(SUPERSEDED, 0)),
        trials=int(outcomes.get(TRIAL, 0)),
        set_aside=set_aside,
        unplaced=int((line["placed_by"] == "unplaced").sum()),
        fusion=_by_verdict(line["fusion_verdict"]),
        position=_by_verdict(line["position_verdict"]),
        gaps=len(real_gaps),
        missing_records=int(real_gaps["missing_records"].sum()),
        outstanding=still_open,
        closed=closed,
        length_m=length,
        covered_m=length - sum(_uncovered(gaps, d) for d in journey.designs.lines) if placed else 0.0,
    )


def _by_verdict(verdicts: pd.Series) -> dict[str, int]:
    counts = verdicts.value_counts()
    return {word: int(counts.get(word, 0)) for word in WORST_FIRST}


def _uncovered(gaps: pd.DataFrame, design: Design) -> float:
    return uncovered_m(gaps[gaps["line"] == design.name], design.start_m, design.end_m)
