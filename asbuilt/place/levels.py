"""How many records are missing between neighbours, and which fixes are blunders, from a hidden level.

The level of a joint is its chainage less the tally before it. It stays where it is from joint to joint, rises by whole
sticks where records are missing, and falls by less than one where a shorter pipe was used. A forward and a backward
pass over a grid of levels give each joint the probability of every level in the light of the whole piece, errors of
neighbours being related; rounding each step by itself gives hundreds of false gaps at 6 m of noise. A fix that suits
no level is a blunder: it costs the same wherever the joint lies.
"""

from dataclasses import dataclass

import numpy as np

from asbuilt.place.blocks import Blocks, blocks

CELLS = 8  # of the grid to a stick
_GRID = 5 * CELLS + 1  # five sticks about the running median
_OFFSETS = np.arange(_GRID) - _GRID // 2
NONE, SHORTER, ANY = 0, 4, 5  # columns of the prior; 1, 2 and 3: so many records are missing
_FALLS = CELLS - 1  # cells: a pipe is no shorter than one of them
_DRIFT = 0.002  # of a cell either way for each step: sticks differ, and a string has a scale
_FAR_M = 200.0  # a blunder lies anywhere within so much
_WIDTH = 9  # joints of the running median


@dataclass(frozen=True)
class Chain:
    """Entries of pieces, one piece after the other; shapes (n,) but `prior`.

    `level_m` is chainage by the fix less the tally (NaN: no fix), `sd_m` of the fix, `correlation` with the error of
    the entry before, `head` begins a piece, `prior` of shape (n, 6) the chances of the step from the entry before,
    `blunder` the chance of each fix to be one.
    """

    level_m: np.ndarray
    sd_m: np.ndarray
    correlation: np.ndarray
    head: np.ndarray
    prior: np.ndarray
    blunder: np.ndarray


@dataclass(frozen=True)
class Levels:
    """`share` of shape (n, cells) is the probability of each level, `cell` (n,) the number of its first column.

    A cell is `stick / CELLS` metres; `likeliest` (n,) is the likeliest level in cells, `blunder` (n,) the probability
    that the fix is one.
    """

    share: np.ndarray
    cell: np.ndarray
    likeliest: np.ndarray
    blunder: np.ndarray


def levels(chain: Chain, *, stick_m: float) -> Levels:
    """Return the levels of a chain."""
    size = stick_m / CELLS
    middle = np.rint(running_median(chain.level_m, chain.head) / size).astype(np.int64)
    density, alone = _densities(chain, middle * size, stick_m)
    share = _passes(_Chances(density, alone, middle, chain.head, chain.prior), blocks(len(middle)))
    floor = np.where(np.isfinite(chain.level_m), chain.blunder / _FAR_M, 0.0)
    blunder = (share * (floor[:, None] / alone)).sum(axis=1)
    first = middle + _OFFSETS[0]
    return Levels(share, first, first + share.argmax(axis=1), blunder)


