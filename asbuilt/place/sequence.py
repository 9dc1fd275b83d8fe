"""Which leg the order of the work makes likely, where a fix alone cannot tell.

The joints of a path mostly follow one another at the length of a stick, in either direction. Where several places
compete for a fix, the chain of its neighbours tells them apart: a forward and a backward pass give each place its
probability in the light of the whole stretch. No path is forced: a step may always be a move of the crew to anywhere,
at a price, so that an order without sense leaves each fix to itself.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.place.blocks import CORE, OVERLAP, Blocks, blocks
from asbuilt.place.links import MET, Paths
from asbuilt.window import TWO_SIDED_95

_STEPS = ((0, 0.80), (1, 0.08), (2, 0.03))  # records missing between neighbours in working order, and how likely
_SHORTER = 0.07  # a pup, a fitting, or joints made at one place: any distance up to a stick
_MOVE = 0.02  # the crew goes elsewhere: any place is as likely as any other
_MOVE_MET = 1e-4  # where the serials of the pipes meet nobody moved, unless a fix or a serial is wrong
_RELATED = 3.0  # (1 + r) / (1 - r) for errors of neighbours that correlate by 0.5: so many count as one


@dataclass(frozen=True)
class Order:
    """What is known of the steps: length of a stick, how far a pipe may lie off the line, length of all lines (m)."""

    stick_m: float
    offset_m: float
    total_m: float


@dataclass(frozen=True)
class _Places:
    """Places of the entries of all stretches, shape (n, most places); what has no place has no weight."""

    entry: np.ndarray  # of the paths, shape (n,)
    candidate: np.ndarray  # position among the candidates, -1: none
    head: np.ndarray  # whether a stretch begins, shape (n,)


def by_order(found: pd.DataFrame, paths: Paths, sd_m: np.ndarray, order: Order) -> np.ndarray:
    """Return the probability of each candidate in the light of the order, shape (candidates,).

    `found` has the candidates of each point, sorted by it: point (position among the rows), line, measure,
    probability (of the fix alone). `sd_m` is that of each row.
    """
    probability = found["probability"].to_numpy(float)
    point = found["point"].to_numpy(np.int64)
    begin = np.searchsorted(point, np.arange(len(sd_m) + 1))
    if not (np.diff(begin) > 1).any():
        return probability
    places = _stretches(paths, begin)
    weight = np.where(places.candidate < 0, 0.0, probability[places.candidate])
    weight **= 1 / _related(places, sd_m[paths.row], order)[:, None]
    share = _passes(weight, _steps(found, paths, places, sd_m, order=order), places.head)
    out, real = probability.copy(), places.candidate >= 0
    out[places.candidate[real]] = share[real]
    return out


def _stretches(paths: Paths, begin: np.ndarray) -> _Places:
    """Return the entries that have several places, with the nearest neighbours of each stretch that have one."""
    count = np.diff(begin)[paths.row]
    told = np.flatnonzero(count)
    many, path = count[told] > 1, paths.path[told]
    begins = np.diff(path, prepend=-1) != 0
    after = np.insert(many[:-1], 0, False) & ~begins  # behind a doubtful one of its path
    before = np.append(many[1:] & ~begins[1:], False)
    keep = many | after | before
    head = begins | ~(many | np.insert(many[:-1], 0, False)) | ~np.insert(keep[:-1], 0, False)
    entry, head = told[keep], head[keep]
    most = int(count.max())
    slot = np.arange(most)
    candidate = np.where(slot < count[entry, None], begin[paths.row[entry]][:, None] + slot, -1)
    return _Places(entry, candidate, head)


def _related(places: _Places, sd_m: np.ndarray, order: Order) -> np.ndarray:
    """Return how many fixes of a stretch count as one: errors of neighbours are related, and an offset is common.

    The variance of the mean of n fixes with a common part b is s²/n + b², not (s² + b²)/n.
    """
    stretch = np.cumsum(places.head) - 1
    size = np.bincount(stretch)
    fix = np.bincount(stretch, weights=sd_m[places.entry] ** 2) / size
    common = (order.offset_m / TWO_SIDED_95) ** 2
    seen = np.minimum(size, CORE + 2 * OVERLAP)  # no joint hears of more than those of its block
    return np.asarray(np.maximum(1.0, (_RELATED * fix + seen * common) / (fix + common))[stretch])


def _steps(found: pd.DataFrame, paths: Paths, places: _Places, sd_m: np.ndarray, *, order: Order) -> np.ndarray:
    """Return the density of each step to an entry from the entry before, shape (n, places before, places)."""
    measure, line = found["measure"].to_numpy(float), pd.factorize(found["line"])[0]
    here, before = places.candidate, np.roll(places.candidate, 1, axis=0)
    walk = np.abs(measure[here][:, None, :] - measure[before][:, :, None])
    same = line[here][:, None, :] == line[before][:, :, None]
    row, entries = paths.row[places.entry], places.entry - np.roll(places.entry, 1)
    length = np.where(np.isnan(paths.length_m[places.entry]), order.stick_m, paths.length_m[places.entry])
    length = (length + order.stick_m * np.maximum(entries - 1, 0))[:, None, None]  # entries without a place between
    sd = np.hypot(np.hypot(sd_m[row], np.roll(sd_m[row], 1)), 0.02 * order.stick_m)[:, None, None]
    met = (paths.how[places.entry] == MET)[:, None, None]
    chance = np.zeros_like(walk)
    for k, share in _STEPS:
        believed = np.where(met, 1.0 if k == 0 else 0.001, share)
        chance += believed * np.exp(-0.5 * ((walk - length - k * order.stick_m) / sd) ** 2)
    chance = chance / (sd * np.sqrt(2 * np.pi)) + _SHORTER / order.stick_m * (walk < order.stick_m)
    return np.asarray(np.where(same, chance, 0.0) + np.where(met, _MOVE_MET, _MOVE) / order.total_m)


def _passes(weight: np.ndarray, step: np.ndarray, head: np.ndarray) -> np.ndarray:
    """Return the probability of each place in the light of all others of its stretch (forward and backward pass)."""
    cut = blocks(len(weight))
    ahead = _forward(weight, step, head, cut)
    back = np.ones_like(ahead[0])
    for t in range(len(cut.entry) - 1, 0, -1):
        ahead[t] *= back
        entry = cut.entry[t]
        back = np.einsum("bij,bj->bi", step[entry], weight[entry] * back)
        back[head[entry] | cut.outside[t] | cut.outside[t - 1]] = 1.0
        back /= back.sum(axis=1, keepdims=True)
    ahead[0] *= back
    both = cut.middle(ahead)
    return np.asarray(both / both.sum(axis=1, keepdims=True))


def _forward(weight: np.ndarray, step: np.ndarray, head: np.ndarray, cut: Blocks) -> np.ndarray:
    ahead = np.empty((*cut.entry.shape, weight.shape[1]))
    share = weight[cut.entry[0]]
    for t, entry in enumerate(cut.entry):
        if t:
            share = weight[entry] * np.einsum("bi,bij->bj", share, step[entry])
        begins = head[entry] | cut.outside[t]
        share[begins] = weight[entry[begins]]
        share /= share.sum(axis=1, keepdims=True)
        ahead[t] = share
    return ahead
