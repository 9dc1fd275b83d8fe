"""How complete a line is, in figures that add up: records, length, tested reaches, strings, pipe.

Each measure is one row: so much, of so much, and what a reader has to know of it. Nothing here says whether that is
enough: what has to be there, the contract says.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.quantities import LengthUnit
from asbuilt.sentence import several, some

NO_SECTION = "in no test section"
TESTED = "last test result: "
_OPEN = "not yet recorded"  # the open end of a line that is still being built is no gap


@dataclass(frozen=True)
class Laid:
    """What is known beside the tables: the delivered length of a pipe, how many joints stand at the two ends of each
    line, and the length of each pipe by its number, as written in lower case (metres along the pipe)."""

    stick_m: float
    end_joints: Mapping[str, int]
    pipe_m: pd.Series
    unit: LengthUnit


def completeness(frames: Mapping[str, pd.DataFrame], laid: Laid) -> pd.DataFrame:
    """Return line, measure, value, of, unit and says: the measures of each line, in the order of the lines.

    `frames` holds the tables alignment, joints, gaps, strings and test_sections of the hand-over. `value` and `of` are
    NaN where they are not known.
    """
    columns = ["line", "measure", "value", "of", "unit", "says"]
    found = [(line.name, *row) for line in _lines(frames["alignment"]) for row in _of_line(line, frames, laid)]
    return pd.DataFrame(found, columns=columns)


@dataclass(frozen=True)
class _Line:
    """One line: its name and the chainages of its two ends, metres."""

    name: str
    start: float
    end: float

    @property
    def length(self) -> float:
        """Length of the line."""
        return self.end - self.start

    def of(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Return the rows of a table that are about the line."""
        return frame[frame["line"] == self.name]


_Row = tuple[str, float, float, str, str]


def _lines(alignment: pd.DataFrame) -> Iterator[_Line]:
    for name, start, end in alignment[["line", "start_chainage_m", "end_chainage_m"]].to_numpy(object):
        yield _Line(str(name), float(start), float(end))


def _of_line(line: _Line, frames: Mapping[str, pd.DataFrame], laid: Laid) -> Iterator[_Row]:
    joints = line.of(frames["joints"])
    joints = joints[joints["in_line"].astype(bool)]
    placed = joints[joints["chainage_m"].notna()].sort_values("chainage_m")
    gaps = line.of(frames["gaps"])
    yield _recorded(line, placed, gaps, laid)
    covered = line.length - uncovered_m(gaps, line.start, line.end) if len(placed) else 0.0
    says = f"{laid.unit.text(line.length - covered, 1)} of the line lie in gaps or have no record yet"
    yield "length between recorded joints", covered, line.length, "m", says
    yield from _tested(line, placed, line.of(frames["test_sections"]))
    yield from _closed(line, placed, gaps, line.of(frames["strings"]), laid)
    yield _pipe_used(line, joints, laid)


def uncovered_m(gaps: pd.DataFrame, start: float, end: float) -> float:
    """Return the length of a line that lies in its gaps, metres.

    They do not overlap, and may begin before the start or end past the end. Of a bracket that holds joints as well
    only the share of its pipes that has no record counts.
    """
    low, high = (gaps[f"{side}_chainage_m"].clip(start, end) for side in ("from", "to"))
    pipes = gaps["missing_records"] + gaps["unplaced_here"] + 1
    share = np.where(gaps["joints_within"] > 0, pipes / (pipes + gaps["joints_within"]), 1.0)
    return float(np.sum(np.abs(high - low) * share))


def _recorded(line: _Line, placed: pd.DataFrame, gaps: pd.DataFrame, laid: Laid) -> _Row:
    real = gaps[gaps["kind"] != _OPEN]
    missing, low, high = (int(real[name].sum()) for name in ("missing_records", "missing_low", "missing_high"))
    without_place = int(real["unplaced_here"].sum())
    whole = max(round(line.length / laid.stick_m) - 1, 0) + laid.end_joints.get(line.name, 0)
    between = f" ({low} to {high} with 95 %)" if low != high else ""
    says = f"{several(missing, 'record')} thought missing{between}"
    says += f", {several(without_place, 'joint')} made here without a place" if without_place else ""
    stick = laid.unit.short(laid.stick_m)
    says += f"; a line of whole pipes of {stick} would have {whole:,} joints, pups and fittings add to it"
    return "joints recorded", float(len(placed)), float(len(placed) + without_place + missing), "joints", says


# ---- tests -----------------------------------------------------------------------------------------------------------


def _tested(line: _Line, placed: pd.DataFrame, sections: pd.DataFrame) -> Iterator[_Row]:
    """Yield the length by the result of the last test there, as recorded; the lengths add up to that of the line."""
    edges, last = latest(sections, line.start, line.end)
    lengths = np.diff(edges)
    at = np.clip(np.searchsorted(edges, placed["chainage_m"].to_numpy(float), side="right") - 1, 0, len(last) - 1)
    said = np.array(["" if i < 0 else _result(sections, i) for i in last], dtype=object)
    for result in dict.fromkeys(said[said != ""]):
        here = said == result
        names = dict.fromkeys(sections["section"].iloc[i] for i in last[here])
        says = f"{several(int(here[at].sum()), 'joint')}; sections {some(list(names))}{_before(sections, last, here)}"
        yield TESTED + result, float(lengths[here].sum()), line.length, "m", says
    bare = said == ""
    says = f"{several(int(bare[at].sum()) if len(placed) else 0, 'joint')}"
    yield NO_SECTION, float(lengths[bare].sum()), line.length, "m", says


