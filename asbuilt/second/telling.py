"""What changed, told in sentences."""

from collections.abc import Hashable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from asbuilt.as_built import Title
from asbuilt.judge.found_again import MOVED_M
from asbuilt.quantities import LengthUnit
from asbuilt.second.difference import Difference
from asbuilt.second.plain import plain_text
from asbuilt.sentence import several, some

CAUTION = (
    "A change between two records is for review, and no finding about a joint: what is gone from the record may lie in"
    " the ground. Decisions belong to the responsible engineer."
)
_SHOWN = 20
_TOPICS = {
    "title": ("entry of the title block", "entries of the title block"),
    "frame": ("entry on frames", "entries on frames"),
    "procedure": ("source of a limit", "sources of limits"),
    "version": ("version", "versions"),
    "input": ("input file", "input files"),
    "setting": ("line of route.toml", "lines of route.toml"),
}
_ALWAYS = ("joints", "gaps", "missing_records", "outstanding")


# ---- sentences -------------------------------------------------------------------------------------------------------


def difference_said(found: Difference) -> list[str]:
    """Return what changed in a few sentences, for a terminal or a page of a report; nothing is cut but long names."""
    said = [_heads(found), _counts(found.counts)]
    said += _came_and_went(found) + _moved(found) + _measured(found) + _verdicts(found.verdicts) + _values(found.values)
    said += _decisions(found.decisions) + _gaps(found.gaps) + _settings(found.settings)
    if found.not_compared:
        said.append(f"Not compared, as one of the two does not have it: {some(list(found.not_compared))}.")
    return [plain_text(text) for text in said if text]


def _heads(found: Difference) -> str:
    old, new = found.old, found.new
    places = [f", folder {folder}" for folder in found.folders] or ["", ""]  # two hand-overs may have one head
    was, now = (f"{t.revision} (as of {_when(t)}{place})" for t, place in zip((old, new), places, strict=True))
    said = f"From revision {was} to {now} of {new.name}."
    if old.revision == new.revision:
        said += f" Both carry revision {new.revision}: raise it in route.toml before the next hand-over."
    if old.name != new.name:
        said += f" The earlier one is of another line by its name: {old.name}."
    if old.as_of > new.as_of:
        said += " The earlier one speaks of a later time."
    return said


def _when(title: Title) -> str:
    return title.as_of.strftime("%Y-%m-%d %H:%M %Z").strip()


def _counts(counts: pd.DataFrame) -> str:
    told = counts[counts["name"].isin(_ALWAYS)]
    parts = [
        f"{name.replace('_', ' ')} {whole(was)} to {whole(now)}" for name, was, now, _ in told.itertuples(index=False)
    ]
    return f"Counts: {', '.join(parts)}." if parts else ""


def whole(value: float) -> str:
    """Write a count or a length; what is not known is said.

    >>> whole(1234.0), whole(0.5), whole(float("nan"))
    ('1,234', '0.500', 'not told')
    """
    return "not told" if np.isnan(value) else f"{value:,.0f}" if value == round(value) else f"{value:,.3f}"


def _came_and_went(found: Difference) -> list[str]:
    added, removed, renamed = found.added["joint_id"], found.removed["joint_id"], found.renamed
    said = (
        f"{several(len(added), 'joint')} added{_such(added)}; {several(len(removed), 'joint')} removed{_such(removed)}."
    )
    again = [f"{old} is {new} now" for old, new in renamed[["old_id", "new_id"]].head(_SHOWN).itertuples(index=False)]
    more = f" and {len(renamed) - len(again):,} more" * (len(renamed) > len(again))
    return [said, f"Another id: {', '.join(again)}{more}." if again else ""]


def _such(names: pd.Series) -> str:
    return f" ({some(list(names))})" if len(names) else ""


def _moved(found: Difference) -> list[str]:
    unit, by = found.new.length_unit, found.moves
    far = by.moved[by.moved["what"] == "moved"].sort_values("plan_m", ascending=False, kind="stable")
    said = f"{several(len(far), 'joint')} moved by more than both 95 % radii taken together"
    if len(far):
        said += f", {far['joint_id'].iloc[0]} farthest, by {unit.text(far['plan_m'].iloc[0])}"
    said += f"; {by.less:,} moved by less"
    said += f", {unit.text(by.largest_m)} at most ({by.largest})." if by.less else "."
    if by.along:
        said += f" Of both, {by.along:,} moved along the line by more than {MOVED_M * 1000:g} mm."
    rest = by.moved[by.moved["what"] != "moved"]
    placed = [f"{several(len(ids), 'joint')} {what}{_such(ids)}." for what, ids in rest.groupby("what")["joint_id"]]
    one = (
        f"{several(by.restationed, 'joint')} at the same place on another chainage: the alignment or its start changed."
    )
    way = by.way[:1].upper() + by.way[1:]
    return [said, *placed, one if by.restationed else "", f"{way}; that is added to both radii." if by.way else ""]


