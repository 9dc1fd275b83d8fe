"""What changed but places: joints that came and went, verdicts, values, decisions, gaps, settings and counts.

Every function returns a frame with one row for each change, in the order of the new record.
"""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from asbuilt import tables
from asbuilt.second.sides import Pairs, Side
from asbuilt.sentence import decision_words
from asbuilt.tables import Column

# What is placed, judged, counted or told of a joint, not recorded of it.
_NOT_RECORDED = frozenset((
    "joint_id", "chainage_m", "station", "offset_m", "chainage_sd_m", "offset_sd_m", "radius95_m", "placed_by",
    "leg_probability", "candidates_n", "margin_m", "beyond_m", "fix_chainage_m", "fix_offset_m", "machine_run",
    "fusion_verdict", "position_verdict", "recorded_n", "procedure_n", "number_open", "reasons", "decision", "closed",
    "latitude", "longitude", "easting", "northing", "source_file", "source_sheet", "source_row", "trace_cause",
    "interfacial_pressure_mpa",
))  # fmt: skip
_SAME = 1e-9  # of a number: another version may compute it in another order
_FIGURES = ("kind", "missing_records", "missing_low", "missing_high", "unplaced_here")
_OPEN_END = "not yet recorded"
_ABOUT = ("joint_id", "gap_id", "row_id", "finding_id")


def only_one_side(joints: pd.DataFrame, at: np.ndarray) -> pd.DataFrame:
    """Return the joints that one side alone has, with their verdicts."""
    names = ["joint_id", "line", "station", "in_line", "fusion_verdict", "position_verdict", "decision"]
    return joints.iloc[at][[*names, "source_file", "source_sheet", "source_row"]].reset_index(drop=True)


def what_became(gone: pd.DataFrame, old: Side, new: Side) -> pd.DataFrame:
    """Add `now` to joints that are gone: what the new record makes of a source row that says the same, cell by cell."""
    place, same = ["source_file", "source_sheet", "source_row"], ["source_file", "source_sheet", "cells"]
    was, now = (side.tables["records"].rename(columns={"sheet": "source_sheet"}) for side in (old, new))
    rows = gone[place].merge(was.drop_duplicates(place)[[*place, "cells"]], on=place, how="left")
    now = now[now["cells"].isin(rows["cells"])]
    found = rows.merge(now.drop_duplicates(same)[[*same, "outcome", "joint_id", "reason"]], on=same, how="left")
    told = [
        "no source row says this any more"
        if not isinstance(outcome, str)
        else f"{outcome} {joint}".strip() + f": {why}" * bool(why)
        for outcome, joint, why in found[["outcome", "joint_id", "reason"]].itertuples(index=False)
    ]
    return gone.assign(now=np.array(told, dtype=object))


def verdicts(old: Side, new: Side, pairs: Pairs) -> pd.DataFrame:
    """Return each of the two verdicts of a joint that is another now."""
    before, after = old.tables["joints"].iloc[pairs.old], new.tables["joints"].iloc[pairs.new]
    parts = []
    for which in ("fusion", "position"):
        was, now = (side[f"{which}_verdict"].to_numpy(object) for side in (before, after))
        at = np.flatnonzero(was != now)
        columns = {name: after[name].to_numpy(object)[at] for name in ("joint_id", "line", "station")}
        parts.append(pd.DataFrame({**columns, "which": which, "old": was[at], "new": now[at]}))
    return pd.concat(parts, ignore_index=True)


def values(old: Side, new: Side, pairs: Pairs) -> pd.DataFrame:
    """Return each recorded value that is another now, as texts; a column that one side does not have is left out."""
    before, after = old.tables["joints"].iloc[pairs.old], new.tables["joints"].iloc[pairs.new]
    parts = [pd.DataFrame({name: [] for name in ("joint_id", "column", "title", "unit", "old", "new")}, dtype=object)]
    for column in tables.JOINTS.columns:
        if column.name in _NOT_RECORDED or f"joints.{column.name}" in old.absent | new.absent:
            continue
        was, now = (_comparable(side[column.name], column) for side in (before, after))
        at = np.flatnonzero(_differ(was, now))
        told = {"joint_id": after["joint_id"].to_numpy(object)[at], "column": column.name, "title": column.title}
        parts.append(pd.DataFrame({**told, "unit": column.unit, "old": _texts(was[at]), "new": _texts(now[at])}))
    return pd.concat(parts, ignore_index=True)


def _comparable(values: pd.Series, column: Column) -> np.ndarray:
    if column.kind == "real":
        return values.to_numpy(float)
    if column.kind == "time":  # a GeoPackage keeps milliseconds
        times = values.dt.floor("ms").dt.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
        return times.astype(object).where(values.notna(), "").to_numpy(object)
    return values.astype(object).where(values.notna(), "").to_numpy(object)


def _differ(was: np.ndarray, now: np.ndarray) -> np.ndarray:
    if was.dtype.kind != "f":
        return np.asarray(was != now, dtype=bool)
    same = np.isclose(was, now, rtol=_SAME, atol=0.0, equal_nan=True)
    return np.asarray(~same)


def _texts(found: np.ndarray) -> list[str]:
    if found.dtype.kind == "f":
        return ["" if np.isnan(value) else f"{value:.10g}" for value in found]
    return [str(value) for value in found]


# ---- decisions -------------------------------------------------------------------------------------------------------


