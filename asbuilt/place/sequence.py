"""Which leg the order of the work makes likely, where a fix alone cannot tell.

The joints of a path mostly follow one another at the length of a stick, in either direction. Where several places
compete for a fix, the chain of its neighbours tells them apart: a forward and a backward pass give each place its
probability in the light of the whole stretch. No path is forced: a step may always be a move of the crew to anywhere,
at a price, so that an order without sense leaves each fix to itself.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.place.blocks import blocks
from asbuilt.place.links import MET, Paths
from asbuilt.window import SURE_OF_LEG, TWO_SIDED_95

_STEPS = ((0, 0.80), (1, 0.08), (2, 0.03))  # records missing between neighbours in working order, and how likely
_SHORTER = 0.07  # a pup, a fitting, or joints made at one place: any distance up to a stick
_MOVE = 0.02  # the crew goes elsewhere: any place is as likely as any other
_MOVE_MET = 1e-4  # where the serials of the pipes meet nobody moved, unless a fix or a serial is wrong
_RUN = 3  # places of the joints of a run
_FREE, _CROWDED = 0.25, 0.5  # what is taken by less is free; what it costs a joint that its place is taken (log)
_HEARD = 128  # joints of a stretch that have a say in where one of them is
_RELATED = 3.0  # (1 + r) / (1 - r) for errors of neighbours that correlate by 0.5: so many count as one


@dataclass(frozen=True)
class Order:
    """What is known of the steps: length of a stick, how far a pipe may lie off the line, length of all lines (m)."""

    stick_m: float
    offset_m: float
    total_m: float


@dataclass(frozen=True)
class _Places:
    """Places of the entries of all stretches; what has no place has no weight."""

    entry: np.ndarray  # of the paths, shape (n,)
    candidate: np.ndarray  # position among the candidates, -1: none; shape (most places, n)
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
    real = places.candidate >= 0
    alone = np.where(real, probability[places.candidate], 0.0).astype(np.float32)
    step = _steps(found, paths, places, sd_m, order=order)
    weight = alone ** np.float32(1 / _related(places, sd_m[paths.row], order))
    share = _passes(weight, step, places.head)
    out = probability.copy()
    out[places.candidate[real]] = share[real]
    claimed = _claimed(found, out, paths.path[np.argsort(paths.row)][point], order.stick_m)
    if not (claimed > _FREE).any():
        return out
    weight *= np.where(real, np.exp(-_CROWDED * claimed[places.candidate]), 1.0).astype(np.float32)
    out[places.candidate[real]] = _passes(weight, step, places.head)[real]
    return out


def _claimed(found: pd.DataFrame, share: np.ndarray, path: np.ndarray, stick_m: float) -> np.ndarray:
    """Return how far each candidate's place is taken by joints of other paths, shape (candidates,): 1 is taken whole.

    Runs placed each by itself can claim one leg twice and leave its twin empty. Joints of a run lie a stick apart, so
    where another run lies two of its joints are within a stick. Only a run that is sure of a place takes it away.
    """
    line, at = pd.factorize(found["line"])[0].astype(np.int64), found["measure"].to_numpy(float)
    sure = np.where((share >= SURE_OF_LEG) & (np.bincount(path)[path] >= _RUN), share, 0.0)
    every = _within(line, at, sure, stick_m)
    own = _within(path * (line.max() + 1) + line, at, sure, stick_m)
    return np.asarray(np.clip((every - own) / 2, 0.0, 1.0))


def _within(group: np.ndarray, at: np.ndarray, share: np.ndarray, reach: float) -> np.ndarray:
    """Return the sum of the shares of each group that lie within reach of each place, shape (n,)."""
    key = group * (np.ptp(at) + 4 * reach) + at
    ranked = np.argsort(key, kind="stable")
    total = np.concatenate([[0.0], np.cumsum(share[ranked])])
    low, high = np.searchsorted(key[ranked], key - reach), np.searchsorted(key[ranked], key + reach, side="right")
    return np.asarray(total[high] - total[low])


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
    slot = np.arange(int(count.max()))[:, None]
    return _Places(entry, np.where(slot < count[entry], begin[paths.row[entry]] + slot, -1), head)


def _related(places: _Places, sd_m: np.ndarray, order: Order) -> np.ndarray:
    """Return how many fixes of a stretch count as one: errors of neighbours are related, and an offset is common.

    The variance of the mean of n fixes with a common part b is s²/n + b², not (s² + b²)/n.
    """
    stretch = np.cumsum(places.head) - 1
    size = np.bincount(stretch)
    fix = np.bincount(stretch, weights=sd_m[places.entry] ** 2) / size
    common = (order.offset_m / TWO_SIDED_95) ** 2
    seen = np.minimum(size, _HEARD)
    alike = np.minimum(_RELATED, size)  # one fix is one
    return np.asarray(np.maximum(1.0, (alike * fix + seen * common) / (fix + common))[stretch])


def _steps(found: pd.DataFrame, paths: Paths, places: _Places, sd_m: np.ndarray, *, order: Order) -> np.ndarray:
    """Return the density of each step to an entry from the entry before, shape (places before, places, n)."""
    measure, line = (a[places.candidate] for a in (found["measure"].to_numpy(float), pd.factorize(found["line"])[0]))
    walk = np.abs(measure - np.roll(measure, 1, axis=1)[:, None]).astype(np.float32)
    same = line == np.roll(line, 1, axis=1)[:, None]
    row, entries = paths.row[places.entry], places.entry - np.roll(places.entry, 1)
    length = np.where(np.isnan(paths.length_m[places.entry]), order.stick_m, paths.length_m[places.entry])
    length = length + order.stick_m * np.maximum(entries - 1, 0)  # entries without a place between
    sd = np.hypot(np.hypot(sd_m[row], np.roll(sd_m[row], 1)), 0.02 * order.stick_m)
    met = paths.how[places.entry] == MET
    chance = np.float32(_SHORTER / order.stick_m) * (walk < np.float32(order.stick_m))
    for k, share in _STEPS:
        peak = np.where(met, 1.0 if k == 0 else 0.001, share) / (sd * np.sqrt(2 * np.pi))
        chance += peak.astype(np.float32) * _bell(
            walk - (length + k * order.stick_m).astype(np.float32), sd.astype(np.float32)
        )
    chance *= same
    chance += np.float32(np.where(met, _MOVE_MET, _MOVE) / order.total_m)
    return chance


def _bell(x: np.ndarray, sd: np.ndarray) -> np.ndarray:
    """Return exp(-x²/2 sd²); what would be nearly nothing is kept at that, for it costs a processor much to tell."""
    x *= np.float32(np.sqrt(0.5)) / sd
    x *= x
    np.negative(x, out=x)
    return np.exp(np.maximum(x, np.float32(-80), out=x), out=x)


def _passes(weight: np.ndarray, step: np.ndarray, head: np.ndarray) -> np.ndarray:
    """Return the probability of each place in the light of all others of its stretch (forward and backward pass)."""
    cut = blocks(len(head))
    core, alone = cut.core, weight[:, cut.entry]
    leads = np.take(step * weight, cut.entry, axis=-1)  # from place to place, and how the fix suits the latter
    begins = head[cut.entry] | cut.outside
    begins[0] = True
    share = np.empty((len(core), *alone[:, 0].shape), np.float32)
    ahead = back = np.ones_like(alone[:, 0])
    for t in range(core.stop):
        ahead = np.where(begins[t], alone[:, t], (ahead[:, None] * leads[:, :, t]).sum(axis=0))
        ahead /= ahead.sum(axis=0)
        if t in core:
            share[t - core.start] = ahead
    for t in range(len(begins) - 1, core.start - 1, -1):
        if t in core:
            share[t - core.start] *= back
        back = np.where(begins[t], 1.0, (leads[:, :, t] * back).sum(axis=1))
        back /= back.sum(axis=0)
    share /= share.sum(axis=1, keepdims=True)
    return cut.along(share.swapaxes(1, 2)).T
