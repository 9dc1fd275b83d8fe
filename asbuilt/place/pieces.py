"""Paths cut into pieces that run one way along one line, and what the order does not explain taken out of them.

A crew moves to another reach, a run turns back, a fix jumps away and back, a path crosses from one line to another:
at each of these a piece ends. An order in which the joints do not walk along the line at all is not used.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from asbuilt.place.links import STATED, Paths

_AHEAD = 3.5  # sticks: more than so many beyond the pipes between two fixes is a move, not missing records
_DOUBT = 5.0  # standard deviations
_JUMP = 4.0  # standard deviations and half a stick: what jumps so far away and back again is no step
_IN_DOUBT = 2.0  # standard deviations: till then a lone fix is a blunder, which is said, and the joint stays
_LAG = 3  # fixes apart that tell which way a piece runs
_CREDIBLE = 0.7  # of a piece's fixes must lie further along than the third before them
_TELLING, _LEAST = 8, 3.5  # a path of so many fixes is no order if its pieces have fewer than so many on average
NO_PIECE = -1


@dataclass(frozen=True)
class Fixes:
    """Fixes of the entries of paths, shapes (n,): line (-1: none), chainage (NaN: none), sd.

    `strung` marks joints of strings that were fused away from where they lie, `stays` those whose fix says so little.
    `sense` is 1 where it is stated that chainage rises from the entry before, -1 where it falls, 0: nothing stated;
    `lent` marks what is no fix of the joint but follows from a stated end of its string.
    """

    line: np.ndarray
    at_m: np.ndarray
    sd_m: np.ndarray
    strung: np.ndarray
    stays: np.ndarray
    is_tie_in: np.ndarray
    sense: np.ndarray
    lent: np.ndarray


@dataclass(frozen=True)
class Pieces:
    """Shapes (n,): `piece` of each entry (NO_PIECE: none), `direction` of its piece (1 up-chainage, -1 down).

    `used` marks entries whose fix counts, `orderless` those whose order was not credible, `elsewhere` those taken out
    of their path because they lie away from all that is next to them in it.
    """

    piece: np.ndarray
    direction: np.ndarray
    used: np.ndarray
    orderless: np.ndarray
    elsewhere: np.ndarray


def pieces(paths: Paths, fixes: Fixes, *, stick_m: float) -> Pieces:
    """Cut the paths."""
    usable = np.isfinite(fixes.at_m) & ~fixes.stays
    cut = paths.head | _leaves_the_stand(paths, fixes.strung)
    tally = np.cumsum(np.where(paths.head, 0.0, np.where(np.isnan(paths.length_m), stick_m, paths.length_m)))
    excursion, blunder = _lone(np.cumsum(cut), tally, fixes, usable, stick_m=stick_m)
    usable &= ~blunder
    walking = usable & ~excursion
    moved = _moved(paths, fixes, walking, cut, tally=tally, stick_m=stick_m)
    finite, usable, walking = usable | blunder, usable & ~moved, walking & ~moved
    broken = _breaks(fixes, np.flatnonzero(walking), np.cumsum(cut), tally, stick_m)
    firm = ~cut & ((paths.how >= STATED) | fixes.strung)
    piece = _segments(walking, broken, firm, elsewhere=excursion)
    piece, direction, orderless = _directed(piece, fixes, walking, paths.path)
    usable |= finite & orderless  # where the order is not believed it makes no fix a blunder
    singles = np.flatnonzero(usable & (piece == NO_PIECE))
    piece[singles] = piece.max(initial=-1) + 1 + np.arange(len(singles))
    return Pieces(piece, direction, usable, orderless, excursion)


def _leaves_the_stand(paths: Paths, strung: np.ndarray) -> np.ndarray:
    """A string made at a stand follows nothing in place because it follows it in time: only serials or words link."""
    return (strung != np.insert(strung[:-1], 0, False)) & (paths.how < STATED)


def _lone(
    run: np.ndarray, tally: np.ndarray, fixes: Fixes, usable: np.ndarray, *, stick_m: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return fixes that jump away from their neighbours and back, alone or by two: joints made elsewhere, blunders.

    Where the neighbours leave room for the joints between them their fixes are blunders; where they do not, the joints
    were made elsewhere. In doubt it is a blunder, which is said, and the joint stays where its order puts it.
    """
    elsewhere, blunder = np.zeros(len(run), dtype=bool), np.zeros(len(run), dtype=bool)
    for many, clear in ((1, True), (2, False), (1, False)):  # the clear ones first: then no other is judged by them
        at = np.flatnonzero(usable & ~elsewhere & ~blunder)
        if len(at) < many + 2:
            break
        a, b, c, d = at[: -many - 1], at[1:-many], at[many:-1], at[many + 1 :]
        room = _DOUBT * np.hypot(fixes.sd_m[a], fixes.sd_m[d])
        off = np.minimum(_apart(fixes, a, b) - tally[b] + tally[a], _apart(fixes, c, d) - tally[d] + tally[c])
        lacks = tally[d] - tally[a] - _apart(fixes, a, d)
        jump = off > stick_m / 2 + _JUMP * np.hypot(np.maximum(fixes.sd_m[a], fixes.sd_m[d]), fixes.sd_m[b])
        lone = jump & (lacks > -stick_m - room) & (run[a] == run[d])
        slack = stick_m / 2 + _IN_DOUBT * np.hypot(fixes.sd_m[a], fixes.sd_m[d])
        fits = lacks < slack
        lone &= (np.abs(lacks) < slack) | (not clear)
        for k in range(1, many + 1):
            here = at[k : len(at) - many - 1 + k]
            away = lone & (~fits | fixes.is_tie_in[here])
            elsewhere[here[away]] = True
            blunder[here[lone & ~away]] = True
    return elsewhere, blunder


