"""The formulas of progress, each by itself with its source. Lengths in any one unit, times in any one unit."""

import numpy as np


def percent_complete(done: float, of: float) -> float:
    """Return how much of a scope is done, in percent; NaN where there is no scope.

    Units completed: 4,000 of 10,000 ft of a uniform work are 40 % ("Progress Measurement for Construction", method 1,
    seen second-hand as a document on a sharing site).

    >>> percent_complete(4_000, 10_000)
    40.0
    """
    return 100.0 * done / of if of > 0 else float("nan")


def at_this_pace(elapsed: float, percent: float) -> float:
    """Return the whole duration if all goes on as it went on average; infinity where nothing is done yet.

    Time so far over the fraction done: 30 days at 25 % make 120 (the worked example of a practitioner's article on
    earned value, second-hand).

    >>> at_this_pace(30, 25)
    120.0
    """
    return 100.0 * elapsed / percent if percent > 0 else float("inf")


def earned_schedule(earned: float, planned: np.ndarray) -> float:
    """Return how many periods of the plan the work done so far is worth: ES = C + I.

    `planned` is what was to be done by the end of each period, cumulative, shape (periods,). C counts the periods whose
    planned value is reached, I = (earned - planned[C]) / (planned[C + 1] - planned[C]) is the share of the next one
    (W. Lipke and K. Henderson, training slides on earned schedule, 2006, seen; first W. Lipke, "Schedule is
    Different", 2003).

    >>> earned_schedule(25.0, np.array([10.0, 20.0, 30.0, 40.0]))
    2.5
    """
    steps = np.append(0.0, planned)
    if not len(planned) or earned <= 0:
        return 0.0
    if earned >= steps[-1]:
        return float(len(planned))
    whole = int(np.searchsorted(steps, earned, side="right")) - 1
    return float(whole + (earned - steps[whole]) / (steps[whole + 1] - steps[whole]))


def schedule_index(earned: float, elapsed: float) -> float:
    """Return SPI(t) = ES / AT, both in the same periods; NaN before the first. Below 1: behind (Lipke and Henderson).

    >>> schedule_index(18, 20)
    0.9
    """
    return earned / elapsed if elapsed > 0 else float("nan")


def duration_by_index(planned: float, index: float) -> float:
    """Return the whole duration that SPI(t) foretells: planned duration / SPI(t) (Lipke and Henderson, IEAC(t)).

    >>> duration_by_index(100, 0.8)
    125.0
    """
    return planned / index if index > 0 else float("inf")


def required_rate(left: float, periods: int) -> float:
    """Return what each remaining period has to bring; infinity where none is left and work is.

    Remaining quantity over remaining working time (common practice, no source).

    >>> required_rate(600, 12)
    50.0
    """
    if left <= 0:
        return 0.0
    return left / periods if periods > 0 else float("inf")
