"""How long a qualification or a calibration holds, in days; and what one day, size or word is against one entry."""

import numpy as np

YES, OPEN, NO = 1, 0, -1  # within; cannot be told; outside
QUESTIONS = ("day", "size", "method")
ANY_METHOD = frozenset({"all", "any"})  # words of a list for every method

US_RULE = "49 CFR 192.285(c): qualified again once each calendar year, at intervals of at most 15 months"
_US_MONTHS = 15


def months_later(days: np.ndarray, months: int) -> np.ndarray:
    """Return the same day `months` later, or the last day of a shorter month; datetime64[D], NaT stays.

    >>> months_later(np.array(["2023-03-01", "2023-11-30"], "datetime64[D]"), 15).astype(str).tolist()
    ['2024-06-01', '2025-02-28']
    """
    days = days.astype("datetime64[D]")
    month = days.astype("datetime64[M]")
    first, next_first = ((month + k).astype("datetime64[D]") for k in (months, months + 1))
    return np.asarray(np.minimum(first + (days - month.astype("datetime64[D]")), next_first - np.timedelta64(1, "D")))


def us_rule_end(qualified: np.ndarray) -> np.ndarray:
    """Return the last day on which a qualification holds by 49 CFR 192.285(c), datetime64[D].

    Once each calendar year: the next is due in the calendar year after this one, and within 15 months, that day
    included. A joint that failed its test ends it earlier; that is not known here.
    """
    year_after = (qualified.astype("datetime64[Y]") + 2).astype("datetime64[D]") - np.timedelta64(1, "D")
    return np.asarray(np.minimum(months_later(qualified, _US_MONTHS), year_after))


def last_days(start: np.ndarray, stated: np.ndarray, *, by_us_rule: bool = False, months: int | None) -> np.ndarray:
    """Return the last day of each validity, datetime64[D]; NaT where nothing says it.

    By the US rule the earlier of the computed and the stated day; `months` hold where no day is stated.
    """
    start, stated = start.astype("datetime64[D]"), stated.astype("datetime64[D]")
    if by_us_rule:
        return np.asarray(np.fmin(us_rule_end(start), stated))
    return np.where(np.isnat(stated), months_later(start, months), stated) if months else stated


def on_day(day: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Return whether each day lies within its validity, both ends included; open where a bound is not known."""
    status = np.where((start <= day) & (day <= end), YES, OPEN)
    return np.where((day < start) | (day > end), NO, status)


def of_size(diameter: np.ndarray, low: np.ndarray, high: np.ndarray, *, slack: float) -> np.ndarray:
    """Return whether each diameter lies within its sizes, both included.

    One side may be unstated (NaN); where both are it cannot be told. Infinite sides mean any size, known or not.
    """
    outside = (diameter < low - slack) | (diameter > high + slack)
    any_size = np.isinf(low) & np.isinf(high)
    unknown = ~any_size & (np.isnan(diameter) | (np.isnan(low) & np.isnan(high)))
    return np.where(outside, NO, np.where(unknown, OPEN, YES))