def decisions(old: Side, new: Side, renamed: Mapping[str, str]) -> pd.DataFrame:
    """Return each decision in force that was made, withdrawn or changed, or whose state is another now, such as stale.

    `renamed` leads from old ids, of joints and gaps, to new ones.
    """
    before, after = _in_force(old.tables["decisions"], renamed), _in_force(new.tables["decisions"], {})
    rows = []
    for about, name in sorted({*before, *after}):
        was, now = before.get((about, name), ("", "")), after.get((about, name), ("", ""))
        if was != now:
            what = (
                "made"
                if not was[1]
                else "withdrawn"
                if not now[1]
                else "changed"
                if was[0] != now[0]
                else f"now {now[1]}"
            )
            rows.append((about.removesuffix("_id"), name, what, *was, *now))
    return pd.DataFrame(rows, columns=["about", "id", "what", "old", "old_state", "new", "new_state"], dtype=object)


def _in_force(rows: pd.DataFrame, renamed: Mapping[str, str]) -> dict[tuple[str, str], tuple[str, str]]:
    """Return the decision on each thing, as a text, and its state; of a thing decided twice the last."""
    return {
        (about, renamed.get(row[about], row[about])): (decision_words(row), row["state"])
        for row in rows[rows["state"] != "superseded"].to_dict("records")
        for about in _ABOUT
        if row[about]
    }


# ---- gaps ------------------------------------------------------------------------------------------------------------


def gaps(old: Side, new: Side, renamed: Mapping[str, str]) -> pd.DataFrame:
    """Return each gap that opened, closed (it is no gap any more), or whose kind or number of records is another now.

    A gap is the same where its line and the joints at both ends are; the open end of a line is always the same.
    """
    before, after = _by_ends(old.tables["gaps"], renamed), _by_ends(new.tables["gaps"], {})
    keys = [*after.index, *before.index[~before.index.isin(after.index)]]
    was, now = before.reindex(keys), after.reindex(keys)
    figures = [_said_figures(side) for side in (was, now)]
    there = [side["gap_id"].notna().to_numpy() for side in (was, now)]
    what = np.select([~there[0], ~there[1], figures[0] != figures[1]], ["opened", "closed", "changed"], "")
    shown = now.where(np.broadcast_to(there[1][:, None], now.shape), was)
    told = {name: shown[name].to_numpy(object) for name in ("gap_id", "line", "from_station", "to_station")}
    out = pd.DataFrame({**told, "what": what, "old": figures[0], "new": figures[1]}, dtype=object)
    return out[what != ""].reset_index(drop=True)


def _by_ends(gaps: pd.DataFrame, renamed: Mapping[str, str]) -> pd.DataFrame:
    """Return the gaps as plain objects, by their line and ends in the names of the new record."""
    ends = [gaps[name].map(lambda joint: renamed.get(joint, joint)) for name in ("from_joint", "to_joint")]
    is_open = (gaps["kind"] == _OPEN_END).to_numpy()
    keys = [
        "\0".join(("open", line) if o else (line, a, b))
        for o, line, a, b in zip(is_open, gaps["line"], *ends, strict=True)
    ]
    out = gaps.drop(columns="geometry").astype(object).set_axis(pd.Index(keys, dtype=object))
    return out[~out.index.duplicated()]


def _said_figures(gaps: pd.DataFrame) -> np.ndarray:
    """Return kind and numbers of records as one text; "" where there is no gap."""
    told = gaps[list(_FIGURES)].itertuples(index=False)
    said = [
        f"{kind}: {missing} missing, {low} to {high}, {unplaced} unplaced" if isinstance(kind, str) else ""
        for kind, missing, low, high, unplaced in told
    ]
    return np.array(said, dtype=object)


# ---- settings and counts ---------------------------------------------------------------------------------------------


def settings(old: Side, new: Side) -> pd.DataFrame:
    """Return what of the head, the settings, frames, procedure, versions and input files is another now.

    Of route.toml each line that only one of the two has is a row.
    """
    rows = []
    for topic in ("title", "frame", "procedure", "version", "input", "setting"):
        was, now = (_named(side, topic) for side in (old, new))
        for name in dict.fromkeys([*now, *was]):
            before, after = was.get(name, ""), now.get(name, "")
            if before != after:
                lines = _lines(before, after) if topic == "setting" else [(before, after)]
                rows += [(topic, name, *pair) for pair in lines]
    return pd.DataFrame(rows, columns=["topic", "name", "old", "new"], dtype=object)


def _named(side: Side, topic: str) -> dict[str, str]:
    info = side.tables["build_info"]
    rows = info[info["topic"] == topic]
    return dict(zip(rows["name"], rows["value"], strict=True))


def _lines(before: str, after: str) -> list[tuple[str, str]]:
    was, now = before.splitlines(), after.splitlines()
    gone, came = set(was) - set(now), set(now) - set(was)
    return [*((line, "") for line in was if line in gone), *(("", line) for line in now if line in came)]


def counts(old: Side, new: Side) -> pd.DataFrame:
    """Return every count of both sides, and by how much it changed."""
    was, now = _named(old, "count"), _named(new, "count")
    names = list(dict.fromkeys([*now, *was]))
    columns = {
        "name": names,
        "old": [_number(was.get(n, "")) for n in names],
        "new": [_number(now.get(n, "")) for n in names],
    }
    frame = pd.DataFrame(columns).astype({"old": float, "new": float})
    return frame.assign(change=frame["new"] - frame["old"])


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return np.nan
