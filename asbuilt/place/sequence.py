"""Which leg the order of the work makes likely, where a fix alone cannot tell.

The joints of one machine in time order mostly follow one another at the length of a stick, in either direction. Where
several places compete for a fix, the chain of its neighbours tells them apart: a forward and a backward pass give
each place its probability in the light of the whole stretch. No run is forced: a step may always be a move of the
crew to anywhere, at a price, so that an order without sense leaves each fix to itself.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from asbuilt.window import TWO_SIDED_95

_STEPS = ((1, 0.80), (2, 0.08), (3, 0.03))  # sticks between neighbours in working order, and how likely
_SHORTER = 0.07  # a pup, a fitting, or joints made at one place: any distance up to a stick
_MOVE = 0.02  # the crew goes elsewhere: any place is as likely as any other
_RELATED = 3.0  # (1 + r) / (1 - r) for errors of neighbours that correlate by 0.5: so many count as one


@dataclass(frozen=True)
class Order:
    """What is known of the steps: length of a stick, how far a pipe may lie off the line, length of all lines (m)."""

    stick_m: float
    offset_m: float
    total_m: float


def by_order(found: pd.DataFrame, rows: pd.DataFrame, sd_m: np.ndarray, order: Order) -> pd.DataFrame:
    """Return `found` with its column probability in the light of the order, same index.

    `found` has the candidates of each point: point (position in `rows`), line, measure, probability (of the fix alone).
    `rows` has machine and fused_at; rows without either keep what their fix says. `sd_m` is that of each row.
    """
    probability = found["probability"].to_numpy(float).copy()
    measure, line = found["measure"].to_numpy(float), pd.factorize(found["line"])[0]
    begin = np.searchsorted(found["point"].to_numpy(), np.arange(len(rows) + 1))
    if not (np.diff(begin) > 1).any():
        return found
    places = [np.arange(low, high) for low, high in pairwise(begin)]
    for stretch in _stretches(rows, places):
        spread = sd_m[stretch]
        steps = [
            _step(measure[a], measure[b], line[a][:, None] == line[b], np.hypot(*spread[i : i + 2]), order)
            for i, (a, b) in enumerate(pairwise(places[p] for p in stretch))
        ]
        weights = [probability[places[p]] ** (1 / _related(spread, order)) for p in stretch]
        for p, share in zip(stretch, _shares(weights, steps), strict=True):
            probability[places[p]] = share
    return found.assign(probability=probability)


def _stretches(rows: pd.DataFrame, places: list[np.ndarray]) -> Iterator[np.ndarray]:
    """Yield points in working order: those with several places, between the nearest neighbours that have one."""
    timed = rows.assign(at=np.arange(len(rows)))[
        rows["machine"].notna().to_numpy() & rows["fused_at"].notna().to_numpy()
    ]
    for _, run in timed.sort_values(["fused_at", "at"]).groupby("machine", sort=True):
        points = np.array([p for p in run["at"].to_numpy() if len(places[p])], dtype=np.int64)
        many = np.array([len(places[p]) > 1 for p in points], dtype=bool)
        edges = np.flatnonzero(np.diff(np.concatenate([[False], many, [False]])))
        for first, last in edges.reshape(-1, 2):
            yield points[max(first - 1, 0) : last + 1]


def _step(a: np.ndarray, b: np.ndarray, same_line: np.ndarray, spread: float, order: Order) -> np.ndarray:
    """Return the density of each step from a place of one joint to a place of the next, shape (a, b)."""
    walk = np.abs(b[None, :] - a[:, None])
    sd = np.hypot(spread, 0.02 * order.stick_m)
    sticks = sum(share * np.exp(-0.5 * ((walk - k * order.stick_m) / sd) ** 2) for k, share in _STEPS) / (sd * 2.5066)
    shorter = _SHORTER / order.stick_m * (walk < order.stick_m)
    return np.where(same_line, sticks + shorter, 0.0) + _MOVE / order.total_m


def _related(spread: np.ndarray, order: Order) -> float:
    """Return how many fixes of a stretch count as one: errors of neighbours are related, and an offset is common.

    The variance of the mean of n fixes with a common part b is s²/n + b², not (s² + b²)/n.
    """
    fix, common = float(np.median(spread)) ** 2, (order.offset_m / TWO_SIDED_95) ** 2
    return max(1.0, (_RELATED * fix + len(spread) * common) / (fix + common))


def _shares(weights: list[np.ndarray], steps: list[np.ndarray]) -> list[np.ndarray]:
    """Return the probability of each place in the light of all others of the stretch (forward and backward pass)."""
    ahead, back = [weights[0] / weights[0].sum()], [np.ones(len(weights[-1]))]
    for weight, step in zip(weights[1:], steps, strict=True):
        here = weight * (ahead[-1] @ step)
        ahead.append(here / here.sum())
    for weight, step in zip(weights[:0:-1], reversed(steps), strict=True):
        here = step @ (weight * back[-1])
        back.append(here / here.sum())
    both = [a * b for a, b in zip(ahead, reversed(back), strict=True)]
    return [share / share.sum() for share in both]
