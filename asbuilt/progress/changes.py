"""What changed between two states of progress: stages, joints by crew, and joints that are no longer there."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from asbuilt.progress.calendar import day_of
from asbuilt.progress.figures import Figures
from asbuilt.progress.rows import each
from asbuilt.sentence import several, some

_SAME = 0.5  # metres


@dataclass(frozen=True)
class Changes:
    """`since` says what the earlier state is. `stages` has stage, before_m, now_m (NaN: not known); `crews` has crew,
    joints, new_m (what came on top); `gone` names joints that the earlier state had in line and this one has not."""

    since: str
    before: float  # evenings, as day numbers
    now: float
    stages: pd.DataFrame
    crews: pd.DataFrame
    gone: tuple[str, ...]
    outdated: bool  # the earlier state was of a later evening


def changes(old: Figures, new: Figures, since: str) -> Changes:
    """Return what changed from `old` to `new`."""
    before, now = (f.stages.set_index("stage")["length_m"] for f in (old, new))
    both = pd.concat([before, now], axis=1, keys=["before_m", "now_m"], sort=False)
    stages = both.rename_axis("stage").reset_index()
    ids = {name: set(f.work.made["joint_id"]) for name, f in (("old", old), ("new", new))}
    made = new.work.made
    fresh = made[~made["joint_id"].isin(ids["old"]).to_numpy()]
    metres = [f.days.groupby("crew")["new_m"].sum() for f in (old, new)]
    crews = pd.DataFrame(
        {"joints": fresh.groupby("crew").size(), "new_m": metres[1].subtract(metres[0], fill_value=0.0)}
    ).fillna(0.0)
    told = crews[(crews["joints"] > 0) | (crews["new_m"].abs() > _SAME)].rename_axis("crew").reset_index()
    gone = tuple(sorted(ids["old"] - ids["new"]))
    evenings = (old.work.evening, new.work.evening)
    return Changes(since, *evenings, stages, told, gone, evenings[0] > evenings[1])


def change_lines(found: Changes, figures: Figures) -> list[str]:
    """Return the changes in lines; one line where there are none."""
    unit = figures.work.unit
    lines = [
        f"{row.crew}: {several(int(row.joints), 'joint')} more, {unit.text(row.new_m, 0)} newly covered"
        for row in each(found.crews)
    ]
    for row in each(found.stages):
        if not _same(row.before_m, row.now_m):
            was, now = (unit.text(m, 0) if np.isfinite(m) else "not known" for m in (row.before_m, row.now_m))
            lines.append(f"{row.stage}: {was}, now {now}")
    if found.gone:
        lines.append(f"no longer among the joints made by this evening: {some(list(found.gone))}")
    if found.outdated:
        lines.append(f"{found.since} speaks of a later evening, {day_of(found.before)}")
    return lines or ["nothing has changed"]


def _same(before: float, now: float) -> bool:
    return bool(np.isnan(before) and np.isnan(now)) or abs(before - now) < _SAME


def as_rows(found: Changes) -> dict[str, Any]:
    """Return the changes as plain data."""
    stages = [
        {"stage": r.stage, "before_m": _number(r.before_m), "now_m": _number(r.now_m)} for r in each(found.stages)
    ]
    crews = [{"crew": r.crew, "joints": int(r.joints), "new_m": _number(r.new_m)} for r in each(found.crews)]
    return {
        "since": found.since,
        "since_as_of": day_of(found.before).isoformat(),
        "stages": stages,
        "crews": crews,
        "gone": list(found.gone),
    }


def _number(value: float) -> float | None:
    return round(float(value), 3) if np.isfinite(value) else None
