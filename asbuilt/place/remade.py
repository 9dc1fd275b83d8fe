"""Joints that were made again: each stands where the one that it replaces stood, to within what was cut off for it.

A re-made joint follows nobody in the order of the work: its machine came back to an older place. So the joint that was
cut out keeps its place among its neighbours, and the new one hangs on it. Its fix is one more observation of that
place, worse by the cut; the place of the new one is that of the old one moved towards its own fix, as far as the cut
allows. Where serials, an order in a string or the route file say beside which joints it stands, it takes the place
itself, and the old one follows nobody.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.settings.model import StringSpec

# A cut takes from a pipe's diameter to a few feet (common practice, no source): 1 m to either side, 95 %.
CUT_SD_M = 0.5
PUP_SD = 0.58  # of a pup's length, where it is stated: joints at its ends, it anywhere about the old one (uniform)
_NEAR = 3.5  # standard deviations and a stick: what is farther from the old joint is another leg
_MOST = 20  # re-made joints replaced by others in turn: no joint is made so often
_FOLLOWS = ("machine", "string", "pipe_a", "pipe_b")


@dataclass(frozen=True)
class Remade:
    """By position of the rows: `leaf` hangs on the place of `slot`, `cut_sd_m` away (one sd); shapes (k,).

    `last` marks those that no other replaces: joints of the line. `taken` are slots whose joint was replaced by one
    that stands in the order itself, `takes` that one (-1: another has taken it already); shapes (m,).
    """

    leaf: np.ndarray
    slot: np.ndarray
    cut_sd_m: np.ndarray
    last: np.ndarray
    takes: np.ndarray
    taken: np.ndarray

    def stand_in(self, row: np.ndarray) -> np.ndarray:
        """Return the rows with a joint of the line in place of each that was cut out and kept its place, same shape."""
        by = np.arange(int(max(row.max(initial=0), self.slot.max(initial=0))) + 1)
        by[self.slot[self.last]] = self.leaf[self.last]
        return np.asarray(by[row])


def remade(rows: pd.DataFrame, specs: Sequence[StringSpec] = ()) -> Remade:
    """Tell of each re-made joint where it stands.

    `rows` may have remakes, the label of the row that each takes out of the line (NA: none), and then needs joint,
    joint_id, machine, fused_at, string, order, pipe_a, pipe_b, length_added_m.
    """
    asked = rows["remakes"].dropna() if "remakes" in rows else pd.Series(dtype=np.int64)
    none = np.array([], dtype=np.int64)
    if asked.empty:
        return Remade(none, none, none.astype(float), none.astype(bool), none, none)
    new, old = rows.index.get_indexer(asked.index), rows.index.get_indexer(pd.Index(asked.astype(np.int64)))
    new, old = new[old >= 0], old[old >= 0]
    before = dict(zip(new.tolist(), old.tolist(), strict=True))
    takes = _has_its_own_place(rows, specs)[new] | ~_has_a_place(rows)[old]
    roots = [_root(before, int(i), set(new[takes].tolist())) for i in new]
    root, cuts = (np.array([r[k] for r in roots], dtype=np.int64) for k in (0, 1))
    hangs = ~takes
    first = ~pd.Series(old[takes]).duplicated().to_numpy()
    cut = np.sqrt(cuts[hangs]) * _cut_sd_m(rows, new[hangs], root[hangs])
    last = ~np.isin(new[hangs], old)
    return Remade(new[hangs], root[hangs], cut, last, np.where(first, new[takes], -1), old[takes])


def _has_its_own_place(rows: pd.DataFrame, specs: Sequence[StringSpec]) -> np.ndarray:
    """Whether serials, an order in its string or the route file say beside which joints each stands, shape (n,)."""
    named = {str(joint).strip().casefold() for s in specs for joint in (*s.tie_ins, *(s.joints or ())) if joint}
    by_file = rows["joint"].str.strip().str.casefold().isin(named) | rows["joint_id"].str.casefold().isin(named)
    told = rows["pipe_a"].notna() | rows["pipe_b"].notna() | (rows["string"].notna() & rows["order"].notna()) | by_file
    return told.to_numpy(bool)


def _has_a_place(rows: pd.DataFrame) -> np.ndarray:
    """Whether each stands in an order of any kind, shape (n,)."""
    timed = rows["machine"].notna() & rows["fused_at"].notna()
    told = timed | rows["pipe_a"].notna() | rows["pipe_b"].notna() | (rows["string"].notna() & rows["order"].notna())
    return told.to_numpy(bool)


def _root(before: dict[int, int], row: int, takes: set[int]) -> tuple[int, int]:
    """Return the joint on whose place a re-made one stands, and how often it was cut since."""
    here, cuts = before[row], 1
    while here in before and here not in takes and cuts < _MOST:
        here, cuts = before[here], cuts + 1
    return here, cuts


def _cut_sd_m(rows: pd.DataFrame, leaf: np.ndarray, slot: np.ndarray) -> np.ndarray:
    """Return how far from the old joint each may stand: by the pup where one of them states its length."""
    length = pd.Series(rows["length_added_m"].to_numpy(float)[leaf]).groupby(slot).transform("max").to_numpy(float)
    return np.where(np.isnan(length), CUT_SD_M, PUP_SD * length)


def linked(rows: pd.DataFrame, found: Remade) -> pd.DataFrame:
    """Return the rows as the order of the work has them: what hangs on another, or gave its place away, follows nobody.

    What took a place stands there in the time of the old joint, where nothing else tells its place.
    """
    if not len(found.leaf) + len(found.taken):
        return rows
    out, took = rows.copy(), found.takes >= 0
    own, old = rows.index[found.takes[took]], rows.index[found.taken[took]]
    for name in ("machine", "fused_at"):
        of_old = rows.loc[old, name].set_axis(own)
        out.loc[own, name] = of_old.fillna(rows.loc[own, name])
    gone = rows.index[np.concatenate([found.leaf, found.taken])]
    out.loc[gone, list(_FOLLOWS)] = None
    return out


def choose_legs(every: pd.DataFrame, found: Remade, rows: pd.DataFrame, *, stick_m: float) -> pd.DataFrame:
    """Weigh the candidates of what hangs on another by where that one likely is; `every` has point and probability."""
    probability, point = every["probability"].to_numpy(float).copy(), every["point"].to_numpy()
    line, at = every["line"].to_numpy(), every["measure"].to_numpy(float)
    sd = rows["sd_m"].fillna(0).to_numpy(float)
    for leaf, slot in zip(found.leaf, found.slot, strict=True):
        own, other = np.flatnonzero(point == leaf), np.flatnonzero(point == slot)
        if len(own) < 2 or not len(other):
            continue
        reach = stick_m + _NEAR * np.hypot(sd[leaf], sd[slot])
        near = (line[own][:, None] == line[other]) & (np.abs(at[own][:, None] - at[other]) < reach)
        weight = probability[own] * (near * probability[other]).sum(axis=1)
        if weight.sum() > 0:
            probability[own] = weight / weight.sum()
    return every.assign(probability=probability)
