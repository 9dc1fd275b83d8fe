"""Pieces on their way to adjusted chainages: how fixes scatter, where records are missing, then least squares."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from asbuilt.place.adjust import Adjusted, Observed, adjust
from asbuilt.place.closures import closures, strangers
from asbuilt.place.levels import CELLS, Chain, Levels, levels, running_median
from asbuilt.place.links import TIMED, Paths
from asbuilt.place.noise import Noise, noise
from asbuilt.place.pieces import NO_PIECE, Fixes, Pieces
from asbuilt.place.priors import chances, with_shorter

_BLUNDER = 0.005  # of all fixes are blunders, before one is looked at
_DOUBTFUL, _ODD = 0.1, 3.5  # from this probability, or so many standard deviations off, a fix is a doubtful neighbour
_CERTAIN = 0.5  # from this probability on a fix is taken for one
_SAME = 2  # cells: levels so near to whole sticks apart are whole sticks apart
_APART = 1  # cells: what is farther from the likeliest level is another level
_OFTEN, _UNSEEN = 0.015, 2.0  # from such a share of short pipes on one looks again, for as many again unseen
_BROAD = 1.5  # offsets scatter by so much more than fixes: pipes are laid off the line
_RELATED = 1.86  # (1 + r) / (1 - r): so many fixes count as one where neighbours correlate by 0.3
_RULE = 6  # joints of a piece make a rule
_SMALL = 1e-6


@dataclass(frozen=True)
class Sticks:
    """What is known of sticks, and how far off the line they may be laid (metres; scale as a share)."""

    stick_m: float
    stick_sd_m: float
    scale_sd: float
    offset_m: float


@dataclass(frozen=True)
class Placed:
    """Entries of the pieces, one piece after the other; shapes (n,).

    `entry` among the paths, `at_m` the adjusted chainage and its `sd_m`, `pipe_m` the length of the pipe from the entry
    before and `step_sd_m` of that step, `missing` records between the two, `used` whether the fix has a say,
    `strange_m` how far an as-laid shot lies from where all else puts the joint, if that is too far (else 0).
    """

    entry: np.ndarray
    head: np.ndarray
    piece: np.ndarray
    at_m: np.ndarray
    sd_m: np.ndarray
    pipe_m: np.ndarray
    step_sd_m: np.ndarray
    missing: np.ndarray
    used: np.ndarray
    strange_m: np.ndarray
    levels: Levels
    noise: Noise
    scale: np.ndarray
    scale_sd: np.ndarray


@dataclass(frozen=True)
class Around:
    """What else is known of the entries of the paths, shapes (n,).

    Offset of the fix, its group, kind, is it a shot; and by how much (one sd) a cut shortens the pipes beside it.
    """

    offset_m: np.ndarray
    group: np.ndarray
    is_fitting: np.ndarray
    surveyed: np.ndarray
    cut_sd_m: np.ndarray


@dataclass(frozen=True)
class _Prepared:
    """Entries on their way, shapes (n,): `at` along each piece in its own direction, and what the levels are told.

    `cut` marks steps whose pipe was cut to fit, as at a fitting, and whose length nobody states.
    """

    entry: np.ndarray
    way: np.ndarray
    at: np.ndarray
    step: np.ndarray
    cut: np.ndarray
    chain: Chain
    noise: Noise


def place_pieces(walk: Paths, parted: Pieces, fixes: Fixes, around: Around, sticks: Sticks) -> Placed:
    """Adjust every piece that has a fix. Entries of no piece, or of one without a fix, are left out."""
    if not parted.used.any():
        return _nothing(around)
    on, found = _looked_at(walk, parted, fixes, around, sticks)
    head, piece = on.chain.head, parted.piece[on.entry]
    missing, step, step_sd = _told(found, on.step, head, sticks)
    step_sd = np.where(on.cut, np.maximum(step_sd, sticks.stick_m / 2), step_sd)
    step_sd = np.hypot(step_sd, np.hypot(around.cut_sd_m[on.entry], np.roll(around.cut_sd_m[on.entry], 1)))
    used = np.isfinite(on.at) & (found.blunder < _CERTAIN)
    used |= np.isfinite(on.at) & ~np.isin(piece, piece[used])  # where every fix looks like a blunder none is
    at = np.where(used, on.at, np.nan)
    closed = closures(at, on.chain.sd_m, step, step_sd, head=head, scale_sd=sticks.scale_sd)
    used &= ~closed.at_fault
    at[closed.at_fault] = np.nan
    observed = Observed(at, on.chain.sd_m, on.chain.correlation, step, closed.step_sd, head)
    strange = strangers(observed, around.surveyed[on.entry], scale_sd=sticks.scale_sd)
    observed = replace(observed, sd=np.hypot(observed.sd, strange))
    adjusted = adjust(observed, scale_sd=sticks.scale_sd)
    strain = _strain(observed, adjusted)
    return Placed(
        entry=on.entry,
        head=head,
        piece=piece,
        at_m=adjusted.at * on.way,
        strange_m=strange,
        sd_m=np.hypot(
            np.hypot(adjusted.sd * strain, _most_of(strange, piece)),
            _other_levels(found, on.chain.sd_m, sticks.stick_m),
        ),
        pipe_m=on.step,
        step_sd_m=adjusted.step_sd * strain,
        missing=missing,
        used=used,
        levels=found,
        noise=on.noise,
        scale=adjusted.scale,
        scale_sd=adjusted.scale_sd,
    )


def _looked_at(walk: Paths, parted: Pieces, fixes: Fixes, around: Around, sticks: Sticks) -> tuple[_Prepared, Levels]:
    """Return the entries and their levels, looking twice where a machine leaves joints to others as a rule."""
    on = _prepared(walk, parted, fixes, around, sticks)
    found = _levels(on.chain, sticks)
    usual = _usual(_told(found, on.step, on.chain.head, sticks)[0], on.chain.head, parted.piece[on.entry])
    if not usual.any():
        return on, found
    on = _prepared(walk, parted, fixes, around, sticks, left_m=usual * sticks.stick_m)
    return on, _levels(on.chain, sticks)


def _usual(missing: np.ndarray, head: np.ndarray, piece: np.ndarray) -> np.ndarray:
    """Return how many joints the machine of each piece leaves to others at each step as a rule, shape (n,).

    Sticks are joined in pairs first, and two machines take turns: what is skipped every time is not missing.
    """
    steps = pd.Series(np.where(head, np.nan, missing)).groupby(piece)
    usual = steps.transform("median").fillna(0).to_numpy().astype(np.int64)
    return np.where(head | (np.bincount(piece)[piece] < _RULE), 0, usual)


def _most_of(values: np.ndarray, piece: np.ndarray) -> np.ndarray:
    return pd.Series(values).groupby(piece).transform("max").to_numpy(float)


def _strain(observed: Observed, adjusted: Adjusted) -> np.ndarray:
    """Return by what factor the fixes of each piece lie farther from their places than they should, 1 at least.

    A model that does not hold (a string that was moved and not seen, wrong lengths) shows in its residuals: what the
    adjustment says of its own accuracy is then worth as much less. Three standard deviations of the mean square count.
    """
    piece = np.cumsum(observed.head) - 1
    square = np.nan_to_num((observed.at - adjusted.at) / observed.sd) ** 2
    fixes = np.maximum(np.bincount(piece, weights=np.isfinite(observed.at)), 1)
    mean = np.bincount(piece, weights=square) / fixes
    return np.sqrt(np.where(mean > 1 + 3 * np.sqrt(2 * _RELATED / fixes), mean, 1.0))[piece]


def _nothing(around: Around) -> Placed:
    """Return what is placed where no fix counts."""
    none, real = np.array([], dtype=np.int64), np.array([], dtype=float)
    groups = int(around.group.max(initial=-1)) + 1
    return Placed(
        entry=none,
        head=none.astype(bool),
        piece=none,
        at_m=real,
        sd_m=real,
        pipe_m=real,
        step_sd_m=real,
        missing=none,
        used=none.astype(bool),
        strange_m=real,
        levels=Levels(np.empty((0, 1)), none, none, real),
        noise=Noise(np.ones(groups), np.zeros(groups)),
        scale=real,
        scale_sd=real,
    )


def _prepared(
    walk: Paths, parted: Pieces, fixes: Fixes, around: Around, sticks: Sticks, left_m: np.ndarray | float = 0.0
) -> _Prepared:
    """Bring the entries of the pieces to levels: how they scatter, how their errors go together, what is a blunder.

    `left_m` is what the machine leaves to others at each step. Levels hang at the middle of their piece, so that it
    does not matter where chainage begins.
    """
    entry = _entries(parted)
    piece, way = parted.piece[entry], parted.direction[entry]
    head = np.diff(piece, prepend=NO_PIECE) != 0
    at = np.where(parted.used[entry], fixes.at_m[entry], np.nan) * way
    step, prior, cut = _steps(walk, entry, head, around, sticks)
    step = step + left_m
    level = at - np.cumsum(step)
    level -= pd.Series(level).groupby(piece).transform("median").to_numpy()
    offset = np.where(np.isnan(level), np.nan, around.offset_m[entry])
    group, count = around.group[entry], int(around.group.max(initial=0)) + 1
    differ = sticks.stick_sd_m
    seen = noise(np.stack([level, offset]), fixes.sd_m[entry], piece, group, groups=count, stick_sd=differ)
    shot = around.surveyed[entry]
    sd = np.where(shot, fixes.sd_m[entry], fixes.sd_m[entry] * seen.factor[group])
    blunder = _blunder(offset, np.hypot(_BROAD * sd, sticks.offset_m), head)
    odd = (blunder > _DOUBTFUL) | (np.abs(level - running_median(level, head)) > _ODD * sd) | shot
    alike = (group == np.roll(group, 1)) & ~odd & ~np.roll(odd, 1)  # the error of a blunder says nothing of the next
    related = np.where(alike, seen.correlation[group], 0.0)
    return _Prepared(entry, way, at, step, cut, Chain(level, sd, related, head, prior, blunder), seen)


def _levels(chain: Chain, sticks: Sticks) -> Levels:
    """Return the levels, looking twice where many pipes are shorter than a stick: then a fall is no surprise."""
    found = levels(chain, stick_m=sticks.stick_m)
    fell = (np.diff(found.likeliest, prepend=0) < -_SAME) & ~chain.head
    share = fell.sum() / max(int((~chain.head).sum()), 1)
    if share <= _OFTEN:
        return found
    return levels(replace(chain, prior=with_shorter(chain.prior, _UNSEEN * share)), stick_m=sticks.stick_m)


def _entries(parted: Pieces) -> np.ndarray:
    """Return the entries piece by piece, those of pieces that have a fix."""
    with_fix = np.unique(parted.piece[parted.used])
    entry = np.flatnonzero((parted.piece != NO_PIECE) & np.isin(parted.piece, with_fix))
    return entry[np.argsort(parted.piece[entry], kind="stable")]


def _steps(
    walk: Paths, entry: np.ndarray, head: np.ndarray, around: Around, sticks: Sticks
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the length of the pipe to each entry from the one before (0 at heads), the chances of the step, and

    whether its pipe was cut to an unknown length.
    """
    next_ = (entry - np.roll(entry, 1) == 1) & ~head
    length = np.where(next_, walk.length_m[entry], np.nan)
    how, skipped = np.where(next_, walk.how[entry], TIMED), np.where(next_, walk.skipped[entry], -1)
    fitting = around.is_fitting[entry]
    at_fitting = (fitting | np.roll(fitting, 1)) & ~head
    prior = chances(how, skipped, at_fitting=at_fitting, length_stated=np.isfinite(length))
    unknown = np.isnan(length)
    return np.where(head, 0.0, np.where(unknown, sticks.stick_m, length)), prior, at_fitting & unknown


