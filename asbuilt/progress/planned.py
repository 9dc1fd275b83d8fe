"""The plan, day by day and place by place: what was to be fused by an evening, and by which evening a place."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from asbuilt.progress.calendar import Calendar, numbers_of
from asbuilt.progress.formulas import duration_by_index, earned_schedule, required_rate, schedule_index
from asbuilt.progress.rows import each
from asbuilt.progress.spans import common, first_days, union, within
from asbuilt.progress.work import Work

_REACHES = ("work", "bore")
_NOTHING = 0.5  # metres: what is left of a reach that is done
_ABOUT = 3.0  # sticks: so long a stretch may be that waits for a tie-in (the writers' judgement)


@dataclass(frozen=True)
class Plan:
    """The planned pieces: one for each day of each reach. `pieces` has crew, line, day, begin, end (metres, in the
    order of the work), low, high and is_bore."""

    pieces: pd.DataFrame

    def of(self, crew: str) -> "Plan":
        """Return the plan of one crew; "": of all."""
        return Plan(self.pieces[(self.pieces["crew"] == crew).to_numpy()]) if crew else self

    @property
    def first(self) -> float:
        """The first day of the plan."""
        return float(self.pieces["day"].min())

    @property
    def last(self) -> float:
        """The last day of the plan."""
        return float(self.pieces["day"].max())

    def days(self, calendar: Calendar, until: float, crew: str) -> np.ndarray:
        """Return the days on which the plan counts up to a day: those of the calendar, and those that it names itself,
        though they lie outside the week."""
        own = self.pieces["day"].to_numpy(float)
        return np.union1d(calendar.planned(self.first, until, crew), own[own <= until])

    @cached_property
    def by_place(self) -> dict[str, tuple[np.ndarray, np.ndarray]]:
        """By line: the edges of its planned parts, and the first day of each; infinity where nothing is planned."""
        return {
            str(line): first_days(*(own[name].to_numpy(float) for name in ("low", "high", "day")))
            for line, own in self.pieces.groupby("line", sort=False)
        }

    def length_by(self, days: np.ndarray) -> np.ndarray:
        """Return the length that was to be done by the evenings of `days`, metres: each metre of the line once."""
        parts = [np.column_stack([day, np.diff(edges)]) for edges, day in self.by_place.values()]
        every = np.concatenate(parts) if parts else np.zeros((0, 2))
        every = every[np.isfinite(every[:, 0])]
        every = every[np.argsort(every[:, 0], kind="stable")]
        total = np.append(0.0, np.cumsum(every[:, 1]))
        return np.asarray(total[np.searchsorted(every[:, 0], days, side="right")])

    def day_at(self, line: str, chainage: np.ndarray) -> np.ndarray:
        """Return the day by which each place was to be fused, shape (n,); NaN where nothing is planned."""
        if line not in self.by_place:
            return np.full(len(chainage), np.nan)
        edges, day = self.by_place[line]
        at = np.searchsorted(edges, chainage, side="right") - 1
        inside = (at >= 0) & (at < len(day))
        found = np.where(inside, day[np.clip(at, 0, len(day) - 1)], np.inf)
        return np.where(np.isfinite(found), found, np.nan)

    def share_of(self, stretches: pd.DataFrame, also: Mapping[str, np.ndarray] | None = None) -> np.ndarray:
        """Return which share of each stretch lies in the plan, shape (n,); `also`: and in these spans of each line."""
        share = np.zeros(len(stretches))
        low, high = stretches["low"].to_numpy(float), stretches["high"].to_numpy(float)
        for line, own in self.pieces.groupby("line", sort=False):
            here = (stretches["line"] == line).to_numpy() & (high > low)
            spans = union(own["low"].to_numpy(float), own["high"].to_numpy(float))
            spans = spans if also is None else common(spans, also.get(str(line), np.zeros((0, 2))))
            share[here] = within(low[here], high[here], spans) / (high[here] - low[here])
        return share


def plan_of(work: Work) -> Plan:
    """Return the plan of a record, spread over its working days.

    A reach is spread evenly over the working days from its first day (stated, else the day after the same crew's reach
    before it, else its own day) to its day. Holidays are left out; weather days are not: they do not move a plan.
    """
    rows = work.plan[work.plan["kind"].isin(_REACHES)].reset_index(drop=True)
    last = numbers_of(rows["date"])
    start = _starts(rows, last)
    crews = rows["crew"].to_numpy(object)
    spread = [work.calendar.planned(*reach) for reach in zip(start, last, crews, strict=True)]
    days = [own if len(own) else last[[i]] for i, own in enumerate(spread)]
    return Plan(_pieces(rows, days))


def _pieces(rows: pd.DataFrame, days: list[np.ndarray]) -> pd.DataFrame:
    """Return each reach in equal pieces, one for each of its days."""
    counts = np.array([len(own) for own in days], dtype=int)
    row = np.repeat(np.arange(len(rows)), counts)
    nth = np.arange(len(row)) - np.repeat(np.cumsum(counts) - counts, counts)
    begin, end = (rows[f"{side}_chainage_m"].to_numpy(float)[row] for side in ("from", "to"))
    step = (end - begin) / counts[row]
    ends = np.column_stack([begin + nth * step, begin + (nth + 1) * step])
    low, high = ends.min(axis=1), ends.max(axis=1)
    of = {name: rows[name].to_numpy(object)[row] for name in ("crew", "line")}
    of |= {"is_bore": (rows["kind"] == "bore").to_numpy(bool)[row]}
    day = np.concatenate([np.zeros(0), *days])
    return pd.DataFrame(of | {"day": day, "begin": ends[:, 0], "end": ends[:, 1], "low": low, "high": high})


def _starts(rows: pd.DataFrame, last: np.ndarray) -> np.ndarray:
    """Return the first day of each reach."""
    order = rows.assign(last=last).groupby("crew")["last"]
    before = order.transform(lambda days: days.map(_previous(days))).to_numpy(float)
    stated = numbers_of(rows["start"])
    start = np.where(np.isnan(stated), before + 1, stated)
    return np.where(np.isnan(start), last, np.minimum(start, last))


def _previous(days: pd.Series) -> dict[float, float]:
    distinct = sorted(set(days))
    return dict(zip(distinct, [np.nan, *distinct[:-1]], strict=True))


# ---- planned against actual ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Comparison:
    """Planned against actual on an evening, of one crew or ("") of all. Lengths in metres, days as numbers.

    `gap_m` of the scope has missing records and earns nothing. `index` is SPI(t), of a finished reach on the day that
    it was finished; `late_days` how much later than planned the farthest place was reached (calendar days, negative:
    earlier), at the chainage `at_m` of `line`; `required_m` what each working day until the planned end has to bring.
    """

    crew: str
    planned_m: float
    done_m: float
    scope_m: float
    left_m: float
    first: float
    last: float
    gap_m: float
    earned_days: float
    elapsed_days: float
    index: float
    by_index: float
    late_days: float
    line: str
    at_m: float
    working_days_left: int
    required_m: float

    @property
    def variance_m(self) -> float:
        """Actual less planned length: negative is behind."""
        return self.done_m - self.planned_m


def compare(work: Work, plan: Plan, crew: str = "") -> Comparison | None:
    """Return planned against actual on the reaches of a crew, or of all; None where nothing is planned."""
    own = plan.of(crew)
    if own.pieces.empty:
        return None
    evening, calendar = work.evening, work.calendar
    done, left = done_of(work, own), float((left_of(work) * own.share_of(work.stretches)).sum())
    periods = own.days(calendar, own.last, crew)
    earned = earned_schedule(done, own.length_by(periods))
    until = evening if left >= _NOTHING else _finished(work, own)
    elapsed = float(len(own.days(calendar, until, crew)))
    index = schedule_index(earned, elapsed)
    late, line, at = _lateness(work, own, crew)
    remaining = calendar.working(evening + 1, own.last, crew)
    after = evening if left >= _NOTHING else -np.inf  # what is left is done on a later day, whatever the index says
    planned, scope = own.length_by(np.array([evening, np.inf])).tolist()
    return Comparison(
        crew=crew,
        planned_m=planned,
        done_m=done,
        scope_m=scope,
        left_m=left,
        gap_m=max(scope - done - left, 0.0),
        first=own.first,
        last=own.last,
        earned_days=earned,
        elapsed_days=elapsed,
        index=index,
        by_index=_end_by_index(own, calendar, crew, spent=duration_by_index(len(periods), index), after=after),
        late_days=late,
        line=line,
        at_m=at,
        working_days_left=len(remaining),
        required_m=required_rate(left, len(remaining)),
    )


def _finished(work: Work, own: Plan) -> float:
    """Return the day on which the last stretch of a plan was closed; the evening where there is none."""
    closed = work.closed
    days = closed["day"].to_numpy(float)[own.share_of(closed) > 0]
    return float(days.max()) if len(days) else work.evening


def _end_by_index(own: Plan, calendar: Calendar, crew: str, *, spent: float, after: float) -> float:
    """Return the day on which a crew's work ends if it takes as many working days as SPI(t) says; NaN where it says
    nothing. It is a day of the crew's own calendar, and later than `after`."""
    if not np.isfinite(spent):
        return np.nan
    found = calendar.after(own.first - 1, int(np.ceil(spent - 1e-9)), crew)
    return max(found, calendar.after(after, 1, crew)) if np.isfinite(after) else found


