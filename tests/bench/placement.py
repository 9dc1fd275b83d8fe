"""How well joints are placed, against known truth: `python -m tests.bench.placement --seeds 20`.

Each case is drawn anew for each seed and placed twice in the same run: by plain nearest-point snapping with shapely
(the floor) and by `asbuilt`. Medians over the seeds: root mean square and 95th percentile of the chainage error
(m, joints on the right line), joints on a wrong line or leg (farther from the truth than half a stick and five
standard deviations), how many of those say they are sure of their leg (95 %), joints not placed, coverage of 1.96
standard deviations along the line (%). Sums over the seeds: missing records that lie inside a gap of the right
count, and gaps that hold none.
"""

import argparse
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

from asbuilt.judge.gaps import LineEnds, find_gaps
from asbuilt.place.nearest import Reach, place
from tests.bench.journey import least
from tests.bench.truth import CASES, STICK, Case, serpentine


@dataclass(frozen=True)
class Score:
    """What one placement of one case is worth; counts are of joints or gaps."""

    rms_m: float
    p95_m: float
    wrong: int
    sure: int
    unplaced: int
    covered: float
    found: int
    missing: int
    false_gaps: int


def by_nearest_point(case: Case) -> pd.DataFrame:
    """Plain snapping: the nearest point of the nearest line, with shapely."""
    points = shapely.points(case.rows[["easting", "northing"]].to_numpy())
    lines = [shapely.linestrings(line.xy) for _, line in case.lines]
    nearest = np.argmin([shapely.distance(line, points) for line in lines], axis=0)
    at = np.choose(nearest, [shapely.line_locate_point(line, points) for line in lines])
    names = np.array([name for name, _ in case.lines], dtype=object)[nearest]
    return pd.DataFrame({"line": names, "chainage_m": at, "chainage_sd_m": case.rows["sd_m"]})


def by_asbuilt(case: Case) -> pd.DataFrame:
    """As the tool places them now."""
    return place(case.rows, list(case.lines), metres_per_unit=1.0, reach=Reach(100.0, 2.0, 12.0))


def score(case: Case, found: pd.DataFrame) -> Score:
    """Compare a placement with the truth."""
    placed = found["chainage_m"].notna().to_numpy()
    right_line = placed & (found["line"] == case.truth["line"]).to_numpy()
    error = (found["chainage_m"] - case.truth["chainage_m"]).to_numpy()
    wrong = placed & (~right_line | (np.abs(error) > STICK / 2 + 5 * case.rows["sd_m"].to_numpy()))
    sure = wrong & (found.get("leg_probability", pd.Series(1.0, index=found.index)) >= 0.95).to_numpy()
    inside = np.abs(error[right_line]) <= 1.96 * found["chainage_sd_m"].to_numpy()[right_line]
    gaps = _gaps(case, found)
    located, false_gaps = _gap_score(case, gaps)
    return Score(
        rms_m=float(np.sqrt(np.mean(error[right_line] ** 2))),
        p95_m=float(np.percentile(np.abs(error[right_line]), 95)),
        wrong=int(wrong.sum()),
        sure=int(sure.sum()),
        unplaced=int((~placed).sum()),
        covered=float(100 * inside.mean()),
        found=located,
        missing=len(case.missing),
        false_gaps=false_gaps,
    )


def _gaps(case: Case, found: pd.DataFrame) -> pd.DataFrame:
    joints = found.assign(joint_id=case.rows["joint"])
    parts = []
    for name, _ in case.lines:
        here = joints[(joints["line"] == name) & joints["chainage_m"].notna()]
        on_line = case.truth[case.truth["line"] == name]["chainage_m"]
        ends = LineEnds(
            name, on_line.min() - STICK, on_line.max() + STICK, first_joint=False, last_joint=False, complete=True
        )
        gaps = find_gaps(here, ends, stick_m=STICK)
        parts.append(gaps[gaps["kind"] == "between joints"] if len(gaps) else gaps)
    return pd.concat(parts, ignore_index=True)


def _gap_score(case: Case, gaps: pd.DataFrame) -> tuple[int, int]:
    """Return how many missing records lie in a gap that holds as many as it says, and how many gaps hold none."""
    located = false_gaps = 0
    for _, gap in gaps.iterrows() if len(gaps) else ():
        low, high = gap["from_chainage_m"] - STICK / 2, gap["to_chainage_m"] + STICK / 2
        held = sum(line == gap["line"] and low < at < high for line, at in case.missing)
        located += held if held == gap["missing_records"] else 0
        false_gaps += held == 0
    return located, false_gaps


def main() -> None:
    """Score every case and print a table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=20)
    seeds = range(parser.parse_args().seeds)
    words = f"{'rms':>7}{'p95':>7}{'wrong':>7}{'sure':>6}{'none':>6}{'cover':>7}{'missing found':>15}{'false gaps':>12}"
    print(f"{'case':<48}{'by':<9}{words}")
    for make in CASES:
        cases = [make(np.random.default_rng(seed)) for seed in seeds]
        for by, how in (("nearest", by_nearest_point), ("asbuilt", by_asbuilt)):
            _print(cases[0].name, by, [score(case, how(case)) for case in cases])
    _serpentine()


def _print(name: str, by: str, scores: list[Score]) -> None:
    fields = ("rms_m", "p95_m", "wrong", "sure", "unplaced", "covered")
    middle = {field: np.median([getattr(s, field) for s in scores]) for field in fields}
    found, missing, false = (sum(getattr(s, f) for s in scores) for f in ("found", "missing", "false_gaps"))
    shown = name if by == "nearest" else ""
    print(
        f"{shown:<52}{by:<9}{middle['rms_m']:>7.2f}{middle['p95_m']:>7.2f}{middle['wrong']:>7.0f}{middle['sure']:>6.0f}"
        f"{middle['unplaced']:>6.0f}{middle['covered']:>7.1f}{f'{found} of {missing}':>15}{false:>12}"
    )


def _serpentine() -> None:
    """Time and score the case in which every fix has several legs in reach."""
    case = serpentine(np.random.default_rng(0))
    xy = case.lines[0][1].xy
    legs = shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1))
    points = shapely.points(case.rows[["easting", "northing"]].to_numpy())
    ours, floor = least(lambda: by_asbuilt(case)), least(lambda: shapely.STRtree(legs).query_nearest(points))
    found = by_asbuilt(case)
    wrong = score(case, found).wrong
    print(
        f"\n{case.name}, {len(points)} joints with {found['candidates_n'].median():.0f} legs in reach: {wrong} on a"
        f" wrong leg; {ours:.2f} s of CPU, {ours / floor:.0f} times the nearest leg of an STRtree"
    )


if __name__ == "__main__":
    main()
