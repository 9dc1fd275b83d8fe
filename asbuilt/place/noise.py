"""How far fixes really scatter, and how much the errors of neighbours have in common, from the fixes themselves.

Differences between joints of one piece a few steps apart hold no level and no offset, only noise: they grow with the
steps between the two as f² (1 - r^h), f being the true spread over the stated one and r the correlation of
neighbours. Medians, so that pups and blunders do not count. Where the level rises and stays there, as at a joint that
another machine made, no difference is taken across: of those eight steps apart it would be every second one, which no
median bears. What a few joints cannot tell stays as stated: a scatter is believed as far as there are joints to show
it.
"""

from dataclasses import dataclass

import numpy as np

_LAGS = (1, 2, 3, 4, 6, 8)
_SCALE = 0.6744897501960817 * np.sqrt(2)  # median of the absolute difference of two standard normals
_CORRELATIONS = np.arange(0.0, 0.96, 0.05)
_CORRELATION, _WORTH = 0.3, 25.0  # what is taken for the correlation before any joint is seen, and how many it is worth
_LEAST = 0.3  # of the stated spread
_SIDE = 3  # joints on either side of a step: their medians tell it from a blunder
_FAR = 9  # joints farther on a rise that is no noise is still there: walls and trees pull fewer
_STEP = 4.5  # spreads of such medians apart: a step of the level, no noise
_QUIET, _OF_QUIET = 0.25, 0.31863936396437514  # a quantile of absolute values, and that of standard normals


@dataclass(frozen=True)
class Noise:
    """By group of fixes: true spread over stated one, and correlation of the errors of neighbours; shapes (groups,)."""

    factor: np.ndarray
    correlation: np.ndarray


def noise(values: np.ndarray, sd: np.ndarray, piece: np.ndarray, group: np.ndarray, *, groups: int) -> Noise:
    """Estimate the noise of each group.

    `values` has shape (k, n): k series along the same n entries whose slow part does not matter (NaN: no fix), the
    first of them the level, which missing records raise; `sd` (n,) the stated spread, `piece` the piece (in rising
    order) and `group` the group of each entry.
    """
    grown, pairs = np.full((groups, len(_LAGS)), np.nan), np.zeros((groups, len(_LAGS)))
    piece = _parted(values[0], piece, group)
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
                pairs[g, j] = told.shape[1]
    many = np.bincount(group[np.isfinite(values[0])], minlength=groups).astype(float)
    fitted = [_fit(*of) for of in zip(grown, pairs, many, strict=True)]
    return Noise(np.array([f for f, _ in fitted]), np.array([r for _, r in fitted]))


def _parted(level: np.ndarray, piece: np.ndarray, group: np.ndarray) -> np.ndarray:
    """Return pieces that end wherever the level rises and stays there, shape (n,)."""
    begins = np.diff(piece, prepend=piece[:1]) != 0
    at = np.flatnonzero(np.isfinite(level))
    if len(at) >= 2 * _SIDE:
        begins[at[_rises(level[at], piece[at], group[at])]] = True
    return np.cumsum(begins)


def _rises(level: np.ndarray, piece: np.ndarray, group: np.ndarray) -> np.ndarray:
    """Return which entries stand on a higher level than those before, as numbers; all of them have a fix."""
    sides = np.median(np.lib.stride_tricks.sliding_window_view(level, _SIDE), axis=1)
    at = np.arange(_SIDE, len(level) - _SIDE + 1)  # the first entry behind
    at = at[piece[at - _SIDE] == piece[at + _SIDE - 1]]
    rise = sides[at] - sides[at - _SIDE]
    high = np.zeros(len(at), dtype=bool)
    for g in np.unique(group[at]):
        own = group[at] == g
        away = rise[own] - np.median(rise[own])
        high[own] = away > _STEP * np.quantile(np.abs(away), _QUIET) / _OF_QUIET
    clear = np.zeros(len(level), dtype=bool)
    clear[at] = high & _lasts(sides, at, rise, piece)
    # medians see a step from a joint away as well: it is where neighbours lie farthest apart
    height = np.where(clear, np.diff(level, prepend=level[0]), 0.0)
    near = np.lib.stride_tricks.sliding_window_view(np.pad(height, _SIDE // 2), _SIDE).max(axis=1)
    return np.flatnonzero((height > 0) & (height == near))


def _lasts(sides: np.ndarray, at: np.ndarray, rise: np.ndarray, piece: np.ndarray) -> np.ndarray:
    """Whether most of a rise is there farther on as well, and was not there farther back.

    A missing record lifts all that follows; a wall or trees pull some fixes, and what they share is noise.
    """
    first = np.searchsorted(piece, piece[at])
    last = np.searchsorted(piece, piece[at], side="right") - _SIDE
    before, behind = np.maximum(at - _SIDE - _FAR, first), np.minimum(at + _FAR, last)
    return np.minimum(sides[behind] - sides[at - _SIDE], sides[at] - sides[before]) > rise / 2


def _fit(grown: np.ndarray, pairs: np.ndarray, many: float) -> tuple[float, float]:
    """Fit f² (1 - r^h) to how the differences of so many pairs grow, and mix it with what is taken before."""
    known = np.isfinite(grown)
    if not known.any():
        return 1.0, _CORRELATION
    lags, seen, worth = np.array(_LAGS)[known], grown[known], pairs[known]
    shape = 1 - _CORRELATIONS[:, None] ** lags
    size = (worth * shape * seen).sum(axis=1) / (worth * shape**2).sum(axis=1)
    lack = (worth * (size[:, None] * shape - seen) ** 2).sum(axis=1)
    best = int(np.argmin(lack)) if len(lags) > 2 else int(np.argmin(np.abs(_CORRELATIONS - _CORRELATION)))
    share = many / (many + _WORTH)
    correlation = share * _CORRELATIONS[best] + (1 - share) * _CORRELATION
    told = many * (1 - correlation) / (1 + correlation)
    factor = np.sqrt((told * size[best] + _WORTH) / (told + _WORTH))
    return float(max(factor, _LEAST)), float(correlation)
