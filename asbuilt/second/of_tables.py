"""Checks of the tables of the GeoPackage among themselves: references, fates, counts, verdicts, places."""

from collections.abc import Iterator, Mapping
from types import MappingProxyType

import numpy as np
import pandas as pd
import shapely

from asbuilt import basis, crs, outcome, tables
from asbuilt.domains import DOMAINS, Words
from asbuilt.look import NO_WINDOW, NOT_RECORDED, OUT_OF_WINDOW, WORST_FIRST
from asbuilt.second.check import Seen, differing
from asbuilt.second.handed_over import HandedOver
from asbuilt.sentence import several

# column -> what it leads to; an empty text leads nowhere, but for the first three, which must lead to a joint
_TO_JOINTS = (
    ("window_checks", "joint_id"), ("pipes", "from_joint"), ("pipes", "to_joint"), ("positions", "joint_id"),
    ("records", "joint_id"), ("gaps", "from_joint"), ("gaps", "to_joint"), ("runs", "from_joint"), ("runs", "to_joint"),
    ("ties", "joint_id"), ("decisions", "joint_id"), ("strings", "tie_in_back"), ("strings", "tie_in_ahead"),
)  # fmt: skip
_NEVER_EMPTY = 3
_STATE_CLOSES = ("current", "not tied")
_ONE_POINT_M = 0.001  # of a joint: by its columns, by its geometry, and on the line at its chainage
_ONE_DEGREE = 2e-8  # the last decimal that is written, and a millimetre or two
_OUTCOMES: Mapping[str, bool] = MappingProxyType(
    {
        outcome.JOINT: True,
        outcome.SUPERSEDED: True,
        outcome.TRIAL: True,
        outcome.DUPLICATE: False,
        outcome.SET_ASIDE: False,
    }
)


def tables_are_whole(out: HandedOver) -> Seen:
    """Look whether every table is there, with all its columns, and holds no word but those that it may hold."""
    faults = [f"there is no column {name}" for table in tables.ALL for name in out.absent(table.name)]
    for table in tables.ALL:
        frame = out.table(table.name)
        for column in table.columns:
            domain = DOMAINS.get(column.domain)
            if isinstance(domain, Words):
                odd = ~frame[column.name].isin([*domain.meanings, ""]).to_numpy()
                faults += differing(frame[column.name], odd, f"no word that {table.name}.{column.name} may hold")
    return Seen(f"{len(tables.ALL)} tables", tuple(faults))


def keys_lead_somewhere(out: HandedOver) -> Seen:
    """Look whether ids are unique, and every reference leads to a joint, gap, source row, finding or line."""
    ids = out.table("joints")["joint_id"]
    faults = _unique(ids, "joint_id of joints") + _unique(out.table("gaps")["gap_id"], "gap_id of gaps")
    for k, (table, column) in enumerate(_TO_JOINTS):
        found = out.table(table)[column]
        lost = ~found.isin(ids) & ((found != "") | (k < _NEVER_EMPTY))
        faults += differing(found, lost.to_numpy(), f"{table}.{column} leads to no joint")
    lines = out.table("alignment")["line"]
    for table in ("joints", "gaps", "pipes", "positions"):
        found = out.table(table)["line"]
        faults += differing(
            found, (~found.isin(lines) & (found != "")).to_numpy(), f"{table}.line leads to no alignment"
        )
    return Seen(f"{len(_TO_JOINTS) + 7} references", (*faults, *_of_decisions(out), *_of_inputs(out)))


def _unique(ids: pd.Series, what: str) -> list[str]:
    faults = differing(ids, ids.duplicated().to_numpy(), f"the {what} stands on more than one row")
    return faults + differing(map(str, range(1, len(ids) + 1)), (ids == "").to_numpy(), f"the {what} is empty")


def _of_decisions(out: HandedOver) -> Iterator[str]:
    decisions, records = out.table("decisions"), out.table("records")
    targets = {"gap_id": out.table("gaps")["gap_id"], "row_id": pd.Series(basis.row_ids(records), dtype=object)}
    targets["finding_id"] = out.table("findings")["finding_id"]
    for column, there in targets.items():
        found = decisions[column]
        yield from differing(
            found, (~found.isin(there) & (found != "")).to_numpy(), f"decisions.{column} leads nowhere"
        )


def _of_inputs(out: HandedOver) -> list[str]:
    files = out.table("records")["source_file"]
    return differing(files, ~files.isin(out.info("input")).to_numpy(), "source file without a checksum in build_info")


def rows_have_one_fate(out: HandedOver) -> Seen:
    """Look whether each source row stands once in `records`, and joints and rows tell of one another."""
    records, joints = out.table("records"), out.table("joints")
    places = basis.row_ids(records)
    faults = differing(places, pd.Series(places, dtype=object).duplicated().to_numpy(), "source row with two fates")
    known = records["outcome"].isin(list(_OUTCOMES))
    faults += differing(places, ~known.to_numpy(), "source row without a fate")
    bare = (records["joint_id"] == "") != (records["outcome"] == outcome.SET_ASIDE)
    faults += differing(places, bare.to_numpy(), "set aside and yet of a joint, or the other way round")
    kept = records["outcome"].isin([word for word, is_kept in _OUTCOMES.items() if is_kept])
    ours = pd.Series(basis.row_ids(joints.rename(columns={"source_sheet": "sheet"})), dtype=object)
    theirs = dict(zip(places[kept], records.loc[kept, "joint_id"], strict=True))
    faults += differing(
        joints["joint_id"], (ours.map(theirs) != joints["joint_id"]).to_numpy(), "joint whose source row is not told"
    )
    gone = ~pd.Series(places[kept], dtype=object).isin(ours).to_numpy()
    faults += differing(places[kept], gone, "source row that became a joint which is not there")
    fate = pd.Series(dict(zip(places, records["outcome"], strict=True)), dtype=object)
    in_line = joints["in_line"].fillna(False).to_numpy(bool)
    faults += differing(
        joints["joint_id"],
        in_line != (ours.map(fate) == outcome.JOINT).to_numpy(),
        "in line, and its row says otherwise",
    )
    return Seen(f"{several(len(records), 'source row')} and {several(len(joints), 'joint')}", tuple(faults))