def running_median(level: np.ndarray, head: np.ndarray) -> np.ndarray:
    """Return the running median within each piece, shape (n,): a missing record is an edge that it keeps."""
    half, piece = _WIDTH // 2, np.cumsum(head) - 1
    at = np.arange(len(level)) + half * (piece + 1)
    padded = np.full(len(level) + half * (piece[-1] + 2), np.nan)
    padded[at] = level
    window = np.sort(np.lib.stride_tricks.sliding_window_view(padded, _WIDTH)[at - half], axis=1)
    count = np.isfinite(window).sum(axis=1)
    median = window[np.arange(len(level)), np.maximum(count - 1, 0) // 2]
    return np.nan_to_num(median[_nearest_known(np.isfinite(median), head)])


def _nearest_known(known: np.ndarray, head: np.ndarray) -> np.ndarray:
    """Return for each entry the last known one of its piece, or the next where none comes before, shape (n,)."""
    at = np.arange(len(known))
    begin = np.maximum.accumulate(np.where(head, at, 0))
    last = np.maximum.accumulate(np.where(known, at, -1))
    following = np.minimum.accumulate(np.where(known, at, len(known) - 1)[::-1])[::-1]
    return np.where(last >= begin, last, following)


def _densities(chain: Chain, middle_m: np.ndarray, stick_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the density of each fix at each level, blunders mixed in, shapes (n, 4, cells) and (n, cells).

    The first knows the error of the entry before, if 0 to 3 records are missing between the two; the second stands
    alone. Spreads finer than the grid are widened to it: they tell whole sticks apart all the same.
    """
    size = stick_m / CELLS
    spread = np.maximum(chain.sd_m, 0.6 * size)
    has = np.isfinite(chain.level_m)
    error = np.nan_to_num(chain.level_m - middle_m)[:, None] - _OFFSETS * size
    before = np.insert(chain.level_m[:-1], 0, np.nan)
    related = np.where(np.isfinite(before) & ~chain.head, chain.correlation, 0.0)
    fresh = spread * np.sqrt(1 - related**2)
    shared = error - related[:, None] * (np.nan_to_num(before - middle_m)[:, None] - _OFFSETS * size)
    density = np.stack([_normal(shared - (related * k * stick_m)[:, None], fresh) for k in range(4)], axis=1)
    alone = _normal(error, spread)
    good, floor = 1 - chain.blunder, chain.blunder / _FAR_M
    density = good[:, None, None] * density + floor[:, None, None]
    alone = good[:, None] * alone + floor[:, None]
    density[~has], alone[~has] = 1.0, 1.0
    return density, alone


def _normal(x: np.ndarray, sd: np.ndarray) -> np.ndarray:
    return np.asarray(np.exp(-0.5 * (x / sd[:, None]) ** 2) / (np.sqrt(2 * np.pi) * sd[:, None]))


@dataclass(frozen=True)
class _Chances:
    """What the passes need of each entry: densities, window of levels, where pieces begin, chances of the step."""

    density: np.ndarray
    alone: np.ndarray
    middle: np.ndarray
    head: np.ndarray
    prior: np.ndarray


def _passes(chances: _Chances, cut: Blocks) -> np.ndarray:
    """Return the probability of each level of each entry in the light of all others, shape (n, cells)."""
    ahead = np.empty((*cut.entry.shape, _GRID))
    share = chances.alone[cut.entry[0]]
    for t, entry in enumerate(cut.entry):
        if t:
            share = _onward(share, chances, entry, entry_before=cut.entry[t - 1])
        begins = chances.head[entry] | cut.outside[t]
        share[begins] = chances.alone[entry[begins]]
        share /= share.sum(axis=1, keepdims=True)
        ahead[t] = share
    back = np.ones_like(share)
    for t in range(len(cut.entry) - 1, 0, -1):
        ahead[t] *= back
        entry = cut.entry[t]
        back = _backward(back, chances, entry, entry_before=cut.entry[t - 1])
        back[chances.head[entry] | cut.outside[t] | cut.outside[t - 1]] = 1.0
        back /= back.sum(axis=1, keepdims=True)
    ahead[0] *= back
    both = cut.middle(ahead)
    return np.asarray(both / both.sum(axis=1, keepdims=True))


def _onward(share: np.ndarray, chances: _Chances, entry: np.ndarray, *, entry_before: np.ndarray) -> np.ndarray:
    """Carry the shares of the entries before to these entries, each step at its chance."""
    chance, density, alone = chances.prior[entry], chances.density[entry], chances.alone[entry]
    here = _moved(share, chances.middle[entry] - chances.middle[entry_before])
    out = density[:, NONE] * (chance[:, NONE, None] * _drifted(here))
    for k in (1, 2, 3):
        out[:, k * CELLS :] += density[:, k, k * CELLS :] * (chance[:, k, None] * here[:, : -k * CELLS])
    above = np.cumsum(here[:, ::-1], axis=1)[:, ::-1]
    fell = above - here
    fell[:, :-CELLS] -= above[:, CELLS:]
    loose = chance[:, SHORTER, None] / _FALLS * fell + chance[:, ANY, None] / _GRID
    return np.asarray(out + alone * np.maximum(loose, 0.0))


def _backward(back: np.ndarray, chances: _Chances, entry: np.ndarray, *, entry_before: np.ndarray) -> np.ndarray:
    """Carry what comes after these entries to the entries before."""
    chance, density, alone = chances.prior[entry], chances.density[entry], chances.alone[entry]
    out = chance[:, NONE, None] * _drifted(density[:, NONE] * back)
    for k in (1, 2, 3):
        out[:, : -k * CELLS] += (chance[:, k, None] * density[:, k] * back)[:, k * CELLS :]
    loose = alone * back
    below = np.cumsum(loose, axis=1)
    fell = below - loose
    fell[:, CELLS:] -= below[:, :-CELLS]
    out += chance[:, SHORTER, None] / _FALLS * np.maximum(fell, 0.0)
    out = _moved(out, chances.middle[entry_before] - chances.middle[entry])
    return np.asarray(out + chance[:, ANY, None] / _GRID * loose.sum(axis=1, keepdims=True))


def _drifted(share: np.ndarray) -> np.ndarray:
    out = (1 - 2 * _DRIFT) * share
    out[:, 1:] += _DRIFT * share[:, :-1]
    out[:, :-1] += _DRIFT * share[:, 1:]
    return out


def _moved(share: np.ndarray, by: np.ndarray) -> np.ndarray:
    """Return the shares as a window sees them that lies so many cells higher; what it does not see is lost."""
    seen = np.arange(_GRID) + by[:, None]
    inside = (seen >= 0) & (seen < _GRID)
    return np.where(inside, np.take_along_axis(share, np.clip(seen, 0, _GRID - 1), axis=1), 0.0)
