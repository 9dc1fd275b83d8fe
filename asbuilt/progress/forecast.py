"""When the rest may be done, as a range: recent crew-days drawn again and again.

A resampled forecast of this kind is common practice (no source); the bootstrap is B. Efron's (1979; from memory).
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from asbuilt.progress.calendar import began
from asbuilt.progress.planned import Plan, at_open_tie_ins, left_of, tie_ins
from asbuilt.progress.work import Work, bores

RECENT = 15  # crew-days that are drawn from (the writers' judgement: half a month of work)
ENOUGH = 5  # fewer days with anything done tell nothing (the writers' judgement)
_RUNS = 2000
_LONGEST = 1500  # working days; what takes longer than five years is no forecast
_SEED = 20260312
_DONE = 0.5  # of a metre: nothing left


@dataclass(frozen=True)
class Forecast:
    """When something may be done. `p50` and `p80` are days: half, and four of five, of the runs were done by then.

    `left` and `rate` (a working day) are in metres, or pieces for tie-ins; `days_n` is how many crew-days were drawn
    from, `idle_n` how many of these had nothing. NaN days and a `why` where it cannot be told, or nothing is left.
    """

    what: str
    crew: str
    left: float
    rate: float
    days_n: int
    idle_n: int
    p50: float = np.nan
    p80: float = np.nan
    why: str = ""


@dataclass(frozen=True)
class Remaining:
    """What is left to be fused, metres, in three parts that add up: along the line (what a forecast of days counts), at
    planned tie-ins that are not made (the work of a tie-in), and in bores.

    `of` is "crew": of the reaches of `crew`; "no plan": what no crew has in its plan; or "line": all of it.
    """

    of: str
    crew: str
    along_m: float
    at_tie_ins_m: float
    in_bores_m: float

    @property
    def left_m(self) -> float:
        """All of it."""
        return self.along_m + self.at_tie_ins_m + self.in_bores_m


def remaining(work: Work, plan: Plan) -> list[Remaining]:
    """Return what is left: of each crew that has a plan, of what is in no crew's plan, and of the whole line last."""
    stretches, left, waits = work.stretches, left_of(work), at_open_tie_ins(work)
    by_line = {
        str(line): bores(work.tables["strings"], work.plan, str(line)) for line in work.tables["alignment"]["line"]
    }
    named = Plan(plan.pieces[(plan.pieces["crew"] != "").to_numpy()])
    crews = [str(crew) for crew in dict.fromkeys(named.pieces["crew"])]
    reach, whole = np.stack([named.share_of(stretches), named.share_of(stretches, by_line)]), _whole_share(stretches)
    shares = {("crew", c): np.stack([plan.of(c).share_of(stretches, also) for also in (None, by_line)]) for c in crews}
    shares |= {("no plan", ""): whole - reach} if crews else {}
    shares["line", ""] = whole
    return [
        Remaining(*who, *(max(float(m.sum()), 0.0) for m in _parts(left, waits, *share)))
        for who, share in shares.items()
    ]


def _whole_share(stretches: pd.DataFrame) -> np.ndarray:
    """Return of each stretch all of it, and which share is in bores, shape (2, n)."""
    span, bored = (stretches["high"] - stretches["low"]).to_numpy(float), stretches["bore_m"].to_numpy(float)
    return np.stack([np.ones(len(span)), np.divide(bored, span, out=np.zeros(len(span)), where=span > 0)])


def _parts(left: np.ndarray, waits: np.ndarray, share: np.ndarray, bored: np.ndarray) -> list[np.ndarray]:
    """Return what is left of each stretch along the line, at tie-ins, in bores. `share` of it counts, `bored` of the
    stretch counts and is in a bore; where in a stretch its open part lies is not known, so that shares stand for it."""
    days = np.where(waits, 0.0, left)
    return [days * (share - bored), np.where(waits, left * share, 0.0), days * bored]


def working_days_needed(left: float, recent: np.ndarray, *, runs: int = _RUNS, seed: int = _SEED) -> np.ndarray:
    """Return how many working days it takes until `left` is done, in each run, shape (runs,); infinity: not in years.

    Each future day is one of `recent` (what was done on each of the last working days, shape (k,)), drawn with
    replacement: days are taken as independent of one another and of what is to come. The same seed gives the same runs.
    """
    if left <= 0:
        return np.zeros(runs)
    mean = float(np.mean(recent)) if len(recent) else 0.0
    if mean <= 0:
        return np.full(runs, np.inf)
    horizon = int(min(_LONGEST, 20 + np.ceil(3 * left / mean)))
    drawn = np.random.default_rng(seed).choice(recent, size=(runs, horizon))
    total = np.cumsum(drawn, axis=1)
    reached = total >= left - 1e-9
    return np.where(reached[:, -1], reached.argmax(axis=1) + 1.0, np.inf)


