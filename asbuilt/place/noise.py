"""How far fixes really scatter, and how much the errors of neighbours have in common, from the fixes themselves.

Differences between joints of one piece a few steps apart hold no level and no offset, only noise: they grow with the
steps between the two as f² (1 - r^h), f being the true spread over the stated one and r the correlation of
neighbours. Medians, so that missing records, pups and blunders do not count. What a few joints cannot tell stays as
stated: a scatter is believed as far as there are joints to show it.
"""

from dataclasses import dataclass

import numpy as np

_LAGS = (1, 2, 3, 4, 6, 8)
_SCALE = 0.6744897501960817 * np.sqrt(2)  # median of the absolute difference of two standard normals
_CORRELATIONS = np.arange(0.0, 0.96, 0.05)
_CORRELATION, _WORTH = 0.3, 25.0  # what is taken for the correlation before any joint is seen, and how many it is worth
_LEAST = 0.3  # of the stated spread


@dataclass(frozen=True)
class Noise:
    """By group of fixes: true spread over stated one, and correlation of the errors of neighbours; shapes (groups,)."""

    factor: np.ndarray
    correlation: np.ndarray


def noise(values: np.ndarray, sd: np.ndarray, piece: np.ndarray, group: np.ndarray, *, groups: int) -> Noise:
    """Estimate the noise of each group.

    `values` has shape (k, n): k series along the same n entries whose slow part does not matter (NaN: no fix), `sd`
    (n,) the stated spread, `piece` the piece and `group` the group of each entry.
    """
    grown = np.full((groups, len(_LAGS)), np.nan)
    for j, lag in enumerate(_LAGS):
        if lag >= len(piece):
            break
        same = (piece[lag:] == piece[:-lag]) & (group[lag:] == group[:-lag])
        spread = np.hypot(sd[lag:], sd[:-lag])
        apart = (values[:, lag:] - values[:, :-lag]) / (spread / np.sqrt(2))
        for g in range(groups):
            told = apart[:, same & (group[lag:] == g)]
            told = told[:, np.isfinite(told).all(axis=0)]
            if told.size >= 2 * len(values):
                middle = np.median(told, axis=1, keepdims=True)  # what every step has in common is no noise
                grown[g, j] = (np.median(np.abs(told - middle)) / _SCALE) ** 2
    many = np.bincount(group[np.isfinite(values[0])], minlength=groups).astype(float)
    fitted = [_fit(g, n) for g, n in zip(grown, many, strict=True)]
    return Noise(np.array([f for f, _ in fitted]), np.array([r for _, r in fitted]))


def _fit(grown: np.ndarray, many: float) -> tuple[float, float]:
    """Fit f² (1 - r^h) to how the differences grow, and mix it with what is taken before."""
    known = np.isfinite(grown)
    if not known.any():
        return 1.0, _CORRELATION
    lags, seen = np.array(_LAGS)[known], grown[known]
    shape = 1 - _CORRELATIONS[:, None] ** lags
    size = (shape * seen).sum(axis=1) / (shape**2).sum(axis=1)
    lack = ((size[:, None] * shape - seen) ** 2).sum(axis=1)
    best = int(np.argmin(lack)) if len(lags) > 2 else int(np.argmin(np.abs(_CORRELATIONS - _CORRELATION)))
    share = many / (many + _WORTH)
    correlation = share * _CORRELATIONS[best] + (1 - share) * _CORRELATION
    told = many * (1 - correlation) / (1 + correlation)
    factor = np.sqrt((told * size[best] + _WORTH) / (told + _WORTH))
    return float(max(factor, _LEAST)), float(correlation)