def latest(sections: pd.DataFrame, start: float, end: float) -> tuple[np.ndarray, np.ndarray]:
    """Part a line where test sections begin and end: edges, shape (k + 1,), and the row of the last test, shape (k,).

    The last test is the one of the latest day, of one day the last in the table; one without a day counts as the
    earliest. -1: in no section.
    """
    low, high = (sections[f"{side}_chainage_m"].clip(start, end).to_numpy(float) for side in ("from", "to"))
    edges = np.unique(np.concatenate([[start, end], low, high]))
    last = np.full(len(edges) - 1, -1)
    for i in np.argsort(sections["tested_on"].to_numpy(str), kind="stable"):
        last[np.searchsorted(edges, low[i]) : np.searchsorted(edges, high[i])] = i
    return edges, last


def _result(sections: pd.DataFrame, row: int) -> str:
    text = str(sections["result"].iloc[row]).strip()
    return text.lower() if text else "none stated"


def _before(sections: pd.DataFrame, last: np.ndarray, here: np.ndarray) -> str:
    """Name the tests of the same sections that are not the last ones."""
    names = set(sections["section"].iloc[last[here]])
    older = [i for i, name in enumerate(sections["section"]) if name in names and i not in set(last.tolist())]
    told = [
        f"{sections['section'].iloc[i]} {_result(sections, i)} {sections['tested_on'].iloc[i]}".strip() for i in older
    ]
    return f"; earlier: {some(told)}" if told else ""


# ---- strings ---------------------------------------------------------------------------------------------------------


def _closed(line: _Line, placed: pd.DataFrame, gaps: pd.DataFrame, strings: pd.DataFrame, laid: Laid) -> Iterator[_Row]:
    """Yield how many strings have a tie-in on record at each end. A reach without joints of its own is no string."""
    own = strings[(strings["placed_n"] > 0).to_numpy()]
    if own.empty:
        return
    missing = [list(_open_ends(line, placed, gaps, string, laid)) for _, string in own.iterrows()]
    closed = sum(not ends for ends in missing)
    says = "; ".join(f"{name}: {' and '.join(ends)}" for name, ends in zip(own["string"], missing, strict=True) if ends)
    yield "strings closed by tie-ins", float(closed), float(len(own)), "strings", says or "each end has its tie-in"


def _open_ends(line: _Line, placed: pd.DataFrame, gaps: pd.DataFrame, string: pd.Series, laid: Laid) -> Iterator[str]:
    """Yield which ends of a string no tie-in on record closes; the end of the line itself needs none."""
    known = set(placed["joint_id"].str.casefold()) | set(placed["joint"].str.casefold())
    at, kind = placed["chainage_m"].to_numpy(float), placed["kind"].to_numpy(object)
    low, high = float(string["from_chainage_m"]), float(string["to_chainage_m"])
    inside = np.flatnonzero((at >= low - _HAIR_M) & (at <= high + _HAIR_M))
    ends = (("back", low, -1, line.start), ("ahead", high, 1, line.end))
    for end, where, way, limit in ends:
        stated = str(string[f"tie_in_{end}"]).strip().casefold()
        outermost = inside[0 if way < 0 else -1] if len(inside) else -1
        beyond = outermost + way
        is_tied = stated in known if stated else False
        is_tied |= outermost >= 0 and kind[outermost] == "tie-in"
        if is_tied or abs(limit - where) <= laid.stick_m:
            continue
        if not 0 <= beyond < len(at):
            yield f"no joint beyond its {end} end"
        elif _in_gap(gaps, where + way * _HAIR_M):
            yield f"records are missing at its {end} end"
        elif kind[beyond] != "tie-in":
            yield f"no tie-in at its {end} end"


_HAIR_M = 0.01  # metres: labels have two decimals


def _in_gap(gaps: pd.DataFrame, at: float) -> bool:
    return bool(((gaps["from_chainage_m"] < at) & (gaps["to_chainage_m"] > at)).any())


# ---- pipe ------------------------------------------------------------------------------------------------------------


def _pipe_used(line: _Line, joints: pd.DataFrame, laid: Laid) -> _Row:
    """Return the length of the pipes that the joints name, each once, against the length of the line."""
    lengths = _by_number(joints, laid.pipe_m)
    known = lengths.dropna()
    if len(known):
        says = f"{len(known):,} of {several(len(lengths), 'pipe')} named by joints have a length"
        return "pipe used", float(known.sum()), line.length, "m", says
    added = joints["length_added_m"].dropna()
    if len(added):
        says = f"as added at {len(added):,} of {several(len(joints), 'joint')}; the first pipe is added at none"
        return "pipe used", float(added.sum()), line.length, "m", says
    says = f"not known: {several(len(lengths), 'pipe')} named by joints, none with a length"
    return "pipe used", np.nan, line.length, "m", says


def _by_number(joints: pd.DataFrame, listed: pd.Series) -> pd.Series:
    """Return the length of each pipe that joints name, by its number in lower case: from the list, else as recorded."""
    sides = [
        pd.DataFrame({"pipe": joints[f"pipe_{side}"].str.strip().str.casefold(), "m": joints[f"length_{side}_m"]})
        for side in ("a", "b")
    ]
    named = pd.concat(sides)
    recorded = named[named["pipe"] != ""].groupby("pipe", sort=False)["m"].first()
    return recorded.index.to_series().map(listed.to_dict()).fillna(recorded).astype(float)