def recent_days(work: Work, days: pd.DataFrame, value: str, crew: str = "") -> np.ndarray:
    """Return what was done on each of the last working days of a crew (or of all), oldest first, shape (k,).

    `days` is of `days.daily`. A working day without a record counts as nothing done; holidays, weather days and days
    outside the week count only where something was done on them.
    """
    own = days[(days["crew"] == crew).to_numpy()] if crew else days
    if own.empty:
        return np.zeros(0)
    done = own.groupby("day")[value].sum()
    worked = done.index.to_numpy(float)
    every = np.union1d(work.calendar.working(began(worked), work.evening, crew), worked)
    return done.reindex(every, fill_value=0.0).to_numpy(float)[-RECENT:]


def forecasts(work: Work, plan: Plan, days: pd.DataFrame) -> list[Forecast]:
    """Return the forecasts: of each crew that has a plan, of the whole line, of bores and of tie-ins.

    Bores and tie-ins are apart: their pace is another, and too few days of them tell nothing.
    """
    table = days.assign(line_m=days["new_m"] - days["bore_m"])
    *others, line = remaining(work, plan)
    of_crews = [
        _forecast(work, table, "line_m", crew=part.crew, left=part.along_m) for part in others if part.of == "crew"
    ]
    unplanned = sum(part.along_m for part in others if part.of == "no plan")
    whole = _whole(work, table, of_crews, left=line.along_m, unplanned=unplanned)
    bore = _forecast(work, table, "bore_m", left=line.in_bores_m, what="bores")
    ties = tie_ins(work)
    open_ties = float(ties["actual"].isna().sum())
    tied = _forecast(work, table, "tie_ins", left=open_ties, what="tie-ins") if len(ties) else None
    return [*of_crews, whole, bore, *([tied] if tied else [])]


def _forecast(
    work: Work, table: pd.DataFrame, value: str, *, left: float, crew: str = "", what: str = "line"
) -> Forecast:
    recent = recent_days(work, table, value, crew)
    busy = int((recent > 0).sum())
    rate = float(recent.mean()) if len(recent) else np.nan
    base = Forecast(what, crew, left, rate, len(recent), len(recent) - busy)
    why = _why_not(left, busy)
    if why:
        return replace(base, why=why)
    runs = working_days_needed(left, recent)
    return _with_range(base, work, runs)


def _why_not(left: float, busy: int) -> str:
    if left < _DONE:
        return "nothing left that the records or the plan know of"
    if busy < ENOUGH:
        return f"cannot be told from {busy} {'day' if busy == 1 else 'days'} of it: {ENOUGH} are needed"
    return ""


def _with_range(base: Forecast, work: Work, runs: np.ndarray) -> Forecast:
    p50, p80 = (_finish(work, base.crew, float(np.quantile(runs, q, method="higher"))) for q in (0.5, 0.8))
    why = "" if np.isfinite(p50) else f"not within {_LONGEST} working days at this pace"
    return replace(base, p50=p50, p80=p80, why=why)


def _finish(work: Work, crew: str, days: float) -> float:
    return work.calendar.after(work.evening, int(days), crew) if np.isfinite(days) else np.nan


def _whole(work: Work, table: pd.DataFrame, of_crews: list[Forecast], *, left: float, unplanned: float) -> Forecast:
    """Return the forecast of the line: when the last of its crews is done, each by itself; without a plan, at the pace
    of all crews together. Reaches of crews may overlap, so that theirs may be more than what is `left`."""
    if not of_crews or left < _DONE:
        return _forecast(work, table, "line_m", left=left)
    recent = recent_days(work, table, "line_m")
    base = Forecast(
        "line", "", left, float(recent.mean()) if len(recent) else np.nan, len(recent), int((recent <= 0).sum())
    )
    if unplanned > _DONE:
        return replace(base, why=f"{work.unit.text(unplanned, 0)} of it are in no crew's plan")
    busy = [f for f in of_crews if f.left >= _DONE]
    stuck = [f.crew for f in busy if np.isnan(f.p50)]
    if stuck:
        return replace(base, why=f"cannot be told for {', '.join(stuck)}")
    runs = [
        working_days_needed(f.left, recent_days(work, table, "line_m", f.crew), seed=_SEED + i)
        for i, f in enumerate(busy)
    ]
    finish = [_finishes(work, f.crew, r) for f, r in zip(busy, runs, strict=True)]
    p50, p80 = (float(np.quantile(np.max(finish, axis=0), q, method="higher")) for q in (0.5, 0.8))
    return replace(base, p50=_known(p50), p80=_known(p80))


def _known(day: float) -> float:
    return day if np.isfinite(day) else np.nan


def _finishes(work: Work, crew: str, runs: np.ndarray) -> np.ndarray:
    """Return the day on which each run ends, infinity where it does not; each number of days is looked up once."""
    counts, at = np.unique(runs, return_inverse=True)
    days = np.array([_finish(work, crew, n) for n in counts])
    return np.nan_to_num(days, nan=np.inf)[at]
