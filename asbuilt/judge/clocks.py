"""Clocks that are wrong for a whole file or for days of one machine, as far as the records show it. No time is changed.

A day of work is a session: joints of one machine without a lull of five hours, so that a clock in another zone does
not cut it at midnight.
"""

from collections.abc import Iterator
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from asbuilt.judge.finding import Finding, span
from asbuilt.judge.timing import lost_afternoons, lost_clocks, numbered, resets, too_close, two_places
from asbuilt.quantities import METRE, LengthUnit

_HOUR = pd.Timedelta(hours=1)
_LULL_H = 5.0  # parts two sessions: longer than a break, shorter than a night
_TO_SD = 1.4826
_FLOOR_H = 0.25  # starts of crews scatter by that much at least
_HABIT_H = 0.5  # standard deviation between the hours of two crews (common practice, no source)
_APART_H = 2.0  # crews start an hour or more apart by habit, and summer time is one (common practice, no source)
_DAY_APART_H = 1.5  # the same within one machine, whose starts are known
_CLEAR_H = 1.0  # and so much must part them from every ordinary day
_MORNING = (4.0, 12.0)  # work by day starts between these hours (common practice, no source)
_NIGHT = (20.0, 4.0)
_FIRST = (5.0, 10.0)  # and the first joint of a day is mostly done between these
_LATE_H = 23.0  # nobody makes up for a lost morning until then (common practice, no source)
_FILE_DAYS, _DAYS, _JOINTS = 3, 5, 4  # sessions of a file; other sessions of the machine; joints of a session


def clock_findings(
    rows: pd.DataFrame, zone: ZoneInfo, *, metres_per_unit: float = 1.0, unit: LengthUnit = METRE
) -> tuple[Finding, ...]:
    """Return what the times of the records contradict. `zone` is that of the route: the hours of day are in it.

    `rows` are of `read.records`, those kept (joints, superseded, trials), without duplicates: source_file, sheet,
    source_row, joint, machine, operator, fused_at (UTC), soak_time_s, cooling_time_min, easting, northing (in units of
    `metres_per_unit`). What a proposal says comes on top of a clock correction that the source may have already.
    """
    rows, local = _timed(rows, zone)
    told = [*lost_clocks(rows)]
    series = numbered(_without(rows, local, told)[0])
    told += [*lost_afternoons(series, local), *resets(series)]
    rows, local = _without(rows, local, told)
    days = _sessions(rows, local)
    files = list(_files(rows, days, zone))
    wrong = {name for name, _ in files}
    shifted = [finding for _, finding in files] + list(_days(rows, days[~days["source_file"].isin(wrong)]))
    return (*shifted, *told, *too_close(rows), *two_places(rows, metres_per_unit=metres_per_unit, unit=unit))


def _timed(rows: pd.DataFrame, zone: ZoneInfo) -> tuple[pd.DataFrame, pd.Series]:
    """Return the rows whose time has an hour, and their local time: a day alone was read as its beginning."""
    rows = rows[rows["fused_at"].notna()]
    local = rows["fused_at"].dt.tz_localize("UTC").dt.tz_convert(zone).dt.tz_localize(None)
    time_of_day = local - local.dt.normalize()
    same = time_of_day.groupby([rows["source_file"], time_of_day]).transform("size")
    of_file = time_of_day.groupby(rows["source_file"]).transform("size")
    day_alone = (time_of_day == pd.Timedelta(0)) | ((of_file > 2) & (same > of_file / 2))
    return rows[~day_alone], local[~day_alone]


def _without(rows: pd.DataFrame, local: pd.Series, told: list[Finding]) -> tuple[pd.DataFrame, pd.Series]:
    keep = ~np.isin(rows.index, [label for finding in told for label in finding.rows])
    return rows[keep], local[keep]


