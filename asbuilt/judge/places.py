"""The position verdict: the offset with its own uncertainty against the window, and everything that forbids to tell."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.look import CANNOT_TELL, IN_WINDOW, NO_WINDOW, NOT_RECORDED, OUT_OF_WINDOW
from asbuilt.window import TWO_SIDED_95, judge_uncertain

SURE_OF_LEG = 0.95
_CROWD = 4  # so many joints in a row, each much nearer to the next than a stick is long, were not made where they lie
_CROWDED = 0.35  # of a stick


@dataclass(frozen=True)
class Placed:
    """`joints` has position_verdict and reasons (tuple of texts) on the index of the rows; `statements` the groups."""

    joints: pd.DataFrame
    statements: tuple[str, ...]


def judge_places(rows: pd.DataFrame, *, in_line: np.ndarray, offset_m: float, stick_m: float) -> Placed:
    """Judge where each row was placed. `rows` is of `read.records` joined with `place.nearest`, and holds station.

    `offset_m` is the window's half width. What makes many joints uncertain at once is one statement.
    """
    verdict = judge_uncertain(
        rows["offset_m"].to_numpy(float), rows["offset_sd_m"].to_numpy(float), half_width=offset_m
    )
    reasons: dict[int, list[str]] = {i: [] for i in rows.index}
    statements: list[str] = []
    _off_the_line(rows, verdict, reasons, offset_m)
    statements += _straddling(rows, verdict, reasons, in_line=in_line, offset_m=offset_m)
    _unplaced(rows, verdict, reasons)
    _beyond_the_end(rows, verdict, reasons)
    _which_leg(rows, verdict, reasons)
    _trials(rows, verdict, reasons)
    statements += _crowds(rows, verdict, reasons, in_line=in_line, stick_m=stick_m)
    statements += _no_accuracy(rows, verdict, in_line)
    statements += _frame_too_coarse(rows, verdict, in_line, offset_m)
    frame = pd.DataFrame({"position_verdict": verdict}, index=rows.index)
    return Placed(
        frame.assign(reasons=pd.Series({i: tuple(r) for i, r in reasons.items()}, dtype=object)), tuple(statements)
    )


Reasons = dict[int, list[str]]


def _off_the_line(rows: pd.DataFrame, verdict: np.ndarray, reasons: Reasons, offset_m: float) -> None:
    for i in rows.index[verdict == OUT_OF_WINDOW]:
        side = "right" if rows.loc[i, "offset_m"] > 0 else "left"
        sd = rows.loc[i, "offset_sd_m"]
        reasons[i].append(
            f"fix {abs(rows.loc[i, 'offset_m']):.2f} m {side} of the alignment (sd {sd:.2f} m), window {offset_m:g} m"
        )


def _straddling(
    rows: pd.DataFrame, verdict: np.ndarray, reasons: Reasons, *, in_line: np.ndarray, offset_m: float
) -> list[str]:
    """An offset whose uncertainty reaches over the edge of the window tells nothing: said on each, and once for all."""
    open_ = (verdict == CANNOT_TELL) & rows["offset_sd_m"].notna().to_numpy()
    offset, reaches = rows["offset_m"].to_numpy(float), TWO_SIDED_95 * rows["offset_sd_m"].to_numpy(float)
    for i, off, reach in zip(rows.index[open_], offset[open_], reaches[open_], strict=True):
        side = "right" if off > 0 else "left"
        reasons[i].append(
            f"fix {abs(off):.2f} m {side} ± {reach:.2f} m (95 %) reaches over the window of {offset_m:g} m"
        )
    count = int((open_ & in_line).sum())
    files = ", ".join(sorted(set(rows.loc[open_ & in_line, "source_file"])))
    what = f"{count} fixes ({files}) are not accurate enough to tell whether the joint lies"
    return [f"{what} in the window of {offset_m:g} m."] if count > 1 else []


def _unplaced(rows: pd.DataFrame, verdict: np.ndarray, reasons: Reasons) -> None:
    """A fix far from every line is out of the window; without a fix there is nothing to judge."""
    unplaced = (rows["placed_by"] == "unplaced").to_numpy()
    has_fix = rows["easting"].notna().to_numpy()
    verdict[unplaced & has_fix] = OUT_OF_WINDOW
    verdict[unplaced & ~has_fix] = NOT_RECORDED
    for i in rows.index[unplaced & has_fix]:
        reasons[i].append("the fix lies far from every line and does not say where the joint is: unplaced")
    for i in rows.index[unplaced & ~has_fix]:
        reasons[i].append("unplaced for want of a usable fix")


def _beyond_the_end(rows: pd.DataFrame, verdict: np.ndarray, reasons: Reasons) -> None:
    beyond, radius = rows["beyond_m"].abs().to_numpy(float), rows["radius95_m"].to_numpy(float)
    past = beyond > 0
    verdict[past & (beyond > radius)] = OUT_OF_WINDOW
    for i in rows.index[past]:
        end = "after the end" if rows.loc[i, "beyond_m"] > 0 else "before the start"
        reasons[i].append(f"{abs(rows.loc[i, 'beyond_m']):.2f} m {end} of the alignment")


def _which_leg(rows: pd.DataFrame, verdict: np.ndarray, reasons: Reasons) -> None:
    doubtful = (rows["leg_probability"] < SURE_OF_LEG).to_numpy()
    verdict[doubtful] = CANNOT_TELL
    for i in rows.index[doubtful]:
        share, other = rows.loc[i, "leg_probability"], rows.loc[i, "other_station"]
        what = f"may lie on another leg, at {other}: the fix gives this leg {share:.0%}"
        reasons[i].append(f"{what}, and {rows.loc[i, 'margin_m']:.2f} m part the two distances")


def _trials(rows: pd.DataFrame, verdict: np.ndarray, reasons: Reasons) -> None:
    """A trial joint is no part of the line: its place is not judged."""
    trial = (rows["outcome"] == "trial").to_numpy()
    verdict[trial] = NO_WINDOW
    for i in rows.index[trial]:
        reasons[i] = ["a trial joint: not part of the line, its place is not judged"]


def _crowds(
    rows: pd.DataFrame, verdict: np.ndarray, reasons: Reasons, *, in_line: np.ndarray, stick_m: float
) -> list[str]:
    """Joints that crowd where their sticks would not fit were fused away from where they lie: no place is proven."""
    statements = []
    order = rows[in_line & rows["chainage_m"].notna().to_numpy()].assign(one=rows["machine"].fillna(""))
    order = order.sort_values(["line", "one", "chainage_m"])
    near = (order.groupby(["line", "one"])["chainage_m"].diff() < _CROWDED * stick_m).to_numpy()
    run = np.cumsum(~near)
    crowded = np.bincount(run, minlength=1)[run] >= _CROWD
    for _, crowd in order[crowded].groupby(run[crowded]):
        verdict[rows.index.get_indexer(crowd.index)] = CANNOT_TELL
        for i in crowd.index:
            reasons[i].append("fused where many joints crowd: its fix does not say where it lies")
        span = crowd["chainage_m"].max() - crowd["chainage_m"].min()
        statements.append(
            f"{len(crowd)} joints of one machine crowd within {span:.1f} m at {crowd['station'].iloc[0]}, and"
            f" {len(crowd)} sticks are {len(crowd) * stick_m:.0f} m long: were they fused at one place and moved? They"
            " are shown where the machine stood, and no position among them is in window."
        )
    return statements


def _no_accuracy(rows: pd.DataFrame, verdict: np.ndarray, in_line: np.ndarray) -> list[str]:
    unsure = (
        in_line & (verdict == CANNOT_TELL) & rows["offset_sd_m"].isna().to_numpy() & rows["offset_m"].notna().to_numpy()
    )
    if not unsure.any():
        return []
    files = ", ".join(sorted(set(rows.loc[unsure, "source_file"])))
    return [f"{int(unsure.sum())} fixes state no accuracy ({files}): no position among them is in window."]


def _frame_too_coarse(rows: pd.DataFrame, verdict: np.ndarray, in_line: np.ndarray, offset_m: float) -> list[str]:
    coarse = (rows["frame_accuracy_m"] > offset_m).to_numpy()
    verdict[coarse & (verdict == IN_WINDOW)] = CANNOT_TELL
    concerned = coarse & in_line
    if not concerned.any():
        return []
    worst = rows.loc[concerned, "frame_accuracy_m"].max()
    files = ", ".join(sorted(set(rows.loc[concerned, "source_file"])))
    return [
        f"{int(concerned.sum())} fixes ({files}) came through a transformation that is good to {worst:g} m, and the"
        f" window is {offset_m:g} m: no position among them is in window. Name the frame of the receiver's corrections."
    ]