def done_of(work: Work, plan: Plan) -> float:
    """Return the length covered by the evening within a plan, metres."""
    closed = work.closed
    return float((closed["covered_m"].to_numpy(float) * plan.share_of(closed)).sum())


def left_of(work: Work) -> np.ndarray:
    """Return what is still to be fused of each stretch, metres, shape (n,): missing records are no work to come, nor is
    what lies between two joints on record of which one carries no time."""
    stretches = work.stretches
    closed = (stretches["day"] <= work.evening).to_numpy() | stretches["day"].isna().to_numpy()
    return np.where(closed, stretches["open_m"], stretches["high"] - stretches["low"])


def _lateness(work: Work, own: Plan, crew: str) -> tuple[float, str, float]:
    """Return the time variance at the place of the plan that was reached last, and that place.

    The day a place was covered less the day it was planned for, at the place with the latest planned day among those
    covered: the gap along the time axis of a time-chainage chart (needs no source; the definition is ours).
    """
    closed = work.closed[(work.closed["covered_m"] > 0).to_numpy()]
    closed = closed[(closed["crew"] == crew).to_numpy()] if crew else closed
    middle = ((closed["low"] + closed["high"]) / 2).to_numpy(float)
    planned = np.full(len(closed), np.nan)
    for line in own.by_place:
        here = (closed["line"] == line).to_numpy()
        planned[here] = own.day_at(line, middle[here])
    if not np.isfinite(planned).any():
        return np.nan, "", np.nan
    actual = closed["day"].to_numpy(float)
    front = planned == np.nanmax(planned)
    at = np.flatnonzero(front)[np.argmax(actual[front])]
    return float(actual[at] - planned[at]), str(closed["line"].iloc[at]), float(middle[at])


