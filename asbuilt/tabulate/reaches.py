"""The tables of reaches: strings with where they lie, and test sections as recorded."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt import tables
from asbuilt.alignment import reaches
from asbuilt.outcome import JOINT
from asbuilt.read.alignments import Design
from asbuilt.sentence import several
from asbuilt.settings import Settings, StringSpec
from asbuilt.tabulate.journey import Journey, sentences

_ENDS = ("from", "to")
_ONE = 0.01  # metres: labels have two decimals
_FAR = 2.0  # a string that spans so many times its pipes rather is two of one name (the writers' judgement)


@dataclass(frozen=True)
class _Extent:
    """Where a string lies, and what says so; `line` empty, NaN and `source` empty: it cannot be placed."""

    line: str = ""
    low: float = np.nan
    high: float = np.nan
    source: str = ""
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Members:
    """The joints in line of a string: how many, how many of them are placed, and how many of these on one line."""

    joints_n: int = 0
    placed_n: int = 0
    line: str = ""
    here_n: int = 0
    low: float = np.nan
    high: float = np.nan


@dataclass(frozen=True)
class _Known:
    """What strings are placed by. `joints` has id_key and joint_key: joint_id and number as they are compared."""

    designs: Mapping[str, Design]
    joints: pd.DataFrame
    settings: Settings


def sections_table(journey: Journey) -> pd.DataFrame:
    """Return one row a test section, along the line; sections of one place by their day."""
    rows = journey.sides.sections.rows
    if rows.empty:
        return tables.empty(tables.TEST_SECTIONS)
    rows = _drawn(rows.rename(columns={"sheet": "source_sheet"}), journey)
    rows = _along_lines(rows, journey, then=["tested_on", "source_file", "source_row"])
    return tables.conform(rows, tables.TEST_SECTIONS)


def strings_table(journey: Journey, settings: Settings) -> pd.DataFrame:
    """Return one row for each string that joints name or route.toml declares, along the line, unplaced ones last."""
    specs = {spec.string: spec for spec in settings.string}
    kept = journey.kept[["outcome", "string", "joint_id", "joint", "line", "chainage_m"]]
    kept = kept.assign(string=kept["string"].astype(object).str.strip().replace("", None))
    members = _members(kept, {name: spec.line for name, spec in specs.items() if spec.line})
    names = list(dict.fromkeys([*specs, *kept["string"].dropna()]))
    if not names:
        return tables.empty(tables.STRINGS)
    keys = kept.assign(id_key=_key(kept["joint_id"]), joint_key=_key(kept["joint"])) if specs else kept
    known = _Known(journey.design_by_line, keys, settings)
    rows = [_string(name, specs.get(name), members.get(name, _Members()), known) for name in names]
    found = _along_lines(_drawn(pd.DataFrame(rows), journey), journey, then=["string"])
    return tables.conform(found, tables.STRINGS)


def _members(kept: pd.DataFrame, stated: Mapping[str, str]) -> dict[str, _Members]:
    """Count and span the joints in line of each string, on its stated line, else on that where most of them lie."""
    joints = kept[(kept["outcome"] == JOINT).to_numpy() & kept["string"].notna().to_numpy()]
    counts = joints.groupby("string", sort=False)["chainage_m"].agg(joints_n="size", placed_n="count")
    spans = joints.groupby(["string", "line"], sort=False)["chainage_m"].agg(here_n="count", low="min", high="max")
    spans = spans[spans["here_n"] > 0].reset_index().sort_values("here_n", ascending=False, kind="stable")
    asked = spans["string"].map(stated)
    spans = spans[(asked.isna() | (asked == spans["line"])).to_numpy()].drop_duplicates("string").set_index("string")
    rows = counts.join(spans).fillna({"line": "", "here_n": 0})
    return {str(row.Index): _Members(*row[1:]) for row in rows.itertuples()}


def _key(names: pd.Series) -> pd.Series:
    """Return numbers as they are compared: without case, and without spaces around them."""
    return names.astype(object).str.strip().str.casefold()


def _drawn(frame: pd.DataFrame, journey: Journey) -> pd.DataFrame:
    """Add length, stations and the line of each reach; a reach without length has none."""
    low, high = (frame[f"{end}_chainage_m"].to_numpy(float) for end in _ENDS)
    geometry = np.full(len(frame), None, dtype=object)
    for name, design in journey.design_by_line.items():
        here = (frame["line"] == name).to_numpy() & (high > low)
        geometry[here] = reaches(design.line, low[here], high[here])
    labels = {f"{end}_station": journey.designs.stations(frame["line"], frame[f"{end}_chainage_m"]) for end in _ENDS}
    return frame.assign(length_m=high - low, geometry=geometry, **labels)


def _along_lines(frame: pd.DataFrame, journey: Journey, *, then: list[str]) -> pd.DataFrame:
    place = {name: i for i, name in enumerate(journey.design_by_line)}
    order = frame.assign(at=frame["line"].map(place)).sort_values(["at", "from_chainage_m", *then], kind="stable")
    return order.drop(columns="at")


def _string(name: str, spec: StringSpec | None, members: _Members, known: _Known) -> dict[str, object]:
    found = _extent(spec, members, known)
    stated = bool(spec) and "method" in spec.model_fields_set  # type: ignore[union-attr]
    return {
        "string": name,
        "line": found.line,
        "from_chainage_m": found.low,
        "to_chainage_m": found.high,
        "extent_from": found.source,
        "method": spec.method if spec and stated else "",
        "joints_n": members.joints_n,
        "placed_n": members.placed_n,
        "tie_in_back": spec.tie_in_back if spec else "",
        "tie_in_ahead": spec.tie_in_ahead if spec else "",
        "reasons": sentences((*found.reasons, *_doubts(spec, members, found, known))),
    }


def _extent(spec: StringSpec | None, members: _Members, known: _Known) -> _Extent:
    """Return what is stated, else the tie-ins where both are placed, else the outermost joints."""
    stated = _stated(spec, known) if spec else None
    return stated or (_between_tie_ins(spec, known) if spec else None) or _of_joints(spec, members)


def _stated(spec: StringSpec, known: _Known) -> _Extent | None:
    if spec.from_m is None or spec.to_m is None:
        return None
    line = spec.line or next(iter(known.designs))  # a route of several lines has to say it
    design = known.designs[line]
    if spec.from_m < design.start_m - _ONE or spec.to_m > design.end_m + _ONE:
        return _Extent(line, reasons=(f"its from or to in route.toml lies beyond the ends of line {line}",))
    return _Extent(line, spec.from_m, spec.to_m, "route.toml")


def _between_tie_ins(spec: StringSpec, known: _Known) -> _Extent | None:
    ties = [_row_of(known.joints, joint) for joint in (spec.tie_in_back, spec.tie_in_ahead)]
    rows = pd.DataFrame([row for row in ties if row is not None], columns=["line", "chainage_m"])
    if rows["chainage_m"].notna().sum() < 2 or rows["line"].nunique() > 1:
        return None
    low, high = sorted(rows["chainage_m"].astype(float))
    return _Extent(str(rows["line"].iloc[0]), low, high, "tie-ins")


def _row_of(joints: pd.DataFrame, joint: str) -> pd.Series | None:
    """Return the one joint of an id or a number; None where there is none, or several."""
    for column in ("id_key", "joint_key"):
        found = joints[(joints[column] == joint.strip().casefold()).to_numpy()]
        if joint.strip() and len(found) == 1:
            return found.iloc[0]
    return None


def _of_joints(spec: StringSpec | None, members: _Members) -> _Extent:
    other = members.placed_n - members.here_n
    if not members.here_n:
        none = "is placed on its line" if other else "is placed"
        why = f"no joint of it {none}, and nothing else says where it lies"
        return _Extent(spec.line if spec else "", reasons=(why,))
    reasons = (f"{several(other, 'joint')} of it on other lines are left out of its reach",) if other else ()
    return _Extent(members.line, members.low, members.high, "joints", reasons)


def _doubts(spec: StringSpec | None, members: _Members, found: _Extent, known: _Known) -> tuple[str, ...]:
    """Say what a reader cannot see from the reach: an end that is stated alone, a single joint, a name used twice."""
    said, span = [], found.high - found.low
    if spec and (spec.from_m is None) != (spec.to_m is None):
        said.append("only one of from and to is stated in route.toml, so its reach is not taken from there")
    if found.source == "joints" and span == 0:
        said.append("one joint of it is placed: where it begins and ends is not known")
    if found.source == "joints" and span > _FAR * known.settings.pipe.stick * (members.joints_n + 1):
        far = known.settings.route.length_unit.short(span)
        said.append(f"its {several(members.joints_n, 'joint')} lie {far} apart: its name may have been used twice")
    return tuple(said)
