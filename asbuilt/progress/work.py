"""The line as work: every joint with its day and crew, and the stretches between neighbours with the day they closed.

A stretch runs from joint to joint along a line, or to its end. It is covered from the evening on which both its joints
were made; what of it lies in a gap never is. This is the rule by which the map shows any evening.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd

from asbuilt.as_built import AsBuilt, Schedule
from asbuilt.progress.calendar import Calendar, calendar_of, day_number, day_numbers, moments
from asbuilt.progress.rows import each
from asbuilt.progress.spans import union, within
from asbuilt.quantities import METRE, LengthUnit
from asbuilt.stationing import Stationing

_END = -np.inf  # the day of an end of the line: it was always there
_NO_PLAN = pd.DataFrame(
    {
        "kind": pd.Series(dtype=object),
        "line": pd.Series(dtype=object),
        "from_chainage_m": pd.Series(dtype=float),
        "to_chainage_m": pd.Series(dtype=float),
        "remarks": pd.Series(dtype=object),
        "start": pd.Series(dtype="datetime64[s]"),
        "date": pd.Series(dtype="datetime64[s]"),
        "crew": pd.Series(dtype=object),
    }
)


@dataclass(frozen=True)
class Work:
    """A record on one evening (a day number). `tables` are those of the hand-over.

    `joints` has every row of the table of joints with day and moment (days, the second with the time of day; NaN: no
    time), crew, in_line and so on. `stretches` has line, low, high, covered_m, bore_m (of it within bores), open_m (no
    pipe is known to lie there), day, crew, machine (of the joint that closed it), placed_day (when its string was tied
    in, for a stretch of a string), and a and b (labels of its two joints; -1: an end of the line).
    """

    tables: Mapping[str, pd.DataFrame]
    evening: float
    schedule: Schedule
    unit: LengthUnit
    calendar: Calendar
    joints: pd.DataFrame
    stretches: pd.DataFrame
    stationing: Mapping[str, Stationing] = field(default_factory=dict)

    @property
    def plan(self) -> pd.DataFrame:
        """The rows of the plan."""
        return self.schedule.rows

    @cached_property
    def made(self) -> pd.DataFrame:
        """The joints in line that were made by the evening."""
        return self.joints[self.joints["in_line"].to_numpy(bool) & (self.joints["day"] <= self.evening).to_numpy()]

    @cached_property
    def closed(self) -> pd.DataFrame:
        """The stretches that were closed by the evening."""
        return self.stretches[(self.stretches["day"] <= self.evening).to_numpy()]


def work_of(as_built: AsBuilt) -> Work:
    """Return the record on the evening of its as-of."""
    return work_on(
        as_built.tables,
        day_number(as_built.title.as_of.date()),
        schedule=as_built.schedule or Schedule(_NO_PLAN, {}, (0, 1, 2, 3, 4), np.nan),
        unit=as_built.title.length_unit,
        stationing=as_built.stationing,
    )


def work_on(
    tables: Mapping[str, pd.DataFrame],
    evening: float,
    *,
    schedule: Schedule,
    unit: LengthUnit = METRE,
    stationing: Mapping[str, Stationing] | None = None,
) -> Work:
    """Return the tables of a record as work, on an evening."""
    joints = _joints(tables["joints"], schedule)
    calendar = calendar_of(schedule.rows, schedule.working_days)
    of_lines = [_of_line(line, joints, tables, schedule) for line in each(tables["alignment"])]
    stretches = pd.concat(of_lines, ignore_index=True) if of_lines else _empty()
    return Work(tables, evening, schedule, unit, calendar, joints, stretches, stationing or {})


def _joints(table: pd.DataFrame, schedule: Schedule) -> pd.DataFrame:
    """Return the joints with their day and crew."""
    kept = ["joint_id", "kind", "line", "chainage_m", "string", "fused_at", "machine", "fusion_verdict", "replaces",
            "length_added_m", "placed_by"]  # fmt: skip
    return table[kept].assign(
        day=day_numbers(table["fused_local"]),
        moment=moments(table["fused_local"]),
        crew=schedule.crews(table),
        in_line=table["in_line"].fillna(False).astype(bool),
    )


def _empty() -> pd.DataFrame:
    numbers = ("low", "high", "covered_m", "bore_m", "open_m", "day", "placed_day", "a", "b")
    words = {name: pd.Series(dtype=object) for name in ("line", "crew", "machine")}
    return pd.DataFrame(words | {name: pd.Series(dtype=float) for name in numbers})


def _of_line(
    line: object, joints: pd.DataFrame, tables: Mapping[str, pd.DataFrame], schedule: Schedule
) -> pd.DataFrame:
    """Return the stretches of a line, in order along it; the whole of it where no joint is placed."""
    name, start, end = line.line, line.start_chainage_m, line.end_chainage_m  # type: ignore[attr-defined]
    here = joints[(joints["line"] == name) & joints["in_line"] & joints["chainage_m"].notna()]
    here = here.sort_values(["chainage_m", "moment"], kind="stable")  # the order in which the table has them
    if here.empty:
        return _untouched(name, start, end, bores(tables["strings"], schedule.rows, name))
    stops = np.concatenate([[start], np.clip(here["chainage_m"].to_numpy(float), start, end), [end]])
    low, high = stops[:-1], stops[1:]
    gaps = tables["gaps"][tables["gaps"]["line"] == name]
    by = _closing(here)
    ends = {"low": low, "high": high, "covered_m": high - low - _in_gaps(low, high, gaps)}
    frame = pd.DataFrame(ends | {"line": name, "day": _of_two(here["day"].to_numpy(float), np.maximum)})
    frame["bore_m"] = within(low, high, bores(tables["strings"], schedule.rows, name))
    frame["crew"], frame["machine"] = (here[word].to_numpy(object)[by] for word in ("crew", "machine"))
    frame["a"], frame["b"] = np.append(-1, here.index), np.append(here.index, -1)
    frame["open_m"] = _open(frame, here, gaps)
    frame["placed_day"] = _placed_day(frame["day"].to_numpy(float), here, tables["strings"])
    return frame


def _untouched(name: str, start: float, end: float, spans: np.ndarray) -> pd.DataFrame:
    low, high = np.array([start]), np.array([end])
    never = {"covered_m": 0.0, "day": np.inf, "placed_day": np.inf, "crew": "", "machine": "", "a": -1, "b": -1}
    ends = {"line": name, "low": low, "high": high, "open_m": high - low, "bore_m": within(low, high, spans)}
    return pd.DataFrame(ends | never)


def _of_two(values: np.ndarray, rule: np.ufunc) -> np.ndarray:
    """Return what a rule makes of the two joints of each stretch; the ends of the line have minus infinity."""
    return np.asarray(rule(np.append(_END, values), np.append(values, _END)))


def _closing(here: pd.DataFrame) -> np.ndarray:
    """Return which joint of each stretch was made last, as its place in `here`; one without a time counts as last."""
    at = here["fused_at"].astype("int64").to_numpy().astype(float)
    at[here["fused_at"].isna().to_numpy()] = np.inf
    before, after = np.append(-np.inf, at), np.append(at, -np.inf)
    n = len(here)
    return np.where(before > after, np.arange(n + 1) - 1, np.minimum(np.arange(n + 1), n - 1))


def bores(strings: pd.DataFrame, plan: pd.DataFrame, line: str) -> np.ndarray:
    """Return the reaches of a line that are bores, as route.toml or the plan says, as a union."""
    stated = strings[(strings["line"] == line) & (strings["method"] == "bore")]
    planned = plan[(plan["line"] == line) & (plan["kind"] == "bore")]
    ends = np.concatenate(
        [frame[["from_chainage_m", "to_chainage_m"]].to_numpy(float).reshape(-1, 2) for frame in (stated, planned)]
    )
    ends.sort(axis=1)
    return union(ends[:, 0], ends[:, 1])


def _in_gaps(low: np.ndarray, high: np.ndarray, gaps: pd.DataFrame) -> np.ndarray:
    """Return how much of each stretch has no record; of a bracket that holds joints too, only a share has none."""
    return _under(low, high, gaps, _share(gaps))


def _share(gaps: pd.DataFrame) -> np.ndarray:
    pipes = gaps["missing_records"].fillna(0) + gaps["unplaced_here"].fillna(0) + 1
    joints = gaps["joints_within"].fillna(0)
    return np.asarray(np.where(joints > 0, pipes / (pipes + joints), 1.0), dtype=float)


def _under(low: np.ndarray, high: np.ndarray, gaps: pd.DataFrame, weight: np.ndarray) -> np.ndarray:
    """Return how much of each stretch lies in gaps, each counted with its weight. Gaps do not overlap."""
    ends = np.sort(gaps[["from_chainage_m", "to_chainage_m"]].to_numpy(float).reshape(-1, 2), axis=1)
    order = np.argsort(ends[:, 0], kind="stable")
    ends, weight = ends[order], weight[order]
    if not len(ends):
        return np.zeros(len(low))
    total = np.repeat(np.cumsum(np.append(0.0, (ends[:, 1] - ends[:, 0]) * weight)), 2)[1:-1]
    return np.asarray(np.interp(high, ends.ravel(), total) - np.interp(low, ends.ravel(), total))


def _open(frame: pd.DataFrame, here: pd.DataFrame, gaps: pd.DataFrame) -> np.ndarray:
    """Return how much of each stretch is no gap in the records but work to come, once both its joints are made.

    That is what is not yet recorded at an end, and a gap between joints of two crews or machines: two fronts.
    """
    who = (here["crew"] + "/" + here["machine"]).to_numpy(object)
    fronts = np.append("", who) != np.append(who, "")
    fronts[[0, -1]] = False  # at an end of the line the gap says itself whether it is still to come
    coming = gaps[(gaps["kind"] == "not yet recorded").to_numpy()]
    low, high = frame["low"].to_numpy(float), frame["high"].to_numpy(float)
    empty = high - low - frame["covered_m"].to_numpy(float)
    return np.where(fronts, empty, _under(low, high, coming, np.ones(len(coming))))


def _placed_day(day: np.ndarray, here: pd.DataFrame, strings: pd.DataFrame) -> np.ndarray:
    """Return when each stretch came to lie where it is, as far as the record knows.

    A string lies there when the joints that tie it in are made; what belongs to no string, when it was fused.
    """
    names = here["string"].astype(object).str.strip().to_numpy(object)
    own = names[:-1] == names[1:]
    found = day.copy()
    in_trench = set(strings.loc[strings["method"] == "in trench", "string"])
    for name in sorted(set(names) - {""} - in_trench):
        inner = np.flatnonzero(own & (names[:-1] == name)) + 1
        found[inner] = np.maximum(day[inner], _tied_in(np.flatnonzero(names == name), here, strings, name))
    return found


def _tied_in(members: np.ndarray, here: pd.DataFrame, strings: pd.DataFrame, name: str) -> float:
    """Return the day on which the later of a string's two tie-ins was made; infinity where one is not on record."""
    row = strings[(strings["string"] == name).to_numpy()]
    return max(
        _tie(here, members, beyond, str(row[f"tie_in_{end}"].iloc[0]).strip().casefold() if len(row) else "")
        for end, beyond in (("back", int(members[0]) - 1), ("ahead", int(members[-1]) + 1))
    )


def _tie(here: pd.DataFrame, members: np.ndarray, beyond: int, stated: str) -> float:
    """Return the day of one end's tie-in: the stated one, else that at or just beyond the string's outermost joint.

    Where the line ends there, none is needed.
    """
    day, kind = here["day"].to_numpy(float), here["kind"].to_numpy(object)
    if stated:
        found = np.flatnonzero((here["joint_id"].str.casefold() == stated).to_numpy())
    elif not 0 <= beyond < len(here):
        return _END
    else:
        own = members[-1] if beyond > members[-1] else members[0]
        found = np.array([i for i in (beyond, own) if kind[i] == "tie-in"], dtype=int)
    known = day[found]
    return float(known[0]) if len(known) and np.isfinite(known[0]) else np.inf
