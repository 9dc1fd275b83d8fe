"""Re-made joints at their places: from that of the old one towards their own fix, as far as a cut allows."""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import pandas as pd

from asbuilt.place.candidates import Lines
from asbuilt.place.links import Paths
from asbuilt.place.pieces import Fixes
from asbuilt.place.remade import CUT_SD_M, Remade

_ODD = 3.5  # standard deviations and half a stick: a fix farther off is no fix of a joint that stands there
_AGREE = 3.5  # standard deviations: a fix farther from that of the old joint is no word on the place of that
_OF_THE_STEP = ("piece", "row_before", "link", "skipped", "pipe_m", "step_sd_m")

_Columns = dict[str, np.ndarray]


@dataclass(frozen=True)
class OwnFixes:
    """What the fix of each row says by itself, shapes (rows,): line by name, chainage (NaN: nothing), spread (m)."""

    line: np.ndarray
    at_m: np.ndarray
    sd_m: np.ndarray


@dataclass(frozen=True)
class _Steps:
    """By position of the rows: the row `before` each in its piece and the one `after` it (-1: none), shapes (rows,)."""

    before: np.ndarray
    after: np.ndarray

    @property
    def alone(self) -> np.ndarray:
        """Whether each has no neighbour in its piece."""
        return (self.before < 0) & (self.after < 0)


def with_their_fixes(fixes: Fixes, walk: Paths, found: Remade, xy_m: np.ndarray, *, stick_m: float) -> Fixes:
    """Let the fixes of re-made joints count for the place of the old one, worse by the cut, where they agree.

    A joint made again at the stand where its string was fused says as little of its place as the old one; one made
    again where the string lies says more. `xy_m` (rows, 2) are the fixes.
    """
    if not len(found.leaf):
        return fixes
    entry = np.argsort(walk.row)
    line, at, sd, stays, lent = (a.copy() for a in (fixes.line, fixes.at_m, fixes.sd_m, fixes.stays, fixes.lent))
    for leaf, slot, cut in zip(entry[found.leaf], entry[found.slot], found.cut_sd_m, strict=True):
        apart = np.hypot(*(xy_m[walk.row[leaf]] - xy_m[walk.row[slot]]))
        if fixes.stays[slot] and apart < stick_m / 2 + _AGREE * np.hypot(sd[leaf], fixes.sd_m[slot]):
            stays[leaf] = True
        spread = np.hypot(fixes.sd_m[leaf], cut)
        if stays[leaf] or not np.isfinite(fixes.at_m[leaf]):
            continue
        if stays[slot] or not np.isfinite(at[slot]):
            line[slot], at[slot], sd[slot], stays[slot], lent[slot] = line[leaf], at[leaf], spread, False, True
        elif line[slot] == line[leaf] and abs(at[slot] - at[leaf]) < _AGREE * np.hypot(sd[slot], spread):
            weight = 1 / np.array([sd[slot], spread]) ** 2
            at[slot], sd[slot] = weight @ [at[slot], at[leaf]] / weight.sum(), 1 / np.sqrt(weight.sum())
    return replace(fixes, line=line, at_m=at, sd_m=sd, stays=stays, lent=lent)


def cuts_beside(walk: Paths, found: Remade, fused_at: pd.Series) -> np.ndarray:
    """Return by how much (one sd, m) the pipes on either side of each entry may be shorter for a cut, shape (n,).

    Pipe added behind a joint that was made again at once is measured from the new one; what lay on either side when
    a joint was cut out later lies there still.
    """
    out, entry = np.zeros(len(walk.row)), np.argsort(walk.row)
    out[entry[found.takes[found.takes >= 0]]] = CUT_SD_M
    time = fused_at.to_numpy()
    for leaf, slot, cut in zip(found.leaf, found.slot, found.cut_sd_m, strict=True):
        at = entry[slot]
        beside = [i for i in (at - 1, at + 1) if 0 <= i < len(entry) and walk.path[i] == walk.path[at]]
        if any(time[walk.row[i]] > time[leaf] for i in beside):
            out[at] = max(out[at], cut)
    return out


