"""How many records are missing between neighbours, and which fixes are blunders, from a hidden level.

The level of a joint is its chainage less the tally before it. It stays where it is from joint to joint, rises by whole
sticks where records are missing, and falls by less than one where a shorter pipe was used. A forward and a backward
pass over a grid of levels give each joint the probability of every level in the light of the whole piece, errors of
neighbours being related; rounding each step by itself gives hundreds of false gaps at 6 m of noise. A fix that suits
no level is a blunder: it costs the same wherever the joint lies.

The passes go along all blocks at once, in single precision; levels lie along the first axis and blocks along the last,
so that a shift by so many levels is a slice.
"""

from dataclasses import dataclass

import numpy as np

from asbuilt.place.blocks import Blocks, blocks

CELLS = 8  # of the grid to a stick
_GRID = 5 * CELLS + 1  # five sticks about the running median
_OFFSETS = np.arange(_GRID) - _GRID // 2
NONE, SHORTER, ANY = 0, 4, 5  # columns of the prior; 1, 2 and 3: so many records are missing
_MISSING = (1, 2, 3)
_FALLS = CELLS - 1  # cells: a pipe is no shorter than one of them
_DRIFT = 0.002  # of a cell either way for each step: sticks differ, and a string has a scale
_FAR_M = 200.0  # a blunder lies anywhere within so much
_WIDTH = 9  # joints of the running median
_AT_ONCE = 192  # blocks that a pass takes along together: what it works on stays near the processor
_PAD = _MISSING[-1] * CELLS  # cells without weight on either side of a window, for steps that leave it
_WINDOW = slice(_PAD, _PAD + _GRID)
_ROWS = np.arange(_PAD, _PAD + _GRID)[:, None]
_LEVELS = _OFFSETS.astype(np.float32)[:, None]
_LEAST = 1e-20  # a chance is no smaller, so that a joint that suits nothing still has a level in single precision
_DEEP = np.float32(-80)  # the exponential of less says nothing, and costs four times as much


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
    middle = np.rint(running_median(chain.level_m, chain.head) / (stick_m / CELLS)).astype(np.int64)
    fits = _fits(chain, middle * (stick_m / CELLS), stick_m)
    cut = blocks(len(middle))
    parts = [_passes(_part(fits, chain.head, middle, part)) for part in cut.parts(_AT_ONCE)]
    share, blunder = (np.concatenate([part[i] for part in parts]) for i in (0, 1))
    first = middle + _OFFSETS[0]
    return Levels(share, first, first + share.argmax(axis=1), np.where(np.isfinite(chain.level_m), blunder, 0.0))


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


@dataclass(frozen=True)
class _Fits:
    """How each fix suits each level: exp(log_peak - (slope * offset - away)²) + floor, each of shape (5, n).

    Rows are the steps to the entry, NONE to SHORTER, and hold their chances. The first four know the error of the entry
    before, the last stands alone; `floor` is what a blunder has. `anything` (n,) is how much likelier than by a fall of
    so many cells a level is out of the blue.
    """

    log_peak: np.ndarray
    away: np.ndarray
    slope: np.ndarray
    floor: np.ndarray
    anything: np.ndarray

    @property
    def each(self) -> tuple[np.ndarray, ...]:
        """All of them, in this order."""
        return self.log_peak, self.away, self.slope, self.floor, self.anything


def _fits(chain: Chain, middle_m: np.ndarray, stick_m: float) -> _Fits:
    """Spreads finer than the grid are widened to it: they tell whole sticks apart all the same."""
    size, has = stick_m / CELLS, np.isfinite(chain.level_m)
    before = np.insert(chain.level_m[:-1], 0, np.nan)
    related = np.where(np.isfinite(before) & ~chain.head, chain.correlation, 0.0)
    error = np.nan_to_num(chain.level_m - middle_m)
    shared = error - related * np.nan_to_num(before - middle_m)
    away = np.stack([*(shared - related * k * stick_m for k in (NONE, *_MISSING)), error])
    alone = np.maximum(chain.sd_m, 0.6 * size)
    spread = np.sqrt(2) * np.stack([alone * np.sqrt(1 - related**2)] * 4 + [alone])
    slope = size * np.stack([1 - related] * 4 + [np.ones_like(related)])
    chance = np.maximum(chain.prior.T, _LEAST)
    chance[NONE] *= 1 - 2 * _DRIFT
    chance[SHORTER] /= _FALLS
    peak = np.where(has, chance[:ANY] * (1 - chain.blunder), 0.0) / (np.sqrt(np.pi) * spread)
    floor = np.maximum(chance[:ANY] * np.where(has, chain.blunder / _FAR_M, 1.0), _LEAST)
    anything = chance[ANY] / _GRID / chance[SHORTER]
    all_ = (np.log(np.maximum(peak, _LEAST)), away / spread, slope / spread, floor, anything)
    return _Fits(*(of.astype(np.float32) for of in all_))


