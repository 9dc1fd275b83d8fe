"""The chances of each step before a fix is looked at: what serials, numbers, kinds and lengths say of it.

Columns as in `levels`: nothing missing, one, two or three records missing, a pipe shorter than thought, anything. The
figures are the writers' judgement of field records, not taken from a source; what they are worth is measured in
tests/bench/placement.py.
"""

import numpy as np

from asbuilt.place.links import MET, UNMET

_TIMED = (0.9667, 0.016, 0.0012, 0.0006, 0.015, 0.0005)
_MET = (0.988, 0.0001, 0.0001, 0.0001, 0.0116, 0.0001)
_UNMET = (0.03, 0.60, 0.20, 0.08, 0.02, 0.07)
_AT_A_FITTING = (0.35, 0.02, 0.01, 0.005, 0.605, 0.01)  # a fitting is closer than a stick as often as not
_FOLLOWING = (0.9765, 0.008, 0.0003, 0.0001, 0.015, 0.0001)
_MANY_SKIPPED = (0.50, 0.05, 0.05, 0.05, 0.05, 0.30)
_NUMBER_SKIPPED = 0.8  # as many records are missing as numbers
_LENGTH_STATED = 0.05  # of the chance of a shorter pipe that is left where the length is stated


def chances(how: np.ndarray, skipped: np.ndarray, *, at_fitting: np.ndarray, length_stated: np.ndarray) -> np.ndarray:
    """Return the chances of each step, shape (n, 6). All arrays have shape (n,); words of `how` as in `links`."""
    out = np.tile(np.array(_TIMED), (len(how), 1))
    out[skipped == 0] = _FOLLOWING
    for k in (1, 2, 3):
        here = skipped == k
        out[here] *= (1 - _NUMBER_SKIPPED) / (1 - out[here, k : k + 1])
        out[here, k] = _NUMBER_SKIPPED
    out[skipped > 3] = _MANY_SKIPPED
    out[how == UNMET] = _UNMET
    out[at_fitting] = _AT_A_FITTING
    out[how == MET] = _MET
    stated = out[length_stated, 4] * (1 - _LENGTH_STATED)
    out[length_stated, 4] -= stated
    out[length_stated, 0] += stated
    return out


def with_shorter(prior: np.ndarray, share: float) -> np.ndarray:
    """Return the chances where so large a share of the pipes is shorter than a stick as a first look has shown."""
    out = prior.copy()
    out[:, 4] = np.clip(share, prior[:, 4], np.maximum(prior[:, 4], prior[:, 0] / 2))
    out[:, 0] = prior[:, 0] + prior[:, 4] - out[:, 4]
    return out
