"""From fixes to places: paths, stays, candidates, legs, pieces, levels, adjustment; frame in, frame out, same index."""

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from asbuilt.place.along import Around, Sticks, place_pieces
from asbuilt.place.brackets import brackets
from asbuilt.place.candidates import Lines, Reach, believed_sd_m, candidates
from asbuilt.place.hung import cuts_beside, with_their_fixes
from asbuilt.place.links import Paths, paths
from asbuilt.place.pieces import Fixes, pieces
from asbuilt.place.remade import Remade, choose_legs, linked, remade
from asbuilt.place.sequence import Order, by_order
from asbuilt.place.stays import Stands, beside_a_stand, stays
from asbuilt.place.strings import StringPipes, Strings, strings
from asbuilt.place.told import Found, told
from asbuilt.settings.model import StringSpec
from asbuilt.window import ASSUMED_SD_M


@dataclass(frozen=True)
class Laying:
    """What is known of the pipe besides its records: where fixes reach, its sticks, lengths by serial, its strings."""

    reach: Reach
    sticks: Sticks
    pipe_length_m: pd.Series = field(default_factory=lambda: pd.Series(dtype=float))
    length_in_string_m: pd.Series = field(default_factory=lambda: pd.Series(dtype=float))
    strings: tuple[StringSpec, ...] = ()


@dataclass(frozen=True)
class Placement:
    """`joints` says where each row lies, on its index. `gaps` says between which rows missing records hide.

    `pieces` has scale and scale_sd of each piece, `noise` factor and correlation by source_file and machine.
    `unclear` says what keeps strings from being placed. Rows are named by the index of the input.
    """

    joints: pd.DataFrame
    gaps: pd.DataFrame
    pieces: pd.DataFrame
    noise: pd.DataFrame
    unclear: tuple[str, ...]


def place(rows: pd.DataFrame, lines: Lines, laying: Laying) -> Placement:
    """Place the rows.

    `rows` needs easting, northing (working frame; NaN: no fix), sd_m, frame_accuracy_m, line (the record's own word,
    None: any), source_file, kind, surveyed (the position is an as-laid shot) and what `links.paths` and
    `strings.strings` need. For the columns of `joints` see `told.told`.
    """
    every = candidates(rows, lines, laying.reach)
    nearest = every.groupby("point")["measure"].first().reindex(range(len(rows))).to_numpy(float)
    listed, stick = laying.length_in_string_m, laying.sticks.stick_m
    span = {name: (float(line.measure[0]), float(line.measure[-1])) for name, line in lines}
    again = remade(rows, laying.strings)
    order = linked(rows, again)
    known = strings(order, laying.strings, at_m=nearest, pipes=StringPipes(stick, listed, span))
    walk = paths(order, pipe_length_m=laying.pipe_length_m, stated=known.links, in_string_m=listed)
    found = _ranked(every, rows, walk, again, lines=lines, laying=laying)
    first = found[found["rank"] == 0].set_index("point").reindex(range(len(rows)))
    strung = _strung(rows, walk, laying) | known.moved[walk.row]
    surveyed = rows["surveyed"].to_numpy(bool)
    fixes = _fixes(rows, first, walk, known, lines=lines, strung=strung)
    fixes = _with_ends(fixes, walk, known, lines, surveyed)
    fixes = with_their_fixes(fixes, walk, again, _xy_m(rows, laying), stick_m=stick)
    parted = pieces(walk, fixes, stick_m=laying.sticks.stick_m)
    around, groups = _around(rows, first, walk, again)
    placed = place_pieces(walk, parted, fixes, around, laying.sticks)
    joints = told(rows, Found(walk, fixes, parted, placed, around, found, again), lines, laying.reach, stick_m=stick)
    hiding = brackets(placed)
    for column in ("first", "last", "before", "after"):
        at = again.stand_in(walk.row[placed.entry[hiding[column]]])
        hiding[column] = rows.index.to_numpy()[at]
    noises = pd.DataFrame({"factor": placed.noise.factor, "correlation": placed.noise.correlation}, index=groups)
    scales = pd.DataFrame({"scale": placed.scale, "scale_sd": placed.scale_sd}, index=np.unique(placed.piece))
    return Placement(joints.assign(string_stated=known.name), hiding, scales, noises, known.unclear)


def _strung(rows: pd.DataFrame, walk: Paths, laying: Laying) -> np.ndarray:
    """Return the entries of strings that were fused where the machine stayed. A tie-in is no part of a string."""
    xy_m = _xy_m(rows, laying)
    in_place = rows["kind"].isin(("fitting", "tie-in")).to_numpy() | rows["surveyed"].to_numpy(bool)
    machine = pd.factorize(rows["machine"])[0]
    stands = Stands(xy_m, believed_sd_m(rows), machine, in_place)
    strung = stays(walk, stands, stick_m=laying.sticks.stick_m)
    strung |= beside_a_stand(walk, stands, strung)
    return strung & (rows["kind"] != "tie-in").to_numpy()[walk.row]


