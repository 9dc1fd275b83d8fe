"""The tables of joints: joints, their checks, and the fate of each source row."""

import numpy as np
import pandas as pd

from asbuilt import crs, tables
from asbuilt.basis import finding_ids
from asbuilt.outcome import JOINT, SET_ASIDE
from asbuilt.read.rows import NO_RECORD
from asbuilt.tabulate.journey import Journey, on_line, points, sentences


def joints_table(journey: Journey) -> pd.DataFrame:
    """Return the joints in line order, trial and cut-out ones included, as tables.JOINTS."""
    rows = journey.kept
    xy = on_line(journey, rows["line"], rows["chainage_m"])
    surveyed = (rows["placed_by"] == "survey").to_numpy()
    xy[surveyed] = rows.loc[surveyed, ["easting", "northing"]].to_numpy(float)  # a shot is where the pipe lies
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
        station=journey.designs.stations(rows["line"], rows["chainage_m"]),
        fused_at=rows["fused_at"].dt.tz_localize("UTC"),
        started_at=rows["started_at"].dt.tz_localize("UTC"),
        fused_local=[moment.isoformat() if not pd.isna(moment) else "" for moment in local],
        machine_run=_machine_runs(rows),
        decision="",
        closed=False,
        source_sheet=rows["sheet"],
        easting=xy[:, 0],
        northing=xy[:, 1],
        longitude=longitude,
        latitude=latitude,
        pressure_kind=rows["fusion_pressure_kind"],
        interfacial_pressure_mpa=journey.judged.derived.interfacial["fusion_pressure"][at],
        reasons=reasons,
        geometry=points(xy),
        **{
            name: journey.judged.derived.values[name][at]
            for name in ("outside_diameter_mm", "wall_mm", "dr", "material")
        },
        **{name: judged[name] for name in ("fusion_verdict", "recorded_n", "procedure_n")},
    )
    return tables.conform(_in_line_order(frame, journey), tables.JOINTS)


def _in_line_order(frame: pd.DataFrame, journey: Journey) -> pd.DataFrame:
    order = {design.name: i for i, design in enumerate(journey.designs.lines)}
    rank = frame["line"].map(order).fillna(len(order)).astype(int)
    keys = ["rank", "chainage_m", "fused_at", "source_file", "sheet", "source_row"]
    return frame.assign(rank=rank).sort_values(keys, kind="stable")


def _machine_runs(rows: pd.DataFrame) -> np.ndarray:
    """Return machine and place in its order of work; rows without a machine have none."""
    timed = rows[rows["machine"].notna() & rows["fused_at"].notna()].sort_values(
        ["fused_at", "source_file", "source_row"]
    )
    place = timed.groupby("machine").cumcount() + 1
    run = timed["machine"].astype(object) + "/" + place.astype(str).str.zfill(4)
    return run.reindex(rows.index).fillna("").to_numpy(object)


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
    frame = rows.assign(reason=reason, outstanding=aside, decision="", closed=False)
    return tables.conform(frame, tables.RECORDS)


def findings_table(journey: Journey) -> pd.DataFrame:
    """Return what groups of joints share, in the order found."""
    rows = journey.rows
    joints = [rows.loc[finding.rows, "joint_id"].fillna("") for finding in journey.findings]
    ids = finding_ids([finding.kind for finding in journey.findings], joints)
    found = [
        {
            "finding_id": name,
            "kind": finding.kind,
            "joints_n": len(finding.rows),
            "statement": finding.statement,
            "proposal": finding.proposal,
            "joints": ", ".join(named),
            "decision": "",
            "closed": False,
        }
        for name, finding, named in zip(ids, journey.findings, joints, strict=True)
    ]
    return tables.conform(pd.DataFrame(found), tables.FINDINGS) if found else tables.empty(tables.FINDINGS)