def hung(
    joints: pd.DataFrame, rows: pd.DataFrame, again: Remade, *, own: OwnFixes, lines: Lines, stick_m: float
) -> pd.DataFrame:
    """Return the places with those of re-made joints that hang on another's, and the steps to and from them.

    `joints` are of `told` before offsets are known, by the index of `rows`. With x the place of the old joint, c the
    spread of the cut, f the fix and s its spread, the new one lies at (1 - g) x + g f with g = c² / (c² + s²), and its
    variance is g s² + (1 - g)² var(x): least squares, where f had its say in x. A fix too far off for a cut is not
    used, and a shot is kept.
    """
    if not len(again.leaf):
        return joints
    columns = {str(name): joints[name].to_numpy(copy=True) for name in joints}
    steps, surveyed = _steps(joints), rows["surveyed"].to_numpy(bool)
    for leaf, slot, cut in zip(again.leaf, again.slot, again.cut_sd_m, strict=True):
        if np.isnan(columns["adjusted_chainage_m"][slot]) or (steps.alone[slot] and np.isfinite(own.at_m[leaf])):
            continue  # nothing but its own fix places it
        off = abs(own.at_m[leaf] - columns["adjusted_chainage_m"][slot])
        room = stick_m / 2 + _ODD * np.hypot(own.sd_m[leaf], columns["adjusted_sd_m"][slot])
        elsewhere = np.isfinite(off) and (off > room or own.line[leaf] != columns["line"][slot])
        if surveyed[leaf]:
            columns["strange_m"][leaf] = off if elsewhere else 0.0
        else:
            _put(columns, leaf, slot, own, cut_sd_m=cut, elsewhere=bool(elsewhere))
    _beyond(columns, again.leaf, lines)
    for slot in np.unique(again.slot[again.last]):
        if not steps.alone[slot]:
            _link(columns, again, int(slot), steps, joints.index.to_numpy())
    return joints.assign(**columns)


def _steps(joints: pd.DataFrame) -> _Steps:
    before = joints.index.get_indexer(pd.Index(joints["row_before"].to_numpy()))
    before = np.where(joints["row_before"].to_numpy() < 0, -1, before)
    after, later = np.full(len(before), -1), np.flatnonzero(before >= 0)
    after[before[later]] = later
    return _Steps(before, after)


def _put(columns: _Columns, leaf: int, slot: int, own: OwnFixes, *, cut_sd_m: float, elsewhere: bool) -> None:
    """Write the place of a re-made joint; `elsewhere` says that its fix is not where the old joint stood."""
    x, of_x = columns["adjusted_chainage_m"][slot], columns["adjusted_sd_m"][slot]
    has_fix = np.isfinite(own.at_m[leaf]) and not elsewhere
    g = cut_sd_m**2 / (cut_sd_m**2 + own.sd_m[leaf] ** 2) if has_fix else 0.0
    at = x + (g * (own.at_m[leaf] - x) if has_fix else 0.0)
    columns["line"][leaf], columns["piece"][leaf] = columns["line"][slot], columns["piece"][slot]
    columns["placed_by"][leaf] = "fix+tally" if has_fix else "tally"
    columns["blunder"][leaf] = elsewhere
    columns["chainage_m"][leaf] = columns["adjusted_chainage_m"][leaf] = at
    by_fix = np.sqrt(g) * own.sd_m[leaf] if has_fix else cut_sd_m
    columns["adjusted_sd_m"][leaf] = np.hypot(by_fix, (1 - g) * of_x)


def _beyond(columns: _Columns, leaf: np.ndarray, lines: Lines) -> None:
    """Say of re-made joints how far beyond the ends of their line they lie."""
    span = {name: (float(line.measure[0]), float(line.measure[-1])) for name, line in lines}
    for i in leaf:
        start, end = span.get(columns["line"][i], (np.nan, np.nan))
        at = columns["chainage_m"][i]
        columns["beyond_m"][i] = min(at - start, 0.0) + max(at - end, 0.0)


def _link(columns: _Columns, again: Remade, slot: int, steps: _Steps, index: np.ndarray) -> None:
    """Put the joints of the line that were made in place of one between its neighbours, as its piece runs past them."""
    here = again.last & (again.slot == slot)
    cut_sd_m, at = again.cut_sd_m[here].max(), columns["chainage_m"]
    before, after = steps.before[slot], steps.after[slot]
    rises = at[slot] >= at[before] if before >= 0 else at[after] >= at[slot]
    chain = again.leaf[here]
    chain = chain[np.argsort(at[chain] if rises else -at[chain], kind="stable")]
    for name in _OF_THE_STEP:
        columns[name][chain[0]] = columns[name][slot]
    columns["step_sd_m"][chain[0]] = np.hypot(columns["step_sd_m"][slot], cut_sd_m)
    for one, other in pairwise(chain):
        step = (columns["piece"][slot], index[one], -1, -1, abs(at[other] - at[one]), cut_sd_m)
        for name, value in zip(_OF_THE_STEP, step, strict=True):
            columns[name][other] = value
    if after >= 0:
        columns["row_before"][after] = index[chain[-1]]
        columns["step_sd_m"][after] = np.hypot(columns["step_sd_m"][after], cut_sd_m)
    for name, nothing in zip(_OF_THE_STEP[1:], (-1, -1, -1, np.nan, np.nan), strict=True):
        columns[name][slot] = nothing
