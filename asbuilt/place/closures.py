"""Where fixes and pipes contradict each other by less than the levels can see: between fixes of decimetres.

Between two fixes the pipes must close like a traverse. Where they do not, a pipe was cut (at a tie-in nearly always)
or a length is wrong, and the steps between the two are loosened, so that the misclosure stays there; where one fix
contradicts both of its neighbours and those agree, the fix is at fault.
"""

from dataclasses import dataclass

import numpy as np

from asbuilt.place.adjust import Observed, adjust

_SURE = 4.0  # standard deviations: one misclosure in sixteen thousand is larger by chance
_AGREE = 2.5


@dataclass(frozen=True)
class Closures:
    """Shapes (n,): fixes at fault, and spreads of the steps, wider where the pipes do not close."""

    at_fault: np.ndarray
    step_sd: np.ndarray


def closures(
    at: np.ndarray, sd: np.ndarray, step: np.ndarray, step_sd: np.ndarray, *, head: np.ndarray, scale_sd: float
) -> Closures:
    """Close the steps between neighbouring fixes of each piece; `at` is NaN where there is none. Shapes (n,), m."""
    at_fault, loose = np.zeros(len(at), dtype=bool), step_sd.copy()
    has = np.flatnonzero(np.isfinite(at))
    if len(has) < 2:
        return Closures(at_fault, loose)
    piece, tally = np.cumsum(head)[has], np.cumsum(step)[has]
    variance = np.cumsum(np.where(head, 0.0, step_sd**2))[has]
    gap, length = _gaps(at[has] - tally, piece, 1), np.diff(tally)
    spread = np.sqrt(sd[has][1:] ** 2 + sd[has][:-1] ** 2 + np.diff(variance) + (scale_sd * length) ** 2)
    wrong = np.abs(gap) > _SURE * spread
    if not wrong.any():
        return Closures(at_fault, loose)
    over = np.abs(_gaps(at[has] - tally, piece, 2)) < _AGREE * np.hypot(spread[1:], spread[:-1])
    lone = wrong[1:] & wrong[:-1] & over
    at_fault[has[1:-1][lone]] = True
    excused = np.concatenate([lone, [False]]) | np.concatenate([[False], lone])
    for i in np.flatnonzero(wrong & ~excused):
        steps = np.arange(has[i] + 1, has[i + 1] + 1)
        loose[steps] = np.hypot(loose[steps], np.abs(gap[i]) / np.sqrt(len(steps)))
    return Closures(at_fault, loose)


def strangers(observed: Observed, surveyed: np.ndarray, *, scale_sd: float) -> np.ndarray:
    """Return how far each shot lies from where fixes and pipes put its joint without any shot, shape (n,), metres.

    0 for all that agree, and for pieces that only shots hold. A shot is believed far more than a fix, so one that was
    booked under the wrong joint would draw a whole run along.
    """
    out = np.zeros(len(surveyed))
    piece = np.cumsum(observed.head)
    held = np.isin(piece, piece[np.isfinite(observed.at) & ~surveyed])
    shots = surveyed & held & np.isfinite(observed.at)
    if not shots.any():
        return out
    here = np.isin(piece, piece[shots])
    parts = {name: getattr(observed, name)[here] for name in Observed.__dataclass_fields__}
    parts["at"] = np.where(surveyed[here], np.nan, parts["at"])
    found = adjust(Observed(**parts), scale_sd=scale_sd)
    apart, spread = np.zeros(len(out)), np.ones(len(out))
    apart[here], spread[here] = np.nan_to_num(observed.at[here] - found.at), np.hypot(found.sd, observed.sd[here])
    wrong = shots & (np.abs(apart) > _SURE * spread)
    out[wrong] = np.abs(apart[wrong])
    return out


def _gaps(level: np.ndarray, piece: np.ndarray, lag: int) -> np.ndarray:
    """Return by how much the fixes `lag` apart do not close, 0 where they belong to different pieces."""
    return np.where(piece[lag:] == piece[:-lag], level[lag:] - level[:-lag], 0.0)
