"""From fixes to places: paths, stays, candidates, legs, pieces, levels, adjustment; frame in, frame out, same index."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from asbuilt.place.adjusting import Around, Placed, Sticks, place_pieces
from asbuilt.place.brackets import brackets
from asbuilt.place.candidates import Lines, Reach, believed_sd_m, candidates, how_far_m, names_no_line
from asbuilt.place.laid import across
from asbuilt.place.links import NO_LINKS, Links, Paths, paths
from asbuilt.place.pieces import Fixes, Pieces, pieces
from asbuilt.place.radius import radius95_m
from asbuilt.place.sequence import Order, by_order
from asbuilt.place.stays import stays
from asbuilt.window import ASSUMED_SD_M


@dataclass(frozen=True)
class Laying:
    """What is known of the pipe besides its records: where fixes reach, its sticks, lengths by serial, stated links."""

    reach: Reach
    sticks: Sticks
    pipe_length_m: pd.Series = field(default_factory=lambda: pd.Series(dtype=float))
    stated: Links = NO_LINKS


@dataclass(frozen=True)
class Placement:
    """`joints` says where each row lies, on its index. `gaps` says between which rows missing records hide.

    `pieces` has scale and scale_sd of each piece, `noise` factor and correlation by source_file and machine. Rows are
    named by the index of the input.
    """

    joints: pd.DataFrame
    gaps: pd.DataFrame
    pieces: pd.DataFrame
    noise: pd.DataFrame


def place(rows: pd.DataFrame, lines: Lines, laying: Laying) -> Placement:
    """Place the rows.

    `rows` needs easting, northing (working frame; NaN: no fix), sd_m, frame_accuracy_m, line (the record's own word,
    None: any), source_file, kind and what `links.paths` needs. The columns of `joints` are those of `tables.JOINTS`
    that speak of a place, without station, and: other_line, other_chainage_m and the like of the second likeliest
    place; far_m of a fix beyond reach from every line; line_unknown where the record names none of the lines; stays,
    blunder, orderless, piece, row_before (in its piece) and step_sd_m (from that row).
    """
    walk = paths(rows, pipe_length_m=laying.pipe_length_m, stated=laying.stated)
    stayed = _stayed(rows, walk, laying)
    found = _ranked(candidates(rows, lines, laying.reach), rows, walk, lines=lines, laying=laying)
    first = found[found["rank"] == 0].set_index("point").reindex(range(len(rows)))
    fixes = _fixes(rows, first, walk, stayed, lines)
    parted = pieces(walk, fixes, stick_m=laying.sticks.stick_m)
    group, groups = pd.factorize(pd.MultiIndex.from_frame(rows[["source_file", "machine"]].astype(str)))
    is_fitting = (rows["kind"] == "fitting").to_numpy()
    around = Around(first["offset"].to_numpy(float)[walk.row], group[walk.row], is_fitting[walk.row])
    placed = place_pieces(walk, parted, fixes, around, laying.sticks)
    joints = _adjusted(rows, placed, walk, fixes, lines).join(_words(rows, walk, parted, fixes))
    joints = _with_fix(joints, rows, found, placed.noise.factor[group], lines=lines, laying=laying)
    hiding = brackets(placed)
    for column in ("first", "last", "before", "after"):
        hiding[column] = rows.index.to_numpy()[walk.row[placed.entry[hiding[column]]]]
    noises = pd.DataFrame({"factor": placed.noise.factor, "correlation": placed.noise.correlation}, index=groups)
    scales = pd.DataFrame({"scale": placed.scale, "scale_sd": placed.scale_sd}, index=np.unique(placed.piece))
    return Placement(joints, hiding, scales, noises)


def _stayed(rows: pd.DataFrame, walk: Paths, laying: Laying) -> np.ndarray:
    xy_m = rows[["easting", "northing"]].to_numpy(float) * laying.reach.metres_per_unit
    is_fitting = (rows["kind"] == "fitting").to_numpy()
    return stays(walk, xy_m, believed_sd_m(rows), stick_m=laying.sticks.stick_m, is_fitting=is_fitting)


def _ranked(found: pd.DataFrame, rows: pd.DataFrame, walk: Paths, *, lines: Lines, laying: Laying) -> pd.DataFrame:
    """Rank the candidates of each point: the likeliest first, of equally likely ones the nearest."""
    total = sum(line.measure[-1] - line.measure[0] for _, line in lines)
    order = Order(laying.sticks.stick_m, laying.reach.offset_m, total)
    probability = by_order(found, walk, believed_sd_m(rows), order)
    found = found.assign(probability=probability, unlikely=-probability.round(9))
    found = found.sort_values(["point", "unlikely", "distance", "line", "measure"], kind="stable", ignore_index=True)
    point = found["point"].to_numpy()
    starts = np.flatnonzero(np.diff(point, prepend=-1) != 0)
    return found.assign(rank=np.arange(len(point)) - np.repeat(starts, np.diff(starts, append=len(point))))


def _fixes(rows: pd.DataFrame, first: pd.DataFrame, walk: Paths, stayed: np.ndarray, lines: Lines) -> Fixes:
    names = pd.Index([name for name, _ in lines])
    line = np.where(first["line"].notna(), names.get_indexer(first["line"]), -1)
    own = rows["sd_m"].fillna(ASSUMED_SD_M).to_numpy(float)
    is_tie_in = (rows["kind"] == "tie-in").to_numpy()
    return Fixes(line[walk.row], first["measure"].to_numpy(float)[walk.row], own[walk.row], stayed, is_tie_in[walk.row])


def _adjusted(rows: pd.DataFrame, placed: Placed, walk: Paths, fixes: Fixes, lines: Lines) -> pd.DataFrame:
    """Return line, chainage_m and what the adjustment says of each row that has a place, on the index of the rows."""
    at = walk.row[placed.entry]
    of_piece = np.full(placed.piece.max(initial=-1) + 1, -1)
    of_piece[placed.piece[placed.used]] = fixes.line[placed.entry[placed.used]]
    line = of_piece[placed.piece]
    many = np.bincount(placed.piece)[placed.piece] if len(placed.piece) else placed.piece
    how = np.where(placed.used, np.where(many > 1, "fix+tally", "fix"), "tally")
    names = np.array([name for name, _ in lines], dtype=object)
    start, end = (np.array([line.measure[i] for _, line in lines]) for i in (0, -1))
    beyond = np.minimum(placed.at_m - start[line], 0) + np.maximum(placed.at_m - end[line], 0)
    index = rows.index.to_numpy()
    columns = {"line": names[line], "chainage_m": placed.at_m, "placed_by": how, "piece": placed.piece}
    columns |= {"blunder": ~placed.used & np.isfinite(fixes.at_m[placed.entry]), "step_sd_m": placed.step_sd_m}
    columns |= {"row_before": np.where(placed.head, -1, index[np.roll(at, 1)]), "beyond_m": beyond}
    columns |= {"chainage_sd_m": np.hypot(placed.sd_m, rows["frame_accuracy_m"].fillna(0.0).to_numpy(float)[at])}
    out = pd.DataFrame(columns, index=index[at]).reindex(rows.index)
    out["placed_by"] = out["placed_by"].fillna("unplaced")
    out["blunder"] = out["blunder"].eq(True)
    return out


def _words(rows: pd.DataFrame, walk: Paths, parted: Pieces, fixes: Fixes) -> pd.DataFrame:
    flags = {"stays": fixes.stays, "orderless": parted.orderless}
    return pd.DataFrame(flags, index=rows.index.to_numpy()[walk.row]).reindex(rows.index)


def _with_fix(
    joints: pd.DataFrame, rows: pd.DataFrame, found: pd.DataFrame, factor: np.ndarray, *, lines: Lines, laying: Laying
) -> pd.DataFrame:
    """Add what each fix says of its joint across the line, which places compete, and the circle that holds the joint."""
    first, second = (found[found["rank"] == r].set_index("point").reindex(range(len(rows))) for r in (0, 1))
    counts = joints["placed_by"].isin(("fix", "fix+tally")).to_numpy()
    offset = np.where(counts, first["offset"].to_numpy(float), np.nan)
    sd = np.hypot(rows["sd_m"].to_numpy(float) * np.maximum(factor, 1.0), rows["frame_accuracy_m"].to_numpy(float))
    sd = np.where(counts, sd, np.nan)
    alone = (joints["placed_by"] == "fix").to_numpy()
    along = np.where(alone, sd, joints["chainage_sd_m"].to_numpy(float))
    lies = across(offset, sd, pd.factorize(joints["line"])[0], window_m=laying.reach.offset_m)
    missed = (first["measure"].isna() & rows["easting"].notna().to_numpy()).to_numpy()
    seen = {"offset_m": offset, "offset_sd_m": sd, "chainage_sd_m": along}
    seen |= {"radius95_m": radius95_m(along, lies.offset_m, lies.sd_m)}
    seen |= {"leg_probability": np.where(counts, first["probability"].to_numpy(float), np.nan)}
    seen |= {"candidates_n": np.bincount(found["point"], minlength=len(rows))}
    seen |= {"margin_m": (second["distance"] - first["distance"]).to_numpy()}
    seen |= {"fix_chainage_m": first["measure"].to_numpy(float), "fix_offset_m": first["offset"].to_numpy(float)}
    seen |= {"far_m": how_far_m(rows, lines, missed, laying.reach.metres_per_unit)}
    seen |= {"line_unknown": names_no_line(rows, lines)}
    seen |= {"other_line": second["line"].to_numpy(object), "other_chainage_m": second["measure"].to_numpy()}
    seen |= {"other_offset_m": second["offset"].to_numpy(), "other_probability": second["probability"].to_numpy()}
    return joints.drop(columns="chainage_sd_m").join(pd.DataFrame(seen, index=rows.index))
