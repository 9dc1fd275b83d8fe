"""The figures that have to add up."""

import numpy as np
import pandas as pd

from asbuilt.as_built import Counts
from asbuilt.look import NOT_RECORDED, OUT_OF_WINDOW, WORST_FIRST
from asbuilt.outcome import DUPLICATE, SET_ASIDE, SUPERSEDED, TRIAL
from asbuilt.read.alignments import Design
from asbuilt.tabulate.journey import Journey


def count(journey: Journey, *, joints: pd.DataFrame, gaps: pd.DataFrame, records: pd.DataFrame) -> Counts:
    """Count rows by outcome, joints by verdict, gaps, what is outstanding, and the length covered."""
    outcomes = journey.rows["outcome"].value_counts()
    line = joints[joints["in_line"].astype(bool)]
    stands_out = line["fusion_verdict"].isin([OUT_OF_WINDOW, NOT_RECORDED])
    stands_out |= line["position_verdict"].isin([OUT_OF_WINDOW, NOT_RECORDED]) | (line["placed_by"] == "unplaced")
    stands_out |= line["number_open"].astype(bool)
    real_gaps = gaps[gaps["kind"] != "not yet recorded"]
    set_aside = int(outcomes.get(SET_ASIDE, 0))
    open_gaps = real_gaps[real_gaps["missing_records"] > 0]  # what is unplaced is counted with its joints
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
        outstanding=int(stands_out.sum()) + len(open_gaps) + int(records["outstanding"].sum()) + len(journey.findings),
        length_m=length,
        covered_m=float(length - sum(_uncovered(gaps, d) for d in journey.designs.lines)) if placed else 0.0,
    )


def _by_verdict(verdicts: pd.Series) -> dict[str, int]:
    counts = verdicts.value_counts()
    return {word: int(counts.get(word, 0)) for word in WORST_FIRST}


def _uncovered(gaps: pd.DataFrame, design: Design) -> float:
    """Return the length of a line that lies in gaps. They do not overlap, and may begin before or end past the line."""
    here = gaps[gaps["line"] == design.name]
    low, high = (here[f"{end}_chainage_m"].clip(design.start_m, design.end_m) for end in ("from", "to"))
    pipes = here["missing_records"] + here["unplaced_here"] + 1  # of a bracket only so many have no record
    share = np.where(here["joints_within"] > 0, pipes / (pipes + here["joints_within"]), 1.0)
    return float(np.sum(np.abs(high - low) * share))