@dataclass(frozen=True)
class _Part:
    """What the passes need of some blocks side by side; arrays of `fits` end in (steps, blocks), the others have it.

    `moves` says by how many cells the window lies higher than at the step before, `begins` whether a piece begins.
    """

    cut: Blocks
    fits: _Fits
    moves: np.ndarray
    begins: np.ndarray

    def density(self, t: int, out: np.ndarray) -> np.ndarray:
        """Return the density of each fix of a step at each level, shape (5, cells, blocks); see `_Fits`."""
        log_peak, away, slope, floor = (of[:, t, None] for of in self.fits.each[:4])
        np.multiply(slope, _LEVELS, out=out)
        out -= away
        out *= out
        np.subtract(log_peak, out, out=out)
        np.maximum(out, _DEEP, out=out)
        np.exp(out, out=out)
        out += floor
        return out


def _part(fits: _Fits, head: np.ndarray, middle: np.ndarray, cut: Blocks) -> _Part:
    begins = head[cut.entry] | cut.outside
    begins[0] = True
    moves = np.where(begins, 0, np.diff(middle[cut.entry], axis=0, prepend=0))
    return _Part(cut, _Fits(*(np.take(of, cut.entry, axis=-1) for of in fits.each)), moves, begins)


def _passes(part: _Part) -> tuple[np.ndarray, np.ndarray]:
    """Return the probability of each level of each entry in the light of all others, (n, cells), and of a blunder."""
    core, width = part.cut.core, part.begins.shape[1]
    density = np.empty((5, _GRID, width), np.float32)
    seen = np.zeros((_PAD + _GRID + _PAD, width), np.float32)
    coming = np.zeros((5, *seen.shape), np.float32)
    share = np.empty((len(core), _GRID, width), np.float32)
    doubt = np.empty((len(core), width), np.float32)
    for t in range(core.stop):
        _onward(seen, part, t, part.density(t, density))
        if t in core:
            share[t - core.start] = seen[_WINDOW]
    seen[_WINDOW] = 1.0
    for t in range(len(part.begins) - 1, core.start - 1, -1):
        part.density(t, density)
        if t in core:
            both = share[t - core.start]
            both *= seen[_WINDOW]
            both /= both.sum(axis=0)
            doubt[t - core.start] = (both / density[SHORTER]).sum(axis=0)
        np.multiply(density, seen[_WINDOW], out=coming[:, _WINDOW])
        _backward(seen, part, t, coming)
    return part.cut.along(share.swapaxes(1, 2)), part.cut.along(doubt * part.fits.floor[SHORTER, core])


def _onward(share: np.ndarray, part: _Part, t: int, density: np.ndarray) -> None:
    """Carry the shares of the entries before to these entries."""
    _move(share, part.moves[t])
    out = _fallen(share, 1)
    out += part.fits.anything[t]
    out *= density[SHORTER]
    for k in _MISSING:
        out += density[k] * _seen(share, -k * CELLS)
    out += density[NONE] * _drifted(share)
    (begins,) = part.begins[t].nonzero()
    if len(begins):
        out[:, begins] = density[SHORTER][:, begins]
    np.divide(out, out.sum(axis=0), out=share[_WINDOW])


def _backward(back: np.ndarray, part: _Part, t: int, coming: np.ndarray) -> None:
    """Carry what comes after these entries, times their own density, to the entries before."""
    out = _fallen(coming[SHORTER], -_FALLS)
    for k in _MISSING:
        out += _seen(coming[k], k * CELLS)
    out += _drifted(coming[NONE])
    back[_WINDOW] = out
    _move(back, -part.moves[t])
    out = back[_WINDOW] + part.fits.anything[t] * coming[SHORTER].sum(axis=0)
    (begins,) = part.begins[t].nonzero()
    if len(begins):
        out[:, begins] = 1.0
    np.divide(out, out.sum(axis=0), out=back[_WINDOW])


def _seen(rows: np.ndarray, by: int) -> np.ndarray:
    """Return the window of rows with their margins, so many cells higher."""
    return rows[_PAD + by : _PAD + by + _GRID]


def _drifted(rows: np.ndarray) -> np.ndarray:
    out = _seen(rows, 1) + _seen(rows, -1)
    out *= _DRIFT / (1 - 2 * _DRIFT)
    out += _seen(rows, 0)
    return out


def _fallen(rows: np.ndarray, first: int) -> np.ndarray:
    """Return the sum over all falls: of seven cells in a row, of which the first lies so many higher."""
    pair = rows[_PAD + first : _PAD + first + _GRID + 5] + rows[_PAD + first + 1 : _PAD + first + _GRID + 6]
    out = pair[:_GRID] + pair[2 : 2 + _GRID]
    out += pair[4 : 4 + _GRID]
    out += _seen(rows, first + 6)
    return out


def _move(rows: np.ndarray, by: np.ndarray) -> None:
    """Let the window of each block see levels so many cells higher; what it does not see is lost."""
    (at,) = by.nonzero()
    if len(at):
        rows[_WINDOW, at] = rows[np.minimum(np.maximum(_ROWS + by[at], 0), len(rows) - 1), at]