def reach_is_done(work: Work, plan: Plan, crew: str) -> bool:
    """Whether a crew has a plan and nothing of it is left to be fused."""
    own = plan.of(crew)
    return not own.pieces.empty and float((left_of(work) * own.share_of(work.stretches)).sum()) < _NOTHING


def at_open_tie_ins(work: Work) -> np.ndarray:
    """Return which stretches wait for a planned tie-in alone, shape (n,): a few sticks about one that is not made.

    What is left of them is the work of a tie-in, not of a day's length.
    """
    stretches, ties = work.stretches, tie_ins(work)
    low, high = stretches["low"].to_numpy(float), stretches["high"].to_numpy(float)
    found = np.zeros(len(stretches), dtype=bool)
    for tie in each(ties[ties["actual"].isna().to_numpy()]):
        here = (stretches["line"] == tie.line).to_numpy() & (high - low <= _ABOUT * work.schedule.stick_m)
        found |= here & (low - _NOTHING <= tie.at_m) & (tie.at_m <= high + _NOTHING)
    return found


def tie_ins(work: Work) -> pd.DataFrame:
    """Return the planned tie-ins: crew, line, at_m, planned and actual day (of one made within a stick; NaN: none)."""
    rows = work.plan[work.plan["kind"] == "tie-in"]
    made = work.made[(work.made["kind"] == "tie-in").to_numpy() & work.made["chainage_m"].notna().to_numpy()]
    at, line = rows["from_chainage_m"].to_numpy(float), rows["line"].to_numpy(object)
    away = np.abs(at[:, None] - made["chainage_m"].to_numpy(float)[None, :])
    away[line[:, None] != made["line"].to_numpy(object)[None, :]] = np.inf
    near = away.argmin(axis=1) if len(made) else np.zeros(len(rows), dtype=int)
    found = away.min(axis=1, initial=np.inf) <= work.schedule.stick_m
    days = made["day"].to_numpy(float)[near] if len(made) else np.full(len(rows), np.nan)
    columns = {"crew": rows["crew"].to_numpy(object), "line": line, "at_m": at, "planned": numbers_of(rows["date"])}
    return pd.DataFrame(columns | {"actual": np.where(found, days, np.nan)})