def _sessions(rows: pd.DataFrame, local: pd.Series) -> pd.DataFrame:
    """Return the sessions of each machine in each file: start, end (local), hour of start, joints, step (h)."""
    table = rows[["source_file", "machine"]].assign(machine=rows["machine"].fillna(""), local=local)
    table = table.sort_values(["source_file", "machine", "local"], kind="stable")
    step = table.groupby(["source_file", "machine"])["local"].diff().dt.total_seconds() / 3600
    table["session"] = (~(step <= _LULL_H)).cumsum()
    table["step"] = step.where(step <= _LULL_H)
    days = table.groupby("session").agg(
        source_file=("source_file", "first"),
        machine=("machine", "first"),
        start=("local", "min"),
        end=("local", "max"),
        size=("local", "size"),
        step=("step", "median"),
    )
    days["hour"] = (days["start"] - days["start"].dt.normalize()) / _HOUR
    days["rows"] = pd.Series(dict(table.groupby("session").groups.items()), dtype=object)
    return days


def _turned(hours: np.ndarray) -> np.ndarray:
    """Bring differences of hours of day into -12 to 12."""
    return np.asarray((hours + 12.0) % 24.0 - 12.0)


def _middle(hours: np.ndarray) -> float:
    """Return the median hour of day of hours that may lie about midnight."""
    turn = np.exp(2j * np.pi * hours / 24).mean()
    lead = np.angle(turn) * 24 / (2 * np.pi)
    return float((lead + np.median(_turned(hours - lead))) % 24)


def _scatter(hours: np.ndarray) -> float:
    return max(_FLOOR_H, _TO_SD * float(np.median(np.abs(_turned(hours - _middle(hours))))))


def _within(hour: float, low_high: tuple[float, float]) -> bool:
    low, high = low_high
    return low <= hour < high if low < high else hour >= low or hour < high


def _files(rows: pd.DataFrame, days: pd.DataFrame, zone: ZoneInfo) -> Iterator[tuple[str, Finding]]:
    """Yield the files whose days start at night, or hours away from those of all other files."""
    hours = [(str(f), h.to_numpy()) for f, h in days.groupby("source_file", sort=True)["hour"] if len(h) >= _FILE_DAYS]
    starts = np.array([_middle(own) for _, own in hours])
    scatter = np.array([_scatter(own) for _, own in hours])
    for i, (file, own) in enumerate(hours):
        others = np.arange(len(hours)) != i
        reference = _reference(starts[others])
        if scatter[i] > _APART_H:
            continue
        text, shift = f"{file}: the {len(own)} days of work begin at {_clock(starts[i])} in the middle", ""
        mine = rows["source_file"] == file
        if reference is not None and _departs(
            starts[i], reference, scatter[i] / np.sqrt(len(own)), others=others.sum()
        ):
            apart = float(_turned(np.array(starts[i] - reference)))
            text += f", those of the other files at {_clock(reference)}: {abs(apart):.1f} h {_side(apart)}"
            shift = _correction(-round(apart))
        elif not others.any() and _within(starts[i], _NIGHT):
            text += ", by night"
            shift = _utc_mistaken(rows[mine], zone, starts[i])
        else:
            continue
        ask = f" If its clock is wrong, clock = {shift} puts it right." if shift else ""
        proposal = f"clock = {shift}" if shift else ""
        labels = rows.index[mine].to_numpy()
        yield file, Finding(f"{text}. A clock of another zone, or work in shifts?{ask}", labels, "zone", proposal)


def _reference(starts: np.ndarray) -> float | None:
    """Return when the other files start, if they agree among themselves that it is by day."""
    if not len(starts):
        return None
    middle = _middle(starts)
    agree = (np.abs(_turned(starts - middle)) <= _DAY_APART_H).all()
    return middle if agree and _within(middle, _MORNING) else None


def _departs(start: float, reference: float, error: float, *, others: int) -> bool:
    """Whether a file starts hours away from the others; against a single other one it must start at an odd hour too."""
    apart = abs(float(_turned(np.array(start - reference))))
    odd = not _within(start, _MORNING)
    return bool(apart >= _APART_H and apart > 3 * np.hypot(error, _HABIT_H) and (odd or others > 1))


