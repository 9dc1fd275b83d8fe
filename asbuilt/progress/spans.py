"""Stretches along one line as pairs of numbers: their union, its length, and how much of it lies within others."""

import numpy as np


def union(low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Return the union of the stretches low to high as stretches that neither touch nor overlap, shape (k, 2).

    What has no length, or is not known (NaN), is left out.

    >>> union(np.array([0.0, 5.0, 20.0]), np.array([10.0, 12.0, 30.0])).tolist()
    [[0.0, 12.0], [20.0, 30.0]]
    """
    real = high > low
    low, high = low[real], high[real]
    order = np.argsort(low, kind="stable")
    low, reach = low[order], np.maximum.accumulate(high[order])
    opens = np.append(True, low[1:] > reach[:-1])[: len(low)]
    closes = np.append(opens[1:], True)[: len(low)]
    return np.column_stack([low[opens], reach[closes]])


def length(spans: np.ndarray) -> float:
    """Return the length of stretches that do not overlap.

    >>> length(union(np.array([0.0, 5.0]), np.array([10.0, 12.0])))
    12.0
    """
    return float((spans[:, 1] - spans[:, 0]).sum())


def within(low: np.ndarray, high: np.ndarray, spans: np.ndarray) -> np.ndarray:
    """Return how much of each stretch low to high lies within `spans` (a union), shape (n,).

    >>> within(np.array([0.0, 8.0]), np.array([5.0, 30.0]), np.array([[2.0, 10.0], [20.0, 25.0]])).tolist()
    [3.0, 7.0]
    """
    if not len(spans):
        return np.zeros(len(low))
    edges = spans.ravel()
    below = np.repeat(np.cumsum(np.append(0.0, spans[:, 1] - spans[:, 0])), 2)[1:-1]
    return np.asarray(np.interp(high, edges, below) - np.interp(low, edges, below))


def common(spans: np.ndarray, others: np.ndarray) -> np.ndarray:
    """Return what lies in both of two unions, as a union, shape (k, 2).

    >>> common(np.array([[0.0, 10.0], [20.0, 30.0]]), np.array([[5.0, 25.0]])).tolist()
    [[5.0, 10.0], [20.0, 25.0]]
    """
    edges = np.unique(np.concatenate([spans.ravel(), others.ravel()]))
    middle = (edges[:-1] + edges[1:]) / 2
    inside = [np.searchsorted(own.ravel(), middle) % 2 == 1 for own in (spans, others)]
    both = inside[0] & inside[1]
    return union(edges[:-1][both], edges[1:][both])


def first_days(low: np.ndarray, high: np.ndarray, day: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Part a line where stretches begin and end; return the edges, shape (k + 1,), and the first day of each part.

    A part that no stretch covers has the day infinity.

    >>> first_days(np.array([0.0, 5.0]), np.array([10.0, 20.0]), np.array([2.0, 1.0]))[1].tolist()
    [2.0, 1.0, 1.0]
    """
    edges = np.unique(np.concatenate([low, high]))
    found = np.full(max(len(edges) - 1, 0), np.inf)
    first, last = np.searchsorted(edges, low), np.searchsorted(edges, high)
    for i in np.argsort(-day, kind="stable"):
        found[first[i] : last[i]] = day[i]
    return edges, found
