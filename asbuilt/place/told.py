"""What the adjustment found, told row by row: place, spread, circle, and everything a reader may ask of it."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.alignment import project
from asbuilt.place.across import across
from asbuilt.place.along import Around, Placed
from asbuilt.place.candidates import Lines, Reach, how_far_m, names_no_line
from asbuilt.place.hung import OwnFixes, hung
from asbuilt.place.links import Paths
from asbuilt.place.pieces import Fixes, Pieces
from asbuilt.place.radius import radius95_m
from asbuilt.place.remade import Remade
from asbuilt.window import RADIUS_95

_HAIR = 0.01  # in the unit of the frame


@dataclass(frozen=True)
class Found:
    """All that placing has found: paths, fixes, pieces, adjusted entries, and the ranked candidates of each row."""

    walk: Paths
    fixes: Fixes
    parted: Pieces
    placed: Placed
    around: Around
    candidates: pd.DataFrame
    again: Remade


def told(rows: pd.DataFrame, found: Found, lines: Lines, reach: Reach, *, stick_m: float) -> pd.DataFrame:
    """Return the place of each row, same index.

    The columns are those of `tables.JOINTS` that speak of a place, without station, and: other_line, other_chainage_m
    and the like of the second likeliest place; far_m of a fix beyond reach from every line; line_unknown where the
    record names none of the lines; stays (fused at one place), blunder, orderless, piece, row_before (in its piece,
    -1: none), link and skipped (as in `links`), pipe_m and step_sd_m from that row; strange_m of a
    shot that contradicts all else (0: none); adjusted_chainage_m and adjusted_sd_m, what all measurements and pipes
    say together: where a joint is placed by a shot, its own chainage and spread are those of the shot instead, so that
    chainage, offset and the point that was measured are one place.
    """
    joints = _adjusted(rows, found, lines, reach)
    joints = hung(joints, rows, found.again, own=_own_fixes(found, lines), lines=lines, stick_m=stick_m)
    first, second = (
        found.candidates[found.candidates["rank"] == r].set_index("point").reindex(range(len(rows))) for r in (0, 1)
    )
    joints = joints.join(_competing(rows, first, second, found, lines=lines, reach=reach))
    return joints.assign(**_spreads(rows, joints, first, found, reach))


def from_own_fix(rows: pd.DataFrame) -> np.ndarray:
    """Return how far each shot lies from the fix of its record (a hair where there is none): more than nothing."""
    apart = [rows[name].to_numpy(float) - rows[f"fix_{name}"].to_numpy(float) for name in ("easting", "northing")]
    return np.fmax(np.nan_to_num(np.hypot(*apart)), _HAIR)


def _own_fixes(found: Found, lines: Lines) -> OwnFixes:
    """Return what the fix of each row says where it is one of its place."""
    fixes, entry = found.fixes, np.argsort(found.walk.row)
    factor = np.where(found.around.surveyed, 1.0, found.placed.noise.factor[found.around.group])
    names = np.array([*(name for name, _ in lines), ""], dtype=object)
    at = np.where(fixes.stays, np.nan, fixes.at_m)
    return OwnFixes(names[fixes.line[entry]], at[entry], (fixes.sd_m * factor)[entry])


def _adjusted(rows: pd.DataFrame, found: Found, lines: Lines, reach: Reach) -> pd.DataFrame:
    """Return what the pieces say of the rows that stand in one."""
    placed, walk, fixes = found.placed, found.walk, found.fixes
    at, index = walk.row[placed.entry], rows.index.to_numpy()
    of_piece = np.full(placed.piece.max(initial=-1) + 1, -1)
    of_piece[placed.piece[placed.used]] = fixes.line[placed.entry[placed.used]]
    line = of_piece[placed.piece]
    many = np.bincount(placed.piece)[placed.piece] if len(placed.piece) else placed.piece
    own = placed.used & ~fixes.lent[placed.entry]
    how = np.where(own, np.where(many > 1, "fix+tally", "fix"), "tally").astype(object)
    how[own & found.around.surveyed[placed.entry]] = "survey"
    start, end = (np.array([line.measure[i] for _, line in lines]) for i in (0, -1))
    before = np.roll(placed.entry, 1)
    at_m = np.where(how == "survey", fixes.at_m[placed.entry], placed.at_m)  # the foot of what was measured
    columns = {
        "line": np.array([name for name, _ in lines], dtype=object)[line],
        "chainage_m": at_m,
        "placed_by": how,
        "beyond_m": np.minimum(at_m - start[line], 0) + np.maximum(at_m - end[line], 0),
        "piece": placed.piece,
        "blunder": ~placed.used & np.isfinite(fixes.at_m[placed.entry]) & ~fixes.stays[placed.entry],
        "row_before": np.where(placed.head, -1, index[np.roll(at, 1)]),
        "link": np.where(placed.head | (placed.entry - before != 1), -1, walk.how[placed.entry]),
        "skipped": np.where(placed.head | (placed.entry - before != 1), -1, walk.skipped[placed.entry]),
        "pipe_m": placed.pipe_m,
        "strange_m": placed.strange_m,
        "step_sd_m": placed.step_sd_m,
        "adjusted_chainage_m": placed.at_m,
        "adjusted_sd_m": placed.sd_m,
    }
    out = pd.DataFrame(columns, index=index[at]).reindex(rows.index)
    of_path = {"stays": fixes.stays, "orderless": found.parted.orderless}
    out = out.join(pd.DataFrame(of_path, index=index[walk.row]))
    away = rows.index.to_numpy()[walk.row[found.parted.elsewhere & found.around.surveyed]]
    if len(away):
        out.loc[away, "strange_m"] = from_own_fix(rows.loc[away]) * reach.metres_per_unit
    return out.fillna({"placed_by": "unplaced", "row_before": -1, "link": -1, "skipped": -1}).assign(
        blunder=out["blunder"].eq(True), row_before=out["row_before"].fillna(-1).astype(np.int64)
    )


def _competing(
    rows: pd.DataFrame, first: pd.DataFrame, second: pd.DataFrame, found: Found, *, lines: Lines, reach: Reach
) -> pd.DataFrame:
    """Return what each fix says by itself: its projection, and the place that comes second."""
    missed = (first["measure"].isna() & rows["easting"].notna().to_numpy()).to_numpy()
    columns = {
        **_projected(rows, first, lines, reach),
        "fix_line": first["line"].astype(object),
        "candidates_n": np.bincount(found.candidates["point"], minlength=len(rows)),
        "margin_m": second["distance"] - first["distance"],
        "far_m": how_far_m(rows, lines, missed, reach.metres_per_unit),
        "line_unknown": names_no_line(rows, lines),
        "other_line": second["line"].astype(object),
        "other_chainage_m": second["measure"],
        "other_offset_m": second["offset"],
        "other_probability": second["probability"],
    }
    return pd.DataFrame({name: np.asarray(values) for name, values in columns.items()}, index=rows.index)


def _projected(rows: pd.DataFrame, first: pd.DataFrame, lines: Lines, reach: Reach) -> dict[str, np.ndarray]:
    """Return where the fix of each record falls on the chosen leg; of a surveyed joint nearest to the shot."""
    at, offset = first["measure"].to_numpy(float).copy(), first["offset"].to_numpy(float).copy()
    surveyed = rows["surveyed"].to_numpy(bool)
    for name, line in lines if surveyed.any() else ():
        here = np.flatnonzero(surveyed & (first["line"] == name).to_numpy())
        xy, shot = rows[["fix_easting", "fix_northing"]].to_numpy(float)[here], at[here].copy()
        at[here] = offset[here] = np.nan
        here, xy, shot = (a[np.isfinite(xy).all(axis=1)] for a in (here, xy, shot))
        found = project(line, xy, reach=np.full(len(xy), reach.far_m / reach.metres_per_unit))
        order = np.lexsort((np.abs(found.measure - shot[found.point]), found.point))
        point, one = np.unique(found.point[order], return_index=True)
        at[here[point]] = found.measure[order[one]]
        offset[here[point]] = found.offset[order[one]] * reach.metres_per_unit
    return {"fix_chainage_m": at, "fix_offset_m": offset}


def _spreads(
    rows: pd.DataFrame, joints: pd.DataFrame, first: pd.DataFrame, found: Found, reach: Reach
) -> dict[str, np.ndarray]:
    """Return spreads along and across, the circle, and the probability of the leg.

    The accuracy of a frame moves all fixes alike, so it is added once and never averages out. A fix that scatters by
    more than it states is believed the worse figure; one that scatters by less is believed what it states. A shot that
    contradicts all else is as unsure along the line as it lies off from that.
    """
    counts = joints["placed_by"].isin(("survey", "fix", "fix+tally")).to_numpy()
    frame = rows["frame_accuracy_m"].to_numpy(float)
    factor = np.ones(len(rows))
    factor[found.walk.row] = found.placed.noise.factor[found.around.group]
    worse = np.where(rows["surveyed"].to_numpy(bool), 1.0, np.maximum(factor, 1.0))
    sd = np.where(counts, np.hypot(rows["sd_m"].to_numpy(float) * worse, frame), np.nan)
    offset = np.where(counts, first["offset"].to_numpy(float), np.nan)
    along = np.hypot(joints["adjusted_sd_m"].to_numpy(float), np.nan_to_num(frame))
    alone, measured = ((joints["placed_by"] == by).to_numpy() for by in ("fix", "survey"))
    strange = joints["strange_m"].to_numpy(float)
    along = np.where(alone, sd, along)  # without neighbours a fix is as good as it says
    along = np.where(measured, np.hypot(sd, strange), along)
    lies = across(offset, sd, pd.factorize(joints["line"])[0], window_m=reach.offset_m)
    circle = radius95_m(along, lies.offset_m, lies.sd_m)
    at_shot = np.where(strange > 0, radius95_m(along, np.zeros(len(sd)), sd), RADIUS_95 * sd)
    circle = np.where(measured, at_shot, circle)  # the point stands at the shot
    return {
        "offset_m": offset,
        "offset_sd_m": sd,
        "chainage_sd_m": along,
        "radius95_m": np.where(alone & np.isnan(sd), np.nan, circle),
        "leg_probability": np.where(counts, first["probability"].to_numpy(float), np.nan),
    }