def _utc_mistaken(rows: pd.DataFrame, zone: ZoneInfo, start: float) -> str:
    """Return the correction for UTC taken for local time, or the reverse, if one of them leads to a morning."""
    middle = rows["fused_at"].sort_values().iloc[len(rows) // 2]
    offset = middle.tz_localize("UTC").tz_convert(zone).utcoffset() / _HOUR
    fits = [shift for shift in (offset, -offset) if shift and _within((start + shift) % 24, _FIRST)]
    return _correction(fits[0]) if len(fits) == 1 else ""


def _days(rows: pd.DataFrame, days: pd.DataFrame) -> Iterator[Finding]:
    """Yield days of one machine that are ordinary in count and pace, and hours before or after all its others."""
    for machine, own in days[days["machine"] != ""].sort_values("start").groupby("machine", sort=True):
        if len(own) <= _DAYS or _scatter(own["hour"].to_numpy()) > 2 * _FLOOR_H:
            continue
        apart = _apart(own)
        odd = apart != 0
        if odd.mean() > 1 / 3:
            continue
        run = np.cumsum(np.r_[True, apart[1:] != apart[:-1]])
        for number in np.unique(run[odd]):
            at = np.flatnonzero(run == number)
            if len(at) <= 2 or (at[0] > 0 and at[-1] < len(own) - 1):  # else the crew may have changed its hours
                yield _said_day(rows, str(machine), own.iloc[at], others=own[~odd], apart=float(apart[at[0]]))


def _apart(own: pd.DataFrame) -> np.ndarray:
    """Return how many whole hours each session lies off the usual; 0 for an ordinary one. Shape (sessions,).

    A morning is lost to rain often enough: a day that is late is ordinary unless it runs far into the night.
    """
    hour, size, step = (own[c].to_numpy(float) for c in ("hour", "size", "step"))
    usual = _middle(hour)
    off = _turned(hour - usual)
    long = ((own["end"] - own["start"]).dt.total_seconds() / 3600).to_numpy()
    ordinary = np.abs(off) < max(_DAY_APART_H, 4 * _scatter(hour))
    full = (size >= max(_JOINTS, np.median(size) / 2)) & (np.abs(np.log(step / np.nanmedian(step))) < np.log(1.6))
    early = off < off[ordinary].min() - _CLEAR_H
    night = (off + long > (off + long)[ordinary].max() + _CLEAR_H) & (usual + off + long > _LATE_H)
    late = (off > off[ordinary].max() + _CLEAR_H) & night
    return np.where(~ordinary & full & (early | late), np.round(off), 0.0)


def _said_day(rows: pd.DataFrame, machine: str, odd: pd.DataFrame, *, others: pd.DataFrame, apart: float) -> Finding:
    at = np.concatenate([np.asarray(labels) for labels in odd["rows"]])
    told = rows.loc[at]
    shift = _correction(-apart)
    day = " and ".join(f"{start:%Y-%m-%d}" for start in odd["start"])
    times = " and ".join(f"{a:%H:%M} to {b:%H:%M}" for a, b in zip(odd["start"], odd["end"], strict=True))
    whole = rows["source_file"].isin(told["source_file"]).sum() == len(told)
    files = "" if whole else (
        " A correction is for a whole file: to be corrected, these rows have to be handed over in a file of their own."
    )  # fmt: skip
    low, high = others["start"].dt.strftime("%H:%M").min(), others["start"].dt.strftime("%H:%M").max()
    statement = (
        f"{span(told)}: machine {machine} made {len(told)} joints on {day} at its usual pace, {times},"
        f" {abs(apart):.0f} h {_side(apart)}: its {len(others)} other days began between"
        f" {low} and {high}. If its clock was wrong, clock = {shift} puts it right.{files}"
    )
    return Finding(statement, np.sort(at), "clock", f"clock = {shift}")


def _side(apart: float) -> str:
    return "earlier" if apart < 0 else "later"


def _clock(hour: float) -> str:
    minutes = round(hour * 60) % 1440
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _correction(hours: float) -> str:
    return f'"{hours:+g} h"'
