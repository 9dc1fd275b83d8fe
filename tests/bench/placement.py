"""How well joints are placed, against known truth: `python -m tests.bench.placement --seeds 20`.

Each case is drawn anew for each seed and placed twice in the same run: by plain nearest-point snapping with shapely
(the floor) and by `asbuilt`. Medians over the seeds: root mean square and 95th percentile of the chainage error (m,
joints on the right line). Sums over the seeds: joints on a wrong line or leg (farther from the truth than half a stick
and five standard deviations of the fix), how many of those say they are sure of their leg (95 %), joints not placed.
Means over all joints of all seeds: coverage of 1.96 standard deviations along the line, and of the 95 % radius in plan
(%; a route's joints err together, so that the figure of one route says little). Sums: gaps with the right number of
missing records between the exact neighbours, gaps whose bracket holds the true place, missing records in all, and gaps
that hold none.
"""

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import shapely

from asbuilt.alignment import locate
from asbuilt.judge.gaps import LineEnds, find_gaps
from asbuilt.judge.unplaced import less_unplaced
from asbuilt.place.along import Sticks
from asbuilt.place.candidates import Reach
from asbuilt.place.placing import Laying, place
from tests.bench.journey import least
from tests.bench.truth import CASES, STICK, Case, serpentine

LAYING = Laying(Reach(100.0, 2.0), Sticks(STICK, 0.05, 0.003, 2.0))


@dataclass(frozen=True)
class Score:
    """What one placement of one case is worth; counts are of joints or gaps, coverage of (covered, joints)."""

    rms_m: float
    p95_m: float
    wrong: int
    sure: int
    unplaced: int
    along: int
    plan: int
    placed: int
    exact: int
    held: int
    missing: int
    false_gaps: int


def by_nearest_point(case: Case) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Plain snapping: the nearest point of the nearest line, with shapely."""
    points = shapely.points(case.rows[["easting", "northing"]].to_numpy())
    lines = [shapely.linestrings(line.xy) for _, line in case.lines]
    nearest = np.argmin([shapely.distance(line, points) for line in lines], axis=0)
    at = np.choose(nearest, [shapely.line_locate_point(line, points) for line in lines])
    names = np.array([name for name, _ in case.lines], dtype=object)[nearest]
    sd = case.rows["sd_m"].to_numpy()
    found = {"line": names, "chainage_m": at, "chainage_sd_m": sd, "radius95_m": 2.4477 * sd}
    return pd.DataFrame(found), pd.DataFrame()


def by_asbuilt(case: Case) -> tuple[pd.DataFrame, pd.DataFrame]:
    """As the tool places them now."""
    found = place(case.rows, list(case.lines), LAYING)
    return found.joints, found.gaps


def score(case: Case, found: pd.DataFrame, hiding: pd.DataFrame) -> Score:
    """Compare a placement with the truth."""
    placed = found["chainage_m"].notna().to_numpy()
    right = placed & (found["line"] == case.truth["line"]).to_numpy()
    error = (found["chainage_m"] - case.truth["chainage_m"]).to_numpy()
    wrong = placed & (~right | (np.abs(error) > STICK / 2 + 5 * case.rows["sd_m"].to_numpy()))
    sure = wrong & (found.get("leg_probability", pd.Series(1.0, index=found.index)).fillna(1.0) >= 0.95).to_numpy()
    exact, held, false_gaps = _gap_score(case, _gaps(case, found, hiding))
    some = error[right] if right.any() else np.array([np.nan])
    return Score(
        rms_m=float(np.sqrt(np.mean(some**2))),
        p95_m=float(np.percentile(np.abs(some), 95)),
        wrong=int(wrong.sum()),
        sure=int(sure.sum()),
        unplaced=int((~placed).sum()),
        along=int((np.abs(error[right]) <= 1.96 * found["chainage_sd_m"].to_numpy()[right]).sum()),
        plan=_in_circle(case, found, right),
        placed=int(right.sum()),
        exact=exact,
        held=held,
        missing=len(case.missing),
        false_gaps=false_gaps,
    )


def _in_circle(case: Case, found: pd.DataFrame, right: np.ndarray) -> int:
    inside = 0
    for name, line in case.lines:
        here = right & (found["line"] == name).to_numpy()
        apart = locate(line, found["chainage_m"].to_numpy(float)[here]) - case.truth[["x", "y"]].to_numpy()[here]
        inside += int((np.hypot(*apart.T) <= found["radius95_m"].to_numpy()[here]).sum())
    return inside


def _gaps(case: Case, found: pd.DataFrame, hiding: pd.DataFrame) -> pd.DataFrame:
    joints = found.assign(joint_id=case.rows["joint"] + "/" + case.rows.index.astype(str))
    parts = []
    for name, _ in case.lines:
        here = joints[(joints["line"] == name) & joints["chainage_m"].notna()]
        on_line = case.truth[case.truth["line"] == name]["chainage_m"]
        ends = LineEnds(
            name, on_line.min() - STICK, on_line.max() + STICK, first_joint=False, last_joint=False, complete=True
        )
        parts.append(find_gaps(here, ends, stick_m=STICK, hiding=hiding))
    gaps = pd.concat([p for p in parts if len(p)] or parts[:1], ignore_index=True)
    if gaps.empty:
        return gaps
    rows = joints.assign(machine=case.rows["machine"], fused_at=case.rows["fused_at"])
    gaps = less_unplaced(gaps, rows, stick_m=STICK)
    return gaps[(gaps["kind"] == "between joints") & (gaps["missing_records"] > 0)]


def _gap_score(case: Case, gaps: pd.DataFrame) -> tuple[int, int, int]:
    """Count missing records with the exact neighbours, those inside a bracket of the right count, and false gaps."""
    at = case.truth.set_index(case.rows["joint"] + "/" + case.rows.index.astype(str))["chainage_m"]
    exact = held = false_gaps = 0
    for _, gap in gaps.iterrows() if len(gaps) else ():
        low, high = sorted((at[gap["from_joint"]], at[gap["to_joint"]]))
        inside = sum(line == gap["line"] and low < place < high for line, place in case.missing)
        right = gap["missing_low"] <= inside <= gap["missing_high"]
        held += inside if right else 0
        false_gaps += inside == 0
        if gap["missing_records"] == inside:
            near = sorted((at.iloc[gap["before"]], at.iloc[gap["after"]]))
            exact += sum(line == gap["line"] and near[0] < place < near[1] for line, place in case.missing)
    return exact, held, false_gaps


def main() -> None:
    """Score every case and print a table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--case", default="", help="only cases with this in their name")
    parser.add_argument("--readme", action="store_true", help="write the table into outputs/README.md")
    asked = parser.parse_args()
    lines = []
    for line in _lines(asked.seeds, asked.case):
        print(line, flush=True)
        lines.append(line)
    if not asked.case:
        _serpentine()
    if asked.readme:
        _into_readme(lines)


