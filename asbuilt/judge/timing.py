"""Times that contradict one another within a source: lost clocks, a lost afternoon, two places at once.

A time is never changed here. What the records contradict is said once for each source, machine or operator.
"""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from asbuilt.judge.finding import Finding, span
from asbuilt.quantities import METRE, LengthUnit
from asbuilt.sentence import several

_NEVER_SET = (1970, 1980, 2000, 2001)  # years that clocks start in when nobody sets them (common practice, no source)
_LULL = pd.Timedelta(days=180)  # as in `tabulate.moments`: what is parted by half a year is a clock, not a joint
_RESET = pd.Timedelta(days=30)  # less may be a reach that was left open and joined later
_RISES = 0.8  # of the steps: then the numbers follow the order of the work
_SLACK = pd.Timedelta(minutes=2)  # times are written to the minute, two of them err by one each
_FAR_M = 500.0  # no operator watches two machines so far apart
_OFTEN = 2  # one such pair may be a slip of the pen


def lost_clocks(rows: pd.DataFrame) -> Iterator[Finding]:
    """Yield, for each file, the times of a clock that was never set: years that clocks start in, half a year apart.

    `rows` has source_file, sheet, source_row, joint, machine, fused_at.
    """
    times = rows["fused_at"].dropna().sort_values(kind="stable")
    if times.empty:
        return
    middle = times.iloc[len(times) // 2]
    early = times[(times.dt.year.isin(_NEVER_SET)) & (middle - times > _LULL)]
    for file, lost in rows.loc[early.index].groupby("source_file", sort=True):
        first = lost["fused_at"].min()
        yield Finding(
            f"{span(lost)}: {len(lost)} times lie in {first:%Y}, and half of all records are later than"
            f" {middle:%Y-%m-%d}: the clock of {file} was never set there. Their order is that of the numbers at best.",
            lost.index.to_numpy(),
            "lost clock",
        )


def resets(series: pd.DataFrame) -> Iterator[Finding]:
    """Yield the pieces of a file in which the times fall back by more than 30 days while the joint numbers rise.

    `series` is of `numbered`.
    """
    step = series.groupby("series")["fused_at"].diff()
    rising = (step > pd.Timedelta(0)).groupby(series["series"]).mean()
    piece = (step.isna() | (step.abs() > _RESET)).cumsum()
    for at in np.flatnonzero(step < -_RESET):
        back = series[piece == piece.iloc[at]]
        before = series[(series["series"] == back["series"].iloc[0]) & (series["number"] < back["number"].iloc[0])]
        if rising[back["series"].iloc[0]] < _RISES or back["fused_at"].max() + _RESET > before["fused_at"].min():
            continue
        yield Finding(
            f"{span(back)}: at joint {back['joint'].iloc[0]} the times fall back by {abs(step.iloc[at]).days:,} days"
            f" while the numbers rise, and {len(back)} joints stand on that clock: was it reset?",
            back.index.to_numpy(),
            "lost clock",
        )


def lost_afternoons(series: pd.DataFrame, local: pd.Series) -> Iterator[Finding]:
    """Yield, for each file, the joints at an hour of the night behind a number made about noon of the same day.

    `series` is of `numbered`, `local` the local time of each of its rows.
    """
    series = series.assign(local=local[series.index])
    series["lost"] = _behind_noon(series)
    rising = (series.groupby("series")["fused_at"].diff() > pd.Timedelta(0)).groupby(series["series"]).mean()
    series = series[series["lost"] & (series["series"].map(rising) >= 0.5)]
    for _, lost in series.groupby("source_file", sort=True):
        if len(lost) >= _OFTEN:
            first = lost.iloc[0]
            yield Finding(
                f"{span(lost)}: {len(lost)} joints carry an hour of the night ({first['joint']}:"
                f" {first['local']:%H:%M}) where the number before was made about noon of the same day: did the file"
                " lose its AM and PM? A clock correction cannot put that right, a new export can.",
                lost.index.to_numpy(),
                "lost afternoon",
            )


def _behind_noon(series: pd.DataFrame) -> np.ndarray:
    """Whether 12 hours more make a time follow the number before it on the same day. `series` is in number order."""
    hour = (series["local"] - series["local"].dt.normalize()) / pd.Timedelta(hours=1)
    key = [series["series"], series["local"].dt.normalize()]
    before = hour.groupby(key).shift()
    night = hour < 8
    started = (night & before.between(9, 14) & ((hour + 12 - before).between(0, 5))).to_numpy()
    follows = (night & (before < hour)).to_numpy()
    opens = started | ~follows  # a block opens where the hour falls, and runs on while it rises
    first = np.flatnonzero(opens)
    return np.asarray(started[first[np.cumsum(opens) - 1]] & night.to_numpy()) if len(first) else started


def numbered(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the rows with a time and a number in number order, series by series.

    A `series` is of one file and machine, and what stands before the number; `number` is the last one in the name. A
    joint that was made again has the number of the one that it replaces, and is no part of any.
    """
    for name in ("replaces", "remakes"):
        rows = rows[rows[name].isna()] if name in rows else rows
    parts = rows["joint"].astype("str").str.extract(r"^(?P<word>.*?)(?P<number>\d{1,15})\D*$")
    told = rows.assign(word=parts["word"], number=parts["number"].astype(float))
    told = told[told["number"].notna() & told["fused_at"].notna()]
    told["series"] = told.groupby(["source_file", "machine", "word"], dropna=False, sort=True).ngroup()
    return told.sort_values(["series", "number", "source_row"], kind="stable")


def too_close(rows: pd.DataFrame) -> Iterator[Finding]:
    """Yield, for each machine, the joints that follow the one before in less than soak and cooling take.

    `rows` needs soak_time_s and cooling_time_min too. The shorter cycle of the two counts, so that it does not matter
    whether times are those of the start or of the end.
    """
    order = rows[rows["machine"].notna()].sort_values(["machine", "fused_at"], kind="stable")
    cycle = pd.to_timedelta(order["soak_time_s"], unit="s") + pd.to_timedelta(order["cooling_time_min"], unit="min")
    before = order.groupby("machine")[["fused_at", "joint"]].shift()
    needed = cycle.where(cycle < cycle.groupby(order["machine"]).shift(), cycle.groupby(order["machine"]).shift())
    step = order["fused_at"] - before["fused_at"]
    told = order.assign(before=before["joint"], step=step, needed=needed)
    for machine, close in told[needed - step > _SLACK].groupby("machine", sort=True):
        worst = close.iloc[int((close["step"] - close["needed"]).to_numpy().argmin())]
        follow = "follows" if len(close) == 1 else "follow"
        yield Finding(
            f"{several(len(close), 'joint')} of machine {machine} {follow} the one before in"
            f" less than soak and cooling take: {worst['joint']} {_minutes(worst['step'])} min after {worst['before']},"
            f" and they need {_minutes(worst['needed'])} min. A clock, a copied record, another unit,"
            " or two machines of one name?",
            close.index.to_numpy(),
            "too close",
        )


def two_places(rows: pd.DataFrame, *, metres_per_unit: float = 1.0, unit: LengthUnit = METRE) -> Iterator[Finding]:
    """Yield, for each operator, the joints made on another machine, far away, before the last one was under pressure.

    Where soak and cooling time are not recorded only times of the same minute count. Needs easting and northing.
    """
    order = rows[rows["machine"].notna() & rows["operator"].notna()].sort_values(
        ["operator", "fused_at"], kind="stable"
    )
    soak = pd.to_timedelta(order["soak_time_s"], unit="s")
    cooling = pd.to_timedelta(order["cooling_time_min"], unit="min")
    order = order.assign(free=order["fused_at"] - cooling, busy=order["fused_at"] - cooling - soak)
    columns = ["fused_at", "machine", "joint", "easting", "northing", "free"]
    before = order.groupby("operator")[columns].shift()
    apart = np.hypot(order["easting"] - before["easting"], order["northing"] - before["northing"]) * metres_per_unit
    at_once = (order["busy"] < before["free"]) | (order["fused_at"] - before["fused_at"] < pd.Timedelta(minutes=1))
    clash = at_once & (order["machine"] != before["machine"]) & (apart > _FAR_M)
    told = order.assign(other=before["machine"], before=before["joint"], apart=apart)[clash]
    for operator, found in told.groupby("operator", sort=True):
        if len(found) >= _OFTEN:
            first = found.iloc[0]
            yield Finding(
                f"{operator} fused on two machines at once {len(found)} times, such as {first['before']} on"
                f" {first['other']} and {first['joint']} on {first['machine']}, {unit.text(first['apart'], 0)} apart:"
                " is one clock wrong, or does a crew sign with one name?",
                found.index.to_numpy(),
                "two places",
            )


def _minutes(step: pd.Timedelta) -> str:
    return f"{step / pd.Timedelta(minutes=1):.0f}"
