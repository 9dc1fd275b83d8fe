"""The tables of joints: joints, their positions, their checks, and the fate of each source row."""

import numpy as np
import pandas as pd
import shapely

from asbuilt import crs, tables
from asbuilt.alignment import locate
from asbuilt.outcome import JOINT, SET_ASIDE
from asbuilt.place.nearest import radius95_m
from asbuilt.read.rows import NO_RECORD
from asbuilt.tabulate.journey import Journey, sentences, stations
from asbuilt.window import RADIUS_95


def joints_table(journey: Journey) -> pd.DataFrame:
    """Return the joints in line order, trial and cut-out ones included, as tables.JOINTS."""
    rows = journey.kept
    xy = _on_line(journey, rows["line"], rows["chainage_m"])
    longitude, latitude = crs.to_base(xy[:, 0].copy(), xy[:, 1].copy(), of=journey.designs.frame)
    local = rows["fused_at"].dt.tz_localize("UTC").dt.tz_convert(journey.zone)
    at = journey.rows.index.get_indexer(rows.index)
    judged = journey.judged.joints.loc[rows.index]
    lineage = rows["reasons"]
    reasons = [
        sentences(*texts)
        for texts in zip(rows["faults"], lineage, judged["reasons"], journey.place_reasons[rows.index], strict=True)
    ]
    frame = rows.assign(
        in_line=(rows["outcome"] == JOINT),
        station=stations(journey.designs, rows["line"], rows["chainage_m"]),
        fused_at=rows["fused_at"].dt.tz_localize("UTC"),
        started_at=rows["started_at"].dt.tz_localize("UTC"),
        fused_local=[moment.isoformat() if not pd.isna(moment) else "" for moment in local],
        machine_run=_machine_runs(rows),
        decision="",
        source_sheet=rows["sheet"],
        easting=xy[:, 0],
        northing=xy[:, 1],
        longitude=longitude,
        latitude=latitude,
        pressure_kind=rows["fusion_pressure_kind"],
        interfacial_pressure_mpa=journey.derived.interfacial["fusion_pressure"][at],
        reasons=reasons,
        geometry=points(xy),
        **{name: journey.derived.values[name][at] for name in ("outside_diameter_mm", "wall_mm", "dr", "material")},
        **{name: judged[name] for name in ("fusion_verdict", "recorded_n", "procedure_n")},
    )
    return tables.conform(_in_line_order(frame, journey), tables.JOINTS)


def _in_line_order(frame: pd.DataFrame, journey: Journey) -> pd.DataFrame:
    order = {design.name: i for i, design in enumerate(journey.designs.lines)}
    rank = frame["line"].map(order).fillna(len(order)).astype(int)
    keys = ["rank", "chainage_m", "fused_at", "source_file", "sheet", "source_row"]
    return frame.assign(rank=rank).sort_values(keys, kind="stable")


def _on_line(journey: Journey, line: pd.Series, chainage_m: pd.Series) -> np.ndarray:
    xy = np.full((len(line), 2), np.nan)
    for name, design in journey.design_by_line.items():
        here = (line == name).to_numpy()
        xy[here] = locate(design.line, chainage_m[here].to_numpy(float))
    return xy


def points(xy: np.ndarray) -> np.ndarray:
    """Return points, None where a position is not finite: an empty point would be a place for some readers."""
    there = np.isfinite(xy).all(axis=1)
    out = np.full(len(xy), None, dtype=object)
    out[there] = shapely.points(xy[there])
    return out


def _machine_runs(rows: pd.DataFrame) -> np.ndarray:
    """Return machine and place in its order of work; rows without a machine have none."""
    timed = rows[rows["machine"].notna() & rows["fused_at"].notna()].sort_values(
        ["fused_at", "source_file", "source_row"]
    )
    place = timed.groupby("machine").cumcount() + 1
    run = timed["machine"].astype(object) + "/" + place.astype(str).str.zfill(4)
    return run.reindex(rows.index).fillna("").to_numpy(object)


def positions_table(journey: Journey) -> pd.DataFrame:
    """Return every opinion of where a joint is: the fix, its projection, and the leg that comes second."""
    rows = journey.kept
    fixes = rows[rows["easting"].notna()]
    fix = _opinion(fixes, "fix", fixes["line"], fixes["chainage_m"]).assign(
        easting=fixes["easting"],
        northing=fixes["northing"],
        offset_m=fixes["fix_offset_m"],
        probability=np.nan,
        radius95_m=RADIUS_95 * np.hypot(fixes["sd_m"], fixes["frame_accuracy_m"]),
    )
    placed = rows[rows["chainage_m"].notna()]
    projection = _opinion(placed, "projection", placed["line"], placed["chainage_m"]).assign(
        offset_m=placed["fix_offset_m"], probability=placed["leg_probability"]
    )
    second = rows[rows["other_chainage_m"].notna()]
    other = _opinion(second, "alternative leg", second["other_line"], second["other_chainage_m"]).assign(
        offset_m=second["other_offset_m"],
        probability=second["other_probability"],
        radius95_m=radius95_m(second["other_offset_m"].to_numpy(float), second["offset_sd_m"].to_numpy(float)),
    )
    projections = pd.concat([projection, other])
    xy = _on_line(journey, projections["line"], projections["chainage_m"])
    projections = projections.assign(easting=xy[:, 0], northing=xy[:, 1])
    every = pd.concat([fix, projections]).sort_index(kind="stable")
    every["station"] = stations(journey.designs, every["line"], every["chainage_m"])
    return tables.conform(
        every.assign(geometry=points(every[["easting", "northing"]].to_numpy(float))), tables.POSITIONS
    )


def _opinion(rows: pd.DataFrame, method: str, line: pd.Series, chainage_m: pd.Series) -> pd.DataFrame:
    columns = {"joint_id": rows["joint_id"], "method": method, "line": line, "chainage_m": chainage_m}
    columns |= {
        "radius95_m": rows["radius95_m"],
        "source": rows["source_file"] + " row " + rows["source_row"].astype(str),
    }
    return pd.DataFrame(columns | {"seen_at": rows["fused_at"].dt.tz_localize("UTC")}, index=rows.index)


def checks_table(journey: Journey, joints: pd.DataFrame) -> pd.DataFrame:
    """Return the checks of the joints in their order."""
    place = pd.Series(range(len(joints)), index=joints["joint_id"])
    checks = journey.judged.checks
    checks = checks.assign(joint_id=journey.rows["joint_id"].reindex(checks["row"]).to_numpy(object))
    checks = checks[checks["row"].isin(journey.kept.index)]
    order = checks["joint_id"].map(place).to_numpy()
    return tables.conform(checks.iloc[np.argsort(order, kind="stable")], tables.WINDOW_CHECKS)


def records_table(journey: Journey) -> pd.DataFrame:
    """Return the fate of each source row, in the order they were read."""
    rows = journey.rows
    reason = [
        sentences((why,) if why else (), faults, lineage)
        for why, faults, lineage in zip(rows["why_not"], rows["faults"], rows["reasons"], strict=True)
    ]
    aside = (rows["outcome"] == SET_ASIDE) & ~rows["why_not"].isin(NO_RECORD)
    return tables.conform(rows.assign(reason=reason, outstanding=aside), tables.RECORDS)