def _measured(found: Difference) -> list[str]:
    """Say which joints are placed by something else, and what was measured on the pipe."""
    unit, anew, new = found.new.length_unit, found.placed_anew, found.measured
    said = []
    for (was, now), of in anew.groupby(["old_placed_by", "new_placed_by"], sort=True):
        each = [f"{row['joint_id']}{_by_how_much(row, unit)}" for row in of.to_dict("records")]
        said.append(f"Placed by {now} now, by {was} before: {several(len(of), 'joint')} ({some(each)}).")
    for method, of in new.groupby("method", sort=True):
        each = [f"{row['joint_id'] or 'of no joint'}{_how_deep(row, unit)}" for row in of.to_dict("records")]
        said.append(f"Measured on the pipe, {method}: {several(len(of), 'new opinion')} ({some(each)}).")
    return said


def _by_how_much(row: Mapping[Hashable, Any], unit: LengthUnit) -> str:
    """Say how far along and across a point moved; "" where it is on another line."""
    along, across = row["along_m"], row["across_m"]
    if not np.isfinite(along + across):
        return ""
    ways = f"{unit.text(abs(along))} {'ahead' if along >= 0 else 'back'}"
    return f": {ways} along, {unit.text(abs(across))} {'right' if across >= 0 else 'left'} across the line"


def _how_deep(row: Mapping[Hashable, Any], unit: LengthUnit) -> str:
    """Say depth and level of a measurement, as far as they are stated."""
    level = f"level {unit.text(row['elevation_m'])}" if np.isfinite(row["elevation_m"]) else ""
    depth = f"depth {unit.text(row['depth_m'])}" if np.isfinite(row["depth_m"]) else ""
    return f": {', '.join(filter(None, (depth, level)))}" if depth or level else ""


def measured_line(row: Mapping[Hashable, Any], unit: LengthUnit) -> str:
    """Write one measurement for a list."""
    place = f"at {row['station']}" if row["station"] else "without a place"
    who = f" by {row['by']}" if row["by"] else ""
    return f"{row['joint_id'] or 'of no joint'}: {row['method']}{who} {place}{_how_deep(row, unit)} ({row['source']})"


def placed_line(row: Mapping[Hashable, Any], unit: LengthUnit) -> str:
    """Write one joint that is placed by something else than before, for a list."""
    return f"{row['joint_id']}: {row['old_placed_by']} to {row['new_placed_by']}{_by_how_much(row, unit)}"


def _verdicts(verdicts: pd.DataFrame) -> list[str]:
    if verdicts.empty:
        return ["No verdict changed."]
    kinds = verdicts.groupby(["which", "old", "new"], sort=True)["joint_id"]
    return [
        f"{str(which).capitalize()} verdict of {several(len(ids), 'joint')}: {old} to {new}{_such(ids)}."
        for (which, old, new), ids in kinds
    ]


def _values(values: pd.DataFrame) -> list[str]:
    if values.empty:
        return ["No recorded value changed."]
    many = values.groupby("title", sort=False).size()
    parts = [f"{title} at {several(int(n), 'joint')}" for title, n in many.items()]
    return [f"Recorded values changed: {', '.join(parts)}."]


def _decisions(decisions: pd.DataFrame) -> list[str]:
    kinds = decisions.groupby("what", sort=True).size()
    return [f"Decisions: {', '.join(f'{n:,} {what}' for what, n in kinds.items())}."] if len(kinds) else []


def _gaps(gaps: pd.DataFrame) -> list[str]:
    many = {what: gaps.loc[gaps["what"] == what, "gap_id"] for what in ("opened", "closed", "changed")}
    parts = [f"{several(len(ids), 'gap')} {what}{_such(ids)}" for what, ids in many.items() if len(ids)]
    return [f"{'; '.join(parts)}."] if parts else ["No gap opened, closed or changed."]


def _settings(settings: pd.DataFrame) -> list[str]:
    if settings.empty:
        return ["Settings, frames, procedure, versions and input files are the same."]
    many = {str(topic): int(n) for topic, n in settings.groupby("topic", sort=False).size().items()}
    parts = [several(n, *_TOPICS.get(topic, (topic,))) for topic, n in many.items()]
    return [f"Other than before: {', '.join(parts)}."]
