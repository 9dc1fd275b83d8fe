"""The circle about a point of the alignment that holds the joint with 95 %."""

import numpy as np

_95 = 1.6448536269514722  # standard normal, one side


def radius95_m(along_sd_m: np.ndarray, across_m: np.ndarray, across_sd_m: np.ndarray) -> np.ndarray:
    """Return the 95 % radius, shape (n,), of a joint that lies `across_m` off the point, with its two spreads.

    The squared distance is a sum of squares of normals: its 95 % quantile after Wilson and Hilferty (1931), the
    distribution matched in mean and variance; within 2 % of the exact value, whatever the proportions.
    """
    along, across, off = along_sd_m**2, across_sd_m**2, across_m**2
    mean = along + across + off
    with np.errstate(invalid="ignore", divide="ignore"):
        share = (2 * along**2 + 2 * across**2 + 4 * off * across) / mean**2 / 9
        radius = np.sqrt(mean * np.maximum(1 - share + _95 * np.sqrt(share), 0.0) ** 3)
    return np.where(mean == 0, 0.0, radius)
