"""All figures of progress on one evening, in one frozen object; and the same as plain data, for whoever prints them."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import pandas as pd

from asbuilt.as_built import AsBuilt
from asbuilt.cautions import DECIDING
from asbuilt.progress.calendar import began, day_of
from asbuilt.progress.days import daily, quiet
from asbuilt.progress.forecast import RECENT, Forecast, Remaining, forecasts, remaining
from asbuilt.progress.formulas import at_this_pace, percent_complete
from asbuilt.progress.planned import Comparison, Plan, compare, left_of, plan_of, tie_ins
from asbuilt.progress.stages import expected, on_the_bank, stages
from asbuilt.progress.work import Work, work_of

_DAYS = ("day", "planned", "actual", "first", "last", "by_index", "p50", "p80")  # day numbers, written as dates


@dataclass(frozen=True)
class Figures:
    """Progress on an evening: the tables of `days.daily`, `days.quiet` and `stages.stages`, the comparisons with the
    plan (all first, then by crew; empty without a plan), what is left in its parts (of the whole line last), the
    forecasts, the planned tie-ins, and the day on which the line is done if all goes on as it went on average (NaN:
    nothing is left, or nothing done)."""

    work: Work
    days: pd.DataFrame
    quiet: pd.DataFrame
    stages: pd.DataFrame
    plan: Plan
    compared: tuple[Comparison, ...]
    remaining: tuple[Remaining, ...]
    forecasts: tuple[Forecast, ...]
    tie_ins: pd.DataFrame
    joints: int
    expected: float
    bank_m: float
    untimed: int
    average_end: float

    @property
    def crews(self) -> list[str]:
        """The crews that made joints or have a plan, in order."""
        return sorted({*self.days["crew"], *self.plan.pieces["crew"]} - {""})


def figures(as_built: AsBuilt) -> Figures:
    """Return the figures of a record on the evening of its as-of; the day's joints are in."""
    return figures_of(work_of(as_built))


def figures_of(work: Work) -> Figures:
    """Return the figures of a record on an evening."""
    days, plan = daily(work), plan_of(work)
    crews = [c for c in dict.fromkeys(plan.pieces["crew"]) if c]
    compared = [compare(work, plan, crew) for crew in ("", *crews)]
    made, of = expected(work)
    line = work.joints[work.joints["in_line"].to_numpy(bool)]
    return Figures(
        work=work,
        days=days,
        quiet=quiet(work, plan, days),
        stages=stages(work),
        plan=plan,
        compared=tuple(c for c in compared if c),
        remaining=tuple(remaining(work, plan)),
        forecasts=tuple(forecasts(work, plan, days)),
        tie_ins=tie_ins(work),
        joints=made,
        expected=of,
        bank_m=on_the_bank(work),
        untimed=int(line["day"].isna().sum()),
        average_end=_average_end(work, days),
    )


def _average_end(work: Work, days: pd.DataFrame) -> float:
    """Return the day on which nothing is left at the average pace from the first day of work on, by `at_this_pace`."""
    done, left = float(days["new_m"].sum()), float(left_of(work).sum())
    if days.empty or left < 1:
        return np.nan
    first = began(days["day"].to_numpy(float))
    elapsed = len(work.calendar.working(first, work.evening))
    whole = at_this_pace(elapsed, percent_complete(done, done + left))
    return work.calendar.after(first - 1, int(np.ceil(whole - 1e-9))) if np.isfinite(whole) else np.nan


def as_data(found: Figures) -> dict[str, Any]:
    """Return the figures as plain dicts, lists, numbers, texts and None: lengths in metres, days as ISO dates."""
    compared = [_plain(_fields(c) | {"variance_m": c.variance_m}) for c in found.compared]
    return {
        "as_of": day_of(found.work.evening).isoformat(),
        "joints": found.joints,
        "joints_expected": _value("", found.expected),
        "joints_without_time": found.untimed,
        "end_at_average_pace": day_of(found.average_end).isoformat() if np.isfinite(found.average_end) else None,
        "fused_not_placed_m": round(found.bank_m, 3),
        "stages": records(found.stages),
        "days": records(found.days),
        "days_without_joints": records(found.quiet),
        "planned_against_actual": compared,
        "what_is_left": [_plain(_fields(r) | {"left_m": r.left_m}) for r in found.remaining],
        "forecasts": [_plain(_fields(f)) for f in found.forecasts],
        "tie_ins": records(found.tie_ins),
        "assumptions": assumptions(found),
    }


def _fields(of: Any) -> dict[str, Any]:
    return {field.name: getattr(of, field.name) for field in fields(of)}


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Return a table as plain rows, its days as ISO dates."""
    return [_plain(row) for row in frame.to_dict("records")]


def _plain(row: Mapping[Any, Any]) -> dict[str, Any]:
    return {str(name): _value(str(name), value) for name, value in row.items()}


def _value(name: str, value: Any) -> Any:
    if not isinstance(value, float | np.floating):
        return value if isinstance(value, str | int) else str(value)
    if not np.isfinite(value):
        return None
    if name in _DAYS:
        return day_of(float(value)).isoformat()
    return int(value) if float(value).is_integer() else round(float(value), 3)


def _began(found: Figures) -> float:
    return began(found.days["day"].to_numpy(float)) if len(found.days) else -np.inf


def assumptions(found: Figures) -> list[str]:
    """Say what the figures rest on, and what they leave open."""
    work, week = found.work, ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
    said = [
        "Covered from the evening on which both joints of a stretch were made; a metre counts once, gaps in the records"
        " are no covered length. The record is as known now, up to that day.",
        "A crew is the name of its record file, or what route.toml calls it (crew in [[records]]): no record says who"
        " made the joint but by machine and operator.",
        f"Working days: {', '.join(week[d] for d in work.schedule.working_days)}, less the holidays and weather days of"
        " the plan.",
        "A working day without a record counts as a day with nothing done: nobody worked, or no file has come.",
        f"Forecasts draw each coming day from the last {RECENT} working days of the same crew, as if days did not"
        " depend on one another, pace and crews stayed, and no other work stood in the way. P50: half of the runs were"
        " done by then, P80: four of five.",
    ]
    if strangers := sorted({*found.plan.pieces["crew"]} - {*work.joints["crew"], ""}):
        names = ", ".join(strangers)
        said.append(f"The plan names {names}: no record file has this name, and nothing is counted as theirs.")
    if not found.compared:
        said.append("There is no plan of reaches (plan.csv): no variances, and forecasts of the whole line only.")
    if found.untimed:
        said.append(f"{found.untimed} joints carry no time: they are in no day, and in no evening's figures.")
    early = int((work.made["day"] < _began(found)).sum())
    if early:
        said.append(f"{early} joints carry a time half a year or more before the others: was a clock never set?")
    if not work.schedule.shift_h:
        said.append("No shift is stated ([plan] shift): the ceiling counts the hours from first to last joint.")
    return [*said, DECIDING]