def verdicts_follow_from_checks(out: HandedOver) -> Seen:
    """Look whether each fusion verdict is the worst of the required checks and of any other that is out of window."""
    joints, checks = out.table("joints"), out.table("window_checks")
    rank = {word: k for k, word in enumerate(WORST_FIRST)}
    counted = checks["required"].fillna(False).to_numpy(bool) | (checks["verdict"] == OUT_OF_WINDOW).to_numpy()
    counted &= (checks["verdict"] != NO_WINDOW).to_numpy()
    worst = checks.loc[counted, "verdict"].map(rank).groupby(checks.loc[counted, "joint_id"]).min()
    word = joints["joint_id"].map(worst).map(dict(enumerate(WORST_FIRST))).fillna(NOT_RECORDED)
    told = joints["fusion_verdict"]
    open_ = (told == NO_WINDOW) & (word != OUT_OF_WINDOW)  # what no window applies to is judged by no required check
    wrong = ((told != word) & ~open_).to_numpy()
    faults = differing(joints["joint_id"], wrong, "its fusion verdict does not follow from its checks")
    value, low, high = (checks[name].to_numpy(float) for name in ("value", "low", "high"))
    inside = (checks["verdict"] == "in window").to_numpy()
    outside = inside & ((value < low) | (value > high))
    faults += differing(checks["joint_id"], outside, "a value outside its window is told to be in window")
    return Seen(f"{several(len(checks), 'check')} of {several(len(joints), 'joint')}", tuple(faults))


def decisions_close_what_is_closed(out: HandedOver) -> Seen:
    """Look whether whatever is closed is closed by a decision, and a text of a decision has one behind it."""
    decisions, faults, many = out.table("decisions"), [], 0
    holding = decisions[decisions["state"].isin(_STATE_CLOSES)]
    for table, column in (
        ("joints", "joint_id"),
        ("gaps", "gap_id"),
        ("records", "row_id"),
        ("findings", "finding_id"),
    ):
        frame = out.table(table)
        ids = pd.Series(basis.row_ids(frame), dtype=object) if column == "row_id" else frame[column]
        closed = frame["closed"].fillna(False).to_numpy(bool)
        many += int(closed.sum())
        faults += differing(
            ids, closed & ~ids.isin(holding[column]).to_numpy(), f"{column} closed without a decision that holds"
        )
        told = (frame["decision"] != "").to_numpy()
        faults += differing(
            ids,
            told != ids.isin(decisions[column]).to_numpy(),
            f"{column} with a decision that is not in the table, or without the one that is",
        )
    return Seen(f"{several(len(decisions), 'decision')}, {several(many, 'thing')} closed", tuple(faults))


def places_agree(out: HandedOver) -> Seen:
    """Look whether columns, geometry, latitude and longitude, and chainage name one place, joint by joint."""
    joints = out.table("joints")
    frames = set(out.layer_frames.values())
    if len(frames) != 1:
        return Seen("layers", (f"layers are in {len(frames)} frames",))
    of = crs.frame(frames.pop(), where="asbuilt.gpkg")
    xy = joints[["easting", "northing"]].to_numpy(float)
    shown = np.column_stack([f(joints["geometry"].to_numpy(object)) for f in (shapely.get_x, shapely.get_y)])
    lonlat = joints[["longitude", "latitude"]].to_numpy(float)
    placed = np.isfinite(joints["chainage_m"].to_numpy(float))
    no_place = np.isfinite(xy).all(axis=1) != placed
    faults = differing(joints["joint_id"], no_place, "a place without a chainage, or the other way round")
    faults += _apart(
        joints, xy - shown, _ONE_POINT_M / of.metres_per_unit, "its point is not at its easting and northing"
    )
    there = np.column_stack(crs.to_base(xy[:, 0].copy(), xy[:, 1].copy(), of=of))
    turned = (lonlat - there + 180) % 360 - 180
    faults += _apart(joints, turned, _ONE_DEGREE, "its latitude and longitude are of another place")
    on = _on_line(joints, out.table("alignment_vertices"))
    by_line = (joints["placed_by"] != "survey").to_numpy()
    off = np.where(by_line[:, None], xy - on, 0.0)
    faults += _apart(joints, off, 10 * _ONE_POINT_M / of.metres_per_unit, "it does not lie on the line at its chainage")
    return Seen(f"{several(int(placed.sum()), 'placed joint')} in {of.label}", tuple(faults))


def _apart(joints: pd.DataFrame, difference: np.ndarray, within: float, what: str) -> list[str]:
    known = np.isfinite(joints["chainage_m"].to_numpy(float))
    close = (np.abs(difference) <= within).all(axis=1)  # NaN is not close
    return differing(joints["joint_id"], known & ~close, what)


def _on_line(joints: pd.DataFrame, vertices: pd.DataFrame) -> np.ndarray:
    """Return where each joint's chainage lies on its line, in the frame's unit, shape (n, 2)."""
    out = np.full((len(joints), 2), np.nan)
    for line, of in vertices.groupby("line"):
        here = (joints["line"] == line).to_numpy()
        at = joints.loc[here, "chainage_m"].to_numpy(float)
        for k, axis in enumerate(("easting", "northing")):
            out[here, k] = np.interp(at, of["chainage_m"], of[axis])
    return out
