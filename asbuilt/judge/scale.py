"""Whether the length of a string as laid, against its tally, may be explained: by its temperature, by fusing it.

Free movement is the most that temperature can do: soil friction stops buried pipe. What fusing takes is known from
memory only. So this sets bounds; it never says what did happen.
"""

from dataclasses import dataclass

import numpy as np

from asbuilt.handbook import thermal
from asbuilt.look import CANNOT_TELL, IN_WINDOW, OUT_OF_WINDOW
from asbuilt.quantities import LengthUnit
from asbuilt.window import TWO_SIDED_95

_HAIR = 5e-5  # a share of length: shown as 0.0 per mille
_SAME_M = 0.002  # pipes whose lengths differ from whole sticks by less have no length of their own
_COUNTED = 0.002  # a share: chainage counts no pipe longer or shorter by more, but on slopes over 6 %
_CREDIBLE_K = 60.0  # from a winter trench to black pipe in the sun: common practice, no source


@dataclass(frozen=True)
class Span:
    """The least and the most of a quantity."""

    low: float
    high: float


@dataclass(frozen=True)
class Explained:
    """Whether a scale factor lies within what can be explained, and by how much it does not.

    `verdict` is in window (explained), out of window (more than can be explained, 95 %) or cannot tell. `span` is what
    can be explained, `excess` how far the factor lies outside it (- shorter, + longer, 0 inside), as shares of length.
    """

    verdict: str
    span: Span
    excess: float
    sentence: str


def free_movement(length_m: float, change_k: float, *, per_k: float) -> float:
    """Return how much pipe grows that nothing holds, in metres: coefficient x length x change of temperature."""
    return per_k * length_m * change_k


def thermal_span(change_k: Span) -> Span:
    """Return what a change of temperature within bounds explains, as a share of length: from nothing (held) to free."""
    rates = thermal().span
    ends = [rate * change for rate in (rates.low_per_k, rates.high_per_k) for change in (change_k.low, change_k.high)]
    return Span(min(0.0, *ends), max(0.0, *ends))


def take_up(stick_m: float, wall_m: float) -> Span:
    """Return how much shorter than its tally fusing makes a string, as a share of length: two faced ends and a joint.

    Each stick loses its part of one joint: the beads of one wall, and facing at both its ends.
    """
    known = thermal().take_up
    beads = known.walls_per_joint * wall_m
    return Span(*((beads + 2 * facing / 1000) / stick_m for facing in (known.facing_low_mm, known.facing_high_mm)))


def scale_explained(
    scale: float, sd: float, *, stick_m: float, wall_m: float | None, measured_c: Span | None, laid_c: Span | None
) -> Explained:
    """Compare a string's scale, length laid / tally length - 1, with what temperature and fusing can explain.

    `sd` is one standard deviation of the scale; temperatures of the pipe when its tally was measured and when its
    place was, as bounds in degrees Celsius (None: not known). Where a tally may hold lengths after facing, fusing
    explains anything from nothing to its most; without a wall it explains facing only.
    """
    change = Span(laid_c.low - measured_c.high, laid_c.high - measured_c.low) if measured_c and laid_c else None
    return _compared(scale, sd, take_up(stick_m, wall_m or 0.0), change, against="its tally")


def fusing_explains(scale: float, sd: float, *, stick_m: float, wall_mm: float | None, against: str) -> Explained:
    """Compare a scale with what fusing alone can explain, where no temperature is known. `wall_mm` None: not known.

    `against` names the lengths that were counted, as `lengths_counted` does.
    """
    fused = take_up(stick_m, wall_mm / 1000 if wall_mm else 0.0)
    return _compared(scale, sd, fused, None, against=against)


def explained_by_fusing(
    scale: float, sd: float, stick_m: float, wall_mm: float | None, *, against: str = "the lengths counted"
) -> str:
    """Say what `fusing_explains` found."""
    return fusing_explains(scale, sd, stick_m=stick_m, wall_mm=wall_mm, against=against).sentence


def lengths_counted(pipe_m: np.ndarray, stick_m: float, unit: LengthUnit) -> str:
    """Name what a run is as long as: whole sticks, or a tally where any of its pipes has a length of its own.

    `pipe_m` has shape (n,), in metres as chainage counts them (somewhat other than on the pipe, where it is counted in
    the grid or on the level), 0 where a run begins. A step over joints of other machines is several sticks.
    """
    pipe_m = pipe_m[np.isfinite(pipe_m) & (pipe_m > 0)]
    many = np.maximum(np.rint(pipe_m / stick_m), 1)
    each = float(np.median(pipe_m / many)) if len(pipe_m) else stick_m
    whole = abs(each / stick_m - 1) < _COUNTED and bool((np.abs(pipe_m - many * each) < _SAME_M).all())
    return f"whole sticks of {unit.short(stick_m)}" if whole else "its tally"


def _compared(scale: float, sd: float, fused: Span, change: Span | None, *, against: str) -> Explained:
    known, warmth = change is not None, thermal_span(change or Span(0, 0))
    span = Span(warmth.low - fused.high, warmth.high)
    excess = min(0.0, scale - span.low) + max(0.0, scale - span.high)
    if not np.isfinite([scale, sd]).all():
        return Explained(CANNOT_TELL, span, np.nan, "The scale of the string is not known.")
    inside = span.low <= scale - TWO_SIDED_95 * sd and scale + TWO_SIDED_95 * sd <= span.high
    surely = abs(excess) > TWO_SIDED_95 * sd
    verdict = IN_WINDOW if inside else CANNOT_TELL
    if surely:
        verdict = OUT_OF_WINDOW if known or _needed_k(excess) > _CREDIBLE_K else CANNOT_TELL
    laid = f"laid {_share(scale)} than {against} (sd {1000 * sd:.1f})"
    if verdict == CANNOT_TELL and abs(scale) <= TWO_SIDED_95 * sd:
        return Explained(verdict, span, excess, f"{laid}: within its uncertainty, nothing to explain.")
    return Explained(verdict, span, excess, f"{laid}: {_why(span, excess, verdict=verdict, known=known)}.")


def _needed_k(excess: float) -> float:
    """Return the least change of temperature that free movement would need for this."""
    return abs(excess) / thermal().span.high_per_k


def _why(span: Span, excess: float, *, verdict: str, known: bool) -> str:
    bounds = " and ".join(_share(end) for end in (span.low, span.high) if abs(end) >= _HAIR) or "nothing"
    by = "temperature and fusing" if known else "fusing alone, no temperatures being known,"
    can = f"{by} can explain up to {bounds}" + (", for soil may have held the pipe" if known else "")
    if verdict == IN_WINDOW:
        return f"explained; {can}"
    if verdict == OUT_OF_WINDOW:
        return f"{1000 * abs(excess):.1f} per mille more than can be explained; {can}"
    change = f"{_needed_k(excess):.0f} °C at the least" if _needed_k(excess) >= 1 else "less than 1 °C"
    needs = f"; the rest would need a change of {change}" if excess and not known else ""
    return f"cannot tell whether that is explained; {can}{needs}"


def _share(share: float) -> str:
    if abs(share) < _HAIR:
        return "neither longer nor shorter"
    return f"{1000 * abs(share):.1f} per mille {'longer' if share > 0 else 'shorter'}"