def _blunder(offset_m: np.ndarray, spread_m: np.ndarray, head: np.ndarray) -> np.ndarray:
    """Return the chance of each fix to be a blunder in the light of how it lies off the line beside its neighbours.

    Beside its neighbours, for a string on the bank lies off the line as a whole; and a joint laid as far off as the
    window allows, or somewhat more, is one laid off the line rather than a bad fix.
    """
    aside = np.nan_to_num(offset_m - running_median(offset_m, head)) / spread_m
    odds = _BLUNDER / (1 - _BLUNDER) * np.exp(np.minimum(0.5 * aside**2, 50.0))
    return np.asarray(np.minimum(odds / (1 + odds), 1 - _SMALL))


def _told(
    found: Levels, step: np.ndarray, head: np.ndarray, sticks: Sticks
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the records missing before each entry, the length of the step with their sticks, and its sd."""
    rise = np.where(head, 0, np.diff(found.likeliest, prepend=0))
    many, cell = np.rint(rise / CELLS), sticks.stick_m / CELLS
    whole = (np.abs(rise - many * CELLS) <= _SAME) & (many >= 0)
    missing = np.where(whole, many, np.maximum(np.floor(rise / CELLS), 0)).astype(np.int64)
    length = step + np.where(whole, many * sticks.stick_m, rise * cell)
    loose = np.maximum(sticks.stick_m / 2, np.abs(rise) * cell)
    sd = np.where(whole, sticks.stick_sd_m * np.sqrt(np.maximum(many, 0) + 1), loose)
    return missing, np.where(head, 0.0, length), sd


def _other_levels(found: Levels, sd: np.ndarray, stick_m: float) -> np.ndarray:
    """Return what it adds to the spread that a joint may stand on another level than the likeliest.

    Where a fix is finer than the grid of levels, only what is far away is another level.
    """
    cell, columns = stick_m / CELLS, np.arange(found.share.shape[1])
    away = np.abs(columns - columns[:, None])
    square = np.stack([np.where(away > apart, (cell * away) ** 2, 0.0) for apart in (_APART, CELLS // 2 - 1)])
    seen = square.astype(np.float32)[(sd < cell).astype(np.int64), found.likeliest - found.cell]
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", found.share, seen)), dtype=float)
