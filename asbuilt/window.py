"""One accepted interval, and the question that is asked of pressure, time and offset alike."""

import numpy as np

from asbuilt.look import CANNOT_TELL, IN_WINDOW, NOT_RECORDED, OUT_OF_WINDOW

# 419 °F is 215 °C exactly, and a hair less after conversion: limits are inclusive, so a hair is allowed for.
_HAIR = 1e-9

TWO_SIDED_95 = 1.959963984540054  # standard normal, 97.5 % quantile
SURE_OF_LEG = 0.95  # below this probability which leg a joint lies on cannot be told
RADIUS_95 = 2.447746830680816  # sqrt(-2 ln 0.05): circular normal, 95 % radius in standard deviations of one axis

# Where no accuracy is stated: the poor end of what recreational receivers are quoted at (3-15 m, 95 %; second-hand,
# from published owners' texts). It serves to search and to weigh what competes, never to pass a window.
ASSUMED_SD_M = 15.0 / RADIUS_95


def judge(value: np.ndarray, low: np.ndarray, high: np.ndarray, *, computable: np.ndarray) -> np.ndarray:
    """Return the verdict of each value against its window, inclusive; NaN in `low` or `high` leaves that side open.

    All arrays have one shape. `computable` is false where a limit should exist and could not be computed. A value
    that was not recorded (NaN) is `not recorded` whatever the limits are.
    """
    slack_low, slack_high = np.abs(low) * _HAIR, np.abs(high) * _HAIR
    outside = (value < low - slack_low) | (value > high + slack_high)  # comparisons with NaN are false: open side
    verdict = np.where(outside, OUT_OF_WINDOW, IN_WINDOW).astype(object)
    verdict[~computable] = CANNOT_TELL
    verdict[np.isnan(value)] = NOT_RECORDED
    return verdict


def judge_uncertain(value: np.ndarray, sd: np.ndarray, *, half_width: float) -> np.ndarray:
    """Return the verdict of values with a standard deviation against the window [-half_width, +half_width].

    In or out only where the value with 1.96 standard deviations lies wholly inside or outside; NaN in `sd`
    (accuracy not stated) cannot tell; NaN in `value` is not recorded. Shapes (n,).
    """
    reach = TWO_SIDED_95 * sd
    verdict = np.full(value.shape, CANNOT_TELL, dtype=object)
    verdict[np.abs(value) + reach <= half_width] = IN_WINDOW
    verdict[np.abs(value) - reach > half_width] = OUT_OF_WINDOW
    verdict[np.isnan(value)] = NOT_RECORDED
    return verdict
