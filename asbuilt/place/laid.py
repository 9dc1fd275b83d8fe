"""How far off the alignment a joint lies: what its own fix says, seen with how the pipe of its line is laid."""

from dataclasses import dataclass

import numpy as np

from asbuilt.window import TWO_SIDED_95

_MEDIAN_OF_SQUARE = 0.4549364231195724  # of a standard normal
_WORTH = 20.0  # so many joints is the window worth as a guess of how pipes are laid
_LEAST_M = 0.02
_ODD = 2.5  # standard deviations: from there on a joint is not laid as the others are, and its own fix counts alone


@dataclass(frozen=True)
class Across:
    """Where joints lie across the line, in metres (+ right), and with which spread; shapes (n,)."""

    offset_m: np.ndarray
    sd_m: np.ndarray


def across(offset_m: np.ndarray, sd_m: np.ndarray, line: np.ndarray, *, window_m: float) -> Across:
    """Return the likeliest offset of each joint and its spread, for the circle that holds it.

    `offset_m` and `sd_m` are those of the fixes (NaN: none), `line` a code for each. The spread of the laid pipe is
    what the offsets scatter by beyond the fixes, line by line, and where nobody knows it that of the window. The
    verdict is not taken from here: that is the fix's own.
    """
    laid = np.full(len(offset_m), window_m / TWO_SIDED_95)
    for code in np.unique(line):
        here = line == code
        told = here & np.isfinite(offset_m) & np.isfinite(sd_m)
        if told.any():
            seen = np.median(offset_m[told] ** 2) / _MEDIAN_OF_SQUARE - np.median(sd_m[told] ** 2)
            share = told.sum() / (told.sum() + _WORTH)
            laid[here] = np.sqrt(share * max(seen, _LEAST_M**2) + (1 - share) * (window_m / TWO_SIDED_95) ** 2)
    trust = laid**2 / (laid**2 + sd_m**2)
    odd = np.abs(offset_m) > _ODD * np.hypot(laid, sd_m)
    trust = np.where(odd, 1.0, trust)
    without = ~np.isfinite(offset_m + sd_m)
    return Across(np.where(without, 0.0, trust * offset_m), np.where(without, laid, np.sqrt(trust) * sd_m))