def _xy_m(rows: pd.DataFrame, laying: Laying) -> np.ndarray:
    return rows[["easting", "northing"]].to_numpy(float) * laying.reach.metres_per_unit


def _ranked(
    found: pd.DataFrame, rows: pd.DataFrame, walk: Paths, again: Remade, *, lines: Lines, laying: Laying
) -> pd.DataFrame:
    """Rank the candidates of each point: the likeliest first, of equally likely ones the nearest."""
    total = sum(line.measure[-1] - line.measure[0] for _, line in lines)
    order = Order(laying.sticks.stick_m, laying.reach.offset_m, total)
    found = found.assign(probability=by_order(found, walk, believed_sd_m(rows), order))
    found = choose_legs(found, again, rows, stick_m=laying.sticks.stick_m)
    probability = found["probability"].to_numpy(float)
    ranked = np.lexsort((-probability.round(9), found["point"].to_numpy()))  # stable: they come sorted by distance
    found = found.iloc[ranked].reset_index(drop=True)
    point = found["point"].to_numpy()
    starts = np.flatnonzero(np.diff(point, prepend=-1) != 0)
    return found.assign(rank=np.arange(len(point)) - np.repeat(starts, np.diff(starts, append=len(point))))


def _fixes(
    rows: pd.DataFrame, first: pd.DataFrame, walk: Paths, known: Strings, *, lines: Lines, strung: np.ndarray
) -> Fixes:
    names = pd.Index([name for name, _ in lines])
    line = np.where(first["line"].notna(), names.get_indexer(pd.Index(first["line"])), -1)
    own = rows["sd_m"].fillna(ASSUMED_SD_M).to_numpy(float)
    is_tie_in = (rows["kind"] == "tie-in").to_numpy() | rows["surveyed"].to_numpy(bool)
    return Fixes(
        line=line[walk.row],
        at_m=first["measure"].to_numpy(float)[walk.row],
        sd_m=own[walk.row],
        strung=strung,
        stays=strung & ~rows["surveyed"].to_numpy(bool)[walk.row],
        is_tie_in=is_tie_in[walk.row],
        sense=_sense(walk, known),
        lent=np.zeros(len(walk.row), dtype=bool),
    )


def _sense(walk: Paths, known: Strings) -> np.ndarray:
    """Return 1 where a stated link runs from the entry before to this one, -1 where it runs back, 0 elsewhere."""
    size = len(walk.row)
    rises, falls = (a * size + b for a, b in ((known.links.a, known.links.b), (known.links.b, known.links.a)))
    step = np.roll(walk.row, 1) * size + walk.row
    return np.where(walk.head, 0, np.isin(step, rises).astype(np.int64) - np.isin(step, falls))


def _with_ends(fixes: Fixes, walk: Paths, known: Strings, lines: Lines, surveyed: np.ndarray) -> Fixes:
    """Let the stated ends of strings hold the joints next to them, but for those that a shot holds better."""
    ends = known.ends[~surveyed[known.ends["row"].to_numpy(np.int64)]]
    if ends.empty:
        return fixes
    entry = np.argsort(walk.row)[ends["row"].to_numpy()]
    names = pd.Index([name for name, _ in lines])
    line, at, sd, stayed, lent = (a.copy() for a in (fixes.line, fixes.at_m, fixes.sd_m, fixes.stays, fixes.lent))
    line[entry] = np.maximum(names.get_indexer(pd.Index(ends["line"])), 0)  # a route of one line need not name it
    at[entry], sd[entry], stayed[entry], lent[entry] = ends["at_m"], ends["sd_m"], False, True
    return replace(fixes, line=line, at_m=at, sd_m=sd, stays=stayed, lent=lent)


def _around(rows: pd.DataFrame, first: pd.DataFrame, walk: Paths, again: Remade) -> tuple[Around, pd.MultiIndex]:
    """Return what else is known of the entries, and the groups of fixes that scatter alike: file and machine."""
    words = [rows[name].fillna("").astype(object) for name in ("source_file", "machine")]
    codes = [pd.factorize(word) for word in words]
    pair = codes[0][0] * max(len(codes[1][1]), 1) + codes[1][0]
    group, pairs = pd.factorize(pair)
    groups = pd.MultiIndex.from_arrays(
        [codes[0][1][pairs // max(len(codes[1][1]), 1)], codes[1][1][pairs % max(len(codes[1][1]), 1)]],
        names=["source_file", "machine"],
    )
    is_fitting = ((rows["kind"] == "fitting") | rows["replaces"].notna()).to_numpy()
    around = Around(
        first["offset"].to_numpy(float)[walk.row],
        group[walk.row],
        is_fitting[walk.row],
        rows["surveyed"].to_numpy(bool)[walk.row],
        cuts_beside(walk, again, rows["fused_at"]),
    )
    return around, groups
