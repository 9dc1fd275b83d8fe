"""Small records for the tests of progress, as the tables of a hand-over: a line of 120 m, joints where the test says.

All data is invented.
"""

import numpy as np
import pandas as pd
import shapely

from asbuilt import look, tables
from asbuilt.as_built import Schedule
from asbuilt.progress.calendar import day_number
from asbuilt.progress.work import work_on
from tests.map_record import made

LENGTH = 120.0


def joint(name, at, local, *, crew="a", **more):
    """One joint of the table, of the file of a crew; `at` None: without a place."""
    clock = pd.Timestamp(f"{local}:00+10:00") if local else pd.NaT
    row = {
        "joint_id": name,
        "joint": name,
        "kind": "production",
        "in_line": True,
        "line": "main" if at is not None else "",
    }
    row |= {"chainage_m": np.nan if at is None else at, "fused_at": clock.tz_convert("UTC") if local else pd.NaT}
    row |= {
        "fused_local": clock.isoformat() if local else "",
        "machine": f"M-{crew}",
        "source_file": f"records/{crew}.csv",
    }
    row |= {
        "fusion_verdict": look.IN_WINDOW,
        "position_verdict": look.CANNOT_TELL,
        "closed": False,
        "number_open": False,
    }
    row |= {"placed_by": "unplaced" if at is None else "fix", "length_added_m": np.nan}
    return row | more


def gap(low, high, *, kind="between joints", missing=1, within=0):
    """One gap of the table."""
    return {"line": "main", "from_chainage_m": low, "to_chainage_m": high, "kind": kind, "missing_records": missing,
            "unplaced_here": 0, "joints_within": within}  # fmt: skip


def record(joints, *, gaps=(), strings=(), sections=(), checks=(), length=LENGTH, going_on=False):
    """The tables of a record with one line from 0 to `length`; `going_on`: what lies behind its last joint is open."""
    line = {"line": "main", "start_chainage_m": 0.0, "end_chainage_m": length}
    rows = {"joints": joints, "gaps": gaps, "strings": strings, "test_sections": sections, "window_checks": checks}
    if going_on:
        last = max(row["chainage_m"] for row in joints)
        rows["gaps"] = [*gaps, gap(last, length, kind="not yet recorded", missing=0)]
    found = {t.name: tables.empty(t) for t in tables.ALL}
    found["alignment"] = _table(tables.ALIGNMENT, [line | {"geometry": shapely.LineString([(0, 0), (length, 0)])}])
    named = {t.name: t for t in tables.ALL}
    return found | {name: _table(named[name], list(own)) for name, own in rows.items() if own}


def _table(table, rows):
    columns = dict.fromkeys(key for row in rows for key in row)
    values = {name: [row.get(name) for row in rows] for name in columns}
    if table.geometry and "geometry" not in values:
        values["geometry"] = [None] * len(rows)
    return made(table, len(rows), **values)


def plan(*rows, week=(0, 1, 2, 3, 4), crews=("a", "b", "c"), stick=12.0, shift=None):
    """A schedule; each row is kind, date, from, to, crew and, if need be, start."""
    frame = pd.DataFrame(
        [(*row, None)[:6] for row in rows],
        columns=["kind", "date", "from_chainage_m", "to_chainage_m", "crew", "start"],
    ).assign(line="main", remarks="")
    for name in ("date", "start"):
        frame[name] = pd.to_datetime(frame[name]).astype("datetime64[s]")
    for name in ("from_chainage_m", "to_chainage_m"):
        frame[name] = frame[name].astype(float)
    return Schedule(frame, {f"records/{c}.csv": c for c in crews}, week, stick, shift)


def work(found, evening, schedule=None):
    """The record as work on the evening of an ISO day."""
    return work_on(found, day(evening), schedule=schedule or plan())


def day(iso):
    """The number of an ISO day."""
    return day_number(pd.Timestamp(iso).date())
