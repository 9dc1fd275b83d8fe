"""How far off the alignment a joint lies: what its own fix says, seen with how the pipe of its line is laid."""

from dataclasses import dataclass

import numpy as np

from asbuilt.window import TWO_SIDED_95

_MEDIAN_OF_SQUARE = 0.4549364231195724  # of a standard normal
_RELATED = 4.0  # so many neighbours count as one: pipe is stiff, and errors of neighbours are related
_TYPICAL = 0.5  # of the spread that the window allows: crews mostly lay well within it (the writers' judgement)
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
    what offsets scatter by beyond the fixes, line by line, and what is typical where fixes are too poor to tell. The
    verdict is not taken from here: that is the fix's own.
    """
    laid = np.full(len(offset_m), _TYPICAL * window_m / TWO_SIDED_95)
    for code in np.unique(line):
        here = line == code
        told = here & np.isfinite(offset_m) & np.isfinite(sd_m)
        if told.any():
            laid[here] = _spread_of_laying(offset_m[told], sd_m[told], _TYPICAL * window_m / TWO_SIDED_95)
    trust = laid**2 / (laid**2 + sd_m**2)
    odd = np.abs(offset_m) > _ODD * np.hypot(laid, sd_m)
    trust = np.where(odd, 1.0, trust)
    without = ~np.isfinite(offset_m + sd_m)
    return Across(np.where(without, 0.0, trust * offset_m), np.where(without, laid, np.sqrt(trust) * sd_m))


def _spread_of_laying(offset_m: np.ndarray, sd_m: np.ndarray, typical_m: float) -> float:
    """Return the spread of the laid pipe: what offsets scatter by beyond the fixes, mixed with what is typical.

    Each of the two counts by how well it is known: fixes of metres say little of pipe laid to decimetres.
    """
    fixes, scatter = float(np.median(sd_m**2)), float(np.median(offset_m**2)) / _MEDIAN_OF_SQUARE
    error = np.sqrt(2 * _RELATED / len(offset_m)) * max(scatter, fixes)
    seen, typical = max(scatter - fixes, _LEAST_M**2), typical_m**2
    share = typical**2 / (typical**2 + error**2)
    return float(np.sqrt(share * seen + (1 - share) * typical))
