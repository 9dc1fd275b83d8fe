"""Chainages of a piece adjusted together: weighted least squares of fixes and pipe lengths, with one scale a piece.

In y = chainage - tally a pipe length says that neighbours are equal, a fix says where one of them is, and the scale s
of the piece (thermal contraction, take-up, slack) adds s times the tally. The normal equations are tridiagonal and
bordered by s: one factorisation for all pieces at once, a Schur complement for the scale, and the diagonal of the
inverse from the pivots of a sweep forward and one backward (for a tridiagonal matrix inv(A)_ii is the reciprocal of
forward pivot + backward pivot - a_ii). Linear in time and memory.
"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import lapack


@dataclass(frozen=True)
class Observed:
    """What is observed of the entries of all pieces, one piece after the other; every array has shape (n,), metres.

    `at` along the piece in its own direction (NaN: none), `sd` its standard deviation, `correlation` with the error of
    the entry before (0: none); `step` from the entry before and `step_sd`; `head` marks the first entry of a piece.
    """

    at: np.ndarray
    sd: np.ndarray
    correlation: np.ndarray
    step: np.ndarray
    step_sd: np.ndarray
    head: np.ndarray


@dataclass(frozen=True)
class Adjusted:
    """Shapes (n,): place along the piece, its sd, sd of the step from the entry before (NaN at heads).

    `scale` and `scale_sd` have one value a piece: how much longer than its tally the piece lies, as a share.
    """

    at: np.ndarray
    sd: np.ndarray
    step_sd: np.ndarray
    scale: np.ndarray
    scale_sd: np.ndarray


def adjust(observed: Observed, *, scale_sd: float) -> Adjusted:
    """Adjust all pieces; each needs one fix at least. `scale_sd` is what is known of a scale before (a share)."""
    o, starts = observed, np.flatnonzero(observed.head)
    piece = np.cumsum(o.head) - 1
    tally = np.cumsum(np.where(o.head, 0.0, o.step))
    tally -= (np.add.reduceat(tally, starts) / np.diff(starts, append=len(tally)))[piece]
    fixes, fixes_off = _precision_of_fixes(o)
    steps = np.where(o.head, 0.0, 1.0 / np.where(o.head, 1.0, o.step_sd) ** 2)
    diagonal = fixes + steps + np.append(steps[1:], 0.0)
    off = (fixes_off - steps)[1:]
    right = np.column_stack([_times(fixes, fixes_off, np.nan_to_num(o.at - tally)), _times(fixes, fixes_off, tally)])
    pivots, lower, solved = _solved(diagonal, off, right)
    level, slope = solved.T
    schur = 1 / scale_sd**2 + np.add.reduceat(tally * (right[:, 1]) - right[:, 1] * slope, starts)
    scale = np.add.reduceat(tally * right[:, 0] - right[:, 1] * level, starts) / schur
    lever = tally - slope
    variance = 1 / (pivots + _backward(diagonal, off) - diagonal)
    shared = -lower * variance[1:]  # covariance of each entry with the next one
    steps_variance = variance[:-1] + variance[1:] - 2 * shared + np.diff(lever) ** 2 / schur[piece[1:]]
    return Adjusted(
        at=tally + level + scale[piece] * lever,
        sd=np.sqrt(variance + lever**2 / schur[piece]),
        step_sd=np.where(o.head, np.nan, np.sqrt(np.maximum(np.insert(steps_variance, 0, np.nan), 0.0))),
        scale=scale,
        scale_sd=1 / np.sqrt(schur),
    )


def _precision_of_fixes(o: Observed) -> tuple[np.ndarray, np.ndarray]:
    """Return diagonal and off-diagonal (with the entry before) of the inverse covariance of the fixes.

    Errors of neighbours are a first-order autoregression: its precision is tridiagonal, too.
    """
    weight = np.where(np.isfinite(o.at), 1.0 / o.sd, 0.0)
    before = np.insert(weight[:-1], 0, 0.0)
    r = np.where(o.head | (before == 0) | (weight == 0), 0.0, o.correlation)
    innovation = 1.0 / (1.0 - r**2)
    diagonal = weight**2 * innovation
    diagonal[:-1] += (r**2 * before**2 * innovation)[1:]
    return diagonal, -r * weight * before * innovation


def _times(diagonal: np.ndarray, off: np.ndarray, x: np.ndarray) -> np.ndarray:
    """Multiply a symmetric tridiagonal matrix with a vector; `off` goes with the entry before."""
    out = diagonal * x
    out[1:] += off[1:] * x[:-1]
    out[:-1] += off[1:] * x[1:]
    return out


def _solved(diagonal: np.ndarray, off: np.ndarray, right: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the pivots of L D L', the lower entries of L, and the solutions for the columns of `right`."""
    pivots, lower, failed = _factored(diagonal, off)
    if failed:
        raise ArithmeticError("a piece without a fix cannot be adjusted")
    solved, _ = lapack.dpttrs(pivots, lower, np.vstack([right, np.zeros(right.shape[1])]))
    return pivots[:-1], lower[:-1], solved[:-1]


def _backward(diagonal: np.ndarray, off: np.ndarray) -> np.ndarray:
    pivots, _, _ = _factored(diagonal[::-1], off[::-1])
    return np.asarray(pivots[-2::-1])


def _factored(diagonal: np.ndarray, off: np.ndarray) -> tuple[np.ndarray, np.ndarray, int]:
    """Return L D L' of the matrix with one more unknown that has to do with none: one alone LAPACK does not take."""
    pivots, lower, failed = lapack.dpttrf(np.append(diagonal, 1.0), np.append(off, 0.0))
    return pivots, lower, failed
