"""How far fixes really scatter, and how much the errors of neighbours have in common, from the fixes themselves.

Differences between joints of one piece a few steps apart hold no level and no offset, only noise: they grow with the
steps between the two as f² (1 - r^h), f being the true spread over the stated one and r the correlation of
neighbours. Medians, so that pups and blunders do not count. Where the level rises and stays there, as at a joint that
another machine made, no difference is taken across: of those eight steps apart it would be every second one, which no
median bears. Levels hold how sticks differ as well, and offsets how the pipe was laid off the line. Neither is noise:
offsets that scatter clearly more than levels are left out, and of what sticks may have made of a level's scatter none
is held against the fixes. What a few joints cannot tell stays as stated: a scatter is believed as far as there are
joints to show it.
"""

from dataclasses import dataclass

import numpy as np

_LAGS = (1, 2, 3, 4, 6, 8)
_SCALE = 0.6744897501960817 * np.sqrt(2)  # median of the absolute difference of two standard normals
_NO_SCATTER = 1e-9  # of what fixes state, as a variance: less is none
_CORRELATIONS = np.arange(0.0, 0.96, 0.05)
_CORRELATION, _WORTH = 0.3, 25.0  # what is taken for the correlation before any joint is seen, and how many it is worth
_LEAST = 0.3  # of the stated spread
_SIDE = 3  # joints on either side of a step: their medians tell it from a blunder
_FAR = 9  # joints farther on a rise that is no noise is still there: walls and trees pull fewer
_STEP = 4.5  # spreads of such medians apart: a step of the level, no noise
_CHANCE, _CLEAR = 2.0, 3.0  # standard deviations by which offsets may scatter more than levels; then they do
_SHORT = 3  # of the lags, the first ones: those tell most
_KNOWS = 0.25  # a median absolute difference is worth 0.37 of as many squares, and those of neighbours share a fix
_BY_STICKS = 0.25  # of what is seen: where sticks may have made so much fixes may be far better than it shows
_QUIET, _OF_QUIET = 0.25, 0.31863936396437514  # a quantile of absolute values, and that of standard normals


@dataclass(frozen=True)
class Noise:
    """By group of fixes: true spread over stated one, and correlation of the errors of neighbours; shapes (groups,)."""

    factor: np.ndarray
    correlation: np.ndarray


def noise(
    values: np.ndarray, sd: np.ndarray, piece: np.ndarray, group: np.ndarray, *, groups: int, stick_sd: float = 0.0
) -> Noise:
    """Estimate the noise of each group.

    `values` has shape (k, n): k series along the same n entries whose slow part does not matter (NaN: no fix), the
    first of them the level, which missing records raise; `sd` (n,) the stated spread, `piece` the piece (in rising
    order) and `group` the group of each entry. By `stick_sd` sticks differ, so that levels walk.
    """
    seen = _differences(values, sd, _parted(values[0], piece, group), group, groups=groups)
    many = np.bincount(group[np.isfinite(values[0])], minlength=groups).astype(float)
    spread = np.array([_typical(sd[(group == g) & np.isfinite(values[0])]) for g in range(groups)])
    sticks = (stick_sd / spread[:, None]) ** 2 * np.array(_LAGS) / 2
    laid = np.array([[_laid_off(*of)] for of in zip(seen.each, sticks, seen.pairs, strict=True)])
    grown = laid * seen.each[:, 0] + (1 - laid) * seen.grown
    sticks *= laid + (1 - laid) / len(values)  # the other series hold none
    fitted = [_fit(*of) for of in zip(grown, sticks, seen.pairs, many, strict=True)]
    return Noise(np.array([f for f, _ in fitted]), np.array([r for _, r in fitted]))


@dataclass(frozen=True)
class _Seen:
    """How differences grow with the steps between two: of all series, of `each`, (groups, k, lags); pairs of each."""

    grown: np.ndarray
    each: np.ndarray
    pairs: np.ndarray


def _differences(values: np.ndarray, sd: np.ndarray, piece: np.ndarray, group: np.ndarray, *, groups: int) -> _Seen:
    grown, pairs = np.full((groups, len(_LAGS)), np.nan), np.zeros((groups, len(_LAGS)))
    each = np.full((groups, len(values), len(_LAGS)), np.nan)
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
                each[g, :, j] = (np.median(np.abs(told - middle), axis=1) / _SCALE) ** 2
                pairs[g, j] = told.shape[1]
    return _Seen(grown, each, pairs)


def _typical(sd: np.ndarray) -> float:
    return float(np.median(sd)) if len(sd) else np.inf


def _laid_off(each: np.ndarray, sticks: np.ndarray, pairs: np.ndarray) -> float:
    """Return how clearly offsets, in `each` (k, lags) behind the level, show more than it, from 0 to 1: the pipe's own.

    More than it without what `sticks` may have made of it; gradually, so that no single fix decides which of the two
    is believed.
    """
    known = np.isfinite(each[0, :_SHORT])
    if not known.any() or len(each) < 2:
        return 0.0
    level, offset = (each[0] - sticks)[:_SHORT][known].mean(), each[1:, :_SHORT][:, known].mean()
    if level <= 0 or offset <= 0:
        return float(offset > level)
    chance = np.sqrt(2 * 2 / (_KNOWS * pairs[:_SHORT][known].max()))  # of the logarithm of their ratio
    return float(np.clip((np.log(offset / level) / chance - _CHANCE) / (_CLEAR - _CHANCE), 0.0, 1.0))


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


def _fit(grown: np.ndarray, sticks: np.ndarray, pairs: np.ndarray, many: float) -> tuple[float, float]:
    """Fit f² (1 - r^h) to how the differences of so many pairs grow, and mix it with what is taken before.

    `sticks` is what these may have made of it: between all of it and what sticks leave the variance is taken that is
    nearest to the stated one. Where sticks may have made much of it fixes may be better than it shows: they are taken
    by their word unless what is left is more.
    """
    known = np.isfinite(grown)
    if not known.any():
        return 1.0, _CORRELATION
    lags, seen, worth, sticks = np.array(_LAGS)[known], grown[known], pairs[known], sticks[known]
    sizes, lack = _curves(lags, seen, worth)
    usual = int(np.argmin(np.abs(_CORRELATIONS - _CORRELATION)))
    by_sticks = sticks.sum() > _BY_STICKS * seen.sum()  # a walk of levels looks as if errors went together
    best = usual if by_sticks or len(lags) <= 2 else int(np.argmin(lack))
    # what sticks made is as unsure as it is large, and long reaches have most of it
    first = max(seen[0], _NO_SCATTER)  # fixes may repeat the levels to the millimetre
    left = max(1.0, float(_curves(lags, seen - sticks, worth / (1 + sticks / first) ** 2)[0][best]))
    variance = left if by_sticks else min(left, float(sizes[best]))
    share = many / (many + _WORTH)
    correlation = share * _CORRELATIONS[best] + (1 - share) * _CORRELATION
    told = many * (1 - correlation) / (1 + correlation)
    factor = np.sqrt((told * variance + _WORTH) / (told + _WORTH))
    return float(max(factor, _LEAST)), float(correlation)


def _curves(lags: np.ndarray, seen: np.ndarray, worth: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return for each of the correlations the variance f² that suits how differences grow, and how ill it suits."""
    shape = 1 - _CORRELATIONS[:, None] ** lags
    size = (worth * shape * seen).sum(axis=1) / (worth * shape**2).sum(axis=1)
    return size, (worth * (size[:, None] * shape - seen) ** 2).sum(axis=1)
