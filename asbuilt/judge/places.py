"""The position verdict: the offset with its own uncertainty against the window, and everything that forbids to tell."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.look import CANNOT_TELL, IN_WINDOW, NO_WINDOW, NOT_RECORDED, OUT_OF_WINDOW
from asbuilt.outcome import TRIAL
from asbuilt.quantities import METRE, LengthUnit
from asbuilt.sentence import several
from asbuilt.window import SURE_OF_LEG, TWO_SIDED_95, judge_uncertain

_MOST = 0.8  # of the fixes of a file


@dataclass(frozen=True)
class Placed:
    """`joints` has position_verdict and reasons (tuple of texts) on the index of the rows; `statements` the groups."""

    joints: pd.DataFrame
    statements: tuple[str, ...]


@dataclass(frozen=True)
class Window:
    """Half width of the window, length of a stick (metres), and the unit that lengths are said in."""

    offset_m: float
    stick_m: float
    unit: LengthUnit = METRE


def judge_places(rows: pd.DataFrame, window: Window, *, in_line: np.ndarray) -> Placed:
    """Judge where each row was placed. `rows` is of `read.records` joined with `place.placing`, and holds station.

    What makes many joints uncertain at once is one statement.
    """
    verdict = judge_uncertain(
        rows["offset_m"].to_numpy(float), rows["offset_sd_m"].to_numpy(float), half_width=window.offset_m
    )
    reasons: dict[int, list[str]] = {i: [] for i in rows.index}
    statements: list[str] = []
    _off_the_line(rows, verdict, reasons, window)
    statements += _straddling(rows, verdict, reasons, in_line=in_line, window=window)
    _unplaced(rows, verdict, reasons, window)
    _by_tally(rows, verdict, reasons, window)
    statements += _sources_far_away(rows, in_line, window)
    _beyond_the_end(rows, verdict, reasons, window)
    _which_leg(rows, verdict, reasons, window)
    for i in rows.index[rows["line_unknown"].eq(True)]:
        reasons[i].append(f"names the line {rows.loc[i, 'line_recorded']!r}, which the route does not have")
    _strange_shots(rows, verdict, reasons, window)
    _trials(rows, verdict, reasons)
    statements += _no_accuracy(rows, reasons, in_line)
    statements += _frame_too_coarse(rows, verdict, in_line, window)
    frame = pd.DataFrame({"position_verdict": verdict}, index=rows.index)
    return Placed(
        frame.assign(reasons=pd.Series({i: tuple(r) for i, r in reasons.items()}, dtype=object)), tuple(statements)
    )


Reasons = dict[int, list[str]]


def _off_the_line(rows: pd.DataFrame, verdict: np.ndarray, reasons: Reasons, window: Window) -> None:
    for i in rows.index[verdict == OUT_OF_WINDOW]:
        side = "right" if rows.loc[i, "offset_m"] > 0 else "left"
        sd = rows.loc[i, "offset_sd_m"]
        off, edge = (window.unit.text(v) for v in (abs(rows.loc[i, "offset_m"]), window.offset_m))
        reasons[i].append(f"fix {off} {side} of the alignment (sd {window.unit.text(sd)}), window {edge}")


def _coarse_frame_alone(rows: pd.DataFrame, half_width: float) -> np.ndarray:
    """Whether a fix would tell by itself, and the accuracy of the transformation keeps it from telling."""
    alone = judge_uncertain(rows["offset_m"].to_numpy(float), rows["sd_m"].to_numpy(float), half_width=half_width)
    return alone != CANNOT_TELL


def _straddling(
    rows: pd.DataFrame, verdict: np.ndarray, reasons: Reasons, *, in_line: np.ndarray, window: Window
) -> list[str]:
    """An offset whose uncertainty reaches over the edge of the window tells nothing: said on each, and once for all."""
    open_ = (verdict == CANNOT_TELL) & rows["offset_sd_m"].notna().to_numpy()
    offset, reaches = rows["offset_m"].to_numpy(float), TWO_SIDED_95 * rows["offset_sd_m"].to_numpy(float)
    for i, off, reach in zip(rows.index[open_], offset[open_], reaches[open_], strict=True):
        side = "right" if off > 0 else "left"
        off_text, reach_text, edge = (window.unit.text(v) for v in (abs(off), reach, window.offset_m))
        reasons[i].append(f"fix {off_text} {side} ± {reach_text} (95 %) reaches over the window of {edge}")
    by_frame = _coarse_frame_alone(rows, window.offset_m)
    coarse = _coarser_than(rows, window)  # of these it is said below, once
    edge = window.unit.short(window.offset_m)
    own = _said_of(
        rows[open_ & in_line & ~by_frame & ~coarse],
        f"are not accurate enough to tell whether the joint lies in the window of {edge}",
    )
    frames = _said_of(
        rows[open_ & in_line & by_frame & ~coarse],
        f"would tell by themselves; what keeps them from it is the accuracy of the way into the route's frame, {edge}"
        " being the window. Name the frame of the receiver's corrections, and that of the design file",
    )
    return own + frames


def _said_of(rows: pd.DataFrame, what: str) -> list[str]:
    counts = rows["source_file"].value_counts(sort=False).sort_index()
    files = ", ".join(f"{count} of {file}" for file, count in counts.items())
    return [f"{len(rows)} fixes ({files}) {what}."] if len(rows) > 1 else []


def _unplaced(rows: pd.DataFrame, verdict: np.ndarray, reasons: Reasons, window: Window) -> None:
    """A fix far from every line, or of a string that was moved, tells of the fix; without one nothing is to judge."""
    unplaced = (rows["placed_by"] == "unplaced").to_numpy()
    has_fix, stays = rows["easting"].notna().to_numpy(), rows["stays"].eq(True).to_numpy()
    verdict[unplaced & has_fix] = CANNOT_TELL
    verdict[unplaced & ~has_fix] = NOT_RECORDED
    for i in rows.index[unplaced & has_fix & rows["far_m"].notna().to_numpy() & ~stays]:
        far = window.unit.text(rows.loc[i, "far_m"], 0)
        lines = "every line" if pd.isna(rows.loc[i, "line_recorded"]) else "the line that the record names"
        reasons[i].append(f"the fix lies {far} from {lines} and does not say where the joint is: unplaced")
    for i in rows.index[unplaced & stays]:
        reasons[i].append(f"{_AWAY}; what ties its string to the line is not known: unplaced")
    for i in rows.index[unplaced & ~has_fix]:
        reasons[i].append("unplaced for want of a usable fix")


_AWAY = "fused at one place with others and moved: its fix says where the machine stood"


def _by_tally(rows: pd.DataFrame, verdict: np.ndarray, reasons: Reasons, window: Window) -> None:
    """A joint that order and pipe lengths alone place has no offset to judge."""
    tally = (rows["placed_by"] == "tally").to_numpy()
    verdict[tally] = CANNOT_TELL
    for i in rows.index[tally]:
        row = rows.loc[i]
        if row["stays"]:
            why = _AWAY
        elif row["surveyed"]:
            why = f"its {_measurement(row)} does not lie where its neighbours put the joint and is not used"
        elif row["blunder"]:
            apart = np.hypot(row["fix_chainage_m"] - row["chainage_m"], row["fix_offset_m"])
            why = f"its fix lies {window.unit.text(apart, 1)} from where its neighbours put the joint and is not used"
        elif pd.isna(row["easting"]):
            why = "there is no usable fix"
        else:
            why = "its fix does not lie where its neighbours put the joint and is not used"
        sure = window.unit.text(TWO_SIDED_95 * row["chainage_sd_m"], 1)
        reasons[i].append(f"{why}; placed by order and pipe lengths, ± {sure} along the line (95 %), not surveyed")


def _sources_far_away(rows: pd.DataFrame, in_line: np.ndarray, window: Window) -> list[str]:
    """Where most fixes of a file lie far from every line, its frame is wrong rather than its joints."""
    fixes = rows[in_line & rows["easting"].notna().to_numpy()].assign(far=rows["far_m"].notna())
    share = fixes.groupby("source_file")["far"].agg(["mean", "sum", "size"])
    return [
        f"{int(found['sum'])} of {int(found['size'])} fixes of {file} lie far from every line, the nearest"
        f" {window.unit.text(fixes.loc[fixes['source_file'] == file, 'far_m'].min(), 0)} away: check its crs, the order"
        " of its columns, and whether it belongs to this route."
        for file, found in share[(share["mean"] >= _MOST) & (share["sum"] >= 3)].iterrows()
    ]


def _beyond_the_end(rows: pd.DataFrame, verdict: np.ndarray, reasons: Reasons, window: Window) -> None:
    beyond, radius = rows["beyond_m"].abs().to_numpy(float), rows["radius95_m"].to_numpy(float)
    past = beyond > 0
    verdict[past & (beyond > radius)] = OUT_OF_WINDOW
    for i in rows.index[past]:
        end = "after the end" if rows.loc[i, "beyond_m"] > 0 else "before the start"
        reasons[i].append(f"{window.unit.text(abs(rows.loc[i, 'beyond_m']))} {end} of the alignment")


def _which_leg(rows: pd.DataFrame, verdict: np.ndarray, reasons: Reasons, window: Window) -> None:
    doubtful = (rows["leg_probability"] < SURE_OF_LEG).to_numpy()
    sd, other = rows["offset_sd_m"].to_numpy(float), rows["other_offset_m"].to_numpy(float)
    out_on_both = judge_uncertain(other, sd, half_width=window.offset_m) == OUT_OF_WINDOW
    verdict[doubtful & ~((verdict == OUT_OF_WINDOW) & out_on_both)] = CANNOT_TELL
    for i in rows.index[doubtful]:
        share, other = rows.loc[i, "leg_probability"], rows.loc[i, "other_station"]
        what = f"may lie on another leg, at {other}: fix and order of work give this leg {share:.0%}"
        reasons[i].append(f"{what}, and {window.unit.text(abs(rows.loc[i, 'margin_m']))} part the two distances")
    by_order = ~doubtful & (rows["margin_m"] < 0).to_numpy()
    for i in rows.index[by_order]:
        nearer, share = rows.loc[i, "other_station"], rows.loc[i, "leg_probability"]
        reasons[i].append(
            f"stands on the leg that the order of the work makes likely ({share:.1%}); nearer is {nearer}"
        )


def _measurement(row: pd.Series) -> str:
    """Return the word for what was measured on the pipe itself."""
    return "as-found measurement" if row.get("as_found") is True else "as-laid shot"


def _strange_shots(rows: pd.DataFrame, verdict: np.ndarray, reasons: Reasons, window: Window) -> None:
    """A shot that contradicts all around it may be of another joint."""
    strange = (rows["strange_m"] > 0).to_numpy()
    verdict[strange & (verdict == IN_WINDOW)] = CANNOT_TELL
    for i in rows.index[strange]:
        apart = window.unit.text(rows.loc[i, "strange_m"], 1)
        what = _measurement(rows.loc[i])
        reasons[i].append(f"its {what} lies {apart} from where fixes and pipes around put the joint")


def _trials(rows: pd.DataFrame, verdict: np.ndarray, reasons: Reasons) -> None:
    """A trial joint is no part of the line: its place is not judged."""
    trial = (rows["outcome"] == TRIAL).to_numpy()
    verdict[trial] = NO_WINDOW
    for i in rows.index[trial]:
        reasons[i] = ["a trial joint: not part of the line, its place is not judged"]


def _no_accuracy(rows: pd.DataFrame, reasons: Reasons, in_line: np.ndarray) -> list[str]:
    unsure = (rows["offset_sd_m"].isna() & rows["offset_m"].notna()).to_numpy()
    for i in rows.index[unsure]:
        what = _measurement(rows.loc[i]) if rows.loc[i, "surveyed"] else "fix"
        reasons[i].append(f"the {what} states no accuracy")
    return _said_of(rows[unsure & in_line], "state no accuracy: no position among them is in window")


def _coarser_than(rows: pd.DataFrame, window: Window) -> np.ndarray:
    return (rows["frame_accuracy_m"] > window.offset_m).to_numpy()


def _frame_too_coarse(rows: pd.DataFrame, verdict: np.ndarray, in_line: np.ndarray, window: Window) -> list[str]:
    coarse = _coarser_than(rows, window)
    verdict[coarse & (verdict == IN_WINDOW)] = CANNOT_TELL
    concerned = coarse & in_line
    if not concerned.any():
        return []
    worst = rows[concerned].groupby("source_file")["frame_accuracy_m"].agg(["max", "size"])
    edge = window.unit.short(window.offset_m)
    return [
        f"{several(int(size), 'fix', 'fixes')} of {file} can be compared with the line to"
        f" {window.unit.short(most)} at best, for the way into the route's frame is no better, and the window is"
        f" {edge}: no position among them is in window. Name the frame of the receiver's corrections, and that of the"
        " design file."
        for file, most, size in worst.reset_index().itertuples(index=False)
    ]
