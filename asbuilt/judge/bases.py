"""What neighbouring joints show of the bend between them, on short bases and on long ones. Arrays in, arrays out.

A base is a joint with the two that stand so many joints before and after it. What it shows is a mean over the pipe
between them: it proves a bend that is too tight, and says nothing of a tighter one hidden between two joints.
"""

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from asbuilt.curvature import ThreePoints, of_three
from asbuilt.look import CANNOT_TELL, IN_WINDOW, OUT_OF_WINDOW
from asbuilt.window import TWO_SIDED_95

STEPS = 5  # the longest base reaches so many joints to either side: noise hides curvature on short ones
_FALSE_ALARM = 0.05  # in one route of twenty one straight pipe may be called bent; shared among all bases looked at
_PIECE_SD = 8.0  # standard deviations: on shorter pieces the error of the chord is no small one
_SQUARE = np.pi / 2  # radians; legs that turn more say nothing of the way between them

LONELY = "it has too few neighbours with a usable position"
FITTING = "a fitting stands beside it, which may make the turn itself"
APART = "its neighbours stand farther apart than the least radius, so that a bend between them need not show"
DOUBLES_BACK = "its neighbours' positions double back or stand too close for their accuracy"
NOISE = "the error of the positions is as large as a bend would be"


@dataclass(frozen=True)
class Run:
    """Usable joints in line order, shape (m,): `at` their places in the table; limits are least radii in metres."""

    at: np.ndarray
    line: np.ndarray
    xy: np.ndarray
    sd: np.ndarray
    fitting: np.ndarray
    limit: np.ndarray
    limit_by_fitting: np.ndarray

    def only(self, keep: np.ndarray) -> "Run":
        """Return the run without the others."""
        return Run(*(getattr(self, f)[keep] for f in Run.__dataclass_fields__))


@dataclass(frozen=True)
class Bases:
    """Signed curvature about each joint on bases of 1 to STEPS joints to either side, shape (STEPS, m); NaN: no base.

    `longest` piece and `length` in metres; `fitting` whether one stands within the base, its ends included.
    """

    curvature: np.ndarray
    sd: np.ndarray
    longest: np.ndarray
    length: np.ndarray
    fitting: np.ndarray


@dataclass(frozen=True)
class Told:
    """Of each joint, shape (m,): verdict, why it cannot be told, and the row of the base that shows it best."""

    verdict: np.ndarray
    cause: np.ndarray
    base: np.ndarray


def _triples(run: Run, step: int) -> tuple[np.ndarray, ThreePoints]:
    """Return the middles of the triples so many joints apart on one line, and their circles."""
    middle = np.arange(step, len(run.at) - step)
    middle = middle[run.line[middle - step] == run.line[middle + step]]
    three = middle[:, None] + np.array([-step, 0, step])
    return middle, of_three(run.xy[three], run.sd[three])


def bases(run: Run) -> Bases:
    """Return the curvature on every base of a run; without those too short for their errors, or that double back."""
    size = (STEPS, len(run.at))
    curvature, sd, longest, length = (np.full(size, np.nan) for _ in range(4))
    found = Bases(curvature, sd, longest, length, np.zeros(size, dtype=bool))
    so_far = np.concatenate([[0], np.cumsum(run.fitting)])
    for i in range(STEPS):
        step = i + 1
        middle, circles = _triples(run, step)
        fit = (circles.turn < _SQUARE) & _long_enough(run, middle, circles, step)
        kept = middle[fit]
        found.curvature[i, kept], found.sd[i, kept] = circles.curvature[fit], circles.sd[fit]
        found.longest[i, kept], found.length[i, kept] = circles.pieces[fit].max(axis=1), circles.pieces[fit].sum(axis=1)
        found.fitting[i, kept] = so_far[kept + step + 1] > so_far[kept - step]
    return found


def _long_enough(run: Run, middle: np.ndarray, circles: ThreePoints, step: int) -> np.ndarray:
    worst = run.sd[middle[:, None] + np.array([-step, 0, step])].max(axis=1, initial=0.0)
    return np.asarray(circles.pieces.min(axis=1, initial=np.inf) >= _PIECE_SD * worst)


def _sure(count: int) -> float:
    """Return how many standard deviations prove a bend, so many bases being looked at (each may err to both sides)."""
    return NormalDist().inv_cdf(1 - _FALSE_ALARM / (2 * max(count, 1)))


def displaced(run: Run) -> np.ndarray:
    """Whether one wrong position would explain a bend, shape (m,).

    Both its neighbours then bend the other way, half as much; a true bend leaves them straight, or bent the same way.
    The border is half way between. Next to an end of the line one neighbour alone has its say.
    """
    middle, circles = _triples(run, 1)
    off, share, known = np.zeros(len(run.at)), np.full(len(run.at), 0.5), np.zeros(len(run.at), dtype=bool)
    off[middle], share[middle], known[middle] = circles.off, circles.share, True
    with np.errstate(invalid="ignore"):
        proven = np.abs(circles.curvature) - _sure(len(middle)) * circles.sd > 1 / run.limit[middle]
    j = middle[(proven | (circles.turn >= _SQUARE)) & _long_enough(run, middle, circles, 1)]
    other, half = -np.sign(off[j]), 0.5 * np.abs(off[j])
    before = ~known[j - 1] | (other * off[j - 1] > half * share[j - 1])
    after = ~known[j + 1] | (other * off[j + 1] > half * (1 - share[j + 1]))
    found = np.zeros(len(run.at), dtype=bool)
    found[j[before & after & (known[j - 1] | known[j + 1])]] = True
    return found


def tell(run: Run, found: Bases) -> Told:
    """Return the verdict of each joint.

    Out of window where any base without a fitting is surely tighter than the limit, the number of bases looked at
    being allowed for; in window where a base that can tell is surely not, and none speaks against it (95 %).
    """
    size = np.abs(found.curvature)
    reach = TWO_SIDED_95 * found.sd
    allowed = 1 / np.where(found.fitting, run.limit_by_fitting, run.limit)
    close = found.longest <= run.limit
    tells = close & (size + reach <= allowed)
    excess = size - _sure(int(np.isfinite(size).sum())) * found.sd - allowed
    excess = np.where((excess > 0) & ~found.fitting, excess, 0.0)
    against = ((size - reach > allowed) & ~found.fitting).any(axis=0)
    out = excess.any(axis=0)
    fine = tells.any(axis=0) & ~against & ~out
    verdict = np.where(out, OUT_OF_WINDOW, np.where(fine, IN_WINDOW, CANNOT_TELL)).astype(object)
    shown = np.where(out, excess.argmax(axis=0), np.where(fine, tells.argmax(axis=0), np.isfinite(size).argmax(axis=0)))
    return Told(verdict, np.where(out | fine, "", _why(run, found, close)).astype(object), shown)


def _why(run: Run, found: Bases, close: np.ndarray) -> np.ndarray:
    same = run.line[1:] == run.line[:-1]
    alone = ~(np.append(same, False) & np.insert(same, 0, False))[: len(run.at)]
    beside = (close & found.fitting).any(axis=0) & ~(close & ~found.fitting).any(axis=0)
    none = np.isnan(found.curvature).all(axis=0)
    pieces = np.hypot(*np.diff(run.xy, axis=0).T)
    far = np.maximum(np.append(pieces, 0), np.insert(pieces, 0, 0))[: len(run.at)] > run.limit
    return np.select([alone, far, none, beside], [LONELY, APART, DOUBLES_BACK, FITTING], default=NOISE)