def _lines(seeds: int, asked: str) -> Iterator[str]:
    yield f"{'case':<44}{'by':<9}{_HEAD}"
    for make in CASES:
        if asked not in make(np.random.default_rng(0)).name:
            continue
        cases = [make(np.random.default_rng(seed)) for seed in range(seeds)]
        for by, how in (("nearest", by_nearest_point), ("asbuilt", by_asbuilt)):
            yield line_of(cases[0].name, by, [score(case, *how(case)) for case in cases])


def _into_readme(lines: list[str]) -> None:
    readme = Path(__file__).parents[2] / "outputs" / "README.md"
    before, _, rest = readme.read_text(encoding="utf-8").partition("<!-- bench -->\n")
    _, _, after = rest.partition("<!-- end bench -->")
    table = "\n".join(["```", *(line.rstrip() for line in lines), "```", ""])
    readme.write_text(f"{before}<!-- bench -->\n{table}<!-- end bench -->{after}", encoding="utf-8")


_HEAD = (
    f"{'rms':>7}{'p95':>7}{'wrong':>7}{'sure':>6}{'none':>6}{'along':>7}{'plan':>7}"
    f"{'exact':>7}{'held':>6}{'of':>5}{'false':>7}"
)


def line_of(name: str, by: str, scores: list[Score]) -> str:
    """Return one line of the table."""
    middle = {field: np.median([getattr(s, field) for s in scores]) for field in ("rms_m", "p95_m")}
    total = {f: sum(getattr(s, f) for s in scores) for f in Score.__dataclass_fields__}
    covered = [100 * total[f] / max(total["placed"], 1) for f in ("along", "plan")]
    shown = name if by == "nearest" else ""
    return (
        f"{shown:<44}{by:<9}{middle['rms_m']:>7.2f}{middle['p95_m']:>7.2f}{total['wrong']:>7}{total['sure']:>6}"
        f"{total['unplaced']:>6}{covered[0]:>7.1f}{covered[1]:>7.1f}"
        f"{total['exact']:>7}{total['held']:>6}{total['missing']:>5}{total['false_gaps']:>7}"
    )


def _serpentine() -> None:
    """Time and score the case in which every fix has several legs in reach."""
    case = serpentine(np.random.default_rng(0))
    xy = case.lines[0][1].xy
    legs = shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1))
    points = shapely.points(case.rows[["easting", "northing"]].to_numpy())
    ours, floor = least(lambda: by_asbuilt(case)), least(lambda: shapely.STRtree(legs).query_nearest(points))
    found, hiding = by_asbuilt(case)
    wrong = score(case, found, hiding).wrong
    print(
        f"\n{case.name}, {len(points)} joints with {found['candidates_n'].median():.0f} legs in reach: {wrong} on a"
        f" wrong leg; {ours:.2f} s of CPU, {ours / floor:.0f} times the nearest leg of an STRtree"
    )


if __name__ == "__main__":
    main()