def _apart(fixes: Fixes, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return np.where(fixes.line[a] == fixes.line[b], np.abs(fixes.at_m[b] - fixes.at_m[a]), np.inf)


def _segments(walking: np.ndarray, broken: np.ndarray, firm: np.ndarray, *, elsewhere: np.ndarray) -> np.ndarray:
    """Number the stretches of each path between breaks; entries without a fix go with those on either side of them.

    At an end of a stretch an entry without a fix belongs to it only where its link to the one before is `firm`.
    """
    piece = np.full(len(walking), NO_PIECE)
    at = np.flatnonzero(walking)
    if not len(at):
        return piece
    piece[at] = np.insert(np.cumsum(broken), 0, 0)
    ahead = _filled(piece, forward=True)
    behind = _filled(piece, forward=False)
    open_ = (piece == NO_PIECE) & ~elsewhere
    between = open_ & (ahead == behind)
    piece[between] = ahead[between]
    _extend(piece, open_, np.append(firm, False))
    return piece


def _breaks(fixes: Fixes, at: np.ndarray, run: np.ndarray, tally: np.ndarray, stick_m: float) -> np.ndarray:
    """Whether the order breaks between neighbouring fixes, shape (fixes - 1,)."""
    a, b = at[:-1], at[1:]
    room = _AHEAD * stick_m + _DOUBT * np.hypot(fixes.sd_m[a], fixes.sd_m[b])
    return np.asarray((_apart(fixes, a, b) > tally[b] - tally[a] + room) | (run[a] != run[b]))


def _moved(
    paths: Paths, fixes: Fixes, walking: np.ndarray, cut: np.ndarray, *, tally: np.ndarray, stick_m: float
) -> np.ndarray:
    """Whether each entry was fused elsewhere and moved: its fixes jump away and back, and serials or words do not.

    Where the pipes before and behind such a run meet it, and the fixes on either side leave room for its tally, the
    string lies between them, wherever it was strung out.
    """
    out, at = np.zeros(len(walking), dtype=bool), np.flatnonzero(walking)
    breaks = np.flatnonzero(_breaks(fixes, at, np.cumsum(cut), tally, stick_m)) if len(at) > 2 else at[:0]
    loose = np.concatenate([[0], np.cumsum((paths.how < STATED) | paths.head)])
    for left, right in pairwise(breaks):
        a, b = at[left], at[right + 1]
        room = stick_m + _DOUBT * np.hypot(fixes.sd_m[a], fixes.sd_m[b])
        closes = abs(abs(fixes.at_m[b] - fixes.at_m[a]) - (tally[b] - tally[a])) < room
        if loose[b + 1] == loose[a + 1] and closes and fixes.line[a] == fixes.line[b]:
            out[at[left + 1 : right + 1]] = True
    return out


def _filled(piece: np.ndarray, *, forward: bool) -> np.ndarray:
    """Return the piece of the last (or next) entry that has one."""
    order = piece if forward else piece[::-1]
    known = np.maximum.accumulate(np.where(order != NO_PIECE, np.arange(len(order)), -1))
    found = np.where(known >= 0, order[known], NO_PIECE)
    return found if forward else found[::-1]


def _extend(piece: np.ndarray, open_: np.ndarray, firm: np.ndarray) -> None:
    """Carry pieces over entries without a fix that serials or words tie to them; `firm` (n + 1,): to the one before."""
    for i in np.flatnonzero(open_):
        if piece[i] == NO_PIECE and firm[i] and i:
            piece[i] = piece[i - 1]
    for i in np.flatnonzero(open_)[::-1]:
        if piece[i] == NO_PIECE and firm[i + 1]:
            piece[i] = piece[i + 1]


def _directed(
    piece: np.ndarray, fixes: Fixes, walking: np.ndarray, path: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give each piece its direction, and take apart those that run neither way.

    Where one fix alone holds a piece, and no word says which way it runs, only the joint of that fix has a place.
    """
    direction, orderless = np.ones(len(piece), dtype=np.int64), np.zeros(len(piece), dtype=bool)
    inside, at = piece != NO_PIECE, np.flatnonzero(walking & (piece != NO_PIECE))
    count = int(piece.max(initial=-1)) + 1
    if not count:
        return piece, direction, orderless
    up, down = _votes(piece, fixes.at_m, at, count)
    said = np.bincount(piece[inside], weights=fixes.sense[inside], minlength=count)
    way = np.where(up == down, np.where(said < 0, -1, 1), np.where(down > up, -1, 1))
    votes = up + down
    credible = np.maximum(up, down) >= _CREDIBLE * votes
    joints, parts = np.bincount(path[at], minlength=path.max() + 1), _parts(piece[at], path[at], path.max() + 1)
    shattered = (joints >= _TELLING) & (joints < _LEAST * parts)
    direction[inside] = way[piece[inside]]
    sizes = np.bincount(piece[inside], minlength=count)
    orderless[inside] = (~credible[piece[inside]] | shattered[path[inside]]) & (sizes[piece[inside]] > 1)
    blind = inside & ~walking & ((votes == 0) & (said == 0))[np.maximum(piece, 0)]
    orderless |= shattered[path]
    return np.where(orderless | blind, NO_PIECE, piece), direction, orderless


def _votes(piece: np.ndarray, at_m: np.ndarray, at: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Count for each piece the pairs of fixes a few apart that rise, and that fall; a short piece has nearer pairs."""
    up, down = np.zeros(count), np.zeros(count)
    for lag in (_LAG, 2, 1):
        a, b = at[:-lag], at[lag:]
        same = (piece[a] == piece[b]) & ((up + down)[piece[a]] == 0)
        rises = np.sign(at_m[b] - at_m[a])[same]
        more, less = (np.bincount(piece[a][same], weights=rises == s, minlength=count) for s in (1, -1))
        up, down = up + more, down + less
    return up, down


def _parts(piece: np.ndarray, path: np.ndarray, count: int) -> np.ndarray:
    """Return in how many pieces each path falls, shape (count,)."""
    size = piece.max(initial=0) + 1
    return np.bincount(np.unique(path * size + piece) // size, minlength=count)
