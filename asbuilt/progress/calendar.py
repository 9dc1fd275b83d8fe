"""Days as numbers since 1970-01-01, and which of them are for work."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

_EPOCH = date(1970, 1, 1)
_THURSDAY = 3  # what 1970-01-01 was, 0 being Monday
_LULL = 180.0  # days


def day_number(day: date) -> float:
    """Return the number of a day.

    >>> day_number(date(2026, 3, 12))
    20524.0
    """
    return float((day - _EPOCH).days)


def day_of(number: float) -> date:
    """Return the day of a number.

    >>> day_of(20524.0)
    datetime.date(2026, 3, 12)
    """
    return _EPOCH + timedelta(days=int(number))


def date_text(day: float) -> str:
    """Write a day with its weekday; "-" where it is not known.

    >>> date_text(20524.0)
    'Thu 2026-03-12'
    """
    return f"{day_of(day):%a %Y-%m-%d}" if np.isfinite(day) else "-"


def day_numbers(local: pd.Series) -> np.ndarray:
    """Return the day of local times in ISO 8601, shape (n,); NaN where nothing stands.

    >>> day_numbers(pd.Series(["2026-03-12T23:59:00+11:00", ""])).tolist()
    [20524.0, nan]
    """
    days = pd.to_datetime(local.str.slice(0, 10).where(local != ""), format="%Y-%m-%d")
    return numbers_of(days)


def moments(local: pd.Series) -> np.ndarray:
    """Return local times in ISO 8601 as days with their part, by the clock they are in, shape (n,); NaN: none.

    >>> moments(pd.Series(["2026-03-12T12:00:00+11:00", ""])).tolist()
    [20524.5, nan]
    """
    clock = pd.to_datetime(local.str.slice(0, 19).where(local != ""), format="%Y-%m-%dT%H:%M:%S")
    return ((clock - pd.Timestamp(0)) / pd.Timedelta(days=1)).to_numpy(float)


def numbers_of(days: pd.Series) -> np.ndarray:
    """Return the numbers of days, shape (n,); NaN for NaT."""
    found = (days - pd.Timestamp(0)) / pd.Timedelta(days=1)
    return np.floor(found.to_numpy(float))


def began(days: np.ndarray) -> float:
    """Return the day on which work began: the first that no lull of half a year parts from the middle of the days.

    What lies before such a lull is a clock that was never set rather than work, as for the as-of of a record.

    >>> began(np.array([0.0, 20500.0, 20501.0, 20502.0]))
    20500.0
    """
    every = np.sort(days)
    lulls = np.flatnonzero(np.diff(every) > _LULL)
    before = lulls[lulls < len(every) // 2]
    return float(every[before[-1] + 1 if len(before) else 0])


@dataclass(frozen=True)
class Calendar:
    """Who works when. `week` holds the weekdays of work, 0: Monday; `off` and `weather` the days without work by crew;
    those of "" are everybody's."""

    week: tuple[int, ...]
    off: dict[str, frozenset[float]]
    weather: dict[str, frozenset[float]]

    def is_off(self, days: np.ndarray, crew: str = "") -> np.ndarray:
        """Return which days are holidays, shape (n,)."""
        return np.isin(days, _of(self.off, crew))

    def is_weather(self, days: np.ndarray, crew: str = "") -> np.ndarray:
        """Return which days are weather days, shape (n,)."""
        return np.isin(days, _of(self.weather, crew))

    def in_week(self, days: np.ndarray) -> np.ndarray:
        """Return which days are of the working week, shape (n,)."""
        return np.isin((days + _THURSDAY) % 7, self.week)

    def planned(self, first: float, last: float, crew: str = "") -> np.ndarray:
        """Return the days from first to last that a plan may count on: of the week, and no holiday."""
        days = np.arange(first, last + 1)
        return days[self.in_week(days) & ~self.is_off(days, crew)]

    def working(self, first: float, last: float, crew: str = "") -> np.ndarray:
        """Return the days from first to last on which work is possible: those of a plan without the weather days."""
        days = self.planned(first, last, crew)
        return days[~self.is_weather(days, crew)]

    def after(self, day: float, count: int, crew: str = "") -> float:
        """Return the working day that is the `count`th after a day; 0: the day itself; NaN where there is none.

        >>> week = Calendar((0, 1, 2, 3, 4), {}, {})
        >>> str(day_of(week.after(day_number(date(2026, 3, 13)), 1)))
        '2026-03-16'
        """
        if count == 0:
            return day
        days = self.working(day + 1, day + 40 + 8 * count, crew)
        return float(days[count - 1]) if len(days) >= count else np.nan


def _of(days: dict[str, frozenset[float]], crew: str) -> list[float]:
    mine: Iterable[float] = days.get(crew, frozenset()) if crew else ()
    return sorted({*mine, *days.get("", frozenset())})


def calendar_of(rows: pd.DataFrame, week: tuple[int, ...]) -> Calendar:
    """Return the calendar that a plan states. `rows` are of `as_built.Schedule`."""
    days = numbers_of(rows["date"])
    of = {}
    for kind in ("holiday", "weather"):
        here = (rows["kind"] == kind).to_numpy()
        crews = rows["crew"].to_numpy(object)[here]
        of[kind] = {str(c): frozenset(days[here][crews == c].tolist()) for c in dict.fromkeys(crews)}
    return Calendar(week, of["holiday"], of["weather"])
