"""The daily table: what each crew and machine did on each day, and the days of which there is nothing."""

import numpy as np
import pandas as pd

from asbuilt.look import IN_WINDOW, OUT_OF_WINDOW
from asbuilt.progress.calendar import began
from asbuilt.progress.planned import Plan, reach_is_done
from asbuilt.progress.work import Work

_BY = ["day", "crew", "machine"]
_MINUTES = {"s": 1 / 60, "min": 1.0}
_CYCLE = ("soak_time", "cooling_time")  # what no joint can do without, of the times that a procedure gives
# What a day without a joint of a crew is.
NO_RECORD, DONE = "no record", "reach done"
HOLIDAY, WEATHER, OUTSIDE_WEEK = "holiday", "weather day", "not a working day"


def daily(work: Work) -> pd.DataFrame:
    """Return one row for each day, crew and machine that made a joint by the evening, in order.

    Columns: day (number), crew, machine; joints (in line), production, tie_ins, fittings, new_m (newly covered, each
    metre once), bore_m (of it in bores), out_of_window, first_made (joints made there for the first time), first_good
    (of these in window, and never cut out), remade, trials, hours (from the first joint to the last), ceiling (joints
    that the times of the procedure allow in the shift, or in those hours; NaN: not known).
    """
    joints = work.joints[(work.joints["day"] <= work.evening).to_numpy()]
    frame = pd.concat([_counted(joints), _new(work.closed), _ceilings(work, joints)], axis=1)
    counts = frame.columns.difference(["hours", "ceiling"])
    frame = frame.fillna(dict.fromkeys(counts, 0.0))
    return frame.sort_index().reset_index()


def _counted(joints: pd.DataFrame) -> pd.DataFrame:
    line, kind = joints["in_line"].to_numpy(bool), joints["kind"].to_numpy(object)
    made = kind != "trial"
    again = joints["replaces"].to_numpy(object) != ""
    verdict = joints["fusion_verdict"].to_numpy(object)
    flags = {
        "joints": line,
        "production": line & (kind == "production"),
        "tie_ins": line & (kind == "tie-in"),
        "fittings": line & (kind == "fitting"),
        "out_of_window": line & (verdict == OUT_OF_WINDOW),
        "first_made": made & ~again,
        "first_good": made & ~again & line & (verdict == IN_WINDOW),
        "remade": line & again,
        "trials": ~made,
    }
    marked = joints[_BY].assign(**flags)
    return marked.groupby(_BY)[list(flags)].sum()


def _new(closed: pd.DataFrame) -> pd.DataFrame:
    """Return what each closed for the first time: a metre once, however many joints lie on it."""
    span = (closed["high"] - closed["low"]).to_numpy(float)
    covered, bore = (closed[name].to_numpy(float) for name in ("covered_m", "bore_m"))
    share = np.divide(covered, span, out=np.zeros(len(span)), where=span > 0)
    frame = closed[_BY].assign(new_m=covered, bore_m=bore * share)
    frame = frame[np.isfinite(frame["day"].to_numpy(float))]
    return frame.groupby(_BY)[["new_m", "bore_m"]].sum()


def _ceilings(work: Work, joints: pd.DataFrame) -> pd.DataFrame:
    """Return the hours of each machine's day, and how many joints fit by soak and cooling alone.

    Facing, setting up and moving come on top: a real ceiling is lower. More joints than this ask about the clock.
    """
    line = joints[joints["in_line"].to_numpy(bool)]
    cycle = line["joint_id"].map(cycle_minutes(work.tables["window_checks"]))
    told = line[_BY].assign(at=line["fused_at"], cycle=cycle.to_numpy(float)).groupby(_BY)
    days = told.agg(first=("at", "min"), last=("at", "max"), cycle=("cycle", "median"))
    hours = (days["last"] - days["first"]).dt.total_seconds() / 3600
    shift = work.schedule.shift_h
    fit = np.floor(shift * 60 / days["cycle"]) if shift else 1 + np.floor(hours * 60 / days["cycle"])
    return pd.DataFrame({"hours": hours, "ceiling": fit})


def cycle_minutes(checks: pd.DataFrame) -> pd.Series:
    """Return the least time of one joint by its windows, soak and cooling, in minutes, by joint_id.

    A joint of which either is not known has none.
    """
    rows = checks[checks["check"].isin(_CYCLE) & checks["low"].notna()]
    minutes = rows["low"] * rows["unit"].map(_MINUTES).astype(float)
    both = minutes.groupby([rows["joint_id"], rows["check"]]).max().unstack()
    known = [name for name in _CYCLE if name in both]
    if len(known) < len(_CYCLE):
        return pd.Series(dtype=float)
    return both[list(_CYCLE)].sum(axis=1, skipna=False)


def quiet(work: Work, plan: Plan, days: pd.DataFrame) -> pd.DataFrame:
    """Return the days on which a crew made no joint, from its first day to the evening: day, crew, state.

    `days` is of `daily`. The calendar says holiday, weather day, not a working day; a crew that has covered its planned
    reach is done. What remains is `no record`: whether nobody worked or no file has come, no record tells.
    """
    columns = ["day", "crew", "state"]
    found = [_quiet(work, plan, str(crew), own["day"].to_numpy(float)) for crew, own in days.groupby("crew")]
    return pd.concat(found, ignore_index=True) if found else pd.DataFrame(columns=columns)


def _quiet(work: Work, plan: Plan, crew: str, worked: np.ndarray) -> pd.DataFrame:
    every = np.arange(began(worked), work.evening + 1)
    idle = every[~np.isin(every, worked)]
    done = (idle > worked.max()) & reach_is_done(work, plan, crew)
    state = np.select(
        [done, ~work.calendar.in_week(idle), work.calendar.is_off(idle, crew), work.calendar.is_weather(idle, crew)],
        [DONE, OUTSIDE_WEEK, HOLIDAY, WEATHER],
        NO_RECORD,
    )
    return pd.DataFrame({"day": idle, "crew": crew, "state": state})
