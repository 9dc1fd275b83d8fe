"""Bends of the laid pipe against its least radius, and bends that the alignment asks for.

Findings are prompts for review: that a bend is in window does not prove that the pipe is sound, and one that is too
tight may have been laid so by intent. The contract, the supplier's table and the responsible engineer decide.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.alignment import MeasuredLine
from asbuilt.curvature import turned
from asbuilt.handbook import bend_limits
from asbuilt.judge.bases import Bases, Run, Told, bases, displaced, tell
from asbuilt.look import CANNOT_TELL, IN_WINDOW, NO_WINDOW, NOT_RECORDED, OUT_OF_WINDOW
from asbuilt.quantities import METRE, LengthUnit
from asbuilt.sentence import several
from asbuilt.window import TWO_SIDED_95

_POOR = 0.2  # of the least radius: with a larger sd a position helps on no base that the pipe could turn 90° within
_FEW = 10  # joints of a line: of fewer it is not said that they tell nothing
_MOST = 0.5  # of the joints of a line: what hides the bend at more of them is said once

_SIZE = "outside diameter or dimension ratio is not known, or beyond the published table"
_DEPENDENT = "its position was taken from the alignment"
_NO_ACCURACY = "its position states no accuracy"
_UNPLACED = "it has no place in the line"
_POOR_FIX = "its position is too poor for any base"
_DISPLACED = "its position stands out of line with its neighbours, which one wrong position explains as well as a bend"

Columns = dict[str, np.ndarray]
BENDS = (
    "line", "from_chainage_m", "to_chainage_m", "joints", "side",
    "radius_m", "low_m", "high_m", "limit_m", "strain", "sentence",
)  # fmt: skip
DESIGN_BENDS = ("from_chainage_m", "to_chainage_m", "side", "turn_deg", "radius_m", "explained", "sentence")


@dataclass(frozen=True)
class Laid:
    """Bends as laid: on the index of the joints, one row a bend, and what is said once for many.

    `joints`: bend_verdict, bend_cause (why it cannot be told), bend_radius_m with its 95 % interval bend_low_m and
    bend_high_m (inf: straight is possible) on a base of bend_base_m, bend_limit_m, reasons (tuple of texts).
    `bends` has the columns BENDS: `joints` are index labels, `side` is right or left, `strain` is that of the wall.
    """

    joints: pd.DataFrame
    bends: pd.DataFrame
    statements: tuple[str, ...]


def wall_strain(radius_m: np.ndarray, outside_diameter_m: np.ndarray) -> np.ndarray:
    """Return the strain of the wall farthest from the axis of a bent pipe, D / (2 R), shape (n,)."""
    return np.asarray(outside_diameter_m / (2 * radius_m))


def judge_bends(
    joints: pd.DataFrame,
    outside_diameter_m: np.ndarray,
    dr: np.ndarray,
    *,
    project_ratio: float | None = None,
    unit: LengthUnit = METRE,
) -> Laid:
    """Judge how tightly the pipe is bent at each joint against ratio x outside diameter.

    `joints` has easting, northing (the position's own, metres of the plane), sd_m (one axis), in_line, kind, line,
    chainage_m (for the order only) and independent (whether the position owes nothing to the alignment); sizes are of
    shape (n,). `project_ratio` outranks the published one. Which bases decide is told in `judge.bases`.
    """
    table = bend_limits(dr)
    ratio = table.ratio if project_ratio is None else np.full(len(joints), project_ratio)
    limit = ratio * outside_diameter_m
    verdict, cause = _before_looking(joints, limit)
    usable = (verdict == CANNOT_TELL) & (cause == "")
    run = _run(joints, usable, limit=limit, limit_by_fitting=np.fmax(limit, table.fitting * outside_diameter_m))
    wrong = displaced(run)
    cause[run.at[wrong]] = _DISPLACED
    run = run.only(~wrong)
    found = bases(run)
    told = tell(run, found)
    verdict[run.at], cause[run.at] = told.verdict, told.cause
    frame = pd.DataFrame({"bend_verdict": verdict, "bend_cause": cause}, index=joints.index)
    frame = frame.assign(**_radii(run, found, told, count=len(joints)), bend_limit_m=limit)
    rows = joints[["line", "chainage_m"]].assign(**frame, ratio=ratio, od=outside_diameter_m)
    bends, reasons = _findings(rows, _bends(run, found, told), unit)
    by = "the project's ratio" if project_ratio is not None else f"{table.source} ({table.status})"
    said = _statements(joints["line"], frame, by)
    return Laid(frame.assign(reasons=reasons), bends, tuple(said))


def _before_looking(joints: pd.DataFrame, limit: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the verdict that a joint has by what is known of it, and why; `cannot tell` without cause is usable."""
    sd = joints["sd_m"].to_numpy(float)
    nowhere = ~np.isfinite(joints["chainage_m"].to_numpy(float)) | joints["line"].isna().to_numpy()
    cause = np.full(len(joints), "", dtype=object)
    for where, why in (
        (sd > _POOR * limit, _POOR_FIX),
        (~np.isfinite(sd), _NO_ACCURACY),
        (~joints["independent"].to_numpy(bool), _DEPENDENT),
        (nowhere, _UNPLACED),
        (~np.isfinite(limit), _SIZE),
    ):
        cause[where] = why
    verdict = np.full(len(joints), CANNOT_TELL, dtype=object)
    no_position = ~np.isfinite(joints[["easting", "northing"]].to_numpy(float)).all(axis=1)
    outside = ~joints["in_line"].to_numpy(bool)
    verdict[no_position], verdict[outside] = NOT_RECORDED, NO_WINDOW
    cause[no_position | outside] = ""
    return verdict, cause


def _run(joints: pd.DataFrame, usable: np.ndarray, *, limit: np.ndarray, limit_by_fitting: np.ndarray) -> Run:
    line, chainage = pd.factorize(joints["line"], sort=True)[0], joints["chainage_m"].to_numpy(float)
    at = np.flatnonzero(usable)
    at = at[np.lexsort((chainage[at], line[at]))]
    xy, sd = joints[["easting", "northing"]].to_numpy(float)[at], joints["sd_m"].to_numpy(float)[at]
    return Run(at, line[at], xy, sd, (joints["kind"] == "fitting").to_numpy()[at], limit[at], limit_by_fitting[at])


def _radii(run: Run, found: Bases, told: Told, *, count: int) -> dict[str, np.ndarray]:
    """Return the radius on the base that shows it best, its 95 % interval and the base's length, on all joints."""
    j = np.arange(len(run.at))
    size, reach, base = (
        values[told.base, j] for values in (np.abs(found.curvature), TWO_SIDED_95 * found.sd, found.length)
    )
    with np.errstate(divide="ignore"):
        low, high = 1 / (size + reach), np.where(size <= reach, np.inf, 1 / np.where(size <= reach, 1.0, size - reach))
        shown = {"bend_radius_m": 1 / size, "bend_low_m": low, "bend_high_m": high, "bend_base_m": base}
    spread = {name: np.full(count, np.nan) for name in shown}
    for name, values in shown.items():
        spread[name][run.at] = np.where(np.isnan(size), np.nan, values)
    return spread


@dataclass(frozen=True)
class _Bend:
    """One bend: places in the table of its joints, of its ends by the tightest base, and whether it turns right."""

    joints: np.ndarray
    tightest: int
    first: int
    last: int
    right: bool


def _bends(run: Run, found: Bases, told: Told) -> Iterator[_Bend]:
    """Merge what belongs together: joints of one line that turn the same way on bases that overlap are one bend."""
    middle = np.flatnonzero(told.verdict == OUT_OF_WINDOW)
    if not len(middle):
        return
    step, value, sd = told.base[middle] + 1, *(v[told.base[middle], middle] for v in (found.curvature, found.sd))
    proven, right = np.abs(value) - TWO_SIDED_95 * sd, value > 0
    other = (np.diff(run.line[middle]) != 0) | (np.diff(right.astype(int)) != 0)
    apart = (middle - step)[1:] >= np.maximum.accumulate(middle + step)[:-1]
    for part in np.split(np.arange(len(middle)), np.flatnonzero(other | apart) + 1):
        best = part[proven[part].argmax()]
        at, reach = int(middle[best]), int(step[best])
        tightest, first, last = (int(run.at[i]) for i in (at, at - reach, at + reach))
        yield _Bend(run.at[middle[part]], tightest, first, last, bool(right[best]))


def _findings(rows: pd.DataFrame, bends: Iterator[_Bend], unit: LengthUnit) -> tuple[pd.DataFrame, np.ndarray]:
    """Return one row for each bend, and for each joint what is said of it."""
    columns: Columns = {str(name): values.to_numpy() for name, values in rows.items()}
    found, reasons = [], np.empty(len(rows), dtype=object)
    reasons[:] = [()] * len(rows)
    for bend in bends:
        found.append(_finding(columns, bend, rows.index, unit))
        for at in bend.joints:
            reasons[at] = (found[-1][-1],)
    return pd.DataFrame(found, columns=list(BENDS)), reasons


def _finding(columns: Columns, bend: _Bend, labels: pd.Index, unit: LengthUnit) -> tuple[object, ...]:
    """Return the row of one bend, in the columns of BENDS: its radius is the tightest that is proven."""
    row = {name: values[bend.tightest] for name, values in columns.items()}
    radius, low, high, limit = (float(row[f"bend_{name}_m"]) for name in ("radius", "low", "high", "limit"))
    sentence = (
        f"laid radius {unit.text(radius, 1)} (95 %: {low / unit.metres:.1f} to {unit.text(high, 1)}), tighter than"
        f" {row['ratio']:g} x OD = {unit.text(limit, 1)}"
    )
    ends = (float(columns["chainage_m"][at]) for at in (bend.first, bend.last))
    strain = float(wall_strain(np.array(radius), row["od"]))
    side = "right" if bend.right else "left"
    return (row["line"], *ends, tuple(labels[bend.joints]), side, radius, low, high, limit, strain, sentence)


def _statements(line: pd.Series, frame: pd.DataFrame, by: str) -> Iterator[str]:
    """What hides the bends of most of a line is one statement; so is what being in window leaves open, and the source.

    `by` says where the least radius comes from.
    """
    judged = frame["bend_verdict"].isin([IN_WINDOW, OUT_OF_WINDOW, CANNOT_TELL])
    for name, of_line in frame[judged].groupby(line[judged], sort=True):
        counts = of_line.loc[of_line["bend_verdict"] == CANNOT_TELL, "bend_cause"].value_counts()
        for cause, count in counts[(counts > _MOST * len(of_line)) & (len(of_line) >= _FEW)].items():
            where = f"{count:,} of {len(of_line):,} joints"
            yield f"How tightly line {name} is bent cannot be told at {where}: at each of them {cause}."
    fine = frame[frame["bend_verdict"] == IN_WINDOW]
    if len(fine):
        hidden = np.degrees((fine["bend_base_m"] / fine["bend_limit_m"]).max() / 2)
        yield (
            f"At {several(len(fine), 'joint')} the pipe is bent no tighter than it may be, as far as positions a pipe"
            f" apart can show: a turn of less than about {hidden:.0f}° between two joints stays hidden."
        )
    if frame["bend_verdict"].eq(OUT_OF_WINDOW).any():
        yield (
            f"Bends are out of window by {by}: confirm it against the contract and the supplier's table; what follows"
            " from it the responsible engineer decides."
        )


def design_bends(
    line: MeasuredLine,
    min_radius_m: float,
    *,
    stick_m: float,
    offset_m: float,
    fittings_m: np.ndarray,
    unit: LengthUnit = METRE,
) -> pd.DataFrame:
    """Return where the alignment itself turns more than pipe of the least radius can, in the columns DESIGN_BENDS.

    The turn is taken over a stick's length, so neither vertices of a curve drawn in chords nor jitter of a digitised
    line count as bends; at a corner the pipe may leave the line by `offset_m`. A joint of kind fitting at one of the
    chainages `fittings_m` within the bend, or half a stick of it, explains it. Chainages are measures of the line.
    """
    at, so_far = turned(line.xy, line.measure, least_m=stick_m, off_m=offset_m)
    if not len(at):
        return pd.DataFrame(columns=list(DESIGN_BENDS))
    middle = np.unique(
        np.concatenate([at - stick_m / 2, at + stick_m / 2])
    )  # the turn over a stick grows evenly between
    turn = np.interp(middle + stick_m / 2, at, so_far) - np.interp(middle - stick_m / 2, at, so_far)
    tight = np.where(np.abs(turn) > stick_m / min_radius_m * (1 + 1e-9), np.sign(turn), 0.0)
    parts = np.split(np.arange(len(middle)), np.flatnonzero(np.diff(tight)) + 1)
    found = [part for part in parts if tight[part[0]]]
    rows = [_asked(line, middle[part], turn[part], stick_m, fittings_m) for part in found]
    frame = pd.DataFrame(rows, columns=list(DESIGN_BENDS[:-1]))
    limits = (stick_m, min_radius_m)
    told = zip(frame["turn_deg"], frame["radius_m"], frame["explained"], strict=True)
    return frame.assign(sentence=[_said(*row, limits=limits, unit=unit) for row in told])


def _asked(
    line: MeasuredLine, middle: np.ndarray, turn: np.ndarray, stick_m: float, fittings_m: np.ndarray
) -> tuple[object, ...]:
    """Return from, to, side, turn, radius and whether it is explained, of one stretch of windows that turn too much."""
    best = np.abs(turn).argmax()
    low = max(min(middle[0], middle[best] - stick_m / 2), line.measure[0])
    high = min(max(middle[-1], middle[best] + stick_m / 2), line.measure[-1])
    near = (fittings_m >= low - stick_m / 2) & (fittings_m <= high + stick_m / 2)
    side = "right" if turn[best] > 0 else "left"
    peak = float(np.abs(turn[best]))
    return float(low), float(high), side, float(np.degrees(peak)), stick_m / peak, bool(near.any())


def _said(turn_deg: float, radius_m: float, explained: bool, *, limits: tuple[float, float], unit: LengthUnit) -> str:
    stick_m, min_radius_m = limits
    what = f"the alignment turns {turn_deg:.0f}° within {unit.short(stick_m)}, a radius of {unit.text(radius_m, 1)}"
    then = "a fitting stands there" if explained else "pipe alone cannot follow it, and no fitting is recorded there"
    return f"{what}, tighter than the least radius of {unit.text(min_radius_m, 1)}: {then}"
